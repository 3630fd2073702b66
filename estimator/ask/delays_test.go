package ask_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// empty is a board with nothing on it.
func empty(t *testing.T, board string) *estimator.Estimate {
	t.Helper()
	return estimated(t, "empty.yaml", "board: "+board+"\nsample_rate: 48 kHz\nblock_size: 48\nnodes: {nothing: {block: own-code, outputs: {out: audio}}}\n")
}

func delays(t *testing.T, e *estimator.Estimate, q ask.DelayQuestion) *ask.DelayAnswer {
	t.Helper()
	a, err := ask.Delays(t.Context(), e, q)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Bytes are ceil(rate x seconds) x bytes a sample x channels, worked by hand.
func TestBytesOfDelays(t *testing.T) {
	slow := blocks.Span{Low: 60, High: 140}
	notes := func(text string, bpm float64) ask.Length {
		l, err := ask.Notes([]string{text}, blocks.Span{Low: bpm, High: 140})
		if err != nil {
			t.Fatal(err)
		}
		return l[0]
	}
	e := empty(t, "m7-480-sdram")
	for _, tt := range []struct {
		length  ask.Length
		line    ask.Line
		samples int
		want    blocks.Bytes
		by      string
	}{
		{ask.Length{Seconds: 1}, ask.Line{"float32", 1, 48000}, 48000, 192000, "48000 x 1 x 4"},
		{ask.Length{Seconds: 1}, ask.Line{"int16", 1, 48000}, 48000, 96000, "48000 x 1 x 2"},
		{ask.Length{Seconds: 0.35}, ask.Line{"float32", 2, 44100}, 15435, 123480, "ceil(44100 x 0.35) = 15435, x 4 x 2"},
		{ask.Length{Seconds: 0.0101}, ask.Line{"int16", 1, 44100}, 446, 892, "ceil(445.41) = 446, x 2"},
		{notes("3/8", 60), ask.Line{"float32", 1, 48000}, 72000, 288000, "3/8 at 60 bpm = 1500 ms = 72000 samples (reference page dsp 5.2), x 4"},
		{notes("1/8 dotted", 72), ask.Line{"float32", 1, 48000}, 30000, 120000, "a dotted eighth at 72 bpm = 625 ms (dsp 5.2), 48000 x 0.625 = 30000, x 4"},
		{notes("1/8 triplet", 90), ask.Line{"int16", 1, 48000}, 10667, 21334, "an eighth triplet at 90 bpm = 222.2222 ms (dsp 5.2), ceil(10666.67) = 10667, x 2"},
		{ask.Divisions(1, []int{3})[0], ask.Line{"float32", 1, 48000}, 16000, 64000, "a clock of 1000 ms by 3 = 333.333 ms (dsp 5.2), 48000 / 3 = 16000, x 4"},
		{ask.Divisions(1, []int{16})[0], ask.Line{"float32", 1, 96000}, 6000, 24000, "a clock of 1000 ms by 16 = 62.5 ms (dsp 5.2), 96000 x 0.0625 = 6000, x 4"},
	} {
		h := delays(t, e, ask.DelayQuestion{Lengths: []ask.Length{tt.length}, Lines: []ask.Line{tt.line}, Tempo: slow}).Held[0]
		if h.Bytes != tt.want || h.Samples != tt.samples {
			t.Errorf("%g s of %v take %d bytes in %d samples, want %d in %d (%s; refused: '%s')",
				tt.length.Seconds, tt.line, h.Bytes, h.Samples, tt.want, tt.samples, tt.by, h.Refusal)
		}
	}
}

// What stays free of a bank is what was free less the line, and below zero what
// is missing; a bank that is not cached and costs nothing lets nobody wait.
func TestRoomOfDelays(t *testing.T) {
	e := empty(t, "m4f-100-128k")
	half, more := ask.Length{Seconds: 0.5}, ask.Length{Seconds: 0.6}
	a := delays(t, e, ask.DelayQuestion{Lengths: []ask.Length{half, more, {Seconds: 1}}, Lines: []ask.Line{{"float32", 1, 48000}}})
	if len(a.Banks) != 1 || a.Banks[0] != "sram" {
		t.Fatalf("the banks for data are %v, want sram alone", a.Banks)
	}
	short, long, over := a.Held[0].Rooms[0], a.Held[1].Rooms[0], a.Held[2].Rooms[0]
	// 0.1 s x 48000 Hz x 4 B = 19200 B
	if !short.Fits || !long.Fits || short.Left-long.Left != 19200 {
		t.Errorf("0.5 s leave %d bytes and 0.6 s %d, want 19200 less", short.Left, long.Left)
	}
	// (1 s - 0.6 s) x 48000 Hz x 4 B = 76800 B more than what leaves long.Left
	if over.Fits || over.Left != long.Left-76800 || over.Stop == nil || over.Stop.Name != "sram" {
		t.Errorf("1 s leaves %d bytes (fits: %t), want %d of sram", over.Left, over.Fits, long.Left-76800)
	}
}

// What is missing of a bank is what the delay must be shorter by there: the line
// of the graph lies elsewhere as soon as that helps. On this board a bank of
// 128 KiB holds the delay of 160 KiB but for some 33 KiB and what else lies there.
func TestMissingRoomOfDelays(t *testing.T) {
	e := estimated(t, "clock.yaml", `board: m7-216-512k
sample_rate: 48 kHz
block_size: 48
nodes:
  wind: {block: noise}
  line: {block: delay, from: wind, time: 640 ms}
  out:  {block: audio-out, from: line}
`)
	q := ask.DelayQuestion{Lengths: []ask.Length{{Seconds: 0.857}, {Seconds: 3}}, Lines: []ask.Line{{"float32", 1, 48000}}}
	a := delays(t, e, q)
	for _, h := range a.Held {
		for b, r := range h.Rooms {
			if !r.Fits && h.Bytes+r.Left != a.Longest[b].Bytes {
				t.Errorf("%s lacks %v of %v, and the longest delay it holds takes %v.", a.Banks[b], -r.Left, h.Bytes, a.Longest[b].Bytes)
			}
		}
	}
	if short := -a.Held[0].Rooms[0].Left; a.Banks[0] != "dtcm" || short < 33<<10 || short > 37<<10 {
		t.Errorf("%s lacks %v for %v, want dtcm to lack 33 to 37 KiB.", a.Banks[0], short, a.Held[0].Bytes)
	}
}

// The longest delay of each bank fits, and one sample more does not, as a person
// finds who writes it into the graph; and the slowest tempo told for a note is
// the slowest.
func TestLongestDelays(t *testing.T) {
	const text = `board: m7-216-320k
sample_rate: 48 kHz
block_size: 48
nodes:
  horn: {block: audio-in}
  near: {block: delay, from: horn, time: 80 ms}
  out: {block: audio-out, from: near}
  feed: {block: own-code, outputs: {out: audio}}
`
	e := estimated(t, "horn.yaml", text)
	a := delays(t, e, ask.DelayQuestion{
		Lines: []ask.Line{{"float32", 1, 48000}, {"int16", 2, 44100}}, Tempo: blocks.Span{Low: 60, High: 120}, Notes: []string{"1/4", "3/8"},
	})
	found := 0
	for _, l := range a.Longest {
		what := fmt.Sprintf("%v in %s", l.Line, l.Bank)
		fits := func(samples int) bool {
			with := strings.Replace(text, "48 kHz", fmt.Sprintf("%g Hz", float64(l.Rate)), 1) + fmt.Sprintf(
				"  line: {block: delay, from: feed, time: %d samples, format: %s, channels: %d, bank: %s}\n", samples, l.Format, l.Channels, l.Bank)
			return holds(e, estimated(t, "horn.yaml", with))
		}
		if l.Samples == 0 {
			if fits(48) {
				t.Errorf("%s: no delay is told to fit, and a block does", what)
			}
			continue
		}
		found++
		if !fits(l.Samples) || l.Stop.Resource == nil || fits(l.Samples+1) {
			t.Errorf("%s: %d samples are told to be the longest (%+v), and fit: %t, one more: %t", what, l.Samples, l.Stop, fits(l.Samples), fits(l.Samples+1))
		}
		if math.Abs(l.Beats-l.Seconds) > 1e-9 {
			t.Errorf("%s: %g s at 60 bpm are told to be %g beats", what, l.Seconds, l.Beats)
		}
		for i, quarters := range []float64{1, 1.5} {
			bpm := l.Tempos[i]
			at := func(bpm float64) float64 { return quarters * 60 / bpm * float64(l.Rate) }
			if at(bpm) > float64(l.Samples)+1e-6 || at(bpm-0.01) <= float64(l.Samples) {
				t.Errorf("%s: %g quarters are told to fit %d samples from %g bpm on, where they take %g, and %g at 0.01 bpm less",
					what, quarters, l.Samples, bpm, at(bpm), at(bpm-0.01))
			}
		}
	}
	if found < 4 {
		t.Errorf("only %d banks hold a delay: the test looks at too few", found)
	}
}

// A delay that the graph has already takes the new length in its place: its
// longest is the edge that FindLimits tells on a board with one bank.
func TestLongestOfANode(t *testing.T) {
	e := estimated(t, "echo.yaml", fmt.Sprintf(echo, "2 s"))
	a := delays(t, e, ask.DelayQuestion{Node: "echo", Lines: []ask.Line{{"float32", 1, 48000}}})
	edge := limitOf(t, e, "echo.time", false)
	if got := fmt.Sprintf("%d samples", a.Longest[0].Samples); got != edge.Text {
		t.Errorf("the longest echo is %s, and limits tells %s", got, edge.Text)
	}
	for node, want := range map[string]string{"ehco": "the graph has no node 'ehco'", "in": "'in' is no delay"} {
		if _, err := ask.Delays(t.Context(), e, ask.DelayQuestion{Node: node}); err == nil || err.Error() != want {
			t.Errorf("asked about '%s' it says '%v', want '%s'", node, err, want)
		}
	}
}
