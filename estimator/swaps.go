package estimator

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"math/big"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
)

// Swap is one lighter stand-in for one node, tried on the whole graph.
type Swap struct {
	Node    int    // index in the graph's nodes
	Change  string // what to write in the file: "format: int16"
	Heard   string // what is heard, in the catalog's words
	Effects []Effect
	Loss    float64 // points, times the node's importance
	Relief  float64 // shares of the limits that what does not fit is relieved by
	Memory  blocks.Bytes
	Flash   blocks.Bytes
	Cycles  float64 // of the worst block
	Verdict Verdict // of the graph with the swap
}

// Effect is a metric before and after a swap, and the points it loses.
type Effect struct {
	Metric        *blocks.Metric
	Before, After blocks.Reading
	Points        float64
}

// triedNodes bounds the work of trying swaps: each try estimates the graph
// again, so graphs of many nodes get fewer tries. It counts steps, not time, so
// that every machine gives the same answer.
const triedNodes = 20000

// leastRelief is the smallest relief worth a line, as a share of a limit.
const leastRelief = 0.001

// Swaps tries every substitute that the catalog names for a node and returns
// those that relieve what does not fit, the most relief for the least loss
// first. A graph that fits gets none.
func (e *Estimate) Swaps() ([]Swap, error) {
	g := e.Graph
	if e.Verdict < Unsure {
		return nil, nil
	}
	hearing, err := g.library.Hearing()
	if err != nil {
		return nil, err
	}
	tries := triedNodes / max(len(g.Nodes), 1)
	var swaps []Swap
	for _, i := range e.dearest() {
		n := g.Nodes[i]
		if n.Keep {
			continue
		}
		for k := range n.Block().Substitutes {
			if tries--; tries < 0 {
				break
			}
			sub := &n.Block().Substitutes[k]
			lighter, change, err := g.with(i, sub)
			if err != nil {
				return nil, err
			}
			if lighter == nil {
				continue
			}
			after, err := lighter.Estimate()
			if err != nil {
				continue // the stand-in cannot be worked out with these values
			}
			s := Swap{Node: i, Change: change, Heard: sub.Heard, Verdict: after.Verdict, Relief: relief(e, after)}
			if s.Relief < leastRelief {
				continue
			}
			s.Memory, s.Flash = e.bytes(MemoryResource)-after.bytes(MemoryResource), e.bytes(FlashResource)-after.bytes(FlashResource)
			s.Cycles = e.CPU.Worst.Total().Value - after.CPU.Worst.Total().Value
			if s.Effects, err = effects(hearing, n, lighter.Nodes[i]); err != nil {
				continue
			}
			for _, f := range s.Effects {
				s.Loss += f.Points * n.Importance
			}
			swaps = append(swaps, s)
		}
	}
	slices.SortStableFunc(swaps, func(a, b Swap) int {
		return cmp.Or(cmp.Compare(b.Relief*(a.Loss+1), a.Relief*(b.Loss+1)), cmp.Compare(a.Loss, b.Loss))
	})
	return swaps, nil
}

// dearest lists the nodes by what they take of what does not fit.
func (e *Estimate) dearest() []int {
	share := make([]float64, len(e.Nodes))
	for _, r := range e.Resources {
		if r.Verdict < Unsure || r.Limit <= 0 {
			continue
		}
		for i, c := range e.Nodes {
			switch r.Kind {
			case CPUResource:
				share[i] += (c.Worst.Value + c.Stalls.Value) / r.Limit
			case MemoryResource:
				share[i] += float64(c.Buffers+c.State) / r.Limit
			}
		}
	}
	order := make([]int, len(e.Nodes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(share[b], share[a]) })
	return order
}

// bytes is what is used of all banks of a kind.
func (e *Estimate) bytes(kind ResourceKind) blocks.Bytes {
	var sum blocks.Bytes
	for i := range e.Banks {
		constant := e.Graph.Board.Banks[i].Kind.Constant()
		if constant == (kind == FlashResource) {
			sum += e.Banks[i].Used
		}
	}
	return sum
}

// relief adds up, over the resources that do not fit, how much nearer to their
// limits they come, in shares of the limits.
func relief(before, after *Estimate) float64 {
	sum := 0.0
	for i, r := range before.Resources {
		if r.Verdict >= Unsure && r.Limit > 0 {
			sum += (beyond(r) - beyond(after.Resources[i])) / r.Limit
		}
	}
	return sum
}

// beyond is how far a need reaches past its limit, its whole band counted.
func beyond(r Resource) float64 { return max(0, r.Used.High-r.Limit) }

// effects compares what two forms of a node give the ear.
func effects(h *blocks.Hearing, before, after *Node) ([]Effect, error) {
	var list []Effect
	for i := range h.Metrics {
		m := &h.Metrics[i]
		was, has, err := before.metric(m.Name)
		if err != nil {
			return nil, err
		}
		is, still, err := after.metric(m.Name)
		if err != nil {
			return nil, err
		}
		if has && still && was != is {
			list = append(list, Effect{m, was, is, m.Loss(was, is)})
		}
	}
	return list, nil
}

// widthMetric is the one metric that every node with an audio output has.
const widthMetric = "width"

func (n *Node) metric(name string) (value blocks.Reading, has bool, err error) {
	if name == widthMetric {
		if out, ok := n.Block().Output(""); ok && out.Kind == blocks.Audio {
			return blocks.Reading{Value: float64(n.outChannels(0))}, true, nil
		}
		return blocks.Reading{}, false, nil
	}
	return n.Use.Metric(name)
}

// with is the graph with a substitute in place of a node, and what to write in
// the file. The graph is nil where the substitute does not fit in: an output
// that is used is missing, a moved parameter has no counterpart, a value lies
// out of range, or nothing would change.
func (g *Graph) with(i int, sub *blocks.Substitute) (*Graph, string, error) {
	old := g.Nodes[i]
	block := old.Block()
	if sub.Block != "" {
		b, err := g.library.Block(sub.Block)
		if err != nil {
			return nil, "", fmt.Errorf("substitute of %s: %w", block.Name, err)
		}
		block = b
	}
	n := *old
	n.demand = nil
	n.Use.Block = block
	change, ok := n.adjust(old, sub)
	if !ok || !n.rewire(old, sub) {
		return nil, "", nil
	}
	changed := *g
	changed.Nodes = make([]*Node, len(g.Nodes))
	for k, m := range g.Nodes {
		c := *m
		if k == i {
			c = n
		}
		c.Use.EventRates = maps.Clone(c.Use.EventRates)
		changed.Nodes[k] = &c
		if !c.reconnect(i, old.Block(), block) {
			return nil, "", nil
		}
	}
	if !changed.respread() {
		return nil, "", nil
	}
	return &changed, change, nil
}

// adjust sets the parameters of a stand-in and says what to write.
func (n *Node) adjust(old *Node, sub *blocks.Substitute) (change string, ok bool) {
	var words []string
	block, rate := n.Block(), old.Use.SampleRate
	n.Given = maps.Clone(old.Given)
	if sub.Block != "" {
		words = append(words, "block: "+block.Name)
		n.Use.Settings = block.Defaults(rate)
		for theirs, ours := range sub.Carry {
			from, to := old.Block().ParamIndex(ours), block.ParamIndex(theirs)
			if to < 0 {
				return "", false
			}
			set, ok := carry(&old.Block().Params[from], old.Use.Settings[from], &block.Params[to])
			if !ok {
				return "", false
			}
			n.Use.Settings[to] = set
		}
	} else {
		n.Use.Settings = slices.Clone(old.Use.Settings)
	}
	for _, name := range slices.Sorted(maps.Keys(sub.Set)) {
		to := block.ParamIndex(name)
		if to < 0 || n.Use.Settings[to].Moved != blocks.Fixed {
			return "", false
		}
		set, err := block.Params[to].Read(sub.Set[name], rate)
		if err != nil || sub.Block == "" && set == old.Use.Settings[to] {
			return "", false
		}
		n.Use.Settings[to] = set
		words = append(words, name+": "+sub.Set[name])
	}
	for _, name := range slices.Sorted(maps.Keys(sub.Scale)) {
		to := block.ParamIndex(name)
		if to < 0 {
			return "", false
		}
		text, ok := n.scale(to, sub.Scale[name])
		if !ok {
			return "", false
		}
		words = append(words, name+": "+text)
	}
	for i, p := range block.Params {
		limits, _ := p.At(rate)
		s := n.Use.Settings[i].Span
		if !p.Categorical() && (s.Low < limits.Low || s.High > limits.High) {
			return "", false
		}
	}
	return strings.Join(words, ", "), true
}

// carry is what a setting of one parameter is for another: the same span, or
// the choice of the same name.
func carry(from *blocks.Param, set blocks.Setting, to *blocks.Param) (blocks.Setting, bool) {
	if from.Categorical() != to.Categorical() {
		return blocks.Setting{}, false
	}
	if !from.Categorical() {
		return blocks.Setting{Span: set.Span}, true
	}
	name := from.Choices[set.Choice].Name
	i := slices.IndexFunc(to.Choices, func(c blocks.Choice) bool { return c.Name == name })
	return blocks.Setting{Choice: i}, i >= 0
}

// scale multiplies a parameter by a factor and gives the value as a file writes
// it. A note value stays one: 3/8 by a half is 3/16.
func (n *Node) scale(param int, factor float64) (text string, ok bool) {
	p := &n.Block().Params[param]
	set := &n.Use.Settings[param]
	scaled := blocks.Span{Low: set.Span.Low * factor, High: set.Span.High * factor}
	given := n.Given[p.Name]
	switch {
	case p.Unit == blocks.UnitCount:
		scaled = blocks.Span{Low: math.Floor(scaled.Low), High: math.Floor(scaled.High)}
		text = p.Unit.FormatSpan(scaled)
	case strings.Contains(given, "/"):
		text = scaleNote(given, factor)
	default:
		scaled = blocks.Span{Low: fourFigures(scaled.Low), High: fourFigures(scaled.High)}
		text = p.Unit.FormatSpan(scaled)
	}
	if scaled == set.Span {
		return "", false
	}
	set.Span = scaled
	n.Given[p.Name] = text
	return text, true
}

// scaleNote multiplies a note value, as it was read, by a factor of few
// quarters.
func scaleNote(text string, factor float64) string {
	parts := regexp.MustCompile(`^(\d+)\s*/\s*(\d+)(.*)$`).FindStringSubmatch(text)
	if parts == nil {
		return text
	}
	note, ok := new(big.Rat).SetString(parts[1] + "/" + parts[2])
	if !ok {
		return text
	}
	note.Mul(note, big.NewRat(int64(math.Round(factor*12)), 12))
	return fmt.Sprintf("%v/%v%s", note.Num(), note.Denom(), parts[3])
}

// fourFigures rounds a value to what a person writes.
func fourFigures(x float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	if err != nil {
		return x // not a number; the range check that follows refuses it
	}
	return rounded
}

// rewire ties the inputs and moved parameters of a node to those of its
// stand-in: inputs of the same name, or the main ones.
func (n *Node) rewire(old *Node, sub *blocks.Substitute) bool {
	block := n.Block()
	n.Inputs = make([]Input, len(block.Inputs))
	for i := range n.Inputs {
		n.Inputs[i].Port = &block.Inputs[i]
	}
	for i, in := range old.Inputs {
		if len(in.Sources) == 0 {
			continue
		}
		to := counterpart(block.Inputs, in.Port.Name, i)
		if to < 0 || len(n.Inputs[to].Sources) > 0 || block.Inputs[to].Kind != in.Port.Kind {
			return false
		}
		n.Inputs[to].Sources = slices.Clone(in.Sources)
	}
	for _, in := range n.Inputs {
		if len(in.Sources) == 0 && !in.Port.Optional {
			return false
		}
	}
	n.Drives = nil
	for _, d := range old.Drives {
		name := old.Block().Params[d.Param].Name
		to := d.Param
		if sub.Block != "" {
			to = -1
			for theirs, ours := range sub.Carry {
				if ours == name {
					to = block.ParamIndex(theirs)
				}
			}
		}
		motion := old.Use.Settings[d.Param].Moved
		if to < 0 || block.Params[to].Moved < motion {
			return false
		}
		n.Use.Settings[to].Moved = motion
		n.Drives = append(n.Drives, Drive{Param: to, Source: d.Source, Curve: d.Curve})
	}
	n.Pins = maps.Clone(n.Pins)
	maps.DeleteFunc(n.Pins, func(buffer, _ string) bool {
		return !slices.ContainsFunc(block.Buffers, func(b blocks.Buffer) bool { return b.Name == buffer })
	})
	return true
}

// counterpart finds a port of the same name, or the main one for the main one.
func counterpart(ports []blocks.Port, name string, index int) int {
	if i := slices.IndexFunc(ports, func(p blocks.Port) bool { return p.Name == name }); i >= 0 {
		return i
	}
	if index == 0 && len(ports) > 0 {
		return 0
	}
	return -1
}

// reconnect points a node's sources at the outputs of a stand-in.
func (n *Node) reconnect(i int, old, block *blocks.Block) bool {
	move := func(s *Source) bool {
		if s.Node != i || old == block {
			return true
		}
		to := counterpart(block.Outputs, old.Outputs[s.Port].Name, s.Port)
		if to < 0 || block.Outputs[to].Kind != old.Outputs[s.Port].Kind {
			return false
		}
		s.Port = to
		return true
	}
	n.Inputs = slices.Clone(n.Inputs)
	for k := range n.Inputs {
		n.Inputs[k].Sources = slices.Clone(n.Inputs[k].Sources)
		for j := range n.Inputs[k].Sources {
			if !move(&n.Inputs[k].Sources[j]) {
				return false
			}
		}
	}
	n.Drives = slices.Clone(n.Drives)
	for k := range n.Drives {
		if !move(&n.Drives[k].Source) {
			return false
		}
	}
	return true
}

// respread works out channels and event rates anew after a change and drops
// the demands that they change. It is false where a wire no longer fits.
func (g *Graph) respread() bool {
	channels := &spreader{g: g, done: make([]uint8, len(g.Nodes))}
	rates := &spreader{g: g, done: make([]uint8, len(g.Nodes))}
	for i, n := range g.Nodes {
		before, events := n.Use.Channels, maps.Clone(n.Use.EventRates)
		channels.channels(i)
		if rates.events(i) != nil {
			return false
		}
		if n.Use.Channels != before || !maps.Equal(events, n.Use.EventRates) {
			n.demand = nil
		}
	}
	for _, n := range g.Nodes {
		for _, in := range n.Inputs {
			for _, s := range in.Sources {
				if problem, _ := g.misfit(n, in, s); problem != "" {
					return false
				}
			}
		}
		for _, d := range n.Drives {
			if problem, _ := g.misfit(n, moverInput, d.Source); problem != "" {
				return false
			}
		}
	}
	return true
}
