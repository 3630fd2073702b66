package lighten

import (
	"context"
	"math"
	"slices"

	"elbowroom/estimator"
	"elbowroom/estimator/plan"
)

// Miss tells of a graph that nothing makes fit how near it comes.
type Miss struct {
	// Nearest is the plan that misses the limits by least, in the sum of what is
	// missing as shares of the limits, with all settings of the whole graph as
	// they stand.
	Nearest Plan
	// Shifts are the limits that would be enough if each alone were another.
	Shifts []Shift
	// Never tells that no limit alone would be enough, and that this is proven.
	Never bool
}

// Shift is a limit that would be enough if it alone were another.
type Shift struct {
	Resource string
	Kind     estimator.ResourceKind
	Limit    float64 // now
	// Least is the least that the limit would have to be; it may have to be a
	// little more, since only what is sure is counted.
	Least float64
}

// miss looks for the nearest plan and for the limits that keep it from fitting.
func (s *setting) miss(ctx context.Context, o *Options) (*Miss, error) {
	if s.swaps == nil {
		if err := s.gather(ctx, o); err != nil {
			return nil, err
		}
	}
	m := newModel(s, o)
	steps := plan.Options{MaxSteps: o.steps()}
	near, found, err := plan.Nearest(ctx, &m.Model, steps)
	if err != nil {
		return nil, err
	}
	miss := &Miss{Nearest: Plan{After: s.after}}
	if found {
		made, err := s.realise(m, near.Choice)
		if err != nil {
			return nil, err
		}
		if made != nil && made.After.Excess(o.limit) < s.after.Excess(o.limit) {
			miss.Nearest = *made
		}
	}
	e := s.after
	if scenes(e.Graph) > 1 {
		return miss, nil // a limit of theirs is several in the model
	}
	// What all banks hold together is no limit of the board: only theirs are.
	m.Resources = slices.Clone(m.Resources)
	m.Resources[dataIndex].Limit = math.MaxInt64 / 4
	shifts, err := plan.Shifts(ctx, &m.Model, steps)
	if err != nil {
		return nil, err
	}
	miss.Never = true
	for k, shift := range shifts {
		if k == dataIndex || shift.Outcome == plan.Never {
			continue
		}
		miss.Never = false
		if r, least, ok := m.limitOf(e, k, shift.Limit); ok && shift.Outcome == plan.Enough {
			if limit := o.limit(&r); least > limit {
				miss.Shifts = append(miss.Shifts, Shift{Resource: r.Name, Kind: r.Kind, Limit: limit, Least: least})
			}
		}
	}
	return miss, nil
}

// limitOf is the resource of the board that a limit of the model stands for, and
// what it would be with another limit in the model: resources are counted before
// banks.
func (m *model) limitOf(e *estimator.Estimate, k int, limit int64) (estimator.Resource, float64, bool) {
	if bank := k - len(m.Resources); bank >= 0 {
		name := e.Graph.Board.Banks[bank].Name
		return e.Resource(name), float64(limit) + float64(e.Banks[bank].Parts[estimator.PartSystem]), m.Banks[bank].Capacity > 0
	}
	name := m.Resources[k].Name
	switch k {
	case flashIndex:
		name = e.Graph.Board.Banks[e.Graph.CodeBank()].Name
	case m.Stalled:
		name = "cpu"
	}
	r := e.Resource(name)
	return r, float64(limit) + m.offset[k], r.Limit > 0
}

// Trade is the curve of what must be lost for a lighter graph: plans that fit,
// from the least loss to the least use, of none of which another loses as little
// and takes as little. All is whether there is none between them.
type Trade struct {
	Load, Memory       []Plan
	AllLoad, AllMemory bool
}

// Curves finds what must be lost for less load and for less data memory, about
// so many points of each, with all settings of the whole graph as they stand.
func Curves(ctx context.Context, e *estimator.Estimate, o Options, points int) (*Trade, error) {
	if err := o.check(e); err != nil {
		return nil, err
	}
	s := &setting{after: e}
	if err := s.gather(ctx, &o); err != nil {
		return nil, err
	}
	m := newModel(s, &o)
	t := &Trade{}
	var err error
	if t.Load, t.AllLoad, err = s.curve(ctx, &o, m, m.Stalled, points); err != nil {
		return nil, err
	}
	t.Memory, t.AllMemory, err = s.curve(ctx, &o, m, plan.Bytes, points)
	return t, err
}

// curve is one of the curves, its plans confirmed.
func (s *setting) curve(ctx context.Context, o *Options, m *model, axis, points int) ([]Plan, bool, error) {
	curve, err := plan.Trade(ctx, &m.Model, axis, points, plan.Options{MaxSteps: o.steps()})
	if err != nil {
		return nil, false, err
	}
	var list []Plan
	for _, p := range curve.Points {
		made, err := s.realise(m, p.Choice)
		if err != nil {
			return nil, false, err
		}
		if made != nil && o.meets(made.After) {
			list = append(list, *made)
		}
	}
	return list, curve.Whole, nil
}
