package ask_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

func split(t *testing.T, e *estimator.Estimate, a, b string) *ask.Split {
	t.Helper()
	s, err := ask.SplitOver(e, [2]string{a, b})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// jacksIn counts the jacks of a graph that take something in from a cable.
func jacksIn(e *estimator.Estimate) int {
	sum := 0
	for _, j := range e.Jacks {
		if strings.HasSuffix(j.Name, "_in") {
			sum += j.Used
		}
	}
	return sum
}

// busier is the load of the board that is loaded more.
func busier(sides []ask.Side) float64 {
	load := 0.0
	for _, s := range sides {
		cpu := s.After.Resource("cpu")
		load = max(load, cpu.Share())
	}
	return load
}

// someGraph is a small graph drawn at random, with a loop now and then, whose
// lines and reverberators fill a small board.
func someGraph(r *rand.Rand) string {
	var text strings.Builder
	text.WriteString("board: m4f-100-128k\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  turn: {block: knob}\n  wind: {block: noise}\n")
	names := []string{"wind"}
	for i := range 3 + r.IntN(2) {
		name, from := fmt.Sprintf("n%d", i), names[r.IntN(len(names))]
		switch r.IntN(5) {
		case 0:
			fmt.Fprintf(&text, "  %s: {block: delay, from: %s, time: %d ms}\n", name, from, 100+r.IntN(450))
		case 1:
			fmt.Fprintf(&text, "  %s: {block: delay, from: [%s, back%d], time: %d ms}\n  back%d: {block: gain, from: %s, gain: 0.5}\n", name, from, i, 100+r.IntN(450), i, name)
		case 2:
			fmt.Fprintf(&text, "  %s: {block: four-comb-reverb, from: %s}\n", name, from)
		case 3:
			fmt.Fprintf(&text, "  %s: {block: gain, from: %s, gain: {from: turn, span: 0..1}}\n", name, from)
		default:
			fmt.Fprintf(&text, "  %s: {block: ladder, from: %s}\n", name, from)
		}
		names = append(names, name)
	}
	fmt.Fprintf(&text, "  out: {block: audio-out, from: [%s]}\n", strings.Join(names[1:], ", "))
	return text.String()
}

// Of all cuts there are, the one told has fewest cables and then least load on
// the busier board; and where none is told, none holds.
func TestSplitAgainstAllCuts(t *testing.T) {
	graphs := 16
	if testing.Short() {
		graphs = 6
	}
	found, none := 0, 0
	for seed := range graphs {
		text := someGraph(rand.New(rand.NewPCG(uint64(seed), 7)))
		e := estimated(t, "drawn.yaml", text)
		boards := [2]string{"m4f-100-128k", []string{"m4f-100-128k", "m0plus-133-264k"}[seed%2]}
		fewest, least := math.MaxInt, math.Inf(1)
		err := ask.Cuts(e, boards, func(sides [2]ask.Side, holds bool) {
			cables := jacksIn(sides[0].After) + jacksIn(sides[1].After) - jacksIn(e)
			if load := busier(sides[:]); holds && (cables < fewest || cables == fewest && load < least) {
				fewest, least = cables, load
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		s := split(t, e, boards[0], boards[1])
		if !s.Proven {
			t.Errorf("the cut of a graph this small is not proven:\n%s", text)
		}
		if s.Found != (fewest < math.MaxInt) {
			t.Errorf("a cut is found: %v, and of all there are %v holds:\n%s", s.Found, fewest < math.MaxInt, text)
			continue
		}
		if !s.Found {
			none++
			continue
		}
		found++
		if load := busier(s.Sides); s.Jacks != fewest || s.Fewest != fewest || math.Abs(load-least) > 1e-12 {
			t.Errorf("the cut has %d cables (at least %d are needed) and a load of %v, the best of all %d and %v:\n%s", s.Jacks, s.Fewest, load, fewest, least, text)
		}
	}
	if found == 0 || none == 0 && !testing.Short() {
		t.Errorf("of the graphs drawn %d can be cut and %d cannot: both kinds were wanted", found, none)
	}
}

// The sides are what a person would write who split the storm machine by hand,
// and the time is that of the converters in the boards' files, 21 samples out and
// 18 in, and a block of 48 on either side.
func TestSplitByHand(t *testing.T) {
	const head = "board: %s\nsample_rate: 48 kHz\nblock_size: 48\ntempo: 60..140 bpm\nreserve: {cpu: 20%%, memory: 5%%}\nnodes:\n"
	text, err := os.ReadFile("../../testdata/graphs/good/storm-machine.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s := split(t, estimated(t, "storm.yaml", string(text)), "m7-300-384k", "m4f-168-192k")
	if !s.Found || !s.Proven || s.Jacks != 1 || s.Later != 21+18+2*48 {
		t.Fatalf("the storm machine needs %d cables and comes %v samples later (found %v, proven %v), want 1 and 135", s.Jacks, s.Later, s.Found, s.Proven)
	}
	for k, hand := range []string{`
  wind:    {block: noise, colour: pink}
  howl:    {block: state-variable, from: wind, cutoff: {from: crank, span: 200 Hz..4 kHz, curve: exponential}}
  echo:    {block: delay, from: howl, time: 3/8, interpolation: linear}
  crank:   {block: knob}
  send:    {block: audio-out, from: echo}
`, `
  echo:    {block: audio-in, channels: 1}
  cave:    {block: plate-reverb, from: echo, decay: 3 s, importance: 3}
  speaker: {block: audio-out, from: cave}
`} {
		want := estimated(t, "hand.yaml", fmt.Sprintf(head, s.Boards[k])+hand)
		for _, r := range want.Resources {
			if got := s.Sides[k].After.Resource(r.Name); got.Used != r.Used || got.Limit != r.Limit {
				t.Errorf("%s of %s takes %v of %v, and written by hand %v of %v", r.Name, s.Boards[k], got.Used, got.Limit, r.Used, r.Limit)
			}
		}
	}
}

// What the edits write into the file is what was estimated.
func TestSplitWritesItsSides(t *testing.T) {
	for name, e := range good(t) {
		s := split(t, e, "m7-480-sdram", "m4f-168-192k")
		for _, side := range s.Sides {
			file, err := e.Graph.File.Edit(side.Edits...)
			if err != nil {
				t.Errorf("%s: the side of %s cannot be written: %v", name, side.Board, err)
				continue
			}
			if strings.Contains(file.Text(), ".yaml") {
				continue // it names further files
			}
			again := estimated(t, "side.yaml", file.Text())
			for _, r := range again.Resources {
				if was := side.After.Resource(r.Name); was.Used != r.Used {
					t.Errorf("%s: %s of %s takes %v as written, and %v was told", name, r.Name, side.Board, r.Used, was.Used)
				}
			}
		}
	}
}

// What crosses: one cable where one channel is read, all where the wire is; a
// loop that is cut is told; events that no jack carries hold their readers.
func TestSplitSends(t *testing.T) {
	const head = "board: m4f-100-128k\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n"
	// Two lines of 500 ms, 96000 B each, of which a board of 128 KiB holds one.
	for _, tt := range []struct {
		name, nodes string
		cables      int
		sends       []ask.Send
		tied        []string
	}{
		{"one channel of two", `
  in: {block: audio-in, channels: 2}
  a: {block: delay, from: in.left, time: 500 ms}
  b: {block: delay, from: in.left, time: 500 ms}
  led: {block: audio-out, from: [a, b]}
`, 2, nil, nil}, // in.left to the one line, and from it back
		{"both channels, each read alone", `
  in: {block: audio-in, channels: 2}
  wide: {block: delay, from: in, time: 250 ms}
  a: {block: delay, from: wide.left, time: 250 ms}
  b: {block: delay, from: wide.right, time: 250 ms}
  out: {block: audio-out, from: [a, b]}
`, 2, []ask.Send{{Output: "wide", Kind: blocks.Audio, Jacks: 2, Samples: 135, To: []string{"a", "b"}}}, nil},
		{"a loop", `
  wind: {block: noise}
  a: {block: delay, from: [wind, b], time: 500 ms}
  b: {block: delay, from: a, time: 500 ms}
  out: {block: audio-out, from: a}
`, 2, []ask.Send{
			{Output: "b", From: 1, Kind: blocks.Audio, Jacks: 1, Samples: 135, Loop: true, To: []string{"a"}},
			{Output: "a", Kind: blocks.Audio, Jacks: 1, Samples: 135, Loop: true, To: []string{"b", "out"}},
		}, nil},
		{"a clock too fast for a jack", `
  tick: {block: gate-in, rate: 6 kHz}
  lamp: {block: clock-divider, from: tick, division: 2}
  a: {block: delay, from: wind, time: 500 ms}
  b: {block: delay, from: wind, time: 500 ms}
  wind: {block: noise}
  out: {block: audio-out, from: [a, b]}
`, 2, nil, []string{"tick"}},
	} {
		s := split(t, estimated(t, "sends.yaml", head+tt.nodes[1:]), "m4f-100-128k", "m4f-100-128k")
		if !s.Found || !s.Proven || s.Jacks != tt.cables {
			t.Errorf("%s: a cut is found: %v, proven: %v, with %d cables, want %d", tt.name, s.Found, s.Proven, s.Jacks, tt.cables)
		}
		var tied []string
		for _, r := range s.Tied {
			tied = append(tied, r.Name)
		}
		if !slices.Equal(tied, tt.tied) {
			t.Errorf("%s: %v cannot cross, want %v", tt.name, tied, tt.tied)
		}
		for i, want := range tt.sends {
			if i >= len(s.Sends) {
				t.Errorf("%s: %s does not cross", tt.name, want.Output)
				continue
			}
			got := s.Sends[i]
			if got.Output != want.Output || got.Kind != want.Kind || got.Jacks != want.Jacks || got.Samples != want.Samples || got.Loop != want.Loop || !slices.Equal(got.To, want.To) {
				t.Errorf("%s: what crosses is %+v, want %+v", tt.name, got, want)
			}
		}
	}
}
