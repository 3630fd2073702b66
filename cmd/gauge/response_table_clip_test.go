package main

import (
	"math"
	"testing"
)

// tableClip is a rendering of the soft clip by a table of so many steps.
func tableClip(length int, drive float64, x []float32) rendering {
	r := clipRendering("table-clip", "", drive, x)
	r.Params["length"] = float64(length)
	return r
}

func TestTableClipCurve(t *testing.T) {
	t.Parallel()
	// A straight line over a step s is off by at most s^2 / 8 times the greatest
	// second derivative, 4 / (3 sqrt 3) of tanh, and nearly reaches that; beyond
	// the end of the table, at 6, the distance is 1 - tanh 6.
	x := make([]float32, 48000)
	for i := range x {
		x[i] = float32(i-24000) / 1600
	}
	for _, length := range []int{64, 200, 512, 777, 4096} {
		greatest, outside := 0.0, 0.0
		for i, got := range render(t, tableClip(length, 1, x))["out"][0] {
			v := float64(x[i])
			if off := math.Abs(float64(got) - math.Tanh(v)); math.Abs(v) < 6 {
				greatest = max(greatest, off)
			} else {
				outside = max(outside, off)
			}
		}
		step := 12 / float64(length)
		// A place in single precision is off by up to 6e-8 of the table's length, 7e-7
		// of the unit slope.
		want := step * step / 8 * 4 / (3 * math.Sqrt(3))
		if greatest > want+1e-6 || greatest < 0.97*want-1e-6 {
			t.Errorf("A table of %d steps is off by %.3g, and the algebra has %.3g.", length, greatest, want)
		}
		if math.Abs(outside-(1-math.Tanh(6))) > 3e-7 {
			t.Errorf("Beyond the end a table of %d steps is off by %.3g, and 1 - tanh 6 is %.3g.", length, outside, 1-math.Tanh(6))
		}
	}
}

func TestTableClipAlias(t *testing.T) {
	t.Parallel()
	// The chords fold back 12 dB less for each doubling, as their distance from the
	// curve does; longer tables lie below what single precision shows.
	for _, length := range []int{64, 128, 512, 1000} {
		want := 9.3 - 40*math.Log10(float64(length))
		if got := clipAlias(t, tableClip(length, 2, clipTone())); math.Abs(got-want) > 1 {
			t.Errorf("A table of %d steps has alias at %.1f dB, and the catalog has %.1f dB.", length, got, want)
		}
	}
}

func TestTableClipStyles(t *testing.T) { checkClipStyles(t, "table-clip", "") }
