package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
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

func benchmarkCheck(b *testing.B, nodes int) {
	file := chainOf(b, nodes)
	for b.Loop() {
		if code := run(context.Background(), strings.NewReader(""), io.Discard, io.Discard, []string{"check", file}); code == exitWrong {
			b.Fatalf("check of %d nodes exits with %d", nodes, code)
		}
	}
}

func BenchmarkCheck20(b *testing.B)    { benchmarkCheck(b, 20) }
func BenchmarkCheck10000(b *testing.B) { benchmarkCheck(b, 10000) }

func benchmarkQuestion(b *testing.B, nodes int, question ...string) {
	args := append(question, chainOf(b, nodes))
	for b.Loop() {
		if code := run(context.Background(), strings.NewReader(""), io.Discard, io.Discard, args); code != exitFits {
			b.Fatalf("%s of %d nodes exits with %d", question[0], nodes, code)
		}
	}
}

func BenchmarkBoardsFor20(b *testing.B) { benchmarkQuestion(b, 20, "boards", "--for") }
func BenchmarkSplit60(b *testing.B) {
	benchmarkQuestion(b, 60, "split", "--boards", "m7-600-sdram,m4f-100-128k")
}
