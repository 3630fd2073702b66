package calibrate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// tell turns the best solution into factors with their intervals and bands.
func (f *fit) tell() {
	r, s := f.result, f.best
	q := s.squares
	r.Level, r.Sigma, r.Freedom = s.level, q.sigma, q.dof
	f.describe()
	spread, dof := f.spread()
	factor := func(j int, key string) Factor {
		at, t := q.at[j], quantile((1+confidence)/2, q.dof)
		wide := quantile((1+confidence)/2, dof) * math.Sqrt(spread*spread+q.sd[j]*q.sd[j])
		return Factor{
			Key:      key,
			Interval: blocks.Figure{Value: at, Low: at - t*q.sd[j], High: at + t*q.sd[j]},
			Band:     f.within(at, wide),
		}
	}
	for j, key := range s.keys {
		made := factor(j, named(key))
		if key == "" {
			made.Key = ""
		}
		if n := s.nodes[key]; s.level == ByNode || n.Use.Own != nil {
			made.Block = n.Block().Name
		}
		for _, p := range f.points {
			if slices.ContainsFunc(p.parts, func(t part) bool { return s.level.key(&t) == key }) {
				made.Readings += p.sums.n
			}
		}
		r.Factors = append(r.Factors, made)
	}
	if s.terms.Stalls {
		made := factor(s.stallsAt(), "")
		made.Readings = f.readings
		r.Stalls = &made
	}
	if s.terms.Calls {
		made := factor(s.callsAt(), "")
		// How far a reading lies off is in the bands of compute already.
		made.Band, made.Readings = made.Interval, 0
		for _, p := range f.points {
			if p.calls > 0 {
				made.Readings += p.sums.n
			}
		}
		r.Calls = &made
	}
	r.Rest = f.rest()
}

// leastBand is the narrowest band that is believed, as a share either way
// (house judgement): another compilation moves cycles by more.
const leastBand = 0.02

// within is the band of a factor. Where every reading lies in the estimate's own
// band about the fit, it is not wider than that.
func (f *fit) within(at, wide float64) blocks.Figure {
	wide = max(wide, leastBand*at)
	band := blocks.Figure{Value: at, Low: max(at-wide, at/absurd), High: at + wide}
	for _, p := range f.points {
		if ratio := p.sums.mean / f.best.predict(p, nil); ratio < f.band.Low || ratio > f.band.High {
			return band
		}
	}
	band.Low, band.High = max(band.Low, at*min(f.band.Low, 1-leastBand)), min(band.High, at*max(f.band.High, 1+leastBand))
	return band
}

// spread is how far a place lies off the fit, as a share of the estimate, by the
// largest of what the readings, their means and the held-out places say, and the
// degrees of freedom of that.
func (f *fit) spread() (sigma float64, dof int) {
	q := f.best.squares
	sigma, dof = q.sigma, f.readings-len(q.at)
	if free := len(f.points) - len(q.at); free > 0 {
		var sum float64
		for _, p := range f.points {
			off := (p.sums.mean - f.best.predict(p, nil)) / p.total()
			sum += off * off
		}
		if means := math.Sqrt(sum / float64(free)); means > sigma {
			sigma, dof = means, free
		}
	}
	if h := f.result.Held; h != nil && h.rootMeanSquareOfFactor > sigma {
		sigma, dof = h.rootMeanSquareOfFactor, h.Points
	}
	return sigma, dof
}

// rest is the factor of what was not timed: the mean of those that were, in the
// band in which one more is to be expected. Two are too few to tell.
func (f *fit) rest() *Factor {
	s := f.best
	if s.level == ByBoard {
		return nil
	}
	var factors []float64
	for j, key := range s.keys {
		if s.nodes[key].Use.Own == nil {
			factors = append(factors, s.squares.at[j])
		}
	}
	n := float64(len(factors))
	if n < 3 {
		return nil
	}
	var all sums
	for _, v := range factors {
		all.add(v)
	}
	t := quantile((1+confidence)/2, len(factors)-1)
	deviation := math.Sqrt(all.m2 / (n - 1))
	mean := t * deviation / math.Sqrt(n)
	return &Factor{
		Interval: blocks.Figure{Value: all.mean, Low: all.mean - mean, High: all.mean + mean},
		Band:     f.within(all.mean, t*deviation*math.Sqrt(1+1/n)),
	}
}

// describe tells the points with what the fit says of them, and how much of what
// the readings differ by the fit explains.
func (f *fit) describe() {
	r := f.result
	var all, left sums
	for _, p := range f.points {
		all = all.with(p.sums)
		fitted := f.best.predict(p, nil)
		off := p.sums.mean - fitted
		left.m2 += p.sums.m2 + float64(p.sums.n)*off*off
		r.Points = append(r.Points, Point{
			Spot: p.spot, Name: p.name, Readings: p.sums.n, Read: p.sums.mean, Estimated: p.total(), Fitted: fitted,
		})
	}
	if all.m2 > 0 {
		r.RSquared = 1 - left.m2/all.m2
	}
	f.outliers()
}

// outliers marks the places that lie farther off a fit of all others than chance
// allows: residuals divided by what the others spread, against the t
// distribution, at 5 % for all places together.
func (f *fit) outliers() {
	s := f.best
	cols := len(s.squares.at)
	x, y, _ := s.rows(f.points, func(*point) float64 { return 1 })
	q, ok := leastSquares(x, y, 0, len(f.points), alikeColumns)
	if !ok || q.dof < 2 {
		return
	}
	limit := quantile(1-(1-confidence)/2/float64(len(f.points)), q.dof-1)
	for i := range f.points {
		var fitted, leverage float64
		for j := range cols {
			fitted += x.At(i, j) * q.at[j]
			for k := range cols {
				leverage += x.At(i, j) * q.spread.At(j, k) * x.At(i, k)
			}
		}
		off := y[i] - fitted
		if leverage > 1-1e-9 || math.Abs(off) < leastSpread {
			continue
		}
		others := math.Sqrt(max(q.rss-off*off/(1-leverage), 0) / float64(q.dof-1))
		f.result.Points[i].Outlier = math.Abs(off) > limit*others*math.Sqrt(1-leverage)
	}
}

// caution tells what else is to be known of the readings.
func (f *fit) caution() {
	r := f.result
	if h := r.Held; h != nil && h.After >= h.Before {
		f.warn("on readings that were kept out the factors are no better than the estimate alone: do not use them before the readings are understood")
	}
	if len(r.sizes) == 1 {
		f.warn("only blocks of %d were timed: what is taken once a call and what is taken a sample cannot be told apart, so that other block sizes stay a guess", r.sizes[0])
	}
	for _, g := range f.graphs {
		if !slices.Contains(r.sizes, g.BlockSize) {
			f.warn("no block of %d was timed, as %s has them: see that 'block_size' in the readings is what the program ran with", g.BlockSize, g.File.Name)
			break
		}
	}
	if len(f.cold) > 0 {
		f.warn("the first readings of a run are left out where the caches were cold, over 1.2 times what the others take: %s", listed(f.cold))
	}
	var broken []string
	for i, p := range f.points {
		if share, above := p.disturbed(); above > 0 {
			broken = append(broken, fmt.Sprintf("%s (%s of the readings, which lift the mean by %s)", p.where(), blocks.Percent(share), blocks.Percent(above)))
		}
		g := f.graphs[p.spot.Graph]
		if budget := float64(g.Board.Clock) * float64(p.spot.BlockSize) / float64(g.SampleRate); p.sums.mean > budget {
			f.warn("%s takes %.0f cycles, and a block lasts only %.0f", p.where(), p.sums.mean, budget)
		}
		if o := &r.Points[i]; o.Outlier {
			f.warn("%s lies off all others: read %.0f cycles, fitted %.0f, first in line %d", p.where(), o.Read, o.Fitted, p.spot.Line)
		}
	}
	if len(broken) > 0 {
		f.warn("readings of over 1.5 times the median stand among those of %s: an interrupt fell into them; time with interrupts off, or leave them out", listed(broken))
	}
	for i := range r.Factors {
		if v := r.Factors[i].Interval.Value; v > unlikely || v < 1/unlikely {
			f.warn("the factor %.3g of %s is far from 1: see whether what was timed is what the graph says", v, named(r.Factors[i].Key))
		}
	}
}

// listed are the first few of some places, and how many more there are.
func listed(places []string) string {
	const most = 3
	if len(places) <= most {
		return strings.Join(places, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(places[:most], ", "), len(places)-most)
}

// disturbed tells the share of readings that something interrupted, and by what
// share they lift the mean; nothing where the node's own work comes and goes.
func (p *point) disturbed() (share, above float64) {
	kept := slices.Sorted(slices.Values(p.spot.kept))
	if len(kept) < 20 || p.varies {
		return 0, 0
	}
	median := kept[len(kept)/2]
	long, sum := 0, 0.0
	for _, v := range kept {
		sum += v
		if v > 1.5*median {
			long++
		}
	}
	share = float64(long) / float64(len(kept))
	if above = sum/float64(len(kept))/median - 1; long == 0 || share > 0.2 || above < 0.002 {
		return 0, 0
	}
	return share, above
}
