// Package estimatortest reads and estimates graphs with the shipped catalog and
// the files that they name, for tests.
package estimatortest

import (
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// Bench is a library with what the graphs that were read added to it.
type Bench struct {
	Library *blocks.Library
	boards  map[string]string // path of a file in the library: the board in it
	asked   atomic.Int64
}

// New gives a bench with the shipped catalog alone.
func New(t testing.TB) *Bench {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	return &Bench{Library: lib, boards: map[string]string{}}
}

// Asked is how often the files that graphs name were asked for: of a graph that
// names one, once for each change of it that was tried.
func (b *Bench) Asked() int { return int(b.asked.Load()) }

// Read reads a graph as estimator.Read does; files that it names are sought
// beside it.
func (b *Bench) Read(file *source.File, opts estimator.Options, errs *source.Errors) *estimator.Graph {
	opts.Load = func(name source.Value) string {
		b.asked.Add(1)
		beside := filepath.Join(filepath.Dir(file.Name), name.Text("a path"))
		if board, known := b.boards[beside]; known {
			return board
		}
		text, err := os.ReadFile(beside)
		if err != nil {
			name.Fail("", "there is no such file")
			return ""
		}
		b.boards[beside] = catalog.Add(b.Library, source.NewFile(beside, text), errs)
		return b.boards[beside]
	}
	return estimator.Read(file, b.Library, opts, errs)
}

// Estimate reads a graph that must be right and estimates it.
func (b *Bench) Estimate(t testing.TB, path, text string) *estimator.Estimate {
	t.Helper()
	var errs source.Errors
	g := b.Read(source.NewFile(path, []byte(text)), estimator.Options{}, &errs)
	if g == nil {
		t.Fatalf("%s cannot be read: %v", path, errs.Err())
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatalf("%s cannot be estimated: %v", path, err)
	}
	return e
}
