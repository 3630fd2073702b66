package main

import (
	"bytes"
	"context"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// The reset handler and the linker script of a program that reads and writes the
// emulator's standard streams.
const standardStart = `
#include <stdint.h>
extern void initialise_monitor_handles(void);
extern int main(void);
extern int fflush(void *);
extern void _exit(int);
extern char stack_top[];
extern uint32_t bss_start[], bss_end[];
void reset(void);
void _fini(void) {}
__attribute__((section(".vectors"), used)) static const void *const vectors[16] = {stack_top, (const void *)reset};
void reset(void) {
#ifdef __ARM_FP
  *(volatile uint32_t *)0xE000ED88 |= 0xF << 20;
  __asm__ volatile("dsb\n isb");
#endif
  for (uint32_t *word = bss_start; word < bss_end; word++)
    *word = 0;
  initialise_monitor_handles();
  int code = main();
  fflush(0);
  _exit(code);
}
`

const standardScript = `
MEMORY
{
  CODE (rx) : ORIGIN = 0x0, LENGTH = 4M
  RAM (rwx) : ORIGIN = 0x20000000, LENGTH = 4M
}
ENTRY(reset)
SECTIONS
{
  .code : { KEEP(*(.vectors)) *(.text .text.* .rodata .rodata.*) } > CODE
  .exidx : { *(.ARM.exidx*) *(.ARM.extab*) } > CODE
  .data : { *(.data .data.*) } > RAM
  .bss (NOLOAD) : { bss_start = .; *(.bss .bss.*) *(COMMON) . = ALIGN(4); bss_end = .; end = .; } > RAM
  stack_top = 0x20400000;
}
`

// renderEmulated is render with the kernel compiled for a core, as it is timed,
// and run in the emulator.
func renderEmulated(t *testing.T, r rendering, c *core) map[string][][]float32 {
	t.Helper()
	h := prepare(t, r)
	folder := t.TempDir()
	for name, text := range map[string]string{"main.c": h.program(), "start.c": standardStart, "program.ld": standardScript} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	program := filepath.Join(folder, "program.elf")
	args := append([]string{"-O2", "-std=c11", "-fno-math-errno", "-I" + kernelFolder, "--specs=rdimon.specs", "-nostartfiles", "-Wl,--no-warn-rwx-segments", "-T", filepath.Join(folder, "program.ld")}, c.flags...)
	args = append(args, h.defines()...)
	args = append(args, filepath.Join(folder, "start.c"), filepath.Join(folder, "main.c"), "-lm", "-o", program)
	if _, err := call("", compiler, args...); err != nil {
		t.Fatal(err)
	}
	limit, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	cmd := exec.CommandContext(limit, emulator, "-M", c.machine, "-nographic", "-monitor", "none", "-serial", "none",
		"-semihosting-config", "enable=on,target=native", "-kernel", program)
	cmd.Stdin = bytes.NewReader(h.input())
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("The kernel of %s did not run to its end in the emulator: %v.", r.Block, err)
	}
	return h.output(t, out)
}

// What a kernel puts out in the emulator is what it puts out on the host, whose
// response the other tests hold to closed forms: to the bit where all arithmetic
// is the kernel's own, since floats are rounded alike by both, in hardware as in
// software. Library functions differ: glibc's are rounded nearly always rightly,
// newlib's within about an ulp, which is 1.2e-7 of full scale, and what feeds back
// on itself adds them up.
func TestKernelsPutOutTheSameInTheEmulator(t *testing.T) {
	needTools(t, toolNames...)
	seed := uint32(1)
	noise := make([]float32, 480)
	for i := range noise { // xorshift as in kernel.h
		seed ^= seed << 13
		seed ^= seed >> 17
		seed ^= seed << 5
		noise[i] = float32(int32(seed)) / (1 << 31)
	}
	heard := map[string][][]float32{"in": {noise}}
	for _, x := range []struct {
		name  string
		r     rendering
		apart float64 // at most, 0: not a bit
	}{
		{"comb in 16 bits", rendering{Block: "comb", Choices: map[string]string{"format": "int16"}, Params: map[string]float64{"time": 0.002}, Inputs: heard, Approximate: true}, 0},
		{"allpass", rendering{Block: "allpass", Params: map[string]float64{"time": 0.001}, Inputs: heard, Approximate: true}, 0},
		{"biquad", rendering{Block: "biquad", Inputs: heard, Approximate: true}, 0},
		{"ladder, one sample a call", rendering{Block: "ladder", Inputs: heard, Approximate: true, OneSample: true}, 0},
		{"saw", rendering{Block: "bandlimited-saw", Params: map[string]float64{"pitch": 440}, Approximate: true}, 0},
		{"white noise", rendering{Block: "noise"}, 0},
		{"hard clip in doubles", rendering{Block: "hard-clip", Params: map[string]float64{"drive": 3.3}, Inputs: heard, Double: true}, 0},
		{"sine by the library", rendering{Block: "sine", Choices: map[string]string{"method": "library"}, Params: map[string]float64{"pitch": 440}}, 2.5e-7},
		{"ladder by the library", rendering{Block: "ladder", Inputs: heard}, 2e-6},
	} {
		t.Run(x.name, func(t *testing.T) {
			x.r.Frames = len(noise)
			want := render(t, x.r)["out"][0]
			for _, name := range []string{"m0plus", "m4f", "m7"} {
				c, _ := findCore(name)
				got := renderEmulated(t, x.r, c)["out"][0]
				if len(got) != len(want) {
					t.Fatalf("On %s come %d samples, on the host %d.", name, len(got), len(want))
				}
				loud := false
				for i := range got {
					loud = loud || got[i] != 0
					same := math.Float32bits(got[i]) == math.Float32bits(want[i])
					if x.apart == 0 && !same || math.Abs(float64(got[i])-float64(want[i])) > x.apart {
						t.Fatalf("On %s sample %d is %v and on the host %v; they may be %g apart.", name, i, got[i], want[i], x.apart)
					}
				}
				if !loud {
					t.Errorf("On %s comes silence, which proves nothing.", name)
				}
			}
		})
	}
}
