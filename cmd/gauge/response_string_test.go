package main

import (
	"math"
	"math/cmplx"
	"testing"
)

// pluckedString is the equation of Karplus and Strong with the allpass of Jaffe
// and Smith, on a list of all samples so far in place of a line.
func pluckedString(frames int, rate, pitch, decay, damping float64) []float64 {
	period := rate/pitch - damping - 0.1
	whole := int(period)
	fraction := period - float64(whole) + 0.1
	a := (1 - fraction) / (1 + fraction)
	kept := math.Pow(10, -3/(pitch*decay))
	noise := whiteNoise(whole)
	at := func(w []float64, i int) float64 {
		if i < 0 {
			return 0
		}
		return w[i]
	}
	w := make([]float64, frames)
	u := 0.0
	for n := range w {
		next := a*(at(w, n-whole)-u) + at(w, n-whole-1)
		if n < whole {
			w[n] = noise[n] / 2
		} else {
			w[n] = kept * ((1-damping)*next + damping*u)
		}
		u = next
	}
	return w
}

// plucked is a string that is plucked at the start.
func plucked(format string, frames int, params map[string]float64) rendering {
	return rendering{
		Block: "plucked-string", Choices: map[string]string{"format": format}, Frames: frames, Params: params,
		Events: map[string]map[int][]event{"pluck": {0: {{0, 1}}}},
	}
}

func TestPluckedStringEquation(t *testing.T) {
	for _, format := range lineFormats {
		for _, c := range []struct{ pitch, decay, damping float64 }{
			{220, 4, 0.5}, {55.3, 2, 0.5}, {3100, 8, 0.5}, {441, 3, 0.2}, {700, 1, 0.9},
		} {
			params := map[string]float64{"pitch": c.pitch, "decay": c.decay, "damping": c.damping}
			got := render(t, plucked(format, 4800, params))["out"][0]
			// A period in single precision is off by up to 2^-24 of itself, and so the
			// sound is late by up to 3e-4 of a sample after 4800, of which a fifth is
			// allowed; steps of 16 bits add half of one at each pass, as noise.
			within := 6e-5
			if format == "int16" {
				within = 4e-4
			}
			for i, want := range pluckedString(4800, 48000, c.pitch, c.decay, c.damping) {
				if math.Abs(float64(got[i])-want) > within {
					t.Errorf("%s at %g Hz, decay %g s, damping %g: sample %d is %.7f, and the equation gives %.7f.", format, c.pitch, c.decay, c.damping, i, got[i], want)
					break
				}
			}
		}
	}
}

func TestPluckedStringTuning(t *testing.T) {
	// The lowest partial lies at the pitch, and falls by 60 dB in the decay but
	// for what the average takes: cos(pi pitch / rate) a period.
	const frames = 1 << 16
	for _, c := range []struct{ pitch, decay float64 }{{82.4069, 3}, {220, 2}, {440, 2}, {1046.5, 2}} {
		y := render(t, plucked("float32", 2*frames, map[string]float64{"pitch": c.pitch, "decay": c.decay}))["out"][0]
		amplitude := func(from int, f float64) float64 {
			sum := complex(0, 0)
			for i := range frames / 2 {
				window := 1 - math.Cos(4*math.Pi*float64(i)/frames)
				sum += complex(float64(y[from+i])*window, 0) * delayed(f/48000*float64(i))
			}
			return cmplx.Abs(sum)
		}
		highest, at := 0.0, 0.0
		for cents := -30.0; cents <= 30; cents++ {
			f := c.pitch * math.Pow(2, cents/1200)
			if a := amplitude(frames/2, f); a > highest {
				highest, at = a, cents
			}
		}
		// The ear tells apart about 5 cents; the allpass bends by less than 1.
		if math.Abs(at) > 1 {
			t.Errorf("A string of %g Hz sounds %g cents off.", c.pitch, at)
		}
		got := inDecibels(amplitude(frames, c.pitch) / amplitude(frames/2, c.pitch))
		seconds := frames / 2 / 48000.0
		want := -60*seconds/c.decay + c.pitch*seconds*inDecibels(math.Cos(math.Pi*c.pitch/48000))
		if math.Abs(got-want) > 0.05 {
			t.Errorf("A string of %g Hz falls by %.2f dB in %.2f s, and the gain and the average of two points take %.2f dB.", c.pitch, -got, seconds, -want)
		}
	}
}

func TestPluckedStringTrigger(t *testing.T) {
	silent := plucked("float32", 480, nil)
	silent.Events = nil
	released := silent
	released.Events = map[string]map[int][]event{"pluck": {0: {{0, 0}}}}
	for name, r := range map[string]rendering{"without a trigger": silent, "after a falling gate": released} {
		for i, v := range render(t, r)["out"][0] {
			if v != 0 {
				t.Errorf("Sample %d of a string %s is %g, and it has not been plucked.", i, name, v)
				break
			}
		}
	}
	// Below the lowest pitch it stays there.
	low := render(t, plucked("float32", 4800, map[string]float64{"pitch": 30, "lowest": 100}))["out"][0]
	held := render(t, plucked("float32", 4800, map[string]float64{"pitch": 100, "lowest": 100}))["out"][0]
	for i := range low {
		if low[i] != held[i] {
			t.Fatalf("Sample %d of a string at 30 Hz with a lowest pitch of 100 Hz is %g, and at 100 Hz %g.", i, low[i], held[i])
		}
	}
	// One sample a call and whole blocks go the same way while it rings.
	single := plucked("float32", 4800, nil)
	single.OneSample = true
	whole, one := render(t, plucked("float32", 4800, nil))["out"][0], render(t, single)["out"][0]
	for i := range whole {
		if whole[i] != one[i] {
			t.Fatalf("Sample %d of a ringing string is %g with one sample a call, and %g in blocks.", i, one[i], whole[i])
		}
	}
}

func TestPluckedStringStyles(t *testing.T) { checkStyles(t, "plucked-string") }
