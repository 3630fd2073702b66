package main

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// leastSquares solves a x = b in the sense of least squares by QR.
func leastSquares(a *mat.Dense, b *mat.VecDense) ([]float64, error) {
	var qr mat.QR
	qr.Factorize(a)
	_, n := a.Dims()
	x := mat.NewVecDense(n, nil)
	if err := qr.SolveVecTo(x, false, b); err != nil {
		return nil, fmt.Errorf("the points do not tell the terms apart: %w", err)
	}
	return x.RawVector().Data, nil
}

// nonNegative solves a x = b in the sense of least squares with no x below
// zero: C. Lawson and R. Hanson, Solving Least Squares Problems, 1974, chapter
// 23 (from memory). Columns that the others make up stay at zero.
func nonNegative(a *mat.Dense, b *mat.VecDense) []float64 {
	_, n := a.Dims()
	x := make([]float64, n)
	in, refused := make([]bool, n), make([]bool, n)
	for range 10 * n { // each turn lowers the error; rounding could go round
		next := steepest(a, b, x, in, refused)
		if next < 0 {
			return x
		}
		in[next] = true
		for {
			z, err := within(a, b, in)
			if err != nil || z[next] <= 0 && x[next] == 0 {
				in[next], refused[next] = false, true
				break
			}
			// Go towards z as far as no term falls below zero.
			far := 1.0
			for j := range x {
				if in[j] && z[j] < 0 {
					far = min(far, x[j]/(x[j]-z[j]))
				}
			}
			for j := range x {
				if !in[j] {
					continue
				}
				x[j] += far * (z[j] - x[j])
				if far < 1 && x[j] < 1e-12 {
					x[j], in[j] = 0, false
				}
			}
			if far == 1 {
				clear(refused)
				break
			}
		}
	}
	return x
}

// steepest is the term at zero whose growth would lower the error most, or -1.
func steepest(a *mat.Dense, b *mat.VecDense, x []float64, in, refused []bool) int {
	var left, slope mat.VecDense
	left.MulVec(a, mat.NewVecDense(len(x), x))
	left.SubVec(b, &left)
	slope.MulVec(a.T(), &left)
	best, next := 1e-9, -1
	for j := range x {
		size := mat.Norm(a.ColView(j), 2)
		if in[j] || refused[j] || size == 0 {
			continue
		}
		if g := slope.AtVec(j) / size; g > best {
			best, next = g, j
		}
	}
	return next
}

// within is the least-squares solution with some columns alone.
func within(a *mat.Dense, b *mat.VecDense, in []bool) ([]float64, error) {
	rows, n := a.Dims()
	var columns []int
	for j := range n {
		if in[j] {
			columns = append(columns, j)
		}
	}
	if len(columns) > rows {
		return nil, fmt.Errorf("%d points cannot tell %d terms apart", rows, len(columns))
	}
	some := mat.NewDense(rows, len(columns), nil)
	for at, j := range columns {
		some.SetCol(at, mat.Col(nil, j, a))
	}
	solved, err := leastSquares(some, b)
	if err != nil {
		return nil, err
	}
	z := make([]float64, n)
	for at, j := range columns {
		z[j] = solved[at]
	}
	return z, nil
}

// sample is one timed point: the value of each candidate term, and the cycles.
type sample struct {
	terms   []float64
	cycles  float64
	heldOut bool
}

// spare is by how much, in parts of the cycles, the worst difference of a fit
// may grow for a term less: house judgement, well under the 1 % asked of the
// median.
const spare = 0.002

// fitTerms finds how many cycles each term takes. Terms are dropped as long as
// the worst difference hardly grows, so that what stays is what the kernel's
// loops have.
func fitTerms(points []sample, terms int) []float64 {
	var fitted []sample
	for _, p := range points {
		if !p.heldOut && p.cycles > 0 {
			fitted = append(fitted, p)
		}
	}
	if len(fitted) == 0 || terms == 0 {
		return make([]float64, terms)
	}
	keep := make([]bool, terms)
	for j := range keep {
		keep[j] = true
	}
	x := solve(fitted, keep)
	worst := slices.Max(differences(fitted, x))
	for {
		// Try the terms in order of what they add at most, the least first.
		order := make([]int, 0, terms)
		for j := range x {
			if keep[j] = x[j] > 0; keep[j] {
				order = append(order, j)
			}
		}
		slices.SortStableFunc(order, func(a, b int) int {
			switch share := share(fitted, x, a) - share(fitted, x, b); {
			case share < 0:
				return -1
			case share > 0:
				return 1
			}
			return b - a
		})
		dropped := false
		for _, j := range order {
			if len(order) == 1 {
				break
			}
			keep[j] = false
			without := solve(fitted, keep)
			if slices.Max(differences(fitted, without)) <= worst+spare {
				x, dropped = without, true
				break
			}
			keep[j] = true
		}
		if !dropped {
			return x
		}
	}
}

// share is the greatest part of the cycles of a point that a term makes up.
func share(points []sample, x []float64, j int) float64 {
	most := 0.0
	for _, p := range points {
		most = max(most, x[j]*p.terms[j]/p.cycles)
	}
	return most
}

// solve fits some of the terms, each point weighted so that relative
// differences count.
func solve(points []sample, keep []bool) []float64 {
	var columns []int
	for j := range keep {
		if keep[j] {
			columns = append(columns, j)
		}
	}
	a := mat.NewDense(len(points), len(columns), nil)
	b := mat.NewVecDense(len(points), nil)
	for i, p := range points {
		for at, j := range columns {
			a.Set(i, at, p.terms[j]/p.cycles)
		}
		b.SetVec(i, 1)
	}
	x := make([]float64, len(keep))
	for at, v := range nonNegative(a, b) {
		x[columns[at]] = v
	}
	return x
}

// differences are the relative differences between the terms and the points.
func differences(points []sample, x []float64) []float64 {
	list := make([]float64, len(points))
	for i, p := range points {
		list[i] = math.Abs(total(p.terms, x)-p.cycles) / p.cycles
	}
	return list
}

func total(terms, x []float64) float64 {
	sum := 0.0
	for j := range x {
		sum += terms[j] * x[j]
	}
	return sum
}

// middleAndWorst are the median and the greatest of some differences; 0 where
// there are none.
func middleAndWorst(list []float64) (median, worst float64) {
	if len(list) == 0 {
		return 0, 0
	}
	s := slices.Sorted(slices.Values(list))
	return stat.Quantile(0.5, stat.LinInterp, s, nil), s[len(s)-1]
}
