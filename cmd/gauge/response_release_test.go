package main

import (
	"math"
	"slices"
	"testing"
)

func TestAttackReleaseSegments(t *testing.T) {
	t.Parallel()
	// Periods of 1 ms. The attack passes the top in the period after 10.5 ms; the
	// gate closes before period 100.
	const top, closed = 11, 100
	for _, approximate := range []bool{false, true} {
		for mode, falls := range map[string]int{"ad": top, "ar": closed} {
			got := periodic(t, rendering{
				Block: "attack-release", Choices: map[string]string{"mode": mode}, Approximate: approximate,
				Params: map[string]float64{"attack": 0.0105, "release": 0.15},
				Events: map[string]map[int][]event{"gate": {0: {{0, 1}}, closed: {{0, 0}}}},
			}, make([]float32, 500))["out"][0]
			checkClose(t, "An envelope of mode "+mode, got, func(n int) float64 {
				after := float64(n + 1)
				switch {
				case after < top:
					return 1.2 * (1 - math.Exp(-math.Log(6)*after/10.5))
				case n < falls:
					return 1
				}
				return math.Exp(-math.Log(1000) * (after - float64(falls)) / 150)
			}, 2e-5, "exp(-k/(time rate)) of dsp 4.4")
			// 6.9078 time constants are -60 dB (dsp 4.4).
			if after := float64(got[falls+149]); math.Abs(after-1e-3) > 2e-5 {
				t.Errorf("Mode %s: after the release time the level is %.6f, and -60 dB is 0.001.", mode, after)
			}
			if last := got[len(got)-1]; last != 0 {
				t.Errorf("Mode %s: the envelope rests at %g, and silence is 0.", mode, last)
			}
		}
	}
}

func TestAttackReleaseStruckAgain(t *testing.T) {
	t.Parallel()
	for _, mode := range []string{"ad", "ar"} {
		got := periodic(t, rendering{
			Block: "attack-release", Choices: map[string]string{"mode": mode}, Params: map[string]float64{"attack": 0.02, "release": 0.3},
			Events: map[string]map[int][]event{"gate": {0: {{0, 1}}, 50: {{0, 0}}, 60: {{0, 1}}}},
		}, make([]float32, 70))["out"][0]
		// One step of the attack from the level where it was: e = b + c e.
		c := math.Exp(-math.Log(6) / 20)
		if want := 1.2*(1-c) + c*float64(got[59]); got[59] > 0.99 || math.Abs(float64(got[60])-want) > 1e-6 {
			t.Errorf("Mode %s: the gate opens again at %g and the next level is %g; the attack takes it to %g.", mode, got[59], got[60], want)
		}
	}
}

func TestAttackReleaseUpdates(t *testing.T) {
	t.Parallel()
	// An update before the first period is the same as a start with its values.
	params, other := map[string]float64{"attack": 0.01, "release": 0.04}, map[string]float64{"attack": 0.1, "release": 0.4}
	run := func(params map[string]float64, updates map[string]map[int]map[string]float64) []float32 {
		return periodic(t, rendering{
			Block: "attack-release", Params: params, Updates: updates,
			Events: map[string]map[int][]event{"gate": {0: {{0, 1}}, 40: {{0, 0}}}},
		}, make([]float32, 60))["out"][0]
	}
	want := run(params, nil)
	updates := map[string]map[int]map[string]float64{"attack": {0: params}, "release": {0: params}}
	if got := run(other, updates); !slices.Equal(got, want) {
		t.Errorf("The envelope updated before the first period gives %v, and started with the same values %v.", got, want)
	}
	if slices.Equal(run(other, nil), want) {
		t.Error("The envelope gives the same with both settings, so that the check above shows nothing.")
	}
}
