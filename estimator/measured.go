package estimator

import (
	"maps"
	"math"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// measure takes over what was measured on the graph's board.
func (g *Graph) measure(lib *blocks.Library) {
	g.measured, g.elsewhere = lib.MeasuredOn(g.Board.Name)
	for _, m := range g.measured {
		if m.Stalls.Value > 0 {
			g.Board = g.Board.Waiting(m.Stalls)
		}
		if len(m.System) > 0 {
			g.system(m)
		}
		for _, name := range slices.Sorted(maps.Keys(m.NodeBytes)) {
			g.checkResident(m.NodeBytes[name].Flash)
		}
		for _, name := range slices.Sorted(maps.Keys(m.BlockFlash)) {
			g.checkResident(m.BlockFlash[name])
		}
	}
}

// system puts what was measured of a program without any node in the place of
// the board's own rows of the same banks. How deep the stack goes no section
// tells, so that its rows stay.
func (g *Graph) system(m *blocks.Measurements) {
	board := *g.Board
	board.System = slices.Clone(board.System)
	for _, row := range m.System {
		bank := board.BankIndex(row.Bank)
		if bank < 0 {
			row.Place.Fail(source.DidYouMean(row.Bank, board.BankNames()), "%s has no bank '%s'", board.Name, row.Bank)
			continue
		}
		board.System = slices.DeleteFunc(board.System, func(s blocks.SystemBytes) bool { return s.Bank == bank && s.What != "stack" })
		board.System = append(board.System, blocks.SystemBytes{What: "measured", Bank: bank, Bytes: row.Bytes, Confirmed: true})
	}
	g.Board = &board
}

// checkResident records code that is said to run in a bank that is no RAM of the
// board.
func (g *Graph) checkResident(b blocks.Built) {
	for _, row := range b.RAM {
		switch bank := g.Board.BankIndex(row.Bank); {
		case bank < 0:
			row.Place.Fail(source.DidYouMean(row.Bank, g.Board.BankNames()), "%s has no bank '%s'", g.Board.Name, row.Bank)
		case g.Board.Banks[bank].Kind.Constant():
			row.Place.Fail("", "'%s' of %s is no RAM", row.Bank, g.Board.Name)
		}
	}
}

// asMeasured is what a node needs by what was measured, and the program that its
// bytes were read from; "": none. What was estimated stays as it is.
func (g *Graph) asMeasured(n *Node) (d *blocks.Demand, built string) {
	d = n.estimated
	if f, source, ok := g.factor(n); ok {
		mean, worst := g.calls(n, d)
		d = d.By(f, source)
		d.Charge("calls a sample", mean, worst)
	}
	return g.builtBytes(n, d)
}

// factor is what a node's estimated cycles were measured to be multiplied by,
// and what says so. What the user states of a node only a reading of that node
// replaces.
func (g *Graph) factor(n *Node) (f blocks.Figure, source string, ok bool) {
	for _, m := range g.measured {
		if _, timed := m.Nodes[n.Name]; n.Use.Own != nil && !timed {
			continue
		}
		if found, known := m.Factor(n.Name, n.Block()); known {
			f, source, ok = found, m.Source, true
		}
	}
	return f, source, ok
}

// ownKey is the key of the code that a program was built with for the node alone.
func (n *Node) ownKey() string { return n.Name + " as built" }

// builtBytes puts what a program was built with in the place of what is
// estimated of a node's bytes, and tells which program that was; "": none holds
// the node.
func (g *Graph) builtBytes(n *Node, d *blocks.Demand) (built *blocks.Demand, source string) {
	var node blocks.MeasuredBytes
	var block blocks.Built
	for _, m := range g.measured {
		if b, ok := m.NodeBytes[n.Name]; ok && b.Block == n.Block().Name {
			node, source = b, m.Source
		}
		if b, ok := m.BlockFlash[n.Block().Name]; ok {
			block, source = b, m.Source
		}
	}
	if copies := float64(g.Copies(n)); node.Data.Bytes > 0 {
		all := d.State
		for _, b := range d.Buffers {
			all += b.Bytes
		}
		d = d.WithData(blocks.Bytes(math.Ceil(node.Data.Of(float64(all)*copies) / copies)))
	}
	own := n.ownKey()
	switch {
	case node.Flash.Estimated > 0:
		d = d.WithCode(node.Flash, own)
	case block.Bytes > 0:
		d = d.WithCode(block, "")
	}
	if node.Flash.Bytes > 0 && node.Flash.Estimated == 0 {
		more := *d
		more.Code = append(slices.Clone(d.Code), blocks.CodeDemand{Key: own, Bytes: blocks.Exactly(float64(node.Flash.Bytes)), RAM: node.Flash.RAM, Basis: blocks.Measured})
		d = &more
	}
	return d, source
}

// calls is what a node's calls were measured to take once a sample, in one copy,
// beyond what they are estimated to take once a block.
func (g *Graph) calls(n *Node, estimated *blocks.Demand) (mean, worst blocks.Figure) {
	var share blocks.Figure
	for _, m := range g.measured {
		if m.Calls.Value > 0 {
			share = m.Calls
		}
	}
	mean, worst = n.Use.Again(estimated)
	return mean.By(share), worst.By(share)
}

// StallBasis is how it is known what waiting for memory costs.
func (g *Graph) StallBasis() blocks.Basis {
	for _, m := range g.measured {
		if m.Stalls.Value > 0 {
			return blocks.Measured
		}
	}
	return blocks.Modelled
}

// cautionMeasured tells that something was measured on another board.
func (e *Estimate) cautionMeasured() {
	g := e.Graph
	if len(g.elsewhere) > 0 {
		e.warn("measured", nil, "what was measured on %s says nothing of %s, and is not used", strings.Join(g.elsewhere, ", "), g.Board.Name)
	}
}

// Again is the cycles that a call a sample would take of a block of one copy of
// the node beyond what is estimated of its calls, mean and worst.
func (n *Node) Again() (mean, worst blocks.Figure) { return n.Use.Again(n.demand) }
