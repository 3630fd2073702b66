package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"
)

// The emulator's own log tells the same as the plugin, only more slowly:
// every block of code is listed once when it is translated, and
// with chaining off each execution is a line of its own. One program, gain on a
// core whose float arithmetic is in library functions, is run both ways.
func TestPluginTellsWhatTheLogTells(t *testing.T) {
	needTools(t, toolNames...)
	k := openGain(t)
	c, _ := findCore("m0plus")
	folder := t.TempDir()
	w := &workshop{folder: folder, core: c, bench: newBench(k, k.variants()[0], c)}
	program, err := w.build()
	if err != nil {
		t.Fatal(err)
	}
	listing, err := w.listing(program)
	if err != nil {
		t.Fatal(err)
	}
	var told []uint64
	walk := &walker{program: listing, run: func(s *stretch, _ bool) {
		for _, i := range s.code {
			told = append(told, i.address)
		}
	}}
	if _, err := emulate(c.machine, program, builtPlugin(t), walk.read); err != nil {
		t.Fatal(err)
	}
	logged := loggedInstructions(t, c.machine, program, filepath.Join(folder, "log"))
	if len(told) < 100_000 {
		t.Errorf("The plugin tells of %d instructions; the gain's points take more than 100,000.", len(told))
	}
	if !slices.Equal(told, logged) {
		at := 0
		for at < min(len(told), len(logged)) && told[at] == logged[at] {
			at++
		}
		t.Errorf("The plugin tells of %d instructions and the log of %d; they part after %d.", len(told), len(logged), at)
	}
}

var (
	logTitle  = regexp.MustCompile(`^IN:`)
	logListed = regexp.MustCompile(`^0x([0-9a-f]{8}): `)
	logTraced = regexp.MustCompile(`^Trace .*\[[0-9a-f]+/([0-9a-f]+)/`)
)

// loggedInstructions are the addresses of the instructions below highCode that a
// program executes, in order, by the emulator's log.
func loggedInstructions(t *testing.T, machine, program, log string) []uint64 {
	t.Helper()
	out, err := exec.Command(emulator, "-M", machine, "-nographic", "-monitor", "none", "-serial", "none",
		"-semihosting-config", "enable=on,target=native", "-kernel", program,
		"-d", "in_asm,exec,nochain", "-dfilter", fmt.Sprintf("0x0..%#x", highCode-1), "-D", log).CombinedOutput()
	if err != nil {
		t.Fatalf("The emulator failed: %v\n%s", err, out)
	}
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	var executed, listed []uint64
	codes := map[uint64][]uint64{}
	number := func(hex []byte) uint64 {
		v, err := strconv.ParseUint(string(hex), 16, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	lines := bytes.NewBuffer(text)
	for {
		line, err := lines.ReadBytes('\n')
		if err == io.EOF {
			return executed
		}
		switch traced := logTraced.FindSubmatch(line); {
		case logTitle.Match(line):
			listed = nil
		case traced != nil:
			executed = append(executed, codes[number(traced[1])&^1]...)
		default:
			if m := logListed.FindSubmatch(line); m != nil {
				listed = append(listed, number(m[1]))
				codes[listed[0]] = listed
			}
		}
	}
}
