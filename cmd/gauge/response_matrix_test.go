package main

import (
	"math"
	"testing"
)

func TestMatrixMixerSums(t *testing.T) {
	t.Parallel()
	// Every output is the sum of all inputs by the gain (algebra); a sum of m
	// products is rounded m times.
	for _, c := range []struct {
		channels int
		outputs  float64
	}{{1, 1}, {1, 8}, {2, 2}, {3, 5}, {5, 1}} {
		var in [][]float32
		for k := range c.channels {
			in = append(in, filterHiss(96, 1, uint64(200+k)))
		}
		out := render(t, rendering{
			Block: "matrix-mixer", Channels: c.channels, Frames: 96, Params: map[string]float64{"outputs": c.outputs, "gain": 1},
			Inputs: map[string][][]float32{"in": in}, Updates: map[string]map[int]map[string]float64{"gains": {1: {"gain": -0.7}}},
		})["out"]
		if len(out) != int(c.outputs) {
			t.Fatalf("With %g outputs %d channels come out.", c.outputs, len(out))
		}
		for o := range out {
			for n, got := range out[o] {
				gain, want := 1.0, 0.0
				if n >= 48 { // the second block
					gain = -0.7
				}
				for k := range in {
					want += gain * float64(in[k][n])
				}
				if math.Abs(float64(got)-want) > 6e-8*float64(c.channels)*float64(c.channels) {
					t.Fatalf("%d inputs, output %d: sample %d is %g, want %g.", c.channels, o+1, n, got, want)
				}
			}
		}
	}
}

func TestMatrixMixerStyles(t *testing.T) { checkStyles(t, "matrix-mixer") }
