package calibrate

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// The certified values of the NIST Statistical Reference Datasets, linear
// regression, public domain. The data and values stand in the project's
// reference notes (dsp 5.5), where Norris, Longley, Wampler1 and NoInt1 were
// recomputed in exact rational arithmetic.
type certified struct {
	name   string
	x      [][]float64 // without the constant
	y      []float64
	bare   bool // through the origin
	at, sd []float64
	sigma  float64
	rss    float64
	digits float64 // of the coefficients that must agree
}

var norrisX = []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
var norrisY = []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}

var longleyX = [][]float64{
	{83.0, 234289, 2356, 1590, 107608, 1947},
	{88.5, 259426, 2325, 1456, 108632, 1948},
	{88.2, 258054, 3682, 1616, 109773, 1949},
	{89.5, 284599, 3351, 1650, 110929, 1950},
	{96.2, 328975, 2099, 3099, 112075, 1951},
	{98.1, 346999, 1932, 3594, 113270, 1952},
	{99.0, 365385, 1870, 3547, 115094, 1953},
	{100.0, 363112, 3578, 3350, 116219, 1954},
	{101.2, 397469, 2904, 3048, 117388, 1955},
	{104.6, 419180, 2822, 2857, 118734, 1956},
	{108.4, 442769, 2936, 2798, 120445, 1957},
	{110.8, 444546, 4681, 2637, 121950, 1958},
	{112.6, 482704, 3813, 2552, 123366, 1959},
	{114.2, 502601, 3931, 2514, 125368, 1960},
	{115.7, 518173, 4806, 2572, 127852, 1961},
	{116.9, 554894, 4007, 2827, 130081, 1962},
}
var longleyY = []float64{60323, 61122, 60171, 61187, 63221, 63639, 64989, 63761, 66019, 67857, 68169, 66513, 68655, 69564, 69331, 70551}

func certifiedSets() []certified {
	var norris, wampler, origin [][]float64
	var powers, line []float64
	for _, x := range norrisX {
		norris = append(norris, []float64{x})
	}
	for x := range 21 {
		v := float64(x)
		wampler = append(wampler, []float64{v, v * v, v * v * v, v * v * v * v, v * v * v * v * v})
		powers = append(powers, 1+v+v*v+v*v*v+v*v*v*v+v*v*v*v*v)
	}
	for x := range 11 {
		origin = append(origin, []float64{60 + float64(x)})
		line = append(line, 130+float64(x))
	}
	return []certified{
		{
			name: "Norris", x: norris, y: norrisY, at: []float64{-0.262323073774029, 1.00211681802045},
			sd: []float64{0.232818234301152, 0.429796848199937e-03}, sigma: 0.884796396144373, rss: 26.6173985294224, digits: 11,
		},
		{
			name: "Longley", x: longleyX, y: longleyY,
			at:    []float64{-3482258.63459582, 15.0618722713733, -0.358191792925910e-01, -2.02022980381683, -1.03322686717359, -0.511041056535807e-01, 1829.15146461355},
			sd:    []float64{890420.383607373, 84.9149257747669, 0.334910077722432e-01, 0.488399681651699, 0.214274163161675, 0.226073200069370, 455.478499142212},
			sigma: 304.854073561965, rss: 836424.055505915, digits: 8,
		},
		// An exact fit: what is left of the residuals is rounding.
		{name: "Wampler1", x: wampler, y: powers, at: []float64{1, 1, 1, 1, 1, 1}, digits: 6},
		{
			name: "NoInt1", x: origin, y: line, bare: true, at: []float64{2.07438016528926}, sd: []float64{0.0165289256198347},
			sigma: 3.56753034006338, rss: 127.272727272727, digits: 13,
		},
	}
}

// agrees tells to how many decimal digits a value agrees with a certified one.
func agrees(got, want float64) float64 {
	if got == want {
		return 15
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

// The certified digits that double precision allows: the condition numbers of
// the scaled columns are 2, 5e4 and 5e5 or so, each power of ten of which costs
// a digit of 16.
func TestCertifiedRegressions(t *testing.T) {
	for _, c := range certifiedSets() {
		t.Run(c.name, func(t *testing.T) {
			constant := 1
			if c.bare {
				constant = 0
			}
			x := mat.NewDense(len(c.y), len(c.x[0])+constant, nil)
			for i, row := range c.x {
				x.Set(i, 0, 1)
				for j, v := range row {
					x.Set(i, j+constant, v)
				}
			}
			s, ok := leastSquares(x, c.y, 0, len(c.y), 1e15)
			if !ok {
				t.Fatal("the set cannot be fitted, and its values are certified")
			}
			check := func(what string, got, want, digits float64) {
				if have := agrees(got, want); have < digits {
					t.Errorf("%s is %.15g, certified %.15g: they agree to %.1f digits, want %g", what, got, want, have, digits)
				}
			}
			for j := range c.at {
				check(fmt.Sprintf("coefficient %d", j), s.at[j], c.at[j], c.digits)
				if c.sd != nil {
					check(fmt.Sprintf("standard deviation %d", j), s.sd[j], c.sd[j], c.digits)
				}
			}
			if c.sd == nil {
				if s.sigma > 1e-6 {
					t.Errorf("the fit is exact, and its residuals spread by %g", s.sigma)
				}
				return
			}
			check("residual standard deviation", s.sigma, c.sigma, c.digits)
			check("residual sum of squares", s.rss, c.rss, c.digits)
		})
	}
}

// Rows that are means of readings give what the readings themselves give.
func TestLeastSquaresOfMeans(t *testing.T) {
	// Three readings at x = 1 and two at x = 2, through the origin: b = 35/11,
	// the residuals' squares add up to 114 - 35*35/11 (by hand).
	readings := mat.NewDense(5, 1, []float64{1, 1, 1, 2, 2})
	y := []float64{2, 3, 4, 6, 7}
	one, ok := leastSquares(readings, y, 0, 5, alikeColumns)
	if !ok {
		t.Fatal("five readings of one factor cannot be fitted")
	}
	if want := 35.0 / 11; math.Abs(one.at[0]-want) > 1e-14 {
		t.Errorf("the factor is %g, want %g", one.at[0], want)
	}
	if want := 114 - 35.0*35/11; math.Abs(one.rss-want) > 1e-12 {
		t.Errorf("the residuals' squares add up to %g, want %g", one.rss, want)
	}
	three, two := math.Sqrt(3), math.Sqrt(2)
	means := mat.NewDense(2, 1, []float64{three * 1, two * 2})
	other, ok := leastSquares(means, []float64{three * 3, two * 6.5}, 2+0.5, 5, alikeColumns)
	if !ok {
		t.Fatal("two means of one factor cannot be fitted")
	}
	if math.Abs(other.at[0]-one.at[0]) > 1e-14 || math.Abs(other.sd[0]-one.sd[0]) > 1e-14 || math.Abs(other.rss-one.rss) > 1e-12 {
		t.Errorf("means give the factor %g +- %g, their readings %g +- %g", other.at[0], other.sd[0], one.at[0], one.sd[0])
	}
}

// Columns that cannot be told apart, too few readings and empty columns are
// refused.
func TestLeastSquaresRefuses(t *testing.T) {
	for name, x := range map[string]*mat.Dense{
		"a multiple":   mat.NewDense(4, 2, []float64{1, 2, 2, 4, 3, 6, 4, 8}),
		"nothing":      mat.NewDense(4, 2, []float64{1, 0, 2, 0, 3, 0, 4, 0}),
		"nearly alike": mat.NewDense(4, 2, []float64{1, 1, 2, 2, 3, 3, 4, 4.0001}),
	} {
		if s, ok := leastSquares(x, []float64{1, 2, 3, 4}, 0, 4, alikeColumns); ok {
			t.Errorf("%s: two columns that cannot be told apart get the factors %v", name, s.at)
		}
	}
	if _, ok := leastSquares(mat.NewDense(2, 2, []float64{1, 0, 0, 1}), []float64{1, 2}, 0, 2, alikeColumns); ok {
		t.Error("two readings give two factors and nothing to doubt them by")
	}
}

// Values of the t distribution printed in every textbook (from memory), to
// their three decimals.
func TestQuantile(t *testing.T) {
	for dof, want := range map[int]float64{1: 12.706, 2: 4.303, 10: 2.228, 30: 2.042} {
		if got := quantile(0.975, dof); math.Abs(got-want) > 0.0006 {
			t.Errorf("the 97.5 %% quantile of t with %d degrees of freedom is %.4f, want %.3f", dof, got, want)
		}
	}
}
