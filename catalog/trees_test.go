package catalog

import (
	"hash/crc32"
	"io/fs"
	"os"
	"path"
	"testing"

	"elbowroom/blocks/source"
)

// trees.bin holds every shipped file as it parses today. After a change of a
// file, ELBOWROOM_UPDATE=1 go test ./catalog writes it anew.
func TestTreesAreCurrent(t *testing.T) {
	var all []tree
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
		all = append(all, tree{name, crc32.ChecksumIEEE(text), string(v.AppendTree(nil))})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	packed := packTrees(all)
	if os.Getenv("ELBOWROOM_UPDATE") != "" {
		if err := os.WriteFile("trees.bin", packed, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if string(packed) != trees {
		t.Error("trees.bin is not what the catalog's files parse to: ELBOWROOM_UPDATE=1 go test ./catalog writes it anew")
	}
}

// A tree is used for the text that it was made of, and for no other.
func TestTreeOfAnotherText(t *testing.T) {
	const lantern, crank = "lantern.yaml", "crank.yaml"
	var trees []tree
	bodies := map[string]string{}
	for _, file := range []struct{ name, text string }{{crank, "turns: 7\n"}, {lantern, "wick: 3\n"}} {
		var errs source.Errors
		body := source.Parse(source.NewFile(file.name, []byte(file.text)), &errs).AppendTree(nil)
		bodies[file.name] = string(body)
		trees = append(trees, tree{file.name, crc32.ChecksumIEEE([]byte(file.text)), string(body)})
	}
	all := string(packTrees(trees))
	tests := []struct{ what, all, name, text, want string }{
		{"the first of two", all, crank, "turns: 7\n", bodies[crank]},
		{"the last of two", all, lantern, "wick: 3\n", bodies[lantern]},
		{"a text that has changed", all, lantern, "wick: 4\n", ""},
		{"another file", all, "gauze.yaml", "wick: 3\n", ""},
		{"no trees", "", lantern, "wick: 3\n", ""},
	}
	for _, tt := range tests {
		if got := findTree(tt.all, tt.name, []byte(tt.text)); got != tt.want {
			t.Errorf("for %s the tree is %q, expected %q", tt.what, got, tt.want)
		}
	}
}
