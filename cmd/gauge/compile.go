package main

import (
	"cmp"
	"debug/elf"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
)

// workshop is a folder in which programs are built for a core.
type workshop struct {
	folder  string
	core    *core
	bench   *bench // of a variant; nil: a whole graph is built
	kernels string // the folder of a whole graph's kernels
}

func (w *workshop) path(name string) string { return filepath.Join(w.folder, name) }

// sources is the folder of the kernels' sources.
func (w *workshop) sources() string {
	if w.bench != nil {
		return filepath.Dir(w.bench.kernel.file)
	}
	return w.kernels
}

// compile compiles a C file to an object.
func (w *workshop) compile(object string, flags ...string) error {
	args := slices.Concat(w.core.flags, kernelFlags, flags, []string{"-I" + w.sources(), "-o", w.path(object)})
	_, err := call("", cmp.Or(w.core.compiler, compiler), args...)
	return err
}

func object(style int) string { return fmt.Sprintf("style%d.o", style) }

// build makes the program of all styles and gives its path.
func (w *workshop) build() (string, error) {
	k := w.bench.kernel
	choices := k.defines(w.bench.variant.choices)
	if moved := w.bench.variant.moved; moved != "" {
		choices = append(choices, "-DMOVED_"+macro(moved)+"_AUDIO")
	}
	objects := []string{}
	for s, st := range w.bench.styles {
		flags := slices.Concat(choices, st.defines())
		for _, f := range k.functions(st.oneSample) {
			flags = append(flags, "-D"+f+"="+alias(s, f))
		}
		run, err := w.style(s, append(flags, k.file))
		if err != nil {
			return "", err
		}
		objects = append(objects, run)
	}
	return w.joined(w.bench.source(), objects, choices...)
}

// joined links a program of the bench in C and the objects that it times, and
// gives its path.
func (w *workshop) joined(bench string, objects []string, flags ...string) (string, error) {
	for name, text := range map[string]string{"main.c": bench, "mark.s": marker, "program.ld": linkerScript} {
		if err := os.WriteFile(w.path(name), []byte(text), 0o644); err != nil {
			return "", err
		}
	}
	if err := w.compile("main.o", append(flags, "-O1", "-c", w.path("main.c"))...); err != nil {
		return "", err
	}
	if err := w.assemble("mark.o", "mark.s"); err != nil {
		return "", err
	}
	return w.within("bench.o", []string{w.path("main.o")}, []string{"reset"}, "program.ld", objects, "program.elf")
}

// within links objects within a harness, of which only the symbols that are kept
// are seen, and gives the path of the program. The harness gets library functions
// of its own, so that those that the objects are linked with are theirs alone.
func (w *workshop) within(harness string, parts, kept []string, script string, objects []string, program string) (string, error) {
	link := func(args ...string) error {
		_, err := call("", compiler, append(slices.Clone(w.core.flags), args...)...)
		return err
	}
	if err := link(slices.Concat([]string{"-nostdlib", "-r"}, parts, []string{"-Wl,--start-group", "-lm", "-lc", "-lgcc", "-Wl,--end-group", "-o", w.path(harness)})...); err != nil {
		return "", err
	}
	var args []string
	for _, symbol := range kept {
		args = append(args, "--keep-global-symbol="+symbol)
	}
	if _, err := call("", objectCopier, append(args, w.path(harness))...); err != nil {
		return "", err
	}
	return w.path(program), link(slices.Concat([]string{"-nostartfiles", "--specs=nosys.specs", "-T", w.path(script), "-Wl,--gc-sections", "-Wl,--no-warn-rwx-segments", w.path(harness), w.path("mark.o")},
		objects, []string{"-lm", "-o", w.path(program)})...)
}

// style compiles a style to an object whose code is measured, and gives the path
// of the object that is run.
func (w *workshop) style(style int, flags []string) (string, error) {
	return w.both(strings.TrimSuffix(object(style), ".o"), flags)
}

// both compiles a file to NAME.o, whose code is measured, and gives the path of
// the object that is run: the same, or where the core has IT blocks one in which
// they are taken apart.
func (w *workshop) both(name string, flags []string) (string, error) {
	measured := w.path(name + ".o")
	if err := w.compile(name+".s", append(flags, "-S")...); err != nil {
		return "", err
	}
	if err := w.assemble(name+".o", name+".s"); err != nil || !w.core.predicates {
		return measured, err
	}
	text, err := os.ReadFile(w.path(name + ".s"))
	if err != nil {
		return "", err
	}
	apart, err := branchOut(string(text))
	if err != nil {
		return "", err
	}
	if apart == string(text) {
		return measured, nil
	}
	if err := os.WriteFile(w.path(name+"-branched.s"), []byte(apart), 0o644); err != nil {
		return "", err
	}
	return w.path(name + "-branched.o"), w.assemble(name+"-branched.o", name+"-branched.s")
}

func (w *workshop) assemble(object, assembly string) error {
	_, err := call("", compiler, append(slices.Clone(w.core.flags), "-c", w.path(assembly), "-o", w.path(object))...)
	return err
}

// symbol is a function or an object of a linked program.
type symbol struct {
	name    string
	address uint64
	size    uint64
}

// symbols reads the functions and the constants of a program, by address.
func symbols(program string) ([]symbol, error) {
	f, err := elf.Open(program)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	all, err := f.Symbols()
	if err != nil {
		return nil, err
	}
	var list []symbol
	for _, s := range all {
		kind := elf.ST_TYPE(s.Info)
		if s.Size == 0 || kind != elf.STT_FUNC && kind != elf.STT_OBJECT {
			continue
		}
		list = append(list, symbol{s.Name, s.Value &^ 1, s.Size})
	}
	slices.SortFunc(list, func(a, b symbol) int { return int(int64(a.address) - int64(b.address)) })
	return list, nil
}

// code is what a style takes of flash, and of RAM for the library's data.
type code struct {
	functions, updates map[string]blocks.Bytes
	constants          blocks.Bytes
	symbols, data      map[string]blocks.Bytes
}

// flash links a style by itself, garbage-collected, and reads what stays: with
// everything, and without the updates, which no graph calls whose parameters
// stay where they are.
func (w *workshop) flash(style int) (*code, error) {
	k, st := w.bench.kernel, w.bench.styles[style]
	roots := []string{alias(style, k.name+"_start")}
	for _, f := range k.timed(st.oneSample) {
		if !strings.HasPrefix(f, k.name+"_update_") {
			roots = append(roots, alias(style, f))
		}
	}
	still, err := w.link(style, roots)
	if err != nil {
		return nil, err
	}
	stays := map[string]bool{}
	for _, p := range still {
		stays[p.section] = true
	}
	for _, f := range k.timed(st.oneSample) {
		roots = append(roots, alias(style, f))
	}
	all, err := w.link(style, roots)
	if err != nil {
		return nil, err
	}
	c := &code{functions: map[string]blocks.Bytes{}, updates: map[string]blocks.Bytes{}, symbols: map[string]blocks.Bytes{}, data: map[string]blocks.Bytes{}}
	prefix := alias(style, k.name) + "_"
	for _, p := range all {
		function, isCode := strings.CutPrefix(p.section, ".text.")
		switch {
		case p.member != "":
			if p.flash {
				c.symbols[p.member] += p.bytes
			}
			if p.ram {
				c.data[p.member] += p.bytes
			}
		case isCode:
			list := c.functions
			if !stays[p.section] {
				list = c.updates
			}
			list[plain(strings.TrimPrefix(function, "unlikely."), prefix, k.name+"_")] += p.bytes
		case p.flash:
			c.constants += p.bytes
		}
	}
	return c, nil
}

// plain is a function's name without the style's and the block's, and without
// what the compiler adds to copies of it.
func plain(name, prefix, block string) string {
	name = strings.TrimPrefix(strings.TrimPrefix(name, prefix), block)
	name, _, _ = strings.Cut(name, ".")
	return name
}

// link links the object of a style alone, keeping some functions and what they
// need, and gives the pieces that are linked.
func (w *workshop) link(style int, roots []string) ([]piece, error) {
	args := slices.Concat(w.core.flags, []string{"-nostartfiles", "--specs=nosys.specs", "-Wl,--gc-sections", "-Wl,--no-warn-rwx-segments", "-Wl,-e," + roots[0], "-Wl,-Map," + w.path("alone.map")})
	for _, r := range roots {
		args = append(args, "-Wl,-u,"+r)
	}
	if _, err := call("", compiler, append(args, w.path(object(style)), "-lm", "-o", w.path("alone.elf"))...); err != nil {
		return nil, err
	}
	text, err := os.ReadFile(w.path("alone.map"))
	if err != nil {
		return nil, err
	}
	return parseMap(string(text)), nil
}

var usageLine = regexp.MustCompile(`(?m)^\S+:(\S+)\t(\d+)\t`)

// frames are the bytes of stack of each function of a style as the compiler
// states them.
func (w *workshop) frames(style int) (map[string]int, error) {
	text, err := os.ReadFile(w.path(strings.TrimSuffix(object(style), ".o") + ".su"))
	if err != nil {
		return nil, err
	}
	list := map[string]int{}
	for _, m := range usageLine.FindAllStringSubmatch(string(text), -1) {
		list[m[1]], _ = strconv.Atoi(m[2])
	}
	return list, nil
}

// listing disassembles a program.
func (w *workshop) listing(program string) (map[uint64]*instruction, error) {
	text, err := call("", lister, "-d", "-j", ".low", program)
	if err != nil {
		return nil, err
	}
	return parseListing(text, highCode)
}

// sorted are the keys of a map in order.
func sorted[K ~string, V any](m map[K]V) []K { return slices.Sorted(maps.Keys(m)) }
