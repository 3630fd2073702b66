package ask_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// A graph differs from itself in nothing.
func TestCompareWithItself(t *testing.T) {
	for name, e := range good(t) {
		c := ask.Compare(e, e)
		if len(c.Settings) > 0 || len(c.Nodes) > 0 {
			t.Errorf("%s differs from itself in %v and %v", name, c.Settings, c.Nodes)
		}
		for _, r := range c.Resources {
			if r.Before != r.After {
				t.Errorf("%s: %s of the one is held to another of the same", name, r.Before.Name)
			}
		}
	}
}

// What a person wrote is what explains the figures.
func TestCompareTellsWhy(t *testing.T) {
	before := estimated(t, "echo.yaml", fmt.Sprintf(echo, "100 ms"))
	change := func(edits ...string) *estimator.Estimate {
		t.Helper()
		g := before.Graph
		for _, text := range edits {
			edit, err := ask.ParseChange(g, text)
			if err != nil {
				t.Fatal(err)
			}
			if g, err = g.With(edit); err != nil {
				t.Fatal(err)
			}
		}
		e, err := g.Estimate()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	for _, tt := range []struct {
		what  string
		edits []string
		node  string
		bytes int64 // more of the node
		why   ask.Difference
	}{
		// 100 ms x 48000 Hz x 4 B = 19200 B more
		{"twice the time", []string{"echo.time=200 ms"}, "echo", 19200, ask.Difference{What: "time", Before: "100 ms", After: "200 ms"}},
		// half of 19200 B
		{"half the bytes a sample", []string{"echo.format=int16"}, "echo", -9600, ask.Difference{What: "format", Before: "float32", After: "int16"}},
		// 0.1 s x (44100 - 48000) Hz x 4 B
		{"a lower rate", []string{"sample_rate=44.1 kHz"}, "echo", -1560, ask.Difference{What: "sample_rate", Before: "48 kHz", After: "44.1 kHz"}},
	} {
		c := ask.Compare(before, change(tt.edits...))
		i := slices.IndexFunc(c.Nodes, func(n ask.NodeChange) bool { return n.Name == tt.node })
		if i < 0 {
			t.Errorf("%s: %s is not told to differ", tt.what, tt.node)
			continue
		}
		n := c.Nodes[i]
		if more := int64(n.After.Bytes - n.Before.Bytes); more != tt.bytes || !slices.Contains(n.Why, tt.why) {
			t.Errorf("%s: %s takes %d bytes more because of %v, want %d because of %v", tt.what, tt.node, more, n.Why, tt.bytes, tt.why)
		}
	}
}

// Nodes that only one of the graphs has stand on one side.
func TestCompareOtherNodes(t *testing.T) {
	text := fmt.Sprintf(echo, "100 ms")
	before := estimated(t, "echo.yaml", text)
	after := estimated(t, "echo.yaml", strings.Replace(text, "  echo: {block: delay, from: in, time: 100 ms}\n  out: {block: audio-out, from: echo}", "  tone: {block: one-pole, from: in}\n  out: {block: audio-out, from: tone}", 1))
	sides := map[string][2]bool{}
	for _, n := range ask.Compare(before, after).Nodes {
		sides[n.Name] = [2]bool{n.Before.There, n.After.There}
	}
	if sides["echo"] != [2]bool{true, false} || sides["tone"] != [2]bool{false, true} {
		t.Errorf("the echo is replaced by a tone control, and the nodes stand as %v", sides)
	}
}

func TestParseChange(t *testing.T) {
	e := estimated(t, "choir.yaml", `board: m4f-100-128k
sample_rate: 48 kHz
block_size: 48
nodes:
  in: {block: audio-in}
  out: {block: audio-out, from: choir}
voices:
  choir:
    count: 2
    nodes:
      line: {block: delay, from: in, time: 50 ms}
    out: line
`)
	for text, want := range map[string]string{
		"choir.line.time=1 s": "voices choir nodes line time",
		"choir.count=3":       "voices choir count",
		"in.note = hello":     "nodes in note",
		"tempo=90 bpm":        "tempo",
	} {
		edit, err := ask.ParseChange(e.Graph, text)
		if got := strings.Join(edit.Path, " "); err != nil || got != want {
			t.Errorf("'%s' changes '%s' (%v), want '%s'", text, got, err, want)
		}
	}
	for text, want := range map[string]string{
		"choir.lime.time=1 s": "", // the reader of the graph tells that
		"chior.count=3":       "the graph has no node 'chior'",
		"tempo":               "'tempo' changes nothing",
	} {
		if _, err := ask.ParseChange(e.Graph, text); want != "" && (err == nil || err.Error() != want) {
			t.Errorf("'%s' is answered by '%v', want '%s'", text, err, want)
		}
	}
}
