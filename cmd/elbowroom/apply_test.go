package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// onLittleBoard is a good graph on a board that is too small for it.
func onLittleBoard(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(goodGraphs, "tide-organ.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// A file that changed since it was read stays as it is, and so does one that is
// no plain file; a link stays a link.
func TestReplace(t *testing.T) {
	folder := t.TempDir()
	file, link := filepath.Join(folder, "storm.yaml"), filepath.Join(folder, "link.yaml")
	if err := os.WriteFile(file, []byte("new\n"), 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(file, link); err != nil {
		t.Skip(err)
	}
	if err := replace(file, "old\n", "lighter\n"); err == nil || !strings.Contains(err.Error(), "changed since it was read") {
		t.Errorf("a file that was changed is answered by '%v'", err)
	}
	if err := replace(folder, "", "lighter\n"); err == nil {
		t.Error("a folder is replaced by a text")
	}
	if err := replace(link, "new\n", "lighter\n"); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is no link any more (%v)", err)
	}
	text, err := os.ReadFile(file)
	if err != nil || string(text) != "lighter\n" {
		t.Errorf("the file holds '%s' (%v), want the new text", text, err)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("the file's permissions are %v (%v), want 640 as before", info.Mode().Perm(), err)
	}
}

// Killed at any moment, --apply leaves the old file or the new one, whole, and
// nothing else behind that a graph file could be taken for.
func TestApplyKilled(t *testing.T) {
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	elbowroom := filepath.Join(folder, "elbowroom")
	if err := os.Symlink(program, elbowroom); err != nil {
		t.Skip(err) // the test's own program acts by the name that it is called by
	}
	old := onLittleBoard(t)
	file := filepath.Join(folder, "organ.yaml")
	apply := func(after time.Duration) (text string, killed bool) {
		if err := os.WriteFile(file, []byte(old), 0o644); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(elbowroom, "lighten", "--apply", "1", file)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if after > 0 {
			time.Sleep(after)
			_ = cmd.Process.Kill() // SIGKILL; it may have ended
		}
		err := cmd.Wait()
		now, errRead := os.ReadFile(file)
		if errRead != nil {
			t.Fatal(errRead)
		}
		return string(now), err != nil
	}
	began := time.Now()
	lighter, failed := apply(0)
	whole := time.Since(began)
	if failed || lighter == old {
		t.Fatalf("the plan was not applied:\n%s", lighter)
	}
	kills := 0
	for i := range 24 {
		text, killed := apply(whole * time.Duration(i+1) / 20)
		if killed {
			kills++
		}
		if text != old && text != lighter {
			t.Errorf("killed after %v, the file is neither the old nor the new one:\n%s", whole*time.Duration(i+1)/20, text)
		}
	}
	if kills == 0 {
		t.Error("the program always ended before it was killed, so that nothing was shown")
	}
}
