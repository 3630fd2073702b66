package blocks

import (
	"math"
	"slices"

	"elbowroom/blocks/source"
)

// Measurements are what was measured on a board, in place of what is estimated
// for it. What a file does not hold is zero.
type Measurements struct {
	Board  string
	Source string // what was measured, and how

	// Factors by which the estimated cycles of compute are multiplied, with the
	// edges between which a reading of the board is thought to lie. The closest
	// counts: that of the node, of its block, of the block's family, of all.
	All      Figure
	Families map[string]Figure
	Blocks   map[string]Figure
	Nodes    map[string]MeasuredNode
	// Stalls is the factor of what waiting for memory is modelled to cost.
	Stalls Figure
	// Calls is what each sample after the first takes anew of what a call is
	// estimated to take, where the estimate is of a call a block.
	Calls Figure
	// System is what a program without any node takes of banks, in place of the
	// board's own rows.
	System []BankBytes

	// Bytes of nodes, and the code of blocks, as a program was built.
	NodeBytes  map[string]MeasuredBytes
	BlockFlash map[string]Built
}

// Built is bytes that a program was built with, and those that were estimated
// of the same. What is estimated since is thought to be off by the same share.
type Built struct {
	Bytes     Bytes
	Estimated Bytes // 0: nothing was estimated of it
	// RAM is code among Bytes that runs in RAM, where it lies a second time.
	RAM []BankBytes
}

// Of is what an estimate is by what was built: to the byte where it is the same
// as then, and no more than addresses of 32 bits reach.
func (b Built) Of(estimated float64) float64 {
	by := float64(b.Bytes)
	if b.Estimated > 0 {
		by = math.Round(estimated * float64(b.Bytes) / float64(b.Estimated))
	}
	return min(by, math.MaxUint32)
}

// MeasuredBytes is what one node of the user's graphs took of a program: of that
// name, and only as long as it is a use of the same block. What no symbol told
// of is zero.
type MeasuredBytes struct {
	Block string
	Data  Built // all copies together
	// Flash is code and constants of the node alone: in place of its kernel, or
	// beside it where nothing was estimated of them.
	Flash Built
}

// BankBytes is what was measured to lie in one bank.
type BankBytes struct {
	Place source.Value // of the bank's name in the file
	Bank  string
	Bytes Bytes
}

// MeasuredNode is the factor of one node of the user's graphs: of that name,
// and only as long as it is a use of the same block.
type MeasuredNode struct {
	Block  string
	Factor Figure
}

// Factor finds the factor of a node's cycles; false: none was measured.
func (m *Measurements) Factor(node string, b *Block) (Figure, bool) {
	if n, ok := m.Nodes[node]; ok && n.Block == b.Name {
		return n.Factor, true
	}
	if f, ok := m.Blocks[b.Name]; ok {
		return f, true
	}
	if f, ok := m.Families[b.Family]; ok {
		return f, true
	}
	return m.All, m.All.Value > 0
}

// By is an estimated figure times a measured factor. What is known of it is
// what was measured, so that the edges are the factor's.
func (f Figure) By(factor Figure) Figure {
	return Figure{f.Value * factor.Value, f.Value * factor.Low, f.Value * factor.High}
}

// Resident is what of the code lies in RAM besides, by what was built, where all
// of it takes so many bytes.
func (b Built) Resident(bytes float64) []BankBytes {
	list := slices.Clone(b.RAM)
	for i := range list {
		list[i].Bytes = Bytes(math.Round(bytes * float64(list[i].Bytes) / float64(b.Bytes)))
	}
	return list
}

// WithData is what a use demands whose bytes of data are others, its state and
// its buffers in the proportion that they had; what rounding leaves goes to the
// state, or else to the last buffer.
func (d *Demand) WithData(bytes Bytes) *Demand {
	built := *d
	built.Buffers = slices.Clone(d.Buffers)
	all := d.State
	for _, b := range d.Buffers {
		all += b.Bytes
	}
	if all == 0 {
		built.State = bytes
		return &built
	}
	left := bytes
	for i := range built.Buffers {
		b := &built.Buffers[i]
		b.Bytes = Bytes(float64(b.Bytes) / float64(all) * float64(bytes))
		left -= b.Bytes
	}
	if last := len(built.Buffers) - 1; last >= 0 && d.State == 0 {
		built.Buffers[last].Bytes += left
	} else {
		built.State = left
	}
	return &built
}

// WithCode is what a use demands whose kernel takes as much as a program was
// built with; under a key of its own where one is given.
func (d *Demand) WithCode(code Built, key string) *Demand {
	built := *d
	built.Code = slices.Clone(d.Code)
	for i := range built.Code {
		c := &built.Code[i]
		share := code.Of(c.Bytes.Value) / max(c.Bytes.Value, 1)
		c.Bytes, c.Idle, c.Basis = Exactly(code.Of(c.Bytes.Value)), Bytes(float64(c.Idle)*share), Measured
		c.RAM = code.Resident(c.Bytes.Value)
		if key != "" {
			c.Key = key
		}
	}
	return &built
}

// By is what a use demands by a measured factor of its cycles.
func (d *Demand) By(factor Figure, source string) *Demand {
	measured := *d
	measured.Mean, measured.Worst = d.Mean.By(factor), d.Worst.By(factor)
	measured.Terms = slices.Clone(d.Terms)
	for i := range measured.Terms {
		t := &measured.Terms[i]
		t.Mean, t.Worst = t.Mean.By(factor), t.Worst.By(factor)
	}
	measured.Hops = slices.Clone(d.Hops)
	for i := range measured.Hops {
		measured.Hops[i].Cycles = measured.Hops[i].Cycles.By(factor)
	}
	measured.Basis, measured.Source = Measured, source
	return &measured
}

// Again is the cycles that calling the kernel once a sample takes of a block
// beyond one call, mean and worst: none of it where the use is called so already,
// processes no audio, or is stated by the user.
func (u *Use) Again(d *Demand) (mean, worst Figure) {
	if u.Style.PerSample || u.Own != nil || u.Block.Processes() != Audio {
		return mean, worst
	}
	for i := range d.Terms {
		if t := &d.Terms[i]; t.Name == "call" {
			more := float64(u.BlockSize - 1)
			return t.Mean.Times(more), t.Worst.Times(more)
		}
	}
	return mean, worst
}

// Waiting is the board with what was measured of waiting for memory.
func (b *Board) Waiting(stalls Figure) *Board {
	measured := *b
	measured.Banks = slices.Clone(b.Banks)
	k := stalls.Value
	for i := range measured.Banks {
		bank := &measured.Banks[i]
		bank.Read, bank.Write = bank.Read*k, bank.Write*k
		bank.LineFill, bank.WriteBack = bank.LineFill*k, bank.WriteBack*k
	}
	measured.Cache.Maintenance *= k
	measured.StallBand.Low, measured.StallBand.High = stalls.Low/k, stalls.High/k
	return &measured
}
