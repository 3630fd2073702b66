package main

import (
	"debug/elf"
	"fmt"
	"os"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// outside are the symbols that the program takes from whoever calls it, with
// the words that stand for jacks.
func (p *program) outside() []string {
	list := []string{"program_scene", "program_ticks", "program_half"}
	for _, n := range p.nodes {
		if n.unit != nil && len(n.unit.kernel.jacks()) > 0 && !n.usesDMA() {
			list = append(list, n.id+"_jack")
		}
	}
	return list
}

// readOffsets finds where a unit's structs keep what the program writes, in the
// object of its source for the harness.
func (u *unit) readOffsets(object string) error {
	all, err := symbols(object)
	if err != nil {
		return err
	}
	u.offsets = map[string]int{}
	for _, s := range all {
		if field, ok := strings.CutPrefix(s.name, "offset_"); ok {
			u.offsets[field] = int(s.size) - 1
		}
	}
	return nil
}

// objects are a program's files: as they are measured, as they run, and what its
// harness needs of the kernels.
type objects struct{ measured, run, harness []string }

// add compiles a file of the program.
func (o *objects) add(w *workshop, name, text string, flags ...string) error {
	if err := os.WriteFile(w.path(name+".c"), []byte(text), 0o644); err != nil {
		return err
	}
	run, err := w.both(name, append(flags, w.path(name+".c")))
	o.measured, o.run = append(o.measured, w.path(name+".o")), append(o.run, run)
	return err
}

// addHarness compiles a file of the harness.
func (o *objects) addHarness(w *workshop, name, text string) error {
	if err := os.WriteFile(w.path(name+".c"), []byte(text), 0o644); err != nil {
		return err
	}
	o.harness = append(o.harness, w.path(name+".o"))
	return w.compile(name+".o", "-O1", "-c", w.path(name+".c"))
}

// compileKernels compiles what the program is the same with, whatever it hears,
// and learns from it what the program's source needs.
func (p *program) compileKernels(w *workshop) (*objects, error) {
	o := &objects{}
	if p.graph.CopiesCode() {
		if err := o.add(w, "copy", copying, "-O1"); err != nil {
			return nil, err
		}
	}
	for i, u := range p.units {
		if err := o.add(w, fmt.Sprintf("kernel%d", i), u.source(i, false), "-"+u.style.optimise); err != nil {
			return nil, err
		}
		outer := fmt.Sprintf("outer%d", i)
		if err := o.addHarness(w, outer, u.source(i, true)); err != nil {
			return nil, err
		}
		if err := u.readOffsets(w.path(outer + ".o")); err != nil {
			return nil, err
		}
	}
	return o, nil
}

// compileProgram compiles the program that calls the kernels, and its harness: for
// ordinary data, or with hooks for the costliest.
func (p *program) compileProgram(w *workshop, kernels *objects, costliest bool) (*objects, error) {
	o := &objects{slices.Clone(kernels.measured), slices.Clone(kernels.run), slices.Clone(kernels.harness)}
	optimise := "-O2"
	if len(p.units) > 0 {
		optimise = "-" + p.units[len(p.units)-1].style.optimise
	}
	name := "program"
	if costliest {
		name = "hooked"
	}
	if err := o.addHarness(w, name+"-harness", p.harness(costliest)); err != nil {
		return nil, err
	}
	// A loop stays a loop: a call of memcpy in its place would bring in a library
	// that no kernel asks for.
	flags := []string{optimise, "-fno-tree-loop-distribute-patterns"}
	if err := o.add(w, name, p.source(costliest), flags...); err != nil || len(p.left) == 0 {
		return o, err
	}
	// What stands for a node without a kernel runs, but is not measured.
	run, err := w.both(name+"-standing", append(flags, "-DSTANDING", w.path(name+".c")))
	o.run[len(o.run)-1] = run
	return o, err
}

// copying is what brings code to the RAM that it runs from before any of it runs. It
// lies beside what starts the board, which is the board's own.
const copying = `#include <stdint.h>
extern const uint32_t code_from[];
extern uint32_t code_to[], code_end[];
void program_copy(void);
__attribute__((section(".startup"))) void program_copy(void) {
  const volatile uint32_t *from = code_from;
  for (volatile uint32_t *to = code_to; to != code_end;)
    *to++ = *from++;
}
`

// codeSections are those of what runs, with names for where they are copied to.
const codeSections = "code_to = .; %s . = ALIGN(4); code_end = .;"

// linked is what the linker made of the program on the board's memory map.
type linked struct {
	objects map[int]extent // by index in the estimate's objects
	banks   []blocks.Bytes // what each bank is used up to
	code    blocks.Bytes   // code, library and constants, and the initial values of data, as they are stored
}

// extent is where something lies: its first address, and the first one behind.
type extent struct{ start, end uint64 }

// boardScript is a linker script for the board's memory map. Every object of the
// estimate is a section in the bank that it was placed in, behind what the
// board's own system takes.
func (p *program) boardScript() string {
	var s strings.Builder
	e, board := p.estimate, p.graph.Board
	s.WriteString("MEMORY\n{\n")
	for b := range board.Banks {
		bank := &board.Banks[b]
		// A graph that is over is linked all the same.
		fmt.Fprintf(&s, "  BANK%d (rwx) : ORIGIN = %#x, LENGTH = %d\n", b, bank.Base, max(bank.Usable(), e.Banks[b].Used+64<<10))
	}
	s.WriteString("}\nSECTIONS\n{\n")
	code := p.graph.CodeBank()
	system := func(b int) {
		for i, row := range board.System {
			if row.Bank == b && row.Bytes > 0 {
				fmt.Fprintf(&s, "  .system%d_%s (NOLOAD) : ALIGN(8) { . += %d; } > BANK%d\n", i, inC(row.What), row.Bytes, b)
			}
		}
	}
	system(code)
	const runs = "*(.text .text.*) *(.rodata .rodata.*)"
	if p.graph.CopiesCode() {
		fmt.Fprintf(&s, "  .startup : ALIGN(4) { KEEP(*(.startup)) } > BANK%d\n  .code : ALIGN(4) { *(.constants) } > BANK%d\n", code, code)
	} else {
		fmt.Fprintf(&s, "  .code : ALIGN(4) { %s *(.constants) } > BANK%d\n", runs, code)
	}
	s.WriteString("  .exidx : { *(.ARM.exidx*) *(.ARM.extab*) } > BANK" + fmt.Sprint(code) + "\n")
	for b := range board.Banks {
		if b != code {
			system(b)
		}
		for _, i := range e.Placement.Order {
			if e.Placement.Bank[i] != b {
				continue
			}
			o := &e.Objects[i]
			switch {
			case o.Name == estimator.LibraryData:
				fmt.Fprintf(&s, "  .object%d : ALIGN(%d) { *(.data .data.*) *(.bss .bss.*) *(COMMON) . = ALIGN(4); } > BANK%d AT> BANK%d\n", i, o.Align, b, code)
			case o.Part == estimator.PartCode:
				fmt.Fprintf(&s, "  .object%d_code : ALIGN(%d) { "+codeSections+" } > BANK%d AT> BANK%d\n  code_from = LOADADDR(.object%d_code);\n", i, o.Align, runs, b, code, i)
			case o.Part == estimator.PartStack:
				fmt.Fprintf(&s, "  .object%d_stack (NOLOAD) : ALIGN(%d) { . += %d; } > BANK%d\n", i, o.Align, o.Bytes, b)
			default:
				fmt.Fprintf(&s, "  .object%d (NOLOAD) : ALIGN(%d) { *(.object%d) } > BANK%d\n", i, max(o.Align, 1), i, b)
			}
		}
	}
	s.WriteString("}\n")
	return s.String()
}

// linkForBoard links the program for the board's memory map and reads what
// lies where.
func (p *program) linkForBoard(w *workshop, o *objects) (*linked, error) {
	if err := os.WriteFile(w.path("board.ld"), []byte(p.boardScript()), 0o644); err != nil {
		return nil, err
	}
	args := append([]string{}, w.core.flags...)
	args = append(args, "-nostartfiles", "--specs=nosys.specs", "-T", w.path("board.ld"), "-Wl,--gc-sections", "-Wl,--no-warn-rwx-segments",
		"-Wl,-e,program_block", "-Wl,-u,program_start", "-Wl,-Map,"+w.path("board.map"))
	for _, name := range p.outside() {
		args = append(args, "-Wl,--defsym,"+name+"=0")
	}
	if p.graph.CopiesCode() {
		args = append(args, "-Wl,-u,program_copy")
	}
	args = append(append(args, o.measured...), "-lm", "-o", w.path("board.elf"))
	if _, err := call("", compiler, args...); err != nil {
		return nil, err
	}
	f, err := elf.Open(w.path("board.elf"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	board := p.graph.Board
	l := &linked{objects: map[int]extent{}, banks: make([]blocks.Bytes, len(board.Banks))}
	for _, s := range f.Sections {
		if s.Flags&elf.SHF_ALLOC == 0 || s.Size == 0 {
			continue
		}
		for b := range board.Banks {
			bank := &board.Banks[b]
			if s.Addr >= bank.Base && s.Addr < bank.Base+uint64(max(bank.Usable(), p.estimate.Banks[b].Used+64<<10)) {
				l.banks[b] = max(l.banks[b], blocks.Bytes(s.Addr+s.Size-bank.Base))
			}
		}
		var i int
		if _, err := fmt.Sscanf(s.Name, ".object%d", &i); err == nil {
			l.objects[i] = extent{s.Addr, s.Addr + s.Size}
			if o := &p.estimate.Objects[i]; o.Name == estimator.LibraryData || o.Part == estimator.PartCode {
				l.code += blocks.Bytes(s.Size) // initial values, and what is copied
			}
		} else if s.Name == ".code" || s.Name == ".exidx" {
			l.code += blocks.Bytes(s.Size)
		}
	}
	return l, nil
}
