package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

func TestFMPairEquation(t *testing.T) {
	// Chowning's equation and the feedback's recursion in double precision, on
	// the phases that the kernel steps in whole numbers.
	for _, c := range []struct {
		method                        string
		pitch, ratio, index, feedback float64
		approximate                   bool
		within                        float64
	}{
		// A turned phase is cut to a 2^24th of a turn, 3.7e-7 radians, and the
		// modulator's error enters the carrier by the index.
		{"library", 220, 2, 2, 0, false, 4e-6},
		{"library", 997, 1.5, 8, 0, false, 1.2e-5},
		{"library", 220, 1, 2, 0.8, false, 2e-5},
		{"library", 220, 2, 2, 0.5, true, 2e-5},
		{"polynomial", 220, 2, 2, 0, false, 5e-6},
		{"polynomial", 3000, 14, 1, 0, false, 4e-6},
		{"polynomial", 110, 0.5, 2, 0.8, false, 2e-5},
	} {
		y := render(t, rendering{
			Block: "fm-pair", Choices: map[string]string{"method": c.method}, Frames: 9600, Approximate: c.approximate,
			Params: map[string]float64{"pitch": c.pitch, "ratio": c.ratio, "index": c.index, "feedback": c.feedback},
		})["out"][0]
		step := turnIncrement(c.pitch)
		geared := uint32(uint64(step) * uint64(c.ratio*65536) >> 16)
		var carrier, modulator uint32
		var last, before float64
		for i, got := range y {
			angle := func(phase uint32) float64 { return 2 * math.Pi * float64(phase) / (1 << 32) }
			m := math.Sin(angle(modulator) + c.feedback*(last+before)/2)
			want := math.Sin(angle(carrier) + c.index*m)
			if math.Abs(float64(got)-want) > c.within {
				t.Fatalf("%s, %g Hz, ratio %g, index %g, feedback %g: sample %d is %.7f, and the equation gives %.7f.",
					c.method, c.pitch, c.ratio, c.index, c.feedback, i, got, want)
			}
			before, last = last, m
			carrier += step
			modulator += geared
		}
	}
}

func TestFMPairSidebands(t *testing.T) {
	// Chowning 1973: sideband k lies at carrier + k modulator, with the
	// amplitude J_k(index); those below rest come back with their sign turned.
	// The ratio 5/4 keeps all apart.
	const turns, modulator = 4000, 5000
	for _, index := range []float64{0.5, 2, 5} {
		bins := partials(t, rendering{Block: "fm-pair", Params: map[string]float64{"ratio": 1.25, "index": index}}, turns)
		want := map[int]float64{}
		for k := -30; k <= 30; k++ {
			at, amplitude := turns+k*modulator, math.Jn(int(math.Abs(float64(k))), index)
			if k < 0 && k%2 != 0 {
				amplitude = -amplitude
			}
			at = ((at % exactPeriod) + exactPeriod) % exactPeriod
			if at > exactPeriod/2 {
				at, amplitude = exactPeriod-at, -amplitude
			}
			want[at] += amplitude
		}
		for at, amplitude := range want {
			if got := cmplx.Abs(bins[at]); at > 0 && at < exactPeriod/2 && math.Abs(got-math.Abs(amplitude)) > 2e-6 {
				t.Errorf("At index %g the partial in bin %d is %.7f, and the Bessel functions give %.7f.", index, at, got, math.Abs(amplitude))
			}
		}
	}
}

func TestFMPairSync(t *testing.T) {
	free := rendering{Block: "fm-pair", BlockSize: 48, Frames: 480, Params: map[string]float64{"feedback": 0.7, "ratio": 1.3}}
	synced, released := free, free
	synced.Events = map[string]map[int][]event{"sync": {5: {{0, 1}}}}
	released.Events = map[string]map[int][]event{"sync": {5: {{0, 0}}}}
	whole, cut, gone := render(t, free)["out"][0], render(t, synced)["out"][0], render(t, released)["out"][0]
	for i := range cut {
		want, what := whole[i], fmt.Sprintf("sample %d before the sync", i)
		if i >= 240 {
			want, what = whole[i-240], fmt.Sprintf("sample %d after the sync", i-240)
		}
		if cut[i] != want {
			t.Fatalf("The pair gives %g as %s, and the wave from its start has %g.", cut[i], what, want)
		}
		if gone[i] != whole[i] {
			t.Fatalf("Sample %d is %g after a falling gate, and %g without.", i, gone[i], whole[i])
		}
	}
	if whole[245] == whole[5] {
		t.Error("The wave stands near its start at sample 245 without a sync, so that the test shows nothing.")
	}
}

func TestFMPairStyles(t *testing.T) { checkStyles(t, "fm-pair") }
