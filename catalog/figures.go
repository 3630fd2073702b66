package catalog

import (
	_ "embed"
	"encoding/binary"
	"math"
	"slices"
	"sync"

	"elbowroom/blocks"
)

// figures holds what the files of the folder emulated say, in a form of which a
// check reads no more than the kernels that its graph runs. A test holds it to
// the files.
//
//go:embed figures.bin
var figures string

// An emulation is found by the name of its file without the ending. The index
// comes first: how many there are, then the name and the length of each. All
// numbers are varints but for cycles, which are 64-bit floats. Strings that an
// emulation needs stand once, at its head.
//
// packFigures packs emulations, in the order given.
func packFigures(all []*blocks.Emulation) []byte {
	var index, bodies []byte
	index = binary.AppendUvarint(index, uint64(len(all)))
	for _, e := range all {
		body := packEmulation(e)
		index = appendText(index, e.Core+"/"+e.Block)
		index = binary.AppendUvarint(index, uint64(len(body)))
		bodies = append(bodies, body...)
	}
	return append(index, bodies...)
}

// packer packs one emulation.
type packer struct {
	bytes   []byte
	strings map[string]uint64
	order   []string
}

func (p *packer) number(v int64) { p.bytes = binary.AppendUvarint(p.bytes, uint64(v)) }

func (p *packer) word(s string) {
	at, known := p.strings[s]
	if !known {
		at = uint64(len(p.order))
		p.strings[s] = at
		p.order = append(p.order, s)
	}
	p.bytes = binary.AppendUvarint(p.bytes, at)
}

func (p *packer) float(v float64) {
	p.bytes = binary.BigEndian.AppendUint64(p.bytes, math.Float64bits(v))
}

// within packs what f packs behind its length, so that a reader can pass over it.
func (p *packer) within(f func()) {
	before := p.bytes
	p.bytes = nil
	f()
	inner := p.bytes
	p.bytes = binary.AppendUvarint(before, uint64(len(inner)))
	p.bytes = append(p.bytes, inner...)
}

func (p *packer) sizes(m map[string]blocks.Bytes) {
	p.number(int64(len(m)))
	for _, name := range sortedKeys(m) {
		p.word(name)
		p.number(int64(m[name]))
	}
}

func packEmulation(e *blocks.Emulation) []byte {
	p := &packer{strings: map[string]uint64{}}
	p.word(e.Made)
	p.number(int64(len(e.Tools)))
	for _, name := range sortedKeys(e.Tools) {
		p.word(name)
		p.word(e.Tools[name])
	}
	p.number(int64(len(e.Variants)))
	for i := range e.Variants {
		v := &e.Variants[i]
		p.number(int64(len(v.Choices)))
		for _, name := range sortedKeys(v.Choices) {
			p.word(name)
			p.word(v.Choices[name])
		}
		p.word(v.Moved)
		p.number(int64(v.State))
		p.within(func() {
			p.number(int64(len(v.Styles)))
			for k := range v.Styles {
				p.style(&v.Styles[k])
			}
		})
	}
	var body []byte
	body = binary.AppendUvarint(body, uint64(len(p.order)))
	for _, s := range p.order {
		body = appendText(body, s)
	}
	return append(body, p.bytes...)
}

func (p *packer) style(s *blocks.EmulatedStyle) {
	p.word(s.Optimise)
	p.number(map[bool]int64{true: 1}[s.OneSample])
	p.word(s.Maths)
	p.word(s.Precision)
	p.within(func() {
		p.number(int64(s.Constants))
		p.sizes(s.Functions)
		p.sizes(s.Updates)
		p.sizes(s.Symbols)
		p.sizes(s.Data)
		p.number(int64(s.Stack))
		p.number(int64(len(s.Terms)))
		for _, t := range s.Terms {
			p.word(t.Group)
			p.word(t.Times)
			p.float(t.Cycles)
			p.float(t.Costliest)
		}
		p.number(int64(len(s.Fits)))
		for _, f := range s.Fits {
			p.word(f.Group)
			p.number(int64(f.Points))
			p.float(f.Median)
			p.float(f.Worst)
			p.number(int64(f.HeldOut))
			p.float(f.HeldOutMedian)
			p.float(f.HeldOutWorst)
		}
	})
}

func appendText(b []byte, s string) []byte {
	b = binary.AppendUvarint(b, uint64(len(s)))
	return append(b, s...)
}

// unpacker reads what packFigures packed. What is shipped is held to the files
// by a test, so there is nothing to say of bytes that make no sense.
type unpacker struct {
	rest    string
	strings []string
}

func (u *unpacker) number() int {
	v, shift := uint64(0), 0
	for i := range len(u.rest) {
		b := u.rest[i]
		v |= uint64(b&0x7f) << shift
		if b < 0x80 {
			u.rest = u.rest[i+1:]
			return int(v)
		}
		shift += 7
	}
	return 0
}

func (u *unpacker) take(n int) string {
	text := u.rest[:n]
	u.rest = u.rest[n:]
	return text
}

func (u *unpacker) word() string { return u.strings[u.number()] }

func (u *unpacker) float() float64 {
	return math.Float64frombits(binary.BigEndian.Uint64([]byte(u.take(8))))
}

func (u *unpacker) sizes() map[string]blocks.Bytes {
	n := u.number()
	if n == 0 {
		return nil
	}
	m := make(map[string]blocks.Bytes, n)
	for range n {
		name := u.word()
		m[name] = blocks.Bytes(u.number())
	}
	return m
}

// findFigures finds what emulation gave for a block on a core, and of that the
// variants and styles that are wanted. It reports whether there is anything of
// the block.
func findFigures(all, core, block string, variant func(*blocks.EmulatedVariant) bool, style func(*blocks.EmulatedStyle) bool) (*blocks.Emulation, bool) {
	u := &unpacker{rest: all}
	body, length := 0, -1
	for range u.number() {
		name := u.take(u.number())
		n := u.number()
		switch {
		case length >= 0:
		case len(name) == len(core)+1+len(block) && name[:len(core)] == core && name[len(core)+1:] == block:
			length = n
		default:
			body += n
		}
	}
	if length < 0 {
		return nil, false
	}
	u.rest = u.rest[body : body+length]
	u.strings = make([]string, u.number())
	for i := range u.strings {
		u.strings[i] = u.take(u.number())
	}
	e := &blocks.Emulation{Block: block, Core: core, Made: u.word(), Tools: map[string]string{}}
	for range u.number() {
		name := u.word()
		e.Tools[name] = u.word()
	}
	for range u.number() {
		var v blocks.EmulatedVariant
		for range u.number() {
			if v.Choices == nil {
				v.Choices = map[string]string{}
			}
			name := u.word()
			v.Choices[name] = u.word()
		}
		v.Moved = u.word()
		v.State = blocks.Bytes(u.number())
		inner := &unpacker{u.take(u.number()), u.strings}
		if !variant(&v) {
			continue
		}
		for range inner.number() {
			s := blocks.EmulatedStyle{Optimise: inner.word(), OneSample: inner.number() == 1, Maths: inner.word(), Precision: inner.word()}
			body := &unpacker{inner.take(inner.number()), u.strings}
			if style(&s) {
				body.style(&s)
				v.Styles = append(v.Styles, s)
			}
		}
		e.Variants = append(e.Variants, v)
	}
	return e, true
}

func (u *unpacker) style(s *blocks.EmulatedStyle) {
	s.Constants = blocks.Bytes(u.number())
	s.Functions, s.Updates, s.Symbols, s.Data = u.sizes(), u.sizes(), u.sizes(), u.sizes()
	s.Stack = blocks.Bytes(u.number())
	s.Terms = make([]blocks.CycleTerm, u.number())
	for i := range s.Terms {
		s.Terms[i] = blocks.CycleTerm{Group: u.word(), Times: u.word(), Cycles: u.float(), Costliest: u.float()}
	}
	s.Fits = make([]blocks.Fit, u.number())
	for i := range s.Fits {
		s.Fits[i] = blocks.Fit{Group: u.word(), Points: u.number(), Median: u.float(), Worst: u.float(), HeldOut: u.number(), HeldOutMedian: u.float(), HeldOutWorst: u.float()}
	}
}

// emulatedOn finds the kernels that were timed on a core, each once.
func emulatedOn(core string) func(u *blocks.Use) (*blocks.EmulatedKernel, error) {
	type key struct {
		block *blocks.Block
		code  string
	}
	var known sync.Map
	return func(u *blocks.Use) (*blocks.EmulatedKernel, error) {
		k := key{u.Block, u.Code()}
		if kernel, ok := known.Load(k); ok {
			return kernel.(*blocks.EmulatedKernel), nil
		}
		var kernel *blocks.EmulatedKernel
		e, ok := findFigures(figures, core, u.Block.Name,
			func(v *blocks.EmulatedVariant) bool { return v.Runs(u) }, func(s *blocks.EmulatedStyle) bool { return s.Has(u) })
		if ok {
			var err error
			if kernel, err = e.Kernel(u); err != nil {
				return nil, err
			}
		}
		known.Store(k, kernel)
		return kernel, nil
	}
}

// Emulation is all that emulation gave for a shipped block on a core; nil: the
// block was not timed there.
func Emulation(core, block string) *blocks.Emulation {
	e, _ := findFigures(figures, core, block, every, every)
	return e
}

// every wants all there is.
func every[T any](T) bool { return true }

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
