package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"
)

// told is what a pitch detector tells, block by block, over half a second.
func told(t *testing.T, share string, params map[string]float64, tone func(seconds float64) float64) (frequency, clarity []float32) {
	t.Helper()
	const frames = 24000
	x := make([]float32, frames)
	for n := range x {
		x[n] = float32(tone(float64(n) / 48000))
	}
	out := render(t, rendering{
		Block: "pitch-detector", Choices: map[string]string{"share": share}, Params: params, Frames: frames,
		Inputs: map[string][][]float32{"in": {x}},
	})
	return out["frequency"][0], out["clarity"][0]
}

// detected is what it tells at the end.
func detected(t *testing.T, share string, params map[string]float64, tone func(seconds float64) float64) (frequency, clarity float64) {
	t.Helper()
	f, c := told(t, share, params, tone)
	return float64(f[len(f)-1]), float64(c[len(c)-1])
}

// cents is how far a frequency lies above another.
func cents(got, want float64) float64 { return 1200 * math.Log2(got/want) }

// Sines from the lowest note that is found to the highest that is exact, at
// three rates of looking.
func TestPitchDetectorOfSines(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		share     string
		low, high float64
	}{{"whole", 310, 3000}, {"half", 155, 1500}, {"quarter", 78, 750}, {"eighth", 39, 375}} {
		for i := range 12 {
			pitch := c.low * math.Pow(c.high/c.low, float64(i)/11)
			got, clarity := detected(t, c.share, nil, func(s float64) float64 {
				return 0.3 * math.Sin(2*math.Pi*pitch*s)
			})
			if off := cents(got, pitch); math.Abs(off) > 2 || math.IsNaN(off) || clarity < 0.99 {
				t.Errorf("A sine of %.2f Hz at %s of the rate is told as %.2f Hz, %.2f cents off, and sure by %.3f; want 2 cents and 0.99.", pitch, c.share, got, off, clarity)
			}
		}
	}
}

// A tone of many partials has the pitch of their common fundamental, also where
// that is missing (any text on pitch).
func TestPitchDetectorOfTones(t *testing.T) {
	t.Parallel()
	for first := 1; first <= 3; first++ {
		got, clarity := detected(t, "quarter", nil, func(s float64) float64 {
			y := 0.0
			for k := first; k <= 6; k++ {
				y += math.Sin(2*math.Pi*146.83*float64(k)*s+float64(k*k)) / 8
			}
			return y
		})
		if off := cents(got, 146.83); math.Abs(off) > 2 || clarity < 0.95 {
			t.Errorf("A tone of 146.83 Hz with partials from %d to 6 is told as %.2f Hz, %.2f cents off, and sure by %.3f.", first, got, off, clarity)
		}
	}
}

// After a note comes silence: what was told last stays, and nothing is sure.
func TestPitchDetectorOfSilence(t *testing.T) {
	t.Parallel()
	f, c := told(t, "quarter", nil, func(s float64) float64 {
		if s < 0.25 {
			return 0.3 * math.Sin(2*math.Pi*220*s)
		}
		return 0
	})
	sounds := 0 // the first block behind the note in which nothing is sure
	for n := 250; n < len(c) && sounds == 0; n++ {
		if c[n] == 0 {
			sounds = n
		}
	}
	// The last 416 means are 35 ms, and it looks every 20 ms.
	if sounds == 0 || sounds > 250+56 {
		t.Fatalf("Nothing is sure from block %d on; the note ends before block 250, and 56 ms later at most it is forgotten.", sounds)
	}
	for n := sounds; n < len(c); n++ {
		if c[n] != 0 || f[n] != f[sounds-1] || f[n] == 0 {
			t.Fatalf("In silence block %d tells %g Hz, sure by %g; want the %g Hz told before, sure by 0.", n, f[n], c[n], f[sounds-1])
		}
	}
	if off := cents(float64(f[249]), 220); math.Abs(off) > 2 {
		t.Errorf("At the end of a note of 220 Hz it is told %.2f cents off.", off)
	}
	if got, clarity := detected(t, "quarter", nil, func(float64) float64 { return 0 }); got != 0 || clarity != 0 {
		t.Errorf("Silence from the start is told as %g Hz, sure by %g; want 0 and 0.", got, clarity)
	}
	if got, _ := detected(t, "quarter", nil, func(float64) float64 { return 0.5 }); got != 0 {
		t.Errorf("A level that stands still is told as %g Hz; want 0.", got)
	}
}

// Noise has no period: nothing in it is as sure as a tone.
func TestPitchDetectorOfNoise(t *testing.T) {
	t.Parallel()
	noise := filterHiss(24000, 0.5, 5)
	_, clarity := detected(t, "quarter", map[string]float64{"window": 512}, func(s float64) float64 { return float64(noise[int(math.Round(s*48000))]) })
	if clarity > 0.5 {
		t.Errorf("In noise a pitch is sure by %.3f; want less than 0.5.", clarity)
	}
}

// One sample a call and blocks of other sizes tell the same.
func TestPitchDetectorStyles(t *testing.T) {
	t.Parallel()
	const frames = 9600
	x := make([]float32, frames)
	for n := range x {
		x[n] = float32(0.4*math.Sin(2*math.Pi*196*float64(n)/48000) + 0.2*math.Sin(2*math.Pi*588*float64(n)/48000))
	}
	want := ""
	for _, blockSize := range []int{48, 64, 1200} {
		for _, one := range []bool{false, true} {
			out := render(t, rendering{Block: "pitch-detector", BlockSize: blockSize, OneSample: one, Frames: frames, Inputs: map[string][][]float32{"in": {x}}})
			var last []string
			for _, port := range slices.Sorted(maps.Keys(out)) {
				values := out[port][0]
				last = append(last, fmt.Sprint(port, values[len(values)-1]))
			}
			if got := fmt.Sprint(last); want == "" {
				want = got
			} else if got != want {
				t.Errorf("Blocks of %d, one sample a call %v, tell %s, and blocks of 48 %s.", blockSize, one, got, want)
			}
		}
	}
}
