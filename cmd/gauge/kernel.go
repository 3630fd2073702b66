package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// kernel describes the reference kernel of a block in the terms of C, as the
// conventions of DEVELOPERS.md lay down.
type kernel struct {
	block *blocks.Block
	file  string // path of the C source
	name  string // the block's name in C
	text  string // the C source, and after it that of the headers it shares with others of its family
}

// sharedHeader is an include of a header beside the kernels; kernel.h, which
// all of them include, is not looked for here.
var sharedHeader = regexp.MustCompile(`(?m)^#include "([a-z-]+\.h)"$`)

// openKernel reads the kernel of a block from a folder.
func openKernel(folder string, b *blocks.Block) (*kernel, error) {
	file := filepath.Join(folder, b.Name+".c")
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("the block %s has no kernel: %w", b.Name, err)
	}
	for _, include := range sharedHeader.FindAllSubmatch(text, -1) {
		if name := string(include[1]); name != "kernel.h" {
			header, err := os.ReadFile(filepath.Join(folder, name))
			if err != nil {
				return nil, fmt.Errorf("the kernel of %s includes what is not there: %w", b.Name, err)
			}
			text = append(text, header...)
		}
	}
	return &kernel{block: b, file: file, name: strings.ReplaceAll(b.Name, "-", "_"), text: string(text)}, nil
}

// field is one parameter as the kernel's params struct holds it.
type field struct {
	name  string
	param int  // index in the block's parameters
	whole bool // uint32_t: a count, or the index of a choice that makes no other kernel
}

// fields are the members of the params struct, in order.
func (k *kernel) fields() []field {
	var list []field
	for i, p := range k.block.Params {
		if p.Categorical() && !p.Plain {
			continue
		}
		list = append(list, field{p.Name, i, p.Categorical() || p.Unit == blocks.UnitCount})
	}
	return list
}

// pointer is one element of a kernel's in[] or out[].
type pointer struct {
	port    string
	channel int
	kind    blocks.Kind
	jack    bool // a word of the converter, the port or the DMA buffer
	moved   bool // a parameter that audio moves
}

// inputs are the elements of in[], with the parameter that audio moves ("" for
// none) last but for the jacks.
func (k *kernel) inputs(channels int, moved string) []pointer {
	list := pointers(k.block.Inputs, func(p *blocks.Port) int {
		if p.Channels > 0 {
			return p.Channels
		}
		return channels
	})
	if moved != "" {
		list = append(list, pointer{port: moved, kind: blocks.Audio, moved: true})
	}
	if len(k.block.Outputs) > 0 {
		list = append(list, k.jacks()...)
	}
	return list
}

// outputs are the elements of out[], with what tells the channels of an audio
// port.
func (k *kernel) outputs(channels func(*blocks.Port) int) []pointer {
	list := pointers(k.block.Outputs, channels)
	if len(k.block.Inputs) > 0 {
		list = append(list, k.jacks()...)
	}
	return list
}

func pointers(ports []blocks.Port, channels func(*blocks.Port) int) []pointer {
	var list []pointer
	for i := range ports {
		p, count := &ports[i], 1
		switch p.Kind {
		case blocks.Event:
			continue
		case blocks.Audio:
			count = channels(p)
		}
		for c := range count {
			list = append(list, pointer{port: p.Name, channel: c, kind: p.Kind})
		}
	}
	return list
}

func (k *kernel) jacks() []pointer {
	var list []pointer
	for _, j := range k.block.Jacks {
		list = append(list, pointer{port: j.Jack, kind: k.block.Processes(), jack: true})
	}
	return list
}

// words is how many floats or words a pointer of in[] or out[] reaches.
func (p pointer) words(blockSize, channels int) int {
	switch {
	case p.kind != blocks.Audio:
		return 1
	case p.jack:
		return blockSize * channels
	}
	return blockSize
}

// events are the names of the event ports among some ports.
func events(ports []blocks.Port) []string {
	var names []string
	for _, p := range ports {
		if p.Kind == blocks.Event {
			names = append(names, p.Name)
		}
	}
	return names
}

// macro is the preprocessor's word for some words of the catalog.
func macro(words ...string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return '_'
	}, strings.ToUpper(strings.Join(words, "_")))
}

// defines are the compiler's -D flags for the choices of a kernel, given as
// parameter and choice, in the catalog's order.
func (k *kernel) defines(choices map[string]string) []string {
	var flags []string
	for _, p := range k.block.Params {
		if p.Categorical() && !p.Plain {
			flags = append(flags, "-D"+macro(p.Name, choices[p.Name]))
		}
	}
	return flags
}

// entry is the C function that runs the kernel.
func (k *kernel) entry(oneSample bool) string {
	switch {
	case k.block.Processes() != blocks.Audio:
		return k.name + "_tick"
	case oneSample:
		return k.name + "_sample"
	}
	return k.name + "_block"
}

// ticks tells whether the kernel has an entry at all: a block of events alone
// has none.
func (k *kernel) ticks() bool { return k.block.Processes() != blocks.Event }

// hops are the names of the work that falls due at known samples, which the kernel
// does in functions of their own.
func (k *kernel) hops() []string {
	var names []string
	for _, r := range k.block.Operations.Recurring {
		if r.Locked {
			names = append(names, r.Name)
		}
	}
	return names
}

// sends tells whether the kernel's functions take the lists of events sent.
func (k *kernel) sends() bool { return len(events(k.block.Outputs)) > 0 }

// buffers is how many buffers the kernel knows, each value of `each` one.
func (k *kernel) buffers() int {
	n := 0
	for _, b := range k.block.Buffers {
		n += max(1, len(b.Each))
	}
	return n
}

// bufferNames are the names that blocks.Demand gives to those buffers.
func (k *kernel) bufferNames() []string {
	var names []string
	for _, b := range k.block.Buffers {
		if b.Each == nil {
			names = append(names, b.Name)
		}
		for n := range b.Each {
			names = append(names, fmt.Sprintf("%s-%d", b.Name, n+1))
		}
	}
	return names
}

// mathsFunctions are the wrappers of kernel.h that have short forms.
var mathsFunctions = []string{"sin", "cos", "tan", "tanh", "exp", "exp2", "log", "log2", "pow", "atan2", "floor", "fmod"}

// usesMaths tells whether the kernel calls a function that has a short form.
func (k *kernel) usesMaths() bool {
	return slices.ContainsFunc(mathsFunctions, func(f string) bool {
		return strings.Contains(k.text, "kernel_"+f+"(")
	})
}
