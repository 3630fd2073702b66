package ask

import (
	"cmp"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Candidate is a board that a graph is tried on.
type Candidate struct {
	Board   string
	Refusal string // why the graph cannot be read for it
	// Without are the keys of the file that name banks which the board has not
	// (code.run, hall.bank): all below is of the graph without them. Where the graph is
	// refused all the same, or for another reason, all below is zero.
	Without []string
	Verdict estimator.Verdict
	Core    string
	Clock   blocks.Hertz
	Memory  Scarce  // the memory that there is least of
	Load    float64 // share of the cycles that the worst block takes at most
	// Against are the resources that rule the board out, or leave it unsure, the
	// farthest first.
	Against []estimator.Resource
	After   *estimator.Estimate // of the graph on the board; nil where there is none
}

// Excess is how much of the resource that is farthest from holding would be
// taken, as a share of what there is: of its figure, or of its upper edge where
// that alone is too much.
func (c *Candidate) Excess() float64 {
	if len(c.Against) == 0 {
		return 0
	}
	return excess(&c.Against[0])
}

func excess(r *estimator.Resource) float64 {
	if r.Used.Value > r.Limit {
		return r.Used.Value / r.Limit
	}
	return r.Share()
}

// Candidates tries a graph on boards by name, all else equal: those that hold
// it first, by verdict and then the most headroom in memory and cycles, or the
// least that is too much; then those that would read it if it named no bank that
// they have not, last those it cannot be read for.
func Candidates(e *estimator.Estimate, boards []string) []Candidate {
	list := make([]Candidate, len(boards))
	each(len(boards), func(i int) { list[i] = candidate(e.Graph, boards[i]) })
	slices.SortStableFunc(list, func(a, b Candidate) int {
		return cmp.Or(cmp.Compare(a.refused(), b.refused()), cmp.Compare(a.Verdict, b.Verdict), cmp.Compare(a.Excess(), b.Excess()), cmp.Compare(max(a.Memory.Share, a.Load), max(b.Memory.Share, b.Load)))
	})
	return list
}

// refused is 0 where the graph is read as it is, 1 where it would be without
// what the board has not, 2 where it is not.
func (c *Candidate) refused() int {
	switch {
	case c.Refusal == "":
		return 0
	case c.After != nil:
		return 1
	}
	return 2
}

// keyOf names a key of the file as parameters are named, by the node it stands in.
func keyOf(path []string) string {
	switch path[0] {
	case "nodes":
		path = path[1:]
	case "voices":
		path = slices.Concat(path[1:2], path[3:])
	default:
		return "code.run" // also where 'code' goes whole, having no other key
	}
	return strings.Join(path, ".")
}

func candidate(g *estimator.Graph, board string) Candidate {
	c := Candidate{Board: board}
	var onto []source.Edit
	if board != g.Board.Name { // it may come from a file, under whose name alone the reader finds it
		onto = []source.Edit{{Path: []string{"board"}, Text: board}}
	}
	p := standard{}.try(g, onto...)
	if p.after == nil {
		c.Refusal = p.refusal
		freed := append(g.OnBoard(board), g.Unpin(board)...)
		if p = (standard{}).try(g, freed...); p.after == nil {
			return c
		}
		for _, e := range freed[1:] {
			c.Without = append(c.Without, keyOf(e.Path))
		}
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
		return cmp.Or(cmp.Compare(b.Verdict, a.Verdict), cmp.Compare(excess(&b), excess(&a)))
	})
	return c
}
