package lighten_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
	"elbowroom/estimator/lighten"
)

func estimated(t testing.TB, path, text string, edits ...source.Edit) *estimator.Estimate {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	boards := map[string]string{}
	load := func(name source.Value) string {
		file := filepath.Join(filepath.Dir(path), name.Text("a path"))
		if board, known := boards[file]; known {
			return board
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		boards[file] = catalog.Add(lib, source.NewFile(file, text), &errs)
		return boards[file]
	}
	g := estimator.Read(source.NewFile(filepath.Base(path), []byte(text)), lib, estimator.Options{Load: load}, &errs)
	if g == nil {
		t.Fatal(errs.Err())
	}
	if len(edits) > 0 {
		if g, err = g.With(edits...); err != nil {
			t.Skip(err)
		}
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestZZ(t *testing.T) {
	paths, _ := filepath.Glob("../../testdata/graphs/good/*.yaml")
	for _, path := range paths {
		for _, board := range []string{"", "m4f-100-128k"} {
			t.Run(filepath.Base(path)+board, func(t *testing.T) {
				text, _ := os.ReadFile(path)
				var edits []source.Edit
				if board != "" {
					edits = append(edits, source.Edit{Path: []string{"board"}, Text: board})
				}
				e := estimated(t, path, string(text), edits...)
				if e.Verdict < estimator.Unsure {
					return
				}
				began := time.Now()
				r, err := lighten.Find(context.Background(), e, lighten.Options{Plans: 3})
				if err != nil {
					t.Fatal(err)
				}
				t.Logf("%v %d nodes, %s: %v, proven %v bound %g, %d alternatives, %d confirmed", e.Verdict, len(e.Graph.Nodes), time.Since(began), len(r.Plans), r.Proven, r.Bound, r.Alternatives, r.Confirmed)
				for _, p := range r.Plans {
					t.Logf("  plan %.3g points, %v", p.Loss, p.After.Verdict)
					for _, c := range p.Changes {
						t.Logf("     %s: %s (%.3g: %s)", c.Node, c.Write, c.Loss, c.Heard)
					}
				}
			})
		}
	}
}
