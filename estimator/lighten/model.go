package lighten

import (
	"fmt"
	"math"
	"slices"

	"elbowroom/estimator"
	"elbowroom/estimator/plan"
)

// model is a graph and its alternatives for the planner. Sums in it are at most
// what the estimator would say, so that no plan which fits is missed: cycles and
// bytes are rounded down, memory for wires and the state pool may lie in pieces,
// and what a stall may come to depends on what else lies in the cache, so only
// what is sure is counted.
type model struct {
	plan.Model
	swaps [][]*estimator.Swap // by node and option; nil: as it stands
	// offset is what a limit of the model leaves out of that of the board.
	offset amounts
	// running is the resource that stands for the bank of RAM that code is copied
	// to; 0: it runs from where it lies.
	running int
}

// swap is what an option of a node does; nil: nothing.
func (m *model) swap(node, option int) *estimator.Swap {
	if node >= len(m.swaps) {
		return nil // what all share
	}
	return m.swaps[node][option]
}

// amounts are what an estimate takes of each resource of the model.
type amounts []float64

// newModel builds the model. Each resource takes what the whole graph takes more
// or less with an alternative alone: so what a change does to other nodes, to
// wires and to sums is counted with it. Where changes meet, that can be more or
// less than their sum; by so much the limits are raised.
func newModel(s *setting, o *Options) *model {
	e := s.after
	m := &model{swaps: make([][]*estimator.Swap, len(e.Graph.Nodes))}
	base, limits := m.resources(e, o)
	raise := make([]float64, len(base))
	charges := map[string]int{}
	charge := func(use *[]int, after *estimator.Estimate, node int) {
		for _, f := range after.Flash(node) {
			take := make([]int64, len(base))
			take[flashIndex] = int64(math.Floor(f.Bytes.High))
			if m.running > 0 && f.Copied > 0 {
				for s := range scenes(e.Graph) {
					take[dataIndex+s] = int64(f.Copied)
				}
				take[m.running] = int64(math.Floor(float64(f.Copied) + f.Bytes.High - f.Bytes.Value))
			}
			k, known := charges[f.Name]
			if !known {
				k = len(m.Charges)
				charges[f.Name] = k
				m.Charges = append(m.Charges, plan.Charge{Name: f.Name, Use: take})
			}
			for r, now := range m.Charges[k].Use { // one node may link more of it
				m.Charges[k].Use[r] = min(now, take[r])
			}
			if !slices.Contains(*use, k) {
				*use = append(*use, k)
			}
		}
	}
	var state int64 // what the pool holds at least
	for i, n := range e.Graph.Nodes {
		node := plan.Node{Name: n.Name}
		asis := plan.Option{Name: "as it stands", Use: make([]int64, len(base)), Buffers: m.buffers(e, i)}
		charge(&asis.Charges, e, i)
		node.Options = append(node.Options, asis)
		m.swaps[i] = append(m.swaps[i], nil)
		least := e.Nodes[i].State
		most := make([]float64, len(base))
		for k := range s.swaps[i] {
			w := &s.swaps[i][k]
			after := w.After.Graph.Node(n.Name)
			option := plan.Option{Name: w.Change, Loss: int64(math.Round(w.Loss * thousandth)), Changes: w.Moves()}
			theirs := m.amounts(w.After)
			theirs[flashIndex] = base[flashIndex] // charges count the rest
			own := m.own(w.After, after)
			for r, was := range m.own(e, i) {
				whole := theirs[r] - base[r]
				if r < m.Stalled+scenes(e.Graph) {
					most[r] = max(most[r], math.Abs(whole-(own[r]-was)))
				}
				option.Use = append(option.Use, int64(math.Floor(whole)))
			}
			if after >= 0 {
				option.Buffers = m.buffers(w.After, after)
				charge(&option.Charges, w.After, after)
				least = min(least, w.After.Nodes[after].State)
			} else {
				least = 0
			}
			node.Options = append(node.Options, option)
			m.swaps[i] = append(m.swaps[i], w)
		}
		for r := range raise {
			raise[r] += 2 * most[r]
		}
		state += int64(least)
		m.Nodes = append(m.Nodes, node)
	}
	for r := range m.Resources {
		m.offset = append(m.offset, base[r]-raise[r])
		m.Resources[r].Limit = int64(math.Ceil(limits[r] - m.offset[r]))
	}
	m.pool(state)
	return m
}

// tightened is the model with less room of some kinds, by a share of what there
// is of it.
func (m *model) tightened(kinds map[estimator.ResourceKind]bool, by float64) *plan.Model {
	tight := m.Model
	tight.Resources, tight.Banks = slices.Clone(m.Resources), slices.Clone(m.Banks)
	less := func(limit *int64, whole int64) { *limit -= int64(math.Ceil(by * float64(whole))) }
	for k := range tight.Resources {
		r := &tight.Resources[k]
		kind := estimator.CPUResource
		switch {
		case k == flashIndex:
			kind = estimator.FlashResource
		case k < m.Stalled || k == m.running:
			kind = estimator.MemoryResource
		case r.Counted:
			kind = estimator.JackResource
		}
		if kinds[kind] && kind != estimator.JackResource {
			less(&r.Limit, r.Whole)
		}
	}
	for k := range tight.Banks {
		if b := &tight.Banks[k]; kinds[estimator.MemoryResource] && b.Capacity > 0 {
			less(&b.Capacity, b.Capacity)
		}
	}
	return &tight
}

// The resources of the model: flash, data memory and cycles, the two latter for
// each scene, then the jacks, and the bank that code is copied to.
const (
	flashIndex = 0
	dataIndex  = 1
)

// scenes is how many parts of a graph are counted apart; a graph without scenes
// is one.
func scenes(g *estimator.Graph) int { return max(len(g.Scenes), 1) }

// resources names the resources and tells what the graph takes of each, and may.
func (m *model) resources(e *estimator.Estimate, o *Options) (base, limits amounts) {
	g, fixed := e.Graph, 0.0 // bytes of flash that no node brings
	add := func(name string, limit float64) {
		m.Resources = append(m.Resources, plan.Resource{Name: name, Whole: int64(math.Ceil(limit))})
		limits = append(limits, limit)
	}
	data := 0.0
	for i := range e.Resources {
		r := &e.Resources[i]
		limit := o.limit(r)
		switch r.Kind {
		case estimator.FlashResource:
			if r.Index == g.CodeBank() {
				add("flash", limit)
				fixed = r.Used.High - charged(e)
			}
			m.Banks = append(m.Banks, plan.Bank{Name: r.Name})
		case estimator.MemoryResource:
			capacity := max(0, limit-float64(e.Banks[r.Index].Parts[estimator.PartSystem]))
			data += capacity
			m.Banks = append(m.Banks, plan.Bank{Name: r.Name, Capacity: int64(capacity)})
		}
	}
	for s := range scenes(g) {
		add(fmt.Sprintf("data %d", s), data)
	}
	m.Stalled = len(m.Resources)
	for s := range scenes(g) {
		cpu := e.Resource("cpu")
		add(fmt.Sprintf("cycles %d", s), o.limit(&cpu))
	}
	for _, j := range e.Jacks {
		add(j.Name, float64(j.Has))
		m.Resources[len(m.Resources)-1].Counted = true
	}
	if run := &g.Board.Banks[g.Run]; !run.Kind.Constant() {
		m.running = len(m.Resources)
		r := e.Resource(run.Name)
		add(run.Name, o.limit(&r))
	}
	base = m.amounts(e)
	base[flashIndex] = fixed
	return base, limits
}

// charged is the flash that the nodes take together, each piece once.
func charged(e *estimator.Estimate) float64 {
	pieces, sum := map[string]float64{}, 0.0
	for i := range e.Graph.Nodes {
		for _, f := range e.Flash(i) {
			more := max(0, f.Bytes.High-pieces[f.Name])
			pieces[f.Name] += more
			sum += more
		}
	}
	return sum
}

// amounts are what an estimate takes of each resource. Of flash the charges tell
// what nodes bring, and of cycles the placement of buffers what they wait.
func (m *model) amounts(e *estimator.Estimate) amounts {
	list := amounts{0}
	pools := 0.0
	for i := range e.Objects {
		if e.Objects[i].Node < 0 && (m.running == 0 || e.Objects[i].Part != estimator.PartCode) { // charges count the code
			pools += float64(e.Objects[i].Bytes)
		}
	}
	for s := range scenes(e.Graph) {
		sum := pools
		for i := range e.Nodes {
			if shares(e.Graph, i, s) {
				sum += float64(e.Nodes[i].Buffers)
			}
		}
		list = append(list, sum)
	}
	for s := range scenes(e.Graph) {
		load := e.CPU.Worst
		if len(e.CPU.Scenes) > 0 {
			load = e.CPU.Scenes[s].Worst
		}
		list = append(list, load.Compute.High+load.System.High)
	}
	for len(list) < len(m.Resources) {
		if len(list) == m.running {
			list = append(list, float64(e.Banks[e.Graph.Run].Parts[estimator.PartSystem]))
			continue
		}
		list = append(list, e.Resource(m.Resources[len(list)].Name).Used.High)
	}
	return list
}

// shares tells whether a node's buffers take memory beside those of a scene:
// where scenes lie over each other, only those that sound then.
func shares(g *estimator.Graph, node, scene int) bool { return !g.Overlay || g.Plays(node, scene) }

// own is what a node itself takes of each resource, its jacks left out.
func (m *model) own(e *estimator.Estimate, node int) amounts {
	list := make(amounts, len(m.Resources))
	if node < 0 {
		return list
	}
	c := &e.Nodes[node]
	due, _ := e.Due(node)
	for s := range scenes(e.Graph) {
		list[1+s] = float64(c.State)
		if shares(e.Graph, node, s) {
			list[1+s] += float64(c.Buffers)
		}
		if e.Graph.Plays(node, s) {
			list[m.Stalled+s] = c.Worst.High + due.High
		}
	}
	return list
}

// buffers are the pieces of memory of a node and where they may lie.
func (m *model) buffers(e *estimator.Estimate, node int) []plan.Buffer {
	g := e.Graph
	if g.Overlay {
		return nil // pieces of several nodes lie over each other
	}
	var list []plan.Buffer
	for i := range e.Objects {
		obj := &e.Objects[i]
		if obj.Node != node {
			continue
		}
		b := plan.Buffer{Name: obj.Name, Bytes: int64(obj.Bytes), Copies: 1}
		for bank := range g.Board.Banks {
			if !g.MayLieIn(obj, bank) {
				continue
			}
			p := plan.Place{Bank: bank}
			if scenes(g) == 1 {
				p.Stall = int64(math.Floor(g.LeastWait(obj, bank)))
			}
			b.Banks = append(b.Banks, p)
		}
		last := len(list) - 1
		if last >= 0 && list[last].Bytes == b.Bytes && slices.Equal(list[last].Banks, b.Banks) {
			list[last].Copies++
			continue
		}
		list = append(list, b)
	}
	return list
}

// pool is the state of all nodes, which lies in one piece.
func (m *model) pool(bytes int64) {
	if bytes == 0 {
		return
	}
	b := plan.Buffer{Name: "state", Bytes: bytes, Copies: 1}
	for k := range m.Banks {
		if m.Banks[k].Capacity > 0 {
			b.Banks = append(b.Banks, plan.Place{Bank: k})
		}
	}
	m.Nodes = append(m.Nodes, plan.Node{Name: "state", Options: []plan.Option{{Name: "as it stands", Use: make([]int64, len(m.Resources)), Buffers: []plan.Buffer{b}}}})
}
