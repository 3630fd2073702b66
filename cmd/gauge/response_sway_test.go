package main

import (
	"math"
	"testing"
)

// swaying is what chorus, flanger and vibrato compute, in double precision and
// with a line that never ends. Times are in samples.
type swaying struct {
	time, depth, turn float64 // turn: turns of the sway a sample
	voices            int
	feedback, mix     float64
	lag               float64 // turns by which the channel sways later
}

// distance is that of a voice at a sample. The sway goes by whole steps of 2^-32
// turns and starts at step 0x1c71c71c.
func (s swaying) distance(n, voice int) float64 {
	step := math.Floor(s.turn * (1 << 32))
	p := (0x1c71c71c+step*float64(n))/(1<<32) + s.lag + float64(voice)/float64(s.voices)
	p = 2 * (p - math.Round(p))
	return s.time + s.depth*(0.5+2*p*(1-math.Abs(p)))
}

func (s swaying) run(x []float32) []float64 {
	w, y := make([]float64, len(x)), make([]float64, len(x))
	at := func(n int) float64 {
		if n < 0 {
			return 0
		}
		return w[n]
	}
	for n := range x {
		wet := 0.0
		for k := range s.voices {
			d := s.distance(n, k)
			whole := int(d)
			f := d - float64(whole)
			wet += (at(n-whole)*(1-f) + at(n-whole-1)*f) / float64(s.voices)
		}
		w[n] = float64(x[n]) + s.feedback*wet
		y[n] = float64(x[n]) + s.mix*(wet-float64(x[n]))
	}
	return y
}

func TestSwayingReads(t *testing.T) {
	t.Parallel()
	const frames = 9600
	for _, c := range []struct {
		name, block string
		params      map[string]float64
		want        swaying
		shift       float64 // turns by which the second channel sways later
	}{
		{"one voice", "chorus", map[string]float64{"time": 0.01, "depth": 0.004, "rate": 3, "voices": 1, "mix": 1}, swaying{time: 480, depth: 192, turn: 3.0 / 48000, voices: 1, mix: 1}, 0.25},
		{"three voices", "chorus", map[string]float64{"time": 0.015, "depth": 0.005, "rate": 7, "voices": 3, "mix": 0.4}, swaying{time: 720, depth: 240, turn: 7.0 / 48000, voices: 3, mix: 0.4}, 0.25},
		{"four voices", "chorus", map[string]float64{"time": 0.001, "depth": 0.0001, "rate": 10, "voices": 4, "mix": 0.5}, swaying{time: 48, depth: 4.8, turn: 10.0 / 48000, voices: 4, mix: 0.5}, 0.25},
		{"with feedback", "flanger", map[string]float64{"time": 0.0005, "depth": 0.003, "rate": 4, "feedback": 0.7, "mix": 0.5}, swaying{time: 24, depth: 144, turn: 4.0 / 48000, voices: 1, feedback: 0.7, mix: 0.5}, 0.25},
		{"with the other sign", "flanger", map[string]float64{"time": 0.002, "depth": 0.001, "rate": 9, "feedback": -0.9, "mix": 1}, swaying{time: 96, depth: 48, turn: 9.0 / 48000, voices: 1, feedback: -0.9, mix: 1}, 0.25},
		{"from the youngest sample", "vibrato", map[string]float64{"depth": 0.002, "rate": 5}, swaying{time: 1, depth: 96, turn: 5.0 / 48000, voices: 1, mix: 1}, 0},
		{"the shallowest", "vibrato", map[string]float64{"depth": 0.0001, "rate": 20}, swaying{time: 1, depth: 4.8, turn: 20.0 / 48000, voices: 1, mix: 1}, 0},
	} {
		for _, format := range lineFormats {
			in := [][]float32{filterHiss(frames, 0.1, 21), filterHiss(frames, 0.1, 22)}
			out := render(t, rendering{
				Block: c.block, Choices: map[string]string{"format": format}, Channels: 2, Frames: frames, Params: c.params,
				Inputs: map[string][][]float32{"in": in},
			})["out"]
			// Of hiss a read is off by its step from sample to sample times the
			// error of the distance, at most 2^-13 of a sample; the loop raises
			// that and the rounding of 16 bits by 1 / (1 - g).
			tolerance := 1e-4
			if format == "int16" {
				tolerance += 0.5 / 32768
			}
			tolerance /= 1 - math.Abs(c.want.feedback)
			for channel := range out {
				model := c.want
				model.lag = c.shift * float64(channel)
				for n, want := range model.run(in[channel]) {
					if got := float64(out[channel][n]); math.Abs(got-want) > tolerance {
						t.Errorf("%s, %s, %s: sample %d of channel %d is %v, want %v, the equation in double precision.", c.block, c.name, format, n, channel, got, want)
						break
					}
				}
			}
		}
	}
}

func TestFlangerNotches(t *testing.T) {
	t.Parallel()
	// Where nothing sways and nothing is fed back, dry and late sound cancel at
	// odd multiples of half the inverse of the delay, here 1 ms.
	h := filterKnock(t, rendering{
		Block: "flanger", Frames: 480,
		Params: map[string]float64{"time": 0.001, "depth": 0, "feedback": 0, "mix": 0.5},
	}, 1)["out"]
	for k := range 10 {
		notch, top := filterAt(h, (float64(k)+0.5)*1000/48000), filterAt(h, float64(k)*1000/48000)
		if depth := math.Hypot(real(notch), imag(notch)); depth > 1e-4 {
			t.Errorf("A flanger at rest leaves %.2g of the sound at %d Hz, and algebra leaves nothing.", depth, 1000*k+500)
		}
		if level := math.Hypot(real(top), imag(top)); math.Abs(level-1) > 1e-4 {
			t.Errorf("A flanger at rest has a level of %.5f at %d Hz, and algebra gives 1.", level, 1000*k)
		}
	}
}

func TestVibratoBendsPitch(t *testing.T) {
	t.Parallel()
	// On the parabola the distance changes fastest in the middle, by 4 depth
	// turns a second, so that the pitch is lowered and raised by that share.
	const depth, turns, tone, frames = 0.002, 5.0, 1000.0, 19200
	x := make([]float32, frames)
	for n := range x {
		x[n] = float32(math.Sin(2 * math.Pi * tone * float64(n) / 48000))
	}
	y := render(t, rendering{Block: "vibrato", Frames: frames, Params: map[string]float64{"depth": depth, "rate": turns}, Inputs: map[string][][]float32{"in": {x}}})["out"][0]
	shortest, longest, last := math.Inf(1), 0.0, 0.0
	for n := 9600; n < frames; n++ { // one turn, the line being full
		if y[n-1] < 0 && y[n] >= 0 {
			crossing := float64(n) - float64(y[n])/float64(y[n]-y[n-1])
			if last > 0 {
				shortest, longest = min(shortest, crossing-last), max(longest, crossing-last)
			}
			last = crossing
		}
	}
	bend := 4 * depth * turns
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"highest", 48000 / shortest, tone * (1 + bend)}, {"lowest", 48000 / longest, tone * (1 - bend)}} {
		if math.Abs(c.got/c.want-1) > 0.002 {
			t.Errorf("The %s pitch of a vibrato of %g ms at %g Hz is %.1f Hz; a slope of 4 depth rate on %g Hz gives %.1f Hz.", c.what, depth*1000, turns, c.got, tone, c.want)
		}
	}
}

func TestSwayStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "chorus", 48000, map[string]float64{"time": 0.002, "depth": 0.003, "rate": 8, "voices": 3, "mix": 0.6}, map[string]float64{"rate": 1})
	checkLineStyles(t, "flanger", 48000, map[string]float64{"time": 0.002, "depth": 0.003, "rate": 8, "feedback": 0.5, "mix": 0.6}, map[string]float64{"rate": 1})
	checkLineStyles(t, "vibrato", 48000, map[string]float64{"depth": 0.002, "rate": 8}, map[string]float64{"depth": 0.005, "rate": 1})
}
