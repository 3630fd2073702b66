package main

import (
	"math"
	"testing"
)

// reversed is what the reverse delay computes, in double precision and with a line
// that never ends, from its equation. Times are in samples.
func reversed(x []float32, segment, fade int, feedback float64) []float64 {
	w, y := make([]float64, len(x)), make([]float64, len(x))
	at := func(n int) float64 {
		if n < 0 {
			return 0
		}
		return w[n]
	}
	for n := range x {
		start, k := n/segment*segment, n%segment
		newer := min(1, float64(k)/float64(fade))
		y[n] = newer * at(start-1-k)
		if newer < 1 {
			y[n] += (1 - newer) * at(start-segment-1-(k+segment))
		}
		w[n] = float64(x[n]) + feedback*y[n]
	}
	return y
}

func TestReverseDelay(t *testing.T) {
	t.Parallel()
	const frames = 9600
	for _, c := range []struct {
		name                    string
		segment, fade, feedback float64 // samples, samples, ratio
	}{
		{"a short fade", 1200, 60, 0},
		{"fed back", 1000, 250, 0.6},
		{"a fade longer than the segment", 960, 4800, -0.5},
		{"the shortest", 960, 48, 0.9},
	} {
		for _, format := range lineFormats {
			in := [][]float32{filterHiss(frames, 0.1, 61), filterHiss(frames, 0.1, 62)}
			out := render(t, rendering{
				Block: "reverse-delay", Choices: map[string]string{"format": format}, Channels: 2, Frames: frames,
				Params: map[string]float64{"segment": c.segment / 48000, "fade": c.fade / 48000, "feedback": c.feedback},
				Inputs: map[string][][]float32{"in": in},
			})["out"]
			tolerance := 1e-5
			if format == "int16" {
				tolerance += 0.5 / 32768 / (1 - math.Abs(c.feedback))
			}
			for channel := range out {
				for n, want := range reversed(in[channel], int(c.segment), int(min(c.fade, c.segment)), c.feedback) {
					if got := float64(out[channel][n]); math.Abs(got-want) > tolerance {
						t.Errorf("%s, %s: sample %d of channel %d is %v, want %v, the equation in double precision.", c.name, format, n, channel, got, want)
						break
					}
				}
			}
		}
	}
}

func TestReverseDelayTurnsRound(t *testing.T) {
	t.Parallel()
	// Past the fade the output of one segment is the segment before it, turned
	// round: what the name says.
	x := filterHiss(4*1200, 0.3, 63)
	y := render(t, rendering{Block: "reverse-delay", Frames: len(x), Params: map[string]float64{"segment": 0.025, "fade": 0.001, "feedback": 0}, Inputs: map[string][][]float32{"in": {x}}})["out"][0]
	for n := 3*1200 + 48; n < 4*1200; n++ {
		if want := x[3*1200-1-(n-3*1200)]; math.Abs(float64(y[n]-want)) > 1e-6 {
			t.Fatalf("Sample %d is %v, want %v, the segment before from its end.", n, y[n], want)
		}
	}
}

func TestReverseDelayStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "reverse-delay", 8000, map[string]float64{"segment": 0.02, "fade": 0.005, "feedback": 0.5}, nil)
}

// shifted is what the pitch shift computes, in double precision and with a line that
// never ends. The window is in samples; turns go by whole steps of 2^-32, from step
// 0x1c71c71c.
func shifted(x []float32, window, pitch float64) []float64 {
	at := func(n int) float64 {
		if n < 0 {
			return 0
		}
		return float64(x[n])
	}
	y := make([]float64, len(x))
	step := math.Trunc((1 - pitch) / window * (1 << 32))
	for n := range x {
		turn := (0x1c71c71c + step*float64(n)) / (1 << 32)
		for _, lag := range []float64{0, 0.5} {
			s := 2 * (turn + lag - math.Round(turn+lag))
			d := 1 + window*(1+s)/2
			whole := math.Floor(d)
			y[n] += (1 - math.Abs(s)) * (at(n-int(whole))*(1-d+whole) + at(n-int(whole)-1)*(d-whole))
		}
	}
	return y
}

func TestPitchShift(t *testing.T) {
	t.Parallel()
	const frames = 9600
	for _, c := range []struct{ window, pitch float64 }{{0.05, 1.5}, {0.01, 4}, {0.02, 0.25}, {0.031, 0.97}, {0.2, 2}} {
		for _, format := range lineFormats {
			in := [][]float32{filterHiss(frames, 0.1, 71), filterHiss(frames, 0.1, 72)}
			out := render(t, rendering{
				Block: "pitch-shift", Choices: map[string]string{"format": format}, Channels: 2, Frames: frames,
				Params: map[string]float64{"window": c.window, "pitch": c.pitch}, Inputs: map[string][][]float32{"in": in},
			})["out"]
			// A distance of a float is off by up to 2^-11 of a sample in 9600, and a
			// step by its rounding to 24 bits.
			tolerance := 1e-3
			if format == "int16" {
				tolerance += 0.5 / 32768
			}
			for channel := range out {
				for n, want := range shifted(in[channel], 48000*c.window, c.pitch) {
					if got := float64(out[channel][n]); math.Abs(got-want) > tolerance {
						t.Errorf("A window of %v s and a pitch of %v, %s: sample %d of channel %d is %v, want %v, the equation in double precision.", c.window, c.pitch, format, n, channel, got, want)
						break
					}
				}
			}
		}
	}
}

func TestPitchShiftMovesATone(t *testing.T) {
	t.Parallel()
	// Where the way between the taps, half a window, holds whole waves of a tone, both
	// hear it in step, and what comes out is a tone of the same height, at pitch times
	// the frequency (algebra). 400 Hz make ten waves in 25 ms.
	for _, pitch := range []float64{0.5, 0.75, 1.25, 2} {
		x := make([]float32, 14400)
		for n := range x {
			x[n] = float32(0.5 * math.Sin(2*math.Pi*400*float64(n)/48000))
		}
		y := render(t, rendering{Block: "pitch-shift", Frames: len(x), Params: map[string]float64{"window": 0.05, "pitch": pitch}, Inputs: map[string][][]float32{"in": {x}}})["out"][0]
		// Over 200 ms, which hold whole waves of all these tones.
		tone, all := complex(0, 0), 0.0
		for n := 4800; n < 14400; n++ {
			v, turn := float64(y[n]), 2*math.Pi*400*pitch*float64(n)/48000
			tone += complex(v*math.Cos(turn), v*math.Sin(turn)) / 4800
			all += v * v / 4800
		}
		height := math.Hypot(real(tone), imag(tone))
		if math.Abs(height-0.5) > 0.002 {
			t.Errorf("A tone of 400 Hz times %v has a height of %.4f there, want 0.5.", pitch, height)
		}
		if rest := (all - height*height) / all; rest > 1e-4 {
			t.Errorf("Of a tone of 400 Hz times %v a share of %.2g lies elsewhere, want none.", pitch, rest)
		}
	}
}

func TestPitchShiftStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "pitch-shift", 8000, map[string]float64{"pitch": 1.5, "window": 0.02}, map[string]float64{"pitch": 0.8})
}

// granular is what the granular delay computes, in double precision and with a line
// that never ends. Times are in samples.
type granular struct {
	time, grain   float64
	speed, spread float64
	grains        int
}

func (g granular) run(x []float32) []float64 {
	at := func(n int) float64 {
		if n < 0 {
			return 0
		}
		return float64(x[n])
	}
	// Marsaglia's generator, of which the upper 24 bits are a number from 0 to 1.
	seed := uint32(0x2545f491)
	random := func() float64 {
		seed ^= seed << 13
		seed ^= seed >> 17
		seed ^= seed << 5
		return float64(seed>>8) / (1 << 24)
	}
	type grain struct{ place, speed, age float64 }
	begin := func() grain {
		place := math.Floor(random() * g.time)
		return grain{place: place, speed: g.speed + g.spread*(2*random()-1)}
	}
	list := make([]grain, g.grains)
	for n := range list {
		list[n] = begin()
		list[n].age = math.Floor(float64(n) * g.grain / float64(g.grains))
	}
	y := make([]float64, len(x))
	for n := range x {
		for i := range list {
			one := &list[i]
			d := 1 + one.place + g.grain + (1-one.speed)*one.age
			whole := math.Floor(d)
			part := one.age / g.grain
			y[n] += 4 * part * (1 - part) / math.Sqrt(8*float64(g.grains)/15) * (at(n-int(whole))*(1-d+whole) + at(n-int(whole)-1)*(d-whole))
			if one.age++; one.age == g.grain {
				*one = begin()
			}
		}
	}
	return y
}

func TestGranularDelay(t *testing.T) {
	t.Parallel()
	const frames = 9600
	for _, c := range []granular{
		{4800, 960, 1, 0, 1},
		{480, 240, 1, 0.5, 4},
		{2400, 1200, 1.5, 0.5, 16},
		{3000, 777, 0.5, 0.25, 3},
	} {
		for _, format := range lineFormats {
			in := [][]float32{filterHiss(frames, 0.1, 81), filterHiss(frames, 0.1, 82)}
			out := render(t, rendering{
				Block: "granular-delay", Choices: map[string]string{"format": format}, Channels: 2, Frames: frames,
				Params: map[string]float64{"time": c.time / 48000, "grain": (c.grain + 0.01) / 48000, "speed": c.speed, "spread": c.spread, "grains": float64(c.grains)},
				Inputs: map[string][][]float32{"in": in},
			})["out"]
			// A distance of a float is off by up to 2^-13 of a sample for each grain.
			tolerance := 1e-4 * math.Sqrt(float64(c.grains))
			if format == "int16" {
				tolerance += 0.5 / 32768 * math.Sqrt(15.0/8*float64(c.grains))
			}
			for channel := range out {
				for n, want := range c.run(in[channel]) {
					if got := float64(out[channel][n]); math.Abs(got-want) > tolerance {
						t.Errorf("%+v, %s: sample %d of channel %d is %v, want %v, the equation in double precision.", c, format, n, channel, got, want)
						break
					}
				}
			}
		}
	}
}

func TestGranularDelayKeepsThePower(t *testing.T) {
	t.Parallel()
	// Grains of white noise from different places are not alike, so that their powers
	// add up: the mean square of a parabola's window is 8/15, for which the sum is
	// scaled.
	for _, grains := range []float64{1, 4, 16} {
		x := filterHiss(96000, 0.3, 83)
		y := render(t, rendering{Block: "granular-delay", Frames: len(x), BlockSize: 480, Params: map[string]float64{
			"time": 0.5, "grain": 0.02, "speed": 1, "spread": 0, "grains": grains}, Inputs: map[string][][]float32{"in": {x}}})["out"]
		if level := 10 * math.Log10(energy(y, 48000, 96000)/energy([][]float32{x}, 48000, 96000)); math.Abs(level) > 0.5 {
			t.Errorf("%v grains of noise are %.2f dB louder than the noise, want 0 dB.", grains, level)
		}
	}
}

func TestGranularDelayStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "granular-delay", 8000, map[string]float64{"time": 0.02, "grain": 0.005, "speed": 1.2, "spread": 0.3, "grains": 3}, nil)
}
