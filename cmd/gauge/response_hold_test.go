package main

import (
	"slices"
	"testing"
)

func TestComparatorHysteresis(t *testing.T) {
	t.Parallel()
	// Closed below 0.4, open above 0.6, and in between as it was; a value that
	// lies on an edge is not above it. The edges are no binary fractions, so the
	// values stay away from them by more than a rounding.
	in := []float32{0.3, 0.5, 0.59, 0.61, 0.5, 0.41, 0.39, 0.5, 0.7, -3, -3, 8, 8}
	got := periodic(t, rendering{Block: "comparator", Params: map[string]float64{"threshold": 0.5, "hysteresis": 0.2}}, in)["gate"]
	if moments, values := []float32{3 * 48, 6 * 48, 8 * 48, 9 * 48, 11 * 48}, []float32{1, 0, 1, 0, 1}; !slices.Equal(got[0], moments) || !slices.Equal(got[1], values) {
		t.Errorf("The gate moves at %v to %v, want at %v to %v, above 0.6 and below 0.4.", got[0], got[1], moments, values)
	}
	// Without hysteresis it is x > threshold, and 0.5 is not.
	in = []float32{0.5, 0.5000001, 0.5, 0.4999999}
	got = periodic(t, rendering{Block: "comparator", Params: map[string]float64{"threshold": 0.5, "hysteresis": 0}}, in)["gate"]
	if moments, values := []float32{48, 2 * 48}, []float32{1, 0}; !slices.Equal(got[0], moments) || !slices.Equal(got[1], values) {
		t.Errorf("Without hysteresis the gate moves at %v to %v, want at %v to %v, x > 0.5.", got[0], got[1], moments, values)
	}
}

func TestComparatorAgainstItsEquation(t *testing.T) {
	t.Parallel()
	in := filterHiss(2000, 1, 17)
	const threshold, hysteresis = -0.125, 0.5 // edges that floats hold exactly
	got := periodic(t, rendering{Block: "comparator", Params: map[string]float64{"threshold": threshold, "hysteresis": hysteresis}}, in)["gate"]
	var moments, values []float32
	open := float32(0)
	for n, x := range in {
		next := open
		switch {
		case x > threshold+hysteresis/2:
			next = 1
		case x <= threshold-hysteresis/2:
			next = 0
		}
		if next != open {
			moments, values, open = append(moments, float32(48*n)), append(values, next), next
		}
	}
	if len(moments) < 100 || !slices.Equal(got[0], moments) || !slices.Equal(got[1], values) {
		t.Errorf("On noise the gate moves %d times, and its equation, worked beside the kernel, %d times.", len(got[0]), len(moments))
	}
}

func TestComparatorMoves(t *testing.T) {
	t.Parallel()
	// A threshold that moves past a value that stands still moves the gate.
	got := periodic(t, rendering{
		Block: "comparator", Params: map[string]float64{"threshold": 0.5, "hysteresis": 0.1},
		Updates: map[string]map[int]map[string]float64{"edges": {
			2: {"threshold": 0.2, "hysteresis": 0.1},  // opens above 0.25
			4: {"threshold": 0.32, "hysteresis": 0.1}, // closes below 0.27 alone
			6: {"threshold": 0.4, "hysteresis": 0.1},
		}},
	}, slices.Repeat([]float32{0.3}, 8))["gate"]
	if moments, values := []float32{2 * 48, 6 * 48}, []float32{1, 0}; !slices.Equal(got[0], moments) || !slices.Equal(got[1], values) {
		t.Errorf("The gate moves at %v to %v, want at %v to %v.", got[0], got[1], moments, values)
	}
}

func TestTrackAndHold(t *testing.T) {
	t.Parallel()
	x := make([]float32, 7*48)
	for i := range x {
		x[i] = float32(i)
	}
	got := render(t, rendering{
		Block: "track-and-hold", Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
		Events: map[string]map[int][]event{"clock": {1: {{7, 1}}, 3: {{20, 0}}, 4: {{9, 0}}, 5: {{0, 1}, {13, 0}}, 6: {{47, 1}}}},
	})["out"][0]
	// The ramp's value is the sample's number: silence before the first clock,
	// the last sample of a block while it is high, sample 164 where it falls,
	// which a second fall leaves, and 253 where it falls in the block of its rise.
	if want := []float32{0, 95, 143, 164, 164, 253, 335}; !slices.Equal(got, want) {
		t.Errorf("Following from sample 55 to 164, from 240 to 253 and from 335 on, a ramp is handed on as %v, want %v.", got, want)
	}
}
