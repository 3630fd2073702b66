package estimator

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"elbowroom/blocks"
)

// bench is a board with the cache of a Cortex-M7: 16 KiB in 4 ways of 128 lines
// of 32 bytes.
func cachedGraph(block int) *Graph {
	return &Graph{BlockSize: block, Run: 1, Board: &blocks.Board{
		Align: 32,
		Cache: blocks.Cache{Bytes: 16384, Line: 32, Ways: 4},
		Banks: []blocks.Bank{
			{Name: "sdram", Kind: blocks.SDRAM, Cached: true, LineFill: 118, WriteBack: 80},
			{Name: "flash", Kind: blocks.Flash},
		},
	}}
}

// Cache lines of a block of 48 samples are worked by hand for lines of 32 bytes,
// eight floats: 48 floats are 6 lines, and where they begin anywhere in a line
// 6 + 28/32.
func TestLinesOfAnObject(t *testing.T) {
	never := math.Inf(1)
	for _, tt := range []struct {
		name         string
		object       Object
		horizon      float64
		fills, backs float64
	}{
		{"a line read and written at one place is fetched and written back once", Object{Bytes: 96000, Reads: 1, Writes: 1, Element: 4}, 1, 6, 6},
		{"after a cold start also what is begun", Object{Bytes: 96000, Reads: 1, Writes: 1, Element: 4}, 0, 6.875, 6.875},
		{"a horizon of 499 blocks is too short for 500", Object{Bytes: 96000, Reads: 1, Writes: 1, Element: 4}, 499, 6, 6},
		{"and one of 500 is not", Object{Bytes: 96000, Reads: 1, Writes: 1, Element: 4}, 500, 0, 0},
		{"four places are four times the lines, and one of them is written", Object{Bytes: 96000, Reads: 4, Writes: 1, Element: 4, Heads: 4, Pattern: blocks.Tap}, 1, 24, 6},
		{"of which each comes to what the one before left after a quarter of the time", Object{Bytes: 96000, Reads: 4, Writes: 1, Element: 4, Heads: 4, Pattern: blocks.Tap}, 125, 0, 0},
		{"halves of a word take half the lines", Object{Bytes: 96000, Reads: 1, Writes: 1, Element: 2}, 1, 3, 3},
		{"two channels take twice the lines", Object{Bytes: 96000, Reads: 2, Writes: 2, Element: 4}, 1, 12, 12},
		{"what is only read is not written back", Object{Bytes: 96000, Reads: 1, Element: 4}, 1, 6, 0},
		{"what is touched once a block stays from one to the next", Object{Bytes: 480, Reads: 2.5, Writes: 2.5, Element: 4}, 1, 0, 0},
		{"or is fetched whole, each line once", Object{Bytes: 480, Reads: 2.5, Writes: 2.5, Element: 4}, 0, 15, 15},
		{"a line of 10 floats that is gone round 4.8 times in a block is fetched once", Object{Bytes: 40, Reads: 1, Writes: 1, Element: 4}, 0, 1.25, 1.25},
		{"reading anywhere in more than the cache takes a line each, but for what was touched in the block before: exp(-1/T), T = 2^20 / 32 / 48",
			Object{Bytes: 1 << 20, Reads: 1, Element: 4, Pattern: blocks.Random}, 1, 48 * math.Exp(-48.0/32768), 0},
		{"a table of 64 lines that is read 480 times a block is fetched whole but for exp(-480/64)", Object{Bytes: 2048, Reads: 10, Element: 4, Pattern: blocks.Random}, 0, 64 * (1 - math.Exp(-7.5)), 0},
		{"two neighbours share a line 7 times in 8: 48 x 9/8 lines, T = 2^20 / 32 / 54", Object{Bytes: 1 << 20, Reads: 2, Element: 4, Pattern: blocks.Random, Heads: 1}, 1, 54 * math.Exp(-54.0/32768), 0},
		{"and stays where the cache reaches back for ever", Object{Bytes: 2048, Reads: 10, Element: 4, Pattern: blocks.Random}, never, 0, 0},
		{"what a turn of 480 samples reads is fetched in it: 60 lines and what is begun", Object{Bytes: 1 << 20, Reads: 1, Element: 4, Turn: blocks.Turn{Every: 480}}, 0, 60.875, 0},
		{"and what it reads anywhere, a line each but for those that it touched before: T = 2^20 / 32 / 48 blocks", Object{Bytes: 1 << 20, Reads: 1, Element: 4, Pattern: blocks.Random, Turn: blocks.Turn{Every: 480}}, 1, 480 * math.Exp(-48.0/32768), 0},
		{"what nothing touches costs nothing", Object{Bytes: 2048, Element: 4, Pattern: blocks.Random}, 0, 0, 0},
	} {
		fills, backs, past := cachedGraph(48).lines(&tt.object, tt.horizon)
		if math.Abs(fills-tt.fills) > 1e-9 || math.Abs(backs-tt.backs) > 1e-9 || past != 0 {
			t.Errorf("%s: it fetches %g lines a block, writes %g back and %g words past, want %g, %g and none", tt.name, fills, backs, past, tt.fills, tt.backs)
		}
	}
}

// Where a cache fetches nothing on a write, what is only written goes past it,
// word by word; what is read first has its line.
func TestWritesPastTheCache(t *testing.T) {
	g := cachedGraph(48)
	g.Board.Cache.WriteAround = true
	if fills, backs, past := g.lines(&Object{Bytes: 96000, Writes: 1, Element: 4}, 1); fills != 0 || backs != 0 || past != 48 {
		t.Errorf("48 writes fetch %g lines, write %g back and %g words past, want 0, 0 and 48", fills, backs, past)
	}
	if fills, backs, past := g.lines(&Object{Bytes: 96000, Reads: 1, Writes: 1, Element: 4}, 1); fills != 6 || backs != 6 || past != 0 {
		t.Errorf("48 reads and writes at one place fetch %g lines, write %g back and %g words past, want 6, 6 and 0", fills, backs, past)
	}
}

// Taps whose distance is a multiple of one way of the cache, 16 KiB / 4 = 4 KiB,
// all stand in one set: up to 4 find room, and of 8 every access throws out what
// the next one needs. A distance of one line more puts each in a set of its own.
func TestTapsThatClash(t *testing.T) {
	for _, tt := range []struct {
		name  string
		bytes blocks.Bytes
		heads float64
		share float64
	}{
		{"four taps in one set of four ways", 4 * 4096, 4, 0},
		{"eight taps in one set of four ways", 8 * 4096, 8, 1},
		{"eight taps a line further apart each", 8 * (4096 + 32), 8, 0},
		{"eight taps in two sets", 8 * (4096 + 2048), 8, 0},
		{"ten taps in two sets", 10 * (4096 + 2048), 10, 1},
		// Half of the time neighbours stand in one line of sets, half of the time not.
		{"no more taps than ways", 96000, 3, 0},
		{"a sweep of more places than are looked at", 8 * 4096, 100, 0},
	} {
		o := Object{Bytes: tt.bytes, Reads: tt.heads, Writes: 1, Element: 4, Heads: tt.heads}
		if share := clash(&cachedGraph(48).Board.Cache, &o); share != tt.share {
			t.Errorf("%s: a share of %g of the taps clash, want %g", tt.name, share, tt.share)
		}
	}
	o := Object{Bytes: 8 * 4096, Reads: 8, Writes: 1, Element: 4, Heads: 8}
	if fills, _, _ := cachedGraph(48).lines(&o, 1); fills != 8*48 {
		t.Errorf("eight taps that clash fetch %g lines in 48 samples, want a line for each access, 384", fills)
	}
}

// The further back a cache reaches the less is fetched, and the more of it is
// taken up, up to the whole object.
func TestHorizonsAreInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := cachedGraph(rapid.SampledFrom([]int{1, 16, 48, 256}).Draw(t, "block"))
		o := Object{
			Bytes:   blocks.Bytes(rapid.IntRange(4, 200000).Draw(t, "bytes")),
			Reads:   float64(rapid.IntRange(0, 5).Draw(t, "reads")),
			Writes:  float64(rapid.IntRange(0, 2).Draw(t, "writes")),
			Heads:   float64(rapid.IntRange(1, 12).Draw(t, "heads")),
			Element: 4, Pattern: rapid.SampledFrom([]blocks.Pattern{blocks.Stream, blocks.Tap, blocks.Random}).Draw(t, "pattern"),
		}
		horizons := append([]float64{0}, g.horizons([]Object{o})...)
		if !math.IsInf(horizons[len(horizons)-1], 1) {
			t.Fatalf("the longest horizon is %g blocks, want for ever", horizons[len(horizons)-1])
		}
		fills, held := math.Inf(1), blocks.Bytes(0)
		for _, k := range horizons {
			f, backs, _ := g.lines(&o, k)
			h := g.footprint(&o, k)
			if f > fills*(1+1e-9) || backs > f*(1+1e-9) || h < held || h > alignUp(o.Bytes, 32) {
				t.Fatalf("%+v at %g blocks fetches %g lines after %g, writes %g back and takes up %d bytes after %d", o, k, f, fills, backs, h, held)
			}
			fills, held = f, h
		}
		if fills != 0 {
			t.Fatalf("%+v still fetches %g lines where all stays for ever", o, fills)
		}
	})
}

// A DMA buffer in a cached bank is dropped and fetched, or written back, in each
// block: 48 samples are 6 lines.
func TestDMAInACachedBank(t *testing.T) {
	g := cachedGraph(48)
	g.Board.Cache.Maintenance = 8
	in := Object{Bytes: 384, Reads: 1, Element: 4, DMA: true}
	if got, want := g.stallCycles(&in, 0, math.Inf(1)), 6.0*(8+118); got != want {
		t.Errorf("a DMA buffer that is read waits %g cycles, want 6 lines of 8 + 118 = %g", got, want)
	}
	out := Object{Bytes: 384, Writes: 1, Element: 4, DMA: true}
	if got, want := g.stallCycles(&out, 0, math.Inf(1)), 6.0*(8+80); got != want {
		t.Errorf("a DMA buffer that is written waits %g cycles where its lines stay, want 6 lines of 8 + 80 = %g", got, want)
	}
	if got, want := g.stallCycles(&out, 0, 1), 6.0*(8+80+118); got != want {
		t.Errorf("a DMA buffer that is written waits %g cycles where its lines do not stay for two blocks, want 6 lines of 8 + 80 + 118 = %g", got, want)
	}
	if got := g.stallCycles(&in, 1, 0); got != 0 {
		t.Errorf("a DMA buffer in a bank that is not cached and does not wait waits %g cycles", got)
	}
}

// Code beyond a cache of its own throws out, way by way, one way more than
// itself: of 2 ways and 16 KiB, 512 sets, 1 KiB more than the cache is 32 lines
// that share their sets with 2 others each, 96 lines.
func TestCodeBeyondItsCache(t *testing.T) {
	for _, tt := range []struct {
		name       string
		code       blocks.Bytes
		alone      bool
		horizon    float64
		mean, cold float64
	}{
		{"code that fits its cache", 16384, true, 0, 0, 512 * 20},
		{"1 KiB beyond it", 17408, true, 0, 96 * 20, 544 * 20},
		{"half as much again: all", 24576, true, 0, 768 * 20, 768 * 20},
		{"twice as much: all", 32768, true, 0, 1024 * 20, 1024 * 20},
		{"in the cache of data, which keeps a block", 8192, false, 1, 0, 256 * 20},
		{"in the cache of data, which does not", 8192, false, 0, 256 * 20, 256 * 20},
	} {
		g := cachedGraph(48)
		g.Board.Banks[1].Cached, g.Board.Banks[1].LineFill = true, 20
		if tt.alone {
			g.Board.CodeCache = blocks.Cache{Bytes: 16384, Line: 32, Ways: 2}
		}
		e := &Estimate{Graph: g, Constants: Constants{Code: tt.code}, Horizon: tt.horizon}
		if got := e.codeStalls(); math.Abs(got.Mean-tt.mean) > 1e-6 || got.Cold != tt.cold {
			t.Errorf("%s: code waits %g cycles a block and %g where the cache is cold, want %g and %g", tt.name, got.Mean, got.Cold, tt.mean, tt.cold)
		}
	}
}
