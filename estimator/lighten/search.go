package lighten

import (
	"cmp"
	"context"
	"math"
	"slices"

	"elbowroom/estimator"
	"elbowroom/estimator/plan"
)

// search looks for plans under one setting of the whole graph and adds those
// that are among the best to the result.
func (s *setting) search(ctx context.Context, o *Options, r *Result) error {
	if o.meets(s.after) {
		r.add(o, Plan{Changes: s.changes, Loss: s.loss, After: s.after})
		return nil
	}
	if err := s.gather(ctx, o); err != nil {
		return err
	}
	for _, swaps := range s.swaps {
		r.Alternatives += len(swaps)
	}
	m := newModel(s, o)
	var short shortfall
	tried := 0
	for want := 2 * o.Plans; ; want *= 4 {
		found, err := plan.Solve(ctx, &m.Model, plan.Options{Plans: want, MaxSteps: o.steps(), Progress: func(int64) { o.Progress(s.doing()) }})
		if err != nil {
			return err
		}
		for _, p := range found.Plans[min(tried, len(found.Plans)):] {
			if r.full(o, s.loss+points(p.Loss)) {
				return nil
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if _, err := s.confirm(o, r, m, &p, &short); err != nil {
				return err
			}
		}
		tried = len(found.Plans)
		bound := s.loss + points(found.Bound)
		switch {
		case tried < want && found.Proven, r.full(o, bound):
			return nil
		case tried < want, want >= mostConfirmed, len(r.Plans) > 0 && want >= mostFurther:
			r.unproven(bound)
			if len(r.Plans) > 0 && bound >= r.Plans[0].Loss-rounding {
				return nil // the first is not bettered
			}
			return s.tighten(ctx, o, r, m, &short)
		}
	}
}

// shortfall is what plans of the model lacked once they were estimated in full.
type shortfall struct {
	kinds map[estimator.ResourceKind]bool // that were over in one of them
	least float64                         // shares of the limits, the smallest of all
}

func (f *shortfall) add(o *Options, e *estimator.Estimate) {
	if f.kinds == nil {
		f.kinds, f.least = map[estimator.ResourceKind]bool{}, math.Inf(1)
	}
	for i := range e.Resources {
		if r := &e.Resources[i]; r.Used.High > o.limit(r) {
			f.kinds[r.Kind] = true
		}
	}
	f.least = min(f.least, e.Excess(o.limit))
}

const (
	// tighterPlans are confirmed under each of the tighter limits.
	tighterPlans = 8
	// doublings and halvings bound how many of them there are.
	doublings = 8
	halvings  = 5
)

// tighten looks for plans where those that the model offers first do not fit once
// they are estimated in full: under limits of the model that are tighter by what
// these lacked, doubled until a plan fits, and then by as little as lets one fit.
// It proves nothing, and finds what is hidden behind many that nearly fit.
func (s *setting) tighten(ctx context.Context, o *Options, r *Result, m *model, short *shortfall) error {
	if len(short.kinds) == 0 {
		return nil // none lacked room: a default of the board that nobody confirmed decides
	}
	// enough is whether a plan fits, or none would be of use any more.
	enough := func(by float64) (bool, error) {
		found, err := plan.Solve(ctx, m.tightened(short.kinds, by), plan.Options{Plans: tighterPlans, MaxSteps: o.steps(), Progress: func(int64) { o.Progress(s.doing()) }})
		if err != nil {
			return false, err
		}
		for _, p := range found.Plans {
			if r.full(o, s.loss+points(p.Loss)) {
				return true, nil
			}
			if fits, err := s.confirm(o, r, m, &p, short); fits || err != nil {
				return fits, err
			}
		}
		return len(found.Plans) == 0, nil
	}
	loose, tight := 0.0, short.least
	for range doublings {
		ok, err := enough(tight)
		if err != nil {
			return err
		}
		if ok {
			break
		}
		loose, tight = tight, 2*tight
	}
	for range halvings {
		middle := (loose + tight) / 2
		ok, err := enough(middle)
		switch {
		case err != nil:
			return err
		case ok:
			tight = middle
		default:
			loose = middle
		}
	}
	return nil
}

// steps is how many the planner may take.
func (o *Options) steps() int64 {
	if o.Steps > 0 {
		return o.Steps
	}
	return modelSteps
}

func points(loss int64) float64 { return float64(loss) / thousandth }

// full tells whether there are as many plans as wanted, and none that loses so
// much could be among them.
func (r *Result) full(o *Options, loss float64) bool {
	return len(r.Plans) >= o.Plans && loss >= r.Plans[o.Plans-1].Loss-rounding
}

// unproven records that plans which lose more than a bound were passed over.
func (r *Result) unproven(bound float64) {
	if r.Proven || bound < r.Bound {
		r.Bound = bound
	}
	r.Proven = false
}

// confirm makes a plan of the model in the graph and keeps it where it fits; one
// that another makes needless it leaves alone. What is missing it adds to short.
func (s *setting) confirm(o *Options, r *Result, m *model, p *plan.Plan, short *shortfall) (fits bool, err error) {
	made, swaps := s.draft(m, p.Choice)
	if r.outdone(made) {
		return true, nil
	}
	r.Confirmed++
	made, err = s.estimated(made, swaps)
	switch {
	case err != nil || made == nil:
		return false, err
	case !o.meets(made.After):
		short.add(o, made.After)
		return false, nil
	}
	r.add(o, *made)
	return true, nil
}

// realise makes the choices of the model in the graph and estimates it; nil: they
// do not go together.
func (s *setting) realise(m *model, choice []int) (*Plan, error) {
	return s.estimated(s.draft(m, choice))
}

// draft is the plan that choices of the model come to, with the swaps that it
// makes; it is not estimated yet.
func (s *setting) draft(m *model, choice []int) (*Plan, []*estimator.Swap) {
	made := &Plan{Changes: slices.Clip(s.changes), Loss: s.loss}
	var swaps []*estimator.Swap
	for i, k := range choice {
		w := m.swap(i, k)
		if w == nil {
			continue
		}
		swaps = append(swaps, w)
		made.Loss += w.Loss
		made.Changes = append(made.Changes, Change{Node: s.after.Graph.Nodes[w.Node].Name, Write: w.Change, Heard: w.Heard, Effects: w.Effects, Loss: w.Loss, Moves: w.Moves()})
	}
	return made, swaps
}

// estimated is a plan with the graph estimated after its swaps; nil: they do not go
// together.
func (s *setting) estimated(p *Plan, swaps []*estimator.Swap) (*Plan, error) {
	g, err := s.after.Graph.WithSwaps(swaps...)
	if g == nil || err != nil {
		return nil, err
	}
	if p.After, err = g.Estimate(); err != nil {
		return nil, nil // it cannot be worked out with these values together
	}
	return p, nil
}

// outdone tells whether a plan that is there makes another needless.
func (r *Result) outdone(p *Plan) bool {
	return slices.ContainsFunc(r.Plans, func(q Plan) bool { return q.outdoes(p) })
}

// add keeps a plan among the best, unless another makes it needless; it takes the
// place of those that it makes so itself.
func (r *Result) add(o *Options, p Plan) {
	if r.outdone(&p) {
		return
	}
	r.Plans = slices.DeleteFunc(r.Plans, func(q Plan) bool { return p.outdoes(&q) })
	at, _ := slices.BinarySearchFunc(r.Plans, p, func(a, b Plan) int {
		return cmp.Or(cmp.Compare(a.Loss, b.Loss), cmp.Compare(a.moves(), b.moves()), -1)
	})
	r.Plans = slices.Insert(r.Plans, at, p)
	r.Plans = r.Plans[:min(len(r.Plans), o.Plans)]
}

// outdoes tells whether another plan spares nothing that this one gives up: it
// loses no less, in whatever is heard of any node. A plan with which the graph
// fits only tightly leaves room for one that keeps the reserve, which one that is
// not estimated yet may be.
func (p *Plan) outdoes(q *Plan) bool {
	if p.After.Verdict > estimator.Fits && (q.After == nil || q.After.Verdict < p.After.Verdict) {
		return false
	}
	ours, theirs := p.heard(), q.heard()
	for what, points := range ours {
		if points > theirs[what]+rounding {
			return false
		}
	}
	return p.Loss <= q.Loss
}

// facet is what is heard of a node, or of the whole graph where it names none.
type facet struct{ node, metric string }

// heard is what a plan loses, in points.
func (p *Plan) heard() map[facet]float64 {
	points := map[facet]float64{}
	for _, c := range p.Changes {
		for _, f := range c.Effects {
			points[facet{c.Node, f.Metric.Name}] += f.Points
		}
	}
	return points
}
