package estimator_test

import "testing"

// A delay of exactly one block closes a loop without a cut, also where its
// length does not survive the way through seconds: 1001 samples at 8 kHz come
// to 1000.9999999999999.
func TestLoopOfExactlyOneBlock(t *testing.T) {
	const head = "board: m7-480-sdram\nsample_rate: 8 kHz\nblock_size: 1001\nnodes:\n  wind: {block: audio-in}\n"
	tests := []struct{ what, nodes string }{
		{"a node that feeds itself", "  echo: {block: delay, from: [wind, echo], time: 1001 samples}\n  horn: {block: audio-out, from: echo}\n"},
		{"a loop of two nodes", "  echo: {block: delay, from: [wind, fade], time: 1001 samples}\n  fade: {block: gain, from: echo}\n  horn: {block: audio-out, from: echo}\n"},
	}
	for _, tt := range tests {
		e := estimated(t, head+tt.nodes)
		if len(e.Schedule.Cuts) > 0 {
			t.Errorf("%s has %d wires cut, although its delay lasts a whole block", tt.what, len(e.Schedule.Cuts))
		}
		if len(e.Schedule.Split) != 1 {
			t.Errorf("%s runs %d delays in halves, want the one that closes it", tt.what, len(e.Schedule.Split))
		}
	}
}
