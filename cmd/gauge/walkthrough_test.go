package main

import (
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
)

// step is a fence of the walk-through: commands, or a file to be written.
type walkStep struct {
	commands []string
	printed  []string // what each command must print; "" where the page does not show it
	file     string
	text     string
}

// walkThrough reads the steps out of DEVELOPERS.md.
func walkThrough(t *testing.T, page string) (steps []walkStep) {
	t.Helper()
	_, rest, found := strings.Cut(page, "\n### From nothing to a figure\n")
	section, _, ends := strings.Cut(rest, "\n## ")
	if !found || !ends {
		t.Fatal("DEVELOPERS.md has no section 'From nothing to a figure'.")
	}
	parts := strings.Split("\n"+section, "\n```\n")
	named := regexp.MustCompile("`([^`]+\\.(?:yaml|c))`:$")
	for i := 1; i < len(parts); i += 2 {
		text := parts[i] + "\n"
		if !strings.HasPrefix(text, "$ ") {
			name := named.FindStringSubmatch(strings.TrimSpace(parts[i-1]))
			if name == nil {
				t.Fatalf("No file is named before the fence that begins '%s'.", strings.SplitN(text, "\n", 2)[0])
			}
			steps = append(steps, walkStep{file: name[1], text: text})
			continue
		}
		var s walkStep
		for _, line := range strings.SplitAfter(text, "\n") {
			if command, ok := strings.CutPrefix(line, "$ "); ok {
				s.commands, s.printed = append(s.commands, strings.TrimSpace(command)), append(s.printed, "")
			} else {
				s.printed[len(s.printed)-1] += line
			}
		}
		steps = append(steps, s)
	}
	return steps
}

// goFiles are the texts of the Go files below a folder.
func goFiles(t *testing.T, root string) map[string]string {
	t.Helper()
	texts := map[string]string{}
	if err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".go" {
			return err
		}
		text, err := os.ReadFile(path)
		texts[path] = string(text)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return texts
}

// The walk-through of DEVELOPERS.md makes a block in a copy of the project, by
// the commands and files that stand there and with no Go written: it is read,
// checked, timed and packed, a graph takes it, and its kernel gives the mean of
// two samples.
func TestWalkThrough(t *testing.T) {
	if testing.Short() {
		t.Skip("It builds a copy of the project.")
	}
	needTools(t, append([]string{"cc", "go"}, toolNames...)...)
	root := t.TempDir()
	for _, part := range []string{"blocks", "catalog", "cmd", "estimator", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md"} {
		if out, err := exec.Command("cp", "-R", filepath.Join("../..", part), root).CombinedOutput(); err != nil {
			t.Fatalf("Copying the project: %v: %s", err, out)
		}
	}
	page, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	before := goFiles(t, root)
	printed := map[string]string{}
	for _, s := range walkThrough(t, string(page)) {
		if s.file != "" {
			if err := os.WriteFile(filepath.Join(root, s.file), []byte(s.text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		for i, command := range s.commands {
			c := exec.Command("sh", "-c", command)
			c.Dir = root
			var messages strings.Builder
			c.Stderr = &messages
			out, err := c.Output()
			if err != nil {
				t.Fatalf("'%s' fails: %v\n%s%s", command, err, out, messages.String())
			}
			if s.printed[i] != "" && s.printed[i] != string(out) {
				t.Errorf("'%s' prints\n%s, and the page shows\n%s", command, out, s.printed[i])
			}
			printed[command] = string(out)
		}
	}
	if !maps.Equal(before, goFiles(t, root)) {
		t.Error("The walk-through wrote Go; a block needs none.")
	}
	if got := printed["go run ./cmd/elbowroom check draught.yaml"]; !strings.Contains(got, "soft") {
		t.Errorf("The graph's answer does not name the new block's node:\n%s", got)
	}
	if got := printed["go run ./cmd/elbowroom blocks two-point-mean"]; !strings.Contains(got, "compiled and timed on m4f") || !strings.Contains(got, "y[n] = (x[n] + x[n-1]) / 2") {
		t.Errorf("The page of the new block shows no emulated figures or not its equation:\n%s", got)
	}

	lib := &blocks.Library{}
	path := filepath.Join(root, "catalog", "blocks", "filter", "two-point-mean.yaml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	catalog.Add(lib, source.NewFile(path, text), &errs)
	b, err := lib.Block("two-point-mean")
	if err != nil || errs.Err() != nil {
		t.Fatalf("The new entry is not one that the catalog reads: %v, %v.", err, errs.Err())
	}
	kernels := filepath.Join(root, "blocks", "kernels")
	k, err := openKernel(kernels, b)
	if err != nil {
		t.Fatal(err)
	}
	h := &hosted{kernel: k, blocks: 2, rendering: rendering{
		Block: b.Name, Channels: 1, Rate: 48000, ControlRate: 1000, BlockSize: 4, Frames: 8,
		Inputs: map[string][][]float32{"in": {{1, 0, 0, 0.5, -0.5, 0, 0, 0}}},
	}}
	program := filepath.Join(root, "host")
	if err := os.WriteFile(program+".c", []byte(h.program()), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := call("", "cc", "-std=c11", "-I"+kernels, program+".c", "-o", program, "-lm"); err != nil {
		t.Fatal(err)
	}
	c := exec.Command(program)
	c.Stdin = strings.NewReader(string(h.input()))
	raw, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	// By hand, over the edge of a block.
	if got, want := h.output(t, raw)["out"][0], []float32{0.5, 0.5, 0, 0.25, 0, -0.25, 0, 0}; !slices.Equal(got, want) {
		t.Errorf("The kernel gives %s, want %s.", fmt.Sprint(got), fmt.Sprint(want))
	}
}
