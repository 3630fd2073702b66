package main

import (
	"math"
	"testing"
)

func TestTapeDelayEquation(t *testing.T) {
	t.Parallel()
	const frames = 4800
	saturated := func(v float64) float64 {
		v = max(-1.5, min(1.5, v))
		return v - 4.0/27*v*v*v
	}
	for _, c := range []struct {
		name                                string
		time, depth, rate, feedback, cutoff float64
		loudness                            float64
	}{
		{"usual", 0.01, 0.002, 3, 0.5, 5000, 0.4},
		{"bright, close and without sway", 0.001, 0, 1, 0, 20000, 0.4},
		{"dull, and far too loud", 0.005, 0.001, 10, 0.9, 300, 3},
		{"howling", 0.002, 0.0005, 7, 1.2, 8000, 0.3},
	} {
		for _, format := range lineFormats {
			in := [][]float32{filterHiss(frames, c.loudness, 41), filterHiss(frames, c.loudness, 42)}
			out := render(t, rendering{
				Block: "tape-delay", Choices: map[string]string{"format": format}, Channels: 2, Frames: frames,
				Params: map[string]float64{"time": c.time, "depth": c.depth, "rate": c.rate, "feedback": c.feedback, "cutoff": c.cutoff},
				Inputs: map[string][][]float32{"in": in},
			})["out"]
			// As for the other swaying reads: the error of the distance on hiss of
			// full scale, and a step of 16 bits, each raised by the loop. A howl
			// lives on what it made of both for as long as it is heard.
			tolerance := 3e-4
			if format == "int16" {
				tolerance += 2.0 / 32768
			}
			tolerance /= max(1-c.feedback, 0.1)
			// The distance is that of swayed lines, whose reference has all channels together here.
			sway := swaying{time: c.time * 48000, depth: c.depth * 48000, turn: c.rate / 48000, voices: 1}
			smoothing := 1 - math.Exp(-2*math.Pi*c.cutoff/48000)
			for channel := range out {
				w, echo := make([]float64, frames), 0.0
				at := func(n int) float64 {
					if n < 0 {
						return 0
					}
					return w[n]
				}
				for n := range frames {
					d := sway.distance(n, 0)
					whole := int(d)
					f := d - float64(whole)
					echo += smoothing * (at(n-whole)*(1-f) + at(n-whole-1)*f - echo)
					w[n] = saturated(float64(in[channel][n]) + c.feedback*echo)
					if got := float64(out[channel][n]); math.Abs(got-echo) > tolerance {
						t.Errorf("tape-delay, %s, %s: sample %d of channel %d is %v, want %v, the equation in double precision.", c.name, format, n, channel, got, echo)
						break
					}
				}
			}
		}
	}
}

func TestTapeDelayHowlsWithinFullScale(t *testing.T) {
	t.Parallel()
	// The cubic reaches 1 and no more, and a lowpass of steady gain adds nothing.
	in := make([]float32, 48000)
	in[0] = 1
	out := render(t, rendering{
		Block: "tape-delay", Frames: len(in), Inputs: map[string][][]float32{"in": {in}},
		Params: map[string]float64{"time": 0.02, "depth": 0.001, "rate": 1, "feedback": 1.2, "cutoff": 20000},
	})["out"][0]
	loudest := float32(0)
	for _, v := range out[36000:] {
		loudest = max(loudest, v, -v)
	}
	if loudest < 0.1 || loudest > 1 {
		t.Errorf("A tape that is fed back 1.2 times its echo swings to %.3f after a second; a howl lives, and the cubic holds it within 1.", loudest)
	}
}

func TestTapeDelayStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "tape-delay", 48000, map[string]float64{"time": 0.004, "depth": 0.001, "rate": 8, "feedback": 0.6, "cutoff": 3000},
		map[string]float64{"depth": 0.002, "rate": 1, "cutoff": 900})
}
