package main

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
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
	kills, times := 0, 20
	if testing.Short() {
		times = 5
	}
	for i := range times + times/5 {
		moment := whole * time.Duration(i+1) / time.Duration(times)
		text, killed := apply(moment)
		if killed {
			kills++
		}
		if text != old && text != lighter {
			t.Errorf("killed after %v, the file is neither the old nor the new one:\n%s", moment, text)
		}
	}
	if kills == 0 {
		t.Error("the program always ended before it was killed, so that nothing was shown")
	}
}

// Every good graph that does not fit, but the one that nothing can make fit, is
// made to fit by the first plan, and in its file nothing differs but what the
// plan names: in each line only words of the edits, with comments, columns and
// line ends as they were.
func TestApplyToEveryGraph(t *testing.T) {
	folder := t.TempDir() // with the files that graphs name, where they look for them
	if err := os.CopyFS(folder, os.DirFS(filepath.Join(goodGraphs, "..", ".."))); err != nil {
		t.Fatal(err)
	}
	paths, err := filepath.Glob(filepath.Join(folder, "graphs", "good", "*.yaml"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("there are no good graphs (%v)", err)
	}
	applied := 0
	for _, path := range paths {
		name := filepath.Base(path)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), "\n# verdict: over\n") || name == "endless-train.yaml" {
			continue
		}
		for _, ends := range []string{"\n", "\r\n"} {
			old := strings.ReplaceAll(string(text), "\n", ends)
			if err := os.WriteFile(path, []byte(old), 0o644); err != nil {
				t.Fatal(err)
			}
			var out strings.Builder
			if code := run(context.Background(), strings.NewReader(""), &out, &out, []string{"lighten", "--apply", "1", path}); code != exitFits {
				t.Errorf("%s: lighten --apply 1 exits with %d:\n%s", name, code, &out)
				continue
			}
			if code := run(context.Background(), strings.NewReader(""), &out, &out, []string{"check", "--quiet", path}); code != exitFits {
				t.Errorf("%s: after that check exits with %d:\n%s", name, code, &out)
			}
			now, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			before, after := strings.Split(old, ends), strings.Split(string(now), ends)
			if strings.Contains(strings.ReplaceAll(string(now), ends, ""), "\n") {
				t.Errorf("%s: a line end is not like the others", name)
			}
			changed := 0
			for i, k := 0, 0; i < len(before) || k < len(after); i, k = i+1, k+1 {
				switch {
				case i < len(before) && k < len(after) && before[i] == after[k]:
					continue
				case i+1 < len(before) && k < len(after) && before[i+1] == after[k]:
					k-- // taken out
				case k+1 < len(after) && i < len(before) && before[i] == after[k+1]:
					i-- // added
				case i < len(before) && k < len(after):
					a, b := before[i], after[k]
					if comment(a) != comment(b) || strings.SplitN(a, ":", 2)[0] != strings.SplitN(b, ":", 2)[0] {
						t.Errorf("%s: more than values differ between\n%s\n%s", name, a, b)
					}
				}
				changed++
			}
			if changed == 0 || changed > 8 {
				t.Errorf("%s: %d lines differ, want a few", name, changed)
			}
			applied++
		}
	}
	if applied < 6 {
		t.Errorf("plans were applied to %d files only, too few to show anything", applied)
	}
}

// comment is the comment at the end of a line.
func comment(line string) string {
	if i := strings.Index(line, " #"); i >= 0 {
		return line[i:]
	}
	return ""
}

// Fewer plans are the first of more. Without that, --plans 1 --apply 1 would
// write another plan than the one that was shown: here one that loses as much,
// but does not leave free what is to stay free.
func TestFewerPlansAreTheFirst(t *testing.T) {
	file := filepath.Join(t.TempDir(), "basses.yaml")
	graph := `board: m7-216-320k
sample_rate: 48 kHz
block_size: 32
reserve: {cpu: 25%}
nodes:
  clock:   {block: gate-in, rate: 10 Hz}
  row:     {block: step-sequence, from: {clock: clock}, steps: 16}
  last:    {block: limiter, from: basses}
  speaker: {block: audio-out, from: last}
voices:
  basses:
    count: 3
    nodes:
      saw:   {block: bandlimited-saw, pitch: {from: row, span: 30 Hz..120 Hz, curve: exponential}}
      env:   {block: adsr, from: {gate: row.gate}}
      dark:  {block: ladder, from: saw, cutoff: {from: env, span: 80 Hz..3 kHz, curve: exponential}}
      rough: {block: oversampled-clip, from: dark}
    out: rough
`
	if err := os.WriteFile(file, []byte(graph), 0o644); err != nil {
		t.Fatal(err)
	}
	plans := func(n int) []Plan {
		var out, complaints strings.Builder
		if exit := run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"lighten", "--format", "json", "--plans", strconv.Itoa(n), file}); exit != exitFits {
			t.Fatalf("lighten --plans %d exits with %d: %s", n, exit, complaints.String())
		}
		var l Lighter
		if err := json.Unmarshal([]byte(out.String()), &l); err != nil {
			t.Fatal(err)
		}
		return l.Plans
	}
	all := plans(3)
	if len(all) != 3 {
		t.Fatalf("there are %d plans, want 3", len(all))
	}
	for n := 1; n < 3; n++ {
		if few := plans(n); !reflect.DeepEqual(few, all[:n]) {
			t.Errorf("--plans %d gives\n%+v\nwant the first of\n%+v", n, few, all)
		}
	}
}
