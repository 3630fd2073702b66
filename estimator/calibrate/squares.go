package calibrate

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// alikeColumns is the condition number above which terms cannot be told apart:
// a reading of 0.01 % too much would then move a factor by its whole size.
const alikeColumns = 1e4

// squares is a fit by least squares, without a constant of its own.
type squares struct {
	at     []float64 // coefficients
	sd     []float64 // their standard deviations
	rss    float64   // sum of squared residuals
	dof    int
	sigma  float64 // standard deviation of a residual
	spread *mat.SymDense
}

// leastSquares fits y = x b, rows given. The rows may be means of several
// readings: more is the sum of squares within them, and readings how many there
// are. False: the columns cannot be told apart, at most so well conditioned.
func leastSquares(x *mat.Dense, y []float64, more float64, readings int, worst float64) (*squares, bool) {
	rows, cols := x.Dims()
	if readings <= cols || rows < cols {
		return nil, false
	}
	scaled, scale := mat.DenseCopyOf(x), make([]float64, cols)
	for j := range cols { // so that the condition does not depend on units
		scale[j] = mat.Norm(x.ColView(j), 2)
		if scale[j] == 0 {
			return nil, false
		}
		for i := range rows {
			scaled.Set(i, j, x.At(i, j)/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(scaled)
	if qr.Cond() > worst {
		return nil, false
	}
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, mat.NewVecDense(rows, y)); err != nil {
		return nil, false
	}
	s := &squares{at: make([]float64, cols), sd: make([]float64, cols), rss: more, dof: readings - cols}
	for i := range rows {
		fitted := mat.Dot(scaled.RowView(i), &b)
		s.rss += (y[i] - fitted) * (y[i] - fitted)
	}
	s.sigma = math.Sqrt(s.rss / float64(s.dof))
	var full mat.Dense
	qr.RTo(&full)
	r := mat.NewTriDense(cols, mat.Upper, nil)
	for i := range cols {
		for j := i; j < cols; j++ {
			r.SetTri(i, j, full.At(i, j))
		}
	}
	var inverse mat.TriDense
	if err := inverse.InverseTri(r); err != nil {
		return nil, false
	}
	s.spread = mat.NewSymDense(cols, nil)
	for i := range cols {
		for j := i; j < cols; j++ {
			var sum float64
			for k := range cols {
				sum += inverse.At(i, k) * inverse.At(j, k)
			}
			s.spread.SetSym(i, j, sum/(scale[i]*scale[j]))
		}
	}
	for j := range cols {
		s.at[j] = b.AtVec(j) / scale[j]
		s.sd[j] = s.sigma * math.Sqrt(s.spread.At(j, j))
	}
	return s, true
}

// quantile is the quantile of Student's t distribution.
func quantile(p float64, dof int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(dof)}.Quantile(p)
}

// corrected is Akaike's criterion with the correction for few readings (Hurvich
// and Tsai, Biometrika 76, 1989), for residuals with the sum of squares rss: the
// lower the better; +Inf where the readings cannot bear so many factors.
func corrected(rss float64, readings, factors int) float64 {
	n, k := float64(readings), float64(factors+1) // their standard deviation is one more
	if n-k-1 <= 0 {
		return math.Inf(1)
	}
	rss = max(rss, n*leastSpread*leastSpread)
	return n*math.Log(rss/n) + 2*k + 2*k*(k+1)/(n-k-1)
}

// leastSpread is the share below which differences of readings are no ground
// for one more factor (house judgement).
const leastSpread = 1e-3
