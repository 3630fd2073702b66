package estimator

import (
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
	Channels   int
	Start, End int
	Kept       bool  // carries over from one block to the next
	Copies     int   // of a kept wire inside voices
	Slots      []int // the block buffers it uses, one a channel
}

// Schedule is the order in which a block of time is worked through.
type Schedule struct {
	Steps []Step
	Split []int // nodes whose delay closes a loop
	Cuts  []Cut
	Wires []Wire
	Slots int // block buffers that all wires share
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
	for k := range g.Groups {
		outer = append(outer, n+k)
	}
	for _, step := range g.order(outer, links, s) {
		if step.Node < n {
			s.Steps = append(s.Steps, step)
			continue
		}
		k := step.Node - n
		s.Steps = append(s.Steps, g.order(inner[k], innerLinks[k], s)...)
	}
	g.wires(s)
	return s
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

// order sorts vertices so that links go forward, in the order of the file where
// there is a choice. Loops are opened first at delays that are long enough,
// then by cutting a wire.
func (g *Graph) order(vertices []int, links []link, s *Schedule) []Step {
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
			return steps
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
	best := -1
	for i, l := range links {
		if cut[i] || !in[l.from] || !in[l.to] || l.from < l.to {
			continue
		}
		if best < 0 || g.cutCost(l) < g.cutCost(links[best]) {
			best = i
		}
	}
	cut[best] = true
	s.Cuts = append(s.Cuts, Cut{links[best].source, links[best].reader})
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
	type output struct{ node, group, port int }
	wires := map[output]*Wire{}
	var names []output
	wire := func(o output) *Wire {
		w := wires[o]
		if w == nil {
			n := g.Nodes[o.node]
			w = &Wire{Channels: n.outChannels(o.port), Start: first[o.node], End: first[o.node], Copies: 1}
			w.Name = g.sourceName(Source{Node: o.node, Group: o.group, Port: o.port})
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
	for i, n := range g.Nodes {
		n.eachSource(func(src Source, drive bool) {
			if g.port(src).Kind != blocks.Audio {
				return
			}
			w := wire(output{src.Node, src.Group, src.Port})
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
		for _, in := range n.Inputs {
			if sum := in.sumChannels(n); sum > 0 {
				s.Wires = append(s.Wires, Wire{Name: n.Name + " (sum)", Channels: sum, Start: last[i], End: last[i], Copies: 1})
			}
		}
	}
	for _, o := range names {
		w := *wires[o]
		if w.Kept {
			w.Start, w.End = 0, max(len(s.Steps)-1, 0)
		}
		s.Wires = append(s.Wires, w)
	}
	s.assign()
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

// assign gives every wire its block buffers: the lowest that are free, in the
// order in which wires begin. For intervals that needs no more than are alive
// at once.
func (s *Schedule) assign() {
	slices.SortStableFunc(s.Wires, func(a, b Wire) int { return a.Start - b.Start })
	type busy struct{ slot, until int }
	var taken []busy
	var free []int
	for i := range s.Wires {
		w := &s.Wires[i]
		still := taken[:0]
		for _, b := range taken {
			if b.until >= w.Start {
				still = append(still, b)
			} else {
				free = append(free, b.slot)
			}
		}
		taken = still
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
}
