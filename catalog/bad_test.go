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

// FuzzAdd edits files of the catalog at random, by bytes and by exchanging one
// word for another: reading never panics, every mistake has its place in the file,
// and what reads can be named.
func FuzzAdd(f *testing.F) {
	var words []string
	for _, pattern := range []string{"../testdata/catalog/bad/*.yaml", "../testdata/blocks/*.yaml", "../testdata/boards/*.yaml", "blocks/*/[a-d]*.yaml", "boards/m*.yaml", "cores/m*.yaml", "hearing.yaml"} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			f.Fatalf("%s names no files (%v)", pattern, err)
		}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(string(text), uint16(0), uint16(0))
			f.Add(string(text), uint16(len(text)/13), uint16(len(words)))
			words = append(words, sourcetest.Words(text)...)
		}
	}
	f.Fuzz(func(t *testing.T, text string, at, word uint16) {
		if word > 0 {
			text = sourcetest.Exchange(text, int(at), words[int(word)%len(words)])
		}
		lib, err := Open()
		if err != nil {
			t.Fatal(err)
		}
		file := source.NewFile("fuzzed.yaml", []byte(text))
		var errs source.Errors
		board := Add(lib, file, &errs)
		sourcetest.Sound(t, file, &errs)
		if errs.Len() > 0 && board != "" {
			t.Errorf("%d mistakes, and a board %q all the same", errs.Len(), board)
		}
		if board == "" {
			return
		}
		if _, err := lib.Board(board); err != nil {
			t.Errorf("the board %q was read, and cannot be named: %v", board, err)
		}
	})
}
