package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"elbowroom/catalog"
)

var lineFormats = []string{"float32", "int16"}

// roundingOf is how far a sample may be off after a few passes through a line.
func roundingOf(format string) float64 {
	if format == "int16" {
		return 3.0 / 65536 // a step's half at each of three passes
	}
	return 1e-6
}

// knock renders the response to an impulse on the first channel.
func knock(t *testing.T, r rendering, size float32) map[string][][]float32 {
	t.Helper()
	r.Inputs = map[string][][]float32{"in": {{size}}}
	return render(t, r)
}

// checkEchoes demands these samples, by place, and silence everywhere else.
func checkEchoes(t *testing.T, what string, got []float32, want map[int]float64, tolerance float64, source string) {
	t.Helper()
	for n, v := range got {
		if math.Abs(float64(v)-want[n]) > tolerance {
			t.Errorf("%s: sample %d is %v, want %v (%s).", what, n, v, want[n], source)
			return
		}
	}
	for n := range want {
		if n >= len(got) {
			t.Errorf("%s: an echo is expected at sample %d, beyond the %d that were rendered.", what, n, len(got))
		}
	}
}

func TestDelayEchoes(t *testing.T) {
	t.Parallel()
	for _, interpolation := range []string{"none", "linear", "cubic"} {
		for _, format := range lineFormats {
			for _, c := range []struct {
				name     string
				rate     float64
				samples  int
				taps     float64
				feedback float64
				want     map[int]float64
			}{
				{"one echo", 48000, 100, 1, 0, map[int]float64{100: 0.5}},
				{"the shortest that all three can read", 48000, 2, 1, 0, map[int]float64{2: 0.5}},
				{"at 44.1 kHz with feedback", 44100, 147, 1, 0.5, map[int]float64{147: 0.5, 294: 0.25, 441: 0.125}},
				{"feedback with the other sign", 48000, 200, 1, -0.5, map[int]float64{200: 0.5, 400: -0.25}},
				{"four taps", 48000, 120, 4, 0, map[int]float64{30: 0.125, 60: 0.125, 90: 0.125, 120: 0.125}},
				{"two taps with feedback of the last", 48000, 200, 2, 0.5, map[int]float64{100: 0.25, 200: 0.25, 300: 0.125, 400: 0.125, 500: 0.0625}},
			} {
				t.Run(fmt.Sprintf("%s/%s/%s", interpolation, format, c.name), func(t *testing.T) {
					out := knock(t, rendering{
						Block: "delay", Choices: map[string]string{"interpolation": interpolation, "format": format}, Channels: 2, Rate: c.rate, Frames: 528,
						Params: map[string]float64{"time": float64(c.samples) / c.rate, "taps": c.taps, "feedback": c.feedback},
					}, 0.5)["out"]
					short := maps.Clone(c.want)
					maps.DeleteFunc(short, func(n int, _ float64) bool { return n >= len(out[0]) })
					// The share of a fraction that a float's rounding of the time leaves.
					checkEchoes(t, "The first channel", out[0], short, roundingOf(format)+1e-4, "w[n] = x[n] + feedback w[n - M], taps of 1/K at k M / K, worked by hand")
					checkEchoes(t, "The silent channel", out[1], nil, 0, "channels do not touch")
				})
			}
		}
	}
}

// interpolationWeights are the weights of the samples from one younger than the
// whole part of a distance to two older, for a fraction f. The cubic is that of
// Catmull and Rom: the Hermite polynomial with the neighbours' slopes.
var interpolationWeights = map[string]func(f float64) [4]float64{
	"none": func(f float64) [4]float64 {
		if f < 0.5 {
			return [4]float64{0, 1, 0, 0}
		}
		return [4]float64{0, 0, 1, 0}
	},
	"linear": func(f float64) [4]float64 { return [4]float64{0, 1 - f, f, 0} },
	"cubic": func(f float64) [4]float64 {
		return [4]float64{(-f + 2*f*f - f*f*f) / 2, (2 - 5*f*f + 3*f*f*f) / 2, (f + 4*f*f - 3*f*f*f) / 2, (-f*f + f*f*f) / 2}
	},
}

func TestDelayInterpolation(t *testing.T) {
	t.Parallel()
	for interpolation, weights := range interpolationWeights {
		for _, f := range []float64{0.125, 0.25, 0.375, 0.75, 0.875} {
			for _, block := range []string{"delay", "cross-fed-delay"} {
				time := (20 + f) / 48000
				r := rendering{Block: block, Choices: map[string]string{"interpolation": interpolation}, Frames: 48, Params: map[string]float64{"time": time}}
				if block != "delay" {
					r.Params = map[string]float64{"time_left": time, "time_right": time, "feedback": 0}
				}
				want := map[int]float64{}
				for k, w := range weights(f) {
					want[19+k] = w
				}
				checkEchoes(t, fmt.Sprintf("%s, %s, %g samples", block, interpolation, 20+f), knock(t, r, 1)["out"][0], want, 1e-5,
					"weights of the nearest sample, the straight line and the Hermite cubic at the fraction")
			}
		}
	}
}

func TestDelayInterpolationSNR(t *testing.T) {
	t.Parallel()
	// The catalog's interpolation_snr: RMS over all fractions at 1 kHz and 48
	// kHz, computed from the ideal transfer functions. Of no interpolation it
	// gives 22 dB for a time that is cut to whole samples; the kernel rounds,
	// which halves the error: the square root of 12 over 2 pi / 48 is 28.4 dB.
	for interpolation, want := range map[string]float64{"none": 28.4, "linear": 56, "cubic": 92} {
		const steps = 32
		power := 0.0
		for k := range steps {
			samples := 20 + (float64(k)+0.5)/steps
			h := knock(t, rendering{
				Block: "delay", Choices: map[string]string{"interpolation": interpolation}, Frames: 48, Params: map[string]float64{"time": samples / 48000},
			}, 1)["out"][0]
			wide := make([]float64, len(h))
			for n, v := range h {
				wide[n] = float64(v)
			}
			off := filterAt(wide, 1.0/48) - filterAt([]float64{0, 1}, samples/48)
			power += real(off)*real(off) + imag(off)*imag(off)
		}
		if got := -10 * math.Log10(power/steps); math.Abs(got-want) > 1 {
			t.Errorf("Interpolation %s leaves an error %.1f dB down at 1 kHz; the transfer functions give %v dB.", interpolation, got, want)
		}
	}
}

func TestDelayQuantisation(t *testing.T) {
	t.Parallel()
	// W.R. Bennett, Bell System Technical Journal 27, 1948: a full-scale sine
	// over uniform rounding noise is 6.0206 x 16 + 1.7609 = 98.09 dB.
	const frames, delay = 48000, 10
	x := make([]float32, frames)
	for n := range x {
		x[n] = float32(0.99996 * math.Sin(2*math.Pi*997.3*float64(n)/48000))
	}
	for _, block := range []string{"delay", "comb"} {
		r := rendering{Block: block, Choices: map[string]string{"format": "int16"}, Frames: frames, Inputs: map[string][][]float32{"in": {x}}, Params: map[string]float64{"time": delay / 48000.0}}
		if block == "comb" {
			r.Params["decay"] = 1e-7 // the gain is next to nothing, so that only the line is left
		}
		got := render(t, r)["out"][0]
		signal, noise := 0.0, 0.0
		for n := delay; n < frames; n++ {
			wanted := float64(x[n-delay])
			signal += wanted * wanted
			noise += (float64(got[n]) - wanted) * (float64(got[n]) - wanted)
		}
		if snr := 10 * math.Log10(signal/noise); math.Abs(snr-98.09) > 0.2 {
			t.Errorf("The int16 line of %s gives %.2f dB; Bennett's formula gives 98.09 dB.", block, snr)
		}
	}
}

func TestDelayHoldsAtFullScale(t *testing.T) {
	t.Parallel()
	loud := []float32{2, -3, 0.5}
	got := render(t, rendering{Block: "delay", Choices: map[string]string{"format": "int16"}, Frames: 48, Params: map[string]float64{"time": 4.0 / 48000}, Inputs: map[string][][]float32{"in": {loud}}})["out"][0]
	if want := []float32{32767.0 / 32768, -1, 0.5}; !slices.Equal(got[4:7], want) {
		t.Errorf("Samples beyond full scale come out of an int16 line as %v; held at the greatest and least of 16 bits they are %v.", got[4:7], want)
	}
}

func TestCrossFedDelayEchoes(t *testing.T) {
	t.Parallel()
	for _, interpolation := range []string{"none", "linear", "cubic"} {
		for _, format := range lineFormats {
			out := knock(t, rendering{
				Block: "cross-fed-delay", Choices: map[string]string{"interpolation": interpolation, "format": format}, Frames: 480,
				Params: map[string]float64{"time_left": 100.0 / 48000, "time_right": 60.0 / 48000, "feedback": 0.5},
			}, 0.5)["out"]
			source := "an impulse on the left wanders L, L + R, 2 L + R, 2 (L + R) ..., halved each time"
			what := "cross-fed " + interpolation + " " + format
			checkEchoes(t, what+", left", out[0], map[int]float64{100: 0.5, 260: 0.125, 420: 0.03125}, roundingOf(format)+1e-4, source)
			checkEchoes(t, what+", right", out[1], map[int]float64{160: 0.25, 320: 0.0625}, roundingOf(format)+1e-4, source)
		}
	}
}

func TestCombEchoes(t *testing.T) {
	t.Parallel()
	for _, format := range lineFormats {
		for _, c := range []struct{ samples, decay float64 }{{480, 0.1}, {1440, 0.9}, {96, 0.03}} {
			const rate = 48000
			// M.R. Schroeder 1962: g = 10^(-3 M / (rate decay)).
			gain := math.Pow(10, -3*c.samples/(rate*c.decay))
			frames := int(c.decay*rate) + 2*int(c.samples)
			want := map[int]float64{}
			for k := 0; (k+1)*int(c.samples) < frames; k++ {
				want[(k+1)*int(c.samples)] = 0.5 * math.Pow(gain, float64(k))
			}
			out := knock(t, rendering{
				Block: "comb", Choices: map[string]string{"format": format}, Channels: 2, BlockSize: 96, Frames: frames,
				Params: map[string]float64{"time": c.samples / rate, "decay": c.decay},
			}, 0.5)["out"]
			tolerance := 1e-6
			if format == "int16" {
				tolerance = 0.5 / 32768 / (1 - gain) // each pass rounds, and the loop keeps its error
			}
			checkEchoes(t, fmt.Sprintf("comb of %v samples, %s", c.samples, format), out[0][:frames-1], want, tolerance, "g^k at (k + 1) M")
			if format == "float32" {
				at := int(c.samples) + int(c.decay*rate)
				if level := inDecibels(float64(out[0][at]) / 0.5); math.Abs(level+60) > 0.01 {
					t.Errorf("A comb of %v samples with a decay of %v s is at %.3f dB after that time; the decay is defined by -60 dB.", c.samples, c.decay, level)
				}
			}
		}
	}
}

func TestLowpassComb(t *testing.T) {
	t.Parallel()
	const samples, pole, decay, rate = 480, 0.4, 0.1, 48000.0
	gain := math.Pow(10, -3*samples/(rate*decay))
	for _, format := range lineFormats {
		h := knock(t, rendering{
			Block: "lowpass-comb", Choices: map[string]string{"format": format}, Frames: samples * 12,
			Params: map[string]float64{"time": samples / rate, "decay": decay, "damping": pole},
		}, 0.5)["out"][0]
		// The second echo is the first through g (1 - p) / (1 - p z^-1).
		for k := range 20 {
			want := 0.5 * gain * (1 - pole) * math.Pow(pole, float64(k))
			if got := float64(h[2*samples+k]); math.Abs(got-want) > roundingOf(format) {
				t.Errorf("Sample %d of the second echo of a lowpass comb (%s) is %v, want %v: g (1 - p) p^k.", k, format, got, want)
			}
		}
		if format == "int16" {
			continue // the small ends of the tails are lost
		}
		// At zero frequency each pass keeps g, so the echo after the decay is 60 dB down.
		area := 0.0
		for _, v := range h[11*samples : 12*samples] {
			area += float64(v)
		}
		if level := inDecibels(area / 0.5); math.Abs(level+60) > 0.01 {
			t.Errorf("The lowest tones of a lowpass comb are at %.3f dB after the decay time; g = 10^(-3 time / decay) gives -60 dB.", level)
		}
	}
}

func TestAllpassResponse(t *testing.T) {
	t.Parallel()
	const frames = 16384
	for _, c := range []struct {
		samples int
		gain    float64
	}{{240, 0.7}, {82, -0.5}, {1, 0.7}, {37, 0.95}} {
		for _, format := range lineFormats {
			h := knock(t, rendering{
				Block: "allpass", Choices: map[string]string{"format": format}, BlockSize: 64, Frames: frames,
				Params: map[string]float64{"time": float64(c.samples) / 48000, "gain": c.gain},
			}, 0.5)["out"][0]
			// M.R. Schroeder 1961: -g, then (1 - g^2) g^(k - 1) at k M.
			want := map[int]float64{0: -0.5 * c.gain}
			for k := 1; k*c.samples < frames; k++ {
				want[k*c.samples] = 0.5 * (1 - c.gain*c.gain) * math.Pow(c.gain, float64(k-1))
			}
			what := fmt.Sprintf("allpass of %d samples, gain %v, %s", c.samples, c.gain, format)
			tolerance := 1e-6
			if format == "int16" {
				tolerance = 0.5 / 32768 * 2 / (1 - math.Abs(c.gain))
			}
			checkEchoes(t, what, h, want, tolerance, "-g and (1 - g^2) g^(k - 1)")
			if format == "int16" {
				continue
			}
			x := make([]float64, frames)
			energy := 0.0
			for n, v := range h {
				x[n] = float64(v) / 0.5
				energy += x[n] * x[n]
			}
			if math.Abs(energy-1) > 1e-5 {
				t.Errorf("%s: the energy of the impulse response is %.7f, and an allpass keeps 1.", what, energy)
			}
			for bin, v := range fourier.NewFFT(frames).Coefficients(nil, x) {
				if magnitude := math.Hypot(real(v), imag(v)); math.Abs(magnitude-1) > 1e-4 {
					t.Errorf("%s: the magnitude at bin %d is %.6f, and an allpass is flat at 1.", what, bin, magnitude)
					break
				}
			}
		}
	}
}

// checkLineStyles demands, for every kernel of a block and so for every choice,
// that one sample a call gives what whole blocks give, that an update gives what
// the start gives, and that a parameter moved by audio gives what an update
// before every sample gives, all bit for bit. Times move below the one at the
// start, which sets the memory.
func checkLineStyles(t *testing.T, block string, rate float64, params, start map[string]float64) {
	t.Helper()
	const frames = 720
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	b, err := lib.Block(block)
	if err != nil {
		t.Fatal(err)
	}
	k, err := openKernel(kernelFolder, b)
	if err != nil {
		t.Fatal(err)
	}
	inputs := map[string][][]float32{}
	for n, in := range b.Inputs {
		inputs[in.Name] = [][]float32{filterHiss(frames, 0.3, uint64(2*n)), filterHiss(frames, 0.3, uint64(2*n+1))}
	}
	plain := func(v variant) rendering {
		return rendering{Block: block, Choices: v.choices, Rate: rate, Params: params, Channels: 2, Frames: frames, Inputs: inputs}
	}
	same := func(what string, v variant, got, want map[string][][]float32) {
		t.Helper()
		loudest := float32(0)
		for c, channel := range want["out"] {
			for i, w := range channel {
				loudest = max(loudest, w, -w)
				if got["out"][c][i] != w {
					t.Fatalf("%s %v: sample %d of channel %d is %v with %s and %v without; both compute one equation.", block, v.choices, i, c, got["out"][c][i], what, w)
				}
			}
		}
		if loudest < 0.001 {
			t.Fatalf("%s %v gives at most %v, too little to compare by.", block, v.choices, loudest)
		}
	}
	for _, v := range k.variants() {
		if v.moved == "" {
			want := render(t, plain(v))
			single := plain(v)
			single.OneSample = true
			same("one sample a call", v, render(t, single), want)
			for _, up := range b.Operations.Updates {
				late := plain(v)
				late.Params = maps.Clone(params)
				for _, name := range up.When {
					late.Params[name] = start[name]
				}
				late.Updates = map[string]map[int]map[string]float64{up.Name: {0: params}}
				if up.When[0] != "time" && up.When[0] != "time_left" && up.When[0] != "time_right" {
					same("an update of "+up.Name, v, render(t, late), want)
				}
			}
			continue
		}
		moved, updated := plain(v), plain(v)
		moving := make([]float32, frames)
		updates := map[string]map[int]map[string]float64{}
		for i := range moving {
			moving[i] = float32(params[v.moved] * (0.3 + 0.7*float64(i%97)/97))
			for _, up := range b.Operations.Updates {
				if slices.Contains(up.When, v.moved) {
					if updates[up.Name] == nil {
						updates[up.Name] = map[int]map[string]float64{}
					}
					updates[up.Name][i] = map[string]float64{v.moved: float64(moving[i])}
				}
			}
		}
		moved.Moved = map[string][]float32{v.moved: moving}
		got := render(t, moved)
		if len(updates) > 0 {
			updated.BlockSize, updated.Updates = 1, updates
			same(v.moved+" moved by audio", v, got, render(t, updated))
		}
		moved.OneSample = true
		same("one sample a call", v, render(t, moved), got)
	}
}

func TestDelayStyles(t *testing.T) {
	t.Parallel()
	for _, taps := range []float64{1, 3} {
		checkLineStyles(t, "delay", 48000, map[string]float64{"time": 0.002, "feedback": 0.5, "taps": taps}, nil)
	}
	checkLineStyles(t, "cross-fed-delay", 48000, map[string]float64{"time_left": 0.002, "time_right": 0.003, "feedback": 0.5}, nil)
	checkLineStyles(t, "comb", 48000, map[string]float64{"time": 0.002, "decay": 0.1}, map[string]float64{"decay": 0.5})
	checkLineStyles(t, "lowpass-comb", 48000, map[string]float64{"time": 0.002, "decay": 0.1, "damping": 0.3}, map[string]float64{"decay": 0.5, "damping": 0.1})
	checkLineStyles(t, "allpass", 48000, map[string]float64{"time": 0.002, "gain": 0.6}, nil)
}

func TestDelayUpdate(t *testing.T) {
	t.Parallel()
	// An update to 40 samples before block 1 reads what block 0 wrote 40
	// samples before.
	x := filterHiss(96, 0.5, 5)
	for _, interpolation := range []string{"none", "linear", "cubic"} {
		got := render(t, rendering{
			Block: "delay", Choices: map[string]string{"interpolation": interpolation}, Frames: 96, Params: map[string]float64{"time": 90.0 / 48000},
			Inputs: map[string][][]float32{"in": {x}}, Updates: map[string]map[int]map[string]float64{"position": {1: {"time": 40.0 / 48000}}},
		})["out"][0]
		for n := 48; n < 96; n++ {
			if math.Abs(float64(got[n]-x[n-40])) > 1e-5 {
				t.Errorf("After a change to 40 samples (%s) sample %d is %v; 40 samples before it went in %v.", interpolation, n, got[n], x[n-40])
				break
			}
		}
	}
}
