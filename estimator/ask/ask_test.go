package ask_test

import (
	"os"
	"path/filepath"
	"testing"

	"elbowroom/estimator"
	"elbowroom/estimator/estimatortest"
)

// estimated reads a graph's text, with the files it names beside its path, and
// estimates it.
func estimated(t testing.TB, path, text string) *estimator.Estimate {
	t.Helper()
	return estimatortest.New(t).Estimate(t, path, text)
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
