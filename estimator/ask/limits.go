package ask

import (
	"cmp"
	"context"
	"math"
	"reflect"
	"slices"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// Limit is how far one dial can be turned in one direction, all else equal.
//
// Of a graph that does not fit it is how far the dial must be turned, this one
// alone, so that it fits.
type Limit struct {
	Dial  *Dial
	Up    bool    // the direction from now to Value
	Value float64 // the farthest that holds, or the nearest that fits
	Text  string  // the value as a file writes it
	// Past is the next step as a file writes it, which does not fit or is
	// refused; "" where the dial's range ends here.
	Past string
	Stop Stop
	// Slope is what one unit of the dial's base costs on the farther half of the
	// way from now to the value, so that what is paid once near by is left out;
	// on the step past it where that is no way.
	Slope Slope
	After *estimator.Estimate // at the value
}

// Stop is what stands in the way of one step more. Where all is zero the range
// of the dial ends.
type Stop struct {
	Resource *estimator.Resource // does not fit one step past
	Refusal  string              // what the reader says one step past
}

// Slope is what one unit more costs.
type Slope struct {
	Memory, Flash float64 // bytes
	Cycles        float64 // of the worst block
}

// Limits are the edges of a graph.
type Limits struct {
	Estimate *estimator.Estimate
	// Limits are the directions in which a dial makes the graph heavier, the
	// nearest edge first. Of a graph that does not fit they are the dials that
	// can make it fit.
	Limits []Limit
	// Free are dials that change no cost anywhere in their range.
	Free []*Dial
	// Helpless are dials that change a cost and cannot make a graph fit alone.
	Helpless []*Dial
}

// FindLimits looks for the edge of each dial that wanted takes; nil takes all.
//
// A value holds where every resource fits or is tight, or is no more than
// unsure where it is unsure already. An edge is exact: its value holds, and one
// step past it does not. Where the verdict is not monotone on the way, as
// placement can make it, there may be other edges farther on.
//
// The error is that of the context, where it ends before the search does.
func FindLimits(ctx context.Context, e *estimator.Estimate, wanted func(*Dial) bool) (*Limits, error) {
	s := &seeker{standard: newStandard(e), base: e, ended: ctx.Err}
	s.now = s.weigh(e)
	var dials []*Dial
	for _, d := range Dials(e.Graph) {
		if wanted == nil || wanted(d) {
			dials = append(dials, d)
		}
	}
	found := make([]found, len(dials))
	each(len(dials), func(i int) { found[i] = s.dial(dials[i]) })
	if err := ctx.Err(); err != nil {
		return nil, err // what was found rests on points that were not tried
	}
	l := &Limits{Estimate: e}
	for i, f := range found {
		l.Limits = append(l.Limits, f.limits...)
		if f.free {
			l.Free = append(l.Free, dials[i])
		}
		if f.helpless {
			l.Helpless = append(l.Helpless, dials[i])
		}
	}
	slices.SortStableFunc(l.Limits, func(a, b Limit) int { return cmp.Compare(a.room(), b.room()) })
	return l, nil
}

// room is how far away an edge is, as a factor; the end of a range is farther
// than any other edge.
func (l *Limit) room() float64 {
	d := l.Dial
	if l.Stop == (Stop{}) {
		return math.Inf(1)
	}
	low, high := min(d.Now, l.Value), max(d.Now, l.Value)
	if low <= 0 {
		return 1 + (high-low)/max(math.Abs(d.Range.Low), math.Abs(d.Range.High))
	}
	return high / low
}

type found struct {
	limits         []Limit
	free, helpless bool
}

// seeker looks for edges around one estimate.
type seeker struct {
	standard
	base  *estimator.Estimate
	now   point
	ended func() error // why the search is given up
}

// at is the graph with a dial turned to a step of its grid. Once the search is
// given up nothing is tried, and all loops come to their end in a few steps.
func (s *seeker) at(d *Dial, step int) point {
	p := point{refusal: "it was not tried"}
	value := d.grid().value(step)
	if s.ended() == nil {
		p = s.try(s.base.Graph, d.Turn(d.Text(value)))
	}
	p.step, p.value = step, value
	return p
}

// dial looks for the edges of one dial.
func (s *seeker) dial(d *Dial) found {
	if s.free(d) {
		return found{free: true}
	}
	var f found
	grid := d.grid()
	now := s.now
	now.value = d.Now
	up, down := now, now
	up.step, down.step = grid.floor(d.Now), grid.ceil(d.Now)
	top, bottom := up, down
	low, high := d.ends()
	if high > up.step {
		top = s.at(d, high)
	}
	if low < down.step {
		bottom = s.at(d, low)
	}
	for _, way := range []struct{ from, end, back point }{{up, top, bottom}, {down, bottom, top}} {
		l, ok := s.way(d, way.from, way.end, way.back)
		if ok {
			f.limits = append(f.limits, l)
		}
	}
	if !s.now.holds && len(f.limits) == 0 {
		f.helpless = true
	}
	return f
}

// way looks for the edge between now and one end of a dial's range. Back is
// the other end. There is none where that way makes nothing heavier.
func (s *seeker) way(d *Dial, from, end, back point) (Limit, bool) {
	switch {
	case !s.now.holds:
		if end.step == from.step {
			return Limit{}, false
		}
		holds, found := s.anyThatHolds(d, from, end)
		if !found {
			return Limit{}, false
		}
		holds, fails := s.narrow(d, holds, from)
		return s.limit(d, holds, &fails), true
	case end.step == from.step:
		// Now is the end of the range; it is an edge where the way back is lighter.
		if back.after == nil || back.step == from.step || !from.heavier(&back) {
			return Limit{}, false
		}
		return s.limit(d, from, nil), true
	case !end.holds:
		holds, fails := s.narrow(d, from, end)
		return s.limit(d, holds, &fails), true
	case end.heavier(&s.now):
		return s.limit(d, end, nil), true
	}
	return Limit{}, false
}

// anyThatHolds looks for a value that holds between now, which does not, and
// the end of the range: where the end is refused or too heavy in another way,
// it may lie in between.
func (s *seeker) anyThatHolds(d *Dial, from, end point) (point, bool) {
	if end.holds {
		return end, true
	}
	near, far := from.step, end.step
	for far-near > 1 || near-far > 1 {
		p := s.at(d, near+(far-near)/2)
		switch {
		case p.holds:
			return p, true
		case p.after != nil && s.stillOver(&p):
			near = p.step
		default:
			far = p.step
		}
	}
	return point{}, false
}

// stillOver tells whether a resource that does not hold now does not hold at a
// point either.
func (s *seeker) stillOver(p *point) bool {
	for i, r := range s.base.Resources {
		if r.Verdict <= s.allows(r.Name) {
			continue
		}
		if i < len(p.after.Resources) && p.after.Resources[i].Verdict > s.allows(r.Name) {
			return true
		}
	}
	return false
}

// limit tells an edge; fails is one step past it, nil where the range ends.
func (s *seeker) limit(d *Dial, holds point, fails *point) Limit {
	l := Limit{Dial: d, Value: holds.value, Text: d.Text(holds.value), After: holds.after, Up: holds.value > d.Now}
	if fails != nil {
		l.Past = d.Text(fails.value)
		l.Stop = Stop{Resource: fails.stop, Refusal: fails.refusal}
		if holds.value == d.Now {
			l.Up = fails.value > holds.value
		}
	} else if holds.value == d.Now {
		l.Up = d.Now >= d.Range.High
	}
	from, to := s.now, holds
	from.value = d.Now
	if holds.value == d.Now && fails != nil {
		to = *fails
	} else if half := d.grid().floor((d.Now + holds.value) / 2); half != d.grid().floor(d.Now) {
		if p := s.at(d, half); p.after != nil {
			from = p
		}
	}
	if run := to.value - from.value; run != 0 && to.after != nil {
		l.Slope = Slope{ // with no sign before a zero
			Memory: (to.need.memory-from.need.memory)/run + 0,
			Flash:  (to.need.flash-from.need.flash)/run + 0,
			Cycles: (to.need.cycles-from.need.cycles)/run + 0,
		}
	}
	return l
}

// free tells whether a parameter changes no cost: what its node needs is the
// same at the ends of its range and half way, and so are the rates of the
// events it sends.
func (s *seeker) free(d *Dial) bool {
	if d.node < 0 {
		return false
	}
	g := s.base.Graph
	n := g.Nodes[d.node]
	now, ok := needs(g, n, &n.Use)
	if !ok {
		return false
	}
	for _, v := range []float64{d.Range.Low, (d.Range.Low + d.Range.High) / 2, d.Range.High} {
		use := n.Use
		use.Settings = slices.Clone(use.Settings)
		span := &use.Settings[d.param].Span
		switch d.End {
		case Near:
			span.Low = v
		case Far:
			span.High = v
		default:
			*span = blocks.Span{Low: v, High: v}
		}
		if there, ok := needs(g, n, &use); !ok || !reflect.DeepEqual(now, there) {
			return false
		}
	}
	return true
}

// wants is what a use asks of the board and of the nodes after it.
type wants struct {
	demand blocks.Demand
	rates  []blocks.Hertz
}

// needs is what a use asks for, its gains left out, which cost nothing. It is
// false where that cannot be worked out.
func needs(g *estimator.Graph, n *estimator.Node, use *blocks.Use) (wants, bool) {
	demand, err := use.Demand(g.Core)
	if err != nil {
		return wants{}, false
	}
	w := wants{demand: *demand}
	w.demand.Gain, w.demand.LoopGain = 0, 0
	for i := range n.Block().Outputs {
		rate, err := use.EventRate(&n.Block().Outputs[i])
		if err != nil {
			return wants{}, false
		}
		w.rates = append(w.rates, rate)
	}
	return w, true
}
