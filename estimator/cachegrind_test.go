package estimator

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator/outside"
)

// walk is a reference kernel on a host with a simulated cache, and the node it
// is in a graph.
type walk struct {
	name    string
	node    string // as a graph file writes it
	params  string // the same in C
	defines []string
	moved   string // what audio moves, held at a value, in C
	inputs  int
	buffers int
	tables  int
	beside  int     // bytes that the rest of a graph reads between two blocks
	blocks  int     // that are run; 0: 250
	often   bool    // also where only a few are asked for
	within  float64 // share by which the simulated cache may differ
}

// Line fills of the reference kernels in cachegrind, the cache simulator of
// valgrind, with the data cache of a Cortex-M7, against those of the model. The
// acceptance is 10 % for what goes in order and 20 % for several taps.
func TestLinesAgainstCachegrind(t *testing.T) {
	const stream, tap = 0.10, 0.20
	// The passes of a transform fetch its frame once or in each of them, by the model: of
	// a short frame some is still there from the last, and of a long one some stays between
	// the passes.
	const frames = 0.5
	// Reads that creep find what the write left behind them, which the model fetches again.
	const creeping = 0.30
	// Grains begin at chance places, of which it takes some hundred to have a mean.
	const chance = 2000
	plain := []string{"INTERPOLATION_NONE", "FORMAT_FLOAT32"}
	short := []string{"INTERPOLATION_NONE", "FORMAT_INT16"}
	straight := []string{"INTERPOLATION_LINEAR", "FORMAT_FLOAT32"}
	floats := []string{"FORMAT_FLOAT32"}
	for _, w := range []walk{
		{name: "a delay", node: "{block: delay, time: 500 ms}", params: "0.5f, 0, 1", defines: plain, within: stream},
		{name: "a delay of 16 bits", node: "{block: delay, time: 500 ms, format: int16}", params: "0.5f, 0, 1", defines: short, within: stream, often: true},
		{name: "a delay of two channels", node: "{block: delay, time: 500 ms, channels: 2}", params: "0.5f, 0, 1", defines: plain, inputs: 2, within: stream},
		{name: "a delay read between samples", node: "{block: delay, time: 500 ms, interpolation: linear}", params: "0.5f, 0, 1", defines: straight, within: stream},
		{name: "a delay whose time moves", node: "{block: delay, time: {from: slow, span: 1 ms..500 ms}, interpolation: linear}", params: "0.5f, 0, 1",
			defines: append([]string{"MOVED_TIME_AUDIO"}, straight...), moved: "0.2f", within: stream},
		{name: "a cross-fed delay", node: "{block: cross-fed-delay, time_left: 400 ms, time_right: 300 ms}", params: "0.4f, 0.3f, 0", defines: plain, inputs: 2, buffers: 2, within: stream},
		{name: "a comb that is longer than the cache", node: "{block: comb, time: 200 ms}", params: "0.2f, 1", defines: floats, within: stream},
		{name: "a comb that the rest of the graph throws out", node: "{block: comb, time: 200 ms}", params: "0.2f, 1", defines: floats, beside: 65536, within: stream},
		{name: "three taps", node: "{block: delay, time: 510 ms, taps: 3}", params: "0.51f, 0, 3", defines: plain, within: tap},
		{name: "seven taps", node: "{block: delay, time: 510 ms, taps: 7}", params: "0.51f, 0, 7", defines: plain, within: tap, often: true},
		{name: "seven taps that the rest of the graph throws out", node: "{block: delay, time: 510 ms, taps: 7}", params: "0.51f, 0, 7", defines: plain, beside: 65536, within: tap},
		{name: "eight taps that clash", node: "{block: delay, time: 8192 samples, taps: 8}", params: "8192 / 48000.f, 0, 8", defines: plain, within: tap},
		{name: "a plate", node: "{block: plate-reverb}", params: "1.8f, 0.0005f, 0.9995f, 1, 0", defines: plain, buffers: 13, within: tap},
		{name: "a plate that the rest of the graph throws out", node: "{block: plate-reverb}", params: "1.8f, 0.0005f, 0.9995f, 1, 0", defines: plain, buffers: 13, beside: 65536, within: tap, often: true},
		{name: "a granular delay", node: "{block: granular-delay}", params: "0.5f, 0.08f, 1, 0.02f, 4", defines: floats, blocks: chance, within: tap, often: true},
		{name: "a granular delay of short, fast grains", node: "{block: granular-delay, time: 2 s, grain: 5 ms, speed: 1.5, spread: 0.5, grains: 16}", params: "2, 0.005f, 1.5f, 0.5f, 16", defines: floats, blocks: chance, within: tap},
		{name: "a granular delay of long, slow grains", node: "{block: granular-delay, time: 1 s, grain: 500 ms, speed: 0.5, spread: 0, grains: 8}", params: "1, 0.5f, 0.5f, 0, 8", defines: floats, blocks: chance, within: tap},
		{name: "a granular delay that the rest of the graph throws out", node: "{block: granular-delay}", params: "0.5f, 0.08f, 1, 0.02f, 4", defines: floats, beside: 65536, blocks: chance, within: tap},
		{name: "a pitch shift two octaves up", node: "{block: pitch-shift, pitch: 4, window: 200 ms}", params: "4, 0.2f", defines: floats, blocks: chance, within: tap},
		{name: "a pitch shift two octaves down", node: "{block: pitch-shift, pitch: 0.25, window: 200 ms}", params: "0.25f, 0.2f", defines: floats, blocks: chance, within: creeping},
		{name: "four combs", node: "{block: four-comb-reverb}", params: "1", defines: floats, buffers: 6, within: stream},
		{name: "eight combs", node: "{block: eight-comb-reverb}", params: "1, 0.2f", defines: floats, buffers: 24, inputs: 2, within: stream},
		{name: "a convolution in partitions", node: "{block: convolution-reverb, response: 500 ms, partition: 256}", params: "0.5f, 1, 1", buffers: 5, tables: 2, within: stream},
		{name: "a convolution that the rest of the graph throws out", node: "{block: convolution-reverb, response: 200 ms, partition: 128}", params: "0.2f, 0, 1", buffers: 5, tables: 2, beside: 65536, within: stream, often: true},
		{name: "a spectral frame", node: "{block: spectral-frame, frame: 1024}", params: "1, 1", buffers: 3, tables: 2, within: frames},
		{name: "a middling spectral frame", node: "{block: spectral-frame, frame: 2048}", params: "2, 1", buffers: 3, tables: 2, within: frames},
		{name: "a long spectral frame", node: "{block: spectral-frame, frame: 4096}", params: "3, 1", buffers: 3, tables: 2, within: frames},
		{name: "a network of eight lines", node: "{block: network-reverb, lines: 8}", params: "2, 0.2f, 1", defines: append([]string{"MATRIX_HADAMARD"}, floats...), buffers: 28, within: stream},
	} {
		t.Run(w.name, func(t *testing.T) {
			if !w.often && os.Getenv("ELBOWROOM_TOOLS") != "required" {
				t.Skip("The simulated cache takes seconds; ELBOWROOM_TOOLS=required asks for this kernel too.")
			}
			t.Parallel()
			got, want := w.modelled(t), w.simulated(t)
			t.Logf("%.2f lines a block by the model, %.2f in the simulated cache (%+.1f %%)", got, want, 100*(got/want-1))
			if math.Abs(got-want) > w.within*want {
				t.Errorf("%s: the model fetches %.2f lines a block, and the simulated cache %.2f; that is not within %.0f %%", w.name, got, want, 100*w.within)
			}
		})
	}
}

// modelled is the lines a block that the node's buffers fetch by the model,
// beside its wires and its state.
func (w *walk) modelled(t *testing.T) float64 {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	text := "board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  wind: {block: noise, channels: " + strconv.Itoa(max(w.inputs, 1)) + "}\n  slow: {block: noise}\n  walk: " +
		strings.Replace(w.node, "{", "{from: wind, ", 1) + "\n"
	var errs source.Errors
	g := Read(source.NewFile("walk.yaml", []byte(text)), lib, Options{}, &errs)
	if g == nil {
		t.Fatal(errs.Err())
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	here := &Estimate{Graph: cachedGraph(g.BlockSize)}
	add := func(o Object) {
		here.Objects = append(here.Objects, o)
		here.Placement.Bank = append(here.Placement.Bank, 0)
	}
	for _, o := range append(e.Objects, e.Constants.Tables...) {
		if o.Node == 2 {
			add(o)
		}
	}
	mine := len(here.Objects)
	once := func(bytes blocks.Bytes) { // read and written whole, once a block
		perSample := float64(bytes) / 4 / float64(g.BlockSize)
		add(Object{Bytes: bytes, Reads: perSample, Writes: perSample, Element: 4})
	}
	once(blocks.Bytes(2 * max(w.inputs, 1) * g.BlockSize * 4))
	once(e.Nodes[2].State)
	if w.beside > 0 {
		once(blocks.Bytes(w.beside))
	}
	fills, horizon := 0.0, here.horizon()
	for i := range here.Objects[:mine] {
		o := &here.Objects[i]
		f, _, _ := here.Graph.lines(o, horizon)
		fills += f * float64(g.BlockSize) / here.Graph.stretch(o)
	}
	if w.beside > 0 { // what is thrown out with the buffers
		for i := range here.Objects[mine : len(here.Objects)-1] {
			f, _, _ := here.Graph.lines(&here.Objects[mine+i], horizon)
			fills += f
		}
	}
	return fills
}

// Reading anywhere in a buffer that is half, twice and 64 times as large as the
// cache, against the simulated cache.
func TestRandomReadsAgainstCachegrind(t *testing.T) {
	for _, bytes := range []blocks.Bytes{8192, 32768, 1 << 20} {
		t.Run(bytes.String(), func(t *testing.T) {
			t.Parallel()
			o := Object{Bytes: bytes, Reads: 1, Element: 4, Pattern: blocks.Random}
			e := &Estimate{Graph: cachedGraph(48), Objects: []Object{o}, Placement: Placement{Bank: []int{0}}}
			got, _, _ := e.Graph.lines(&o, e.horizon())
			want := linesPerBlock(t, 250, fmt.Sprintf(`#include <stdint.h>
#include <stdlib.h>
static _Alignas(4096) volatile char arena[1 << 20];
int main(int argc, char **argv) {
  (void)argc;
  uint32_t x = 1;
  for (int n = 48 * atoi(argv[1]); n > 0; n--) {
    x ^= x << 13, x ^= x >> 17, x ^= x << 5;
    (void)arena[x %% %d];
  }
}
`, bytes))
			t.Logf("%.2f lines a block by the model, %.2f in the simulated cache", got, want)
			if math.Abs(got-want) > 0.2*want {
				t.Errorf("%v read anywhere: the model fetches %.2f lines a block, and the simulated cache %.2f; that is not within 20 %%", bytes, got, want)
			}
		})
	}
}

// simulated is the lines a block that the kernel fetches in the simulated
// cache, less those of the rest of the graph.
func (w *walk) simulated(t *testing.T) float64 {
	block := regexp.MustCompile(`block: ([a-z-]+)`).FindStringSubmatch(w.node)[1]
	fill := "" // its tables
	for n := range w.tables {
		fill += fmt.Sprintf(`  buffers[%[3]d] = arena + at;
  at += (%[1]s_table_bytes(&env, &params, %[2]d) + 31) / 32 * 32;
  %[1]s_table_fill(&env, &params, %[2]d, buffers[%[3]d]);
`, strings.ReplaceAll(block, "-", "_"), n, w.buffers+n)
	}
	c := fmt.Sprintf(`#include %[1]q
#include <stdlib.h>
static _Alignas(4096) char arena[1 << 22];
static volatile char beside[1 << 20];
static float signal[8][48];
static int sum;
int main(int argc, char **argv) {
  (void)argc;
  kernel_env env = {48000, 1000, 48, %[2]d};
  %[3]s_params params = {%[4]s};
  void *buffers[32] = {0};
  size_t at = 0;
  for (int b = 0; b < %[5]d; b++) {
    buffers[b] = arena + at;
    at += (%[3]s_buffer_bytes(&env, &params, b) + 31) / 32 * 32;
  }
%[9]s  %[3]s_state *state = (void *)(arena + at);
  %[3]s_start(state, &env, &params, buffers);
  const float *in[] = {signal[0], %[6]s};
  float *out[] = {signal[2], signal[3], signal[4], signal[5]};
  for (int i = 0; i < 48; i++)
    signal[0][i] = signal[1][i] = (float)(i %% 7) * 0.1f, signal[6][i] = %[7]s;
  for (int n = atoi(argv[1]); n > 0; n--) {
    %[3]s_block(state, &env, in, out);
    for (int i = 0; i < %[8]d; i += 32)
      sum += beside[i];
  }
}
`, absolute(t, "../blocks/kernels/"+block+".c"), max(w.inputs, 1), strings.ReplaceAll(block, "-", "_"), w.params, max(w.buffers, 1),
		map[bool]string{true: "signal[6]", false: "signal[1]"}[w.moved != ""], map[bool]string{true: w.moved, false: "0"}[w.moved != ""], w.beside, fill)
	var flags []string
	for _, d := range w.defines {
		flags = append(flags, "-D"+d)
	}
	return linesPerBlock(t, cmp.Or(w.blocks, 250), c, flags...) - float64(w.beside)/32
}

// linesPerBlock is the lines that a C program fetches for each of so many blocks
// that it is told to run.
func linesPerBlock(t *testing.T, run int, c string, flags ...string) float64 {
	t.Helper()
	if testing.Short() {
		t.Skip("The simulated cache takes seconds.")
	}
	for _, tool := range []string{"valgrind", "cc"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("ELBOWROOM_TOOLS") == "required" {
				t.Fatalf("The program %s is missing, and ELBOWROOM_TOOLS=required asks for it.", tool)
			}
			t.Skipf("The program %s is missing; the test needs it.", tool)
		}
	}
	dir := t.TempDir()
	file, program := filepath.Join(dir, "walk.c"), filepath.Join(dir, "walk")
	if err := os.WriteFile(file, []byte(c), 0o644); err != nil {
		t.Fatal(err)
	}
	args := append([]string{"-std=c11", "-O2", "-fno-tree-vectorize", file, "-o", program}, flags...)
	if out, err := exec.Command("cc", append(args, "-lm")...).CombinedOutput(); err != nil {
		t.Fatalf("the program does not compile:\n%s", out)
	}
	return outside.LinesPerBlock(t, "16384,4,32", program, run)
}

func absolute(t *testing.T, path string) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		t.Fatal(err)
	}
	return abs
}
