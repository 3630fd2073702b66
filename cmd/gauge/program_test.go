package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"elbowroom/estimator"
	"elbowroom/estimator/reconcile"
)

// How far an estimate may be off the program, in parts of it.
const (
	flashWithin    = 0.05
	ordinaryWithin = 0.05
	costlyWithin   = 0.10
	// A freeze is timed where it begins to hold and where it holds, half and half.
	frozenWithin = 0.10
)

// Every good graph, built and run as one program, is what its estimate says:
// every object at its addresses, flash and cycles within the bounds above.
func TestProgramsAreAsEstimated(t *testing.T) {
	needTools(t, toolNames...)
	root, err := findRoot()
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(root, "testdata", "graphs", "good", "*.yaml"))
	if err != nil || len(files) == 0 {
		t.Fatalf("there are no good graphs to build: %v", err)
	}
	type setting struct{ board, run string } // run "": from where code lies
	copied := map[string]setting{            // of some graphs, code is copied
		"puppet-king": {"m7-480-sdram", "itcm"}, "light-desk": {"m4f-180-sdram", "sram"}, "tin-whistle": {"m0plus-133-264k", "sram"}, "organ-grinder": {"m0plus-133-264k", "sram"},
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		settings := []setting{{"m4f-180-sdram", ""}, {"m7-480-sdram", ""}}
		if name == "tin-whistle" || strings.HasPrefix(name, "organ-grinder") {
			settings = append(settings, setting{"m0plus-133-264k", ""})
		}
		if s, ok := copied[name]; ok {
			settings = append(settings, s)
		}
		for _, s := range settings {
			board := s.board
			t.Run(strings.TrimSpace(name+" on "+board+" "+s.run), func(t *testing.T) {
				if name+board+s.run != "puppet-king"+"m4f-180-sdram" && os.Getenv("ELBOWROOM_TOOLS") != "required" {
					t.Skip("Building and running a graph takes seconds; ELBOWROOM_TOOLS=required asks for this one too.")
				}
				t.Parallel()
				folder := t.TempDir()
				c, err := compareProgram(root, file, builtPlugin(t), programOptions{board: board, run: s.run, keep: folder})
				if err != nil {
					t.Fatal(err)
				}
				for _, b := range c.data {
					if b.estimate != b.truth {
						t.Errorf("The estimate puts %.0f bytes into %s, and the linker %.0f.", b.estimate, b.bank, b.truth)
					}
				}
				if (c.copied.truth > 0) != (s.run != "") || math.Abs(c.copied.off()) > flashWithin {
					t.Errorf("The estimate copies %.0f bytes of code, and the linker %.0f.", c.copied.estimate, c.copied.truth)
				}
				for _, what := range c.astray {
					t.Error(what)
				}
				reconciled(t, file, board, s.run, folder)
				if c.stack.truth > c.stack.estimate {
					t.Errorf("The kernels go %.0f bytes deep, and the estimate keeps %.0f for them.", c.stack.truth, c.stack.estimate)
				}
				if c.ordinary.truth <= 0 || c.costly.truth < c.ordinary.truth*0.9 {
					t.Errorf("The program takes %.0f cycles a block of ordinary data and %.0f of the costliest.", c.ordinary.truth, c.costly.truth)
				}
				if !slices.Equal(c.basis, []string{"emulated"}) {
					t.Errorf("The kernels are %s on %s; all should be emulated.", strings.Join(c.basis, " and "), c.core)
				}
				ordinary := ordinaryWithin
				if name == "storm-drums" {
					ordinary = frozenWithin
				}
				for _, p := range []struct {
					what string
					pair
					within float64
				}{{"flash", c.flash, flashWithin}, {"an ordinary block", c.ordinary, ordinary}, {"the costliest block", c.costly, costlyWithin}} {
					if math.Abs(p.off()) > p.within {
						t.Errorf("Of %s the estimate says %.0f and the program takes %.0f: %+.1f %%, beyond %.0f %%.", p.what, p.estimate, p.truth, 100*p.off(), 100*p.within)
					}
				}
			})
		}
	}
}

// ofProgram tells whose are the names that the program has beside those of nodes
// and kernels.
var ofProgram = []estimator.SymbolPattern{
	{Owner: "system", Pattern: "program_*"},
	{Owner: "system", Pattern: "slots"},
	{Owner: "system", Pattern: "silence"},
	{Owner: "system", Pattern: "env[0-9]*"},
	{Owner: "system", Pattern: ".system[0-9]*"},
}

// How much of a program's bytes must have an owner. A map does not name functions
// of the library that share a section, nor what is static in the program's own code,
// which is the most where the program is small.
const (
	explained    = 0.98
	mapExplained = 0.97
)

// reconciled holds a linked program to its graph as a user of 'reconcile' does:
// what lies in the banks of data is estimated to the byte, and nearly all of it
// is somebody's; by the ELF file, and by the map that was written with it.
func reconciled(t *testing.T, file, board, run, folder string) {
	t.Helper()
	g, err := readGraph(file, board, run)
	if err != nil {
		t.Fatal(err)
	}
	g.Symbols = ofProgram
	e, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	read := func(name string) []byte {
		text, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	text := read("board.elf")
	p, err := reconcile.Read("board.elf", bytes.NewReader(text), int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	mapped, err := reconcile.ReadMap("board.map", string(read("board.map")))
	if err != nil {
		t.Fatal(err)
	}
	r, byMap := reconcile.Compare(e, p, flashWithin), reconcile.Compare(e, mapped, flashWithin)
	for i, b := range r.Banks {
		if m := byMap.Banks[i]; m.Built != b.Built || m.Stack != b.Stack || m.Padding != b.Padding {
			t.Errorf("By the map %s holds %d bytes, and by the ELF file %d.", b.Name, m.Built, b.Built)
		}
	}
	if byMap.Explained < mapExplained {
		t.Errorf("By the map %.2f %% of the program's bytes are explained, fewer than %.0f %%.", 100*byMap.Explained, 100*mapExplained)
	}
	for _, b := range r.Banks {
		switch {
		case b.Name == g.Board.Banks[g.CodeBank()].Name:
			if b.Differs {
				t.Errorf("Reconciled, %s holds %d bytes, and the estimate says %.0f..%.0f.", b.Name, b.Built, b.Estimated.Low, b.Estimated.High)
			}
		case b.Name == run:
			if b.Differs || b.Built == 0 {
				t.Errorf("Reconciled, %s, which code is copied to, holds %d bytes, and the estimate says %.0f..%.0f.", b.Name, b.Built, b.Estimated.Low, b.Estimated.High)
			}
		case float64(b.Built) != b.Estimated.Value:
			t.Errorf("Reconciled, %s holds %d bytes, and the estimate says %.0f.", b.Name, b.Built, b.Estimated.Value)
		}
	}
	t.Logf("%.2f %% of the bytes are explained, by the map %.2f %%.", 100*r.Explained, 100*byMap.Explained)
	if r.Explained < explained {
		t.Errorf("Of the program's bytes %.2f %% are explained, fewer than %.0f %%.", 100*r.Explained, 100*explained)
		for _, g := range r.Groups {
			if g.Owner == reconcile.Unexplained {
				t.Logf("%s: %d bytes of %s and others are nobody's.", g.Bank, g.Built, g.Largest)
			}
		}
	}
}

// What no program can be written for is told, with the node.
func TestProgramRefusals(t *testing.T) {
	root, err := findRoot()
	if err != nil {
		t.Fatal(err)
	}
	const head = "board: m4f-180-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n"
	for _, tt := range []struct{ name, text, want string }{
		{"a parameter that audio moves", "  air: {block: noise}\n  reed: {block: sine, pitch: {from: air, span: 200 Hz..300 Hz}}\n  out: {block: audio-out, from: reed}\n",
			"'pitch' of reed is moved by audio, which no program is written for"},
		{"control that is heard", "  knob: {block: knob}\n  loud: {block: gain, from: knob}\n  out: {block: audio-out, from: loud}\n",
			"loud takes control for audio, which no program is written for"},
		{"a core that is not emulated", "", "the core lx7 is not one that is emulated"},
	} {
		text := head + tt.text
		if tt.text == "" {
			text = strings.Replace(head, "m4f-180-sdram", "lx7-240-psram", 1) + "  air: {block: noise}\n  out: {block: audio-out, from: air}\n"
		}
		file := filepath.Join(t.TempDir(), "graph.yaml")
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := compareProgram(root, file, "", programOptions{}); err == nil || err.Error() != tt.want {
			t.Errorf("Of %s the error is '%v'; it should be '%s'.", tt.name, err, tt.want)
		}
	}
}
