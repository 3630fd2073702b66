package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

func TestFixedBiquadResponse(t *testing.T) {
	t.Parallel()
	for kind, prototype := range cookbookPrototypes {
		for _, set := range []struct {
			stages          int
			cutoff, q, gain float64
		}{{1, 1000, 0.7071, 0}, {1, 300, 4, 9}, {3, 8000, 2, -12}, {8, 2500, 0.5, 1.5}, {1, 1000, 1, 18}} {
			h := filterKnock(t, rendering{
				Block: "fixed-biquad", Choices: map[string]string{"response": kind}, Frames: 4096,
				Params: map[string]float64{"stages": float64(set.stages), "cutoff": set.cutoff, "q": set.q, "gain": set.gain},
			}, 1)["out"]
			checkResponse(t, fmt.Sprintf("%s of %d stages at %g Hz, q %g, %g dB", kind, set.stages, set.cutoff, set.q, set.gain), h,
				func(f float64) complex128 {
					return cmplx.Pow(prototype(warped(f, set.cutoff, 48000), set.q, math.Pow(10, set.gain/40)), complex(float64(set.stages), 0))
				}, 1e-3, "the cookbook's analogue prototype, warped")
		}
	}
}

// fixedLowpass is the cookbook's lowpass with coefficients as words keep them,
// scaled so that the greatest is an eighth to a quarter.
func fixedLowpass(cutoff, q float64) (b [3]float64, a [2]float64) {
	angle := 2 * math.Pi * float64(float32(cutoff)) / 48000
	alpha := math.Sin(angle) / (2 * float64(float32(q)))
	exact := [5]float64{(1 - math.Cos(angle)) / 2, 1 - math.Cos(angle), (1 - math.Cos(angle)) / 2, -2 * math.Cos(angle), 1 - alpha}
	greatest := 0.0
	for i := range exact {
		exact[i] /= 1 + alpha
		greatest = max(greatest, math.Abs(exact[i]))
	}
	scale := 4 * math.Exp2(math.Floor(math.Log2(greatest))+1)
	for i, v := range exact {
		exact[i] = fixedWord("q31", float64(float32(v))/scale) * scale
	}
	return [3]float64(exact[:3]), [2]float64(exact[3:])
}

func TestFixedBiquadNoise(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ cutoff, q float64 }{{20, 0.7071}, {50, 2}, {100, 0.7071}, {200, 5}} {
		// Softer than would resound beyond what is held.
		const frames, settled = 48000, 24000
		x := filterHiss(frames, 0.01, 11)
		y := render(t, rendering{
			Block: "fixed-biquad", Frames: frames, Double: true,
			Params: map[string]float64{"cutoff": c.cutoff, "q": c.q}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		b, a := fixedLowpass(c.cutoff, c.q)
		var x1, x2, y1, y2, squares, sum float64
		for i, v := range x {
			y0 := b[0]*float64(v) + b[1]*x1 + b[2]*x2 - a[0]*y1 - a[1]*y2
			x2, x1, y2, y1 = x1, float64(v), y1, y0
			if i >= settled {
				off := float64(y[i]) - y0
				squares, sum = squares+off*off, sum+off
			}
		}
		const n = frames - settled
		snr := 10 * math.Log10(0.5/(squares/n))
		// The catalog's precision_snr: Bennett's 6.0206 N + 1.7609 dB for 29 bits, less
		// the noise gain of 1 / A(z) in closed form (A. Oppenheim and R. Schafer,
		// Discrete-Time Signal Processing, from memory), which at low cutoffs is q / (2
		// w0^3); slow noise has not many periods to be measured by.
		gain := (1 + a[1]) / ((1 - a[1]) * ((1+a[1])*(1+a[1]) - a[0]*a[0]))
		told := 176.36 - 10*math.Log10(c.q*math.Pow(48000/c.cutoff, 3)/496.1)
		if exact := 176.36 - 10*math.Log10(gain); math.Abs(told-exact) > 0.5 {
			t.Errorf("At %g Hz, q %g, the catalog tells %.1f dB, and the noise gain in closed form is %.1f dB.", c.cutoff, c.q, told, exact)
		}
		if math.Abs(snr-told) > 3 {
			t.Errorf("A lowpass at %g Hz, q %g, has its round-off %.1f dB below a full-scale sine, and the noise gain gives %.1f dB.", c.cutoff, c.q, snr, told)
		}
	}
}

func TestFixedBiquadHolds(t *testing.T) {
	t.Parallel()
	// A lowpass driven far beyond its headroom is held there and comes back to
	// rest; nothing wraps round.
	for _, kind := range []string{"lowpass", "highpass", "peak", "high-shelf"} {
		const frames, driven = 9600, 4800
		x := make([]float32, frames)
		for i := range driven {
			x[i] = float32(100 * math.Sin(2*math.Pi*300/48000*float64(i)))
		}
		y := render(t, rendering{
			Block: "fixed-biquad", Choices: map[string]string{"response": kind}, Frames: frames,
			Params: map[string]float64{"cutoff": 1000, "q": 2, "gain": 12}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		loudest := 0.0
		for i, v := range y[:frames] {
			loudest = max(loudest, math.Abs(float64(v)))
			// A wave as square as its input, of which a lowpass at 1 kHz is late by a tenth
			// of a period at most.
			if kind == "lowpass" && i > 480 && i < driven && i%160 > 40 && i%160 < 60 && v < 1 {
				t.Fatalf("Driven beyond its headroom sample %d of a lowpass is %g under %g: it wrapped round.", i, v, x[i])
			}
		}
		if loudest > 8 || loudest < 5 {
			t.Errorf("Driven beyond its headroom a %s reaches %g, and is held at 8.", kind, loudest)
		}
		if rest := math.Abs(float64(y[frames-1])); rest > 1e-6 {
			t.Errorf("After it was driven a %s rests at %g, and its input is silent.", kind, rest)
		}
	}
}

func TestFixedBiquadHalves(t *testing.T) {
	t.Parallel()
	checkHalves(t, "#define RESPONSE_NOTCH\n#include \"fixed-biquad.c\"", "fixed_biquad_product(a, b)", "(int64_t)a * b")
}

func TestFixedBiquadStyles(t *testing.T) {
	t.Parallel()
	for _, stages := range []float64{1, 3} {
		checkLineStyles(t, "fixed-biquad", 48000, map[string]float64{"stages": stages, "cutoff": 900, "q": 2, "gain": 6}, map[string]float64{"cutoff": 4000, "q": 1, "gain": 3})
	}
}
