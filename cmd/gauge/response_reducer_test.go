package main

import (
	"math"
	"testing"
)

func TestBitReducerSteps(t *testing.T) {
	t.Parallel()
	// At the full rate every sample is rounded by itself: q round(x / q), or cut.
	x := staircase()
	for rounding, whole := range map[string]func(float64) float64{"nearest": math.Round, "cut": math.Trunc} {
		for _, bits := range []float64{1, 3, 8, 16} {
			y := render(t, rendering{
				Block: "bit-reducer", Choices: map[string]string{"rounding": rounding}, Frames: len(x),
				Params: map[string]float64{"bits": bits, "rate": 48000}, Inputs: map[string][][]float32{"in": {x}},
			})["out"][0]
			steps := math.Exp2(bits - 1)
			for i, v := range x {
				if want := whole(float64(v)*steps) / steps; float64(y[i]) != want {
					t.Fatalf("With %g bits, %s, %g comes out as %g, and the equation gives %g.", bits, rounding, v, y[i], want)
				}
			}
		}
	}
}

func TestBitReducerNoise(t *testing.T) {
	t.Parallel()
	// A full-scale sine of 83 turns in 3200 samples over what is left of it:
	// the catalog's quantisation_snr, by Bennett 6.0206 N + 1.7609 dB. A short
	// period meets too few places of a step for the law to hold closer.
	const period, turns = 3200, 83
	x := make([]float32, period)
	for i := range x {
		x[i] = float32(math.Sin(2*math.Pi*turns/period*float64(i) + 0.1))
	}
	for rounding, lost := range map[string]float64{"nearest": 0, "cut": 6.0206} {
		for _, bits := range []float64{6, 8, 12} {
			y := render(t, rendering{
				Block: "bit-reducer", Choices: map[string]string{"rounding": rounding}, Frames: period,
				Params: map[string]float64{"bits": bits, "rate": 48000}, Inputs: map[string][][]float32{"in": {x}},
			})["out"][0]
			signal, noise := 0.0, 0.0
			for i, v := range x {
				signal += float64(v) * float64(v)
				noise += math.Pow(float64(y[i])-float64(v), 2)
			}
			if got, want := 10*math.Log10(signal/noise), 6.0206*bits+1.7609-lost; math.Abs(got-want) > 0.5 {
				t.Errorf("With %g bits, %s, a sine stands %.2f dB over its noise, and the catalog says %.2f dB.", bits, rounding, got, want)
			}
		}
	}
}

func TestBitReducerHolds(t *testing.T) {
	t.Parallel()
	// Samples are taken wherever n rate / sample rate passes a whole number, and
	// stay until the next.
	x := make([]float32, 432)
	for i := range x {
		x[i] = float32(i) / 512
	}
	for _, rate := range []float64{48000, 60000, 24000, 12000, 7000, 100} {
		y := render(t, rendering{
			Block: "bit-reducer", Frames: len(x), Params: map[string]float64{"bits": 16, "rate": rate}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		ratio := min(1, rate/48000)
		for i, got := range y[:len(x)] {
			taken := i // the last at which a whole turn was passed
			for taken > 0 && math.Floor(float64(taken+1)*ratio-1e-6) == math.Floor(float64(taken)*ratio-1e-6) {
				taken--
			}
			if got != x[taken] {
				t.Fatalf("At %g Hz sample %d is %g, and sample %d, %g, is the one that is held.", rate, i, got, taken, x[taken])
			}
		}
	}
}

func TestBitReducerStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "bit-reducer", 48000, map[string]float64{"bits": 5, "rate": 9000}, map[string]float64{"rate": 30000})
}
