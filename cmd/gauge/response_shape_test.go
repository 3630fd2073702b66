package main

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"
)

// clipCurves are the curves of the clips by block and method, in double
// precision, with the greatest distance from tanh and where it lies, as far as
// reference page dsp 2.8 and the catalog give them, and the alias energy of dsp
// 2.7 or the catalog.
var clipCurves = []struct {
	block, method   string
	curve           func(v float64) float64
	error, at, band float64
	alias           float64 // decibels; 0 where it is below what single precision shows
}{
	{"hard-clip", "", func(v float64) float64 { return max(-1, min(1, v)) }, 1 - math.Tanh(1), 1, 1e-4, -44},
	{"soft-clip", "library", math.Tanh, 0, 0, 2.4e-7, 0},
	{"soft-clip", "rational", func(v float64) float64 {
		v = max(-3, min(3, v))
		return v * (27 + v*v) / (27 + 9*v*v)
	}, 0.0235, 1.57, 1e-4, 0},
	{"soft-clip", "cubic", func(v float64) float64 {
		v = max(-1.5, min(1.5, v))
		return v - 4*v*v*v/27
	}, 0.1128, 1.29, 1e-4, -71},
}

func clipRendering(block, method string, drive float64, x []float32) rendering {
	r := rendering{Block: block, Frames: len(x), Params: map[string]float64{"drive": drive}, Inputs: map[string][][]float32{"in": {x}}}
	if method != "" {
		r.Choices = map[string]string{"method": method}
	}
	return r
}

func TestClipCurves(t *testing.T) {
	t.Parallel()
	x := make([]float32, 4800)
	for i := range x {
		x[i] = float32(i-2400) / 1024
	}
	for _, c := range clipCurves {
		const drive = 2 // so that the corner of the hard clip, at 1, is one of the points
		greatest, at := 0.0, 0.0
		for i, got := range render(t, clipRendering(c.block, c.method, drive, x))["out"][0] {
			v := drive * float64(x[i])
			// Two roundings of the product and of the curve, and two units of
			// the library.
			if want := c.curve(v); math.Abs(float64(got)-want) > 3e-7 {
				t.Fatalf("%s %s: %g comes out as %g, and the closed form gives %g.", c.block, c.method, v, got, want)
			}
			if off := math.Abs(float64(got) - math.Tanh(v)); off > greatest {
				greatest, at = off, math.Abs(v)
			}
		}
		if math.Abs(greatest-c.error) > c.band {
			t.Errorf("%s %s: the greatest distance from tanh is %.5f, and dsp 2.8 or the catalog has %.5f.", c.block, c.method, greatest, c.error)
		}
		if c.at > 0 && math.Abs(at-c.at) > 0.02 {
			t.Errorf("%s %s: the greatest distance from tanh lies at %.3f, and dsp 2.8 or the catalog has it at %g.", c.block, c.method, at, c.at)
		}
	}
}

func TestSoftClipShortTanh(t *testing.T) {
	t.Parallel()
	x := make([]float32, 4800)
	for i := range x {
		x[i] = float32(i-2400) / 400
	}
	r := clipRendering("soft-clip", "library", 1, x)
	r.Approximate = true
	greatest := 0.0
	for i, got := range render(t, r)["out"][0] {
		greatest = max(greatest, math.Abs(float64(got)-math.Tanh(float64(x[i]))))
	}
	// Reference page dsp 2.8 has 0.0001 for the form of degrees 7 and 6.
	if greatest > 1.2e-4 || greatest < 0.5e-4 {
		t.Errorf("The short form of tanh is off by %.2g at most, and dsp 2.8 has 0.0001.", greatest)
	}
}

// 83 turns of 1245 Hz fill 3200 samples at 48 kHz, so that every harmonic has a
// bin of its own and all else is alias.
const clipPeriod, clipTurns = 3200, 83

// clipTone is that sine, two such periods long.
func clipTone() []float32 {
	x := make([]float32, 2*clipPeriod)
	for i := range x {
		x[i] = float32(math.Sin(2 * math.Pi * clipTurns / clipPeriod * float64(i)))
	}
	return x
}

// clipAlias is the alias energy against the harmonics, in decibels, of what
// clipTone becomes.
func clipAlias(t *testing.T, r rendering) float64 {
	t.Helper()
	y := render(t, r)["out"][0][clipPeriod : 2*clipPeriod]
	harmonics, alias := 0.0, 0.0
	for bin := 1; bin < clipPeriod/2; bin++ {
		sum := complex(0, 0)
		turn := cmplx.Rect(1, -2*math.Pi*float64(bin)/clipPeriod)
		at := complex(1, 0)
		for _, v := range y {
			sum += complex(float64(v), 0) * at
			at *= turn
		}
		if power := real(sum)*real(sum) + imag(sum)*imag(sum); bin%clipTurns == 0 {
			harmonics += power
		} else {
			alias += power
		}
	}
	return 10 * math.Log10(alias/harmonics)
}

func TestClipAlias(t *testing.T) {
	t.Parallel()
	for _, c := range clipCurves {
		if c.alias == 0 {
			continue
		}
		if got := clipAlias(t, clipRendering(c.block, c.method, 2, clipTone())); math.Abs(got-c.alias) > 1 {
			t.Errorf("%s %s: the alias of 1245 Hz at drive 2 stands at %.1f dB, and dsp 2.7 or the catalog has %g dB.", c.block, c.method, got, c.alias)
		}
	}
}

func TestClipStyles(t *testing.T) {
	t.Parallel()
	for _, c := range clipCurves {
		checkClipStyles(t, c.block, c.method)
	}
}

// checkClipStyles demands that one sample a call, and a drive that audio moves,
// compute the equation bit for bit as whole blocks with a set drive do.
func checkClipStyles(t *testing.T, block, method string) {
	t.Helper()
	x := [][]float32{filterHiss(336, 2, 3), filterHiss(336, 2, 4)}
	moving := make([]float32, 336)
	for i := range moving {
		moving[i] = 0.5 * float32(i/48+1)
	}
	plain := clipRendering(block, method, 1.3, x[0])
	plain.Channels, plain.Inputs = 2, map[string][][]float32{"in": x}
	want := render(t, plain)["out"]
	single := plain
	single.BlockSize, single.OneSample = 7, true
	for ch, got := range render(t, single)["out"] {
		if !slices.Equal(got, want[ch]) {
			t.Errorf("%s %s: channel %d differs with one sample a call.", block, method, ch)
		}
	}
	moved := plain
	moved.Moved = map[string][]float32{"drive": moving}
	got := render(t, moved)["out"]
	moved.OneSample = true
	gotSingle := render(t, moved)["out"]
	for n := range 7 {
		set := plain
		set.Params = map[string]float64{"drive": float64(moving[n*48])}
		for ch, y := range render(t, set)["out"] {
			part := y[n*48 : n*48+48]
			if !slices.Equal(got[ch][n*48:n*48+48], part) || !slices.Equal(gotSingle[ch][n*48:n*48+48], part) {
				t.Errorf("%s %s: channel %d of block %d differs where audio moves the drive to %g.", block, method, ch, n, moving[n*48])
			}
		}
	}
}
