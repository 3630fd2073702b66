package main

import (
	"fmt"
	"math"
	"testing"
)

func TestMixSum(t *testing.T) {
	t.Parallel()
	const frames = 96
	for _, channels := range []int{1, 2, 4} {
		in := make([][]float32, channels)
		for c := range in {
			in[c] = filterHiss(frames, 0.9, uint64(c))
		}
		for _, gain := range []float32{0.5, -2} {
			got := render(t, rendering{Block: "mix", Channels: channels, Frames: frames, Params: map[string]float64{"gain": float64(gain)}, Inputs: map[string][][]float32{"in": in}})["out"][0]
			for n := range frames {
				want := float32(0)
				for c := range in {
					want += gain * in[c][n] // powers of two are exact, so only the order of the sum counts
				}
				if got[n] != want {
					t.Fatalf("Mix of %d channels by %v: sample %d is %v, want %v, the sum of g x in the order of the channels.", channels, gain, n, got[n], want)
				}
			}
		}
	}
}

func TestDryWetBlend(t *testing.T) {
	t.Parallel()
	const frames = 96
	dry, wet := filterHiss(frames, 0.9, 1), filterHiss(frames, 0.9, 2)
	for _, share := range []float64{0, 0.25, 0.5, 1} {
		got := render(t, rendering{Block: "dry-wet", Frames: frames, Params: map[string]float64{"wet": share}, Inputs: map[string][][]float32{"dry": {dry}, "wet": {wet}}})["out"][0]
		for n := range frames {
			want := (1-share)*float64(dry[n]) + share*float64(wet[n])
			// Two roundings of values up to 1.8, each by at most 2^-24 of them.
			if math.Abs(float64(got[n])-want) > 2.2e-7 || (share == 0 && got[n] != dry[n]) {
				t.Fatalf("A blend of %v: sample %d is %v, want %v, (1 - w) dry + w wet.", share, n, got[n], want)
			}
		}
	}
}

func TestPanLaws(t *testing.T) {
	t.Parallel()
	x := []float32{1, -0.5, 0.25}
	for _, approximate := range []bool{false, true} {
		for position := -1.0; position <= 1; position += 0.125 {
			got := func(law string) (left, right float64) {
				out := render(t, rendering{Block: "pan", Choices: map[string]string{"law": law}, Frames: len(x), BlockSize: len(x), Approximate: approximate, Params: map[string]float64{"position": position}, Inputs: map[string][][]float32{"in": {x}}})["out"]
				for n := range x {
					if out[0][n] != out[0][0]*x[n] || out[1][n] != out[1][0]*x[n] {
						t.Errorf("Pan by %s at %v: sample %d is not the first scaled by %v.", law, position, n, x[n])
					}
				}
				return float64(out[0][0]), float64(out[1][0])
			}
			left, right := got("equal-power")
			if power := left*left + right*right; math.Abs(power-1) > 4e-6 {
				t.Errorf("Equal power at %v (short maths %v) gives a power of %.7f; cos^2 + sin^2 is 1.", position, approximate, power)
			}
			angle := (position + 1) * math.Pi / 4
			if math.Hypot(left-math.Cos(angle), right-math.Sin(angle)) > 2e-6 {
				t.Errorf("Equal power at %v gives %v and %v; the law is cos and sin of %.4f.", position, left, right, angle)
			}
			left, right = got("linear")
			if left+right != 1 || right != (position+1)/2 {
				t.Errorf("Linear at %v gives %v and %v; the law is right (p + 1) / 2 and a sum of 1.", position, left, right)
			}
		}
	}
}

func TestPanDip(t *testing.T) {
	t.Parallel()
	// The catalog's level_error: power in the middle against the side.
	for law, want := range map[string]float64{"equal-power": 0, "linear": 3.0103} {
		out := render(t, rendering{Block: "pan", Choices: map[string]string{"law": law}, Frames: 1, BlockSize: 1, Inputs: map[string][][]float32{"in": {{1}}}})["out"]
		l, r := float64(out[0][0]), float64(out[1][0])
		if dip := -10 * math.Log10(l*l+r*r); math.Abs(dip-want) > 1e-3 {
			t.Errorf("Pan by %s dips by %.4f dB in the middle; the catalog says %v dB.", law, dip, want)
		}
	}
}

func TestMixStyles(t *testing.T) {
	t.Parallel()
	for block, params := range map[string]map[string]float64{"gain": {"gain": 0.7}, "mix": {"gain": 0.7}, "dry-wet": {"wet": 0.3}, "pan": {"position": 0.3}} {
		t.Run(fmt.Sprint(block), func(t *testing.T) {
			checkLineStyles(t, block, 48000, params, map[string]float64{"gain": 0.2, "position": -0.5})
		})
	}
}
