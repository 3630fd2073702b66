package estimator

import (
	"cmp"
	"errors"
	"slices"

	"gonum.org/v1/gonum/graph"
	"gonum.org/v1/gonum/graph/simple"
	"gonum.org/v1/gonum/graph/topo"

	"elbowroom/blocks"
)

// Half is which half of a node a step runs.
type Half uint8

// A delay that closes a loop gives its output before it takes its input.
const (
	Whole Half = iota
	ReadHalf
	WriteHalf
)

// Step is one call in a block of time. The steps of a group follow each other
// and run once for each voice.
type Step struct {
	Node int
	Half Half
}

// Cut is a wire whose reader runs before its writer, so that it carries the
// block before.
type Cut struct {
	From Source
	To   int // index in Nodes
}

// Wire is a block of samples that a node leaves for others, from the step that
// writes it to the last that reads it.
type Wire struct {
	Name       string
	From       Source // the output; of a sum the node that it feeds, Port the index of the input
	Sum        bool
	Channels   int
	Start, End int
	Kept       bool  // carries over from one block to the next
	Copies     int   // of a kept wire inside voices
	Slots      []int // the block buffers it uses, one a channel
	// Over is the index of the wire whose buffers it takes over, since its last
	// reader writes this one in place; -1: none.
	Over int
}

// Schedule is the order in which a block of time is worked through.
type Schedule struct {
	Steps []Step
	Split []int // nodes whose delay closes a loop
	Cuts  []Cut
	Wires []Wire
	Slots int // block buffers that all wires share
	Least int // block buffers that any order needs at least; Slots: this one is proven
}

// link is a wire between vertices: nodes, and groups behind them.
type link struct {
	from, to int
	drive    bool // moves a parameter, and so is read before the output is made
	source   Source
	reader   int // index in Nodes
}

// schedule orders the nodes so that each comes after what feeds it. The demand
// of every node must have been worked out.
func (g *Graph) schedule() *Schedule {
	s := &Schedule{}
	n := len(g.Nodes)
	vertex := func(node int) int {
		if group := g.Nodes[node].Group; group >= 0 {
			return n + group
		}
		return node
	}
	var outer []int
	inner := make([][]int, len(g.Groups))
	var links []link
	innerLinks := make([][]link, len(g.Groups))
	for i, node := range g.Nodes {
		if node.Group < 0 {
			outer = append(outer, i)
		} else {
			inner[node.Group] = append(inner[node.Group], i)
		}
		node.eachSource(func(src Source, drive bool) {
			l := link{from: vertex(src.Node), to: vertex(i), drive: drive, source: src, reader: i}
			switch {
			case l.from != l.to || node.Group < 0:
				links = append(links, l)
			default:
				l.from, l.to = src.Node, i
				innerLinks[node.Group] = append(innerLinks[node.Group], l)
			}
		})
	}
	voices := make([]ordered, len(g.Groups))
	for k := range g.Groups {
		outer = append(outer, n+k)
		voices[k] = g.order(inner[k], innerLinks[k], nil, s)
	}
	whole := g.order(outer, links, voices, s)
	for _, step := range whole.steps {
		if step.Node < n {
			s.Steps = append(s.Steps, step)
		} else {
			s.Steps = append(s.Steps, voices[step.Node-n].steps...)
		}
	}
	g.wires(s)
	s.Least = min(s.Slots, s.Slots-whole.peak+whole.least)
	return s
}

// ordered is the steps of a graph, or of a voice, with the block buffers that
// this order needs and those that every order needs at least.
type ordered struct {
	steps       []Step
	peak, least int
}

// eachSource calls f with everything that feeds or moves the node.
func (n *Node) eachSource(f func(src Source, drive bool)) {
	for _, in := range n.Inputs {
		for _, src := range in.Sources {
			f(src, false)
		}
	}
	for _, d := range n.Drives {
		f(d.Source, true)
	}
}

// order sorts vertices so that links go forward and few wires are alive at once;
// in the order of the file where that makes no difference. Loops are opened
// first at delays that are long enough, then by cutting wires. Voices are the
// groups, ordered already.
func (g *Graph) order(vertices []int, links []link, voices []ordered, s *Schedule) ordered {
	split := map[int]bool{}
	cut := make([]bool, len(links))
	for i, l := range links {
		if l.from == l.to && !split[l.to] {
			g.openSelf(i, l, split, cut, s)
		}
	}
	for {
		dag := simple.NewDirectedGraph()
		for _, v := range vertices {
			dag.AddNode(simple.Node(2 * v))
			if split[v] {
				dag.AddNode(simple.Node(2*v + 1))
				dag.SetEdge(simple.Edge{F: simple.Node(2 * v), T: simple.Node(2*v + 1)})
			}
		}
		for i, l := range links {
			to := 2 * l.to
			if split[l.to] && !l.drive {
				to++
			}
			if !cut[i] && 2*l.from != to {
				dag.SetEdge(simple.Edge{F: simple.Node(2 * l.from), T: simple.Node(to)})
			}
		}
		sorted, err := topo.SortStabilized(dag, inFileOrder)
		var loops topo.Unorderable
		if !errors.As(err, &loops) {
			var steps []Step
			for _, node := range sorted {
				v := int(node.ID()) / 2
				half := Whole
				if split[v] {
					half = ReadHalf + Half(node.ID()%2)
				}
				steps = append(steps, Step{v, half})
			}
			return g.thrifty(steps, links, cut, voices)
		}
		for _, loop := range loops {
			g.open(loop, links, split, cut, s)
		}
	}
}

func inFileOrder(nodes []graph.Node) {
	slices.SortFunc(nodes, func(a, b graph.Node) int { return int(a.ID() - b.ID()) })
}

// openSelf opens the loop of a node that feeds itself.
func (g *Graph) openSelf(i int, l link, split map[int]bool, cut []bool, s *Schedule) {
	if !l.drive && l.to < len(g.Nodes) && g.outlasts(g.Nodes[l.to].demand.Shortest) {
		split[l.to] = true
		s.Split = append(s.Split, l.to)
		return
	}
	cut[i] = true
	s.Cuts = append(s.Cuts, Cut{l.source, l.reader})
}

// open takes one turn at opening a loop.
func (g *Graph) open(loop []graph.Node, links []link, split map[int]bool, cut []bool, s *Schedule) {
	in := map[int]bool{}
	var vertices []int
	for _, node := range loop {
		v := int(node.ID()) / 2
		if !in[v] {
			vertices = append(vertices, v)
		}
		in[v] = true
	}
	slices.Sort(vertices)
	for _, v := range vertices {
		if v < len(g.Nodes) && !split[v] && g.outlasts(g.Nodes[v].demand.Shortest) {
			split[v] = true
			s.Split = append(s.Split, v)
			return
		}
	}
	var inside, back []int
	for i, l := range links {
		if cut[i] || !in[l.from] || !in[l.to] {
			continue
		}
		inside = append(inside, i)
		if l.from >= l.to {
			back = append(back, i)
		}
	}
	for _, i := range g.cheapestCuts(inside, back, links, split) {
		cut[i] = true
		s.Cuts = append(s.Cuts, Cut{links[i].source, links[i].reader})
	}
}

// mostWiresTried is of how many wires every set is tried as the place to cut.
const mostWiresTried = 12

// cheapestCuts are the wires to cut so that no loop is left among those inside:
// of the sets of wires that lead back in the file, so that what comes in is not
// late, one that keeps fewest block buffers, then the fewest wires. Of more than
// are tried it is the best single wire, and what is left is opened after it.
func (g *Graph) cheapestCuts(inside, back []int, links []link, split map[int]bool) []int {
	if len(back) > mostWiresTried {
		return []int{slices.MinFunc(back, func(a, b int) int { return g.cutCost(links[a]) - g.cutCost(links[b]) })}
	}
	var best []int
	least := 0
	for set := uint(1); set < 1<<len(back); set++ {
		var cuts []int
		kept := 0
		for k, i := range back {
			if set>>k&1 == 1 {
				cuts = append(cuts, i)
				kept += g.cutCost(links[i])
			}
		}
		better := best == nil || cmp.Or(cmp.Compare(kept, least), cmp.Compare(len(cuts), len(best))) < 0
		if better && opens(inside, cuts, links, split) {
			best, least = cuts, kept
		}
	}
	return best
}

// opens tells whether no loop is left of links inside one without some of them.
func opens(inside, cuts []int, links []link, split map[int]bool) bool {
	var left []link
	for _, i := range inside {
		if !slices.Contains(cuts, i) {
			left = append(left, links[i])
		}
	}
	// A link whose reader leads nowhere closes nothing.
	for again := true; again; {
		again = false
		left = slices.DeleteFunc(left, func(l link) bool {
			halved := split[l.to] && !l.drive
			ends := halved || !slices.ContainsFunc(left, func(m link) bool { return m.from == l.to })
			again = again || ends
			return ends
		})
	}
	return len(left) == 0
}

// cutCost is how many block buffers a cut keeps from one block to the next.
func (g *Graph) cutCost(l link) int {
	if g.port(l.source).Kind != blocks.Audio {
		return 0
	}
	return g.Channels(l.source)
}

// wires finds how long each wire lives and lays wires into as few block
// buffers as can be.
func (g *Graph) wires(s *Schedule) {
	first, last := make([]int, len(g.Nodes)), make([]int, len(g.Nodes)) // steps that give output, and take input
	groupFirst, groupLast := make([]int, len(g.Groups)), make([]int, len(g.Groups))
	for i := range groupFirst {
		groupFirst[i] = -1
	}
	for pos, step := range s.Steps {
		if step.Half != WriteHalf {
			first[step.Node] = pos
		}
		last[step.Node] = pos
		if k := g.Nodes[step.Node].Group; k >= 0 {
			if groupFirst[k] < 0 {
				groupFirst[k] = pos
			}
			groupLast[k] = pos
		}
	}
	wires := map[output]*Wire{}
	var names []output
	wire := func(o output) *Wire {
		w := wires[o]
		if w == nil {
			n := g.Nodes[o.node]
			w = &Wire{Channels: n.outChannels(o.port), Start: first[o.node], End: first[o.node], Copies: 1, Over: -1}
			w.From = Source{Node: o.node, Group: o.group, Port: o.port, Channel: -1}
			w.Name = g.sourceName(w.From)
			if o.group >= 0 {
				w.Start, w.End = groupFirst[o.group], groupLast[o.group]
			}
			wires[o] = w
			names = append(names, o)
		}
		return w
	}
	for i, n := range g.Nodes {
		for port := range n.Block().Outputs {
			if n.Block().Outputs[port].Kind == blocks.Audio {
				wire(output{i, -1, port})
			}
		}
	}
	for k, group := range g.Groups {
		wire(output{group.Out, k, 0})
	}
	cut := map[Cut]bool{}
	for _, c := range s.Cuts {
		cut[Cut{plain(c.From), c.To}] = true
	}
	var sums []*Wire
	sumOf := map[int]*Wire{}
	for i, n := range g.Nodes {
		n.eachSource(func(src Source, drive bool) {
			if g.port(src).Kind != blocks.Audio {
				return
			}
			w := wire(outputOf(src))
			at := last[i]
			if drive {
				at = first[i]
			}
			if outside := g.Nodes[src.Node].Group != n.Group || src.Group >= 0; outside && n.Group >= 0 {
				at = groupLast[n.Group]
			}
			if cut[Cut{plain(src), i}] {
				w.Kept = true
				w.Copies = g.Copies(g.Nodes[src.Node])
				if src.Group >= 0 {
					w.Copies = 1
				}
			}
			w.End = max(w.End, at)
		})
		for k, in := range n.Inputs {
			if sum := in.sumChannels(n); sum > 0 {
				sumOf[i] = &Wire{Name: n.Name + " (sum)", From: Source{Node: i, Group: -1, Port: k, Channel: -1}, Sum: true,
					Channels: sum, Start: last[i], End: last[i], Copies: 1, Over: -1}
				sums = append(sums, sumOf[i])
			}
		}
	}
	all := sums
	for _, o := range names {
		w := wires[o]
		if w.Kept {
			w.Start, w.End = 0, max(len(s.Steps)-1, 0)
		}
		all = append(all, w)
	}
	over := map[*Wire]*Wire{}
	for i := range g.Nodes {
		g.takeOver(i, last[i], first[i] == last[i], sumOf[i], wires, over)
	}
	s.assign(all, over)
}

// output is what writes a wire: a port of a node, or the sum of a group's
// voices.
type output struct{ node, group, port int }

func outputOf(s Source) output { return output{s.Node, s.Group, s.Port} }

// takeOver finds which wire takes over the buffers of which in the step in which
// a node takes its input, and if that is the whole node, gives its output.
func (g *Graph) takeOver(node, at int, whole bool, sum *Wire, wires map[output]*Wire, over map[*Wire]*Wire) {
	dies := func(o output) bool { w := wires[o]; return !w.Kept && w.End == at }
	r := g.reusable(node)
	for _, o := range r.sumOver {
		if dies(o) {
			over[sum] = wires[o]
			break
		}
	}
	switch out := wires[output{node, -1, 0}]; {
	case !whole:
	case r.overSum && !out.Kept:
		over[out] = sum
	case r.over != nil && !out.Kept && dies(*r.over):
		over[out] = wires[*r.over]
	}
}

// reusable is what the step of a node may write over where nothing reads it
// after the step: the sum at an input one of its sources, and the main output
// the main input, which is that sum or a wire.
type reusable struct {
	sumOver []output
	overSum bool
	over    *output
}

// reusable finds what may be written over. A voice may not write over what comes
// from outside it, which the next voice reads again.
func (g *Graph) reusable(node int) (r reusable) {
	n := g.Nodes[node]
	index := -1
	may := func(src Source, channels int) bool {
		if src.Channel >= 0 || g.port(src).Kind != blocks.Audio || g.Channels(src) != channels {
			return false
		}
		if src.Group >= 0 && n.Group >= 0 || src.Group < 0 && g.Nodes[src.Node].Group != n.Group {
			return false
		}
		times := 0
		n.eachSource(func(other Source, _ bool) {
			if outputOf(other) == outputOf(src) {
				times++
			}
		})
		return times == 1
	}
	for i := range n.Inputs {
		in := &n.Inputs[i]
		if channels := in.sumChannels(n); channels > 0 {
			if index >= 0 {
				return reusable{} // two sums in one step
			}
			index = i
			for _, src := range in.Sources {
				if may(src, channels) {
					r.sumOver = append(r.sumOver, outputOf(src))
				}
			}
		}
	}
	b := n.Block()
	if !b.InPlace || len(n.Inputs) == 0 || n.Inputs[0].Port.Kind != blocks.Audio {
		return r
	}
	main, channels := &n.Inputs[0], n.outChannels(0)
	switch {
	case index == 0:
		r.overSum = main.sumChannels(n) == channels
	case len(main.Sources) == 1 && may(main.Sources[0], channels):
		over := outputOf(main.Sources[0])
		r.over = &over
	}
	return r
}

// plain is a source without its place, to compare and to look up.
func plain(s Source) Source {
	s.Place = Source{}.Place
	return s
}

// sumChannels is how many channels a sum at an audio input needs; 0: no sum.
func (in *Input) sumChannels(n *Node) int {
	if in.Port.Kind != blocks.Audio || len(in.Sources) < 2 {
		return 0
	}
	if in.Port.Channels > 0 {
		return in.Port.Channels
	}
	return n.Use.Channels
}

// assign gives every wire its block buffers: those that it takes over, or the
// lowest that are free, in the order in which wires begin. For intervals that
// needs no more than are alive at once.
func (s *Schedule) assign(wires []*Wire, over map[*Wire]*Wire) {
	// A sum stands before the output that takes it over in the same step.
	slices.SortStableFunc(wires, func(a, b *Wire) int { return a.Start - b.Start })
	type busy struct{ slot, until int }
	var taken []busy
	var free []int
	index := map[*Wire]int{}
	for i, w := range wires {
		index[w] = i
		still := taken[:0]
		for _, b := range taken {
			if b.until >= w.Start {
				still = append(still, b)
			} else {
				free = append(free, b.slot)
			}
		}
		taken = still
		if from := over[w]; from != nil {
			w.Over, w.Slots = index[from], from.Slots
			for k := range taken {
				if slices.Contains(w.Slots, taken[k].slot) {
					taken[k].until = w.End
				}
			}
			continue
		}
		slices.Sort(free)
		for range w.Channels * w.Copies {
			slot := s.Slots
			if len(free) > 0 {
				slot, free = free[0], free[1:]
			} else {
				s.Slots++
			}
			w.Slots = append(w.Slots, slot)
			taken = append(taken, busy{slot, w.End})
		}
	}
	for _, w := range wires {
		s.Wires = append(s.Wires, *w)
	}
}

// thrifty orders steps, which stand in the order of the file, so that few wires
// are alive at once.
func (g *Graph) thrifty(steps []Step, links []link, cut []bool, voices []ordered) ordered {
	n := len(g.Nodes)
	q := &sequence{steps: make([]seqStep, len(steps))}
	least := make([]int, len(steps)) // of what the voices need within them
	gives, takes := map[int]int{}, map[int]int{}
	for i, step := range steps {
		q.steps[i].over, q.steps[i].output = -1, -1
		if step.Half != WriteHalf {
			gives[step.Node] = i
		}
		takes[step.Node] = i
	}
	kept := map[output]bool{}
	for i, l := range links {
		if cut[i] {
			kept[outputOf(l.source)] = true
		}
	}
	wires := map[output]int{}
	write := func(o output, buffers, step int) {
		if !kept[o] {
			wires[o] = len(q.wires)
			q.steps[step].writes = append(q.steps[step].writes, len(q.wires))
			q.wires = append(q.wires, seqWire{buffers: buffers})
		}
	}
	for i, step := range steps {
		s := &q.steps[i]
		if k := step.Node - n; k >= 0 {
			s.inner, least[i] = voices[k].peak, voices[k].least
			write(output{g.Groups[k].Out, k, 0}, g.Nodes[g.Groups[k].Out].outChannels(0), i)
			continue
		}
		node := g.Nodes[step.Node]
		if step.Half != ReadHalf {
			for k := range node.Inputs {
				s.sum += node.Inputs[k].sumChannels(node)
			}
		}
		if step.Half == WriteHalf {
			s.before = append(s.before, gives[step.Node])
			continue
		}
		for port := range node.Block().Outputs {
			if node.Block().Outputs[port].Kind == blocks.Audio {
				write(output{step.Node, -1, port}, node.outChannels(port), i)
			}
		}
	}
	for i, l := range links {
		if cut[i] {
			continue
		}
		step := takes[l.to]
		if l.drive {
			step = gives[l.to]
		}
		s := &q.steps[step]
		if from := gives[l.from]; from != step && !slices.Contains(s.before, from) {
			s.before = append(s.before, from)
		}
		if w, lives := wires[outputOf(l.source)]; lives && !slices.Contains(s.reads, w) {
			s.reads = append(s.reads, w)
			q.wires[w].readers++
		}
	}
	for i, step := range steps {
		if step.Node >= n || step.Half == ReadHalf {
			continue
		}
		s, r := &q.steps[i], g.reusable(step.Node)
		for _, o := range r.sumOver {
			if w, lives := wires[o]; lives {
				s.sumOver = append(s.sumOver, w)
			}
		}
		if out, lives := wires[output{step.Node, -1, 0}]; lives && step.Half == Whole && (r.overSum || r.over != nil) {
			s.output, s.overSum = out, r.overSum
			if r.over != nil {
				if w, lives := wires[*r.over]; lives {
					s.over = w
				}
			}
		}
	}
	order, peak, most := q.order()
	o := ordered{steps: make([]Step, len(steps)), peak: peak, least: most}
	for i, k := range order {
		o.steps[i] = steps[k]
	}
	if slices.ContainsFunc(voices, func(v ordered) bool { return v.least < v.peak }) {
		for i := range q.steps {
			q.steps[i].inner = least[i]
		}
		o.least = min(o.least, q.least())
	}
	return o
}
