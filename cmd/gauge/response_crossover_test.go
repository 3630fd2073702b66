package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// crossoverBands are the bands of S. Linkwitz, J. Audio Eng. Soc. 24(1), 1976,
// as analogue prototypes with their corner at 1, and the allpass that they add
// up to (from memory; the sums are algebra). Of order 2 the high band is turned over.
var crossoverBands = map[string]struct{ low, high, sum func(s complex128) complex128 }{
	"2": {
		func(s complex128) complex128 { return 1 / ((1 + s) * (1 + s)) },
		func(s complex128) complex128 { return -s * s / ((1 + s) * (1 + s)) },
		func(s complex128) complex128 { return (1 - s) / (1 + s) },
	},
	"4": {
		func(s complex128) complex128 { return cmplx.Pow(s*s+math.Sqrt2*s+1, -2) },
		func(s complex128) complex128 { return cmplx.Pow(s*s/(s*s+math.Sqrt2*s+1), 2) },
		func(s complex128) complex128 { return (s*s - math.Sqrt2*s + 1) / (s*s + math.Sqrt2*s + 1) },
	},
}

func TestCrossoverBands(t *testing.T) {
	t.Parallel()
	for order, want := range crossoverBands {
		for _, c := range []struct {
			cutoff      float64
			approximate bool
		}{{80, false}, {300, false}, {2500, false}, {18000, false}, {1000, true}} {
			// The lowpass has 1 + a1 + a2 = 4 t^2 n below its corner, of which the
			// rounding of two coefficients to 24 bits takes its share in every stage.
			// The short tangent of kernel.h errs by up to 1e-6 of the sine and of the cosine.
			share := 1e-4 + 1e-7/math.Pow(math.Tan(math.Pi*c.cutoff/48000), 2)
			outs := filterKnock(t, rendering{
				Block: "crossover", Choices: map[string]string{"order": order}, Frames: 16384, Approximate: c.approximate,
				Params: map[string]float64{"cutoff": c.cutoff},
			}, 1)
			for port, band := range map[string]func(s complex128) complex128{"low": want.low, "high": want.high} {
				checkResponse(t, fmt.Sprintf("%s of order %s at %g Hz", port, order, c.cutoff), outs[port],
					func(f float64) complex128 { return band(warped(f, c.cutoff, 48000)) }, share, "the analogue band, warped,")
				// Half the amplitude in each band: 20 log10(1/2) = -6.02 dB.
				if at := inDecibels(cmplx.Abs(filterAt(outs[port], c.cutoff/48000))); math.Abs(at-inDecibels(0.5)) > 0.01+10*share {
					t.Errorf("Order %s at %g Hz: the %s band is %.3f dB at the corner, and half the amplitude is %.3f dB.", order, c.cutoff, port, at, inDecibels(0.5))
				}
			}
			whole := make([]float64, len(outs["low"]))
			for i := range whole {
				whole[i] = outs["low"][i] + outs["high"][i]
			}
			checkResponse(t, fmt.Sprintf("the sum of order %s at %g Hz", order, c.cutoff), whole,
				func(f float64) complex128 { return want.sum(warped(f, c.cutoff, 48000)) }, share, "the allpass of algebra, warped,")
			for _, f := range heardFrequencies {
				if level := inDecibels(cmplx.Abs(filterAt(whole, f/48000))); math.Abs(level) > 10*share {
					t.Errorf("Order %s at %g Hz: the bands add up to %.4f dB at %g Hz, and an allpass has 0 dB.", order, c.cutoff, level, f)
				}
			}
		}
	}
}

func TestCrossoverStyles(t *testing.T) { checkStyles(t, "crossover") }
