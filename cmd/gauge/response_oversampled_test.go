package main

import (
	"math"
	"testing"
)

// oversampledAlias is the alias energy of the curves in decibels as the catalog
// has it.
var oversampledAlias = map[string]float64{"hard": -59.8, "cubic": -93.4}

func oversampled(curve string, drive float64, x []float32) rendering {
	return rendering{
		Block: "oversampled-clip", Choices: map[string]string{"curve": curve}, Frames: len(x),
		Params: map[string]float64{"drive": drive}, Inputs: map[string][][]float32{"in": {x}},
	}
}

// halfBandChain runs a chain of first-order allpasses over a signal.
func halfBandChain(coefficients []float64, first int, x []float64) []float64 {
	for i := first; i < len(coefficients); i += 2 {
		y := make([]float64, len(x))
		before, last := 0.0, 0.0
		for n, v := range x {
			last = coefficients[i]*(v-last) + before
			y[n], before = last, v
		}
		x = y
	}
	return x
}

func TestOversampledClipEquation(t *testing.T) {
	t.Parallel()
	// The closed form of the half-bands and the curves as calculus gives them, in
	// double precision. Single precision keeps memories to 24 bits.
	design := halfBand(6, 0.05)
	x := filterHiss(2400, 1, 91)
	for name, curve := range integratedCurves {
		for _, drive := range []float64{0, 0.7, 2, 40} {
			driven := make([]float64, len(x))
			for n, v := range x {
				driven[n] = drive * float64(v)
			}
			var bent [2][]float64
			for half := range bent {
				for _, v := range halfBandChain(design, half, driven) {
					bent[half] = append(bent[half], curve.curve(v))
				}
			}
			early, late := halfBandChain(design, 1, bent[0]), halfBandChain(design, 0, bent[1])
			for n, got := range render(t, oversampled(name, drive, x))["out"][0] {
				if want := (early[n] + late[n]) / 2; math.Abs(float64(got)-want) > 1e-5 {
					t.Fatalf("%s at drive %g: sample %d is %.7f, want %.7f.", name, drive, n, got, want)
				}
			}
		}
	}
}

func TestOversampledClipPassesWhatIsSoft(t *testing.T) {
	t.Parallel()
	// A soft sound is not bent, so that both half-bands are left: up and down their
	// response is its square at half the frequency in turns, of 0.1 % of a decibel up
	// to 0.45 of the sample rate, and late by twice their delay at rest less one
	// sample of the doubled rate.
	h := filterKnock(t, rendering{Block: "oversampled-clip", Choices: map[string]string{"curve": "hard"}, Frames: 2048}, 0.5)["out"]
	for _, f := range []float64{20, 1000, 10000, 20000, 21500} {
		level := inDecibels(math.Hypot(real(filterAt(h, f/48000)), imag(filterAt(h, f/48000))))
		if math.Abs(level) > 1e-3 {
			t.Errorf("At %g Hz a soft sound changes by %.5f dB.", f, level)
		}
	}
	sum, centre := 0.0, 0.0
	for n, v := range h {
		sum += v
		centre += float64(n) * v
	}
	// An allpass (a + 1/z) / (1 + a/z) delays by (1 - a) / (1 + a) at rest, half of
	// the sum over both chains and the half sample of the second (algebra).
	delay := 0.5
	for _, a := range halfBand(6, 0.05) {
		delay += (1 - a) / (1 + a)
	}
	if got, want := centre/sum, (2*delay-1)/2; math.Abs(got-want) > 1e-3 || math.Abs(got-2.36) > 0.01 {
		t.Errorf("A soft sound comes %.4f samples late; algebra gives %.4f and the catalog 2.36.", got, want)
	}
}

func TestOversampledClipAlias(t *testing.T) {
	t.Parallel()
	for name, told := range oversampledAlias {
		if got := clipAlias(t, oversampled(name, 2, clipTone())); math.Abs(got-told) > 1 {
			t.Errorf("%s: the alias of 1245 Hz at drive 2 stands at %.1f dB, and the catalog has %g dB.", name, got, told)
		}
	}
}

func TestOversampledClipStyles(t *testing.T) { checkStyles(t, "oversampled-clip") }
