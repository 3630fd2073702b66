package main

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

func TestAttackReleaseSegments(t *testing.T) {
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

// pattern renders a Euclidean pattern of so many clocks, one in a block of 48,
// as x for a beat and . for a rest.
func pattern(t *testing.T, clocks int, params map[string]float64, updates map[int]map[string]float64) string {
	t.Helper()
	var moments []int
	for k := range clocks {
		moments = append(moments, 48*k+k%48)
	}
	out := render(t, rendering{
		Block: "euclidean-pattern", Frames: 48 * clocks, Params: params, Events: clocked(moments...),
		Updates: map[string]map[int]map[string]float64{"pattern": updates},
	})["gate"]
	steps := ""
	for k, v := range out[1] {
		if out[0][k] != float32(moments[k]) {
			t.Errorf("Step %d comes at sample %g, and its clock at %d.", k, out[0][k], moments[k])
		}
		steps += map[float32]string{0: ".", 1: "x"}[v]
	}
	return steps
}

func TestEuclideanPatterns(t *testing.T) {
	// Reference page dsp 4.4, after G. Toussaint 2005: E(3,8) is the tresillo.
	for _, c := range []struct {
		beats, steps int
		want         string
	}{
		{3, 8, "x..x..x."}, {5, 8, "x.x.xx.x"}, {2, 5, "x..x."}, {4, 9, "x..x.x.x."}, {7, 16, "x..x.x.x..x.x.x."},
		{5, 12, "x..x.x..x.x."}, {7, 12, "x.x.x.xx.x.x"}, {1, 1, "x"}, {4, 4, "xxxx"}, {9, 4, "xxxx"},
	} {
		params := map[string]float64{"beats": float64(c.beats), "steps": float64(c.steps)}
		if got, want := pattern(t, 2*c.steps, params, nil), c.want+c.want; got != want {
			t.Errorf("E(%d,%d) twice round is %s, and dsp 4.4 has %s.", c.beats, c.steps, got, want)
		}
		for rotation := range c.steps {
			params["rotation"] = float64(rotation)
			want := c.want[rotation:] + c.want[:rotation]
			if got := pattern(t, c.steps, params, nil); got != want {
				t.Errorf("E(%d,%d) from step %d is %s, want %s.", c.beats, c.steps, rotation, got, want)
			}
			if rotation > 2 {
				break
			}
		}
	}
	// Toussaint prints the cinquillo E(5,8) as x.xx.xx., which is this rule's
	// pattern from its third step on.
	if got := pattern(t, 8, map[string]float64{"beats": 5, "steps": 8, "rotation": 2}, nil); got != "x.xx.xx." {
		t.Errorf("E(5,8) from step 2 is %s, and Toussaint prints x.xx.xx.", got)
	}
}

func TestEuclideanPatternMoves(t *testing.T) {
	// A pattern that is moved goes on from the step where it is, and from the
	// beginning where that step is gone.
	for _, c := range []struct {
		at   int
		want string
	}{{2, "x." + ".x." + "x..x."}, {6, "x..x.." + "x..x."}} {
		updates := map[int]map[string]float64{c.at: {"beats": 2, "steps": 5, "rotation": 0}}
		if got := pattern(t, len(c.want), map[string]float64{"beats": 3, "steps": 8}, updates); got != c.want {
			t.Errorf("E(3,8) that becomes E(2,5) at step %d is %s, want %s.", c.at, got, c.want)
		}
	}
}

func TestEuclideanPatternGate(t *testing.T) {
	// The end of a clock closes the gate and leads no step on.
	out := render(t, rendering{
		Block: "euclidean-pattern", Params: map[string]float64{"beats": 2, "steps": 4}, Frames: 96,
		Events: map[string]map[int][]event{"clock": {0: {{0, 1}, {5, 0}, {9, 1}, {20, 1}}}},
	})["gate"]
	if got, want := fmt.Sprint(out), "[[0 5 9 20] [1 0 0 1]]"; got != want {
		t.Errorf("The gate moves at %s, want %s: a beat, its end, a rest, a beat.", got, want)
	}
}
