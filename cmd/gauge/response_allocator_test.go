package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// aNote is a note as events carry it: whether it is struck in the lowest bit,
// the key above it, and how hard it is struck, 0 where it is let go.
func aNote(key, strength uint32) uint32 { return min(strength, 1) | key<<1 | strength<<8 }

// allocated is what a voice allocator sends, by voice, for a note in each
// block: the blocks and the values of its gates, and its pitches by block.
func allocated(t *testing.T, voices int, notes []uint32) (gates [8][][2]float32, pitches [8][]float32) {
	t.Helper()
	list := map[int][]event{}
	for block, note := range notes {
		list[block] = []event{{uint32(block % 48), note}}
	}
	out := render(t, rendering{
		Block: "voice-allocator", Params: map[string]float64{"voices": float64(voices)}, Frames: 48 * len(notes),
		Events: map[string]map[int][]event{"notes": list},
	})
	for v := range 8 {
		gate := out[fmt.Sprintf("gate_%d", v+1)]
		for i, moment := range gate[0] {
			gates[v] = append(gates[v], [2]float32{moment, gate[1][i]})
		}
		pitches[v] = out[fmt.Sprintf("pitch_%d", v+1)][0]
	}
	return gates, pitches
}

// A story worked by hand: three keys, the fourth takes the oldest voice, whose
// own key then lets go in vain.
func TestVoiceAllocatorTakesTheOldest(t *testing.T) {
	t.Parallel()
	notes := []uint32{
		aNote(60, 100), aNote(64, 90), aNote(67, 80), // one voice each
		aNote(72, 70), // all three sound: the first, of 60
		aNote(60, 0),  // no voice sounds it
		aNote(64, 0),  // the second is free
		aNote(65, 60), // and taken
		aNote(67, 50), // sounds already, and is struck anew
		aNote(67, 0), aNote(72, 0),
		aNote(48, 40), // the third was let go before the first
	}
	gates, pitches := allocated(t, 3, notes)
	at := func(block int) float32 { return float32(48*block + block) }
	want := [8][][2]float32{
		{{at(0), 1}, {at(3), 1}, {at(9), 0}},
		{{at(1), 1}, {at(5), 0}, {at(6), 1}},
		{{at(2), 1}, {at(7), 1}, {at(8), 0}, {at(10), 1}},
	}
	for v := range gates {
		if !slices.Equal(gates[v], want[v]) {
			t.Errorf("Gate %d moves at %v, want %v.", v+1, gates[v], want[v])
		}
	}
	for v, key := range []float64{72, 65, 48} {
		// Twelve equal steps to the octave, one octave a volt.
		if got, want := pitches[v][len(notes)-1], (key-60)/12; math.Abs(float64(got)-want) > 1e-7 {
			t.Errorf("Voice %d has the pitch %g at the end, and key %g is %g octaves from the middle C.", v+1, got, key, want)
		}
	}
	if p := pitches[3]; slices.Max(p) != 0 || slices.Min(p) != 0 {
		t.Errorf("Voice 4 of 3 has the pitches %v, want 0.", p)
	}
}

// Any notes, against a row of voices kept in the order in which they changed.
func TestVoiceAllocatorAgainstARow(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(3, 11))
	for _, voices := range []int{1, 2, 5, 8} {
		var notes []uint32
		for range 400 {
			notes = append(notes, aNote(50+random.Uint32N(12), random.Uint32N(3)))
		}
		gates, _ := allocated(t, voices, notes)
		type voice struct {
			number int
			key    uint32
			open   bool
		}
		var row []voice // the one that changed longest ago first
		for v := range voices {
			row = append(row, voice{number: v})
		}
		var want [8][][2]float32
		for block, note := range notes {
			key := note >> 1 & 0x7f
			at := slices.IndexFunc(row, func(v voice) bool { return v.open && v.key == key })
			open := note>>8 > 0
			if open && at < 0 {
				at = max(0, slices.IndexFunc(row, func(v voice) bool { return !v.open }))
			}
			if at < 0 {
				continue
			}
			v := voice{row[at].number, key, open}
			row = append(slices.Delete(row, at, at+1), v)
			value := float32(0)
			if open {
				value = 1
			}
			want[v.number] = append(want[v.number], [2]float32{float32(48*block + block%48), value})
		}
		for v := range want {
			if !slices.Equal(gates[v], want[v]) {
				t.Fatalf("With %d voices gate %d moves at %v, want %v.", voices, v+1, gates[v], want[v])
			}
		}
	}
}

func TestClockMultiplier(t *testing.T) {
	t.Parallel()
	const start, period = 100, 4807 // no multiple of what divides it
	for _, multiply := range []int{1, 2, 3, 7, 64} {
		out := render(t, rendering{
			Block: "clock-multiplier", Params: map[string]float64{"multiply": float64(multiply)}, Frames: 4 * period,
			Events: clocked(start, start+period, start+2*period),
		})["ticks"]
		want := []float32{start}
		for clock := 1; clock <= 2; clock++ {
			for j := range multiply {
				want = append(want, float32(start+clock*period+j*period/multiply))
			}
		}
		if !slices.Equal(out[0], want) {
			t.Errorf("A clock of %d samples by %d ticks at %v, want %v.", period, multiply, out[0], want)
		}
		if slices.Min(out[1]) != 1 {
			t.Errorf("Ticks bring the values %v, want 1 each.", out[1])
		}
	}
}

// What divides by as much as was multiplied gives the clock back.
func TestClockMultiplierUndoesTheDivider(t *testing.T) {
	t.Parallel()
	var clocks []int
	for k := range 25 {
		clocks = append(clocks, 30+1201*k)
	}
	divided := render(t, rendering{Block: "clock-divider", Params: map[string]float64{"division": 4}, Frames: 32000, Events: clocked(clocks...)})["out"][0]
	var moments []int
	for _, m := range divided {
		moments = append(moments, int(m))
	}
	back := render(t, rendering{Block: "clock-multiplier", Params: map[string]float64{"multiply": 4}, Frames: 36000, Events: clocked(moments...)})["ticks"][0]
	for i, m := range back[1:] { // the first clock ticks once
		if want := float32(30 + 1201*(4+i)); m != want {
			t.Errorf("Tick %d comes at %g, and the clock before the divider at %g.", i, m, want)
		}
	}
	if len(back) != 25 {
		t.Errorf("Seven clocks by 4 tick %d times, want 1 and 6 x 4.", len(back))
	}
}

func TestClockMultiplierBunches(t *testing.T) {
	t.Parallel()
	got := render(t, rendering{
		Block: "clock-multiplier", Params: map[string]float64{"multiply": 4}, Frames: 4800, Events: clocked(0, 1200, 1800),
	})["ticks"][0]
	// The third clock comes after half a period: the two ticks that are still
	// to come are sent with it, and the next are 600 / 4 samples apart.
	if want := []float32{0, 1200, 1500, 1800, 1800, 1800, 1950, 2100, 2250}; !slices.Equal(got, want) {
		t.Errorf("A clock that comes early ticks at %v, want %v.", got, want)
	}
}
