package plan

import (
	"context"
	"math"
	"slices"
)

// Bytes is the axis of a curve on which the bytes of all copies of buffers are,
// whatever banks they lie in.
const Bytes = -1

// A Curve is what must be lost for less use of a resource, or for fewer bytes of
// buffers: points of which none is as good as another in both.
type Curve struct {
	// Points begin with least loss, and lose more and use less from one to the
	// next.
	Points []Point
	// Whole is whether these are all the points there are. Where only some were
	// asked for, or a search stopped early, there may be others between them.
	Whole bool
}

// A Point is a plan, and what it uses of the axis.
type Point struct {
	Plan
	Axis int64
	// Proven is whether no plan loses as little and uses less, nor uses as little
	// and loses less.
	Proven bool
}

// Trade finds the curve of loss against resource r, or against Bytes, within all
// limits: about points of it, spread evenly over the axis, or every one where
// points is 0. Each point takes two searches of at most o.MaxSteps steps: the
// least loss within what is allowed of the axis, then the least use at that
// loss.
func Trade(ctx context.Context, m *Model, r, points int, o Options) (Curve, error) {
	if err := m.Check(); err != nil {
		return Curve{}, err
	}
	t := newTrade(m, r)
	o.Plans = 1
	step := int64(1)
	curve := Curve{Whole: true}
	for {
		loss, proven, err := t.leastLoss(ctx, o)
		if err != nil {
			return curve, err
		}
		if loss < 0 {
			curve.Whole = curve.Whole && proven
			return curve, nil
		}
		t.m.Resources[t.loss].Limit = loss
		shift, best, err := least(ctx, &t.m, t.axis, o)
		if err != nil {
			return curve, err
		}
		t.m.Resources[t.loss].Limit = math.MaxInt64
		proven = proven && shift.Outcome == Enough
		curve.Whole = curve.Whole && proven
		if len(best) == 0 {
			return curve, nil
		}
		p := Point{Plan: best[0].Plan, Axis: best[0].Use[t.axis], Proven: proven}
		p.Use = p.Use[:len(m.Resources)]
		p.Headroom = m.headroom(p.Use)
		curve.Points = append(curve.Points, p)
		if points > 0 && len(curve.Points) == 1 {
			shift, _, err := least(ctx, &t.m, t.axis, o)
			if err != nil {
				return curve, err
			}
			if step = max(1, (p.Axis-shift.Bound)/int64(points)); step > 1 {
				curve.Whole = false
			}
		}
		t.m.Resources[t.axis].Limit = p.Axis - step
	}
}

// trade is a model with its axis and the loss among its resources.
type trade struct {
	m          Model
	axis, loss int
}

func newTrade(m *Model, r int) *trade {
	t := &trade{m: *m, axis: r, loss: len(m.Resources)}
	t.m.Resources = append(slices.Clone(m.Resources), Resource{Name: "loss", Limit: math.MaxInt64})
	if r == Bytes {
		t.axis = len(t.m.Resources)
		t.m.Resources = append(t.m.Resources, Resource{Name: "bytes of buffers", Limit: math.MaxInt64})
	}
	more := make([]int64, len(t.m.Resources)-len(m.Resources))
	t.m.Charges = slices.Clone(m.Charges)
	for c := range t.m.Charges {
		t.m.Charges[c].Use = slices.Concat(m.Charges[c].Use, more)
	}
	t.m.Nodes = slices.Clone(m.Nodes)
	for i := range t.m.Nodes {
		options := slices.Clone(m.Nodes[i].Options)
		for k := range options {
			o := &options[k]
			o.Use = append(slices.Clone(o.Use), o.Loss)
			if r == Bytes {
				o.Use = append(o.Use, o.bytes())
			}
		}
		t.m.Nodes[i].Options = options
	}
	return t
}

// leastLoss is the least loss within all limits, -1 where no plan was found, and
// whether that is proven.
func (t *trade) leastLoss(ctx context.Context, o Options) (loss int64, proven bool, err error) {
	s := newSearch(ctx, &t.m, o, goal{grain: 1, cost: func(o *Option) float64 { return float64(o.Loss) }})
	s.run()
	if len(s.best) == 0 {
		return -1, !s.stopped, s.err
	}
	return s.best[0].Loss, !s.stopped, s.err
}
