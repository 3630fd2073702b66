package estimator

import (
	"container/heap"
	"slices"

	"elbowroom/blocks"
)

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
	reads := map[output]int{}
	n.eachSource(func(src Source, _ bool) { reads[outputOf(src)]++ })
	may := func(src Source, channels int) bool {
		if src.Channel >= 0 || g.port(src).Kind != blocks.Audio || g.Channels(src) != channels {
			return false
		}
		if src.Group >= 0 && n.Group >= 0 || src.Group < 0 && g.Nodes[src.Node].Group != n.Group {
			return false
		}
		return reads[outputOf(src)] == 1
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

// sameOutput tells whether two sources are one output, wherever they are named.
func sameOutput(a, b Source) bool { return plain(a) == plain(b) }

// sumChannels is how many channels a sum at an audio input needs; 0: no sum.
func (in *Input) sumChannels(n *Node) int {
	if in.Port.Kind != blocks.Audio || len(in.Sources) < 2 {
		return 0
	}
	return n.Use.PortChannels(in.Port)
}

// assign gives every wire its block buffers: those that it takes over, or the
// lowest that are free, in the order in which wires begin. For intervals that
// needs no more than are alive at once.
func (s *Schedule) assign(wires []*Wire, over map[*Wire]*Wire) {
	// A sum stands before the output that takes it over in the same step.
	slices.SortStableFunc(wires, func(a, b *Wire) int { return a.Start - b.Start })
	var taken, free slots
	var until []int // of each slot: the last step that reads it
	index := map[*Wire]int{}
	for i, w := range wires {
		index[w] = i
		for len(taken) > 0 && taken[0].rank < w.Start {
			slot := heap.Pop(&taken).(ranked).slot
			if until[slot] < w.Start {
				heap.Push(&free, ranked{slot, slot})
			} else { // another wire took it over
				heap.Push(&taken, ranked{until[slot], slot})
			}
		}
		if from := over[w]; from != nil {
			w.Over, w.Slots = index[from], from.Slots
			for _, slot := range w.Slots {
				until[slot] = w.End
			}
			continue
		}
		for range w.Channels * w.Copies {
			if len(free) == 0 {
				heap.Push(&free, ranked{s.Slots, s.Slots})
				until = append(until, 0)
				s.Slots++
			}
			slot := heap.Pop(&free).(ranked).slot
			until[slot] = w.End
			w.Slots = append(w.Slots, slot)
			heap.Push(&taken, ranked{w.End, slot})
		}
	}
	for _, w := range wires {
		s.Wires = append(s.Wires, *w)
	}
}

// slots are block buffers of which the one of least rank is found first.
type slots []ranked

type ranked struct{ rank, slot int }

func (s slots) Len() int           { return len(s) }
func (s slots) Less(i, j int) bool { return s[i].rank < s[j].rank }
func (s slots) Swap(i, j int)      { s[i], s[j] = s[j], s[i] }
func (s *slots) Push(x any)        { *s = append(*s, x.(ranked)) }
func (s *slots) Pop() any {
	last := (*s)[len(*s)-1]
	*s = (*s)[:len(*s)-1]
	return last
}
