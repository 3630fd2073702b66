package main

import (
	"fmt"
	"math"
	"testing"
)

func TestFixedOnePoleNoise(t *testing.T) {
	t.Parallel()
	for word := range fixedWords {
		for _, c := range []struct {
			response string
			cutoff   float64
		}{{"low", 5}, {"low", 100}, {"low", 9000}, {"high", 50}, {"high", 2000}} {
			a := 1 - math.Exp(-2*math.Pi*c.cutoff/48000)
			kept := fixedWord(word, float64(float32(a)))
			// A step of sixteen bits is 48000 / (2 pi 2^15) Hz = 0.23 Hz.
			if off := math.Abs(kept-a) / (2 * math.Pi) * 48000; off > 0.12 {
				t.Errorf("A cutoff of %g Hz in %s is %.3f Hz off, more than half a step of a quarter hertz.", c.cutoff, word, off)
			}
			x := filterHiss(48000, 0.9, 5)
			for i := range x {
				x[i] += float32(0.09 * math.Sin(2*math.Pi*31.7/48000*float64(i)))
			}
			y := render(t, rendering{
				Block: "fixed-one-pole", Choices: map[string]string{"response": c.response, "word": word}, Frames: len(x), Double: true,
				Params: map[string]float64{"cutoff": c.cutoff}, Inputs: map[string][][]float32{"in": {x}},
			})["out"][0]
			// The difference equation in double, with the coefficient as it is kept.
			low, squares, sum := 0.0, 0.0, 0.0
			const settled = 24000 // samples after which the rest of a cut has come to stay
			for i, v := range x {
				low += kept * (float64(v) - low)
				want := low
				if c.response == "high" {
					want = float64(v) - low
				}
				if i < settled {
					continue
				}
				squares += (float64(y[i]) - want) * (float64(y[i]) - want)
				sum += float64(y[i]) - want
			}
			// A cut to the step below rests at most 1 / a steps off (the closed form of a
			// sum of cuts), and is no noise.
			n := float64(len(x) - settled)
			rest := sum / n
			if math.Abs(rest) > math.Exp2(-30)/kept+math.Exp2(-fixedWords[word])/20 {
				t.Errorf("%s at %g Hz in %s lies %.3g off in the mean, further than 1 / a steps of 2^-30.", c.response, c.cutoff, word, rest)
			}
			snr := 10 * math.Log10(0.5/(squares/n-rest*rest))
			if word == "q31" {
				// The wires' 146 dB.
				if snr < 146 {
					t.Errorf("%s at %g Hz in q31: a full-scale sine stands %.1f dB over the error, below the 146 dB of the wires.", c.response, c.cutoff, snr)
				}
				continue
			}
			// Bennett's 6.0206 N + 1.7609 dB for 16 bits, and what the filter takes away
			// of white noise, the sum of the squares of its impulse response in closed form.
			share := kept / (2 - kept)
			if c.response == "high" {
				share = 2 * (1 - kept) * (1 - kept) / (2 - kept)
			}
			if want := 98.09 - 10*math.Log10(share); math.Abs(snr-want) > 0.5 {
				t.Errorf("%s at %g Hz in q15: a full-scale sine stands %.1f dB over the error, and rounding noise through the filter gives %.1f dB.", c.response, c.cutoff, snr, want)
			}
		}
	}
}

func TestFixedOnePoleRests(t *testing.T) {
	t.Parallel()
	// At 5 Hz a step of sixteen-bit memory would be 1 / a = 1528 words; with
	// thirty-two bits the filter comes as near as so many steps of 2^-30.
	for word := range fixedWords {
		x := make([]float32, 96000)
		for i := range x {
			x[i] = 0.5
		}
		y := render(t, rendering{
			Block: "fixed-one-pole", Choices: map[string]string{"word": word}, Frames: len(x),
			Params: map[string]float64{"cutoff": 5}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		if off := 0.5 - float64(y[len(y)-1]); math.Abs(off) > 1600*math.Exp2(-30) {
			t.Errorf("Under 0.5 in %s the filter rests %.3g below it, further than 1600 steps of 2^-30.", word, off)
		}
		// Beyond full scale the input is held.
		for i := range x {
			x[i] = 3
		}
		y = render(t, rendering{
			Block: "fixed-one-pole", Choices: map[string]string{"word": word}, Frames: len(x),
			Params: map[string]float64{"cutoff": 500}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		if last := float64(y[len(y)-1]); last > 1 || last < 1-math.Exp2(-14) {
			t.Errorf("Under 3 in %s the filter rests at %g, and is held at 1.", word, last)
		}
	}
}

func TestFixedOnePoleStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "fixed-one-pole", 48000, map[string]float64{"cutoff": 900}, map[string]float64{"cutoff": 4000})
}

func TestFixedStateVariable(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ cutoff, q float64 }{{50, 0.7071}, {1000, 0.7071}, {1000, 5}, {6000, 1}, {20000, 0.7}} {
		outs := filterKnock(t, rendering{
			Block: "fixed-state-variable", Frames: 32768, Params: map[string]float64{"cutoff": c.cutoff, "q": c.q},
		}, 1)
		// A tuning beyond 1 is held there.
		f, k := complex(min(1, 2*math.Sin(math.Pi*c.cutoff/48000)), 0), complex(1/c.q, 0)
		high := func(hertz float64) complex128 {
			z := delayed(hertz / 48000)
			step := 1 - z
			return 1 / (1 + k*f*z/step + f*f*z/(step*step))
		}
		for port, want := range map[string]func(hertz float64) complex128{
			"high": high,
			"band": func(hertz float64) complex128 { return f * high(hertz) / (1 - delayed(hertz/48000)) },
			"low": func(hertz float64) complex128 {
				step := 1 - delayed(hertz/48000)
				return f * f * delayed(hertz/48000) * high(hertz) / (step * step)
			},
		} {
			checkResponse(t, fmt.Sprintf("%s at %g Hz, q %g", port, c.cutoff, c.q), outs[port], want, 2e-3, "the z-transform of Chamberlin's equations")
		}
	}
}

func TestFixedStateVariableNoise(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ cutoff, q float64 }{{20, 0.7071}, {100, 0.7071}, {100, 10}, {50, 5}} {
		const frames, settled = 96000, 48000
		x := filterHiss(frames, 0.01, 7)
		y := render(t, rendering{
			Block: "fixed-state-variable", Frames: frames, Params: map[string]float64{"cutoff": c.cutoff, "q": c.q}, Inputs: map[string][][]float32{"in": {x}},
		})["low"][0]
		// Chamberlin's equations in double, with the coefficients as words keep them.
		f := fixedWord("q31", float64(float32(2*math.Sin(math.Pi*c.cutoff/48000))))
		k := 2 * fixedWord("q31", float64(float32(0.5/float64(float32(c.q)))))
		low, band, squares, sum := 0.0, 0.0, 0.0, 0.0
		for i, v := range x {
			loss := k * band
			low += f * band
			high := float64(v) - low - loss
			band += f * high
			if i >= settled {
				off := float64(y[i]) - low
				squares, sum = squares+off*off, sum+off
			}
		}
		n := float64(frames - settled)
		snr := 10 * math.Log10(0.5/(squares/n-sum*sum/n/n))
		// The catalog's precision_snr: Bennett's 6.0206 N + 1.7609 dB for 29 bits less
		// the noise gain of two integrators in a resonance. What they lie above in the
		// mean, the mean of a cut, is no noise.
		told := 176.36 - 10*math.Log10((2*c.q+1/c.q)*48000/(4*math.Pi*c.cutoff))
		if math.Abs(snr-told) > 1.5 {
			t.Errorf("The lowpass at %g Hz, q %g, has its cuts %.1f dB below a full-scale sine, and the noise gain gives %.1f dB.", c.cutoff, c.q, snr, told)
		}
	}
}

func TestFixedStateVariableHolds(t *testing.T) {
	t.Parallel()
	// No setting is unstable, and nothing wraps round: driven far beyond full scale
	// at the sharpest and highest it is held at 8, and comes to rest. By the test of
	// Jury f^2 + 2 f / q < 4 at every f up to 1 and q from 0.7 on.
	for _, c := range []struct{ cutoff, q float64 }{{20000, 0.7}, {8000, 50}, {1000, 50}, {200, 0.7071}} {
		x := make([]float32, 96000)
		for i := range 24000 {
			x[i] = float32(100 * math.Sin(2*math.Pi*min(c.cutoff, 8000)/48000*float64(i)))
		}
		outs := render(t, rendering{Block: "fixed-state-variable", Frames: len(x), Params: map[string]float64{"cutoff": c.cutoff, "q": c.q}, Inputs: map[string][][]float32{"in": {x}}})
		for port, channels := range outs {
			loudest, rest := 0.0, 0.0
			for i, v := range channels[0][:len(x)] {
				loudest = max(loudest, math.Abs(float64(v)))
				if i > 90000 {
					rest = max(rest, math.Abs(float64(v)))
				}
			}
			if loudest > 8 || loudest < 4 || rest > 1e-4 {
				t.Errorf("%s at %g Hz, q %g, reaches %g and comes to rest at %g; it is held at 8 and its input falls silent.", port, c.cutoff, c.q, loudest, rest)
			}
		}
	}
}

func TestFixedStateVariableStyles(t *testing.T) {
	t.Parallel()
	checkStyles(t, "fixed-state-variable")
}
