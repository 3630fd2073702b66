package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// A short program as objdump lists it: the marker, and a loop that counts r0
// down. The words behind the code are data.
const shortListing = `
program.elf:     file format elf32-littlearm

Disassembly of section .low:

00000040 <mark>:
  40:	4770      	bx	lr

00000044 <s0_gain_block>:
  44:	b510      	push	{r4, lr}
  46:	3801      	subs	r0, #1
  48:	d1fd      	bne.n	46 <s0_gain_block+0x2>
  4a:	bd10      	pop	{r4, pc}
  4c:	20400000 	.word	0x20400000
00200000 <reset>:
  200000:	4770      	bx	lr
`

// What the emulator logs when mark is called, then the function with r0 = 2,
// then mark again.
const shortLog = `----------------
IN: mark
0x00000040:  4770       bx       lr

Trace 0: 0x7f8 [00000000/00000040/00000110/ff000200] mark
----------------
IN: s0_gain_block
0x00000044:  b510       push     {r4, lr}
0x00000046:  3801       subs     r0, #1
0x00000048:  d1fd       bne      #0x46

Trace 0: 0x7f9 [00000000/00000044/00000110/ff000200] s0_gain_block
----------------
IN: s0_gain_block
0x00000046:  3801       subs     r0, #1
0x00000048:  d1fd       bne      #0x46

Trace 0: 0x7fa [00000000/00000046/00000110/ff000200] s0_gain_block
----------------
IN: s0_gain_block
0x0000004a:  bd10       pop      {r4, pc}

Trace 0: 0x7fb [00000000/0000004a/00000110/ff000200] s0_gain_block
Trace 0: 0x7f8 [00000000/00000040/00000110/ff000200] mark
`

func TestLogIsFollowed(t *testing.T) {
	program, err := parseListing(shortListing, highCode)
	if err != nil {
		t.Fatal(err)
	}
	if len(program) != 5 {
		t.Errorf("The listing gives %d instructions; it has 5 below the bench's code, and a word of data.", len(program))
	}
	var steps []string
	var entered []uint64
	c := &m4f{}
	w := &walker{program: program, blocks: map[uint64][]*instruction{},
		enter: func(address uint64) { entered = append(entered, address) },
		step: func(i *instruction, taken bool) {
			c.step(i, taken)
			steps = append(steps, fmt.Sprintf("%x %v", i.address, taken))
		}}
	if err := w.read(strings.NewReader(shortLog)); err != nil {
		t.Fatal(err)
	}
	if want := []uint64{0x40, 0x44, 0x46, 0x4a, 0x40}; !slices.Equal(entered, want) {
		t.Errorf("The blocks entered are %x; the log names %x.", entered, want)
	}
	want := []string{"40 true", "44 false", "46 false", "48 true", "46 false", "48 false", "4a true", "40 true"}
	if !slices.Equal(steps, want) {
		t.Errorf("The steps are %v; by the log they are %v.", steps, want)
	}
	// bx 3, push of two 3, subs 1, bne taken 3, subs 1, bne not taken 1, pop of
	// two with PC 5, bx 3: Cortex-M4 TRM table 3-1 with P = 2.
	if got := c.cycles(); got != 20 {
		t.Errorf("The log takes %g cycles on Cortex-M4; summed by hand from the table it is 20.", got)
	}
}

func TestLogThatIsWrongIsRefused(t *testing.T) {
	program, err := parseListing(shortListing, highCode)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ log, want string }{
		{"Trace 0: 0x7f8 [00000000/00000044/00000110/ff000200] f\n", "never listed"},
		{"Trace 0: 0x7f8\n", "no address"},
		{"IN: f\n0x00000100:  4770       bx       lr\n", "no instruction"},
	} {
		w := &walker{program: program, blocks: map[uint64][]*instruction{}, enter: func(uint64) {}, step: func(*instruction, bool) {}}
		if err := w.read(strings.NewReader(c.log)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("The log %q gives the error '%v'; it should say '%s'.", c.log, err, c.want)
		}
	}
}
