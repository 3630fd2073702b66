package catalog

import (
	"os"
	"path/filepath"
	"testing"

	"elbowroom/blocks/source"
	"elbowroom/blocks/source/sourcetest"
)

// Every bad file has exactly the mistakes that its comments state.
func TestBadFiles(t *testing.T) {
	paths, err := filepath.Glob("../testdata/catalog/bad/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatalf("testdata/catalog/bad holds no files (%v)", err)
	}
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			lib, err := Open()
			if err != nil {
				t.Fatal(err)
			}
			file := source.NewFile(filepath.Base(path), text)
			var errs source.Errors
			Add(lib, file, &errs)
			sourcetest.Check(t, file, &errs)
		})
	}
}
