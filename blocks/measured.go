package blocks

import (
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
	System []MeasuredSystem
}

// MeasuredSystem is what a program without any node takes of one bank.
type MeasuredSystem struct {
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
