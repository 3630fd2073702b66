package main

import (
	"strings"
	"testing"
)

// run gives the cycles of some instructions, one a line; "taken" behind a
// branch says so.
func runClock(t *testing.T, c clock, code string) float64 {
	t.Helper()
	for line := range strings.Lines(code) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		line, taken := strings.CutSuffix(line, " taken")
		mnemonic, operands, _ := strings.Cut(line, " ")
		i, err := parseInstruction(mnemonic, operands)
		if err != nil {
			t.Fatal(err)
		}
		c.step(i, taken || i.target && i.class != classCondition)
	}
	return c.cycles()
}

func TestCortexM4Timing(t *testing.T) {
	for _, c := range []struct {
		name, source, code string
		want               float64
	}{
		{"one load", "TRM 100166 table 3-1", "ldr r0, [r1]", 2},
		{"two loads", "TRM 3.3.3: 2 loads 3 cycles", "ldr r0, [r1]\nldr r2, [r3]", 3},
		{"three loads", "TRM 3.3.3: 3 loads 4 cycles", "ldr r0, [r1]\nldr r2, [r3]\nldr r4, [r5, #8]", 4},
		{"a load whose address the load before gives", "TRM 3.3.3: not overlapped", "ldr r1, [r0]\nldr r2, [r1]", 4},
		{"a load and a store", "TRM 3.3.3: LDR then STR 3 together", "ldr r0, [r1]\nstr r0, [r2, #4]", 3},
		{"a store to base and register, then a load", "TRM 3.3.3: 2, and the next is not overlapped", "str r0, [r1, r2]\nldr r3, [r4]", 4},
		{"an address made just before", "TRM 3.3.3: 1 more", "add r1, r0\nldr r2, [r1]", 1 + 2 + 1},
		{"an address made earlier", "TRM 3.3.3", "adds r1, #4\nmovs r5, #0\nldr r2, [r1]", 1 + 1 + 2},
		{"PUSH of four", "TRM table 3-1: 1 + N", "push {r4, r5, r6, lr}", 5},
		{"POP with PC", "TRM table 3-1: 1 + N + P, P = 2", "pop {r4, r5, r6, pc}", 7},
		{"a branch not taken", "TRM table 3-1", "bne.n 0x100", 1},
		{"a branch taken", "TRM table 3-1: 1 + P", "bne.n 0x100 taken", 3},
		{"a call and its return", "TRM table 3-1: 1 + P each", "bl 0x100\nbx lr", 6},
		{"independent float sums", "TRM table 7-1: 1 each", "vadd.f32 s0, s1, s2\nvadd.f32 s3, s4, s5\nvadd.f32 s6, s7, s8", 3},
		{"a chain of float sums", "TRM table 7-1 note: 1 more for a result used next", "vadd.f32 s0, s0, s1\nvadd.f32 s0, s0, s1\nvadd.f32 s0, s0, s1", 5},
		{"a product stored at once", "TRM table 7-1 note and VSTR 2", "vmul.f32 s0, s1, s2\nvstr s0, [r0]", 1 + 2 + 1},
		{"a multiply-accumulate", "TRM table 7-1", "vfma.f32 s0, s1, s2", 3},
		{"a sum that is the next one's addend", "TRM table 7-1 note: read a cycle later", "vfma.f32 s0, s1, s2\nvfma.f32 s0, s3, s4", 6},
		{"a sum that is the next one's factor", "TRM table 7-1 note", "vfma.f32 s0, s1, s2\nvfma.f32 s5, s0, s4", 7},
		{"independent divides", "TRM table 7-1: 14, not pipelined", "vdiv.f32 s0, s1, s2\nvdiv.f32 s3, s4, s5", 28},
		{"a root", "TRM table 7-1", "vsqrt.f32 s0, s1", 14},
		{"registers between the banks", "TRM table 7-1: 2", "vmov s0, r0\nvmov r1, s2", 4},
		{"float registers", "TRM table 7-1: 1", "vmov.f32 s0, s1", 1},
		{"compare and flags", "TRM table 7-1: 1 each", "vcmpe.f32 s0, #0.0\nvmrs APSR_nzcv, fpscr", 2},
		{"VLDM of four", "TRM table 7-1: 1 + N", "vldmia r0!, {s0-s3}", 5},
		{"VPUSH of two doubles", "TRM table 7-1: 1 + 2N", "vpush {d8-d9}", 5},
		{"long multiply", "TRM table 3-1: 1", "umull r0, r1, r2, r3", 1},
		// The loop of a gain as the compiler writes it: 2 + 1 + (2 + 1 for the product used next) + 1 + 3.
		{"a loop", "summed by hand from the rows above", "vldmia r3!, {s15}\nvmul.f32 s15, s15, s0\nvstmia r2!, {s15}\ncmp r3, r1\nbne.n 0x10 taken", 10},
	} {
		if got := runClock(t, &m4f{}, c.code); got != c.want {
			t.Errorf("On Cortex-M4 %s takes %g cycles; %s gives %g.", c.name, got, c.source, c.want)
		}
	}
}

func TestCortexM0PlusTiming(t *testing.T) {
	// Arm DDI 0484C, table 3-1.
	for _, c := range []struct {
		name, code string
		want       float64
	}{
		{"two loads", "ldr r0, [r1, #0]\nldr r2, [r3, #4]", 4},
		{"a store", "strb r0, [r1, #0]", 2},
		{"a product", "muls r0, r1", 1},
		{"PUSH of three", "push {r4, r5, lr}", 4},
		{"POP with PC", "pop {r4, r5, pc}", 6},
		{"POP without", "pop {r4, r5}", 3},
		{"a branch not taken, and one taken", "beq.n 0x10\nbeq.n 0x10 taken", 3},
		{"B, BL, BX", "b.n 0x10\nbl 0x20\nbx lr", 7},
	} {
		if got := runClock(t, &m0plus{}, c.code); got != c.want {
			t.Errorf("On Cortex-M0+ %s takes %g cycles; the TRM's table gives %g.", c.name, got, c.want)
		}
	}
}

func TestCortexM33Timing(t *testing.T) {
	// Measurements of jnk0le/random, cortex_m33.md.
	for _, c := range []struct {
		name, code string
		want       float64
	}{
		{"a load used at once", "ldr r0, [r1]\nadds r2, r0, #1", 3},
		{"a load used later", "ldr r0, [r1]\nmovs r3, #0\nadds r2, r0, #1", 3},
		{"a load stored at once", "ldr r0, [r1]\nstr r0, [r2]", 2},
		{"a chain of float sums", "vadd.f32 s0, s0, s1\nvadd.f32 s0, s0, s1", 3},
		{"accumulating on one sum", "vfma.f32 s0, s1, s2\nvfma.f32 s0, s3, s4", 4},
		{"independent multiply-accumulates", "vfma.f32 s0, s1, s2\nvfma.f32 s5, s3, s4", 4},
		{"a float load used at once", "vldr s0, [r0]\nvadd.f32 s1, s0, s2", 2},
		{"a branch taken", "bne.n 0x10 taken", 2},
	} {
		if got := runClock(t, &m33{}, c.code); got != c.want {
			t.Errorf("On Cortex-M33 %s takes %g cycles; the measured rules give %g.", c.name, got, c.want)
		}
	}
}

func TestParseInstruction(t *testing.T) {
	r := func(list ...int) registers {
		var set registers
		for _, n := range list {
			set |= 1 << n
		}
		return set
	}
	const s = 16 // s0 is bit 16
	// Registers as the Armv7-M manual gives them for each instruction.
	for _, c := range []struct {
		mnemonic, operands string
		class              class
		writes, reads      registers
		stack              int
	}{
		{"push", "{r4, lr}", classStoreMany, 0, r(4, 13, 14), 8},
		{"stmdb", "sp!, {r4, r5, r6, r7, r8, lr}", classStoreMany, 0, r(4, 5, 6, 7, 8, 13, 14), 24},
		{"vpush", "{d8}", classFloatStoreMany, 0, r(13, s+16, s+17), 8},
		{"sub", "sp, #20", classALU, r(13), r(13), 20},
		{"add", "sp, #20", classALU, r(13), r(13), -20},
		{"ldr.w", "r3, [r0], #4", classLoad, r(3), r(0), 0},
		{"str.w", "r4, [sp, #-4]!", classStore, 0, r(4, 13), 4},
		{"ldrd", "r2, r3, [r0, #8]", classLoadPair, r(2, 3), r(0), 0},
		{"strne", "r2, [r0, r1]", classStoreReg, 0, r(0, 1, 2), 0},
		{"umull", "r0, r1, r2, r3", classMultiply, r(0, 1), r(2, 3), 0},
		{"mla", "r0, r1, r2, r3", classMultiply, r(0), r(1, 2, 3), 0},
		{"muls", "r0, r1, r0", classMultiply, r(0), r(0, 1), 0},
		{"ittee", "eq", classIT, 0, 0, 0},
		{"bls.n", "0x100", classCondition, 0, 0, 0},
		{"bics", "r0, r1", classALU, r(0), r(0, 1), 0},
		{"vcvt.s32.f32", "s15, s14", classFloat, r(s + 15), r(s + 14), 0},
		{"vselgt.f32", "s0, s1, s2", classFloat, r(s), r(s+1, s+2), 0},
		{"vmov", "r0, r1, d0", classFloatCore, r(0, 1), r(s, s+1), 0},
		{"vmov.f32", "s0, #1.0", classFloatMove, r(s), 0, 0},
		{"usat", "r3, #16, r3", classALU, r(3), r(3), 0},
	} {
		i, err := parseInstruction(c.mnemonic, c.operands)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if i.class != c.class || i.writes != c.writes || i.reads != c.reads || i.stack != c.stack {
			t.Errorf("'%s %s' is read as class %d writing %x reading %x with %d bytes of stack; it is class %d writing %x reading %x with %d.",
				c.mnemonic, c.operands, i.class, i.writes, i.reads, i.stack, c.class, c.writes, c.reads, c.stack)
		}
	}
	if _, err := parseInstruction("vqrdmulh.s16", "d0, d1, d2"); err == nil {
		t.Error("An instruction that is in no timing table is taken all the same; it must be refused.")
	}
}
