package plan

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Options of a search.
type Options struct {
	// Plans is how many of the best plans are wanted; 0 is one.
	Plans int
	// MaxSteps bounds the search, to the end of the round it stands in; 0 is
	// without bound. A step is one look at one option, or at the copies of a
	// kind: some ten or twenty nanoseconds.
	MaxSteps int64
	// Progress, where set, is told the steps now and then.
	Progress func(steps int64)
}

// A Result holds the best distinct plans found, best first. None means that
// nothing fits, if Proven.
type Result struct {
	Plans []Plan
	// Proven is whether the search was finished: no better plan exists than
	// those given, nor any further one if they are fewer than asked for.
	Proven bool
	// Bound in thousandths of a point: no plan beyond those given loses less.
	// Gap is how far below the best plan it lies, 0 if proven.
	Bound, Gap int64
	Steps      int64
}

// Solve finds the best plans. It is deterministic: the same model and options
// give the same result. The error is that of the model, or of ctx, and then the
// result holds what was found so far.
func Solve(ctx context.Context, m *Model, o Options) (Result, error) {
	if err := m.Check(); err != nil {
		return Result{}, err
	}
	// Losses count in steps of more than all changes together.
	changes := 1
	for _, n := range m.Nodes {
		most := 0
		for _, o := range n.Options {
			most = max(most, o.Changes)
		}
		changes += most
	}
	s := newSearch(ctx, m, o, goal{grain: 1, ties: true,
		cost: func(o *Option) float64 { return float64(o.Loss)*float64(changes) + float64(o.Changes) }})
	s.run()
	var r Result
	for i := range s.best {
		s.settle(&s.best[i])
		r.Plans = append(r.Plans, s.best[i].Plan)
	}
	r.Proven, r.Steps = !s.stopped, s.steps
	bound := s.open
	if len(r.Plans) == s.o.Plans {
		bound = min(bound, s.best[len(s.best)-1].value)
	}
	if !math.IsInf(bound, 0) {
		r.Bound = int64(math.Floor(math.Ceil(bound-s.rounding()) / float64(changes)))
	}
	if len(r.Plans) > 0 {
		r.Gap = max(0, r.Plans[0].Loss-r.Bound)
	}
	return r, s.err
}

// measures compares two plans by what is measured of them; below 0 where a is
// better.
func measures(a, b *Plan) int {
	return cmp.Or(cmp.Compare(a.Loss, b.Loss), cmp.Compare(a.Changes, b.Changes), cmp.Compare(b.Headroom, a.Headroom))
}

// compare is the order of plans.
func compare(a, b *Plan) int {
	return cmp.Or(measures(a, b), slices.Compare(a.Choice, b.Choice))
}
