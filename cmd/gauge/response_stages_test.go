package main

import (
	"fmt"
	"math"
	"testing"
)

// stagesFrom computes a row of stages, as the kernel begins with it, at 1000
// periods a second: what stands behind each period.
func stagesFrom(stages, held, closed, periods int) []float64 {
	level, stage, left := 0.0, 0, 50
	open := true
	var levels []float64
	for n := range periods {
		if n == closed {
			open = false
			if stage < held && held < stages {
				stage, left = held, 50*(held+1)
			}
		}
		target := []float64{0.95, 0.55}[stage%2]
		if stage == stages-1 {
			target = 0
		}
		level = target + (level-target)*math.Exp(-math.Log(1000)/float64(50*(stage+1)))
		levels = append(levels, level)
		if left--; left == 0 {
			if stage+1 < stages && (stage+1 != held || !open) {
				stage++
			}
			left = 50 * (stage + 1)
		}
	}
	return levels
}

func TestMultiStageEnvelopeStages(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		stages, held, closed int
	}{
		{6, 3, 400},  // closes while the third is held
		{6, 3, 20},   // closes before: the rest of the held part is left out
		{4, 1, 1000}, // holds the first
		{5, 5, 30},   // runs through
		{3, 16, 30},  // a stage to hold that is not there
		{1, 1, 100},
		{16, 9, 2500},
	} {
		for _, approximate := range []bool{false, true} {
			const periods = 8000
			got := periodic(t, rendering{
				Block: "multi-stage-envelope", Approximate: approximate,
				Params: map[string]float64{"stages": float64(c.stages), "held": float64(c.held)},
				Events: map[string]map[int][]event{"gate": {0: {{0, 1}}, c.closed: {{0, 0}}}},
			}, make([]float32, periods))["out"][0]
			want := stagesFrom(c.stages, c.held, c.closed, periods)
			checkClose(t, fmt.Sprintf("A row of %d stages with stage %d held", c.stages, c.held), got,
				func(n int) float64 { return want[n] }, 2e-5, "its equation")
			if last := got[periods-1]; last != 0 {
				t.Errorf("A row of %d stages rests at %g, and silence is 0.", c.stages, last)
			}
		}
	}
}

func TestMultiStageEnvelopeTimes(t *testing.T) {
	t.Parallel()
	// 6.9078 time constants are -60 dB (dsp 4.4): at the end of its time a stage
	// has gone all of its way but a thousandth.
	got := periodic(t, rendering{
		Block: "multi-stage-envelope", Params: map[string]float64{"stages": 6, "held": 3},
		Events: map[string]map[int][]event{"gate": {0: {{0, 1}}}},
	}, make([]float32, 2000))["out"][0]
	from, end := 0.0, -1
	for stage, target := range []float64{0.95, 0.55, 0.95} {
		end += 50 * (stage + 1)
		want := target + (from-target)/1000
		if level := float64(got[end]); math.Abs(level-want) > 1e-5 {
			t.Errorf("After its time stage %d is at %.6f, want %.6f, a thousandth from its level.", stage+1, level, want)
		}
		from = want
	}
	if level := got[1999]; math.Abs(float64(level)-0.95) > 1e-5 {
		t.Errorf("While the gate stays open the third stage is held at %g, want 0.95.", level)
	}
}

func TestMultiStageEnvelopeGateOpensAgain(t *testing.T) {
	t.Parallel()
	got := periodic(t, rendering{
		Block:  "multi-stage-envelope",
		Events: map[string]map[int][]event{"gate": {0: {{0, 1}}, 310: {{0, 0}}, 340: {{0, 1}}}},
	}, make([]float32, 400))["out"][0]
	// One step of the first stage from the level where it was.
	c := math.Exp(-math.Log(1000) / 50)
	if want := 0.95*(1-c) + c*float64(got[339]); got[339] > 0.94 || math.Abs(float64(got[340])-want) > 1e-6 {
		t.Errorf("The gate opens again at %g and the next level is %g; the first stage takes it to %g.", got[339], got[340], want)
	}
}
