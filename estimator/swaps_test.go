package estimator_test

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// onSmallBoard is a graph on a board of 128 KiB and no float64, with the nodes
// given.
func onSmallBoard(nodes string) string {
	return "board: m4f-100-128k\nsample_rate: 48 kHz\nblock_size: 48\ntempo: 60..120 bpm\nnodes:\n" + nodes
}

// swap finds the swap of a node that writes something, or fails.
func swap(t *testing.T, e *estimator.Estimate, node, change string) estimator.Swap {
	t.Helper()
	swaps, err := e.Swaps()
	if err != nil {
		t.Fatal(err)
	}
	var seen []string
	for _, s := range swaps {
		written := e.Graph.Nodes[s.Node].Name + ": " + s.Change
		if written == node+": "+change {
			return s
		}
		seen = append(seen, written)
	}
	t.Fatalf("no swap writes '%s: %s', only\n%s", node, change, strings.Join(seen, "\n"))
	return estimator.Swap{}
}

const longEcho = "  in: {block: audio-in}\n  echo: {block: delay, from: in, time: 1 s, importance: 2}\n  out: {block: audio-out, from: echo}\n"

// One second of float32 at 48 kHz is 192000 bytes, of int16 half of that. The
// loss is what the curve of hearing.yaml gives for 98.09 dB after 146 dB, times
// the importance.
func TestSwapOfFormat(t *testing.T) {
	e := estimated(t, onSmallBoard(longEcho))
	if e.Verdict != estimator.Over {
		t.Fatalf("192000 bytes of 131072 are %v, want over", e.Verdict)
	}
	s := swap(t, e, "echo", "format: int16")
	if s.Memory != 96000 {
		t.Errorf("int16 saves %d bytes, want 96000: half of 1 s x 48000 Hz x 4 B", s.Memory)
	}
	if s.Verdict != estimator.Fits {
		t.Errorf("96000 bytes of 131072 less 5 %% are %v, want fits", s.Verdict)
	}
	metric := s.Effects[0].Metric
	if want := 2 * metric.Loss(blocks.Reading{Value: 146}, blocks.Reading{Value: 98.09}); len(s.Effects) != 1 || math.Abs(s.Loss-want) > 1e-9 {
		t.Errorf("the swap has %d effects and loses %g points, want the one of %s and twice %g", len(s.Effects), s.Loss, metric.Name, want/2)
	}
}

// What a swap promises is what the graph gives when it is written down.
func TestSwapsKeepTheirPromise(t *testing.T) {
	for _, tt := range []struct{ node, change, old, written string }{
		{"echo", "format: int16", "time: 1 s", "time: 1 s, format: int16"},
		{"echo", "time: 0.75 s", "time: 1 s", "time: 0.75 s"},
		{"echo", "time: 0.5 s", "time: 1 s", "time: 0.5 s"},
	} {
		text := onSmallBoard(longEcho)
		before := estimated(t, text)
		s := swap(t, before, tt.node, tt.change)
		after := estimated(t, strings.Replace(text, tt.old, tt.written, 1))
		if after.Verdict != s.Verdict {
			t.Errorf("%s promises %v, and written down it is %v", tt.change, s.Verdict, after.Verdict)
		}
		if saved := dataBytes(before) - dataBytes(after); saved != s.Memory {
			t.Errorf("%s promises %d bytes, and written down it saves %d", tt.change, s.Memory, saved)
		}
		if saved := before.CPU.Worst.Total().Value - after.CPU.Worst.Total().Value; math.Abs(saved-s.Cycles) > 1e-6 {
			t.Errorf("%s promises %g cycles, and written down it saves %g", tt.change, s.Cycles, saved)
		}
	}
}

func dataBytes(e *estimator.Estimate) blocks.Bytes {
	var sum blocks.Bytes
	for i := range e.Banks {
		if !e.Graph.Board.Banks[i].Kind.Constant() {
			sum += e.Banks[i].Used
		}
	}
	return sum
}

// A note value stays a note value: 1/2 by three quarters is 3/8, by a half 1/4.
func TestSwapOfNoteValue(t *testing.T) {
	e := estimated(t, onSmallBoard(strings.Replace(longEcho, "1 s", "1/2", 1)))
	for change, share := range map[string]float64{"time: 3/8": 0.25, "time: 1/4": 0.5} {
		s := swap(t, e, "echo", change)
		// Half a whole note at the slowest 60 bpm is 2 s.
		if want := blocks.Bytes(2 * 48000 * 4 * share); s.Memory != want {
			t.Errorf("%s saves %d bytes, want %d of 2 s x 48000 Hz x 4 B", change, s.Memory, want)
		}
	}
}

// What cannot stand in is not offered.
func TestSwapsThatDoNotFitIn(t *testing.T) {
	for _, tt := range []struct {
		name, nodes, never string
		want               string // a change that is still offered; "": none needed
	}{
		{"a node that is kept", strings.Replace(longEcho, "importance: 2", "keep: true", 1), "", ""},
		{
			"a stereo channel that is read elsewhere",
			"  in: {block: audio-in}\n  cave: {block: plate-reverb, from: in, decay: 4 s}\n  out: {block: audio-out, from: cave.right}\n",
			"block: four-comb-reverb", "format: int16",
		},
		{
			"a moved parameter that the stand-in has not",
			"  in: {block: audio-in}\n  turn: {block: knob}\n  cave: {block: plate-reverb, from: in, decay: {from: turn, span: 1 s..4 s}}\n  echo: {block: delay, from: cave.left, time: 1 s}\n  out: {block: audio-out, from: echo}\n",
			"decay: ", "format: int16",
		},
	} {
		e := estimated(t, onSmallBoard(tt.nodes))
		swaps, err := e.Swaps()
		if err != nil {
			t.Fatal(err)
		}
		offered := false
		for _, s := range swaps {
			if tt.never == "" || strings.HasPrefix(s.Change, tt.never) {
				t.Errorf("%s: '%s' is offered for %s", tt.name, s.Change, e.Graph.Nodes[s.Node].Name)
			}
			offered = offered || s.Change == tt.want
		}
		if tt.want != "" && !offered {
			t.Errorf("%s: '%s' is not offered", tt.name, tt.want)
		}
	}
}

// Most relief for the least loss stands first, and a graph that fits gets none.
func TestSwapsInOrder(t *testing.T) {
	e := estimated(t, onSmallBoard(longEcho))
	swaps, err := e.Swaps()
	if err != nil {
		t.Fatal(err)
	}
	if len(swaps) < 3 {
		t.Fatalf("%d swaps are offered, want at least the format and two times", len(swaps))
	}
	for i := 1; i < len(swaps); i++ {
		a, b := swaps[i-1], swaps[i]
		if a.Relief/(a.Loss+1) < b.Relief/(b.Loss+1) {
			t.Errorf("'%s' (relief %g, loss %g) stands before '%s' (relief %g, loss %g)", a.Change, a.Relief, a.Loss, b.Change, b.Relief, b.Loss)
		}
	}
	fitting := estimated(t, onSmallBoard(strings.Replace(longEcho, "1 s", "100 ms", 1)))
	if swaps, err := fitting.Swaps(); err != nil || len(swaps) > 0 {
		t.Errorf("a graph that fits is offered %d swaps (%v)", len(swaps), err)
	}
}

// A stereo reverb that gives way to a mono one loses its width, which the
// catalog judges at 12 points.
func TestSwapOfWidth(t *testing.T) {
	e := estimated(t, onSmallBoard("  in: {block: audio-in}\n  cave: {block: plate-reverb, from: in, decay: 2 s}\n  out: {block: audio-out, from: cave}\n"))
	s := swap(t, e, "cave", "block: four-comb-reverb")
	for _, f := range s.Effects {
		if f.Metric.Name == "width" {
			if f.Before.Value != 2 || f.After.Value != 1 || f.Points != 12 {
				t.Errorf("the width goes from %g to %g channels for %g points, want from 2 to 1 for 12", f.Before.Value, f.After.Value, f.Points)
			}
			return
		}
	}
	t.Errorf("the swap of a stereo reverb for a mono one tells nothing of its width")
}

// A stand-in with two channels is not offered where its channels would move a
// parameter, which takes one.
func TestSwapThatMovesAParameterByTwoChannels(t *testing.T) {
	const reed = `block: reed
family: shape
role: reed
title: Reed
about: A reed that works far too hard, for a test.
equation: y[n] = 5000 x[n]
inputs:
  in: {kind: audio, channels: 1}
outputs:
  out: {kind: audio, channels: 1}
params: {}
state: {bytes: word, source: counted}
operations:
  sample: {mul: 5000, loop: 1}
  source: counted
metrics: {}
substitutes:
  - {block: pan, heard: the wind in place of the reed}
sources:
  counted: made up for this test
`
	file := filepath.Join(t.TempDir(), "graph.yaml")
	if err := os.WriteFile(filepath.Join(filepath.Dir(file), "reed.yaml"), []byte(reed), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		what, horn string
		offered    bool
	}{
		{"feeds a node", "{block: gain, from: reed}", true},
		{"moves a parameter", "{block: gain, from: wind, gain: {from: reed, span: 0 dB..6 dB}}", false},
	} {
		g, errs := read(t, source.NewFile(file, []byte("catalog: [reed.yaml]\n"+onSmallBoard("  wind: {block: noise}\n  reed: {block: reed, from: wind}\n  horn: "+tt.horn+"\n  out: {block: audio-out, from: horn}\n"))))
		if g == nil {
			t.Fatal(errs.Err())
		}
		e, err := g.Estimate()
		if err != nil {
			t.Fatal(err)
		}
		swaps, err := e.Swaps()
		if err != nil {
			t.Fatal(err)
		}
		offered := slices.ContainsFunc(swaps, func(s estimator.Swap) bool { return s.Change == "block: pan" })
		if offered != tt.offered {
			t.Errorf("where the reed %s, that a stand-in of two channels is offered is %v", tt.what, offered)
		}
	}
}

// What is heard of a swap follows the figures: a number that nothing hears is said
// to be unheard, and one that is halved twice is said to be.
func TestSwapsSayWhatIsHeard(t *testing.T) {
	heard := func(params, change string) string {
		e := estimated(t, "board: m0plus-48-32k\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  rain: {block: "+params+"}\n  in: {block: audio-in}\n  out: {block: audio-out, from: rain}\n")
		swaps, err := e.Alternatives(0, 2, 24)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range swaps {
			if s.Change == change {
				return s.Heard
			}
		}
		return "there is no such swap"
	}
	// 40 grains a second of 80 ms are 3.2 at once: of eight, four were never in use.
	const nothing = "nothing that any figure of what it gives the ear would tell"
	if got := heard("granular-player, time: 1 s, grains: 8", "grains: 4"); got != nothing {
		t.Errorf("half of eight grains is said to be '%s', want '%s'", got, nothing)
	}
	const cloud = "a cloud of half the grains; single ones stand out"
	if got := heard("granular-player, time: 1 s, grains: 4", "grains: 2"); got != cloud {
		t.Errorf("half of four grains is said to be '%s', want '%s'", got, cloud)
	}
	const often = "echoes that come twice as often, and that again"
	if got := heard("delay, from: in, time: 400 ms", "time: 100 ms"); got != often {
		t.Errorf("a quarter of a delay is said to be '%s', want '%s'", got, often)
	}
}

// A swap that takes from one bank what it then needs of another is no help: two
// lines in two banks that are both too small are not mended by one line, longer
// than both, in either.
func TestSwapsDoNotMoveTheLack(t *testing.T) {
	e := estimated(t, `board: m4f-168-192k
sample_rate: 48 kHz
block_size: 48
tempo: 60 bpm
nodes:
  in:   {block: audio-in, channels: 2}
  echo: {block: cross-fed-delay, from: in, time_left: 3/8, time_right: 1/4}
  out:  {block: audio-out, from: echo}
`)
	lack := func(e *estimator.Estimate) float64 {
		sum := 0.0
		for _, r := range e.Resources {
			if r.Kind == estimator.MemoryResource {
				sum += max(0, r.Used.Value-r.Limit)
			}
		}
		return sum
	}
	swaps, err := e.Swaps()
	if err != nil {
		t.Fatal(err)
	}
	if len(swaps) == 0 {
		t.Fatal("no swap helps a graph whose lines could be shorter")
	}
	for _, s := range swaps {
		if before, after := lack(e), lack(s.After); after >= before {
			t.Errorf("'%s' is offered, with which the banks lack %g B, and %g B without", s.Change, after, before)
		}
	}
}

// Cycles are weighed against the budget of the block that they are taken in: work
// that falls due once in 256 samples takes a smaller share of a longer block, though
// more cycles past its budget may be lacking.
func TestReliefByALongerBlock(t *testing.T) {
	e := estimated(t, `board: m4f-180-sdram
sample_rate: 44.1 kHz
block_size: 64
nodes:
  clock:  {block: gate-in}
  in:     {block: audio-in}
  frozen: {block: spectral-freeze, from: {in: in, hold: clock}}
  near:   {block: plate-reverb, from: frozen}
  far:    {block: plate-reverb, from: frozen}
  vault:  {block: plate-reverb, from: frozen}
  well:   {block: plate-reverb, from: frozen}
  cellar: {block: plate-reverb, from: frozen}
  nave:   {block: plate-reverb, from: frozen}
  tower:  {block: plate-reverb, from: frozen}
  out:    {block: audio-out, from: [near, far, vault, well, cellar, nave, tower]}
`)
	g, err := e.Graph.With(source.Edit{Path: []string{"block_size"}, Text: "256"})
	if err != nil {
		t.Fatal(err)
	}
	longer := estimate(t, g)
	before, after := e.Resource("cpu"), longer.Resource("cpu")
	want := before.Used.High/before.Limit - after.Used.High/after.Limit
	if before.Used.High <= before.Limit || after.Used.High <= after.Limit || want <= 0 {
		t.Fatalf("the test needs a graph that is over at both lengths, less at the longer: %+v, %+v", before, after)
	}
	if lacks, lacked := after.Used.High-after.Limit, before.Used.High-before.Limit; lacks <= lacked {
		t.Fatalf("the test needs a graph that lacks more cycles of the longer block, and it lacks %g after %g", lacks, lacked)
	}
	if got := estimator.Relief(e, longer, estimator.OfBoard); math.Abs(got-want) > 1e-9 {
		t.Errorf("a longer block is said to relieve by %g of a block, want %g", got, want)
	}
}
