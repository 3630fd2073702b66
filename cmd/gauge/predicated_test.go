package main

import (
	"strings"
	"testing"
)

func TestITBlocksAreTakenApart(t *testing.T) {
	const code = `	vcmpe.f32	s0, #0
	vmrs	APSR_nzcv, FPSCR
	ite	mi
	vdivmi.f32	s1, s2, s3
	addpl	r0, r0, #1
	ite	eq
	moveq	r1, r2
	movne	r1, #0
	cbnz	r3, .L4
	bx	lr
`
	const want = `	vcmpe.f32	s0, #0
	vmrs	APSR_nzcv, FPSCR
	mov r9, r9
	mov lr, lr
	bpl	.Lunmet1
	vdiv.f32	s1, s2, s3
.Lunmet1:
	mov lr, lr
	bmi	.Lunmet2
	add	r0, r0, #1
.Lunmet2:
	ite	eq
	moveq	r1, r2
	movne	r1, #0
	mov r7, r7
	cmp	r3, #0
	bne	.L4
	bx	lr
`
	got, err := branchOut(code)
	if err != nil {
		t.Fatal(err)
	}
	if got != want {
		t.Errorf("The assembly becomes\n%s\nand should be\n%s", got, want)
	}
	if _, err := branchOut("\tit\teq\n\taddne\tr0, r0, #1\n"); err == nil {
		t.Error("An instruction with another condition than its IT block's is taken; it must be refused.")
	}
}

// With the condition met the IT block above takes IT 1, VDIV 14 and an
// instruction not executed 1, else 1, 1 and the addition's 1: Cortex-M4 TRM.
func TestITBlocksAreTimedAsTheCompilerWroteThem(t *testing.T) {
	for _, c := range []struct {
		name, code string
		want       float64
	}{
		{"met", "mov r9, r9\nmov lr, lr\nbpl.n 0x10\nvdiv.f32 s1, s2, s3\nmov lr, lr\nbmi.n 0x20 taken", 1 + 14 + 1},
		{"not met", "mov r9, r9\nmov lr, lr\nbpl.n 0x10 taken\nmov lr, lr\nbmi.n 0x20\nadd.w r0, r0, #1", 1 + 1 + 1},
		{"a branch on zero, taken", "mov r7, r7\ncmp r3, #0\nbne.n 0x30 taken", 3},
	} {
		clock := &m4f{}
		j := &joiner{step: clock.step}
		for line := range strings.Lines(c.code) {
			text, taken := strings.CutSuffix(strings.TrimSpace(line), " taken")
			mnemonic, operands, _ := strings.Cut(text, " ")
			i, err := parseInstruction(mnemonic, operands)
			if err != nil {
				t.Fatal(err)
			}
			j.next(i, taken)
		}
		if got := clock.cycles(); got != c.want {
			t.Errorf("The block with its condition %s takes %g cycles; the table gives %g.", c.name, got, c.want)
		}
	}
}
