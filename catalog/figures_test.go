package catalog

import (
	"io/fs"
	"os"
	"path"
	"reflect"
	"strings"
	"testing"

	"elbowroom/blocks"
)

// emulations reads every file of the folder emulated, in order.
func emulations(t *testing.T) []*blocks.Emulation {
	t.Helper()
	lib, err := Open()
	if err != nil {
		t.Fatal(err)
	}
	var all []*blocks.Emulation
	files := os.DirFS("emulated")
	if err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || path.Ext(name) != ".json" {
			return err
		}
		b, err := lib.Block(strings.TrimSuffix(path.Base(name), ".json"))
		if err != nil {
			return err
		}
		e, err := LoadEmulation(files, path.Dir(name), b)
		all = append(all, e)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return all
}

// figures.bin holds every emulated figure of the files. After a change of one,
// ELBOWROOM_UPDATE=1 go test ./catalog writes it anew.
func TestFiguresAreCurrent(t *testing.T) {
	all := emulations(t)
	packed := string(packFigures(all))
	if os.Getenv("ELBOWROOM_UPDATE") != "" {
		if err := os.WriteFile("figures.bin", []byte(packed), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if packed != figures {
		t.Error("figures.bin is not what the files of the folder emulated say: ELBOWROOM_UPDATE=1 go test ./catalog writes it anew")
	}
	for _, e := range all {
		got, ok := findFigures(packed, e.Core, e.Block, every, every)
		if !ok || !reflect.DeepEqual(got, e) {
			t.Errorf("the packed figures of %s on %s are not those of its file", e.Block, e.Core)
		}
	}
	if len(all) == 0 {
		t.Error("the folder emulated holds no figures")
	}
	if e, ok := findFigures(packed, "m4f", "no-such-block", every, every); ok {
		t.Errorf("a block that there is not has the figures %+v", e)
	}
}
