package main

import (
	"math"
	"testing"
)

func TestAutomaticGainLevels(t *testing.T) {
	t.Parallel()
	// A steady sound comes out at the target, unless the greatest gain does not
	// reach; below the quiet level the gain is that of the start, from full scale.
	const target, most, quiet = -10, 20, -50
	for _, approximate := range []bool{false, true} {
		for level, want := range map[float64]float64{0: -10, 6: -10, -10: -10, -25: -10, -29: -10, -35: -15, -49: -29, -51: -61} {
			x := steadySound(level, 19200)
			y := render(t, rendering{
				Block: "automatic-gain", Frames: len(x), Approximate: approximate, Inputs: map[string][][]float32{"in": {x}},
				Params: map[string]float64{"target": target, "most": most, "quiet": quiet, "attack": 0.01, "release": 0.02},
			})["out"][0]
			// In single precision a one-pole of 20 ms stands still where its step falls
			// below half a unit in the last place: 6e-8 / 0.001, 5e-4 dB.
			if got := inDecibels(math.Abs(float64(y[len(x)-1]))); math.Abs(got-want) > 2e-3 {
				t.Errorf("A steady %g dB comes out at %.4f dB, want %.4f dB (short forms: %v).", level, got, want, approximate)
			}
		}
	}
}

func TestAutomaticGainTimes(t *testing.T) {
	t.Parallel()
	// The level nears a steady swing by exp(-t / time), the closed form of a
	// one-pole, from full scale down, up, and not at all in a pause.
	const attack, release, step = 0.03, 0.2, 9600
	x := append(append(steadySound(-20, step), steadySound(-70, step)...), steadySound(-6, step)...)
	y := render(t, rendering{
		Block: "automatic-gain", Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
		Params: map[string]float64{"target": -12, "most": 40, "quiet": -60, "attack": attack, "release": release},
	})["out"][0]
	soft, loud := math.Pow(10, -1), math.Pow(10, -6.0/20)
	fallen := soft + (1-soft)*math.Exp(-step/(release*48000))
	for i := range x {
		level := fallen
		switch after := float64(i + 1); {
		case i < step:
			level = soft + (1-soft)*math.Exp(-after/(release*48000))
		case i >= 2*step:
			level = loud + (fallen-loud)*math.Exp(-(after-2*step)/(attack*48000))
		}
		if got, want := inDecibels(float64(y[i])/float64(x[i])), -12-inDecibels(level); math.Abs(got-want) > 5e-3 {
			t.Fatalf("At sample %d the gain is %.4f dB, and behind a one-pole %.4f dB.", i, got, want)
		}
	}
}

func TestAutomaticGainLinksChannels(t *testing.T) {
	t.Parallel()
	// The louder channel sets the gain of both; silence stays silent.
	loud, soft := steadySound(-20, 4800), steadySound(-40, 4800)
	y := render(t, rendering{
		Block: "automatic-gain", Channels: 2, Frames: 4800, Inputs: map[string][][]float32{"in": {soft, loud}},
	})["out"]
	for i := range loud {
		one, other := float64(y[0][i])/float64(soft[i]), float64(y[1][i])/float64(loud[i])
		if math.Abs(one/other-1) > 1e-6 {
			t.Fatalf("At sample %d one channel has a gain of %g and the other of %g.", i, one, other)
		}
	}
	for i, v := range render(t, rendering{Block: "automatic-gain", Frames: 480})["out"][0] {
		if v != 0 {
			t.Fatalf("Sample %d of silence comes out as %g.", i, v)
		}
	}
}

func TestAutomaticGainStyles(t *testing.T) { checkStyles(t, "automatic-gain") }
