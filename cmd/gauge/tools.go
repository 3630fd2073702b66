package main

import (
	"bytes"
	"errors"
	"fmt"
	"os/exec"
	"regexp"
	"strings"
)

// core is how kernels are compiled, run and timed for a core of the catalog.
type core struct {
	name     string
	flags    []string // of the compiler
	compiler string   // "": that of Arm
	machine  string   // of the emulator
	clock    func() clock
	// predicates: the core has IT blocks.
	predicates bool
	// softSingle and softDouble: arithmetic in these is by software, whose cycles
	// differ from value to value.
	softSingle, softDouble bool
	// triple and cpu are those of LLVM's model, where there is no table.
	triple, cpu string
}

// cores are the cores that are emulated. M33 code runs on the M7's machine,
// since QEMU's own M33 board boots from elsewhere; the instructions executed
// are the same.
var cores = []*core{
	{name: "m0plus", flags: []string{"-mcpu=cortex-m0plus", "-mthumb"}, machine: "mps2-an385", softSingle: true, softDouble: true,
		clock: func() clock { return &m0plus{} }},
	{name: "m4f", flags: []string{"-mcpu=cortex-m4", "-mthumb", "-mfpu=fpv4-sp-d16", "-mfloat-abi=hard"}, machine: "mps2-an386", predicates: true, softDouble: true,
		clock: func() clock { return &m4f{} }},
	{name: "m33", flags: []string{"-mcpu=cortex-m33", "-mthumb", "-mfpu=fpv5-sp-d16", "-mfloat-abi=hard"}, machine: "mps2-an500", predicates: true, softDouble: true,
		clock: func() clock { return &m33{} }},
	{name: "m7", flags: []string{"-mcpu=cortex-m7", "-mthumb", "-mfpu=fpv5-d16", "-mfloat-abi=hard"}, machine: "mps2-an500", predicates: true,
		triple: "thumbv7em-none-eabihf", cpu: "cortex-m7"},
}

func findCore(name string) (*core, bool) {
	for _, c := range cores {
		if c.name == name {
			return c, true
		}
	}
	return nil, false
}

// kernelFlags are the flags that every kernel is compiled with. A library
// function's error number is not asked for, so that a square root is one
// instruction, as firmware has it.
var kernelFlags = []string{"-std=c11", "-Wall", "-Wextra", "-Wno-unused-function", "-fno-math-errno", "-ffunction-sections", "-fdata-sections", "-fstack-usage"}

const (
	hostCompiler = "cc"
	compiler     = "arm-none-eabi-gcc"
	objectCopier = "arm-none-eabi-objcopy"
	lister       = "arm-none-eabi-objdump"
	emulator     = "qemu-system-arm"
	disassembler = "llvm-mc-19"
	analyser     = "llvm-mca-19"
)

// toolNames are the programs that gauge runs.
var toolNames = []string{hostCompiler, compiler, objectCopier, lister, emulator, disassembler, analyser}

// packages are the Debian packages that hold those that figures depend on, with
// the libraries that are linked.
var packages = []string{"binutils-arm-none-eabi", "gcc-arm-none-eabi", "libnewlib-arm-none-eabi", "llvm-19", "qemu-system-arm"}

// toolVersions are the versions of the packages, by name.
func toolVersions() (map[string]string, error) {
	for _, name := range toolNames {
		if _, err := exec.LookPath(name); err != nil {
			return nil, fmt.Errorf("the program %s is missing: apt-get install gcc libc6-dev %s", name, strings.Join(packages, " "))
		}
	}
	versions := map[string]string{}
	for _, name := range packages {
		out, err := call("", "dpkg-query", "-W", "-f", "${Version}", name)
		if err != nil {
			return nil, fmt.Errorf("the version of the package %s is not known: %w", name, err)
		}
		versions[name] = strings.TrimSpace(out)
	}
	return versions, nil
}

// call runs a program and gives what it writes. What it complains of is in the
// error.
func call(input, name string, args ...string) (string, error) {
	cmd := exec.Command(name, args...)
	cmd.Stdin = strings.NewReader(input)
	var out, complaints bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaints
	if err := cmd.Run(); err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			return "", fmt.Errorf("%s %s: %w\n%s", name, strings.Join(args, " "), err, firstLines(complaints.String(), 12))
		}
		return "", err
	}
	return out.String(), nil
}

func firstLines(text string, n int) string {
	lines := strings.SplitAfterN(text, "\n", n+1)
	return strings.TrimRight(strings.Join(lines[:min(n, len(lines))], ""), "\n")
}

var totalCycles = regexp.MustCompile(`(?m)^Total Cycles:\s+(\d+)`)
