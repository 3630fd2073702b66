package estimator

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"elbowroom/blocks"
)

// What a move is told to cost is what all objects wait more with it, weighed
// from the whole placement.
func TestMovesAgainstWeighingAnew(t *testing.T) {
	board := &blocks.Board{
		Align: 32, Cache: blocks.Cache{Bytes: 1024, Line: 32, Ways: 4},
		Banks: []blocks.Bank{
			{Name: "tcm", Kind: blocks.TightlyCoupled, Nominal: 4096},
			{Name: "near", Kind: blocks.SRAM, Nominal: 8192, DMA: true, Cached: true, LineFill: 20, WriteBack: 12},
			{Name: "slow", Kind: blocks.SRAM, Nominal: 4096, DMA: true, Read: 9, Write: 4},
			{Name: "far", Kind: blocks.SDRAM, Nominal: 65536, DMA: true, Cached: true, LineFill: 118, WriteBack: 80},
			{Name: "flash", Kind: blocks.Flash},
		},
	}
	rapid.Check(t, func(t *rapid.T) {
		g := &Graph{Board: board, BlockSize: 16}
		e := &Estimate{Graph: g, Banks: make([]BankUse, len(board.Banks))}
		for range rapid.IntRange(1, 8).Draw(t, "objects") {
			o := Object{
				Part: PartBuffers, Pin: -1, Align: 32, Element: 4,
				Bytes: 32 * blocks.Bytes(rapid.IntRange(1, 60).Draw(t, "lines")),
				Reads: float64(rapid.IntRange(0, 3).Draw(t, "reads")), Writes: float64(rapid.IntRange(0, 1).Draw(t, "writes")),
				DMA: rapid.IntRange(0, 3).Draw(t, "dma") == 0,
			}
			e.Objects = append(e.Objects, o)
		}
		e.Placement = g.place(e.Objects, &e.Constants, placeSteps)
		e.fill()
		w, now := e.Weigh(), e.waits()
		if math.Abs(w.total()-now) > 1e-6 {
			t.Fatalf("the placement waits %g cycles, and is weighed as %g", now, w.total())
		}
		for i := range e.Objects {
			here := e.Placement.Bank[i]
			moves := w.Moves(i)
			if len(moves) != 3 {
				t.Fatalf("object %d in %s has %d moves, want one for each other bank of data", i, board.Banks[here].Name, len(moves))
			}
			for _, m := range moves {
				if m.Bars != "" {
					if !e.Objects[i].DMA || board.Banks[m.Bank].DMA {
						t.Fatalf("object %d may not lie in %s: %s", i, board.Banks[m.Bank].Name, m.Bars)
					}
					continue
				}
				e.Placement.Bank[i] = m.Bank
				want := e.waits() - now
				e.Placement.Bank[i] = here
				if math.Abs(m.Cycles-want) > 1e-6 {
					t.Fatalf("object %d in %s would wait %g cycles more, and weighed anew %g", i, board.Banks[m.Bank].Name, m.Cycles, want)
				}
				if m.Cycles < -1e-6 && m.Short == 0 && len(e.Placement.Homeless) == 0 {
					t.Fatalf("object %d would spare %g cycles in %s, which has room, and yet lies in %s", i, -m.Cycles, board.Banks[m.Bank].Name, board.Banks[here].Name)
				}
			}
			if w.Why(i, moves) == "" {
				t.Fatalf("nothing is said of why object %d lies in %s", i, board.Banks[here].Name)
			}
		}
	})
}

// Reasons are worked by hand: a bank of 1 KiB without waits, and one that is not
// cached, 10 cycles a read.
func TestWhy(t *testing.T) {
	board := &blocks.Board{Align: 4, Banks: []blocks.Bank{
		{Name: "quick", Kind: blocks.TightlyCoupled, Nominal: 1024},
		{Name: "slow", Kind: blocks.SRAM, Nominal: 4096, DMA: true, Read: 10},
		{Name: "flash", Kind: blocks.Flash},
	}}
	g := &Graph{Board: board, BlockSize: 48}
	line := func(name string, bytes blocks.Bytes, reads float64) Object {
		return Object{Name: name, Part: PartBuffers, Pin: -1, Bytes: bytes, Align: 4, Reads: reads, Writes: 1, Element: 4}
	}
	pinned, dma := line("pinned", 128, 1), line("dma", 128, 1)
	pinned.Pin, dma.DMA = 1, true
	e := &Estimate{Graph: g, Banks: make([]BankUse, 3), Objects: []Object{
		line("busy", 800, 4), line("idle", 800, 1), pinned, dma, line("huge", 8000, 1),
	}}
	e.Placement = g.place(e.Objects, &e.Constants, placeSteps)
	e.fill()
	w := e.Weigh()
	for i, want := range []string{
		"waits for nothing here",
		// 48 reads of 10 cycles; 1024 - 800 = 224 of the 800 B are left.
		"waits 480 cycles a block; quick would spare 480 cycles and is 576 B short",
		"the file pins it here",
		"waits 480 cycles a block; no other bank is reached by the audio DMA",
		"finds no room in any bank, and comes nearest to it here",
	} {
		if got := w.Why(i, w.Moves(i)); got != want {
			t.Errorf("%s lies where it does since it '%s', want '%s'", e.Objects[i].Name, got, want)
		}
	}
}

// What the worst block takes more than the mean is told to the cycle by its
// causes: hops of 100 and 10 that meet in one block of eight, and events.
func TestWorstCauses(t *testing.T) {
	node := func(name string, terms ...blocks.Term) *Node {
		return &Node{Name: name, Group: -1, Use: blocks.Use{Block: &blocks.Block{Name: name, Outputs: []blocks.Port{{Kind: blocks.Audio}}}},
			demand: &blocks.Demand{Terms: terms}}
	}
	exactly := blocks.Exactly
	g := &Graph{BlockSize: 48, Board: &blocks.Board{Clock: 48e3}, SampleRate: 48e3, Nodes: []*Node{
		node("freeze", blocks.Term{Name: "sample", Mean: exactly(50), Worst: exactly(50)}, blocks.Term{Name: "recurring.hop", Mean: exactly(12.5)}),
		node("drum", blocks.Term{Name: "events.hit", Mean: exactly(1), Worst: exactly(40)}),
		node("horn", blocks.Term{Name: "recurring.hop", Mean: exactly(2.5)}, blocks.Term{Name: "sample", Mean: exactly(3), Worst: exactly(5)}),
	}}
	e := &Estimate{Graph: g, Nodes: []NodeCost{{Copies: 1, Hops: []Hop{hop(384, 0, 100)}}, {Copies: 1}, {Copies: 1, Hops: []Hop{hop(192, 0, 10)}}}}
	e.Nodes[0].Hops[0].Stalls = exactly(8)
	e.Nodes[0].Stalls = exactly(1)
	e.CPU.WorstScene = -1
	e.CPU.Budget = 48
	e.CPU.Mean.System, e.CPU.Worst.System = exactly(10), exactly(15)
	e.CPU.Worst.Compute = exactly(205)
	want := []Cause{
		{CauseHops, 0, 87.5}, // 100 due in this block, 100 x 48 / 384 in the mean
		{CauseEvents, 1, 39},
		{CauseHops, 2, 7.5}, // 10 due, 10 x 48 / 192 in the mean
		{CauseStalls, 0, 7}, // 8 where it falls due, 1 in the mean
		{CauseSystem, -1, 5},
		{CauseData, 2, 2},
	}
	got := e.WorstCauses()
	if len(got) != len(want) {
		t.Fatalf("the causes are %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("cause %d is %v, want %v", i+1, got[i], want[i])
		}
	}
	// The larger hop begins a block later, where the other is not due: 110 are 100.
	if saved := e.moved(0); saved != 10 {
		t.Errorf("beginning the hop of freeze elsewhere saves %g cycles, want the 10 of horn's", saved)
	}

	// The worst block takes 220: the hops more than in the mean, 87.5 and 7.5. Were
	// horn's not in it, it would take 212.5.
	for _, c := range []struct {
		limit float64
		want  int
		why   string
	}{
		{220, 0, "the cycles suffice"},
		{219, 2, "without horn's hop they would"},
		{212, 0, "without horn's hop they would not"},
	} {
		e.Resources = []Resource{{Name: "cpu", Kind: CPUResource, Limit: c.limit, Used: exactly(220)}}
		if met := e.Coinciding(); len(met) != c.want {
			t.Errorf("of %g cycles %d hops meet to take too many, want %d, since %s", c.limit, len(met), c.want, c.why)
		}
	}
}
