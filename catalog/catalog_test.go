package catalog

import "testing"

// Every shipped file reads without a mistake.
func TestEveryFileReads(t *testing.T) {
	lib, err := Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range lib.BlockNames() {
		if _, err := lib.Block(name); err != nil {
			t.Errorf("block %s:\n%v", name, err)
		}
	}
	for _, name := range lib.CoreNames() {
		if _, err := lib.Core(name); err != nil {
			t.Errorf("core %s:\n%v", name, err)
		}
	}
	for _, name := range lib.BoardNames() {
		if _, err := lib.Board(name); err != nil {
			t.Errorf("board %s:\n%v", name, err)
		}
	}
	if _, err := lib.Hearing(); err != nil {
		t.Errorf("hearing:\n%v", err)
	}
}
