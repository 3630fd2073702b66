package main

import (
	"fmt"
	"maps"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"elbowroom/catalog"
)

// filterHiss is white noise of one channel, the same for the same seed.
func filterHiss(frames int, level float64, seed uint64) []float32 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float32, frames)
	for i := range x {
		x[i] = float32(level * (2*r.Float64() - 1))
	}
	return x
}

// filterKnock renders the impulse response of a filter on its outputs, for an
// impulse of some size and divided by it.
func filterKnock(t *testing.T, r rendering, size float64) map[string][]float64 {
	t.Helper()
	r.Inputs = map[string][][]float32{"in": {{float32(size)}}}
	responses := map[string][]float64{}
	for port, channels := range render(t, r) {
		h := make([]float64, len(channels[0]))
		for i, v := range channels[0] {
			h[i] = float64(v) / float64(float32(size))
		}
		responses[port] = h
	}
	return responses
}

// filterAt is the frequency response of an impulse response at a frequency in
// turns a sample.
func filterAt(h []float64, turns float64) complex128 {
	sum := complex(0, 0)
	for n, v := range h {
		sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*math.Mod(turns*float64(n), 1))
	}
	return sum
}

func inDecibels(ratio float64) float64 { return 20 * math.Log10(ratio) }

// delayed is z^-1 at a frequency in turns a sample.
func delayed(turns float64) complex128 { return cmplx.Rect(1, -2*math.Pi*turns) }

// warped is the variable s of an analogue prototype with its corner at 1, as
// the bilinear transform sees it: j tan(pi f / fs) / tan(pi corner / fs).
func warped(f, corner, rate float64) complex128 {
	return complex(0, math.Tan(math.Pi*f/rate)/math.Tan(math.Pi*corner/rate))
}

var heardFrequencies = []float64{20, 50, 100, 200, 350, 700, 1000, 1300, 2000, 4000, 8000, 12000, 18000, 22000}

// checkResponse holds an impulse response against a closed form, both as
// complex numbers, within a share of the closed form's greatest magnitude.
func checkResponse(t *testing.T, what string, h []float64, want func(f float64) complex128, share float64, source string) {
	t.Helper()
	greatest := 0.0
	for _, f := range heardFrequencies {
		greatest = max(greatest, cmplx.Abs(want(f)))
	}
	for _, f := range heardFrequencies {
		got := filterAt(h, f/48000)
		if off := cmplx.Abs(got - want(f)); off > share*greatest {
			t.Errorf("%s: at %g Hz the response is %.5g, and %s gives %.5g: %.2g of the greatest apart, more than %.2g.",
				what, f, got, source, want(f), off/greatest, share)
		}
	}
}

// cookbookPrototypes are the analogue prototypes from which R. Bristow-Johnson,
// Cookbook formulae for audio EQ biquad filter coefficients, derives its
// coefficients by the bilinear transform; a is 10^(gain/40).
var cookbookPrototypes = map[string]func(s complex128, q, a float64) complex128{
	"lowpass": func(s complex128, q, a float64) complex128 { return 1 / (s*s + s/complex(q, 0) + 1) },
	"highpass": func(s complex128, q, a float64) complex128 {
		return s * s / (s*s + s/complex(q, 0) + 1)
	},
	"bandpass": func(s complex128, q, a float64) complex128 {
		return s / complex(q, 0) / (s*s + s/complex(q, 0) + 1)
	},
	"notch": func(s complex128, q, a float64) complex128 { return (s*s + 1) / (s*s + s/complex(q, 0) + 1) },
	"peak": func(s complex128, q, a float64) complex128 {
		return (s*s + s*complex(a/q, 0) + 1) / (s*s + s*complex(1/(a*q), 0) + 1)
	},
	"low-shelf": func(s complex128, q, a float64) complex128 {
		bend := s * complex(math.Sqrt(a)/q, 0)
		return complex(a, 0) * (s*s + bend + complex(a, 0)) / (complex(a, 0)*s*s + bend + 1)
	},
	"high-shelf": func(s complex128, q, a float64) complex128 {
		bend := s * complex(math.Sqrt(a)/q, 0)
		return complex(a, 0) * (complex(a, 0)*s*s + bend + 1) / (s*s + bend + complex(a, 0))
	},
}

func TestBiquadResponse(t *testing.T) {
	t.Parallel()
	for _, kind := range slices.Sorted(maps.Keys(cookbookPrototypes)) {
		for _, form := range []string{"direct", "transposed"} {
			t.Run(kind+"/"+form, func(t *testing.T) {
				for _, set := range []struct {
					stages          int
					cutoff, q, gain float64
					approximate     bool
					share           float64
				}{
					{1, 1000, 0.7071, 0, false, 1e-4},
					{1, 300, 4, 9, false, 1e-3},
					{3, 8000, 2, -12, false, 1e-4},
					{16, 2500, 0.5, 1.5, false, 1e-3},
					// The short maths of kernel.h err by up to 2e-5 in the power.
					{1, 1000, 2, 6, true, 2e-3},
				} {
					h := filterKnock(t, rendering{
						Block: "biquad", Choices: map[string]string{"response": kind, "form": form}, Frames: 16384, Approximate: set.approximate,
						Params: map[string]float64{"stages": float64(set.stages), "cutoff": set.cutoff, "q": set.q, "gain": set.gain},
					}, 1)["out"]
					checkResponse(t, fmt.Sprintf("%d stages at %g Hz, q %g, %g dB", set.stages, set.cutoff, set.q, set.gain), h,
						func(f float64) complex128 {
							one := cookbookPrototypes[kind](warped(f, set.cutoff, 48000), set.q, math.Pow(10, set.gain/40))
							return cmplx.Pow(one, complex(float64(set.stages), 0))
						}, set.share, "the cookbook's analogue prototype, warped")
				}
			})
		}
	}
}

func TestBiquadFormsAgree(t *testing.T) {
	t.Parallel()
	// The two forms compute one transfer function and differ by their
	// round-off alone, which lies 109 to 113 dB below the sound at 500 Hz and
	// 127 to 130 dB at 2000 Hz (reference page dsp 2.9).
	for _, c := range []struct{ cutoff, apart float64 }{{500, -105}, {2000, -122}} {
		hiss := filterHiss(48000, 0.5, 7)
		outs := map[string][]float32{}
		for _, form := range []string{"direct", "transposed"} {
			outs[form] = render(t, rendering{
				Block: "biquad", Choices: map[string]string{"form": form}, Frames: len(hiss),
				Params: map[string]float64{"cutoff": c.cutoff}, Inputs: map[string][][]float32{"in": {hiss}},
			})["out"][0]
		}
		var apart, sound float64
		for i, d := range outs["direct"] {
			apart += math.Pow(float64(d)-float64(outs["transposed"][i]), 2)
			sound += math.Pow(float64(d), 2)
		}
		if got := 10 * math.Log10(apart/sound); got > c.apart || apart == 0 {
			t.Errorf("At %g Hz the two forms differ by %.1f dB, and the round-off of dsp 2.9 allows %g dB.", c.cutoff, got, c.apart)
		}
	}
}

func TestOnePoleResponse(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		response    string
		cutoff      float64
		approximate bool
	}{{"low", 100, false}, {"low", 1000, false}, {"low", 9000, false}, {"high", 50, false}, {"high", 2000, false}, {"low", 1000, true}, {"high", 2000, true}} {
		h := filterKnock(t, rendering{
			Block: "one-pole", Choices: map[string]string{"response": c.response}, Frames: 16384, Approximate: c.approximate,
			Params: map[string]float64{"cutoff": c.cutoff},
		}, 1)["out"]
		a := complex(1-math.Exp(-2*math.Pi*c.cutoff/48000), 0)
		checkResponse(t, fmt.Sprintf("%s at %g Hz", c.response, c.cutoff), h, func(f float64) complex128 {
			low := a / (1 - (1-a)*delayed(f/48000))
			if c.response == "high" {
				return 1 - low
			}
			return low
		}, 1e-4, "a / (1 - (1 - a) / z), a = 1 - exp(-2 pi cutoff / sample rate),")
		// The analogue one-pole has fallen by 10 log10(2) at its cutoff; the
		// digital one follows it where the cutoff is far below the sample rate.
		if at := inDecibels(cmplx.Abs(filterAt(h, c.cutoff/48000))); c.cutoff <= 100 && math.Abs(at+10*math.Log10(2)) > 0.06 {
			t.Errorf("%s at %g Hz: the response at the cutoff is %.3f dB, and the -3 dB point of an analogue one-pole is %.3f dB.",
				c.response, c.cutoff, at, -10*math.Log10(2))
		}
	}
}

func TestDCBlockerResponse(t *testing.T) {
	t.Parallel()
	// Coefficients of the public archive note in reference page dsp 3.1:
	// 1 - 126/fs, 1 - 190/fs and 1 - 250/fs for 20, 30 and 40 Hz.
	for _, c := range []struct{ cutoff, noted float64 }{{20, 126}, {30, 190}, {40, 250}} {
		h := filterKnock(t, rendering{Block: "dc-blocker", Frames: 48000, Params: map[string]float64{"cutoff": c.cutoff}}, 1)["out"]
		if got := -48000 * h[1]; math.Abs(got/c.noted-1) > 0.01 {
			t.Errorf("At %g Hz the coefficient is 1 - %.2f/fs, and the archive note in dsp 3.1 has 1 - %g/fs.", c.cutoff, got, c.noted)
		}
		r := complex(1-2*math.Pi*c.cutoff/48000, 0)
		checkResponse(t, fmt.Sprintf("cutoff %g Hz", c.cutoff), h, func(f float64) complex128 {
			return (1 - delayed(f/48000)) / (1 - r*delayed(f/48000))
		}, 1e-4, "(1 - 1/z) / (1 - R/z) of Smith")
		if at := inDecibels(cmplx.Abs(filterAt(h, c.cutoff/48000))); math.Abs(at+10*math.Log10(2)) > 0.02 {
			t.Errorf("The response at the cutoff of %g Hz is %.3f dB, and the -3 dB point is %.3f dB.", c.cutoff, at, -10*math.Log10(2))
		}
		if rest := cmplx.Abs(filterAt(h, 0)); rest > 1e-4 {
			t.Errorf("At %g Hz a standing offset comes through with a gain of %g, and the zero at z = 1 gives 0.", c.cutoff, rest)
		}
	}
}

func TestStateVariableTrapezoidal(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		cutoff, q   float64
		approximate bool
		share       float64
	}{{50, 0.7071, false, 1e-4}, {1000, 0.5, false, 1e-4}, {3000, 8, false, 1e-4}, {15000, 1, false, 1e-4}, {1000, 2, true, 1e-4}} {
		outs := filterKnock(t, rendering{
			Block: "state-variable", Choices: map[string]string{"form": "trapezoidal"}, Frames: 32768, Approximate: c.approximate,
			Params: map[string]float64{"cutoff": c.cutoff, "q": c.q},
		}, 1)
		for port, top := range map[string]func(s complex128) complex128{
			"low":  func(s complex128) complex128 { return 1 },
			"band": func(s complex128) complex128 { return s },
			"high": func(s complex128) complex128 { return s * s },
		} {
			checkResponse(t, fmt.Sprintf("%s at %g Hz, q %g", port, c.cutoff, c.q), outs[port], func(f float64) complex128 {
				s := warped(f, c.cutoff, 48000)
				return top(s) / (s*s + s/complex(c.q, 0) + 1)
			}, c.share, "the analogue prototype, warped by a tangent (Zavalishin),")
		}
	}
}

func TestStateVariableChamberlin(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ cutoff, q float64 }{{50, 0.7071}, {1000, 0.7071}, {1000, 10}, {6000, 1}} {
		outs := filterKnock(t, rendering{
			Block: "state-variable", Choices: map[string]string{"form": "chamberlin"}, Frames: 32768,
			Params: map[string]float64{"cutoff": c.cutoff, "q": c.q},
		}, 1)
		f, k := complex(2*math.Sin(math.Pi*c.cutoff/48000), 0), complex(1/c.q, 0)
		// The z-transforms of Chamberlin's three difference equations, solved
		// for the highpass.
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
			checkResponse(t, fmt.Sprintf("%s at %g Hz, q %g", port, c.cutoff, c.q), outs[port], want, 1e-4, "the z-transform of Chamberlin's equations")
		}
	}
}

func TestStateVariableChamberlinLimit(t *testing.T) {
	t.Parallel()
	// The poles leave the unit circle where f^2 + 2 f / q = 4 (Jury's test on
	// the two equations' characteristic polynomial). At q = 0.7071 that is near
	// a sixth of the sample rate, as Chamberlin says.
	const q = 0.7071
	f := -1/q + math.Sqrt(1/(q*q)+4)
	limit := 48000 / math.Pi * math.Asin(f/2)
	if math.Abs(limit/48000-1.0/6) > 0.015 {
		t.Errorf("The limit of the closed form is %.4f of the sample rate, and Chamberlin's is about a sixth.", limit/48000)
	}
	for _, c := range []struct {
		share  float64
		stable bool
	}{{0.98, true}, {1.02, false}} {
		h := filterKnock(t, rendering{
			Block: "state-variable", Choices: map[string]string{"form": "chamberlin"}, Frames: 4800,
			Params: map[string]float64{"cutoff": c.share * limit, "q": q},
		}, 1)["low"]
		rest := 0.0
		for _, v := range h[len(h)-100:] {
			if math.IsNaN(v) {
				v = math.Inf(1)
			}
			rest = max(rest, math.Abs(v))
		}
		if (rest < 1e-6) != c.stable {
			t.Errorf("At %.2f of the limit of %.0f Hz the lowpass still stands at %g after 0.1 s; stable there: %v by Jury's test.", c.share, limit, rest, c.stable)
		}
	}
}

// ladderKnock is the response of the ladder to a knock too soft to saturate.
func ladderKnock(t *testing.T, oversampling string, cutoff, resonance float64, approximate bool) []float64 {
	t.Helper()
	return filterKnock(t, rendering{
		Block: "ladder", Choices: map[string]string{"oversampling": oversampling}, Frames: 24000, Approximate: approximate,
		Params: map[string]float64{"cutoff": cutoff, "resonance": resonance},
	}, 1e-4)["out"]
}

func TestLadderSlope(t *testing.T) {
	t.Parallel()
	for _, oversampling := range []string{"1", "2", "2-filtered"} {
		for _, approximate := range []bool{false, true} {
			h := ladderKnock(t, oversampling, 100, 0, approximate)
			got := inDecibels(cmplx.Abs(filterAt(h, 800.0/48000))) - inDecibels(cmplx.Abs(filterAt(h, 1600.0/48000)))
			// Four equal poles from three to four octaves above the corner:
			// 40 log10((1 + 16^2) / (1 + 8^2)) = 23.88 dB, 24 in the limit.
			want := 40 * math.Log10((1+16.0*16)/(1+8.0*8))
			if math.Abs(got-want) > 0.4 {
				t.Errorf("With %s passes the ladder falls by %.2f dB from 800 to 1600 Hz above a corner of 100 Hz, and four poles by %.2f dB.", oversampling, got, want)
			}
			if at := cmplx.Abs(filterAt(h, 0)); math.Abs(at-1) > 0.01 {
				t.Errorf("With %s passes and no resonance the gain at rest is %.4f, and four one-poles have 1.", oversampling, at)
			}
		}
	}
}

func TestLadderTuning(t *testing.T) {
	t.Parallel()
	// The correction polynomials of Huovilainen hold the resonance at the
	// cutoff; the 2 % allowed, a third of a semitone, is house judgement.
	for _, c := range []struct {
		oversampling string
		cutoff       float64
	}{{"2", 200}, {"2", 1000}, {"2", 4000}, {"2", 8000}, {"2-filtered", 1000}, {"2-filtered", 8000}, {"1", 200}, {"1", 1000}, {"1", 4000}} {
		h := ladderKnock(t, c.oversampling, c.cutoff, 0.95, false)[:8000]
		greatest, peak := 0.0, 0.0
		for f := c.cutoff * 0.9; f < c.cutoff*1.1; f *= 1.002 {
			if m := cmplx.Abs(filterAt(h, f/48000)); m > greatest {
				greatest, peak = m, f
			}
		}
		if math.Abs(peak/c.cutoff-1) > 0.02 {
			t.Errorf("With %s passes and a cutoff of %g Hz the resonance peaks at %.1f Hz, more than 2 %% from the cutoff.", c.oversampling, c.cutoff, peak)
		}
	}
}

func TestLadderSings(t *testing.T) {
	t.Parallel()
	// Each of four poles loses the root of 2 at its corner, together a factor
	// of 4, which a feedback of 4 r makes up for from r = 1 on.
	for _, c := range []struct {
		oversampling      string
		cutoff, resonance float64
		sings             bool
	}{
		{"2", 200, 0.97, false}, {"2", 200, 1.03, true},
		{"2", 1000, 0.98, false}, {"2", 1000, 1.02, true},
		{"2", 4000, 0.98, false}, {"2", 4000, 1.02, true},
		{"2", 8000, 0.98, false}, {"2", 8000, 1.02, true},
		{"2-filtered", 4000, 0.98, false}, {"2-filtered", 4000, 1.02, true},
		// The corrections were made for two passes a sample; with one the ring
		// sings a little later, the later the higher.
		{"1", 1000, 0.98, false}, {"1", 1000, 1.05, true},
		{"1", 4000, 1.05, false}, {"1", 4000, 1.1, true},
	} {
		const seconds = 2
		y := render(t, rendering{
			Block: "ladder", Choices: map[string]string{"oversampling": c.oversampling}, Frames: seconds * 48000,
			Params: map[string]float64{"cutoff": c.cutoff, "resonance": c.resonance}, Inputs: map[string][][]float32{"in": {{0.1}}},
		})["out"][0]
		loudest, turns := 0.0, 0
		for i := 48000; i < len(y); i++ {
			loudest = max(loudest, math.Abs(float64(y[i])))
			if y[i-1] < 0 && y[i] >= 0 {
				turns++
			}
		}
		if (loudest > 0.02) != c.sings {
			t.Errorf("With %s passes at %g Hz and a resonance of %g the ring stands at %.2g a second after a knock; it should sing: %v.",
				c.oversampling, c.cutoff, c.resonance, loudest, c.sings)
		}
		if pitch := float64(turns) / (seconds - 1); c.sings && math.Abs(pitch/c.cutoff-1) > 0.035 {
			t.Errorf("With %s passes and a cutoff of %g Hz the ring sings at %g Hz.", c.oversampling, c.cutoff, pitch)
		}
	}
}

// firList is the list of coefficients that the kernel is tried with, as its
// comment gives it.
func firList(taps, design int, symmetric bool) []float64 {
	h, sum := make([]float64, taps), 0.0
	for k := range h {
		if symmetric {
			x := math.Pi * (float64(k) - float64(taps-1)/2) * float64(design) / 64
			h[k] = 1
			if x != 0 {
				h[k] = math.Sin(x) / x
			}
			if taps > 1 {
				h[k] *= 0.54 - 0.46*math.Cos(2*math.Pi*float64(k)/float64(taps-1))
			}
		} else {
			h[k] = 1 / float64(k+design)
		}
		sum += h[k]
	}
	for k := range h {
		h[k] /= sum
	}
	return h
}

func TestFIRResponse(t *testing.T) {
	t.Parallel()
	for _, symmetry := range []string{"none", "symmetric"} {
		for _, taps := range []int{1, 2, 3, 4, 5, 31, 32, 512} {
			const frames, design = 1200, 20
			params := map[string]float64{"taps": float64(taps), "design": design}
			r := rendering{Block: "fir", Choices: map[string]string{"symmetry": symmetry}, Frames: frames, Params: params}
			want := firList(taps, design, symmetry == "symmetric")
			// The impulse response of an FIR filter is its list.
			for n, got := range filterKnock(t, r, 1)["out"] {
				expected := 0.0
				if n < taps {
					expected = want[n]
				}
				if math.Abs(got-expected) > 1e-6 {
					t.Fatalf("%s, %d taps: sample %d of the impulse response is %g, and the list has %g.", symmetry, taps, n, got, expected)
				}
			}
			// On noise, the convolution sum in double precision; the ring
			// closes at every place in turn.
			hiss := filterHiss(frames, 1, uint64(taps))
			r.Inputs = map[string][][]float32{"in": {hiss}}
			for n, got := range render(t, r)["out"][0] {
				sum := 0.0
				for k := 0; k < taps && k <= n; k++ {
					sum += want[k] * float64(hiss[n-k])
				}
				if math.Abs(float64(got)-sum) > 1e-5 {
					t.Fatalf("%s, %d taps: sample %d of filtered noise is %g, and the convolution sum is %g.", symmetry, taps, n, got, sum)
				}
			}
		}
	}
}

func TestFIRLatency(t *testing.T) {
	t.Parallel()
	// A symmetric list delays every frequency by (N - 1) / 2 samples: what the
	// catalog says, and algebra.
	for _, taps := range []int{8, 33} {
		h := filterKnock(t, rendering{Block: "fir", Frames: 96, Params: map[string]float64{"taps": float64(taps)}}, 1)["out"]
		const turns = 1.0 / 4800
		got := -cmplx.Phase(filterAt(h, turns)) / (2 * math.Pi * turns)
		if want := float64(taps-1) / 2; math.Abs(got-want) > 1e-3 {
			t.Errorf("%d symmetric taps delay 10 Hz by %.4f samples, and algebra gives %g.", taps, got, want)
		}
	}
}

// checkStyles demands, for every kernel of a block and so for every choice,
// that the calling style changes nothing, bit for bit: one sample a call in
// place of whole blocks; an update in place of the setting at the start; and a
// parameter that audio moves in place of an update before every sample.
func checkStyles(t *testing.T, block string) {
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
	const frames = 336
	var inputs map[string][][]float32
	if _, ok := b.Input("in"); ok {
		inputs = map[string][][]float32{"in": {filterHiss(frames, 0.5, 11), filterHiss(frames, 0.5, 12)}}
	}
	plain := func(choices map[string]string) rendering {
		return rendering{Block: block, Choices: choices, Channels: 2, BlockSize: 48, Frames: frames, Inputs: inputs}
	}
	usual := map[string]float64{}
	for i := range b.Params {
		if p := &b.Params[i]; !p.Categorical() {
			_, def := p.At(48000)
			usual[p.Name] = def.High
		}
	}
	same := func(what string, choices map[string]string, got, want map[string][][]float32) {
		t.Helper()
		for port, channels := range want {
			for c := range channels {
				for i, w := range channels[c] {
					if g := got[port][c][i]; g != w {
						t.Fatalf("%s %v: sample %d of channel %d on %s is %v with %s, and %v without; both compute one equation.", block, choices, i, c, port, g, what, w)
					}
				}
			}
		}
	}
	for _, v := range k.variants() {
		if v.moved != "" {
			low, high := 0.8*usual[v.moved], 1.2*usual[v.moved]
			moving := make([]float32, frames)
			updates := map[string]map[int]map[string]float64{}
			for i := range moving {
				moving[i] = float32(low + (high-low)*float64(i%100)/100)
				for _, up := range b.Operations.Updates {
					if slices.Contains(up.When, v.moved) {
						if updates[up.Name] == nil {
							updates[up.Name] = map[int]map[string]float64{}
						}
						updates[up.Name][i] = map[string]float64{v.moved: float64(moving[i])}
					}
				}
			}
			moved, updated := plain(v.choices), plain(v.choices)
			moved.Moved = map[string][]float32{v.moved: moving}
			updated.BlockSize, updated.Updates = 1, updates
			same(v.moved+" moved by audio", v.choices, render(t, moved), render(t, updated))
			continue
		}
		want := render(t, plain(v.choices))
		single := plain(v.choices)
		single.BlockSize, single.OneSample = 7, true
		same("one sample a call", v.choices, render(t, single), want)
		for _, up := range b.Operations.Updates {
			late := plain(v.choices)
			late.Params, late.Updates = map[string]float64{}, map[string]map[int]map[string]float64{}
			for _, name := range up.When {
				late.Params[name] = 1.5*usual[name] + 0.1
			}
			// Other groups may build on the same parameters.
			for _, other := range b.Operations.Updates {
				late.Updates[other.Name] = map[int]map[string]float64{0: usual}
			}
			same("an update of "+up.Name, v.choices, render(t, late), want)
		}
	}
}

func TestFilterStyles(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"one-pole", "dc-blocker", "biquad", "state-variable", "ladder", "fir"} {
		t.Run(block, func(t *testing.T) { checkStyles(t, block) })
	}
}

// ladderChoices are the ladder's choices of oversampling, with what the catalog
// tells of each.
var ladderChoices = map[string]struct{ alias, reach float64 }{"1": {-39.7, 0.2}, "2": {-40.4, 0.4167}, "2-filtered": {-49.1, 0.4167}}

func TestLadderAlias(t *testing.T) {
	t.Parallel()
	// The figures of the catalog are those of the kernel itself; what is held
	// from outside it is that a soft tone does not fold at all, since the tangent
	// is straight there.
	const period = 1 << 14
	turns := 2*int(math.Round((1047.0/48000*period-1)/2)) + 1
	level := func(oversampling string, drive, cutoff float64) float64 {
		x := make([]float32, 2*period)
		for n := range x {
			x[n] = float32(drive * math.Sin(2*math.Pi*float64(n*turns%period)/period))
		}
		y := render(t, rendering{Block: "ladder", Choices: map[string]string{"oversampling": oversampling}, BlockSize: 64, Frames: 2 * period,
			Inputs: map[string][][]float32{"in": {x}}, Params: map[string]float64{"cutoff": cutoff, "resonance": 0.8}})["out"][0][period:]
		tone := make([]float64, period)
		for n := range tone {
			tone[n] = float64(y[n])
		}
		return aliasLevel(fourier.NewFFT(period).Coefficients(nil, tone), turns)
	}
	for oversampling, told := range ladderChoices {
		if got := level(oversampling, 10, 16000); math.Abs(got-told.alias) > 1 {
			t.Errorf("With %s passes foldover at the hardest drive stands at %.1f dB, and the catalog has %.1f dB.", oversampling, got, told.alias)
		}
		if got := level(oversampling, 10, 5000); got > -70 {
			t.Errorf("With %s passes foldover at a cutoff of 5 kHz stands at %.1f dB, and the catalog tells less than -70 dB.", oversampling, got)
		}
		if got := level(oversampling, 0.01, 2000); got > -100 {
			t.Errorf("With %s passes a soft tone has foldover at %.1f dB, and is hardly bent.", oversampling, got)
		}
	}
}

func TestLadderReach(t *testing.T) {
	t.Parallel()
	// A feedback of 4 r with r below 1 is too little to sing in an analogue ring.
	rests := func(oversampling string, cutoff float64) bool {
		y := render(t, rendering{Block: "ladder", Choices: map[string]string{"oversampling": oversampling}, Frames: 24000,
			Params: map[string]float64{"cutoff": cutoff, "resonance": 0.9}, Inputs: map[string][][]float32{"in": {{0.1}}}})["out"][0]
		loudest := 0.0
		for _, v := range y[12000:] {
			loudest = max(loudest, math.Abs(float64(v)))
		}
		return loudest < 1e-3
	}
	for oversampling, told := range ladderChoices {
		if !rests(oversampling, min(20000, told.reach*48000)) {
			t.Errorf("With %s passes the ladder sings at a cutoff of %g of the sample rate, and the catalog has it at rest there.", oversampling, told.reach)
		}
	}
	if rests("1", 0.24*48000) {
		t.Error("With one pass the ladder is at rest at a cutoff of 0.24 of the sample rate, and the catalog has it sing from 0.23 on.")
	}
}

func TestLadderPrecision(t *testing.T) {
	t.Parallel()
	// The catalog's precision_snr: the kernel against its equation in double
	// precision, from the same float tuning, which is a step of 2^-24 in the
	// exponential beside the nearest or another.
	const rate = 48000
	design := halfBand(6, 0.05)
	for i, a := range design {
		design[i] = float64(float32(a))
	}
	x := make([]float32, rate)
	seed := uint32(1)
	for n := range x {
		seed = seed*1664525 + 1013904223
		x[n] = 0.5 * float32(int32(seed)) / (1 << 31)
	}
	for oversampling, at100 := range map[string]float64{"1": 128.5, "2": 126, "2-filtered": 126} {
		passes := int(oversampling[0] - '0')
		heard := make([]float64, rate)
		for n, v := range x {
			heard[n] = float64(v)
		}
		doubled := [2][]float64{heard, heard} // what each pass hears
		filtered := oversampling == "2-filtered"
		if filtered {
			doubled = [2][]float64{halfBandChain(design, 0, heard), halfBandChain(design, 1, heard)}
		}
		for _, cutoff := range []float64{20, 63, 200, 630} {
			y := render(t, rendering{Block: "ladder", Choices: map[string]string{"oversampling": oversampling}, Frames: rate,
				Inputs: map[string][][]float32{"in": {x}}, Params: map[string]float64{"cutoff": cutoff, "resonance": 0.5}})["out"][0]
			f := cutoff / rate
			warp := (((1.8730*f+0.4955)*f-0.6490)*f + 0.9988) * f
			nearest := math.Round((1 - math.Exp(-2*math.Pi/float64(passes)*warp)) * (1 << 24))
			correction := float64(float32(4 * ((-3.9364*f+1.8409)*f + 0.9968)))
			best := 0.0
			for step := -2.0; step <= 2; step++ {
				tuning := float64(float32(1.22) * float32((nearest+step)/(1<<24)))
				var stage [4]float64
				var given [2][]float64 // by each pass
				average, signal, noise := 0.0, 0.0, 0.0
				for n := range y {
					for pass := range passes {
						before := stage[3]
						driven := math.Tanh((doubled[pass][n] - 0.5*correction*average) / 1.22)
						for i := range stage {
							stage[i] += tuning * (driven - math.Tanh(stage[i]/1.22))
							driven = math.Tanh(stage[i] / 1.22)
						}
						average = (stage[3] + before) / 2
						given[pass] = append(given[pass], average)
					}
				}
				out := given[passes-1]
				if filtered {
					late := halfBandChain(design, 1, given[0])
					for n, v := range halfBandChain(design, 0, given[1]) {
						out[n] = (v + late[n]) / 2
					}
				}
				for n, v := range out {
					signal += v * v
					noise += (float64(y[n]) - v) * (float64(y[n]) - v)
				}
				best = max(best, 10*math.Log10(signal/noise))
			}
			if want := min(135, at100+2.6*math.Log2(cutoff/100)); math.Abs(best-want) > 2 {
				t.Errorf("With %s passes at %g Hz the ladder has %.1f dB to its round-off, and the catalog tells %.1f dB.", oversampling, cutoff, best, want)
			}
		}
	}
}

func TestLadderFilteredIsTheLadderBetweenHalfBands(t *testing.T) {
	t.Parallel()
	// A ladder with nothing to bend, driven through the two half-bands, against one
	// whose input is held: up to 0.45 of the sample rate the half-bands keep the level
	// (closed form of Valenzuela and Constantinides), and the ladders differ by the
	// half sample for which an input is held.
	held, filtered := ladderKnock(t, "2", 2000, 0.5, false), ladderKnock(t, "2-filtered", 2000, 0.5, false)
	design := halfBand(6, 0.05)
	for _, f := range []float64{100, 500, 2000, 5000, 10000} {
		// A held sample is a row of two, cos(pi f / 2 rate) (algebra).
		want := cmplx.Abs(filterAt(held, f/48000)) / math.Cos(math.Pi*f/96000) * math.Pow(cmplx.Abs(halfBandResponse(design, f/96000)), 2)
		if got := cmplx.Abs(filterAt(filtered, f/48000)); math.Abs(got/want-1) > 0.02 {
			t.Errorf("At %g Hz the filtered ladder has %.4f, and the ladder between half-bands %.4f.", f, got, want)
		}
	}
	centre := func(h []float64) float64 {
		sum, moment := 0.0, 0.0
		for n, v := range h {
			sum += v
			moment += float64(n) * v
		}
		return moment / sum
	}
	// A held sample is in its middle a quarter of a sample after its beginning.
	const delay = 2.36
	if got := centre(filtered) - centre(held) - 0.25; math.Abs(got-delay) > 0.01 {
		t.Errorf("The half-bands make the ladder %.4f samples late, and the catalog tells %g.", got, delay)
	}
}
