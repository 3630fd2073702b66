package estimator_test

import (
	"slices"
	"testing"
)

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

// Loops without a delay are cut where fewest buffers are kept, at wires that
// lead back in the file.
func TestCheapestCuts(t *testing.T) {
	const head = "board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  wind: {block: noise}\n"
	for _, tt := range []struct {
		name, nodes string
		cuts        []string
	}{
		{"one loop", `
  in:   {block: gain, from: [wind, back], gain: 0.5}
  out:  {block: gain, from: in}
  back: {block: gain, from: out}
  horn: {block: audio-out, from: out}`, []string{"back>in"}},
		// Both loops pass the wire from far to near, and each one of its own beside.
		{"two loops with a wire in common", `
  near:  {block: gain, from: [wind, far], gain: 0.5}
  left:  {block: gain, from: near}
  right: {block: one-pole, from: near}
  far:   {block: gain, from: [left, right]}
  horn:  {block: audio-out, from: far}`, []string{"far>near"}},
		// Cutting either leaves the loop through the other.
		{"two loops back to one place", `
  in:   {block: gain, from: [wind, wide, thin], gain: 0.3}
  wide: {block: gain, from: in}
  thin: {block: one-pole, from: in}
  horn: {block: audio-out, from: wide}`, []string{"thin>in", "wide>in"}},
		// Two wires of one loop lead back: the wider first, and the wider last.
		{"one channel into the first", `
  first:  {block: gain, from: [wind, second], gain: 0.5}
  second: {block: mix, from: third}
  third:  {block: pan, from: first}
  horn:   {block: audio-out, from: third}`, []string{"second>first"}},
		{"two channels into the first", `
  first:  {block: mix, from: second}
  second: {block: pan, from: third}
  third:  {block: gain, from: [wind, first], gain: 0.5}
  horn:   {block: audio-out, from: second}`, []string{"third>second"}},
	} {
		e := estimated(t, head+tt.nodes[1:]+"\n")
		var cuts []string
		for _, c := range e.Schedule.Cuts {
			cuts = append(cuts, e.Graph.Nodes[c.From.Node].Name+">"+e.Graph.Nodes[c.To].Name)
		}
		slices.Sort(cuts)
		if !slices.Equal(cuts, tt.cuts) {
			t.Errorf("%s: it is cut at %v, and by hand at %v", tt.name, cuts, tt.cuts)
		}
	}
}
