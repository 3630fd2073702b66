package main

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// staircase is a ramp from -3 to 3 in steps that are exact in binary.
func staircase() []float32 {
	x := make([]float32, 3*2048+1)
	for i := range x {
		x[i] = float32(i-3*1024) / 1024
	}
	return x
}

// foldedAlias is the energy of all that is no harmonic of a 1245 Hz sine at
// 48 kHz behind a shaper, against the harmonics, in decibels: 83 turns fill
// 3200 samples, so that every harmonic has a bin of its own.
func foldedAlias(t *testing.T, r rendering) float64 {
	t.Helper()
	const period, turns = 3200, 83
	x := make([]float32, 2*period)
	for i := range x {
		x[i] = float32(math.Sin(2 * math.Pi * turns / period * float64(i%period)))
	}
	r.Frames, r.Inputs = len(x), map[string][][]float32{"in": {x}}
	y := make([]float64, period)
	for i, v := range render(t, r)["out"][0][period : 2*period] {
		y[i] = float64(v)
	}
	return aliasLevel(fourier.NewFFT(period).Coefficients(nil, y), turns)
}

func TestRectifierForms(t *testing.T) {
	t.Parallel()
	x := staircase()
	for form, curve := range map[string]func(v float32) float32{
		"half": func(v float32) float32 { return max(0, v) },
		"full": func(v float32) float32 { return max(v, -v) },
	} {
		y := render(t, rendering{Block: "rectifier", Choices: map[string]string{"form": form}, Frames: len(x), Inputs: map[string][][]float32{"in": {x}}})["out"][0]
		for i, v := range x {
			if y[i] != curve(v) {
				t.Fatalf("The %s form makes %g of %g, and the equation %g.", form, y[i], v, curve(v))
			}
		}
	}
}

func TestRectifierAlias(t *testing.T) {
	t.Parallel()
	// The Fourier series of a rectified sine, 4 / (pi (4 k^2 - 1)) for harmonic
	// 2k; all above half the sample rate fold back, and no two come to lie on
	// one frequency.
	var below, above float64
	for k := 1; k < 100000; k++ {
		e := math.Pow(4/(math.Pi*(4*float64(k)*float64(k)-1)), 2)
		if 2*k*1245 < 24000 {
			below += e
		} else {
			above += e
		}
	}
	for form, want := range map[string]struct{ series, catalog float64 }{
		"full": {10 * math.Log10(above/below), -36.8},
		"half": {10 * math.Log10((above/4)/(below/4+0.25)), -44.8},
	} {
		got := foldedAlias(t, rendering{Block: "rectifier", Choices: map[string]string{"form": form}})
		if math.Abs(got-want.series) > 0.1 || math.Abs(want.series-want.catalog) > 0.1 {
			t.Errorf("The alias of 1245 Hz stands at %.2f dB behind the %s form, at %.2f dB by its Fourier series, and at %g dB in the catalog.", got, form, want.series, want.catalog)
		}
	}
}

// foldedStraight is a straight line turned back at -1 and 1, by arc sine and
// sine.
func foldedStraight(v float64) float64 { return 2 / math.Pi * math.Asin(math.Sin(math.Pi/2*v)) }

func TestWaveFolderCurves(t *testing.T) {
	t.Parallel()
	x := staircase()
	sine := func(v float64) float64 { return math.Sin(math.Pi / 2 * v) }
	for _, c := range []struct {
		method      string
		approximate bool
		curve       func(v float64) float64
		within      float64 // of the curve
		error       float64 // greatest distance from the sine, catalog and dsp 2.8; 0: what rounding leaves
	}{
		// An angle of up to 9.4 in 24 bits may be off by 4.8e-7 in each of its
		// two roundings.
		{"library", false, sine, 1.2e-6, 0},
		{"library", true, sine, 2e-6, 0},
		{"polynomial", false, sine, 7.2e-7, 5.9e-7},
		{"triangle", false, foldedStraight, 1e-7, 0.2105},
	} {
		const drive = 2
		y := render(t, rendering{
			Block: "wave-folder", Choices: map[string]string{"method": c.method}, Approximate: c.approximate, Frames: len(x),
			Params: map[string]float64{"drive": drive}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		greatest := 0.0
		for i, got := range y[:len(x)] {
			v := drive * float64(x[i])
			if want := c.curve(v); math.Abs(float64(got)-want) > c.within {
				t.Fatalf("%s: %g comes out as %g, and the closed form gives %g.", c.method, v, got, want)
			}
			greatest = max(greatest, math.Abs(float64(got)-sine(v)))
		}
		if c.error > 0 && math.Abs(greatest/c.error-1) > 0.2 {
			t.Errorf("%s: the greatest distance from the sine is %.3g, and the catalog has %.3g.", c.method, greatest, c.error)
		}
	}
}

func TestWaveFolderHarmonics(t *testing.T) {
	t.Parallel()
	// sin(z sin a) = 2 sum of J_k(z) sin(k a) over the odd k: Jacobi and Anger.
	const turns = 7
	for _, method := range []string{"library", "polynomial"} {
		x := make([]float32, 4096)
		for i := range x {
			x[i] = float32(math.Sin(2 * math.Pi * turns / 4096 * float64(i)))
		}
		folded := render(t, rendering{
			Block: "wave-folder", Choices: map[string]string{"method": method}, BlockSize: 64, Frames: len(x),
			Params: map[string]float64{"drive": 5}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		y := make([]float64, len(x))
		for i, v := range folded {
			y[i] = float64(v)
		}
		bins := fourier.NewFFT(len(y)).Coefficients(nil, y)
		for k := 1; k < 30; k++ {
			want := 0.0
			if k%2 == 1 {
				want = 2 * math.Jn(k, 5*math.Pi/2)
			}
			if got := -imag(bins[k*turns]) * 2 / 4096; math.Abs(got-want) > 1e-6 {
				t.Errorf("%s: harmonic %d of a folded sine is %.7f, and its Bessel function gives %.7f.", method, k, got, want)
			}
		}
	}
}

func TestWaveFolderAlias(t *testing.T) {
	t.Parallel()
	// Levels of the catalog; those of the sine lie below the rounding to 24 bits
	// and the residue of the polynomial.
	for method, want := range map[string][2]float64{"library": {-160, -130}, "polynomial": {-160, -120}, "triangle": {-33.9, -32.9}} {
		got := foldedAlias(t, rendering{Block: "wave-folder", Choices: map[string]string{"method": method}, Params: map[string]float64{"drive": 2}})
		if got < want[0] || got > want[1] {
			t.Errorf("%s: the alias of 1245 Hz at drive 2 stands at %.1f dB, and expected are %g to %g dB.", method, got, want[0], want[1])
		}
	}
}

func TestRingModulatorProduct(t *testing.T) {
	t.Parallel()
	// The product formula: sin a sin b = (cos(a - b) - cos(a + b)) / 2.
	x, carrier := make([]float32, 4800), make([]float32, 4800)
	for i := range x {
		x[i] = float32(math.Sin(2 * math.Pi * 440 / 48000 * float64(i)))
		carrier[i] = float32(math.Sin(2 * math.Pi * 310 / 48000 * float64(i)))
	}
	for i, got := range render(t, rendering{Block: "ring-modulator", Frames: len(x), Inputs: map[string][][]float32{"in": {x}, "carrier": {carrier}}})["out"][0] {
		at := 2 * math.Pi / 48000 * float64(i)
		if want := (math.Cos(130*at) - math.Cos(750*at)) / 2; math.Abs(float64(got)-want) > 2e-7 {
			t.Fatalf("Sample %d of 440 Hz times 310 Hz is %g, and difference and sum give %g.", i, got, want)
		}
	}
}

func TestRingModulatorSwitched(t *testing.T) {
	t.Parallel()
	// A carrier that is only switched is a square wave: 4 / (pi k) of every odd
	// k, each with its sum and its difference. 31 and 83 turns fill 3200 samples,
	// so that what folds back has bins of its own.
	const period, turns, carried = 3200, 83, 31
	x, carrier := make([]float32, period), make([]float32, period)
	for i := range x {
		x[i] = float32(math.Sin(2 * math.Pi * turns / period * float64(i)))
		carrier[i] = float32(math.Sin(2 * math.Pi * carried / period * (float64(i) + 0.5)))
	}
	levels := func(form string) (partials, others float64, bins []complex128) {
		y := make([]float64, period)
		for i, v := range render(t, rendering{
			Block: "ring-modulator", Choices: map[string]string{"form": form}, Frames: period,
			Inputs: map[string][][]float32{"in": {x}, "carrier": {carrier}},
		})["out"][0][:period] {
			y[i] = float64(v)
		}
		bins = fourier.NewFFT(period).Coefficients(nil, y)
		partial := map[int]bool{}
		for k := 1; k*carried-turns < period/2; k += 2 {
			partial[max(k*carried-turns, turns-k*carried)], partial[k*carried+turns] = true, true
		}
		for bin, v := range bins {
			if e := real(v)*real(v) + imag(v)*imag(v); partial[bin] {
				partials += e
			} else {
				others += e
			}
		}
		return partials, others, bins
	}
	partials, others, bins := levels("switched")
	for k := 1; k <= 5; k += 2 {
		got, want := math.Hypot(real(bins[k*carried+turns]), imag(bins[k*carried+turns]))*2/period, 2/(math.Pi*float64(k))
		// What folds back from far above lies on the same bins, 1 % of the lowest.
		if math.Abs(got-want) > 0.003 {
			t.Errorf("The sum with harmonic %d of the switched carrier is %.4f, and its Fourier series gives %.4f.", k, got, want)
		}
	}
	var below, above float64
	for k := 1; k < 1_000_001; k += 2 {
		for _, bin := range []int{k*carried + turns, max(k*carried-turns, turns-k*carried)} {
			if e := 1 / (float64(k) * float64(k)); bin < period/2 {
				below += e
			} else {
				above += e
			}
		}
	}
	if got, want := 10*math.Log10(others/partials), 10*math.Log10(above/below); math.Abs(got-want) > 0.2 || math.Abs(want+21) > 0.1 {
		t.Errorf("What folds back under a switched carrier stands at %.2f dB, at %.2f dB by the series, and at -21 dB in the catalog.", got, want)
	}
	if partials, others, _ := levels("product"); 10*math.Log10(others/partials) > -130 {
		t.Errorf("Beside sum and difference a product has %.1f dB, and the rounding of single precision leaves less than -130 dB.", 10*math.Log10(others/partials))
	}
}

func TestRingModulatorStyles(t *testing.T) {
	t.Parallel()
	// Two channels, each with its own carrier, come out the same bits in whole
	// blocks, one sample a call, and by the equation in single precision.
	x := [][]float32{filterHiss(336, 1, 3), filterHiss(336, 1, 4)}
	carrier := [][]float32{filterHiss(336, 1, 5), filterHiss(336, 1, 6)}
	for form, at := range map[string]func(x, carrier float32) float32{
		"product":  func(x, carrier float32) float32 { return x * carrier },
		"switched": func(x, carrier float32) float32 { return x * float32(math.Copysign(1, float64(carrier))) },
	} {
		r := rendering{Block: "ring-modulator", Choices: map[string]string{"form": form}, Channels: 2, Frames: 336, Inputs: map[string][][]float32{"in": x, "carrier": carrier}}
		whole := render(t, r)["out"]
		r.BlockSize, r.OneSample = 7, true
		single := render(t, r)["out"]
		for c := range x {
			for i := range x[c] {
				if want := at(x[c][i], carrier[c][i]); whole[c][i] != want || single[c][i] != want {
					t.Fatalf("%s: sample %d of channel %d is %g in blocks and %g alone, and the equation gives %g.", form, i, c, whole[c][i], single[c][i], want)
				}
			}
		}
	}
}

func TestFoldStyles(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"rectifier", "wave-folder"} {
		t.Run(block, func(t *testing.T) { checkStyles(t, block) })
	}
}
