package main

import (
	"math"
	"slices"
	"testing"
)

// fixedClip is a rendering of the fixed-point clip.
func fixedClip(curve, word string, drive float64, x []float32) rendering {
	return rendering{
		Block: "fixed-clip", Choices: map[string]string{"curve": curve, "word": word}, Frames: len(x),
		Params: map[string]float64{"drive": drive}, Inputs: map[string][][]float32{"in": {x}},
	}
}

// fixedCurves are the curves of the clips, as clipCurves has them, with their
// distance from tanh and their alias energy by the catalog.
var fixedCurves = map[string]struct {
	curve          func(v float64) float64
	distant, alias float64
}{
	"hard": {func(v float64) float64 { return max(-1, min(1, v)) }, 1 - math.Tanh(1), -44},
	"cubic": {func(v float64) float64 {
		v = max(-1.5, min(1.5, v))
		return v - 4*v*v*v/27
	}, 0.1128, -71},
}

func TestFixedClipCurves(t *testing.T) {
	t.Parallel()
	x := make([]float32, 4800)
	for i := range x {
		x[i] = float32(i-2400) / 1024 // up to 2.3, beyond full scale
	}
	for curve, c := range fixedCurves {
		for word, bits := range fixedWords {
			for _, drive := range []float64{1, 1.7, 2, 16, 100} {
				greatest := 0.0
				for i, got := range render(t, fixedClip(curve, word, drive, x))["out"][0][:len(x)] {
					// The input is held at full scale, which the hard clip never shows.
					v := drive * max(-1, min(1, float64(x[i])))
					// A step of the input and the drive's own half a step, raised by the drive,
					// and a rounding of the float. A drive is kept as a fraction from a half to one.
					allowed := drive*2.5*math.Exp2(-bits) + 6e-8
					if want := c.curve(v); math.Abs(float64(got)-want) > allowed {
						t.Fatalf("%s in %s: %g comes out as %g, and the closed form gives %g.", curve, word, v, got, want)
					}
					greatest = max(greatest, math.Abs(float64(got)-math.Tanh(v)))
				}
				if drive == 2 && math.Abs(greatest-c.distant) > 2e-4 {
					t.Errorf("%s in %s: the greatest distance from tanh is %.5f, and dsp 2.8 or the catalog has %.5f.", curve, word, greatest, c.distant)
				}
			}
			if got := clipAlias(t, fixedClip(curve, word, 2, clipTone())); math.Abs(got-c.alias) > 1 {
				t.Errorf("%s in %s: the alias of 1245 Hz at drive 2 stands at %.1f dB, and dsp 2.7 or the catalog has %g dB.", curve, word, got, c.alias)
			}
		}
	}
}

func TestFixedClipNoise(t *testing.T) {
	t.Parallel()
	// Where the curve is straight a drive raises the noise of the input: Bennett's
	// 98.09 dB of sixteen bits less 20 log10 of the drive, and 146 dB of the wires in
	// thirty-two.
	for curve, c := range fixedCurves {
		for word := range fixedWords {
			for _, drive := range []float64{1, 3, 50} {
				x := fixedSine(0.05 / drive)
				factor := math.Exp2(math.Floor(math.Log2(drive)) + 1)
				kept := fixedWord(word, drive/factor) * factor
				noise := 0.0
				for i, got := range render(t, fixedClip(curve, word, drive, x))["out"][0][:len(x)] {
					off := float64(got) - c.curve(kept*float64(x[i]))
					noise += off * off / float64(len(x))
				}
				told := min(146, 98.09-20*math.Log10(drive))
				if word == "q31" {
					told = 146
				}
				if snr := 10 * math.Log10(0.5/noise); snr < told-1 || word == "q15" && snr > told+1 {
					t.Errorf("%s in %s at drive %g: a full-scale sine stands %.1f dB over the error, and the catalog says %.1f dB.", curve, word, drive, snr, told)
				}
			}
		}
	}
}

func TestFixedClipStyles(t *testing.T) {
	t.Parallel()
	x := [][]float32{filterHiss(336, 2, 3), filterHiss(336, 2, 4)}
	moving := make([]float32, 336)
	for i := range moving {
		moving[i] = 1 + 0.5*float32(i/48)
	}
	for curve := range fixedCurves {
		for word := range fixedWords {
			plain := fixedClip(curve, word, 1.3, x[0])
			plain.Channels, plain.Inputs = 2, map[string][][]float32{"in": x}
			single := plain
			single.BlockSize, single.OneSample = 7, true
			want := render(t, plain)["out"]
			moved := plain
			moved.Moved = map[string][]float32{"drive": moving}
			got := render(t, moved)["out"]
			moved.OneSample = true
			for ch, y := range render(t, single)["out"] {
				if !slices.Equal(y, want[ch]) {
					t.Errorf("%s in %s: channel %d differs with one sample a call.", curve, word, ch)
				}
			}
			for ch, y := range render(t, moved)["out"] {
				if !slices.Equal(y, got[ch]) {
					t.Errorf("%s in %s: channel %d differs with one sample a call and a moved drive.", curve, word, ch)
				}
			}
			for n := range 7 {
				set := plain
				set.Params = map[string]float64{"drive": float64(moving[n*48])}
				for ch, y := range render(t, set)["out"] {
					if !slices.Equal(got[ch][n*48:n*48+48], y[n*48:n*48+48]) {
						t.Errorf("%s in %s: channel %d of block %d differs where audio moves the drive to %g.", curve, word, ch, n, moving[n*48])
					}
				}
			}
		}
	}
}
