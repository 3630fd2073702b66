package catalog

import (
	"io/fs"
	"os"
	"path"
	"testing"

	"elbowroom/blocks/source"
)

// trees.bin holds every shipped file as it parses today. After a change of a
// file, ELBOWROOM_UPDATE=1 go test ./catalog writes it anew.
func TestTreesAreCurrent(t *testing.T) {
	var all []byte
	err := fs.WalkDir(shipped, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || path.Ext(name) != ".yaml" {
			return err
		}
		text, err := fs.ReadFile(shipped, name)
		if err != nil {
			return err
		}
		var errs source.Errors
		v := source.Parse(source.NewFile(name, text), &errs)
		if err := errs.Err(); err != nil {
			return err
		}
		var ok bool
		if all, ok = appendTree(all, name, string(text), v); !ok {
			t.Errorf("%s holds a value that a tree has no place for", name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if os.Getenv("ELBOWROOM_UPDATE") != "" {
		if err := os.WriteFile("trees.bin", all, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if string(all) != trees {
		t.Error("trees.bin is not what the catalog's files parse to: ELBOWROOM_UPDATE=1 go test ./catalog writes it anew")
	}
}

// A tree is used for the text that it was made of, and for no other.
func TestTreeOfAnotherText(t *testing.T) {
	const name = "lantern.yaml"
	var errs source.Errors
	v := source.Parse(source.NewFile(name, []byte("wick: 3\n")), &errs)
	all, ok := appendTree(nil, name, "wick: 3\n", v)
	if !ok {
		t.Fatal("a plain mapping has no compact form")
	}
	tests := []struct {
		what, all, name, text string
		found                 bool
	}{
		{"the text itself", string(all), name, "wick: 3\n", true},
		{"a text that has changed", string(all), name, "wick: 4\n", false},
		{"another file", string(all), "crank.yaml", "wick: 3\n", false},
		{"trees that are cut short", string(all[:len(all)-1]), name, "wick: 3\n", false},
		{"no trees", "", name, "wick: 3\n", false},
	}
	for _, tt := range tests {
		if got := treeOf(tt.all, tt.name, tt.text) != ""; got != tt.found {
			t.Errorf("for %s, that a tree is found is %v", tt.what, got)
		}
	}
}
