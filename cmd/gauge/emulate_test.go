package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
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

// words are the stream of some blocks, each an address and a number of
// instructions.
func words(blocks ...[2]uint32) io.Reader {
	var stream []byte
	for _, b := range blocks {
		stream = binary.NativeEndian.AppendUint32(stream, b[0]|b[1]<<countBit)
	}
	return bytes.NewReader(stream)
}

// What the plugin tells when mark is called, then the function with r0 = 2, then
// mark again.
var shortStream = [][2]uint32{{0x40, 1}, {0x44, 3}, {0x46, 2}, {0x4a, 1}, {0x40, 1}}

func TestStreamIsFollowed(t *testing.T) {
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
	w := &walker{program: program, run: func(s *stretch, taken bool) {
		entered = append(entered, s.address)
		for n, i := range s.code {
			taken := taken && n == len(s.code)-1
			c.step(i, taken)
			steps = append(steps, fmt.Sprintf("%x %v", i.address, taken))
		}
	}}
	if err := w.read(words(shortStream...)); err != nil {
		t.Fatal(err)
	}
	if want := []uint64{0x40, 0x44, 0x46, 0x4a, 0x40}; !slices.Equal(entered, want) {
		t.Errorf("The blocks entered are %x; the stream names %x.", entered, want)
	}
	want := []string{"40 true", "44 false", "46 false", "48 true", "46 false", "48 false", "4a true", "40 true"}
	if !slices.Equal(steps, want) {
		t.Errorf("The steps are %v; by the stream they are %v.", steps, want)
	}
	// bx 3, push of two 3, subs 1, bne taken 3, subs 1, bne not taken 1, pop of
	// two with PC 5, bx 3: Cortex-M4 TRM table 3-1 with P = 2.
	if got := c.cycles(); got != 20 {
		t.Errorf("The stream takes %g cycles on Cortex-M4; summed by hand from the table it is 20.", got)
	}
}

func TestStreamThatIsWrongIsRefused(t *testing.T) {
	program, err := parseListing(shortListing, highCode)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		stream io.Reader
		want   string
	}{
		{words([2]uint32{0x100, 1}), "no instruction of the program is at 0x100"},
		{words([2]uint32{0x4a, 2}), "no instruction of the program is at 0x4c"},
		{strings.NewReader("abc"), "unexpected EOF"},
	} {
		w := &walker{program: program, run: func(*stretch, bool) {}}
		if err := w.read(c.stream); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("A wrong stream gives the error '%v'; it should say '%s'.", err, c.want)
		}
	}
}
