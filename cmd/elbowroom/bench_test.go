package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// chainOf writes a graph of so many nodes, each fed by the one before.
func chainOf(b *testing.B, nodes int) string {
	b.Helper()
	kinds := []string{"one-pole", "gain", "delay, time: 10 ms", "state-variable", "soft-clip", "biquad"}
	var text strings.Builder
	text.WriteString("board: m7-600-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  n0: {block: noise}\n")
	for i := 1; i < nodes-1; i++ {
		fmt.Fprintf(&text, "  n%d: {block: %s, from: n%d}\n", i, kinds[i%len(kinds)], i-1)
	}
	fmt.Fprintf(&text, "  speaker: {block: audio-out, from: n%d}\n", nodes-2)
	file := filepath.Join(b.TempDir(), "chain.yaml")
	if err := os.WriteFile(file, []byte(text.String()), 0o644); err != nil {
		b.Fatal(err)
	}
	return file
}

// benchmark times one command in a warm process; it must end with an exit status.
func benchmark(b *testing.B, exit int, args ...string) {
	b.Helper()
	for b.Loop() {
		if code := run(context.Background(), strings.NewReader(""), io.Discard, io.Discard, args); code != exit {
			b.Fatalf("%v exits with %d, want %d", args, code, exit)
		}
	}
}

// chorusOf writes a graph of noises that all add up at one output: what looks at
// each pair of them would take long.
func chorusOf(b *testing.B, voices int) string {
	b.Helper()
	var nodes, from strings.Builder
	for i := range voices {
		fmt.Fprintf(&nodes, "  n%d: {block: noise}\n", i)
		fmt.Fprintf(&from, "n%d, ", i)
	}
	text := "board: m7-600-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n" + nodes.String() + "  speaker: {block: audio-out, from: [" + from.String() + "]}\n"
	file := filepath.Join(b.TempDir(), "chorus.yaml")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		b.Fatal(err)
	}
	return file
}

// BenchmarkStarted20 times the program as its user starts it, from the start of
// the process to its end: medians of a check of 20 nodes and of a program that
// does nothing, which tells what starting takes on this machine.
func BenchmarkStarted20(b *testing.B) {
	nothing := filepath.Join(b.TempDir(), "nothing.go")
	if err := os.WriteFile(nothing, []byte("package main\n\nfunc main() {}\n"), 0o644); err != nil {
		b.Fatal(err)
	}
	built := func(name, what string) string {
		linked, program := filepath.Join(b.TempDir(), name), filepath.Join(b.TempDir(), name)
		build := exec.Command("go", "build", "-o", linked, what)
		build.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := build.CombinedOutput(); err != nil {
			b.Fatalf("%v: %s", err, out)
		}
		// What the linker has just written starts slower than a copy of it.
		text, err := os.ReadFile(linked)
		if err != nil {
			b.Fatal(err)
		}
		if err := os.WriteFile(program, text, 0o755); err != nil {
			b.Fatal(err)
		}
		return program
	}
	graph, check, empty := filepath.Join(goodGraphs, "shadow-chorus.yaml"), built("elbowroom", "."), built("nothing", nothing)
	var checks, starts []float64
	timed := func(list *[]float64, exit int, program string, args ...string) {
		run := exec.Command(program, args...)
		began := time.Now()
		if err := run.Run(); run.ProcessState.ExitCode() != exit {
			b.Fatalf("%s ends with %v, want status %d", program, err, exit)
		}
		*list = append(*list, float64(time.Since(began))/1e6)
	}
	for b.Loop() {
		timed(&checks, exitUnsure, check, "check", graph)
		timed(&starts, exitFits, empty)
	}
	for name, list := range map[string][]float64{"ms/check": checks, "ms/nothing": starts} {
		slices.Sort(list)
		b.ReportMetric(list[len(list)/2], name)
	}
	b.ReportMetric(0, "ns/op")
}

func BenchmarkCheck20(b *testing.B)        { benchmark(b, exitFits, "check", chainOf(b, 20)) }
func BenchmarkCheck1000(b *testing.B)      { benchmark(b, exitOver, "check", chainOf(b, 1000)) }
func BenchmarkCheck10000(b *testing.B)     { benchmark(b, exitOver, "check", chainOf(b, 10000)) }
func BenchmarkCheckWide10000(b *testing.B) { benchmark(b, exitOver, "check", chorusOf(b, 9999)) }
func BenchmarkLimits60(b *testing.B)       { benchmark(b, exitFits, "limits", chainOf(b, 60)) }
func BenchmarkBoardsFor20(b *testing.B) {
	benchmark(b, exitFits, "boards", "--for", chainOf(b, 20))
}
func BenchmarkSplit60(b *testing.B) {
	benchmark(b, exitFits, "split", "--boards", "m7-600-sdram,m4f-100-128k", chainOf(b, 60))
}

// Twenty sample rates by twenty block sizes.
func BenchmarkSweep400(b *testing.B) {
	benchmark(b, exitFits, "sweep", "--format", "csv", "--over", "block_size=8..160/20", "--over", "sample_rate=24kHz..48kHz/20", chainOf(b, 20))
}

// The storm machine on a board that is too small for it.
func BenchmarkLighten(b *testing.B) {
	benchmark(b, exitFits, "lighten", "--board", "m7-216-320k", filepath.Join(goodGraphs, "storm-machine.yaml"))
}
