package main

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
)

// fixedWords are the words of fixed-point blocks, with the bits of a step below
// full scale.
var fixedWords = map[string]float64{"q15": 15, "q31": 31}

// fixedSine is a full-scale sine of 83 turns in 3200 samples: a short period
// meets too few places of a step for the law of rounding noise to hold.
func fixedSine(level float64) []float32 {
	const period, turns = 3200, 83
	x := make([]float32, period)
	for i := range x {
		x[i] = float32(level * math.Sin(2*math.Pi*turns/period*float64(i)+0.1))
	}
	return x
}

// fixedSNR is how far a signal stands over what differs from it, in decibels.
func fixedSNR(want []float64, got []float32) float64 {
	signal, noise := 0.0, 0.0
	for i, w := range want {
		signal += w * w
		noise += (float64(got[i]) - w) * (float64(got[i]) - w)
	}
	return 10 * math.Log10(signal/noise)
}

// fixedWord is the float that is left of a float in a word: rounded to the
// nearest step of q15 or cut to one of q31, and held one step below full scale.
func fixedWord(word string, x float64) float64 {
	steps := math.Exp2(fixedWords[word])
	whole := math.Trunc(x * steps)
	if word == "q15" {
		whole = math.Round(x * steps)
	}
	return max(1-steps, min(steps-1, whole)) / steps
}

func TestFixedConversion(t *testing.T) {
	t.Parallel()
	// A gain of 0.5, whose word is exact, shows what the conversions make of every
	// kind of float: zeros, single steps and their halves, full scale and beyond,
	// denormals, infinities.
	x := []float32{0, float32(math.Copysign(0, -1)), 1, -1, 0.999999, 1.5, -40, float32(math.Inf(1)), float32(math.Inf(-1)), 1e-40, -1e-40, 1e-10, -3e-10, 0.3, -0.7}
	for _, bits := range []float64{15, 31} {
		for _, steps := range []float64{1, 0.5, 0.4999, 1.5, 2.5, 12345.5} {
			x = append(x, float32(math.Ldexp(steps, -int(bits))), -float32(math.Ldexp(steps, -int(bits))))
		}
	}
	x = append(x, filterHiss(512, 1, 3)...)
	x = append(x, filterHiss(512, 1e-4, 4)...)
	for word := range fixedWords {
		y := render(t, rendering{
			Block: "fixed-gain", Choices: map[string]string{"word": word}, Frames: len(x),
			Params: map[string]float64{"gain": 0.5}, Inputs: map[string][][]float32{"in": {x}},
		})["out"][0]
		for i, v := range x {
			// The product of q31 is cut once more, to the step below.
			want := fixedWord(word, float64(v)) / 2
			if word == "q31" {
				want = math.Floor(want*math.Exp2(31)) / math.Exp2(31)
			}
			if y[i] != float32(want) {
				t.Errorf("Half of %g in %s is %g, and the nearest word gives %g.", v, word, y[i], want)
			}
		}
	}
}

func TestFixedHalves(t *testing.T) {
	t.Parallel()
	checkHalves(t, "#define WORD_Q31\n#include \"fixed.h\"", "fixed_long_product(a, b)", "(int32_t)((int64_t)a * b >> 31)")
}

// checkHalves demands of a file's product that its four products of halves give
// the bits of a product of sixty-four, by the host's own arithmetic.
func checkHalves(t *testing.T, source, product, want string) {
	t.Helper()
	needTools(t, "cc")
	folder, err := filepath.Abs(kernelFolder)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "halves")
	if err := os.WriteFile(file+".c", []byte(source+`
#include <stdio.h>
int main(void) {
  const int32_t edges[] = {0, 1, -1, 0xffff, 0x10000, -0x10000, -0x10001, 0x7fff0000, INT32_MAX, -INT32_MAX};
  uint32_t seed = 1;
  for (int i = 0; i < 1000000; i++) {
    const int32_t a = i < 100 ? edges[i / 10] : (kernel_noise(&seed), (int32_t)seed);
    const int32_t b = i < 100 ? edges[i % 10] : (kernel_noise(&seed), (int32_t)seed);
    const int64_t got = `+product+`, want = `+want+`;
    if (got != want) {
      printf("%d times %d is %lld and not %lld\n", a, b, (long long)got, (long long)want);
      return 1;
    }
  }
  return 0;
}
`), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("cc", "-std=c11", "-O1", "-Wall", "-Wextra", "-Werror", "-Wno-unused-function", "-DFIXED_BY_HALVES", "-DKERNEL_STIMULI",
		"-I"+folder, file+".c", "-o", file, "-lm").CombinedOutput()
	if err == nil {
		out, err = exec.Command(file).CombinedOutput()
	}
	if err != nil {
		t.Errorf("Products by halves go wrong (%v):\n%s", err, out)
	}
}

func TestFixedGain(t *testing.T) {
	t.Parallel()
	for word := range fixedWords {
		for _, gain := range []float64{-16, -3.7, -1, 0, 0.001, 0.3, 1, 1.9, 2, 15.9, 16} {
			// The gain as it is kept, a word and a shift; what of it is off is told as
			// 0.15 dB down to a thousandth.
			raise := math.Exp2(max(0, math.Floor(math.Log2(math.Abs(gain)))+1))
			kept := fixedWord(word, float64(float32(gain))/raise) * raise
			if gain != 0 && math.Abs(20*math.Log10(kept/gain)) > 0.15 {
				t.Errorf("A gain of %g in %s is kept as %g, further off than 0.15 dB.", gain, word, kept)
			}
			x := fixedSine(1 / max(1, math.Abs(gain)))
			run := func(x []float32) []float32 {
				return render(t, rendering{
					Block: "fixed-gain", Choices: map[string]string{"word": word}, Frames: len(x),
					Params: map[string]float64{"gain": gain}, Inputs: map[string][][]float32{"in": {x}},
				})["out"][0]
			}
			y := run(x)
			want := make([]float64, len(x))
			for i, v := range x {
				want[i] = kept * float64(v)
			}
			// The catalog's quantisation_snr: 98.09 dB by Bennett's 6.0206 N + 1.7609 less
			// what the gain raises, and the 146 dB of the wires in q31, whose own noise
			// lies 188.4 dB below full scale however soft the sine.
			told := 98.09 - 20*math.Log10(max(1, math.Abs(gain)))
			if word == "q31" {
				told = min(146, 188.4+20*math.Log10(min(1, math.Abs(gain))))
			}
			if snr := fixedSNR(want, y); gain != 0 && (snr < told-1 || word == "q15" && snr > told+1) {
				t.Errorf("A sine under a gain of %g in %s stands %.2f dB over its error, and the catalog says %.2f dB.", gain, word, snr, told)
			}
			// Beyond full scale it is held there, to both sides.
			loud := run([]float32{2, -2})
			for _, v := range loud[:2] {
				if size := math.Abs(float64(v)); size > 1 || math.Abs(gain) >= 1 && size < 1-math.Exp2(-14) {
					t.Errorf("A gain of %g in %s makes %v of twice full scale, and holds at 1.", gain, word, loud[:2])
				}
			}
		}
	}
}

func TestFixedMix(t *testing.T) {
	t.Parallel()
	for word := range fixedWords {
		for _, channels := range []int{1, 2, 4} {
			in, want := make([][]float32, channels), make([]float64, 3200)
			gain := 1 / float64(channels)
			for c := range in {
				in[c] = fixedSine(1)
				for i := range in[c] {
					// Channels that differ by more than a step have errors that are strangers.
					in[c][i] *= 1 - 0.01*float32(c)
					want[i] += gain * float64(in[c][i])
				}
			}
			run := func(gain float64, in [][]float32) []float32 {
				return render(t, rendering{
					Block: "fixed-mix", Choices: map[string]string{"word": word}, Channels: channels, Frames: len(in[0]),
					Params: map[string]float64{"gain": gain}, Inputs: map[string][][]float32{"in": in},
				})["out"][0]
			}
			told := 146.0
			if word == "q15" {
				// By Bennett's formula for 16 bits; noises add in power, equal signals in
				// amplitude, so that m channels of one sound stand 10 log10 m higher.
				told = 98.09 + 10*math.Log10(float64(channels))
			}
			if snr := fixedSNR(want, run(gain, in)); snr < told-1 || word == "q15" && snr > told+1 {
				t.Errorf("A sum of %d channels in %s stands %.2f dB over its error, and rounding noise gives %.2f dB.", channels, word, snr, told)
			}
			// One sample of each channel lies at full scale, and the sum is held there.
			loud := make([][]float32, channels)
			for c := range loud {
				loud[c] = []float32{0.9, -0.9}
			}
			y := run(2, loud)
			if y[0] != 1 || y[1] != -1 {
				t.Errorf("Twice the sum of %d channels of 0.9 in %s comes out as %v, and is held at 1 and -1.", channels, word, y[:2])
			}
		}
	}
}

func TestFixedMixStyles(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"fixed-gain", "fixed-mix"} {
		t.Run(block, func(t *testing.T) {
			checkLineStyles(t, block, 48000, map[string]float64{"gain": 1.7}, map[string]float64{"gain": 0.2})
		})
	}
}

// What moves between two blocks is from then on what it would have been from the
// start, since none of these blocks remembers a sample.
func TestFixedFactorsMove(t *testing.T) {
	t.Parallel()
	x := fixedSine(0.9)[:96]
	for block, param := range map[string]string{"fixed-gain": "gain", "fixed-mix": "gain", "fixed-clip": "drive"} {
		run := func(at float64, updates map[int]map[string]float64) []float32 {
			return render(t, rendering{
				Block: block, Frames: len(x), BlockSize: 48, Inputs: map[string][][]float32{"in": {x}},
				Params: map[string]float64{param: at}, Updates: map[string]map[int]map[string]float64{param: updates},
			})["out"][0]
		}
		moved, before, after := run(1.5, map[int]map[string]float64{1: {param: 4.5}}), run(1.5, nil), run(4.5, nil)
		if !slices.Equal(moved[:48], before[:48]) || !slices.Equal(moved[48:], after[48:]) {
			t.Errorf("%s does not follow its %s from one block to the next.", block, param)
		}
		if slices.Equal(before[48:], after[48:]) {
			t.Errorf("%s sounds alike at a %s of 1.5 and of 4.5, so that nothing is shown.", block, param)
		}
	}
}
