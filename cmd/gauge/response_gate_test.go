package main

import (
	"fmt"
	"testing"
)

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
	t.Parallel()
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
	t.Parallel()
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
	t.Parallel()
	// The end of a clock closes the gate and leads no step on.
	out := render(t, rendering{
		Block: "euclidean-pattern", Params: map[string]float64{"beats": 2, "steps": 4}, Frames: 96,
		Events: map[string]map[int][]event{"clock": {0: {{0, 1}, {5, 0}, {9, 1}, {20, 1}}}},
	})["gate"]
	if got, want := fmt.Sprint(out), "[[0 5 9 20] [1 0 0 1]]"; got != want {
		t.Errorf("The gate moves at %s, want %s: a beat, its end, a rest, a beat.", got, want)
	}
}
