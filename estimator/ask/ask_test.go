package ask_test

import (
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// estimated reads a graph's text, with the files it names beside its path, and
// estimates it.
func estimated(t testing.TB, path, text string) *estimator.Estimate {
	t.Helper()
	e, _ := counted(t, path, text)
	return e
}

// counted is estimated, and how often the files that the graph names were asked
// for since: once for each graph that was tried.
func counted(t testing.TB, path, text string) (*estimator.Estimate, *atomic.Int64) {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	boards := map[string]string{}
	asked := new(atomic.Int64)
	load := func(name source.Value) string {
		asked.Add(1)
		file := name.Text("a path")
		if board, known := boards[file]; known {
			return board
		}
		text, err := os.ReadFile(filepath.Join(filepath.Dir(path), file))
		if err != nil {
			name.Fail("", "%v", err)
			return ""
		}
		boards[file] = catalog.Add(lib, source.NewFile(file, text), &errs)
		return boards[file]
	}
	g := estimator.Read(source.NewFile(path, []byte(text)), lib, estimator.Options{Load: load}, &errs)
	if g == nil {
		t.Fatalf("%s cannot be read: %v", path, errs.Err())
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatalf("%s cannot be estimated: %v", path, err)
	}
	asked.Store(0)
	return e, asked
}

// good are the estimates of the graphs in testdata.
func good(t testing.TB) map[string]*estimator.Estimate {
	t.Helper()
	paths, err := filepath.Glob("../../testdata/graphs/good/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatalf("testdata holds no graphs (%v)", err)
	}
	all := map[string]*estimator.Estimate{}
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		all[filepath.Base(path)] = estimated(t, path, string(text))
	}
	return all
}
