package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// transcript is what a program has printed so far.
type transcript struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (t *transcript) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.text.Write(p)
}

// take waits until the text holds what is wanted, and empties it.
func (t *transcript) take(tb testing.TB, want string) string {
	tb.Helper()
	for range 3000 {
		t.mu.Lock()
		text := t.text.String()
		if strings.Contains(text, want) {
			t.text.Reset()
			t.mu.Unlock()
			return text
		}
		t.mu.Unlock()
		time.Sleep(10 * time.Millisecond)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	tb.Fatalf("for half a minute nobody said '%s', only\n%s", want, t.text.String())
	return ""
}

// watched starts a command that watches, and returns what it prints and a
// function that ends it.
func watched(tb testing.TB, args ...string) (out, complaints *transcript, end func() int) {
	out, complaints = &transcript{}, &transcript{}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan int)
	go func() { ended <- run(ctx, strings.NewReader(""), out, complaints, append(args, "--watch")) }()
	var once sync.Once
	code := 0
	end = func() int {
		once.Do(func() {
			cancel()
			code = <-ended
		})
		return code
	}
	tb.Cleanup(func() { end() })
	return out, complaints, end
}

const watchedGraph = `board: m4f-100-128k
sample_rate: 48 kHz
block_size: 48
nodes:
  in:   {block: audio-in}
  echo: {block: delay, from: in, time: TIME}
  out:  {block: audio-out, from: echo}
`

func save(tb testing.TB, path, time string) {
	tb.Helper()
	if err := os.WriteFile(path, []byte(strings.Replace(watchedGraph, "TIME", time, 1)), 0o644); err != nil {
		tb.Fatal(err)
	}
}

// A save is answered, also one that puts a new file in the place of the old, as
// many editors do; a file that is broken is told of, and answered again once it
// is whole.
func TestWatch(t *testing.T) {
	for _, command := range [][]string{{"check", "--quiet"}, {"limits"}, {"sweep"}, {"delays"}} {
		t.Run(command[0], func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "echo.yaml")
			save(t, path, "100 ms")
			args := append(command, path)
			once := func() string {
				var text, complaints strings.Builder
				run(context.Background(), strings.NewReader(""), &text, &complaints, args)
				return text.String()
			}
			out, complaints, end := watched(t, args...)
			out.take(t, once())

			save(t, path, "200 ms")
			out.take(t, once())

			save(t, path+".new", "300 ms")
			if err := os.Rename(path+".new", path); err != nil {
				t.Fatal(err)
			}
			out.take(t, once())

			save(t, path, "much")
			complaints.take(t, "'much' is not a time")
			save(t, path, "400 ms")
			if text := out.take(t, once()); strings.Contains(text, "much") {
				t.Errorf("after the file was broken and mended it says\n%s", text)
			}
			if code := end(); code != exitFits {
				t.Errorf("interrupted it exits with %d, want 0", code)
			}
		})
	}
}

// What a graph names is watched too, wherever it lies.
func TestWatchNamedFiles(t *testing.T) {
	folder := t.TempDir()
	board := filepath.Join(folder, "boards", "box.yaml")
	if err := os.Mkdir(filepath.Dir(board), 0o755); err != nil {
		t.Fatal(err)
	}
	like := func(knobs string) {
		if err := os.WriteFile(board, []byte("board: box\nlike: m7-480-sdram\njacks: {audio_out: 2, knob: "+knobs+"}\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	like("1")
	path := filepath.Join(folder, "graph.yaml")
	if err := os.WriteFile(path, []byte("board: boards/box.yaml\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  one: {block: knob}\n  two: {block: knob}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	out, _, _ := watched(t, "check", "--quiet", path)
	out.take(t, "the board has 1")
	like("2")
	out.take(t, "fits")
}

func TestWatchRefusesStandardInput(t *testing.T) {
	var out, complaints strings.Builder
	code := run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"limits", "-", "--watch"})
	if code != exitWrong || !strings.Contains(complaints.String(), "--watch looks at files, and standard input is none") {
		t.Errorf("watching standard input exits with %d and says %q", code, complaints.String())
	}
}

// BenchmarkWatch is the time from a save to its answer.
func BenchmarkWatch(b *testing.B) {
	path := filepath.Join(b.TempDir(), "echo.yaml")
	save(b, path, "100 ms")
	out, _, _ := watched(b, "check", path)
	out.take(b, "modelled")
	for i := 0; b.Loop(); i++ {
		save(b, path, []string{"200 ms", "300 ms"}[i%2])
		for done := false; !done; {
			out.mu.Lock()
			done = out.text.Len() > 0
			out.text.Reset()
			out.mu.Unlock()
			time.Sleep(time.Millisecond)
		}
	}
}
