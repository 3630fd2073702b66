package main

import (
	"math"
	"slices"
	"testing"
)

// received is what a MIDI input makes of bytes that come one in each control
// period of 1 ms.
func received(t *testing.T, params map[string]float64, stream []byte) map[string][][]float32 {
	t.Helper()
	ring := make([]byte, 256)
	copy(ring, stream)
	var words []float32
	for i := range stream {
		words = append(words, float32(i+1))
	}
	r := rendering{
		Block: "midi-in", Params: map[string]float64{"most": 64}, Frames: 48 * len(stream),
		Inputs: map[string][][]float32{"midi_in": {words}}, Memory: map[string][]byte{"ring": ring},
	}
	for name, value := range params {
		r.Params[name] = value
	}
	return render(t, r)
}

// The messages are those of the MIDI 1.0 detailed specification (from memory),
// each byte in a control period of its own.
func TestMIDIInReadsMessages(t *testing.T) {
	t.Parallel()
	type note struct {
		at            int
		key, strength uint32
	}
	for name, c := range map[string]struct {
		stream  []byte
		params  map[string]float64
		notes   []note
		clocks  []int
		control float64
		bend    float64
	}{
		"a note, struck and let go":           {stream: []byte{0x90, 60, 100, 0x80, 60, 64}, notes: []note{{2, 60, 100}, {5, 60, 0}}},
		"strength 0 lets go":                  {stream: []byte{0x90, 60, 100, 0x90, 60, 0}, notes: []note{{2, 60, 100}, {5, 60, 0}}},
		"a running status":                    {stream: []byte{0x93, 60, 1, 127, 127, 60, 0}, notes: []note{{2, 60, 1}, {4, 127, 127}, {6, 60, 0}}},
		"clocks come in between":              {stream: []byte{0x90, 0xf8, 60, 0xf8, 100, 0xfe, 61, 0xf8, 90}, notes: []note{{4, 60, 100}, {8, 61, 90}}, clocks: []int{1, 3, 7}},
		"data before any status":              {stream: []byte{60, 100, 0x90, 62, 50}, notes: []note{{4, 62, 50}}},
		"a system message is passed over":     {stream: []byte{0x90, 60, 100, 0xf0, 1, 2, 3, 0xf7, 60, 100, 0x90, 61, 9}, notes: []note{{2, 60, 100}, {12, 61, 9}}},
		"a status breaks a message off":       {stream: []byte{0x90, 60, 0x90, 61, 100}, notes: []note{{4, 61, 100}}},
		"programs and pressure have one byte": {stream: []byte{0xc0, 5, 6, 0xd0, 7, 0x90, 60, 100}, notes: []note{{7, 60, 100}}},
		"one channel of two":                  {stream: []byte{0x90, 60, 100, 0x91, 61, 100, 62, 99}, params: map[string]float64{"channel": 2}, notes: []note{{5, 61, 100}, {7, 62, 99}}},
		"a controller among others":           {stream: []byte{0xb0, 1, 127, 7, 20, 1, 64}, control: 64.0 / 127},
		"another number":                      {stream: []byte{0xb0, 1, 127, 7, 127}, params: map[string]float64{"controller": 7}, control: 1},
		"the wheel bends up by 14 bits":       {stream: []byte{0xe0, 0x7f, 0x7f}, bend: 8191.0 / 8192},
		"the wheel bends all the way down":    {stream: []byte{0xe0, 0x00, 0x00}, bend: -1},
		"the wheel in its middle":             {stream: []byte{0xe0, 0x10, 0x00, 0x00, 0x40}, bend: 0},
	} {
		out := received(t, c.params, c.stream)
		var moments, values []float32
		for _, n := range c.notes {
			moments, values = append(moments, float32(48*n.at)), append(values, float32(aNote(n.key, n.strength)))
		}
		if got := out["notes"]; !slices.Equal(got[0], moments) || !slices.Equal(got[1], values) {
			t.Errorf("%s: the bytes % x give notes at %v of %v, want at %v of %v.", name, c.stream, got[0], got[1], moments, values)
		}
		var clocks []float32
		for _, at := range c.clocks {
			clocks = append(clocks, float32(48*at))
		}
		if got := out["clock"][0]; !slices.Equal(got, clocks) {
			t.Errorf("%s: clocks come at %v, want %v.", name, got, clocks)
		}
		last := len(c.stream) - 1
		if got := float64(out["control"][0][last]); math.Abs(got-c.control) > 1e-7 {
			t.Errorf("%s: the controller ends at %g, want %g.", name, got, c.control)
		}
		if got := float64(out["bend"][0][last]); math.Abs(got-c.bend) > 1e-7 {
			t.Errorf("%s: the bend ends at %g, want %g.", name, got, c.bend)
		}
	}
}

// Twelve bytes that come at once, three a control period.
func TestMIDIInTakesSoManyAPeriod(t *testing.T) {
	t.Parallel()
	stream := []byte{0x90, 60, 1, 0x90, 61, 2, 0x90, 62, 3, 0x90, 63, 4}
	out := render(t, rendering{
		Block: "midi-in", Params: map[string]float64{"most": 3}, Frames: 48 * 5,
		Inputs: map[string][][]float32{"midi_in": {slices.Repeat([]float32{12}, 5)}},
		Memory: map[string][]byte{"ring": append(stream, 0, 0, 0, 0)},
	})["notes"][0]
	if want := []float32{0, 48, 96, 144}; !slices.Equal(out, want) {
		t.Errorf("Notes come at %v, want %v, one of three bytes in each period.", out, want)
	}
}

// sentBytes are what a MIDI output put into its queue.
func sentBytes(t *testing.T, queue float64, blocks int, notes, clocks map[int][]event) []byte {
	t.Helper()
	out := render(t, rendering{
		Block: "midi-out", Params: map[string]float64{"queue": queue, "channel": 3}, Frames: 48 * blocks,
		Events: map[string]map[int][]event{"notes": notes, "clock": clocks}, Kept: "queue",
	})
	var list []byte
	for _, v := range out["queue"][0][:int(out["midi_out"][0][blocks-1])] {
		list = append(list, byte(v))
	}
	return list
}

func TestMIDIOutSendsBytes(t *testing.T) {
	t.Parallel()
	got := sentBytes(t, 64, 4, map[int][]event{
		0: {{3, aNote(60, 100)}, {7, aNote(64, 127)}}, 2: {{0, aNote(60, 0)}},
	}, map[int][]event{1: {{0, 1}}, 3: {{0, 1}, {24, 0}}})
	// 9n for note on of channel 3, its status once, strength 0 to let go, F8 for
	// a clock: MIDI 1.0 (from memory).
	if want := []byte{0x92, 60, 100, 64, 127, 0xf8, 60, 0, 0xf8}; !slices.Equal(got, want) {
		t.Errorf("The notes go out as % x, want % x.", got, want)
	}
}

// The line takes 3125 bytes a second, 3.125 in a control period of 1 ms.
func TestMIDIOutQueueDrains(t *testing.T) {
	t.Parallel()
	flood := map[int][]event{}
	for block := range 100 {
		flood[block] = slices.Repeat([]event{{0, aNote(60, 100)}}, 20)
	}
	out := render(t, rendering{
		Block: "midi-out", Params: map[string]float64{"queue": 32}, Frames: 4800, Events: map[string]map[int][]event{"notes": flood},
	})["midi_out"][0]
	for n, bytes := range out {
		// What is full to within a byte: 32 and what has left in the periods before.
		if most := 32 + 3.125*float64(n); float64(bytes) > most || float64(bytes) < most-3 {
			t.Errorf("In period %d %g bytes are written, want %g or up to three fewer.", n, bytes, most)
		}
	}
}

// What goes out comes in again as it was.
func TestMIDIThereAndBack(t *testing.T) {
	t.Parallel()
	var values []float32
	notes := map[int][]event{}
	for i := range 60 {
		value := aNote(uint32(30+i), uint32(i*37%128))
		notes[i] = []event{{0, value}}
		values = append(values, float32(value))
	}
	stream := sentBytes(t, 256, 60, notes, nil)
	if len(stream) != 1+2*60 {
		t.Errorf("60 notes take %d bytes, want 121: one status and two for each.", len(stream))
	}
	if got := received(t, nil, stream)["notes"][1]; !slices.Equal(got, values) {
		t.Errorf("The notes come back as %v, want %v.", got, values)
	}
}
