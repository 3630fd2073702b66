package main

import (
	"fmt"
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
	t.Parallel()
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
	t.Parallel()
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
	t.Parallel()
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

func TestStackedSawsAliases(t *testing.T) {
	t.Parallel()
	// One saw alone: reference page dsp 2.6, column a of naive and DPW2.
	for _, c := range []struct{ pitch, plain, parabola float64 }{{440, -20, -30}, {1047, -16, -25}, {4186, -9, -18}} {
		turns := oddTurns(c.pitch)
		for method, want := range map[string]float64{"plain": c.plain, "parabola": c.parabola} {
			r := rendering{Block: "stacked-saws", Choices: map[string]string{"method": method}, Params: map[string]float64{"saws": 1}}
			if got := aliasLevel(partials(t, r, turns), turns); math.Abs(got-want) > 1 {
				t.Errorf("One saw, %s, at %g Hz has foldover at %.1f dB, and dsp 2.6 has %g dB.", method, c.pitch, got, want)
			}
		}
	}
}

func TestStackedSawsEquation(t *testing.T) {
	t.Parallel()
	// The equation in double precision, on steps as single precision works them
	// out; saw k begins k golden sections of a turn on from the middle of its ramp.
	const pitch, detune = 997, 0.013
	for _, saws := range []int{1, 2, 3, 7} {
		for _, method := range []string{"plain", "parabola"} {
			y := render(t, rendering{
				Block: "stacked-saws", Choices: map[string]string{"method": method}, Frames: 9600,
				Params: map[string]float64{"pitch": pitch, "saws": float64(saws), "detune": detune},
			})["out"][0]
			want := make([]float64, len(y))
			for k := range saws {
				ratio := 1.0
				if saws > 1 {
					ratio += detune * (2*float64(k)/float64(saws-1) - 1)
				}
				turns, begin := pitch*ratio/48000, 0.5+float64(k)*float64(0x9e3779b9)/(1<<32)
				ramp := func(n int) float64 {
					_, phase := math.Modf(begin + turns*float64(n+1))
					return 2*phase - 1
				}
				begin -= turns // the sample before the first is no less than 0
				begin++
				for n := range want {
					x := ramp(n)
					if method == "parabola" {
						x = (x*x - ramp(n-1)*ramp(n-1)) / (4 * turns)
					}
					want[n] += 0.9 * x / float64(saws)
				}
			}
			// Steps are rounded to 24 bits, which over 200 turns is 1.2e-5 of a turn:
			// a plain wrap may fall a sample apart, and the sample in which a difference
			// of squares wraps is off by that times 2 / turns, 1.2e-3.
			apart := 0
			for n := range y {
				if math.Abs(float64(y[n])-want[n]) > 2e-3 {
					apart++
				}
			}
			if apart > 5 {
				t.Errorf("%d saws, %s: %d of %d samples are apart from the equation by more than 0.002.", saws, method, apart, len(y))
			}
		}
	}
	// A difference of squares lowers harmonics by sinc.
	if droop := inDecibels(sinc(15000.0 / 48000)); math.Abs(droop+1.4) > 0.1 {
		t.Errorf("A difference of squares lowers 15 kHz at 48 kHz by %.2f dB, and dsp 2.6 has 1.4 dB.", -droop)
	}
}

func TestStackedSawsSync(t *testing.T) {
	t.Parallel()
	for _, method := range []string{"plain", "parabola"} {
		free := rendering{Block: "stacked-saws", Choices: map[string]string{"method": method}, BlockSize: 48, Frames: 480}
		synced := free
		synced.Events = map[string]map[int][]event{"sync": {5: {{0, 1}}, 6: {{0, 0}}}}
		whole, cut := render(t, free)["out"][0], render(t, synced)["out"][0]
		for i := range cut {
			want, what := whole[i], fmt.Sprintf("sample %d before the sync", i)
			if i >= 240 {
				want, what = whole[i-240], fmt.Sprintf("sample %d after the sync", i-240)
			}
			if cut[i] != want {
				t.Fatalf("%s: the saws give %g as %s, and the wave from its start has %g.", method, cut[i], what, want)
			}
		}
		if whole[240] == whole[0] {
			t.Errorf("%s: the wave stands at its start at sample 240 without a sync, so that the test shows nothing.", method)
		}
	}
}

func TestStackedSawsStyles(t *testing.T) { checkStyles(t, "stacked-saws") }
