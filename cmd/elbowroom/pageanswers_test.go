package main

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"elbowroom/estimator"
)

// overfull is a graph that does not fit its board.
const overfull = `board: m4f-100-128k
sample_rate: 48 kHz
block_size: 48
nodes:
  wind:  {block: noise}
  echo:  {block: delay, from: wind, time: 350 ms, feedback: 0.3}
  plate: {block: plate-reverb, from: [wind, echo]}
  out:   {block: audio-out, from: plate}
`

// estimated is a graph and the page's answers about it.
func estimated(t *testing.T, text string) (*app, string, *estimator.Estimate) {
	t.Helper()
	a := &app{}
	name := filepath.Join(t.TempDir(), "storm.yaml")
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	p := a.program(name, nil)
	file, err := p.Read()
	if err != nil {
		t.Fatal(err)
	}
	e, err := p.Estimate(file)
	if err != nil {
		t.Fatal(err)
	}
	return a, name, e
}

// TestCardsKeepTheirWord makes the changes of every card and holds what comes of
// them to what the card says: plans fit, swaps have the verdict they name, and
// what comes nearest is nearer than what stands.
func TestCardsKeepTheirWord(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		groups     int
	}{
		{"plans and swaps", overfull, 2},
		{"nothing fits", strings.Replace(overfull, "350 ms", "9 s", 1), 2},
	} {
		a, name, e := estimated(t, tt.text)
		found, err := a.program(name, nil).Plans(t.Context(), e)
		if err != nil {
			t.Fatal(err)
		}
		if len(found.Groups) != tt.groups {
			t.Errorf("%s: there are %d groups of cards, want %d: %v", tt.name, len(found.Groups), tt.groups, found.Groups)
		}
		number := 0
		for _, group := range found.Groups {
			for _, p := range group.Plans {
				if number++; p.Number != number {
					t.Errorf("%s: '%s' has the number %d, want %d", tt.name, p.Name, p.Number, number)
				}
				g, err := e.Graph.With(p.Edits...)
				if err != nil {
					t.Fatalf("%s: '%s' cannot be made: %v", tt.name, p.Name, err)
				}
				after, err := g.Estimate()
				if err != nil {
					t.Fatalf("%s: '%s' cannot be estimated: %v", tt.name, p.Name, err)
				}
				switch kind, _, _ := strings.Cut(p.Name, " "); kind {
				case "plan":
					if want := sentence(name, after); p.Then != want || after.Verdict == estimator.Over {
						t.Errorf("%s: '%s' says '%s', and it comes out that '%s'", tt.name, p.Name, p.Then, want)
					}
				case "swap":
					if want := "the verdict is " + after.Verdict.String(); p.Then != want {
						t.Errorf("%s: '%s' says '%s', want '%s'", tt.name, p.Name, p.Then, want)
					}
				default:
					if now, then := e.Resource("sram").Used.High, after.Resource("sram").Used.High; then >= now {
						t.Errorf("%s: '%s' takes %v bytes, no fewer than the %v there are", tt.name, p.Name, then, now)
					}
				}
			}
		}
	}
}

// TestChartsAreDrawn holds the charts of the page to being well-formed, to names
// of their own, and to having their figures as tables.
func TestChartsAreDrawn(t *testing.T) {
	for _, node := range []string{"", "echo", "plate"} {
		_, name, e := estimated(t, strings.Replace(overfull, "plate-reverb", "gain", 1))
		list, err := charts(t.Context(), name, e, node)
		if err != nil || len(list) != 2 {
			t.Fatalf("with '%s' open %d charts are drawn (%v), want 2", node, len(list), err)
		}
		ids := map[string]bool{}
		for _, c := range list {
			if len(c.Tables) == 0 || c.Title == "" || c.Sentence == "" {
				t.Errorf("the chart '%s' has no title, no sentence or no table", c.Title)
			}
			d := xml.NewDecoder(strings.NewReader(string(c.Picture)))
			for {
				token, err := d.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatalf("the chart '%s' is no XML: %v", c.Title, err)
				}
				start, _ := token.(xml.StartElement)
				for _, a := range start.Attr {
					if a.Name.Local == "id" && ids[a.Value] {
						t.Errorf("the name %s stands twice on the page", a.Value)
					} else if a.Name.Local == "id" {
						ids[a.Value] = true
					}
				}
			}
		}
	}
}
