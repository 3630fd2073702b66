package ask

import (
	"cmp"
	"slices"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Candidate is a board that a graph is tried on.
type Candidate struct {
	Board   string
	Refusal string // why the graph cannot be read for it; then all else is zero
	Verdict estimator.Verdict
	Core    string
	Clock   blocks.Hertz
	Memory  Scarce  // the memory that there is least of
	Load    float64 // share of the cycles that the worst block takes at most
	// Against are the resources that rule the board out, or leave it unsure, the
	// farthest first.
	Against []estimator.Resource
	After   *estimator.Estimate // of the graph on the board; nil where it was refused
}

// Candidates tries a graph on boards by name, all else equal: those that hold
// it first, by verdict and then the most headroom in memory and cycles, last
// those it cannot be read for.
func Candidates(e *estimator.Estimate, boards []string) []Candidate {
	list := make([]Candidate, len(boards))
	each(len(boards), func(i int) { list[i] = candidate(e.Graph, boards[i]) })
	slices.SortStableFunc(list, func(a, b Candidate) int {
		refused := func(c *Candidate) int { return min(len(c.Refusal), 1) }
		return cmp.Or(cmp.Compare(refused(&a), refused(&b)), cmp.Compare(a.Verdict, b.Verdict), cmp.Compare(max(a.Memory.Share, a.Load), max(b.Memory.Share, b.Load)))
	})
	return list
}

func candidate(g *estimator.Graph, board string) Candidate {
	c := Candidate{Board: board}
	var p point
	if board == g.Board.Name {
		// It may come from a file, under whose name alone the reader finds it.
		p = standard{}.try(g)
	} else {
		p = standard{}.try(g, source.Edit{Path: []string{"board"}, Text: board})
	}
	if p.after == nil {
		c.Refusal = p.refusal
		return c
	}
	e := p.after
	c.After = e
	c.Verdict, c.Core, c.Clock = e.Verdict, e.Graph.Core.Name, e.Graph.Board.Clock
	c.Memory = Scarcest(e)
	for _, r := range e.Resources {
		if r.Kind == estimator.CPUResource {
			c.Load = r.Share()
		}
		if r.Verdict > estimator.Tight {
			c.Against = append(c.Against, r)
		}
	}
	slices.SortStableFunc(c.Against, func(a, b estimator.Resource) int {
		return cmp.Or(cmp.Compare(b.Verdict, a.Verdict), cmp.Compare(b.Share(), a.Share()))
	})
	return c
}
