package main

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// edges renders a block of events alone and gives what its gate does as
// moment:value.
func edges(t *testing.T, r rendering) []string {
	t.Helper()
	var list []string
	gate := render(t, r)["gate"]
	for k := range gate[0] {
		list = append(list, fmt.Sprintf("%g:%g", gate[0][k], gate[1][k]))
	}
	return list
}

func TestLogicTruthTables(t *testing.T) {
	t.Parallel()
	for operation, truth := range map[string]func(a, b bool) bool{
		"and":  func(a, b bool) bool { return a && b },
		"or":   func(a, b bool) bool { return a || b },
		"xor":  func(a, b bool) bool { return a != b },
		"nand": func(a, b bool) bool { return !(a && b) },
		"nor":  func(a, b bool) bool { return !(a || b) },
		"xnor": func(a, b bool) bool { return a == b },
	} {
		// In each block one of the gates moves, or none.
		random := rand.New(rand.NewPCG(1, 7))
		a, b := map[int][]event{}, map[int][]event{}
		var gates [2]bool
		var want []string
		open := truth(false, false)
		for block := range 200 {
			moment, gate := random.IntN(48), random.IntN(2)
			gates[gate] = random.IntN(2) == 1
			value := uint32(0)
			if gates[gate] {
				value = 1
			}
			[]map[int][]event{a, b}[gate][block] = []event{{uint32(moment), value}}
			if now := truth(gates[0], gates[1]); now != open {
				open = now
				want = append(want, fmt.Sprintf("%d:%d", 48*block+moment, map[bool]int{true: 1}[open]))
			}
		}
		got := edges(t, rendering{
			Block: "logic", Choices: map[string]string{"operation": operation}, Frames: 200 * 48,
			Events: map[string]map[int][]event{"a": a, "b": b},
		})
		if len(want) < 20 || !slices.Equal(got, want) {
			t.Errorf("The output of %s moves at %v, and its truth table moves it at %v.", operation, got, want)
		}
	}
}

func TestLogicWithinABlock(t *testing.T) {
	t.Parallel()
	// The events of a come first, and none is sent before another: b, which opens
	// at sample 10, opens the output where a did, at sample 20. In the next block
	// moments begin anew.
	got := edges(t, rendering{
		Block: "logic", Frames: 96,
		Events: map[string]map[int][]event{"a": {0: {{20, 1}}}, "b": {0: {{10, 1}}, 1: {{3, 0}}}},
	})
	if want := []string{"20:1", "51:0"}; !slices.Equal(got, want) {
		t.Errorf("The output moves at %v, want %v.", got, want)
	}
}

func TestTriggerToGate(t *testing.T) {
	t.Parallel()
	triggers := func(moments ...int) map[string]map[int][]event {
		return map[string]map[int][]event{"trigger": clocked(moments...)["clock"]}
	}
	for _, c := range []struct {
		what   string
		length float64 // samples
		at     []int
		want   []string
	}{
		{"A gate of 100 samples", 100, []int{5, 300}, []string{"5:1", "105:0", "300:1", "400:0"}},
		{"A gate that ends with a block", 96, []int{48}, []string{"48:1", "144:0"}},
		{"A gate within a block", 10, []int{50, 70}, []string{"50:1", "60:0", "70:1", "80:0"}},
		{"A trigger at an open gate", 100, []int{5, 60}, []string{"5:1", "60:0", "60:1", "160:0"}},
		{"A trigger where the gate ends", 55, []int{5, 60}, []string{"5:1", "60:0", "60:1", "115:0"}},
	} {
		got := edges(t, rendering{
			Block: "trigger-to-gate", Params: map[string]float64{"length": c.length / 48000}, Frames: 480, Events: triggers(c.at...),
		})
		if !slices.Equal(got, c.want) {
			t.Errorf("%s, with triggers at %v, moves at %v, want %v.", c.what, c.at, got, c.want)
		}
	}
	// The end of a clock opens nothing, and the shortest gate is one sample.
	got := edges(t, rendering{
		Block: "trigger-to-gate", Params: map[string]float64{"length": 1e-4}, Rate: 2000, Frames: 96,
		Events: map[string]map[int][]event{"trigger": {0: {{7, 0}, {9, 1}}}},
	})
	if want := []string{"9:1", "10:0"}; !slices.Equal(got, want) {
		t.Errorf("A gate of a fifth of a sample moves at %v, want %v.", got, want)
	}
}

func TestTriggerToGateMoves(t *testing.T) {
	t.Parallel()
	got := edges(t, rendering{
		Block: "trigger-to-gate", Params: map[string]float64{"length": 60.0 / 48000}, Frames: 480,
		Events:  map[string]map[int][]event{"trigger": clocked(0, 200)["clock"]},
		Updates: map[string]map[int]map[string]float64{"length": {1: {"length": 20.0 / 48000}}},
	})
	// The gate that is open keeps its length; the next has the new one.
	if want := []string{"0:1", "60:0", "200:1", "220:0"}; !slices.Equal(got, want) {
		t.Errorf("With a length that falls from 60 to 20 samples the gate moves at %v, want %v.", got, want)
	}
}
