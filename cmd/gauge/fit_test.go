package main

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Certified values of the NIST Statistical Reference Datasets, linear
// regression. Agreement is asked to nine digits, of the hardest set to seven.
func TestLeastSquaresAgreesWithNIST(t *testing.T) {
	norris := [][2]float64{{0.2, 0.1}, {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2}, {226.5, 228.1}, {666.3, 668.5}, {996.3, 998.5}, {448.6, 449.1}, {777.0, 778.9}, {558.2, 559.2}, {0.4, 0.3}, {0.6, 0.1}, {775.5, 778.1}, {666.9, 668.8}, {338.0, 339.3}, {447.5, 448.9}, {11.6, 10.8}, {556.0, 557.7}, {228.1, 228.3}, {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3}, {0.3, 0.6}, {556.8, 557.6}, {339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9}, {11.1, 10.2}, {118.3, 117.6}, {229.2, 228.9}, {669.1, 668.4}, {448.9, 449.2}, {0.5, 0.2}}
	longley := [][]float64{
		{60323, 83.0, 234289, 2356, 1590, 107608, 1947}, {61122, 88.5, 259426, 2325, 1456, 108632, 1948},
		{60171, 88.2, 258054, 3682, 1616, 109773, 1949}, {61187, 89.5, 284599, 3351, 1650, 110929, 1950},
		{63221, 96.2, 328975, 2099, 3099, 112075, 1951}, {63639, 98.1, 346999, 1932, 3594, 113270, 1952},
		{64989, 99.0, 365385, 1870, 3547, 115094, 1953}, {63761, 100.0, 363112, 3578, 3350, 116219, 1954},
		{66019, 101.2, 397469, 2904, 3048, 117388, 1955}, {67857, 104.6, 419180, 2822, 2857, 118734, 1956},
		{68169, 108.4, 442769, 2936, 2798, 120445, 1957}, {66513, 110.8, 444546, 4681, 2637, 121950, 1958},
		{68655, 112.6, 482704, 3813, 2552, 123366, 1959}, {69564, 114.2, 502601, 3931, 2514, 125368, 1960},
		{69331, 115.7, 518173, 4806, 2572, 127852, 1961}, {70551, 116.9, 554894, 4007, 2827, 130081, 1962},
	}
	var norrisX, longleyX, wamplerX, throughX [][]float64
	var norrisY, longleyY, wampler1, wampler2, throughY []float64
	for _, p := range norris {
		norrisX, norrisY = append(norrisX, []float64{1, p[0]}), append(norrisY, p[1])
	}
	for _, row := range longley {
		longleyX, longleyY = append(longleyX, append([]float64{1}, row[1:]...)), append(longleyY, row[0])
	}
	for i := range 21 {
		x, row, y1, y2 := float64(i), []float64{}, 0.0, 0.0
		for k := range 6 {
			power := math.Pow(x, float64(k))
			row, y1, y2 = append(row, power), y1+power, y2+power/math.Pow(10, float64(k))
		}
		wamplerX, wampler1, wampler2 = append(wamplerX, row), append(wampler1, y1), append(wampler2, y2)
	}
	for x := 60.0; x <= 70; x++ {
		throughX, throughY = append(throughX, []float64{x}), append(throughY, x+70)
	}
	for _, c := range []struct {
		name   string
		x      [][]float64
		y      []float64
		want   []float64
		digits float64
	}{
		{"Norris", norrisX, norrisY, []float64{-0.262323073774029, 1.00211681802045}, 9},
		{"Longley", longleyX, longleyY, []float64{-3482258.63459582, 15.0618722713733, -0.358191792925910e-01, -2.02022980381683, -1.03322686717359, -0.511041056535807e-01, 1829.15146461355}, 7},
		{"Wampler1", wamplerX, wampler1, []float64{1, 1, 1, 1, 1, 1}, 7},
		{"Wampler2", wamplerX, wampler2, []float64{1, 0.1, 0.01, 0.001, 0.0001, 0.00001}, 7},
		{"NoInt1", throughX, throughY, []float64{2.07438016528926}, 9},
	} {
		a := mat.NewDense(len(c.y), len(c.want), nil)
		for i, row := range c.x {
			a.SetRow(i, row)
		}
		got, err := leastSquares(a, mat.NewVecDense(len(c.y), c.y))
		if err != nil {
			t.Errorf("%s could not be solved: %v.", c.name, err)
			continue
		}
		for j, want := range c.want {
			if math.Abs(got[j]-want) > math.Abs(want)*math.Pow(10, -c.digits) {
				t.Errorf("Coefficient %d of %s is %.15g; NIST certifies %.15g.", j, c.name, got[j], want)
			}
		}
	}
}

func TestTermsAreNotNegative(t *testing.T) {
	// y = 2 x with a column that least squares alone would take with a minus:
	// the best without is x1 = (2*1 + 4*2 + 6*3) / 14 = 2.
	a := mat.NewDense(3, 2, []float64{1, 1, 2, 0, 3, 0})
	y := mat.NewVecDense(3, []float64{1.5, 4, 6})
	free, err := leastSquares(a, y)
	if err != nil || free[1] >= 0 {
		t.Fatalf("Without bounds the second term comes out as %v (%v); the test needs it below zero.", free, err)
	}
	got := nonNegative(a, y)
	// One column alone: (1*1.5 + 2*4 + 3*6) / (1 + 4 + 9) = 27.5/14.
	if math.Abs(got[0]-27.5/14) > 1e-12 || got[1] != 0 {
		t.Errorf("With bounds the terms are %v; by hand they are 27.5/14 and 0.", got)
	}
}

func TestFitFindsTheTermsOfALoop(t *testing.T) {
	// 30 a call, 5 a channel and call, 7 a sample, channel and stage; candidate
	// terms as products gives them, in the order 1, channels, stages, both, and
	// the same a sample.
	made := []float64{30, 5, 0, 0, 0, 0, 0, 7}
	var points []sample
	for i, n := range []float64{8, 16, 32, 48, 24} {
		for _, channels := range []float64{1, 2, 3} {
			for _, stages := range []float64{1, 2, 4} {
				terms := []float64{1, channels, stages, channels * stages, n, n * channels, n * stages, n * channels * stages}
				points = append(points, sample{terms: terms, cycles: total(terms, made), heldOut: i == 4})
			}
		}
	}
	got := fitTerms(points, len(made))
	for j, want := range made {
		if math.Abs(got[j]-want) > 1e-6 {
			t.Errorf("Term %d comes out as %g cycles; the points were made with %g.", j, got[j], want)
		}
	}
	if _, worst := middleAndWorst(differences(points, got)); worst > 1e-9 {
		t.Errorf("The points differ from the terms by %g at worst; they were made without error.", worst)
	}
}
