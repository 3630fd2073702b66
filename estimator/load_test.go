package estimator

import (
	"testing"

	"elbowroom/blocks"
)

// hop is work of some cycles, exactly.
func hop(every, offset, cycles float64) blocks.Hop {
	return blocks.Hop{Every: every, Offset: offset, Cycles: blocks.Exactly(cycles)}
}

// Every pattern of hops is worked by hand: which of them fall into one block of
// 48 samples, in the worst block that the pattern has.
func TestCoincide(t *testing.T) {
	for _, tt := range []struct {
		name                string
		hops                []blocks.Hop
		block               int
		reachable, together float64
	}{
		{"no hops", nil, 48, 0, 0},
		{"one hop in every block", []blocks.Hop{hop(48, 0, 100)}, 48, 100, 100},
		{"one hop in four blocks", []blocks.Hop{hop(192, 0, 100)}, 48, 100, 100},
		{"three hops in a block", []blocks.Hop{hop(16, 0, 100)}, 48, 300, 300},
		{"one hop, or two where 32 divides the block badly", []blocks.Hop{hop(32, 0, 100)}, 48, 200, 200},
		{"hops of one grid fall together", []blocks.Hop{hop(96, 0, 100), hop(96, 0, 10)}, 48, 110, 110},
		{"half a hop apart they never meet", []blocks.Hop{hop(96, 0, 100), hop(96, 48, 10)}, 48, 100, 110},
		{"a sample before the block's end they still meet", []blocks.Hop{hop(96, 0, 100), hop(96, 47, 10)}, 48, 110, 110},
		{"twice as often they meet every other time", []blocks.Hop{hop(96, 0, 100), hop(192, 0, 10)}, 48, 110, 110},
		{"twice as often, and out of step", []blocks.Hop{hop(96, 48, 100), hop(192, 0, 10)}, 48, 100, 110},
		{"three spread over three blocks", []blocks.Hop{hop(144, 0, 100), hop(144, 48, 70), hop(144, 96, 40)}, 48, 100, 210},
		{"the dearest pair of three", []blocks.Hop{hop(144, 0, 100), hop(144, 48, 70), hop(144, 60, 40)}, 48, 110, 210},
		{"64 and 96 meet at 192 at the latest", []blocks.Hop{hop(64, 0, 100), hop(96, 0, 10)}, 48, 110, 110},
		{"an offset of whole hops changes nothing", []blocks.Hop{hop(96, 192, 100), hop(96, 0, 10)}, 48, 110, 110},
		{"blocks longer than the hop hold several of each", []blocks.Hop{hop(256, 0, 100), hop(512, 0, 10)}, 1024, 420, 420},
		{"blocks of one sample", []blocks.Hop{hop(4, 0, 100), hop(4, 2, 10)}, 1, 100, 110},
		{"a hop of a broken number of samples is taken at its worst", []blocks.Hop{hop(32.5, 0, 100)}, 48, 200, 200},
		{"two hops of a broken number of samples", []blocks.Hop{hop(96.5, 0, 100), hop(96.5, 48, 10)}, 48, 110, 110},
		{"a pattern longer than 4096 blocks is taken at its worst", []blocks.Hop{hop(4099, 0, 100), hop(4098, 1, 10)}, 48, 110, 110},
	} {
		reachable, together := coincide(tt.hops, tt.block)
		if reachable != blocks.Exactly(tt.reachable) || together != blocks.Exactly(tt.together) {
			t.Errorf("%s: at worst %g cycles fall into a block of %d and %g if all at once, want %g and %g",
				tt.name, reachable.Value, tt.block, together.Value, tt.reachable, tt.together)
		}
	}
}

// The band of the hops goes with them.
func TestCoincideKeepsTheBand(t *testing.T) {
	h := blocks.Hop{Every: 16, Cycles: blocks.Figure{Value: 100, Low: 50, High: 200}}
	want := blocks.Figure{Value: 300, Low: 150, High: 600}
	if reachable, together := coincide([]blocks.Hop{h}, 48); reachable != want || together != want {
		t.Errorf("three hops of 100 between 50 and 200 are %v and %v, want %v", reachable, together, want)
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
