package main

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// Blocks of time that are worked through before any is timed, and that are
// timed at least and at most, in each scene: house judgement, so that knobs have
// begun to move and every wave has come round.
const (
	blocksBefore = 4
	leastBlocks  = 24
	mostBlocks   = 128
)

// blocksTimed is how many blocks are timed in each scene: so many that work which
// falls due at known samples comes round whole.
func (p *program) blocksTimed() int {
	round := p.estimate.HopsPeriod()
	if round == 0 || round > mostBlocks {
		return leastBlocks
	}
	return (leastBlocks + round - 1) / round * round
}

// harness is the C file that runs the program and feeds its jacks. It calls mark
// before and after each block that is timed. Where the program has hooks, what
// each kernel hears is replaced by the costliest of its stimuli.
func (p *program) harness(costliest bool) string {
	w := &writer{program: p}
	w.declare()
	w.feed(costliest)
	w.hear()
	w.prepareAll(costliest)
	w.p("static void say(uint32_t value);")
	w.sizes()
	w.measureAll()
	w.p("%s", startup)
	return w.text.String()
}

// declare writes the names that the harness knows of the program and of its
// kernels, and the words that stand for jacks.
func (w *writer) declare() {
	w.p("#include <string.h>\n#define KERNEL_STIMULI\n#include \"kernel.h\"")
	w.p("extern void mark(void);\nvoid program_start(void), program_block(void), program_copy(void);")
	w.p("uint32_t program_scene, program_ticks, program_half;")
	for i, u := range w.units {
		prefix, name := "harness_"+unitPrefix(i), u.kernel.name
		w.p("void %s%s_stimulus(int, float *, uint32_t, uint32_t, uint32_t), %ssound(int, void *, uint32_t);", prefix, name, prefix)
		w.p("uint32_t %s%s_state_bytes(const kernel_env *, const void *);", prefix, name)
		if u.kernel.buffers() > 0 {
			w.p("uint32_t %s%s_buffer_bytes(const kernel_env *, const void *, uint32_t);", prefix, name)
		}
		if len(u.kernel.block.Tables) > 0 {
			w.p("uint32_t %s%s_table_bytes(const kernel_env *, const void *, uint32_t);", prefix, name)
			w.p("void %s%s_table_fill(const kernel_env *, const void *, uint32_t, void *);", prefix, name)
		}
	}
	declared := map[int]bool{}
	for _, n := range w.nodes {
		if n.unit == nil {
			continue
		}
		if c := n.Use.Channels; !declared[c] {
			declared[c] = true
			w.p("extern const kernel_env env%d;", c)
		}
		w.p("extern const uint32_t %s_params[];", n.id)
		for _, in := range n.struck() {
			w.p("extern uint32_t %s_state[%d][%d];", n.id, n.copies, (n.demand.State+3)/4)
			w.p("void harness_%s(%s);", n.call("event_"+in), signature(n.unit.kernel, n.unit.kernel.name+"_event_"+in, ""))
		}
		if count := n.unit.kernel.buffers() + len(n.Block().Tables); count > 0 {
			w.p("extern void *const %s_buffers[%d][%d];", n.id, n.copies, count)
		}
		if jacks := len(n.unit.kernel.jacks()); jacks > 0 && !n.usesDMA() {
			w.p("float %s_jack[%d];", n.id, jacks)
		}
	}
	w.p("static uint32_t turn; // blocks so far")
	w.p("void program_left(float *to) {\n  uint32_t seed = kernel_seed(0, turn);\n  for (int i = 0; i < %d; i++) to[i] = 0.25f * kernel_noise(&seed);\n}", w.graph.BlockSize)
}

// stimulus is a call of a kernel's stimulus.
func (n *programNode) stimulus(costliest int, into, words string, channel int) string {
	return fmt.Sprintf("harness_%s%s_stimulus(%d, %s, %s, %d, turn);", unitPrefix(n.number), n.unit.kernel.name, costliest, into, words, channel)
}

// greatestVolt is the greatest word that a converter of control voltage gives
// in the program, 1 V: what controls move goes from 0 to 1.
const greatestVolt = 819

// feed writes what the jacks bring in each block.
func (w *writer) feed(costliest bool) {
	w.p("static void feed(void) {")
	for _, n := range w.nodes {
		if n.unit == nil || len(n.Block().Outputs) == 0 {
			continue
		}
		jack := 0
		for i, in := range n.unit.kernel.inputs(n.Use.Channels, n.moved) {
			if !in.jack {
				continue
			}
			if n.usesDMA() {
				words := w.graph.BlockSize * n.Use.Channels
				w.p("  %s", n.stimulus(ones(costliest), fmt.Sprintf("(float *)%s_buffers[0][0] + program_half * %d", n.id, words), strconv.Itoa(words), i))
				continue
			}
			at := fmt.Sprintf("%s_jack[%d]", n.id, jack)
			w.p("  %s", n.stimulus(ones(costliest), "&"+at, "1", i))
			if in.port == "cv_in" {
				w.p("  %s = kernel_float(kernel_bits(%s) %% %d);", at, at, greatestVolt+1)
			}
			jack++
		}
	}
	w.p("}\n")
}

// hear writes what the program's hooks call: it replaces what a kernel is about
// to hear by the costliest of its stimuli.
func (w *writer) hear() {
	w.p("void program_hook(uint32_t node, uint32_t copy, const float *const *in) {\n  (void)copy, (void)in;\n  switch (node) {")
	for _, n := range w.nodes {
		if n.unit == nil {
			continue
		}
		w.p("  case %d:", n.index)
		for i, in := range n.unit.kernel.inputs(n.Use.Channels, n.moved) {
			input, _ := n.input(in.port)
			if in.jack || input == nil || len(input.Sources) == 0 {
				continue
			}
			words := "1"
			if in.kind == blocks.Audio {
				words = strconv.Itoa(w.graph.BlockSize)
			}
			w.p("    %s", n.stimulus(1, fmt.Sprintf("(float *)(uintptr_t)in[%d]", i), words, i))
		}
		w.p("    break;")
	}
	w.p("  }\n}\n")
}

// prepareAll writes what brings the program to where it has run for a while:
// tables filled, every kernel started, no silence in the memory.
func (w *writer) prepareAll(costliest bool) {
	w.p("static void prepare(void) {")
	for _, n := range w.nodes {
		if n.unit == nil {
			continue
		}
		k := n.unit.kernel
		for i, key := range n.tables() {
			if key != "" {
				w.p("  harness_%s%s_table_fill(&env%d, %s_params, %d, %s_buffers[0][%d]);", unitPrefix(n.number), k.name, n.Use.Channels, n.id, i, n.id, k.buffers()+i)
			}
		}
	}
	w.p("  program_start();")
	for _, n := range w.nodes {
		if n.unit == nil || n.usesDMA() {
			continue
		}
		for i, name := range n.unit.kernel.bufferNames() {
			at := slices.IndexFunc(n.demand.Buffers, func(b blocks.BufferDemand) bool { return b.Name == name })
			if at < 0 {
				continue
			}
			w.p("  for (int v = 0; v < %d; v++) harness_%ssound(%d, %s_buffers[v][%d], %d);", n.copies, unitPrefix(n.number), ones(costliest), n.id, i, n.demand.Buffers[at].Bytes)
		}
	}
	// Notes are held, as in the bench.
	w.p("  static const float quiet[%d];\n  static const float *in[%d];", w.graph.BlockSize, mostPointers)
	w.p("  for (int i = 0; i < %d; i++) in[i] = quiet;\n  const kernel_event on = {0, 1};\n  (void)in, (void)on;", mostPointers)
	for _, n := range w.nodes {
		for _, in := range n.struck() {
			w.p("  for (int v = 0; v < %d; v++) harness_%s(%s, &env%d, &on, in);", n.copies, n.call("event_"+in), n.state(), n.Use.Channels)
		}
	}
	w.p("}\n")
}

// struck are the event inputs of a node that are told of an event before the
// program runs. What sends events on would get ahead of what it sends them to.
func (n *programNode) struck() []string {
	if n.unit == nil || n.unit.kernel.sends() || n.demand.State == 0 {
		return nil
	}
	return events(n.Block().Inputs)
}

// sizes writes what reports the bytes that each kernel asks for, which the
// estimate must have.
func (w *writer) sizes() {
	w.p("static void sizes(void) {")
	for _, n := range w.nodes {
		if n.unit == nil {
			continue
		}
		prefix, env := "harness_"+unitPrefix(n.number)+n.unit.kernel.name, fmt.Sprintf("&env%d, %s_params", n.Use.Channels, n.id)
		w.p("  say(%d); say(%s_state_bytes(%s));", n.index, prefix, env)
		for i, name := range n.unit.kernel.bufferNames() {
			if slices.ContainsFunc(n.demand.Buffers, func(b blocks.BufferDemand) bool { return b.Name == name }) {
				w.p("  say(%s_buffer_bytes(%s, %d));", prefix, env, i)
			}
		}
		for i, key := range n.tables() {
			if key != "" {
				w.p("  say(%s_table_bytes(%s, %d));", prefix, env, i)
			}
		}
		w.p("  say(0xffffffff);")
	}
	w.p("}\n")
}

// measureAll writes what runs the program, scene after scene.
func (w *writer) measureAll() {
	w.p("static __attribute__((noinline)) void measure(void) {")
	if w.graph.CopiesCode() {
		w.p("  program_copy();")
	}
	w.p("  sizes();")
	w.p("  for (program_scene = 0; program_scene < %d; program_scene++) {\n    prepare();", max(1, len(w.graph.Scenes)))
	w.p("    float ticks = 0;\n    for (turn = 0; turn < %d; turn++) {", blocksBefore+w.blocksTimed())
	w.p("      ticks += %sf;\n      program_ticks = (uint32_t)ticks;\n      ticks -= (float)program_ticks;", float(w.program.ticks()))
	w.p("      program_half = turn & 1;\n      feed();")
	w.p("      if (turn >= %d) mark();\n      program_block();\n      if (turn >= %d) mark();\n    }\n  }\n}\n", blocksBefore, blocksBefore)
}

// runScript is the linker script of the program as it runs: what is timed lies
// below highCode, all else above, and the banks where the emulated machine has
// memory.
func (p *program) runScript(w *workshop) (string, error) {
	const ram, ramBytes, bigBytes = 0x20000000, 4 << 20, 16 << 20
	big := 0x21000000
	if w.core.machine == "mps2-an500" {
		big = 0x60000000
	}
	var s strings.Builder
	fmt.Fprintf(&s, "MEMORY\n{\n  LOW (rx) : ORIGIN = 0x0, LENGTH = 2M\n  HIGH (rx) : ORIGIN = 0x200000, LENGTH = 2M\n  RAM (rwx) : ORIGIN = %#x, LENGTH = 4M\n  BIG (rwx) : ORIGIN = %#x, LENGTH = 16M\n}\nENTRY(reset)\nSECTIONS\n{\n", ram, big)
	not := func(sections ...string) string {
		var list []string
		for _, name := range sections {
			list = append(list, "EXCLUDE_FILE(*harness.o) "+name)
		}
		return strings.Join(list, " ")
	}
	runs := fmt.Sprintf("*(%s)", not(".text", ".text.*", ".rodata", ".rodata.*"))
	if p.graph.CopiesCode() {
		fmt.Fprintf(&s, "  .vectors : { KEEP(*(.vectors)) *(.constants) } > LOW\n  .low : ALIGN(8) { "+codeSections+" } > LOW AT> HIGH\n  code_from = LOADADDR(.low);\n", runs)
	} else {
		fmt.Fprintf(&s, "  .low : { KEEP(*(.vectors)) %s *(.constants) } > LOW\n", runs)
	}
	s.WriteString("  .high : { *(.startup .text .text.* .rodata .rodata.*) } > HIGH AT> HIGH\n  .exidx : { *(.ARM.exidx*) *(.ARM.extab*) } > HIGH\n")
	inRAM, inBig := blocks.Bytes(512<<10), blocks.Bytes(0) // the harness and its stack
	for i := range p.estimate.Objects {
		o := &p.estimate.Objects[i]
		if o.Name == estimator.LibraryData || o.Part == estimator.PartStack {
			continue
		}
		region := "RAM"
		if inRAM += o.Bytes + 64; inRAM > ramBytes {
			inRAM -= o.Bytes + 64
			region = "BIG"
			if inBig += o.Bytes + 64; inBig > bigBytes {
				return "", fmt.Errorf("the buffers take more than the %v that the emulated machine has", blocks.Bytes(ramBytes+bigBytes))
			}
		}
		fmt.Fprintf(&s, "  .object%d (NOLOAD) : ALIGN(64) { *(.object%d) } > %s\n", i, i, region)
	}
	s.WriteString("  .data : { *(.data .data.*) } > RAM\n  .bss (NOLOAD) : { bss_start = .; *(.bss .bss.*) *(COMMON) . = ALIGN(4); bss_end = .; end = .; } > RAM\n  stack_top = 0x20400000;\n}\n")
	return s.String(), nil
}

// linkToRun links the program with its harness.
func (p *program) linkToRun(w *workshop, o *objects) (string, error) {
	script, err := p.runScript(w)
	if err != nil {
		return "", err
	}
	for name, text := range map[string]string{"run.ld": script, "mark.s": marker} {
		if err := os.WriteFile(w.path(name), []byte(text), 0o644); err != nil {
			return "", err
		}
	}
	if err := w.assemble("mark.o", "mark.s"); err != nil {
		return "", err
	}
	return w.within("harness.o", o.harness, append(p.outside(), "reset", "program_hook", "program_left"), "run.ld", o.run, "run.elf")
}

// spent is what one block of time took: all of it, and of that each unit.
type spent struct {
	cycles float64
	units  []float64 // by unit, and last what calls them
}

// watch sorts executed instructions into blocks of time and, within, by the
// kernel that runs.
type watch struct {
	program *program
	clock   clock
	traces  *traces
	mark    uint64
	entries map[uint64]int // unit, by the address of its function
	glue    [][2]uint64    // the program's own functions: first address, and the first behind
	marks   int
	current int
	began   float64
	path    []*instruction
	list    []spent
	pieces  [][]piecePath
	depth   int
	base    int // depth at the last call of a kernel: what calls them all needs by itself
	deepest int // below that
}

// piecePath is a run of instructions that LLVM's model is to time.
type piecePath struct {
	unit  int
	trace uint64
}

func newWatch(p *program, all []symbol) *watch {
	w := &watch{program: p, entries: map[uint64]int{}, current: len(p.units)}
	if p.core.clock != nil {
		w.clock = p.core.clock()
	} else {
		w.traces = &traces{texts: map[uint64][]*instruction{}}
	}
	functions := map[string]int{}
	for i, u := range p.units {
		for _, f := range u.entries() {
			functions[unitPrefix(i)+f] = i
		}
	}
	for _, s := range all {
		switch i, ok := functions[s.name]; {
		case s.name == "mark":
			w.mark = s.address
		case ok:
			w.entries[s.address] = i
		case strings.HasPrefix(s.name, "program_block"):
			w.glue = append(w.glue, [2]uint64{s.address, s.address + s.size})
		}
	}
	return w
}

func (w *watch) enter(address uint64) {
	if address == w.mark {
		w.settle()
		w.marks++
		if w.marks%2 == 1 {
			w.list = append(w.list, spent{units: make([]float64, len(w.program.units)+1)})
			w.pieces = append(w.pieces, nil)
			w.depth, w.base = 0, math.MaxInt32 // until the first call
			if w.clock != nil {
				w.clock.restart()
			}
		}
		w.current = len(w.program.units)
		return
	}
	if i, ok := w.entries[address]; ok {
		if w.clock != nil {
			w.settle()
		}
		w.current, w.base = i, w.depth
		return
	}
	if w.current < len(w.program.units) && slices.ContainsFunc(w.glue, func(r [2]uint64) bool { return address >= r[0] && address < r[1] }) {
		w.settle()
		w.current = len(w.program.units)
	}
}

// settle charges what was executed since to the unit that ran.
func (w *watch) settle() {
	if w.clock != nil {
		if now := w.clock.cycles(); w.marks%2 == 1 {
			last := &w.list[len(w.list)-1]
			last.cycles += now - w.began
			last.units[w.current] += now - w.began
		}
		w.began = w.clock.cycles()
		return
	}
	if w.marks%2 == 1 && len(w.path) > 0 {
		at := len(w.pieces) - 1
		w.pieces[at] = append(w.pieces[at], piecePath{w.current, w.traces.keep(w.path)})
	}
	w.path = w.path[:0]
}

func (w *watch) step(i *instruction, taken bool) {
	if w.marks%2 == 0 {
		return
	}
	if w.clock != nil {
		w.clock.step(i, taken)
	} else {
		w.path = append(w.path, i)
	}
	if i.stack != 0 {
		w.depth += i.stack
		w.deepest = max(w.deepest, w.depth-w.base)
	}
}

// run runs the program and gives the blocks of time, scene after scene, and how
// deep the stack went below what calls the kernels.
func (p *program) run(w *workshop, elf, plugin string) ([]spent, int, error) {
	listing, err := w.listing(elf)
	if err != nil {
		return nil, 0, err
	}
	all, err := symbols(elf)
	if err != nil {
		return nil, 0, err
	}
	watch := newWatch(p, all)
	join := &joiner{step: watch.step}
	walk := &walker{program: listing, run: func(s *stretch, taken bool) {
		watch.enter(s.code[0].address)
		for i, instruction := range s.code {
			join.next(instruction, taken && i == len(s.code)-1)
		}
	}}
	said, err := emulate(w.core.machine, elf, plugin, walk.read)
	if err != nil {
		return nil, 0, err
	}
	if err := p.compareSizes(said); err != nil {
		return nil, 0, err
	}
	if want := 2 * p.blocksTimed() * max(1, len(p.graph.Scenes)); watch.marks != want {
		return nil, 0, fmt.Errorf("the program marked %d ends of blocks in place of %d", watch.marks, want)
	}
	if watch.traces != nil {
		cycles, err := w.core.analyse(listing, watch.traces)
		if err != nil {
			return nil, 0, err
		}
		for b, pieces := range watch.pieces {
			for _, piece := range pieces {
				watch.list[b].cycles += cycles[piece.trace]
				watch.list[b].units[piece.unit] += cycles[piece.trace]
			}
		}
	}
	return watch.list, watch.deepest, nil
}

// compareSizes holds what the kernels ask for to what the estimate gives them.
func (p *program) compareSizes(said string) error {
	seen := 0
	for line := range strings.Lines(said) {
		words := strings.Fields(line)
		if len(words) < 3 {
			continue
		}
		var values []int64
		for _, word := range words[:len(words)-1] {
			v, err := strconv.ParseInt(word, 16, 64)
			if err != nil {
				break
			}
			values = append(values, v)
		}
		if len(values) != len(words)-1 {
			continue // the emulator's own words
		}
		n := p.nodes[values[0]]
		want := []int64{int64(n.demand.State)}
		for _, b := range n.demand.Buffers {
			want = append(want, int64(b.Bytes))
		}
		for _, key := range n.tables() {
			if key != "" {
				want = append(want, int64(n.tableBytes(key)))
			}
		}
		if !slices.Equal(values[1:], want) {
			return fmt.Errorf("the kernel of %s asks for %v bytes of state, buffers and tables, and the estimate has %v", n.Name, values[1:], want)
		}
		seen++
	}
	for _, n := range p.nodes {
		if n.unit != nil {
			seen--
		}
	}
	if seen != 0 {
		return fmt.Errorf("the program told the sizes of %d nodes too few", -seen)
	}
	return nil
}

// most is the greatest of some blocks of time, and mean what they take on the
// whole.
func meanSpent(list []spent) (mean, most float64) {
	for _, s := range list {
		mean += s.cycles / float64(len(list))
		most = math.Max(most, s.cycles)
	}
	return mean, most
}
