package estimator_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
	"elbowroom/estimator/estimatortest"
)

// figures are what an estimate says, as one text to compare.
func figures(e *estimator.Estimate) string {
	var text strings.Builder
	fmt.Fprintf(&text, "%v, %.6g samples late\n", e.Verdict, e.Latency.Samples())
	for _, r := range e.Resources {
		fmt.Fprintf(&text, "%v %s: %.6g of %.6g, %v\n", r.Kind, r.Name, r.Used, r.Limit, r.Verdict)
	}
	for i, c := range e.Nodes {
		fmt.Fprintf(&text, "%s: %d B, %d B, %.6g, %.6g, %.6g cycles\n", e.Graph.Nodes[i].Name, c.State, c.Buffers, c.Mean, c.Worst, c.Stalls)
	}
	for _, c := range e.Cautions {
		fmt.Fprintf(&text, "caution %s\n", c.Kind)
	}
	return text.String()
}

// Every swap of every good graph, on its board and on one that is too small,
// can be written into the file, with the figures that it promised.
func TestSwapsCanBeWritten(t *testing.T) {
	written := 0
	for path, text := range graphs(t, "good") {
		for _, board := range []string{"", "m4f-100-128k"} {
			g, errs := read(t, source.NewFile(path, text))
			if g == nil {
				t.Fatalf("%s cannot be read: %v", path, errs.Err())
			}
			if board != "" {
				small, err := g.With(source.Edit{Path: []string{"board"}, Text: board})
				if err != nil {
					continue // a bank that the small board has not
				}
				g = small
			}
			e, err := g.Estimate()
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			swaps, err := e.Swaps()
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range swaps {
				what := fmt.Sprintf("%s, %s: %s", filepath.Base(path), g.Nodes[s.Node].Name, s.Change)
				promised, err := g.WithSwaps(&s)
				if promised == nil {
					t.Errorf("%s: it was offered, and now it cannot be made (%v)", what, err)
					continue
				}
				edited, err := g.File.Edit(promised.Edits...)
				if err != nil {
					t.Errorf("%s: it cannot be written: %v", what, err)
					continue
				}
				again, errs := read(t, source.NewFile(path, []byte(edited.Text())))
				if again == nil {
					t.Errorf("%s: the file that was written cannot be read: %v", what, errs.Err())
					continue
				}
				want, err := promised.Estimate()
				if err != nil {
					t.Fatal(err)
				}
				got, err := again.Estimate()
				if err != nil {
					t.Fatal(err)
				}
				if figures(got) != figures(want) {
					t.Errorf("%s: promised\n%swritten and read again\n%s", what, figures(want), figures(got))
				}
				written++
			}
		}
	}
	if written < 20 {
		t.Errorf("only %d swaps were written, too few to show anything", written)
	}
	t.Logf("%d swaps were written and read again", written)
}

// A change is refused with what a person would be told who had written it.
func TestWithRefuses(t *testing.T) {
	e := estimated(t, onSmallBoard(longEcho))
	for _, tt := range []struct{ path, text, want string }{
		{"nodes echo time", "40 minutes", "min"},
		{"nodes echo block", "dealy", "there is no block named 'dealy'"},
		{"board", "m9-9000", "m9-9000"},
		{"block_size", "0", "from 1 to 8192 samples"},
		{"nodes echo time x", "1", "there is no place for 'x' here"},
	} {
		_, err := e.Graph.With(source.Edit{Path: strings.Fields(tt.path), Text: tt.text})
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("writing '%s' as %s is answered by '%v', which does not tell of '%s'", tt.text, tt.path, err, tt.want)
		}
	}
	if after, err := e.Graph.Estimate(); err != nil || figures(after) != figures(e) {
		t.Errorf("changes that were refused changed the graph itself")
	}
}

// A change of what an option replaced counts, and what it leaves alone stays
// replaced.
func TestWithBesideOptions(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	options := estimator.Options{
		Board:      source.FromText("--board", "m7-480-sdram", &errs),
		SampleRate: source.FromText("--sample-rate", "44.1 kHz", &errs),
		BlockSize:  source.FromText("--block-size", "16", &errs),
	}
	g := estimator.Read(source.NewFile("echo.yaml", []byte(onSmallBoard(longEcho))), lib, options, &errs)
	if g == nil {
		t.Fatal(errs.Err())
	}
	slow, err := g.With(source.Edit{Path: []string{"sample_rate"}, Text: "32 kHz"})
	if err != nil {
		t.Fatal(err)
	}
	slower, err := slow.With(source.Edit{Path: []string{"block_size"}, Text: "64"})
	if err != nil {
		t.Fatal(err)
	}
	if slower.SampleRate != 32000 || slower.BlockSize != 64 || slower.Board.Name != "m7-480-sdram" || len(slower.Edits) != 2 {
		t.Errorf("the changed graph runs at %v in blocks of %d on %s after %d changes, want 32 kHz, 64, m7-480-sdram and 2",
			slower.SampleRate, slower.BlockSize, slower.Board.Name, len(slower.Edits))
	}
	if small, err := slower.With(source.Edit{Path: []string{"board"}, Text: "m4f-100-128k"}); err != nil || small.Board.Name != "m4f-100-128k" {
		t.Errorf("the board cannot be changed back (%v)", err)
	}
}

// A stand-in may call its ports and parameters otherwise: what feeds it and what
// reads it is renamed with it.
func TestSubstituteRenames(t *testing.T) {
	const block = `block: %s
family: shape
role: reed
title: Reed
about: A reed that works far too hard, for a test.
equation: y[n] = 5000 x[n]
inputs:
  %s: {kind: audio, channels: 1}
  %s: {kind: audio, channels: 1, optional: true}
outputs:
%s
params:
  %s: {about: how hard, unit: ratio, range: 0..1, default: 0.5}
  colour: {about: what it sounds like, default: dark, choices: {dark: {}, bright: {}}}
state: {bytes: word, source: counted}
operations:
  sample: {mul: %d, loop: 1}
  source: counted
metrics: {}
%s
sources:
  counted: made up for this test
`
	wet, dry := "  wet: {kind: audio, channels: 1}", "  dry: {kind: audio, channels: 1}"
	folder := t.TempDir()
	for name, text := range map[string]string{
		"reed": fmt.Sprintf(block, "reed", "in", "breath", wet+"\n"+dry, "force", 5000,
			"substitutes:\n  - {block: straw, carry: {push: force}, set: {colour: bright}, heard: a straw in place of the reed}"),
		"straw": fmt.Sprintf(block, "straw", "in", "breath", dry+"\n"+wet, "push", 5, ""),
	} {
		if err := os.WriteFile(filepath.Join(folder, name+".yaml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text := "catalog: [reed.yaml, straw.yaml]\n" + onSmallBoard(`  wind: {block: noise}
  reed: {block: reed, from: {breath: wind, in: wind}, force: 0.25, colour: dark, bank: sram}
  one:  {block: gain, from: reed}
  two:  {block: gain, from: reed.dry.1}
  out:  {block: audio-out, from: [one, two]}
`)
	g, errs := read(t, source.NewFile(filepath.Join(folder, "graph.yaml"), []byte(text)))
	if g == nil {
		t.Fatal(errs.Err())
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	s := swap(t, e, "reed", "block: straw, push: 0.25, colour: bright")
	edited, err := g.File.Edit(s.After.Graph.Edits...)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"reed: {block: straw, from: {breath: wind, in: wind}, push: 0.25, colour: bright, bank: sram}",
		"from: reed.wet}", "from: reed.dry.1}",
	} {
		if !strings.Contains(edited.Text(), want) {
			t.Errorf("with the straw the file does not hold '%s':\n%s", want, edited.Text())
		}
	}
}

// A change counts by what was measured as the changed file would: on another
// board what was measured says nothing, and what was measured of a node goes by its
// name.
func TestWithMeasured(t *testing.T) {
	folder := t.TempDir()
	measured := "measured: m4f-168-192k\nsource: by hand\ncompute:\n  all: {factor: 2, low: 0.5, high: 2.5}\n  nodes:\n    echo: {block: delay, factor: 3, low: 2.9, high: 3.1}\n" +
		"bytes:\n  nodes:\n    wind: {block: noise, flash: {built: 1 KiB}}\n"
	if err := os.WriteFile(filepath.Join(folder, "measured.yaml"), []byte(measured), 0o644); err != nil {
		t.Fatal(err)
	}
	const text = "board: m4f-168-192k\ncatalog: measured.yaml\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n" +
		"  wind: {block: noise}\n  echo: {block: delay, from: wind, time: 100 ms}\n  speaker: {block: audio-out, from: echo}\n"
	path := filepath.Join(folder, "loft.yaml")
	b := estimatortest.New(t)
	g, errs := readOn(b, path, text, "", "")
	if g == nil {
		t.Fatal(errs.Err())
	}
	before := figures(estimate(t, g))
	for _, edit := range []source.Edit{
		{Path: []string{"board"}, Text: "m4f-180-sdram"},
		{Path: []string{"nodes", "echo"}, Key: "cave"},
		{Path: []string{"nodes", "echo", "time"}, Text: "50 ms"},
	} {
		edits := []source.Edit{edit}
		if edit.Key != "" {
			edits = append(edits, source.Edit{Path: []string{"nodes", "speaker", "from"}, Text: edit.Key})
		}
		changed, err := g.With(edits...)
		if err != nil {
			t.Fatalf("%v: %v", edit, err)
		}
		file, err := g.File.Edit(edits...)
		if err != nil {
			t.Fatal(err)
		}
		read, errs := readOn(b, path, file.Text(), "", "")
		if read == nil {
			t.Fatal(errs.Err())
		}
		got, want := figures(estimate(t, changed)), figures(estimate(t, read))
		if got != want {
			t.Errorf("after %v the graph answers\n%s\nand the changed file\n%s", edit, got, want)
		}
		if got == before {
			t.Errorf("%v changes no figure", edit)
		}
	}
	if after := figures(estimate(t, g)); after != before {
		t.Errorf("estimated twice the graph answers\n%s\nand\n%s", before, after)
	}
}
