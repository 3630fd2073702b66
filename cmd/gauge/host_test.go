package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

const kernelFolder = "../../blocks/kernels"

// rendering is one run of a kernel on the host.
type rendering struct {
	Block       string
	Choices     map[string]string  // parameter: choice; the catalog's default otherwise
	Params      map[string]float64 // in base units; the catalog's default otherwise
	Channels    int                // 0: 1
	Rate        float64            // hertz; 0: 48000
	ControlRate float64            // hertz; 0: one period a block
	BlockSize   int                // samples; 0: 48
	Frames      int                // samples; the last block is run whole
	// Inputs holds samples by port and channel, of a control port one value a
	// block, of a jack words. A missing port is silent, or unconnected where
	// it may be.
	Inputs map[string][][]float32
	Moved  map[string][]float32 // one parameter that audio moves
	// Updates holds parameters that change before a block, by group and block.
	Updates map[string]map[int]map[string]float64
	// Memory holds what lies in a buffer from the start, by its name; of Kept the
	// bytes that lie there in the end come out as if it were a port.
	Memory map[string][]byte
	Kept   string
	// Events holds what comes before a block, by event input and block.
	Events                         map[string]map[int][]event
	OneSample, Approximate, Double bool
	InPlace                        bool // the main output lies where the main input lies
}

type event struct{ Moment, Value uint32 }

// render compiles a kernel for the host, runs it, and returns what came out by
// port and channel: samples, of a control port one value a block, of an event
// port the moments in samples from the start and the values.
func render(t *testing.T, r rendering) map[string][][]float32 {
	t.Helper()
	needTools(t, "cc")
	h := prepare(t, r)
	program := h.compile(t)
	cmd := exec.Command(program)
	cmd.Stdin = bytes.NewReader(h.input())
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("The kernel of %s did not run to its end: %v.", r.Block, err)
	}
	return h.output(t, out)
}

// needTools skips a test where a program is missing; under
// ELBOWROOM_TOOLS=required it fails.
func needTools(t *testing.T, names ...string) {
	t.Helper()
	for _, name := range names {
		if _, err := exec.LookPath(name); err != nil {
			if os.Getenv("ELBOWROOM_TOOLS") == "required" {
				t.Fatalf("The program %s is missing, and ELBOWROOM_TOOLS=required asks for it.", name)
			}
			t.Skipf("The program %s is missing; the test needs it.", name)
		}
	}
}

// hosted is a rendering with everything filled in.
type hosted struct {
	rendering
	kernel *kernel
	moved  string
	blocks int
}

// channels is how many channels an audio output has.
func (h *hosted) channels(p *blocks.Port) int {
	switch {
	case p.Channels > 0:
		return p.Channels
	case p.Channels == blocks.CountedChannels:
		return int(h.Params[p.Counted])
	}
	return h.Channels
}

func prepare(t *testing.T, r rendering) *hosted {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	b, err := lib.Block(r.Block)
	if err != nil {
		t.Fatal(err)
	}
	k, err := openKernel(kernelFolder, b)
	if err != nil {
		t.Fatal(err)
	}
	fallback(&r.Channels, 1)
	fallback(&r.Rate, 48000)
	fallback(&r.BlockSize, 48)
	fallback(&r.ControlRate, r.Rate/float64(r.BlockSize))
	r.Choices, r.Params = cloned(r.Choices), cloned(r.Params)
	known := map[string]bool{}
	for i := range b.Params {
		p := &b.Params[i]
		known[p.Name] = true
		if p.Categorical() {
			if r.Choices[p.Name] == "" {
				r.Choices[p.Name] = p.DefaultText
			}
		} else if _, given := r.Params[p.Name]; !given {
			if p.Needed {
				t.Fatalf("The rendering of %s must give '%s', which has no default.", r.Block, p.Name)
			}
			_, def := p.At(blocks.Hertz(r.Rate))
			r.Params[p.Name] = def.High
		}
	}
	for _, name := range slices.Concat(slices.Collect(maps.Keys(r.Choices)), slices.Collect(maps.Keys(r.Params)), slices.Collect(maps.Keys(r.Moved))) {
		if !known[name] {
			t.Fatalf("The rendering of %s names '%s', which is no parameter of the block.", r.Block, name)
		}
	}
	h := &hosted{rendering: r, kernel: k, blocks: (r.Frames + r.BlockSize - 1) / r.BlockSize}
	for name := range r.Moved {
		h.moved = name
	}
	return h
}

func fallback[T comparable](v *T, def T) {
	var zero T
	if *v == zero {
		*v = def
	}
}

func cloned[V any](m map[string]V) map[string]V {
	if m == nil {
		return map[string]V{}
	}
	return maps.Clone(m)
}

// compiled holds the programs made so far, by flags and text.
var compiled = struct {
	sync.Mutex
	folder   string
	programs map[string]*hostProgram
}{programs: map[string]*hostProgram{}}

// hostProgram is compiled by the first test that asks for it; the others wait.
type hostProgram struct {
	once sync.Once
	base string // its path, and that of its source without .c
	err  error
}

func TestMain(m *testing.M) {
	folder, err := os.MkdirTemp("", "kernels")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	compiled.folder = folder
	code := m.Run()
	os.RemoveAll(folder)
	os.Exit(code)
}

var pluginOnce = sync.OnceValues(func() (string, error) { return buildPlugin(compiled.folder) })

// builtPlugin is the emulator's plugin, compiled by the first test that asks for it.
func builtPlugin(t *testing.T) string {
	t.Helper()
	plugin, err := pluginOnce()
	if err != nil {
		t.Fatal(err)
	}
	return plugin
}

func (h *hosted) compile(t *testing.T) string {
	t.Helper()
	flags := append([]string{"-std=c11", "-O1", "-Wall", "-Wextra", "-Werror", "-Wno-unused-function", "-I" + kernelFolder}, h.defines()...)
	text := h.program()
	key := strings.Join(flags, " ") + text
	compiled.Lock()
	p, known := compiled.programs[key]
	if !known {
		p = &hostProgram{base: filepath.Join(compiled.folder, fmt.Sprintf("%s-%d", h.Block, len(compiled.programs)))}
		compiled.programs[key] = p
	}
	compiled.Unlock()
	p.once.Do(func() {
		if p.err = os.WriteFile(p.base+".c", []byte(text), 0o644); p.err != nil {
			return
		}
		if out, err := exec.Command("cc", append(flags, p.base+".c", "-o", p.base, "-lm")...).CombinedOutput(); err != nil {
			p.err = fmt.Errorf("with %s:\n%s", strings.Join(flags, " "), out)
		}
	})
	if p.err != nil {
		t.Fatalf("The kernel of %s does not compile for the host: %v", h.Block, p.err)
	}
	return p.base
}

// defines are the compiler's flags for the choices and the style.
func (h *hosted) defines() []string {
	flags := h.kernel.defines(h.Choices)
	for flag, on := range map[string]bool{
		"-DONE_SAMPLE": h.OneSample, "-DMATHS_APPROXIMATE": h.Approximate, "-DPRECISION_DOUBLE": h.Double,
		"-DMOVED_" + macro(h.moved) + "_AUDIO": h.moved != "",
	} {
		if on {
			flags = append(flags, flag)
		}
	}
	slices.Sort(flags)
	return flags
}

// program is the C program around the kernel. It reads words from standard
// input and writes words to standard output.
func (h *hosted) program() string {
	k := h.kernel
	ins, outs := k.inputs(h.Channels, h.moved), k.outputs(h.channels)
	eventIns, eventOuts := events(k.block.Inputs), events(k.block.Outputs)
	sent := ""
	if len(eventOuts) > 0 {
		sent = ", lists"
	}
	var c strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&c, format+"\n", args...) }
	p("#include <stdio.h>\n#include <stdlib.h>\n#include <string.h>\n#include \"%s.c\"", h.Block)
	p("static void take(void *at, size_t words) { if (fread(at, 4, words, stdin) != words) exit(2); }")
	p("static void give(const void *at, size_t words) { if (fwrite(at, 4, words, stdout) != words) exit(2); }")
	p("int main(void) {")
	p("  kernel_env env; uint32_t blocks; %s_params params; memset(&params, 0, sizeof params);", k.name)
	p("  take(&env, 4); take(&blocks, 1);")
	p("  take(&params, %d);", len(k.fields()))
	p("  void *buffers[%d] = {0};", k.buffers()+len(k.block.Tables)+1)
	for b := range k.buffers() {
		p("  if (%[1]s_buffer_bytes(&env, &params, %[2]d)) buffers[%[2]d] = calloc(1, %[1]s_buffer_bytes(&env, &params, %[2]d));", k.name, b)
	}
	for b := range k.buffers() {
		p("  { uint32_t words; take(&words, 1); if (words) take(buffers[%d], words); }", b)
	}
	for n := range k.block.Tables {
		p("  if (%[1]s_table_bytes(&env, &params, %[2]d)) { buffers[%[3]d] = calloc(1, %[1]s_table_bytes(&env, &params, %[2]d)); %[1]s_table_fill(&env, &params, %[2]d, buffers[%[3]d]); }",
			k.name, n, k.buffers()+n)
	}
	p("  %[1]s_state *state = calloc(1, %[1]s_state_bytes(&env, &params) + sizeof(%[1]s_state));", k.name)
	p("  %s_start(state, &env, &params, buffers);", k.name)
	p("  const float *in[%d] = {0}; float *out[%d] = {0};", len(ins)+1, len(outs)+1)
	for i, in := range ins {
		p("  { uint32_t connected; take(&connected, 1); if (connected) in[%d] = calloc(%d, 4); }", i, in.words(h.BlockSize, h.Channels))
	}
	for i, out := range outs {
		at := slices.IndexFunc(ins, func(in pointer) bool {
			return h.InPlace && out.port == k.block.Outputs[0].Name && in.port == k.block.Inputs[0].Name && in.channel == out.channel
		})
		if at >= 0 {
			p("  out[%d] = (float *)in[%d];", i, at)
			continue
		}
		p("  out[%d] = calloc(%d, 4);", i, out.words(h.BlockSize, h.Channels))
	}
	p("  kernel_events list[%d]; kernel_events *lists[%d];", len(eventOuts)+1, len(eventOuts)+1)
	p("  for (int i = 0; i < %d; i++) { list[i].event = calloc(4096, sizeof(kernel_event)); lists[i] = &list[i]; }", len(eventOuts)+1)
	p("  for (uint32_t block = 0; block < blocks; block++) {")
	p("    for (int i = 0; i < %d; i++) list[i].count = 0;", len(eventOuts)+1)
	for _, up := range k.block.Operations.Updates {
		p("    { uint32_t due; take(&due, 1); if (due) { take(&params, %d); %s_update_%s(state, &env, &params); } }", len(k.fields()), k.name, up.Name)
	}
	for i, in := range ins {
		p("    if (in[%d]) take((float *)in[%d], %d);", i, i, in.words(h.BlockSize, h.Channels))
	}
	for _, in := range eventIns {
		p("    { uint32_t count; take(&count, 1); while (count--) { kernel_event e; take(&e, 2); %s_event_%s(state, &env, &e, in%s); } }", k.name, in, sent)
	}
	if k.ticks() {
		switch {
		case h.OneSample && k.block.Processes() == blocks.Audio:
			p("    for (uint32_t i = 0; i < env.block_size; i++) {")
			p("      const float *one_in[%d] = {0}; float *one_out[%d] = {0};", len(ins)+1, len(outs)+1)
			for i, in := range ins {
				p("      if (in[%[1]d]) one_in[%[1]d] = in[%[1]d] + %[2]s;", i, step(in))
			}
			for i, out := range outs {
				p("      one_out[%[1]d] = out[%[1]d] + %[2]s;", i, step(out))
			}
			p("      %s(state, &env, one_in, one_out%s);", k.entry(true), sent)
			p("    }")
		default:
			p("    %s(state, &env, in, out%s);", k.entry(false), sent)
		}
	}
	for i, out := range outs {
		p("    give(out[%d], %d);", i, out.words(h.BlockSize, h.Channels))
	}
	for i := range eventOuts {
		p("    give(&list[%[1]d].count, 1); give(list[%[1]d].event, 2 * list[%[1]d].count);", i)
	}
	p("  }\n  (void)lists; (void)in; (void)out;")
	if b := slices.Index(k.bufferNames(), h.Kept); b >= 0 {
		p("  give(buffers[%[2]d], %[1]s_buffer_bytes(&env, &params, %[2]d) / 4);", k.name, b)
	}
	p("  return 0;\n}")
	return c.String()
}

// step is how far a pointer moves on with sample i.
func step(p pointer) string {
	switch {
	case p.kind != blocks.Audio:
		return "0"
	case p.jack:
		return "i * env.channels"
	}
	return "i"
}

// input is what the program reads.
func (h *hosted) input() []byte {
	var b bytes.Buffer
	word := func(v uint32) { _ = binary.Write(&b, binary.LittleEndian, v) }
	float := func(v float64) { word(math.Float32bits(float32(v))) }
	params := maps.Clone(h.Params)
	all := func() {
		for _, f := range h.kernel.fields() {
			p := &h.kernel.block.Params[f.param]
			switch {
			case p.Categorical():
				word(uint32(slices.IndexFunc(p.Choices, func(c blocks.Choice) bool { return c.Name == h.Choices[p.Name] })))
			case f.whole:
				word(uint32(params[f.name]))
			default:
				float(params[f.name])
			}
		}
	}
	float(h.Rate)
	float(h.ControlRate)
	word(uint32(h.BlockSize))
	word(uint32(h.Channels))
	word(uint32(h.blocks))
	all()
	for _, name := range h.kernel.bufferNames() {
		memory := h.Memory[name]
		word(uint32(len(memory) / 4))
		b.Write(memory[:len(memory)/4*4])
	}
	ins := h.kernel.inputs(h.Channels, h.moved)
	connected := make([]bool, len(ins))
	for i, in := range ins {
		_, given := h.Inputs[in.port]
		port, _ := h.kernel.block.Input(in.port)
		connected[i] = given || in.jack || in.moved || !port.Optional
		if connected[i] {
			word(1)
		} else {
			word(0)
		}
	}
	for block := range h.blocks {
		for _, up := range h.kernel.block.Operations.Updates {
			changed, due := h.Updates[up.Name][block]
			if !due {
				word(0)
				continue
			}
			word(1)
			maps.Copy(params, changed)
			all()
		}
		for i, in := range ins {
			if !connected[i] {
				continue
			}
			n := in.words(h.BlockSize, h.Channels)
			var x []float32
			if in.moved {
				x = h.Moved[in.port]
			} else if channels := h.Inputs[in.port]; in.channel < len(channels) {
				x = channels[in.channel]
			}
			for k := range n {
				v := float32(0)
				if at := block*n + k; at < len(x) {
					v = x[at]
				}
				if in.jack {
					word(uint32(int64(v)))
				} else {
					word(math.Float32bits(v))
				}
			}
		}
		for _, name := range events(h.kernel.block.Inputs) {
			list := h.Events[name][block]
			word(uint32(len(list)))
			for _, e := range list {
				word(e.Moment)
				word(e.Value)
			}
		}
	}
	return b.Bytes()
}

// output sorts what the program wrote.
func (h *hosted) output(t *testing.T, raw []byte) map[string][][]float32 {
	t.Helper()
	word := func() uint32 {
		if len(raw) < 4 {
			t.Fatalf("The kernel of %s wrote too little.", h.Block)
		}
		v := binary.LittleEndian.Uint32(raw)
		raw = raw[4:]
		return v
	}
	result := map[string][][]float32{}
	outs := h.kernel.outputs(h.channels)
	for _, out := range outs {
		result[out.port] = append(result[out.port], nil)
	}
	for _, name := range events(h.kernel.block.Outputs) {
		result[name] = make([][]float32, 2)
	}
	for block := range h.blocks {
		for _, out := range outs {
			for range out.words(h.BlockSize, h.Channels) {
				v := math.Float32frombits(word())
				if out.jack {
					v = float32(int32(math.Float32bits(v)))
				}
				result[out.port][out.channel] = append(result[out.port][out.channel], v)
			}
		}
		for _, name := range events(h.kernel.block.Outputs) {
			for range word() {
				result[name][0] = append(result[name][0], float32(block*h.BlockSize)+float32(word()))
				result[name][1] = append(result[name][1], float32(word()))
			}
		}
	}
	for _, v := range raw {
		result[h.Kept] = [][]float32{append(slices.Concat(result[h.Kept]...), float32(v))}
	}
	return result
}

func TestGainRendering(t *testing.T) {
	ramp := []float32{1, 2, 3, 4, 5, 6}
	for _, c := range []struct {
		name string
		r    rendering
		want [][]float32
	}{
		{"whole blocks", rendering{Params: map[string]float64{"gain": -0.5}, Channels: 2, Inputs: map[string][][]float32{"in": {ramp, ramp[1:]}}},
			[][]float32{{-0.5, -1, -1.5, -2, -2.5, -3}, {-1, -1.5, -2, -2.5, -3, 0}}},
		{"one sample at a time", rendering{Params: map[string]float64{"gain": 2}, OneSample: true, Inputs: map[string][][]float32{"in": {ramp}}},
			[][]float32{{2, 4, 6, 8, 10, 12}}},
		{"double precision", rendering{Params: map[string]float64{"gain": 0.25}, Double: true, Inputs: map[string][][]float32{"in": {ramp}}},
			[][]float32{{0.25, 0.5, 0.75, 1, 1.25, 1.5}}},
		{"moved by audio", rendering{Moved: map[string][]float32{"gain": {1, 0, 1, 0, 1, 0}}, Inputs: map[string][][]float32{"in": {ramp}}},
			[][]float32{{1, 0, 3, 0, 5, 0}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.r.Block, c.r.BlockSize, c.r.Frames = "gain", 3, 6
			// Expected values are y = g x, worked by hand.
			got := render(t, c.r)["out"]
			for ch := range c.want {
				if !slices.Equal(got[ch], c.want[ch]) {
					t.Errorf("Channel %d came out as %v; y = g x gives %v.", ch, got[ch], c.want[ch])
				}
			}
		})
	}
}
