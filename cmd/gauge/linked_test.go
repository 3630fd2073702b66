package main

import (
	"slices"
	"testing"
)

// A linker's map as GNU ld writes it: what was left out first, then what was
// placed, long names on a line of their own.
const shortMap = `
Discarded input sections

 .text          0x00000000        0x0 gain.o

Linker script and memory map

LOAD gain.o
.text           0x00008000      0x3f0
 *(.text .stub .text.* .gnu.linkonce.t.*)
 .text.gain_block
                0x00008000       0x3a gain.o
                0x00008000                gain_block
 *fill*         0x0000803a        0x2 
 .text          0x0000803c      0x378 /usr/lib/hard/libgcc.a(_arm_addsubdf3.o)
                0x0000803c                __aeabi_dsub
                0x00008040                __aeabi_dadd
.rodata         0x000083b4       0x30
 .rodata        0x000083b4       0x30 /usr/lib/hard/libm.a(lib_a-e_exp.o)
.data           0x20000000        0x4
 .data._impure_ptr
                0x20000000        0x4 /usr/lib/hard/libc.a(lib_a-impure.o)
.bss            0x20000004        0x8
 .bss.seed      0x20000004        0x8 gain.o
.comment        0x00000000       0x26
 .comment       0x00000000       0x26 gain.o
`

func TestParseMap(t *testing.T) {
	want := []piece{
		{section: ".text.gain_block", bytes: 0x3a, flash: true},
		{section: ".text", member: "arm_addsubdf3", bytes: 0x378, flash: true},
		{section: ".rodata", member: "e_exp", bytes: 0x30, flash: true},
		{section: ".data._impure_ptr", member: "impure", bytes: 4, flash: true, ram: true},
		{section: ".bss.seed", bytes: 8, ram: true},
	}
	if got := parseMap(shortMap); !slices.Equal(got, want) {
		t.Errorf("The map was read as %+v; by eye it holds %+v.", got, want)
	}
}
