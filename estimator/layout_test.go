package estimator_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"elbowroom/estimator"
)

// laid reads a graph whose code runs from a bank; "": from where the board has it.
func laid(t *testing.T, board, run, nodes string) *estimator.Estimate {
	t.Helper()
	text := "board: " + board + "\nsample_rate: 48 kHz\nblock_size: 16\n"
	if run != "" {
		text += "code: {run: " + run + "}\n"
	}
	return estimated(t, text+"nodes:\n"+nodes)
}

// bank is what is used of a bank.
func bankOf(e *estimator.Estimate, name string) *estimator.BankUse {
	return &e.Banks[e.Graph.Board.BankIndex(name)]
}

// driver is code of 24 KiB, more than any code cache but the largest holds.
const driver = "  lamp: {block: own-code, flash: 24 KiB, cycles: {block: 100}}\n"

// What a board waits for 24 KiB of code that runs once a block, from each bank that
// code may run from, by hand from the figures of its file. A cache in which all of it
// does not stay fetches all of it again where it has the cache with data, and of its own
// so much as one way more than what is beyond it.
func TestCodeRunsFromEveryBank(t *testing.T) {
	const bytes = 24 << 10
	lines := func(size, fill float64) float64 { return bytes / size * fill }
	// Of two ways, all that is beyond the cache throws out three times itself, at most
	// all: 3 (24 - 16) / 24 = 1, and of 4 KiB more than all.
	for _, tt := range []struct {
		board, run string
		want       float64
	}{
		{"m7-480-1m", "", lines(32, 20)},
		{"m7-480-1m", "flash", lines(32, 20)},
		{"m7-480-1m", "itcm", 0},
		{"m7-480-1m", "axi", lines(32, 20)},
		{"m7-480-1m", "d2", lines(32, 42)},
		{"m7-480-1m", "qspi", lines(32, 290)},
		{"m7-216-320k", "flash", lines(32, 12)},
		{"m7-216-320k", "sram", lines(32, 10)},
		{"m7-600-sdram", "", 0}, // 32 KiB hold it
		{"m0plus-133-264k", "", lines(8, 56)},
		{"m0plus-133-264k", "sram", 0},
		{"m4f-120-192k", "", lines(16, 7)},
	} {
		e := laid(t, tt.board, tt.run, driver)
		if got := e.CPU.Mean.Stalls.Value; math.Abs(got-tt.want) > 1e-6 {
			t.Errorf("%s waits %.1f cycles a block for 24 KiB of code from '%s', want %.1f", tt.board, got, tt.run, tt.want)
		}
		run := e.Graph.Board.Banks[e.Graph.Run]
		copied := 0.0
		if !run.Kind.Constant() {
			copied = bytes
		}
		for _, name := range e.Graph.Board.LayoutNames() {
			want := 0.0
			switch {
			case name == run.Name, name == e.Graph.Board.Banks[e.Graph.CodeBank()].Name:
				want = bytes
			}
			if got := bankOf(e, name).Parts[estimator.PartCode]; float64(got) != want {
				t.Errorf("%s with code from '%s': %s holds %d bytes of code, want %.0f", tt.board, tt.run, name, got, want)
			}
		}
		sum := 0.0
		for _, p := range e.CopiedCode() {
			sum += float64(p.Copied)
		}
		if sum != copied {
			t.Errorf("%s with code from '%s': %.0f bytes are copied, want %.0f", tt.board, tt.run, sum, copied)
		}
	}
}

// In front of a bank without a cache fetching is a share of compute: 6.5 % from the
// flash of the smallest board, nothing from its RAM, where one bus is in the counts of
// the core; an eighth, as its file judges it, where RAM hangs on the bus of data.
func TestFetchIsAShareOfCompute(t *testing.T) {
	const nodes = "  wind: {block: noise}\n  soft: {block: one-pole, from: wind, cutoff: 400 Hz}\n  horn: {block: audio-out, from: soft}\n"
	for _, tt := range []struct {
		board, run string
		share      float64
	}{
		{"m0plus-48-32k", "flash", 0.065}, {"m0plus-48-32k", "sram", 0},
		{"m4f-180-sdram", "flash", 0.07}, {"m4f-180-sdram", "sram", 0.12},
	} {
		e := laid(t, tt.board, tt.run, nodes)
		warned := slices.ContainsFunc(e.Cautions, func(c estimator.Caution) bool { return c.Kind == "copy" })
		if slower := tt.board == "m4f-180-sdram" && tt.run == "sram"; warned != slower {
			t.Errorf("%s from %s: that copying makes it slower is told: %t, want %t", tt.board, tt.run, warned, slower)
		}
		band := e.Graph.Board.StallBand
		got, want := e.CPU.Mean.Stalls, tt.share*e.CPU.Mean.Compute.Value
		if math.Abs(got.Value-want) > 1e-6 || math.Abs(got.High-want*band.High) > 1e-6 || math.Abs(got.Low-want*band.Low) > 1e-6 {
			t.Errorf("%s from %s waits %+v, want %.1f within %v", tt.board, tt.run, got, want, band)
		}
	}
}

// Kernels and the library go along, tables and the initial values of data do not; the
// copy is as unsure as the code is, and is told to be of the code.
func TestWhatIsCopied(t *testing.T) {
	const nodes = "  lark: {block: wavetable, pitch: 440 Hz}\n  tube: {block: ladder, from: lark, cutoff: 900 Hz}\n  horn: {block: audio-out, from: tube}\n"
	stays, copied := laid(t, "m7-480-sdram", "", nodes), laid(t, "m7-480-sdram", "itcm", nodes)
	flash, itcm := bankOf(copied, "flash"), bankOf(copied, "itcm")
	if flash.Parts != bankOf(stays, "flash").Parts {
		t.Errorf("flash holds %v, and %v where code runs from there: the image should stay", flash.Parts, bankOf(stays, "flash").Parts)
	}
	var sum float64
	for _, p := range copied.CopiedCode() {
		if p.Part == estimator.PartTables {
			t.Errorf("the table %s is copied with the code", p.Name)
		}
		sum += float64(p.Copied)
	}
	if flash.Parts[estimator.PartTables] == 0 {
		t.Error("the graph has no table to leave in flash")
	}
	want := flash.Parts[estimator.PartCode] + flash.Parts[estimator.PartLibrary]
	data := slices.IndexFunc(copied.Objects, func(o estimator.Object) bool { return o.Name == estimator.LibraryData })
	if data < 0 {
		t.Fatal("the library has no data")
	}
	want -= copied.Objects[data].Bytes
	if got := itcm.Parts[estimator.PartCode]; float64(got) != sum || got != want {
		t.Errorf("itcm holds %d bytes of code, its pieces are %.0f, and flash has %d beside initial values", got, sum, want)
	}
	if above := itcm.Figure.High - itcm.Figure.Value; above <= 0 || math.Abs(above-(flash.Figure.High-flash.Figure.Value)) > 1 {
		t.Errorf("the code in itcm may take %.0f bytes more, and in flash %.0f", above, flash.Figure.High-flash.Figure.Value)
	}
}

// Code that is too large for the bank is refused like any object: what is short, by
// how much, and whose.
func TestTooMuchCode(t *testing.T) {
	e := laid(t, "m7-216-512k", "itcm", driver+"  wind: {block: noise}\n  horn: {block: audio-out, from: wind}\n")
	if r := e.Resource("itcm"); e.Verdict != estimator.Over || r.Verdict != estimator.Over {
		t.Fatalf("24 KiB of code in 16 KiB: the graph %v, itcm %v", e.Verdict, r.Verdict)
	}
	short := bankOf(e, "itcm").Used - bankOf(e, "itcm").Usable
	for _, c := range e.Cautions {
		if c.Kind == "room" {
			for _, want := range []string{"lamp", "24 KiB", "runs from itcm, which has 16 KiB", fmt.Sprintf("%v too little", short.Up())} {
				if !strings.Contains(c.Text, want) {
					t.Errorf("the caution '%s' should say '%s'", c.Text, want)
				}
			}
			return
		}
	}
	t.Error("nothing tells that the code finds no room")
}
