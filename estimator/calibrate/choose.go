package calibrate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"elbowroom/estimator"
)

// solution is the factors of a level.
type solution struct {
	level   Level
	terms   Terms
	keys    []string
	nodes   map[string]*estimator.Node // one for each key
	squares *squares
}

// stallsAt is the column of stalls, after those of the keys; callsAt that of calls.
func (s *solution) stallsAt() int { return len(s.keys) }

func (s *solution) callsAt() int {
	if s.terms.Stalls {
		return len(s.keys) + 1
	}
	return len(s.keys)
}

// cols is how many factors there are.
func (s *solution) cols() int {
	if s.terms.Calls {
		return s.callsAt() + 1
	}
	return s.callsAt()
}

// key is what a part shares its factor with.
func (l Level) key(t *part) string {
	b := t.node.Block()
	switch {
	case t.own || l == ByNode:
		return t.node.Name + " " + b.Name
	case l == ByFamily:
		return b.Family
	case l == ByBlock:
		return b.Name
	}
	return ""
}

// solve fits one factor for each key of a level; refused says why there is none.
func solve(points []*point, level Level, terms Terms) (s *solution, refused string) {
	s = &solution{level: level, terms: terms, nodes: map[string]*estimator.Node{}}
	readings := map[string]int{}
	all := 0
	for _, p := range points {
		all += p.sums.n
		for i := range p.parts {
			key := level.key(&p.parts[i])
			if s.nodes[key] == nil {
				s.nodes[key] = p.parts[i].node
				s.keys = append(s.keys, key)
			}
			readings[key] += p.sums.n
		}
	}
	cols := s.cols()
	if cols == 0 {
		return nil, "nothing of it has a factor"
	}
	for _, key := range s.keys {
		if readings[key] < fewestReadings {
			return s, fmt.Sprintf("%s has %d readings, fewer than %d", named(key), readings[key], fewestReadings)
		}
	}
	if all <= cols || len(points) < cols {
		return s, fmt.Sprintf("%d factors are too many for %d places", cols, len(points))
	}
	x, y, more := s.rows(points, func(p *point) float64 { return math.Sqrt(float64(p.sums.n)) })
	var ok bool
	if s.squares, ok = leastSquares(x, y, more, all, alikeColumns); !ok {
		return s, "its terms always come together, so that the readings cannot tell them apart"
	}
	for j, factor := range s.squares.at {
		if factor <= 0 {
			what := "stalls"
			switch {
			case j < len(s.keys):
				what = named(s.keys[j])
			case j == s.callsAt():
				what = "calls"
			}
			return s, fmt.Sprintf("the factor of %s comes out at %.3g, and time does not run backwards", what, factor)
		}
	}
	s.lack(points)
	if cols > 1 {
		for j, factor := range s.squares.at {
			if factor <= quantile((1+confidence)/2, s.squares.dof)*s.squares.sd[j] {
				return s, "an interval reaches down to nothing, so that the readings do not tell its factor"
			}
		}
	}
	return s, ""
}

// named is a key for people.
func named(key string) string {
	if key == "" {
		return "the board"
	}
	name, _, _ := strings.Cut(key, " ")
	return name
}

// rows are the equations of a solution, each divided by its estimate, since the
// error of a reading grows with what is read.
func (s *solution) rows(points []*point, weight func(*point) float64) (x *mat.Dense, y []float64, more float64) {
	cols := s.cols()
	x, y = mat.NewDense(len(points), cols, nil), make([]float64, len(points))
	for i, p := range points {
		scale := weight(p) / p.total()
		for k := range p.parts {
			j := slices.Index(s.keys, s.level.key(&p.parts[k]))
			x.Set(i, j, x.At(i, j)+p.parts[k].cycles*scale)
		}
		read := p.sums.mean - p.rest
		if s.terms.Stalls {
			x.Set(i, s.stallsAt(), p.stalls*scale)
		} else {
			read -= p.stalls
		}
		if s.terms.Calls {
			x.Set(i, s.callsAt(), p.calls*scale)
		}
		y[i] = read * scale
		more += p.sums.m2 / (p.total() * p.total())
	}
	return x, y, more
}

// lack widens the intervals where the means lie farther off the fit than the
// readings of one place lie apart, by the usual test of lack of fit at 5 %:
// reading a place again does not make the model truer.
func (s *solution) lack(points []*point) {
	q := s.squares
	var within float64
	for _, p := range points {
		within += p.sums.m2 / (p.total() * p.total())
	}
	withinDof, lackDof := q.dof-(len(points)-len(q.at)), len(points)-len(q.at)
	if withinDof < 1 || lackDof < 1 {
		return
	}
	lack := max(q.rss-within, 0) / float64(lackDof)
	if noise := within / float64(withinDof); noise > 0 && lack/noise < (distuv.F{D1: float64(lackDof), D2: float64(withinDof)}).Quantile(confidence) {
		return
	}
	if wider := math.Sqrt(lack); wider > q.sigma {
		for j := range q.sd {
			q.sd[j] *= wider / q.sigma
		}
		q.dof = lackDof
	}
}

// predict is the cycles of a point by the factors; where a key has none, by
// another's.
func (s *solution) predict(p *point, rest *solution) float64 {
	sum := p.rest
	for i := range p.parts {
		t := &p.parts[i]
		factor := 1.0
		if j := slices.Index(s.keys, s.level.key(t)); j >= 0 {
			factor = s.squares.at[j]
		} else if rest != nil && !t.own {
			factor = rest.squares.at[0]
		}
		sum += t.cycles * factor
	}
	if s.terms.Calls {
		sum += p.calls * s.squares.at[s.callsAt()]
	}
	if s.terms.Stalls {
		return sum + p.stalls*s.squares.at[s.stallsAt()]
	}
	return sum + p.stalls
}

// choose takes the factors with the least criterion, where that leaves fewer of
// them without support.
func (f *fit) choose() error {
	var seen Terms
	for _, p := range f.points {
		seen.Stalls = seen.Stalls || p.stalls > leastShare*p.total()
		seen.Calls = seen.Calls || p.calls > leastShare*p.total()
	}
	least := math.Inf(1)
	before := -1 // factors of the level before
	for level := ByBoard; level <= ByNode; level++ {
		for _, terms := range []Terms{{}, {Stalls: true}, {Calls: true}, {Stalls: true, Calls: true}} {
			if terms.Stalls && !seen.Stalls || terms.Calls && !seen.Calls {
				continue
			}
			s, refused := solve(f.points, level, terms)
			t := Trial{Level: level, Terms: terms, Refused: refused, Criterion: math.Inf(1)}
			if s != nil {
				t.Factors = s.cols()
			}
			if terms == (Terms{}) {
				if t.Factors == before {
					break // the same factors under other names
				}
				before = t.Factors
			}
			if refused == "" {
				t.Criterion = corrected(s.squares.rss, f.readings, t.Factors)
				if t.Criterion < least-noSupport || f.best == nil {
					least, f.best = t.Criterion, s
				}
			}
			f.result.Trials = append(f.result.Trials, t)
		}
	}
	if f.best == nil || math.IsInf(least, 1) {
		why := "there are too few readings"
		if first := f.result.Trials[0].Refused; first != "" {
			why = first
		}
		return &RefusedError{"the readings give no factor: " + why, "time more nodes, each at two block sizes or more"}
	}
	return nil
}

// folds is into how many parts the places are divided to keep one out.
const folds = 5

// hold keeps a part of the places out of the fit, each in turn, and compares.
func (f *fit) hold() {
	n := min(folds, len(f.points))
	if n < 3 {
		return
	}
	h := &Held{}
	var squares float64
	for k := range n {
		var in, out []*point
		for i, p := range f.points {
			if i%n == k {
				out = append(out, p)
			} else {
				in = append(in, p)
			}
		}
		s, refused := solve(in, f.best.level, f.best.terms)
		rest, none := solve(in, ByBoard, f.best.terms)
		if none != "" {
			rest = nil
		}
		if refused != "" {
			if s = rest; s == nil {
				continue
			}
		}
		for _, p := range out {
			before, after := math.Abs(p.total()/p.sums.mean-1), math.Abs(s.predict(p, rest)/p.sums.mean-1)
			h.Points++
			h.Before, h.After = h.Before+before, h.After+after
			h.WorstBefore, h.WorstNow = max(h.WorstBefore, before), max(h.WorstNow, after)
			off := (p.sums.mean - s.predict(p, rest)) / p.total()
			squares += off * off
		}
	}
	if h.Points == 0 {
		return
	}
	count := float64(h.Points)
	h.Before, h.After, h.rootMeanSquareOfFactor = h.Before/count, h.After/count, math.Sqrt(squares/count)
	f.result.Held = h
}
