package main

import (
	"math"
	"testing"
)

// velvetPulses are the places and the heights of all that is not 0, of which
// there must be so many, one in each stretch of a response of so many samples
// (M. Karjalainen and H. Jarvelainen, AES 30th International Conference, 2007;
// from memory): the first sample that there can be is 1, and a place is rounded.
func velvetPulses(t *testing.T, h []float32, pulses int, samples float64) (places []int, heights []float64) {
	t.Helper()
	for n, v := range h {
		if v != 0 {
			places, heights = append(places, n), append(heights, float64(v))
		}
	}
	if len(places) != pulses {
		t.Fatalf("The response has %d pulses, want %d.", len(places), pulses)
	}
	stretch, inside, signs := samples/float64(pulses), 0.0, 0.0
	for k, place := range places {
		part := (float64(place-1) - float64(k)*stretch) / stretch
		if slack := 0.51 / stretch; part < -slack || part > 1+slack-1/stretch {
			t.Fatalf("Pulse %d stands at %d, outside its stretch of %v samples.", k, place, stretch)
		}
		inside += part
		signs += math.Copysign(1, heights[k])
	}
	// Even chances spread a mean of places by 1 / sqrt(12 P) and a sum of signs by
	// sqrt(P); the mean place is half a stretch less half a sample.
	count := float64(pulses)
	if off := math.Abs(inside/count - 0.5*(1-1/stretch)); off > 4/math.Sqrt(12*count) {
		t.Errorf("The pulses stand %v of a stretch off its middle in the mean; random ones do not.", off)
	}
	if math.Abs(signs) > 4*math.Sqrt(count) {
		t.Errorf("The signs of %d pulses add up to %v; random ones do not.", pulses, signs)
	}
	return places, heights
}

func TestVelvetReverbPulses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ rate, decay, pulses float64 }{{48000, 0.5, 600}, {44100, 0.8, 40}, {48000, 0.1, 800}, {48000, 3, 777}} {
		samples := math.Ceil(c.rate * c.decay)
		h := knock(t, rendering{Block: "velvet-reverb", Rate: c.rate, Frames: int(samples) + 480, Params: map[string]float64{"decay": c.decay, "pulses": c.pulses}}, 1)["out"][0]
		_, heights := velvetPulses(t, h, int(c.pulses), samples)
		sum, step := 0.0, 0
		for k, v := range heights {
			sum += v * v
			// 60 dB over all pulses in 20 steps of 3 dB, the first of step j being
			// pulse j P / 20, rounded down.
			for step < 19 && k >= (step+1)*int(c.pulses)/20 {
				step++
			}
			fall := inDecibels(math.Abs(v / heights[0]))
			if want := -3 * float64(step); math.Abs(fall-want) > 0.01 {
				t.Fatalf("Pulse %d of %v is %.3f dB below the first, want %v dB.", k, c.pulses, fall, want)
			}
		}
		if math.Abs(sum-1) > 1e-4 {
			t.Errorf("The energy of %v pulses is %v, want 1.", c.pulses, sum)
		}
		if got := decayTime(h, 48000) * 48000 / c.rate / c.decay; c.pulses > 500 && math.Abs(got-1) > 0.05 {
			t.Errorf("%v pulses fall by 60 dB in %.3f of the decay asked for.", c.pulses, got)
		}
	}
}

func TestVelvetReverbStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "velvet-reverb", 8000, map[string]float64{"decay": 0.1, "pulses": 100}, nil)
}

func TestVelvetReverbFormats(t *testing.T) {
	t.Parallel()
	// Sixteen bits round each sample of the line once, and the response has an
	// energy of 1: a twelfth of a step squared, -101 dB.
	in := map[string][][]float32{"in": {filterHiss(24000, 0.1, 3)}}
	wide := render(t, rendering{Block: "velvet-reverb", BlockSize: 480, Frames: 24000, Inputs: in})["out"]
	short := render(t, rendering{Block: "velvet-reverb", Choices: map[string]string{"format": "int16"}, BlockSize: 480, Frames: 24000, Inputs: in})["out"]
	for n := range wide[0] {
		wide[0][n] -= short[0][n]
	}
	if level := 10 * math.Log10(energy(wide, 12000, 24000)/12000); math.Abs(level+101.1) > 1 {
		t.Errorf("Sixteen bits add noise of %.1f dB of full scale, want -101.1 dB.", level)
	}
}

func TestGatedReverbPulses(t *testing.T) {
	t.Parallel()
	// Level for the hold, then 60 dB over the release, in steps of a twentieth of
	// both with the gain of their middles: common practice, no source.
	for _, c := range []struct{ hold, release, pulses float64 }{{0.25, 0.05, 400}, {0.1, 0.3, 800}, {0.05, 0.001, 40}} {
		samples := math.Ceil(48000*(c.hold+c.release) - 0.001)
		h := knock(t, rendering{Block: "gated-reverb", Frames: int(samples) + 480, Params: map[string]float64{"hold": c.hold, "release": c.release, "pulses": c.pulses}}, 1)["out"][0]
		_, heights := velvetPulses(t, h, int(c.pulses), samples)
		sum := 0.0
		for k, v := range heights {
			sum += v * v
			middle := (math.Floor(float64(k)*20/c.pulses) + 0.5) / 20 * (c.hold + c.release)
			want := -60 * max(0, middle-c.hold) / c.release
			if fall := inDecibels(math.Abs(v / heights[0])); math.Abs(fall-want) > 0.01 {
				t.Fatalf("Pulse %d of %v is %.3f dB below the first, want %v dB.", k, c.pulses, fall, want)
			}
		}
		if math.Abs(sum-1) > 1e-4 {
			t.Errorf("The energy of %v pulses is %v, want 1.", c.pulses, sum)
		}
	}
}

func TestGatedReverbStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "gated-reverb", 8000, map[string]float64{"hold": 0.06, "release": 0.02, "pulses": 100}, nil)
}
