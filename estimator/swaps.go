package estimator

import (
	"cmp"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// Swap is one lighter stand-in for one node, tried on the whole graph.
type Swap struct {
	Node    int    // index in the graph's nodes
	Change  string // what to write in the file: "format: int16"
	Edits   []source.Edit
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
			stand, ok, err := g.substitute(i, sub)
			if err != nil {
				return nil, err
			}
			if !ok {
				continue
			}
			lighter, err := g.With(stand.edits...)
			if err != nil || lighter.Nodes[i].Use.Same(&n.Use) {
				continue // the stand-in does not take these values, or nothing would change
			}
			after, err := lighter.Estimate()
			if err != nil {
				continue // the stand-in cannot be worked out with these values
			}
			s := Swap{Node: i, Change: strings.Join(stand.words, ", "), Edits: stand.edits, Heard: sub.Heard, Verdict: after.Verdict, Relief: relief(e, after)}
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
