package main

import (
	"math"
	"testing"
)

// steadySound is one level on one channel, with signs in turn.
func steadySound(decibels float64, frames int) []float32 {
	x := make([]float32, frames)
	for i := range x {
		x[i] = float32(math.Pow(10, decibels/20) * float64(1-2*(i%2)))
	}
	return x
}

func TestCompressorCurve(t *testing.T) {
	t.Parallel()
	// The static curve of a hard knee: below the threshold what goes in comes
	// out, above it one decibel for every ratio decibels; makeup on all.
	for _, c := range []struct {
		threshold, ratio, makeup float64
		approximate              bool
		within                   float64 // decibels
	}{
		// In single precision a one-pole of 5 ms stands still where its step falls
		// below half a unit in the last place: 1.2e-7 / 0.0042 doublings, 1.7e-4 dB.
		{-18, 4, 0, false, 4e-4}, {-40, 1, 0, false, 4e-4}, {-30, 2, 6, false, 4e-4}, {-12, 100, 12, false, 4e-4},
		// The short logarithm errs by 2.9e-5 doublings.
		{-18, 4, 3, true, 1e-3},
	} {
		for _, level := range []float64{-60, -35, -20, -6, 0, 12} {
			x := steadySound(level, 9600)
			y := render(t, rendering{
				Block: "compressor", Frames: len(x), Approximate: c.approximate, Inputs: map[string][][]float32{"in": {x}},
				Params: map[string]float64{"threshold": c.threshold, "ratio": c.ratio, "makeup": c.makeup, "attack": 0.005, "release": 0.01},
			})["out"][0]
			want := level + c.makeup
			if level > c.threshold {
				want = c.threshold + (level-c.threshold)/c.ratio + c.makeup
			}
			if got := inDecibels(math.Abs(float64(y[len(x)-1]))); math.Abs(got-want) > c.within {
				t.Errorf("Over %g dB at %g to 1 a steady %g dB comes out at %.5f dB, and the static curve has %.5f dB.", c.threshold, c.ratio, level, got, want)
			}
		}
	}
}

func TestCompressorSoftKnee(t *testing.T) {
	t.Parallel()
	// The parabola of Giannoulis, Massberg and Reiss, 2012: within half a width W
	// of the threshold T the level x goes to x + (1/R - 1)(x - T + W/2)^2 / (2 W).
	const threshold, ratio, width = -20, 3, 12
	at := func(knee string, level float64) float64 {
		x := steadySound(level, 9600)
		y := render(t, rendering{
			Block: "compressor", Choices: map[string]string{"knee": knee}, Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
			Params: map[string]float64{"threshold": threshold, "ratio": ratio, "width": width, "attack": 0.005, "release": 0.01},
		})["out"][0]
		return inDecibels(math.Abs(float64(y[len(x)-1])))
	}
	for _, level := range []float64{-60, -26.5, -25, -22, -20, -17, -14.5, -13, 0} {
		want := level
		switch over := level - threshold; {
		case over > width/2:
			want = threshold + over/ratio
		case over > -width/2:
			want = level + (1.0/ratio-1)*(over+width/2)*(over+width/2)/(2*width)
		}
		if got := at("soft", level); math.Abs(got-want) > 4e-4 {
			t.Errorf("By a soft knee a steady %g dB comes out at %.5f dB, and the parabola has %.5f dB.", level, got, want)
		}
	}
	// The catalog's level_error: the corner against the parabola, farthest apart
	// at the threshold.
	if got, want := at("hard", threshold)-at("soft", threshold), (1-1.0/ratio)*width/8; math.Abs(got-want) > 4e-4 {
		t.Errorf("At the threshold a hard knee lies %.5f dB over a soft one, and the catalog says %.5f dB.", got, want)
	}
}

func TestCompressorTimes(t *testing.T) {
	t.Parallel()
	// Behind a step the reduction in decibels nears its end by exp(-t / time):
	// the closed form of a one-pole. Full scale over -20 dB at 2 to 1 is 10 dB.
	const attack, release, step = 0.02, 0.1, 9600
	x := append(steadySound(0, step), steadySound(-40, step)...)
	y := render(t, rendering{
		Block: "compressor", Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
		Params: map[string]float64{"threshold": -20, "ratio": 2, "attack": attack, "release": release},
	})["out"][0]
	risen := 10 * (1 - math.Exp(-step/(attack*48000)))
	for _, i := range []int{0, 10, 100, 960, 5000, 9599, 9600, 9700, 12000, 19199} {
		want := 10 * (1 - math.Exp(-float64(i+1)/(attack*48000)))
		if i >= step {
			want = risen * math.Exp(-float64(i+1-step)/(release*48000))
		}
		if got := inDecibels(math.Abs(float64(x[i]))) - inDecibels(math.Abs(float64(y[i]))); math.Abs(got-want) > 2e-3 {
			t.Errorf("At sample %d the gain is down by %.4f dB, and a one-pole by %.4f dB.", i, got, want)
		}
	}
}

func TestCompressorLinksChannels(t *testing.T) {
	t.Parallel()
	// The louder channel turns both down by the same factor; silence stays
	// silent, and makes no number of it that is none.
	loud, soft := steadySound(0, 4800), steadySound(-30, 4800)
	r := rendering{
		Block: "compressor", Channels: 2, Frames: 4800, Inputs: map[string][][]float32{"in": {loud, soft}},
		Params: map[string]float64{"threshold": -20, "ratio": 4},
	}
	y := render(t, r)["out"]
	for i := range loud {
		one, other := float64(y[0][i])/float64(loud[i]), float64(y[1][i])/float64(soft[i])
		if math.Abs(one-other) > 1e-6 {
			t.Fatalf("At sample %d one channel is turned down to %g and the other to %g.", i, one, other)
		}
	}
	r.Inputs = nil
	for i, v := range render(t, r)["out"][0] {
		if v != 0 {
			t.Fatalf("Sample %d of silence comes out as %g.", i, v)
		}
	}
}

func TestCompressorStyles(t *testing.T) { checkStyles(t, "compressor") }

func TestExpanderStyles(t *testing.T) { checkStyles(t, "expander") }

func TestExpanderCurve(t *testing.T) {
	t.Parallel()
	// The static curve: above the threshold what goes in comes out, below it every
	// decibel becomes ratio decibels, down to the most that it turns down.
	for _, c := range []struct {
		threshold, ratio, most float64
		approximate            bool
		within                 float64 // decibels
	}{
		// A one-pole of 10 ms stands still where its step falls below half a unit in
		// the last place: between 4 and 8 doublings 2.4e-7 / 0.0021, 6.9e-4 dB, and
		// twice that beyond.
		{-40, 2, 60, false, 8e-4}, {-40, 1, 60, false, 8e-4}, {-20, 4, 30, false, 8e-4}, {-30, 20, 80, false, 2e-3}, {-40, 3, 60, true, 3e-3},
	} {
		for _, level := range []float64{-80, -55, -41, -30, -10, 0} {
			x := steadySound(level, 14400)
			y := render(t, rendering{
				Block: "expander", Frames: len(x), Approximate: c.approximate, Inputs: map[string][][]float32{"in": {x}},
				Params: map[string]float64{"threshold": c.threshold, "ratio": c.ratio, "most": c.most, "attack": 0.005, "release": 0.01},
			})["out"][0]
			want := level - min(c.most, (c.ratio-1)*max(0, c.threshold-level))
			if got := inDecibels(math.Abs(float64(y[len(x)-1]))); math.Abs(got-want) > c.within {
				t.Errorf("Under %g dB at 1 to %g a steady %g dB comes out at %.5f dB, and the static curve has %.5f dB.", c.threshold, c.ratio, level, got, want)
			}
		}
	}
}

func TestExpanderTimes(t *testing.T) {
	t.Parallel()
	// Behind a step the reduction in decibels nears its end by exp(-t / time): the
	// closed form of a one-pole. -60 dB under -40 dB at 1 to 2 is 20 dB, by the
	// release; full scale takes it back, by the attack.
	const attack, release, step = 0.02, 0.1, 9600
	x := append(steadySound(-60, step), steadySound(0, step)...)
	y := render(t, rendering{
		Block: "expander", Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
		Params: map[string]float64{"threshold": -40, "ratio": 2, "most": 60, "attack": attack, "release": release},
	})["out"][0]
	sunk := 20 * (1 - math.Exp(-step/(release*48000)))
	for _, i := range []int{0, 10, 100, 960, 5000, 9599, 9600, 9700, 12000, 19199} {
		want := 20 * (1 - math.Exp(-float64(i+1)/(release*48000)))
		if i >= step {
			want = sunk * math.Exp(-float64(i+1-step)/(attack*48000))
		}
		if got := inDecibels(math.Abs(float64(x[i]))) - inDecibels(math.Abs(float64(y[i]))); math.Abs(got-want) > 2e-3 {
			t.Errorf("At sample %d the gain is down by %.4f dB, and a one-pole by %.4f dB.", i, got, want)
		}
	}
}
