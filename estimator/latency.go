package estimator

import (
	"slices"

	"elbowroom/blocks"
)

// Latency is the time from an input to an output, as a sum of parts.
type Latency struct {
	From, To string // names of the nodes; "": there is no output
	Parts    []LatencyPart
}

// LatencyPart is one part of a latency.
type LatencyPart struct {
	What    string
	Samples float64
}

// Samples is the whole latency.
func (l Latency) Samples() float64 {
	var sum float64
	for _, p := range l.Parts {
		sum += p.Samples
	}
	return sum
}

// latency follows the longest path from an audio input to an audio output. A
// graph without an audio input answers to its controls and gates, which are
// read once a block; the path begins where sound is made.
func (e *Estimate) latency() {
	g := e.Graph
	const unreached = -1
	longest, before := make([]float64, len(g.Nodes)), make([]int, len(g.Nodes))
	for i := range longest {
		longest[i], before[i] = unreached, unreached
	}
	output := unreached
	hears := slices.ContainsFunc(g.Nodes, func(n *Node) bool { return n.demand.Jacks["audio_in"] > 0 })
	for _, step := range e.Schedule.Steps {
		i := step.Node
		n := g.Nodes[i]
		if n.demand.Jacks["audio_in"] > 0 || !hears && !n.listens() {
			longest[i] = 0
		}
		for _, in := range n.Inputs {
			for _, src := range in.Sources {
				if at := longest[src.Node]; in.Port.Kind == blocks.Audio && at >= 0 && src.Node != i && at+n.demand.Latency > longest[i] {
					longest[i], before[i] = at+n.demand.Latency, src.Node
				}
			}
		}
		if n.demand.Jacks["audio_out"] > 0 && (output < 0 || longest[i] > longest[output]) {
			output = i
		}
	}
	if output < 0 {
		return
	}
	l := &e.Latency
	l.To = g.Nodes[output].Name
	add := func(what string, samples float64) {
		if samples > 0 {
			l.Parts = append(l.Parts, LatencyPart{what, samples})
		}
	}
	var path []int
	if longest[output] != unreached {
		for i := output; i >= 0; i = before[i] {
			path = append(path, i)
		}
		slices.Reverse(path)
	}
	if hears && len(path) > 0 {
		l.From = g.Nodes[path[0]].Name
		add("input converter", g.Board.Converter.In)
		add("input block", float64(g.BlockSize))
	} else {
		l.From = "controls"
		add("wait for the next block", float64(g.BlockSize))
	}
	for _, i := range path {
		add(g.Nodes[i].Name, g.Nodes[i].demand.Latency)
	}
	add("output block", float64(g.BlockSize))
	add("output converter", g.Board.Converter.Out)
}

// listens tells whether sound comes into a node.
func (n *Node) listens() bool {
	return slices.ContainsFunc(n.Inputs, func(in Input) bool { return in.Port.Kind == blocks.Audio && len(in.Sources) > 0 })
}
