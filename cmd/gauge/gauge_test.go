package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
)

func openGain(t *testing.T) *kernel {
	t.Helper()
	list, err := library([]string{"gain"})
	if err != nil {
		t.Fatal(err)
	}
	k, err := openKernel(kernelFolder, list[0])
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// The gain's loop as the compiler writes it for a Cortex-M4 at -O2 was summed
// by hand from its listing: 9 cycles a sample and channel.
func TestGainIsTimed(t *testing.T) {
	needTools(t, toolNames...)
	k := openGain(t)
	c, _ := findCore("m4f")
	v, err := measure(k, k.variants()[0], c, builtPlugin(t))
	if err != nil {
		t.Fatal(err)
	}
	if v.State != 4 {
		t.Errorf("The state of gain takes %d bytes; it is one word.", v.State)
	}
	s := v.Styles[0]
	if s.Optimise != "O2" || s.OneSample || s.Functions["block"] == 0 || s.Functions["start"] == 0 {
		t.Errorf("The first style is %+v; it should be a block at -O2 with the sizes of block and start.", s)
	}
	found := false
	for _, term := range s.Terms {
		if term.Group == "sample" {
			found = true
			if term.Times != "channels" || term.Cycles < 8 || term.Cycles > 10 {
				t.Errorf("A sample takes %g cycles times '%s'; the listing gives 9 a channel.", term.Cycles, term.Times)
			}
		}
	}
	if !found {
		t.Errorf("The terms are %v; none is a sample's.", s.Terms)
	}
	for _, f := range s.Fits {
		if f.HeldOut == 0 || f.HeldOutWorst > 0.05 || f.HeldOutMedian > 0.01 {
			t.Errorf("The fit is %+v; points kept out of it should differ by 1 %% in the median and 5 %% at worst.", f)
		}
	}
}

// A kernel under emulation puts out what it puts out on the host: see the host
// tests. Here the sizes must be refused where they differ.
func TestSizesThatDifferAreRefused(t *testing.T) {
	k := openGain(t)
	b := newBench(k, k.variants()[0], cores[1])
	if err := b.checkSizes(map[int][]int64{0: {4}}); err != nil {
		t.Errorf("A state of one word is refused: %v.", err)
	}
	err := b.checkSizes(map[int][]int64{0: {8}})
	if err == nil || !strings.Contains(err.Error(), "takes 8 bytes in the kernel and 4 by the catalog") {
		t.Errorf("A state of two words gives '%v'; it should say that the catalog has 4 bytes.", err)
	}
	if err := b.checkSizes(map[int][]int64{0: {4, 4}}); err == nil {
		t.Error("A kernel with a buffer more than the catalog is taken; it must be refused.")
	}
}

func TestFilesAreReadAsTheyWereWritten(t *testing.T) {
	k := openGain(t)
	folder := t.TempDir()
	e := &blocks.Emulation{Block: "gain", Core: "m4f", Made: "0", Tools: map[string]string{"gcc-arm-none-eabi": "1"},
		Variants: []blocks.EmulatedVariant{{State: 4, Styles: []blocks.EmulatedStyle{{Optimise: "O2", Maths: "library", Precision: "single",
			Functions: map[string]blocks.Bytes{"block": 58}, Terms: []blocks.CycleTerm{{Group: "sample", Times: "channels", Cycles: 9, Costliest: 9}}}}}}}
	if err := save(folder, e); err != nil {
		t.Fatal(err)
	}
	got, err := catalog.LoadEmulation(os.DirFS(folder), "m4f", k.block)
	if err != nil {
		t.Fatal(err)
	}
	first, _ := encode(e)
	again, _ := encode(got)
	if !bytes.Equal(first, again) {
		t.Errorf("Read and written again the file is\n%s\nand was\n%s", again, first)
	}

	// A term in a variable that the block does not have is refused.
	e.Variants[0].Styles[0].Terms[0].Times = "stages"
	if err := save(folder, e); err != nil {
		t.Fatal(err)
	}
	if _, err := catalog.LoadEmulation(os.DirFS(folder), "m4f", k.block); err == nil || !strings.Contains(err.Error(), "stages") {
		t.Errorf("A term of unknown variables gives '%v'; it should name 'stages'.", err)
	}
}

func TestCheckComparesWithinTwoPercentAcrossVersions(t *testing.T) {
	k := openGain(t)
	c, _ := findCore("m4f")
	timed := &task{kernel: k, core: c, variant: k.variants()[0]}
	variant := func(cycles float64) *blocks.EmulatedVariant {
		style := blocks.EmulatedStyle{Optimise: "O2", Maths: "library", Precision: "single", Functions: map[string]blocks.Bytes{"block": 58},
			Terms: []blocks.CycleTerm{{Group: "sample", Times: "channels", Cycles: cycles, Costliest: cycles}}}
		return &blocks.EmulatedVariant{State: 4, Styles: []blocks.EmulatedStyle{style}}
	}
	for _, x := range []struct {
		name      string
		otherwise bool // the tools have other versions
		cycles    float64
		same      bool
	}{
		{"the same figures by the same tools", false, 100, true},
		{"other figures by the same tools", false, 100.001, false},
		{"figures 1.9 % off by other tools", true, 101.9, true},
		{"figures 2.1 % off by other tools", true, 102.1, false},
	} {
		problem := compare(timed, variant(100), variant(x.cycles), !x.otherwise)
		if (problem == "") != x.same {
			t.Errorf("%s: the check says '%s'; the rule is byte for byte by the same tools, 2 %% by others.", x.name, problem)
		}
	}
	was, is := map[string]string{"llvm-19": "19.1", "qemu-system-arm": "7.2"}, map[string]string{"llvm-19": "19.2", "qemu-system-arm": "7.2"}
	if got, want := otherVersions(was, is), "llvm-19 19.1, here 19.2"; got != want {
		t.Errorf("The versions differ by '%s'; it should be '%s'.", got, want)
	}
	if got := otherVersions(was, was); got != "" {
		t.Errorf("The same versions are told to differ: '%s'.", got)
	}
}

// A result is current by the versions that it was made with, whatever is
// installed here, and not once its kernel has changed.
func TestResultsOfOtherKernelsAreNotCurrent(t *testing.T) {
	k := openGain(t)
	c, _ := findCore("m4f")
	j := &job{folder: t.TempDir(), project: project{root: "../..", tools: map[string]string{"llvm-19": "here"}}}
	there := map[string]string{"llvm-19": "there"}
	made, err := j.project.digest(k, c, there)
	if err != nil {
		t.Fatal(err)
	}
	e := &blocks.Emulation{Block: "gain", Core: "m4f", Made: made, Tools: there, Variants: make([]blocks.EmulatedVariant, len(k.variants()))}
	if err := save(j.folder, e); err != nil {
		t.Fatal(err)
	}
	if _, problem := j.current(&task{kernel: k, core: c}); problem != "" {
		t.Errorf("A result made with other versions is refused with '%s'; only its kernel matters.", problem)
	}
	changed := *k
	changed.text += " "
	if _, problem := j.current(&task{kernel: &changed, core: c}); !strings.Contains(problem, "have changed since") {
		t.Errorf("A result of a kernel that has changed gives '%s'; it should say that it has changed.", problem)
	}
	if _, problem := j.current(&task{kernel: k, core: cores[0]}); !strings.Contains(problem, "gain.json") {
		t.Errorf("A result that is missing gives '%s'; it should name its file.", problem)
	}
}

// A header that a kernel shares with others of its family is part of it.
func TestKernelHoldsItsSharedHeader(t *testing.T) {
	folder := t.TempDir()
	for name, text := range map[string]string{
		"gain.c":  "#include \"kernel.h\"\n#include \"turn.h\"\n",
		"turn.h":  "// tan of a turn\n",
		"gains.c": "#include \"kernel.h\"\n#include \"missing.h\"\n",
	} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if k, err := openKernel(folder, &blocks.Block{Name: "gain"}); err != nil {
		t.Errorf("A kernel with a header beside it is refused: %v", err)
	} else if !strings.HasSuffix(k.text, "// tan of a turn\n") {
		t.Errorf("The kernel's text is %q; its header should be part of it.", k.text)
	}
	if _, err := openKernel(folder, &blocks.Block{Name: "gains"}); err == nil || !strings.Contains(err.Error(), "missing.h") {
		t.Errorf("A kernel whose header is missing gives '%v'; it should name the header.", err)
	}
}

// Of ten tasks the sample takes those in the middle of each third.
func TestSampleIsEven(t *testing.T) {
	var list []task
	for i := range 10 {
		list = append(list, task{index: i})
	}
	var got []int
	for _, x := range evenly(list, 3) {
		got = append(got, x.index)
	}
	if want := []int{1, 5, 8}; !slices.Equal(got, want) {
		t.Errorf("The sample of ten tasks is %v; the middles of three even parts are %v.", got, want)
	}
	if got := evenly(list, 12); len(got) != 10 {
		t.Errorf("A sample of more than there are has %d of 10 tasks.", len(got))
	}
}

func TestNewBlockCanBeReadAndCompiled(t *testing.T) {
	root := t.TempDir()
	for _, folder := range []string{"catalog/blocks/filter", "blocks/kernels"} {
		if err := os.MkdirAll(filepath.Join(root, folder), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := newBlock(io.Discard, root, "filter/wind-machine"); err != nil {
		t.Fatal(err)
	}
	if err := newBlock(io.Discard, root, "filter/wind-machine"); err == nil {
		t.Error("A block that is there already is written over; it must be left alone.")
	}
	for _, name := range []string{"wind-machine", "filter/Wind", "nowhere/wind"} {
		if err := newBlock(io.Discard, root, name); err == nil {
			t.Errorf("The name '%s' is taken; it is no FAMILY/BLOCK of the catalog's.", name)
		}
	}
	path := filepath.Join(root, "catalog", "blocks", "filter", "wind-machine.yaml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lib := &blocks.Library{}
	var errs source.Errors
	catalog.Add(lib, source.NewFile(path, text), &errs)
	if err := errs.Err(); err != nil {
		t.Errorf("The new entry is not one that the catalog reads: %v.", err)
	}
	needTools(t, "cc")
	if _, err := call("", "cc", "-std=c11", "-Wall", "-Wextra", "-Werror", "-Wno-unused-function", "-I"+kernelFolder, "-DKERNEL_STIMULI", "-c",
		"-o", filepath.Join(root, "kernel.o"), filepath.Join(root, "blocks", "kernels", "wind-machine.c")); err != nil {
		t.Errorf("The new kernel does not compile: %v.", err)
	}
}
