package estimator_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"elbowroom/estimator"
)

// kinds are the kinds of caution that an estimate gives.
func kinds(e *estimator.Estimate) []string {
	var list []string
	for _, c := range e.Cautions {
		list = append(list, c.Kind)
	}
	return list
}

// Where flash is too small and another bank for constants is not, that is told.
func TestCautionElsewhere(t *testing.T) {
	// 30 s x 48 000 Hz x 2 B are 2.75 MiB: more than the 128 KiB of internal flash,
	// less than the 8 MiB of the serial one.
	const text = "board: m7-480-1m\nsample_rate: 48 kHz\nblock_size: 48\n%snodes:\n  rain: {block: sample-player, time: 30 s, ending: round}\n  out: {block: audio-out, from: rain}\n"
	if e := estimated(t, fmt.Sprintf(text, "")); !slices.Contains(kinds(e), "elsewhere") {
		t.Errorf("no caution 'elsewhere', only %v", kinds(e))
	}
	if e := estimated(t, fmt.Sprintf(text, "code: {run: qspi}\n")); slices.Contains(kinds(e), "elsewhere") || e.Verdict > estimator.Tight {
		t.Errorf("with code in qspi it is %v with %v, want it to fit", e.Verdict, kinds(e))
	}
}

// Every caution comes where it should, and stays away where it should not.
func TestCautions(t *testing.T) {
	const head = "board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n"
	const in, out = "  in: {block: audio-in}\n", "  out: {block: audio-out, from: last}\n"
	for _, tt := range []struct{ kind, with, without string }{
		{
			"loop-gain", // inside a block
			in + "  last: {block: delay, from: in, feedback: 1.05}\n" + out,
			in + "  last: {block: delay, from: in, feedback: 0.9}\n" + out,
		},
		{
			"loop-gain", // drawn: the product of the gains around it
			in + "  line: {block: delay, from: [in, back], time: 100 ms}\n  back: {block: gain, from: line, gain: 1.1}\n  last: {block: hard-clip, from: line}\n" + out,
			in + "  line: {block: delay, from: [in, back], time: 100 ms}\n  back: {block: gain, from: line, gain: 0.9}\n  last: {block: hard-clip, from: line}\n" + out,
		},
		{
			"loop-gain", // two ways back add up
			in + "  line: {block: delay, from: [in, a, b], time: 100 ms}\n  a: {block: gain, from: line, gain: 0.6}\n  b: {block: gain, from: line, gain: 0.6}\n  last: {block: hard-clip, from: line}\n" + out,
			in + "  line: {block: delay, from: [in, a, b], time: 100 ms}\n  a: {block: gain, from: line, gain: 0.4}\n  b: {block: gain, from: line, gain: 0.4}\n  last: {block: hard-clip, from: line}\n" + out,
		},
		{
			"loop-gain", // a node that feeds itself
			in + "  last: {block: delay, from: [in, last], time: 100 ms}\n" + out,
			in + "  last: {block: delay, from: in, time: 100 ms}\n" + out,
		},
		{
			"cut",
			in + "  a: {block: gain, from: [in, b], gain: 0.5}\n  b: {block: one-pole, from: a, cutoff: 1 kHz}\n  last: {block: hard-clip, from: b}\n" + out,
			in + "  a: {block: delay, from: [in, b], time: 1 ms}\n  b: {block: gain, from: a, gain: 0.5}\n  last: {block: hard-clip, from: b}\n" + out,
		},
		{
			"sum",
			in + "  wind: {block: noise}\n  last: {block: gain, from: [in, wind], gain: 0.5}\n" + out,
			in + "  wind: {block: noise}\n  last: {block: hard-clip, from: [in, wind]}\n" + out,
		},
		{
			"default",
			in + "  strike: {block: gate-in}\n  bend: {block: adsr, from: {gate: strike}}\n  last: {block: gain, from: in, gain: {from: bend, span: 0..1}}\n" + out,
			in + "  strike: {block: gate-in, rate: 20 Hz}\n  bend: {block: adsr, from: {gate: strike}}\n  last: {block: gain, from: in, gain: {from: bend, span: 0..1}}\n" + out,
		},
		{
			"unheard", // a delay that nothing hears, and what leads to it
			in + "  bell: {block: button}\n  last: {block: delay, from: in, time: 1 s}\n  lost: {block: delay, from: last, time: 2 s}\n" + out,
			in + "  bell: {block: button}\n  last: {block: delay, from: in, time: 1 s}\n  lamp: {block: gate-out, from: bell}\n" + out,
		},
		{
			"unheard", // nothing leads out
			in + "  last: {block: delay, from: in, time: 1 s}\n",
			in + "  last: {block: delay, from: in, time: 1 s}\n" + out,
		},
		{
			"silent",
			"  last: {block: knob}\n" + out,
			in + "  k: {block: knob}\n  last: {block: gain, from: in, gain: {from: k, span: 0..1}}\n" + out,
		},
		{
			"level",
			in + "  last: {block: gain, from: in, gain: -6}\n" + out,
			in + "  last: {block: gain, from: in, gain: -6 dB}\n" + out,
		},
		{
			"latency", // 511 taps wait 255 samples, and four blocks of 256 are far over 10 ms
			strings.Replace(in, "in}", "in}", 1) + "  last: {block: fir, from: in, taps: 511}\n  out: {block: audio-out, from: last}\n  far: {block: fir, from: last, taps: 511}\n  end: {block: audio-out, from: far}\n",
			in + "  last: {block: fir, from: in, taps: 15}\n" + out,
		},
		{
			"events",
			in + "  strike: {block: gate-in, rate: 50 Hz}\n  a: {block: own-code, inputs: {hit: event}, outputs: {out: audio}, from: {hit: strike}, cycles: {event: 20000}}\n  b: {block: own-code, inputs: {hit: event}, outputs: {out: audio}, from: {hit: strike}, cycles: {event: 20000}}\n  last: {block: hard-clip, from: [a, b]}\n" + out,
			in + "  strike: {block: gate-in, rate: 50 Hz}\n  a: {block: own-code, inputs: {hit: event}, outputs: {out: audio}, from: {hit: strike}, cycles: {event: 20000}}\n  last: {block: hard-clip, from: a}\n" + out,
		},
	} {
		if e := estimated(t, head+tt.with); !slices.Contains(kinds(e), tt.kind) {
			t.Errorf("no caution '%s', only %v, for\n%s", tt.kind, kinds(e), tt.with)
		}
		if e := estimated(t, head+tt.without); slices.Contains(kinds(e), tt.kind) {
			t.Errorf("a caution '%s' for\n%s", tt.kind, tt.without)
		}
	}
}

// Cautions that depend on the board.
func TestCautionsOfBoards(t *testing.T) {
	const nodes = "sample_rate: 48 kHz\nblock_size: 48\nnodes:\n  volts: {block: cv-in}\n  tone: {block: sine, precision: double, pitch: {from: volts, span: 20 Hz..20 kHz}}\n  out: {block: audio-out, from: tone}\n"
	for _, tt := range []struct {
		kind, with, without, why string
	}{
		{"double", "m4f-168-192k", "m7-480-sdram", "the M4F computes doubles in software, the M7 in hardware"},
		{"serial-flash", "m33-150-520k", "m33-250-640k", "one runs from serial flash, the other has its own"},
		{"pitch", "m4f-168-192k", "m7-480-sdram", "12 bits over a linear span of 1000 to 1 step by 1200 log2(1 + 999/4096) = 378 cents at the low end, 16 bits by 26 cents"},
	} {
		with, without := estimated(t, "board: "+tt.with+"\n"+nodes), estimated(t, "board: "+tt.without+"\n"+nodes)
		if !slices.Contains(kinds(with), tt.kind) {
			t.Errorf("no caution '%s' on %s: %s", tt.kind, tt.with, tt.why)
		}
		if tt.kind != "pitch" && slices.Contains(kinds(without), tt.kind) {
			t.Errorf("a caution '%s' on %s: %s", tt.kind, tt.without, tt.why)
		}
	}
	// Exponential over five octaves, 12 bits: 1200 x 5 / 4096 = 1.46 cents (dsp.md 5.3).
	fine := estimated(t, "board: m4f-168-192k\n"+strings.Replace(nodes, "20 Hz..20 kHz", "55 Hz..1760 Hz, curve: exponential", 1))
	if slices.Contains(kinds(fine), "pitch") {
		t.Errorf("steps of 1.46 cents are cautioned, and only those over 5 are heard")
	}
}

// Where the search for a placement stops before it is proven, the answer says
// what another could save; where it is proven, it says nothing.
func TestCautionOfUnprovenPlacement(t *testing.T) {
	echoes := func(n int) string {
		var text strings.Builder
		text.WriteString("board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  wind: {block: noise}\n")
		for i := range n {
			fmt.Fprintf(&text, "  echo%d: {block: delay, from: wind, time: %d samples, taps: %d}\n", i, 1000+i*i*37%9973, 1+i*5%7)
		}
		text.WriteString("  crowd: {block: mix, from: [")
		for i := range n {
			fmt.Fprintf(&text, "echo%d, ", i)
		}
		text.WriteString("wind]}\n  stage: {block: audio-out, from: crowd}\n")
		return text.String()
	}
	for _, tt := range []struct {
		echoes int
		proven bool
	}{{3, true}, {64, false}} {
		e := estimated(t, echoes(tt.echoes))
		if proven := e.Placement.Gap == 0; proven != tt.proven {
			t.Fatalf("that the placement of %d echoes is proven is %v: this graph does not show what it should", tt.echoes, proven)
		}
		at := slices.IndexFunc(e.Cautions, func(c estimator.Caution) bool { return c.Kind == "placement" })
		if told := at >= 0; told == tt.proven {
			t.Errorf("with %d echoes and a gap of %g, that it is told is %v", tt.echoes, e.Placement.Gap, told)
		}
		if at >= 0 && !strings.Contains(e.Cautions[at].Text, "cycles a block less") {
			t.Errorf("the caution does not say how many cycles could be saved: %s", e.Cautions[at].Text)
		}
	}
}
