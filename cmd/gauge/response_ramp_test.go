package main

import (
	"math"
	"testing"
)

// The ramp is the turns since the start, less whole ones: its definition.
func TestPhaseRampCountsTurns(t *testing.T) {
	t.Parallel()
	for _, pitch := range []float64{0.5, 110, 1000, 19999} {
		const frames = 4800
		y := render(t, rendering{Block: "phase-ramp", Params: map[string]float64{"pitch": pitch}, Frames: frames})["out"][0]
		for n, v := range y {
			turns := float64(n) * pitch / 48000
			off := math.Abs(float64(v) - (turns - math.Floor(turns)))
			// The step is cut to 2^-32 of a turn and made of floats: 24 bits of it.
			if tolerance := 1e-6 + turns*1.3e-7; min(off, 1-off) > tolerance || v < 0 || v >= 1 {
				t.Fatalf("%g Hz: sample %d is %.9g, want %.9g to %g.", pitch, n, v, turns-math.Floor(turns), tolerance)
			}
		}
	}
}

func TestPhaseRampSync(t *testing.T) {
	t.Parallel()
	y := render(t, rendering{
		Block: "phase-ramp", Params: map[string]float64{"pitch": 375}, Frames: 480, // 1/128 of a turn a sample
		Events: map[string]map[int][]event{"sync": {2: {{0, 1}}, 4: {{0, 0}}}},
	})["out"][0]
	for n, v := range y {
		since := n
		if n >= 96 {
			since -= 96
		}
		if want := float32(since%128) / 128; v != want {
			t.Fatalf("Sample %d of a ramp that is set back at sample 96 is %g, want %g.", n, v, want)
		}
	}
}

// A pitch that audio moves and keeps at one value is as good as that value.
func TestPhaseRampMoved(t *testing.T) {
	t.Parallel()
	const frames = 960
	pitch := make([]float32, frames)
	for i := range pitch {
		pitch[i] = 441
	}
	still := render(t, rendering{Block: "phase-ramp", Params: map[string]float64{"pitch": 441}, Frames: frames})["out"][0]
	moved := render(t, rendering{Block: "phase-ramp", Frames: frames, Moved: map[string][]float32{"pitch": pitch}})["out"][0]
	for n := range still {
		if still[n] != moved[n] {
			t.Fatalf("Sample %d is %g with a pitch that stands and %g with one that audio keeps there.", n, still[n], moved[n])
		}
	}
}

func TestPhaseRampStyles(t *testing.T) { checkStyles(t, "phase-ramp") }
