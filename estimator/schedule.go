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

// mostWiresTried is of how many wires every set is tried as the place to cut.
const mostWiresTried = 12

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
