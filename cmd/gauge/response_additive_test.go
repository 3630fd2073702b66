package main

import (
	"math"
	"testing"
)

func TestAdditiveEquation(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		pitch, tilt float64
		partials    int
		sounding    int
	}{
		{110, 1.2, 8, 8}, {55.3, 0, 1, 1}, {441, 2.5, 32, 32},
		{1500, 1, 20, 16}, // 1.5 kHz goes 16 times into the 24 kHz of half the sample rate
	} {
		y := render(t, rendering{Block: "additive", Frames: 9600, Params: map[string]float64{
			"pitch": c.pitch, "tilt": c.tilt, "partials": float64(c.partials),
		}})["out"][0]
		sum := 0.0
		for h := range c.partials {
			sum += math.Pow(float64(h+1), -c.tilt)
		}
		for n := range y {
			want := 0.0
			for h := range c.sounding {
				want += 0.9 / sum * math.Pow(float64(h+1), -c.tilt) * math.Sin(2*math.Pi*float64(h+1)*c.pitch/48000*float64(n))
			}
			// The turn of a sample is off by up to 1e-7 in single precision, which after
			// 9600 samples is 1e-3 of the first partial's phase and h times that of
			// partial h.
			if math.Abs(float64(y[n])-want) > 1e-3*float64(c.sounding) {
				t.Errorf("%d partials at %g Hz, tilt %g: sample %d is %.6f, and the equation gives %.6f.", c.partials, c.pitch, c.tilt, n, y[n], want)
				break
			}
		}
	}
}

func TestAdditiveHoldsItsLevel(t *testing.T) {
	t.Parallel()
	// A pointer that was not held to its length would stray over a million samples.
	const frames = 1 << 20
	y := render(t, rendering{Block: "additive", BlockSize: 512, Frames: frames, Params: map[string]float64{"pitch": 997, "partials": 1}})["out"][0]
	highest := 0.0
	for _, v := range y[frames-480:] {
		highest = max(highest, math.Abs(float64(v)))
	}
	if math.Abs(highest-0.9) > 1e-3 { // a crest lies within half a sample of one that is read: cos(pi 997 / 48000), and 480 samples hold ten
		t.Errorf("One partial swings to %.5f after %d samples, and began at 0.9.", highest, frames)
	}
}

func TestAdditiveSync(t *testing.T) {
	t.Parallel()
	free := rendering{Block: "additive", BlockSize: 48, Frames: 480, Params: map[string]float64{"pitch": 313}}
	synced := free
	synced.Events = map[string]map[int][]event{"sync": {5: {{0, 1}}, 6: {{0, 0}}}}
	whole, cut := render(t, free)["out"][0], render(t, synced)["out"][0]
	for i := range cut {
		if want := whole[i%240]; i >= 240 && cut[i] != want || i < 240 && cut[i] != whole[i] {
			t.Fatalf("Sample %d is %g, and the tone that begins again at sample 240 has %g.", i, cut[i], want)
		}
	}
	if whole[240] == whole[0] {
		t.Error("The tone stands at its start at sample 240 without a sync, so that the test shows nothing.")
	}
}

func TestDustEquation(t *testing.T) {
	t.Parallel()
	const frames = 1 << 16
	for _, density := range []float64{20, 3000, 19999} {
		y := render(t, rendering{Block: "dust", BlockSize: 512, Frames: frames, Params: map[string]float64{"density": density}})["out"][0]
		share := density / 48000
		clicks, seed := 0, uint32(0)
		for n := range y {
			seed = 1664525*seed + 1013904223
			want := 0.0
			if u := float64(seed) / (1 << 32); u < share {
				want = u / share
			}
			if y[n] != 0 {
				clicks++
			}
			// A share in single precision is off by up to 1e-7 of itself.
			if math.Abs(float64(y[n])-want) > 1e-6 {
				t.Fatalf("At %g Hz sample %d is %.7f, and the equation gives %.7f.", density, n, y[n], want)
			}
		}
		// Independent clicks stray by the root of their number, of which four are allowed.
		if mean := share * frames; math.Abs(float64(clicks)-mean) > 4*math.Sqrt(mean) {
			t.Errorf("At %g Hz there are %d clicks in %d samples, and %.0f are to be expected.", density, clicks, frames, mean)
		}
	}
}

func TestAdditiveStyles(t *testing.T) { checkStyles(t, "additive") }

func TestDustStyles(t *testing.T) { checkStyles(t, "dust") }
