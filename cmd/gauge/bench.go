package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
)

// alias is the name that a kernel's function has in a program that holds the
// kernel in several styles.
func alias(style int, function string) string { return fmt.Sprintf("s%d_%s", style, function) }

// functions are the names in C of all that a kernel defines for others.
func (k *kernel) functions(oneSample bool) []string {
	list := []string{k.name + "_state_bytes", k.name + "_buffer_bytes", k.name + "_table_bytes", k.name + "_table_fill", k.name + "_start"}
	return append(list, k.timed(oneSample)...)
}

// timed are the names of the functions that are timed: those that are called while
// audio runs, and the hops that these call.
func (k *kernel) timed(oneSample bool) []string {
	list := k.called(oneSample)
	for _, hop := range k.hops() {
		list = append(list, k.name+"_hop_"+hop)
	}
	return list
}

// called are the names of the functions that are called while audio runs.
func (k *kernel) called(oneSample bool) []string {
	var list []string
	if k.ticks() {
		list = append(list, k.entry(oneSample))
	}
	for _, up := range k.block.Operations.Updates {
		list = append(list, k.name+"_update_"+up.Name)
	}
	for _, in := range events(k.block.Inputs) {
		list = append(list, k.name+"_event_"+in)
	}
	return list
}

// passage is one timing of the program's: a point in a style with a stimulus.
// The program times them in order, and calls mark before each.
type passage struct {
	style     int
	point     int
	calls     int
	costliest bool
}

// bench is a program that runs every style of a variant through every point.
type bench struct {
	kernel   *kernel
	variant  variant
	styles   []style
	points   [2][]point // for kernels of a block, and of one sample a call
	passages []passage
}

func newBench(k *kernel, v variant, c *core) *bench {
	b := &bench{kernel: k, variant: v, styles: k.styles()}
	for one := range b.points {
		b.points[one] = k.points(v, one == 1)
		for p := range b.points[one] {
			for s, st := range b.styles {
				if st.oneSample == (one == 1) {
					calls := b.points[one][p].calls(c, st)
					b.passages = append(b.passages, passage{s, p, calls, false}, passage{s, p, calls, true})
				}
			}
		}
	}
	return b
}

// pointsOf are the points of a style.
func (b *bench) pointsOf(s style) []point { return b.points[ones(s.oneSample)] }

// whole is the style that differs from a style of one sample a call in that alone:
// hops are the same code in both, and timed in the one of whole blocks.
func (b *bench) whole(style int) int {
	st := b.styles[style]
	st.oneSample = false
	return slices.Index(b.styles, st)
}

func ones(one bool) int {
	if one {
		return 1
	}
	return 0
}

const (
	mostPointers = 32
	mostFrames   = 64
	arenaBytes   = 2 << 20
)

// source is the program in C. It holds a copy of the kernel for all that is
// not timed, which the linker puts where the emulator does not log.
func (b *bench) source() string {
	k := b.kernel
	sent, sentType := "", ""
	if k.sends() {
		sent, sentType = ", lists", ", kernel_events *const sent[]"
	}
	var c strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&c, format+"\n", args...) }
	p("#define KERNEL_STIMULI\n#include <string.h>\n#include \"%s.c\"", k.block.Name)
	p(`extern void mark(void);
#ifndef KERNEL_WARM_UP
#define KERNEL_WARM_UP 1
#endif
static uint64_t arena[%d];
static float in_memory[%d][%d], out_memory[%d][%d];
static const float *in[%d];
static float *out[%d];`, arenaBytes/8, mostPointers, mostFrames*4, mostPointers, mostFrames*4, mostPointers, mostPointers)
	if lists := len(events(k.block.Outputs)); lists > 0 {
		p("static kernel_event sent_memory[%d][256];\nstatic kernel_events list[%d];\nstatic kernel_events *lists[%d];", lists, lists, lists)
	}
	// The styles.
	for s, st := range b.styles {
		for _, f := range k.timed(st.oneSample) {
			p("void %s(%s);", alias(s, f), b.signature(f, sentType))
		}
	}
	kinds := []string{}
	if k.ticks() {
		kinds = append(kinds, k.entry(false))
	}
	kinds = append(kinds, k.timed(false)[len(kinds):]...)
	p("static const struct {")
	for n, f := range kinds {
		p("  void (*f%d)(%s);", n, b.signature(f, sentType))
	}
	p("} styles[] = {")
	for s, st := range b.styles {
		var names []string
		for _, f := range k.timed(st.oneSample) {
			names = append(names, alias(s, f))
		}
		p("  {%s},", strings.Join(names, ", "))
	}
	p("};")
	// The points.
	p("static const %s_params params[] = {", k.name)
	type row struct{ first, channels, frames, kind, one int }
	var rows []row
	n := 0
	for one := range b.points {
		for i := range b.points[one] {
			pt := &b.points[one][i]
			rows = append(rows, row{n, pt.channels, pt.blockSize, b.kind(pt), one})
			for call := range pt.settings {
				p("  {%s},", b.initialiser(pt.settings[call]))
				n++
			}
		}
	}
	p("};")
	p("static const struct { uint32_t first, channels, frames, kind, one; } points[] = {")
	for _, r := range rows {
		p("  {%d, %d, %d, %d, %d},", r.first, r.channels, r.frames, r.kind, r.one)
	}
	p("};")
	p("static const struct { uint16_t style, point, calls, costliest; } passages[] = {")
	for _, ps := range b.passages {
		at := ps.point
		if b.styles[ps.style].oneSample {
			at += len(b.points[0])
		}
		p("  {%d, %d, %d, %d},", ps.style, at, ps.calls, ones(ps.costliest))
	}
	p("};")
	b.prepare(p)
	b.measure(p, kinds, sent)
	p("%s", startup)
	return c.String()
}

// hears tells whether the kernel has an audio input, whose stimulus tells what
// its memory is full of.
func (k *kernel) hears() bool {
	return slices.ContainsFunc(k.block.Inputs, func(in blocks.Port) bool { return in.Kind == blocks.Audio })
}

// signature is the parameter list of a timed function.
func (b *bench) signature(function, sentType string) string {
	k := b.kernel
	switch {
	case strings.HasPrefix(function, k.name+"_update_"):
		return fmt.Sprintf("%s_state *s, const kernel_env *env, const %s_params *p", k.name, k.name)
	case strings.HasPrefix(function, k.name+"_hop_"):
		return fmt.Sprintf("%s_state *s, const kernel_env *env", k.name)
	case strings.HasPrefix(function, k.name+"_event_"):
		return fmt.Sprintf("%s_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]%s", k.name, sentType)
	}
	return fmt.Sprintf("%s_state *s, const kernel_env *env, const float *const in[], float *const out[]%s", k.name, sentType)
}

// kind is the index of the timed function that a point calls.
func (b *bench) kind(pt *point) int {
	k := b.kernel
	n := ones(k.ticks())
	for i, up := range k.block.Operations.Updates {
		if pt.group == groupUpdates+up.Name {
			return n + i
		}
	}
	n += len(k.block.Operations.Updates)
	for i, in := range events(k.block.Inputs) {
		if pt.group == groupEvents+in {
			return n + i
		}
	}
	n += len(events(k.block.Inputs))
	for i, hop := range k.hops() {
		if pt.group == groupHops+hop {
			return n + i
		}
	}
	return 0
}

// initialiser writes settings as the kernel's params struct.
func (b *bench) initialiser(settings []blocks.Setting) string {
	var values []string
	for _, f := range b.kernel.fields() {
		s := settings[f.param]
		switch {
		case b.kernel.block.Params[f.param].Categorical():
			values = append(values, fmt.Sprintf(".%s = %d", f.name, s.Choice))
		case f.whole:
			values = append(values, fmt.Sprintf(".%s = %d", f.name, int64(s.Span.High)))
		default:
			values = append(values, fmt.Sprintf(".%s = (float)%s", f.name, float(s.Span.High)))
		}
	}
	if values == nil {
		return "0"
	}
	return strings.Join(values, ", ")
}

// float writes a number so that C reads it as one with a fraction.
func float(v float64) string {
	text := strconv.FormatFloat(v, 'g', -1, 64)
	if !strings.ContainsAny(text, ".e") {
		text += ".0"
	}
	return text
}

// prepare writes the function that starts a kernel at a point and, the first
// time that a point comes, reports the sizes it asks for.
func (b *bench) prepare(p func(string, ...any)) {
	k := b.kernel
	p(`static kernel_env env;
static %[1]s_state *state;
static void *buffers[%[2]d];
static uint32_t prepared = 0xffffffff;

static void clear(void *at, uint32_t bytes) {
  uint64_t *word = at;
  for (uint32_t i = 0; i < bytes; i += 64, word += 8)
    word[0] = word[1] = word[2] = word[3] = word[4] = word[5] = word[6] = word[7] = 0;
}

static void say(uint32_t value);
static uint32_t used;

static void *take(uint32_t bytes) {
  void *at = (char *)arena + used;
  used += (bytes + 63) / 64 * 64;
  return at;
}

static _Alignas(8) kernel_sample sounds[2][512];

// Fills memory with what the stimulus sounds like.
static __attribute__((unused)) void sound(void *at, uint32_t bytes, int costliest) {
  static int made;
  if (!made) {
    for (int c = 0; c < 2; c++) {
      float x[512];
      uint32_t seed = kernel_seed(0, 0);
      for (int i = 0; i < 512; i++)
        x[i] = kernel_noise(&seed);
      if (%[5]d)
        %[1]s_stimulus(c, x, 512, 0, 0);
      for (int i = 0; i < 512; i++)
        sounds[c][i] = kernel_to_sample(x[i]);
    }
    made = 1;
  }
  uint64_t *to = at;
  const uint64_t *from = (const uint64_t *)(const void *)sounds[costliest];
  uint32_t whole = bytes / 64;
  for (uint32_t i = 0; i < whole; i++, to += 8) {
    const uint64_t *f = from + i %% (sizeof sounds[0] / 64) * 8;
    to[0] = f[0], to[1] = f[1], to[2] = f[2], to[3] = f[3], to[4] = f[4], to[5] = f[5], to[6] = f[6], to[7] = f[7];
  }
  memcpy(to, from, bytes %% 64);
}

static void prepare(uint32_t point, int costliest) {
  (void)costliest;
  const %[1]s_params *p = &params[points[point].first];
  int fresh = point != prepared;
  prepared = point;
  env.sample_rate = %[3]s;
  env.control_rate = %[4]d;
  env.block_size = points[point].frames;
  env.channels = points[point].channels;`, k.name, k.buffers()+len(k.block.Tables)+1, float(float64(rate)), controlRate, ones(k.hears()))
	p("  used = 0;\n  uint32_t bytes;")
	for i := range k.block.Tables {
		p("  bytes = %s_table_bytes(&env, p, %d);", k.name, i)
		p("  buffers[%d] = bytes ? take(bytes) : 0;", k.buffers()+i)
		p("  if (fresh && bytes) %s_table_fill(&env, p, %d, buffers[%d]);", k.name, i, k.buffers()+i)
	}
	p("  uint32_t tables = used;")
	p("  uint32_t state_bytes = %s_state_bytes(&env, p);", k.name)
	p("  if (fresh) { say(point); say(state_bytes); }")
	p("  state = take(state_bytes + sizeof(%s_state));", k.name)
	for i := range k.buffers() {
		p("  bytes = %s_buffer_bytes(&env, p, %d);", k.name, i)
		p("  buffers[%d] = bytes ? take(bytes) : 0;", i)
		p("  if (fresh) say(bytes);")
	}
	for i := range k.block.Tables {
		p("  if (fresh) say(%s_table_bytes(&env, p, %d));", k.name, i)
	}
	p("  if (fresh) say(0xffffffff);")
	p("  clear((char *)arena + tables, used - tables);")
	p("  %s_start(state, &env, p, buffers);", k.name)
	// What has run for a while has no silence in its memory, which counts where
	// floats are made by software.
	i := 0
	for _, b := range k.block.Buffers {
		for range max(1, len(b.Each)) {
			if !b.DMA {
				p("  if (buffers[%[1]d]) sound(buffers[%[1]d], %[2]s_buffer_bytes(&env, p, %[1]d), costliest);", i, k.name)
			}
			i++
		}
	}
	p("}")
}

// measure writes the function that runs all passages.
func (b *bench) measure(p func(string, ...any), kinds []string, sent string) {
	k := b.kernel
	eventIns := events(k.block.Inputs)
	p("static void fill(int costliest, uint32_t n, uint32_t block) {")
	p("  (void)costliest, (void)n, (void)block;")
	p("  for (uint32_t i = 0; i < %d; i++) { in[i] = in_memory[i]; out[i] = out_memory[i]; }", mostPointers)
	for _, channels := range manyChannels {
		p("  if (env.channels == %d) {", channels)
		for i, in := range k.inputs(channels, b.variant.moved) {
			words, channel := "n", strconv.Itoa(i)
			switch {
			case in.kind != blocks.Audio:
				words = "1"
			case in.jack:
				words = "n * env.channels"
			case in.moved:
				channel = "KERNEL_MOVED"
			}
			p("    %s_stimulus(costliest, in_memory[%d], %s, %s, block);", k.name, i, words, channel)
		}
		p("  }")
	}
	for i := range events(k.block.Outputs) {
		p("  list[%[1]d].count = 0; list[%[1]d].event = sent_memory[%[1]d]; lists[%[1]d] = &list[%[1]d];", i)
	}
	p("}\n")
	p("static __attribute__((noinline)) void measure(void) { // apart from reset, which enables the float unit")
	p("  for (uint32_t n = 0; n < sizeof passages / sizeof passages[0]; n++) {")
	p("    uint32_t at = passages[n].point, one = points[at].one, frames = one ? %d : points[at].frames;", mostFrames)
	p("    int costliest = passages[n].costliest;")
	p("    prepare(at, costliest);")
	p("    fill(costliest, frames, 0);")
	p("    env.block_size = frames;")
	for _, in := range eventIns {
		p("    { kernel_event e = {0, 1}; %s_event_%s(state, &env, &e, in%s); }", k.name, in, sent)
	}
	if k.ticks() {
		step := "frames"
		if k.block.Processes() != blocks.Audio {
			step = "1"
		}
		p("    for (uint32_t done = 0; done < KERNEL_WARM_UP; done += %s) {", step)
		p("      fill(costliest, frames, done / %s);", step)
		p("      %s(state, &env, in, out%s);", k.entry(false), sent)
		p("    }")
	}
	p("    env.block_size = points[at].frames;")
	p("    mark();")
	p("    for (uint32_t call = 0; call < passages[n].calls; call++) {")
	p("      if (!one || call %% %d == 0) fill(costliest, frames, call + 1);", mostFrames)
	p("      switch (points[at].kind) {")
	for n, f := range kinds {
		switch {
		case strings.HasPrefix(f, k.name+"_update_"):
			p("      case %d: styles[passages[n].style].f%d(state, &env, &params[points[at].first + call]); break;", n, n)
		case strings.HasPrefix(f, k.name+"_event_"):
			p("      case %d: { kernel_event e = {0, call & 1}; styles[passages[n].style].f%d(state, &env, &e, in%s); break; }", n, n, sent)
		case strings.HasPrefix(f, k.name+"_hop_"):
			p("      case %d: styles[passages[n].style].f%d(state, &env); break;", n, n)
		default:
			rewind := "" // so that no hop falls due in what is timed
			if len(k.hops()) > 0 {
				rewind = k.name + "_rewind(state); "
			}
			p("      case %d: %sstyles[passages[n].style].f%d(state, &env, in, out%s); break;", n, rewind, n, sent)
		}
	}
	p("      }")
	if k.block.Processes() == blocks.Audio {
		p("      if (one) for (uint32_t i = 0; i < %d; i++) { in[i]++; out[i]++; }", mostPointers)
	}
	p("    }\n  }\n  mark();\n}\n")
}

// startup is the vector table, the reset handler and what a program needs of
// semihosting: output and exit.
const startup = `
static void semihost(uint32_t operation, const void *argument) {
  register uint32_t r0 __asm__("r0") = operation;
  register const void *r1 __asm__("r1") = argument;
  __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
}

static char said[12];

static void say(uint32_t value) {
  static const char digits[] = "0123456789abcdef";
  for (int i = 0; i < 8; i++)
    said[i] = digits[value >> (28 - 4 * i) & 15];
  said[8] = value == 0xffffffff ? '\n' : ' ';
  said[9] = 0;
  semihost(4, said);
}

void reset(void);
extern char stack_top[];
extern uint32_t bss_start[], bss_end[];
__attribute__((section(".vectors"), used)) static const void *const vectors[16] = {stack_top, (const void *)reset};

void reset(void) {
#ifdef __ARM_FP
  *(volatile uint32_t *)0xE000ED88 |= 0xF << 20;
  __asm__ volatile("dsb\n isb");
#endif
  for (uint32_t *word = bss_start; word < bss_end; word++)
    *word = 0;
  measure();
  semihost(0x18, (const void *)0x20026);
  for (;;)
    ;
}
`

// marker is the function that separates the passages in the log.
const marker = `
  .syntax unified
  .thumb
  .section .text.mark, "ax"
  .global mark
  .type mark, %function
  .thumb_func
mark:
  bx lr
  .size mark, . - mark
`

// linkerScript puts what is timed below highCode and all else above, where the
// emulator's filter leaves it out of the log.
const linkerScript = `
MEMORY
{
  LOW (rx) : ORIGIN = 0x0, LENGTH = 2M
  HIGH (rx) : ORIGIN = 0x200000, LENGTH = 2M
  RAM (rwx) : ORIGIN = 0x20000000, LENGTH = 4M
}
ENTRY(reset)
SECTIONS
{
  .low : { KEEP(*(.vectors)) *(EXCLUDE_FILE(*bench.o) .text EXCLUDE_FILE(*bench.o) .text.* EXCLUDE_FILE(*bench.o) .rodata EXCLUDE_FILE(*bench.o) .rodata.*) } > LOW
  .high : { *(.text .text.* .rodata .rodata.*) } > HIGH
  .exidx : { *(.ARM.exidx*) *(.ARM.extab*) } > HIGH
  .data : { *(.data .data.*) } > RAM
  .bss (NOLOAD) : { bss_start = .; *(.bss .bss.*) *(COMMON) . = ALIGN(4); bss_end = .; end = .; } > RAM
  stack_top = 0x20400000;
}
`

const highCode = 0x200000
