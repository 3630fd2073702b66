package estimator_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks/source"
	"elbowroom/blocks/source/sourcetest"
	"elbowroom/catalog"
	"elbowroom/estimator"
	"elbowroom/estimator/estimatortest"
)

// read reads a graph with the shipped catalog. Files that it names lie beside it.
func read(t testing.TB, file *source.File) (*estimator.Graph, *source.Errors) {
	t.Helper()
	var errs source.Errors
	return estimatortest.New(t).Read(file, estimator.Options{}, &errs), &errs
}

func graphs(t testing.TB, folder string) map[string][]byte {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("../testdata/graphs", folder, "*.yaml"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("testdata/graphs/%s holds no graphs (%v)", folder, err)
	}
	texts := map[string][]byte{}
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts[path] = text
	}
	return texts
}

// Every bad graph has exactly the mistakes that its comments state.
func TestBadGraphs(t *testing.T) {
	for path, text := range graphs(t, "bad") {
		t.Run(filepath.Base(path), func(t *testing.T) {
			file := source.NewFile(path, text)
			g, errs := read(t, file)
			if g != nil {
				t.Error("a graph came of a file with mistakes")
			}
			sourcetest.Check(t, file, errs)
		})
	}
}

// What no comment can stand in.
func TestGraphsThatAreNoText(t *testing.T) {
	tests := []struct {
		name, text, want string
		pos              source.Pos
	}{
		{"an empty file", "", "the file is empty", source.Pos{}},
		{"blanks only", "\n  \n\n", "the file is empty", source.Pos{}},
		{"a byte order mark only", "\ufeff", "the file is empty", source.Pos{}},
		{"a zero byte", "board: m7-480-sdram\x00\n", "this is not a text file in UTF-8", source.Pos{}},
		{"a program", "\x7fELF\x01\x01\x01", "a control character stands here, which text does not hold", source.Pos{Line: 1, Column: 1}},
		{"the colours of a terminal", "board: x\r\ntempo: \x1b[31m60 bpm", "a control character stands here, which text does not hold", source.Pos{Line: 2, Column: 8}},
		{"a quote without end", "board: 'x\nnodes: {}\n", "not readable as YAML: found unexpected end of stream", source.Pos{Line: 3, Column: 1}},
		{"UTF-16", "\xff\xfeb\x00o\x00", "this is not a text file in UTF-8", source.Pos{}},
		{"Latin-1", "board: gr\xfcn\n", "this is not a text file in UTF-8", source.Pos{}},
		{"5 MiB of blanks", strings.Repeat(" ", 5<<20), "the file has 5242880 bytes, more than the 2097152 that are read", source.Pos{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			g, errs := read(t, source.NewFile("night.yaml", []byte(tt.text)))
			if g != nil {
				t.Error("a graph came of a file that holds none")
			}
			if list := errs.List(); len(list) != 1 || list[0].Message != tt.want || list[0].Pos != tt.pos {
				t.Errorf("the mistakes are %v, want only %q at %v", errs.Err(), tt.want, tt.pos)
			}
		})
	}
}

// A graph that names files is refused where none can be read.
func TestReadWithoutOtherFiles(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	text := "board: own/box.yaml\nsample_rate: 48 kHz\nblock_size: 48\ncatalog: own/sheet.yaml\nnodes: {sheet: {block: sheet}}\n"
	var errs source.Errors
	g := estimator.Read(source.NewFile("night.yaml", []byte(text)), lib, estimator.Options{}, &errs)
	if g != nil {
		t.Error("a graph came of a file that names others, which nobody reads")
	}
	var places []source.Pos
	for _, e := range errs.List() {
		if e.Message != "other files are not read here" {
			t.Errorf("a mistake says %q, want only that other files are not read here", e.Message)
		}
		places = append(places, e.Pos)
	}
	if want := []source.Pos{{Line: 1, Column: 8}, {Line: 4, Column: 10}}; !slices.Equal(places, want) {
		t.Errorf("the mistakes lie at %v, want %v, the two names of files", places, want)
	}
}

// FuzzRead edits graphs at random, by bytes and by exchanging one word for
// another: reading never panics, every mistake has its place in the file, and
// what reads can be estimated.
func FuzzRead(f *testing.F) {
	var words []string
	for _, folder := range []string{"good", "bad"} {
		for _, text := range graphs(f, folder) {
			f.Add(string(text), uint16(0), uint16(0))
			f.Add(string(text), uint16(len(text)/11), uint16(len(words)))
			words = append(words, sourcetest.Words(text)...)
		}
	}
	f.Fuzz(func(t *testing.T, text string, at, word uint16) {
		if word > 0 {
			text = sourcetest.Exchange(text, int(at), words[int(word)%len(words)])
		}
		file := source.NewFile("../testdata/graphs/bad/fuzzed.yaml", []byte(text))
		g, errs := read(t, file)
		sourcetest.Sound(t, file, errs)
		if (g == nil) != (errs.Len() > 0) {
			t.Fatalf("reading gave a graph: %t, and %d mistakes", g != nil, errs.Len())
		}
		if g == nil {
			return
		}
		if e, err := g.Estimate(); (e == nil) == (err == nil) {
			t.Errorf("an estimate is %v, and its error %v", e, err)
		}
	})
}
