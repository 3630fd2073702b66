package estimator

import (
	"testing"

	"elbowroom/blocks"
)

// hop is work of some cycles, exactly.
func hop(every, offset, cycles float64) Hop {
	return Hop{Hop: blocks.Hop{Every: every, Offset: offset, Cycles: blocks.Exactly(cycles)}}
}

// Every pattern of hops is worked by hand: which of them fall into one block of
// 48 samples, in the worst block that the pattern has.
func TestWorstBlock(t *testing.T) {
	for _, tt := range []struct {
		name                string
		hops                []Hop
		block               int
		reachable, together float64
	}{
		{"no hops", nil, 48, 0, 0},
		{"one hop in every block", []Hop{hop(48, 0, 100)}, 48, 100, 100},
		{"one hop in four blocks", []Hop{hop(192, 0, 100)}, 48, 100, 100},
		{"three hops in a block", []Hop{hop(16, 0, 100)}, 48, 300, 300},
		{"one hop, or two where 32 divides the block badly", []Hop{hop(32, 0, 100)}, 48, 200, 200},
		{"hops of one grid fall together", []Hop{hop(96, 0, 100), hop(96, 0, 10)}, 48, 110, 110},
		{"half a hop apart they never meet", []Hop{hop(96, 0, 100), hop(96, 48, 10)}, 48, 100, 110},
		{"a sample before the block's end they still meet", []Hop{hop(96, 0, 100), hop(96, 47, 10)}, 48, 110, 110},
		{"twice as often they meet every other time", []Hop{hop(96, 0, 100), hop(192, 0, 10)}, 48, 110, 110},
		{"twice as often, and out of step", []Hop{hop(96, 48, 100), hop(192, 0, 10)}, 48, 100, 110},
		{"three spread over three blocks", []Hop{hop(144, 0, 100), hop(144, 48, 70), hop(144, 96, 40)}, 48, 100, 210},
		{"the dearest pair of three", []Hop{hop(144, 0, 100), hop(144, 48, 70), hop(144, 60, 40)}, 48, 110, 210},
		{"64 and 96 meet at 192 at the latest", []Hop{hop(64, 0, 100), hop(96, 0, 10)}, 48, 110, 110},
		{"an offset of whole hops changes nothing", []Hop{hop(96, 192, 100), hop(96, 0, 10)}, 48, 110, 110},
		{"blocks longer than the hop hold several of each", []Hop{hop(256, 0, 100), hop(512, 0, 10)}, 1024, 420, 420},
		{"blocks of one sample", []Hop{hop(4, 0, 100), hop(4, 2, 10)}, 1, 100, 110},
		{"a hop of a broken number of samples is taken at its worst", []Hop{hop(32.5, 0, 100)}, 48, 200, 200},
		{"two hops of a broken number of samples", []Hop{hop(96.5, 0, 100), hop(96.5, 48, 10)}, 48, 110, 110},
		{"a pattern longer than 4096 blocks is taken at its worst", []Hop{hop(4099, 0, 100), hop(4098, 1, 10)}, 48, 110, 110},
	} {
		_, reachable, together := worstBlock(tt.hops, tt.block)
		if reachable.Compute != blocks.Exactly(tt.reachable) || together.Compute != blocks.Exactly(tt.together) {
			t.Errorf("%s: at worst %g cycles fall into a block of %d and %g if all at once, want %g and %g",
				tt.name, reachable.Compute.Value, tt.block, together.Compute.Value, tt.reachable, tt.together)
		}
	}
}

// The band of the hops goes with them.
func TestCoincideKeepsTheBand(t *testing.T) {
	h := Hop{Hop: blocks.Hop{Every: 16, Cycles: blocks.Figure{Value: 100, Low: 50, High: 200}}}
	want := blocks.Figure{Value: 300, Low: 150, High: 600}
	if _, reachable, together := worstBlock([]Hop{h}, 48); reachable.Compute != want || together.Compute != want {
		t.Errorf("three hops of 100 between 50 and 200 are %v and %v, want %v", reachable, together, want)
	}
}

// Of two hops that never meet, the one that waits longer makes the worst block.
func TestHopsWaitForMemory(t *testing.T) {
	quick, slow := hop(96, 0, 100), hop(96, 48, 60)
	slow.Stalls = blocks.Exactly(50)
	at, reachable, together := worstBlock([]Hop{quick, slow}, 48)
	if at != 1 || reachable.Compute.Value != 60 || reachable.Stalls.Value != 50 {
		t.Errorf("in block %d hops take %g cycles and wait %g, want in block 1 60 and 50", at, reachable.Compute.Value, reachable.Stalls.Value)
	}
	if together.Compute.Value != 160 || together.Stalls.Value != 50 {
		t.Errorf("all at once they take %g cycles and wait %g, want 160 and 50", together.Compute.Value, together.Stalls.Value)
	}
}

func TestLeastCommonMultiple(t *testing.T) {
	for _, tt := range []struct{ a, b, divisor, multiple float64 }{
		{1, 7, 1, 7}, {48, 64, 16, 192}, {12, 18, 6, 36}, {96, 96, 96, 96}, {5, 4, 1, 20},
	} {
		if d, m := commonDivisor(tt.a, tt.b), leastCommonMultiple(tt.a, tt.b); d != tt.divisor || m != tt.multiple {
			t.Errorf("%g and %g have the divisor %g and the multiple %g, want %g and %g", tt.a, tt.b, d, m, tt.divisor, tt.multiple)
		}
	}
}
