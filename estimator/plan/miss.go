package plan

import (
	"context"
	"math"
	"slices"
)

// A Shift is what one limit alone would have to be for something to fit, all
// others as they are.
type Shift struct {
	// Limit is the least that is enough, or the least known to be where Outcome
	// is Unknown; it may be below what it is now. 0 where none is known.
	Limit int64
	// Bound: nothing below it is enough.
	Bound   int64
	Outcome Outcome
	Steps   int64
}

// Outcome is what a search for the least limit came to.
type Outcome int

const (
	// Enough: Limit is the least limit with which something fits.
	Enough Outcome = iota
	// Never: whatever this limit is, other limits forbid it all.
	Never
	// Unknown: the steps were used up before either was proven.
	Unknown
)

// Shifts answers for every resource in turn, then for every bank. Each is one
// search, of at most o.MaxSteps steps, for the choice that uses least of it.
func Shifts(ctx context.Context, m *Model, o Options) ([]Shift, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	shifts := make([]Shift, len(m.Resources)+len(m.Banks))
	for limit := range shifts {
		var err error
		if shifts[limit], _, err = least(ctx, m, limit, o); err != nil {
			return nil, err
		}
	}
	return shifts, nil
}

// Move returns the smallest limit of resource r with which something fits, all
// other limits as they are; false where no limit of r alone is enough, or where
// a search of o.MaxSteps steps could not tell: Shifts tells the two apart. It
// may be below the limit now.
func Move(ctx context.Context, m *Model, r int, o Options) (int64, bool, error) {
	if err := m.Check(); err != nil {
		return 0, false, err
	}
	s, _, err := least(ctx, m, r, o)
	return s.Limit, s.Outcome == Enough && err == nil, err
}

// least finds the choice that uses least of one limit, resources counted before
// banks, while all others hold.
func least(ctx context.Context, m *Model, limit int, o Options) (Shift, []found, error) {
	moved := *m
	g := goal{grain: 1, cost: func(*Option) float64 { return 0 }, soft: make([]float64, len(m.Resources)+len(m.Banks))}
	g.soft[limit] = 1
	var low int64
	if limit < len(m.Resources) {
		low, _ = m.reach(limit)
		moved.Resources = slices.Clone(m.Resources)
		moved.Resources[limit].Limit = low
	} else {
		moved.Banks = slices.Clone(m.Banks)
		moved.Banks[limit-len(m.Resources)].Capacity = 0
	}
	o.Plans = 1
	s := newSearch(ctx, &moved, o, g)
	s.run()
	shift := Shift{Steps: s.steps, Bound: low}
	bound := s.open
	if len(s.best) > 0 {
		shift.Limit = low + int64(math.Round(s.best[0].value))
		bound = min(bound, s.best[0].value)
	}
	switch {
	case s.stopped:
		shift.Outcome = Unknown
	case len(s.best) == 0:
		shift.Outcome = Never
	}
	if !math.IsInf(bound, 0) {
		shift.Bound = low + max(0, int64(math.Ceil(bound-s.rounding())))
	}
	return shift, s.best, s.err
}

// A Miss is a plan that exceeds limits, by as little as can be.
type Miss struct {
	Plan
	// Over is by how much each resource exceeds its limit, and Overfull by how
	// many bytes each bank does; 0 where it does not.
	Over, Overfull []int64
	// Overshoot is the sum of both, each as a share of its limit.
	Overshoot float64
	// Proven is whether none exceeds the limits by less. Bound is what each
	// does by at least.
	Proven bool
	Bound  float64
	Steps  int64
}

// tiny is what all losses together weigh against exceeding a limit by its
// whole: enough to choose between choices that miss alike.
const tiny = 1e-6

// Nearest finds the choice that misses the limits by least, in the sum over
// resources and banks of the share of its limit that each is exceeded by; of
// those that miss alike, the one of least loss. It is false where a buffer has
// no bank that may hold it, or the search stopped before it came to any.
func Nearest(ctx context.Context, m *Model, o Options) (Miss, bool, error) {
	if err := m.Check(); err != nil {
		return Miss{}, false, err
	}
	g := goal{soft: make([]float64, len(m.Resources)+len(m.Banks))}
	for r, res := range m.Resources {
		g.soft[r] = 1 / float64(max(res.Limit, 1))
	}
	for b, bank := range m.Banks {
		g.soft[len(m.Resources)+b] = 1 / float64(max(bank.Capacity, 1))
	}
	losses := 1.0
	for _, n := range m.Nodes {
		losses += float64(slices.MaxFunc(n.Options, func(a, b Option) int { return int(a.Loss - b.Loss) }).Loss)
	}
	g.cost = func(o *Option) float64 { return tiny * float64(o.Loss) / losses }
	o.Plans = 1
	s := newSearch(ctx, m, o, g)
	s.run()
	if len(s.best) == 0 {
		return Miss{}, false, s.err
	}
	miss := Miss{Plan: s.best[0].Plan, Over: make([]int64, len(m.Resources)), Overfull: make([]int64, len(m.Banks)),
		Proven: !s.stopped, Steps: s.steps}
	for r, u := range miss.Use {
		miss.Over[r] = max(0, u-m.Resources[r].Limit)
		miss.Overshoot += float64(miss.Over[r]) * g.soft[r]
	}
	for b, f := range miss.Filled {
		miss.Overfull[b] = max(0, f-m.Banks[b].Capacity)
		miss.Overshoot += float64(miss.Overfull[b]) * g.soft[len(m.Resources)+b]
	}
	miss.Bound = max(0, min(s.open-tiny, miss.Overshoot))
	return miss, true, s.err
}
