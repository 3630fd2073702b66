package main

import (
	"math"
	"slices"
	"testing"
)

// contacts are the words of the port while a knob goes through quarters of a
// step, each held for some control periods; bounce shakes what changes.
func contacts(quarters []int, hold int, bounce bool) []float32 {
	gray := []float32{0, 1, 3, 2} // two contacts in a Gray code: common practice
	var words []float32
	at := 0
	for _, q := range quarters {
		before := gray[at&3]
		at += q
		now := gray[at&3]
		for i := range hold {
			if bounce && (i == 1 || i == 2 || i == 5) {
				words = append(words, before)
			} else {
				words = append(words, now)
			}
		}
	}
	return words
}

func TestEncoderCountsSteps(t *testing.T) {
	t.Parallel()
	turn := func(quarter, times int) []int { return slices.Repeat([]int{quarter}, times) }
	for name, c := range map[string]struct {
		quarters      []int
		forward, back int
		value         float64
	}{
		"ten steps forward":                      {turn(1, 40), 10, 0, 0.5},
		"forward, and back":                      {append(turn(1, 20), turn(-1, 12)...), 5, 3, 0.1},
		"back from the end":                      {turn(-1, 8), 0, 2, 0},
		"beyond the other end":                   {append(turn(1, 100), turn(-1, 4)...), 25, 1, 0.95},
		"three quarters to and fro":              {append(append(turn(1, 3), turn(-1, 3)...), turn(1, 3)...), 0, 0, 0},
		"two quarters at once, which is no turn": {[]int{2, 2, 2, 2}, 0, 0, 0},
	} {
		for _, bounce := range []bool{false, true} {
			words := contacts(c.quarters, 12, bounce)
			out := render(t, rendering{
				Block: "encoder", Params: map[string]float64{"steps": 20}, Frames: 48 * len(words),
				Inputs: map[string][][]float32{"gate_in": {words}},
			})
			if f, b := len(out["forward"][0]), len(out["back"][0]); f != c.forward || b != c.back {
				t.Errorf("%s, bounce %v: %d steps forward and %d back, want %d and %d.", name, bounce, f, b, c.forward, c.back)
			}
			if got := out["out"][0][len(words)-1]; math.Abs(float64(got)-c.value) > 1e-6 {
				t.Errorf("%s, bounce %v: the value is %g, want %g, the steps by 20 held within 0 and 1.", name, bounce, got, c.value)
			}
		}
	}
}

// A contact must say the same four times, and in a Gray code it stays for two
// quarters: of two control periods each they are seen, of one they are not.
func TestEncoderReadsFourTimes(t *testing.T) {
	t.Parallel()
	for hold, want := range map[int]int{1: 0, 2: 2} {
		words := contacts(slices.Repeat([]int{1}, 8), hold, false)
		words = append(words, 0, 0, 0, 0)
		out := render(t, rendering{Block: "encoder", Frames: 48 * len(words), Inputs: map[string][][]float32{"gate_in": {words}}})
		if got := len(out["forward"][0]); got != want {
			t.Errorf("With %d control periods a quarter there are %d steps, want %d.", hold, got, want)
		}
	}
}
