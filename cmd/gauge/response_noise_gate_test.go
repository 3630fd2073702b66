package main

import (
	"math"
	"testing"
)

// gated is the gain that a noise gate gives to one channel, sample by sample.
func gated(t *testing.T, params map[string]float64, x []float32, approximate bool) []float64 {
	t.Helper()
	y := render(t, rendering{
		Block: "noise-gate", Params: params, Frames: len(x), Approximate: approximate,
		Inputs: map[string][][]float32{"in": {x}},
	})["out"][0]
	gains := make([]float64, len(x))
	for i := range x {
		gains[i] = float64(y[i]) / float64(x[i])
	}
	return gains
}

// checkGain demands that a gain is as many decibels as wanted, within a
// hundredth.
func checkGain(t *testing.T, what string, gain, want float64) {
	t.Helper()
	if got := inDecibels(gain); math.Abs(got-want) > 0.01 {
		t.Errorf("%s: the gain is %.3f dB, want %.3f dB.", what, got, want)
	}
}

func TestNoiseGateLines(t *testing.T) {
	t.Parallel()
	// 60 dB in 20 ms up and in 50 ms down are 0.0625 and 0.025 dB a sample, from
	// -40 dB while shut and back; a hold of 10 ms keeps it open 480 samples more.
	params := map[string]float64{"threshold": -20, "shut": -40, "hold": 0.01, "attack": 0.02, "release": 0.05}
	x := append(append(steadySound(-60, 1000), steadySound(-10, 2000)...), steadySound(-60, 4000)...)
	for _, approximate := range []bool{false, true} {
		for i, gain := range gated(t, params, x, approximate) {
			want := -40.0
			switch {
			case i >= 3480:
				want = max(-40, -0.025*float64(i-3479))
			case i >= 1000:
				want = min(0, -40+0.0625*float64(i-999))
			}
			if got := inDecibels(gain); math.Abs(got-want) > 0.01 {
				t.Fatalf("At sample %d the gain is %.3f dB, and the line has %.3f dB (short forms: %v).", i, got, want, approximate)
			}
			if want == 0 && i > 2000 && gain != 1 {
				t.Fatalf("At sample %d the gate is open and changes the signal by a factor of %.9g.", i, gain)
			}
		}
	}
}

func TestNoiseGateHysteresis(t *testing.T) {
	t.Parallel()
	params := func(hysteresis float64) map[string]float64 {
		return map[string]float64{"threshold": -30, "hysteresis": hysteresis, "shut": -50, "hold": 0, "attack": 0.001, "release": 0.001}
	}
	// Up to just below the threshold, above it, and down again by steps.
	var x []float32
	for _, level := range []float64{-30.5, -29.5, -30.5, -35.5, -36.5} {
		x = append(x, steadySound(level, 500)...)
	}
	for _, c := range []struct {
		hysteresis float64
		want       [5]float64
	}{
		{6, [5]float64{-50, 0, 0, 0, -50}},
		{0, [5]float64{-50, 0, -50, -50, -50}},
	} {
		gains := gated(t, params(c.hysteresis), x, false)
		for k, want := range c.want {
			checkGain(t, "With a hysteresis of "+map[float64]string{0: "nothing", 6: "6 dB"}[c.hysteresis], gains[500*k+499], want)
		}
	}
}

func TestNoiseGateLinksChannels(t *testing.T) {
	t.Parallel()
	// The louder channel opens for both; silence stays silent.
	loud, soft := steadySound(-10, 4800), steadySound(-80, 4800)
	y := render(t, rendering{
		Block: "noise-gate", Channels: 2, Frames: 4800, Inputs: map[string][][]float32{"in": {soft, loud}},
	})["out"]
	checkGain(t, "The softer of two channels", float64(y[0][4799])/float64(soft[4799]), 0)
	for i, v := range render(t, rendering{Block: "noise-gate", Frames: 480})["out"][0] {
		if v != 0 {
			t.Fatalf("Sample %d of silence comes out as %g.", i, v)
		}
	}
}

func TestNoiseGateUpdates(t *testing.T) {
	t.Parallel()
	// The threshold moves while it runs, and the times with it.
	x := steadySound(-40, 9600)
	start := map[string]float64{"threshold": -50, "shut": -60, "hold": 0, "attack": 0.001, "release": 0.001}
	with := func(name string, value float64) map[string]float64 {
		moved := map[string]float64{}
		for k, v := range start {
			moved[k] = v
		}
		moved[name] = value
		return moved
	}
	slow := with("release", 1)
	slow["threshold"] = -30
	y := render(t, rendering{
		Block: "noise-gate", Params: start, Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
		Updates: map[string]map[int]map[string]float64{
			"release":   {50: slow},
			"threshold": {50: slow, 150: start},
			"hold":      {160: with("hold", 0.05)},
			"attack":    {150: with("attack", 1)},
		},
	})["out"][0]
	gain := func(i int) float64 { return float64(y[i]) / float64(x[i]) }
	// From sample 2400 on it shuts, by 60 dB in 48000 samples; from 7200 on it
	// opens as slowly.
	checkGain(t, "Before the threshold rises", gain(2399), 0)
	checkGain(t, "2400 samples behind it", gain(4799), -3)
	checkGain(t, "4800 samples behind it", gain(7199), -6)
	checkGain(t, "2400 samples after it fell again", gain(9599), -3)
}

func TestNoiseGateStyles(t *testing.T) { checkStyles(t, "noise-gate") }
