package main

import (
	"math"
	"testing"
)

func TestCrossfadeLaws(t *testing.T) {
	t.Parallel()
	a, b := filterHiss(96, 0.9, 1), filterHiss(96, 0.9, 2)
	for _, approximate := range []bool{false, true} {
		for position := 0.0; position <= 1; position += 0.125 {
			for law, gains := range map[string][2]float64{
				"equal-power": {math.Cos(position * math.Pi / 2), math.Sin(position * math.Pi / 2)},
				"linear":      {1 - position, position},
			} {
				got := render(t, rendering{
					Block: "crossfade", Choices: map[string]string{"law": law}, Frames: len(a), Approximate: approximate,
					Params: map[string]float64{"position": position}, Inputs: map[string][][]float32{"a": {a}, "b": {b}},
				})["out"][0]
				for n := range a {
					// The short sine errs by 5.9e-7, and so may each of two.
					if want := gains[0]*float64(a[n]) + gains[1]*float64(b[n]); math.Abs(float64(got[n])-want) > 1.5e-6 {
						t.Fatalf("At %g by %s (short maths %v) sample %d is %v, and the law gives %v.", position, law, approximate, n, got[n], want)
					}
				}
			}
		}
	}
}

func TestCrossfadeDip(t *testing.T) {
	t.Parallel()
	// The catalog's level_error: power of both halfway against one alone. Two
	// sounds that never sound at once are as unlike as can be.
	for law, want := range map[string]float64{"equal-power": 0, "linear": 3.0103} {
		out := render(t, rendering{
			Block: "crossfade", Choices: map[string]string{"law": law}, Frames: 2, BlockSize: 2,
			Params: map[string]float64{"position": 0.5}, Inputs: map[string][][]float32{"a": {{1, 0}}, "b": {{0, 1}}},
		})["out"][0]
		power := float64(out[0])*float64(out[0]) + float64(out[1])*float64(out[1])
		if dip := -10 * math.Log10(power); math.Abs(dip-want) > 1e-4 {
			t.Errorf("Halfway by %s the power dips by %.5f dB; the catalog says %v dB.", law, dip, want)
		}
	}
}

func TestStereoWidthLaws(t *testing.T) {
	t.Parallel()
	// Middle and side by their definition, in double precision.
	left, right := filterHiss(96, 0.9, 1), filterHiss(96, 0.9, 2)
	for _, width := range []float64{0, 0.3, 1, 1.7, 4} {
		for law, g := range map[string]float64{"plain": 0.5, "even": 1 / math.Sqrt(2*(1+width*width))} {
			out := render(t, rendering{
				Block: "stereo-width", Choices: map[string]string{"law": law}, Channels: 2, Frames: len(left),
				Params: map[string]float64{"width": width}, Inputs: map[string][][]float32{"in": {left, right}},
			})["out"]
			for n := range left {
				middle, side := g*float64(left[n]+right[n]), g*width*(float64(left[n])-float64(right[n]))
				if math.Abs(float64(out[0][n])-(middle+side)) > 1e-6 || math.Abs(float64(out[1][n])-(middle-side)) > 1e-6 {
					t.Fatalf("At width %g by %s sample %d is %v and %v; middle and side give %v and %v.", width, law, n, out[0][n], out[1][n], middle+side, middle-side)
				}
				if width == 0 && out[0][n] != out[1][n] {
					t.Fatalf("At width 0 by %s sample %d differs from side to side: %v and %v.", law, n, out[0][n], out[1][n])
				}
			}
		}
	}
}

func TestStereoWidthLevel(t *testing.T) {
	t.Parallel()
	// The catalog's level_error: power of both sides out for one side in, which
	// is half of what two unlike sides bring.
	for _, width := range []float64{0, 0.5, 1, 2, 4} {
		for law, want := range map[string]float64{"even": 0, "plain": 10 * math.Log10((1+width*width)/2)} {
			out := render(t, rendering{
				Block: "stereo-width", Choices: map[string]string{"law": law}, Channels: 2, Frames: 1, BlockSize: 1,
				Params: map[string]float64{"width": width}, Inputs: map[string][][]float32{"in": {{1}, {0}}},
			})["out"]
			l, r := float64(out[0][0]), float64(out[1][0])
			if got := 10 * math.Log10(l*l+r*r); math.Abs(got-want) > 1e-5 {
				t.Errorf("At width %g by %s unlike sides come out %.5f dB louder, and the algebra has %.5f dB.", width, law, got, want)
			}
		}
	}
}

func TestStereoStyles(t *testing.T) {
	t.Parallel()
	for block, start := range map[string]map[string]float64{"crossfade": {"position": 0.2}, "stereo-width": {"width": 2.3}} {
		params := map[string]map[string]float64{"crossfade": {"position": 0.7}, "stereo-width": {"width": 0.6}}[block]
		t.Run(block, func(t *testing.T) { checkLineStyles(t, block, 48000, params, start) })
	}
}
