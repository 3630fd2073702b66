package reconcile

import (
	"fmt"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// System is what a program without any node takes, as a file that a graph can
// name under 'catalog': rows in place of the board's own of the same banks.
func System(board *blocks.Board, p *Program) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# What a program without any node takes of %s, written by 'elbowroom reconcile'.\n", board.Name)
	fmt.Fprintf(&b, "# A graph that names this file under 'catalog:' counts with it: in the banks named\n")
	fmt.Fprintf(&b, "# here it stands in place of the board's own rows, those of the stack left out.\n")
	fmt.Fprintf(&b, "measured: %s\nsource: %q\nsystem:\n", board.Name, "sections of "+p.Name)
	for i, use := range p.banks(board) {
		if bytes := use.bytes - use.stack; bytes > 0 {
			fmt.Fprintf(&b, "  %s: %d B\n", board.Banks[i].Name, int64(bytes))
		}
	}
	return b.String()
}

// taken is what a node or a block takes of a program.
type taken struct {
	data, flash blocks.Bytes       // without what is estimated as tables
	code        blocks.Bytes       // of flash
	ram         []blocks.BankBytes // of code, what is copied into RAM and runs there
}

// Learn is what the nodes of a graph take of a program, as a file that the graph
// can name under 'catalog', and of how many nodes and blocks it tells. The
// estimate is one without what was measured before; linked is the day on which
// the program was.
func Learn(e *estimator.Estimate, p *Program, linked string) (text string, learned int) {
	board := e.Graph.Board
	r := &Result{}
	r.group(e, p)
	of := map[owned]taken{}
	for i := range r.Groups {
		g := &r.Groups[i]
		sum := of[owned{g.Owner, g.Name}]
		if board.Banks[board.BankIndex(g.Bank)].Kind.Constant() {
			sum.flash += g.Built
			sum.code += g.Code
		} else {
			sum.data += g.Built - g.Code
			if g.copied > 0 {
				sum.ram = append(sum.ram, blocks.BankBytes{Bank: g.Bank, Bytes: g.copied})
			}
		}
		of[owned{g.Owner, g.Name}] = sum
	}
	for at, held := range r.tables { // estimated beside the node's bytes, and not learned
		sum := of[at.owned]
		if at.flash {
			sum.flash -= held.built
		} else {
			sum.data -= held.built
		}
		of[at.owned] = sum
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# What nodes take of %s, written by 'elbowroom reconcile' from a program that was\n", board.Name)
	fmt.Fprintf(&b, "# built. A graph that names this file under 'catalog:' is answered with it: what is\n")
	fmt.Fprintf(&b, "# estimated is multiplied by what was built over what was estimated of the same.\n")
	fmt.Fprintf(&b, "# Flash of a node with nothing estimated of it stands beside its kernel. Code that\n")
	fmt.Fprintf(&b, "# runs in RAM ('ram') lies in flash as well, from where it is copied.\n")
	fmt.Fprintf(&b, "measured: %s\nsource: %q\nbytes:\n", board.Name, fmt.Sprintf("symbols of %s, linked on %s", p.Name, linked))
	pair := func(built, estimated blocks.Bytes, ram []blocks.BankBytes) string {
		text := fmt.Sprintf("{built: %d B", int64(built))
		if estimated > 0 {
			text += fmt.Sprintf(", estimated: %d B", int64(estimated))
		}
		for i, row := range ram {
			text += fmt.Sprintf("%s%s: %d B", map[bool]string{true: ", ram: {", false: ", "}[i == 0], row.Bank, int64(row.Bytes))
		}
		if len(ram) > 0 {
			text += "}"
		}
		return text + "}"
	}
	var nodes, shares strings.Builder
	told := map[string]bool{}
	for i, n := range e.Graph.Nodes {
		c, block := &e.Nodes[i], n.Block().Name
		shared := of[owned{OfBlock, block}]
		if own := of[owned{OfNode, n.Name}]; own.data > 0 || own.flash > 0 {
			learned++
			fmt.Fprintf(&nodes, "    %s: {block: %s", n.Name, block)
			if own.data > 0 {
				fmt.Fprintf(&nodes, ", data: %s", pair(own.data, c.State+c.Buffers, nil))
			}
			if own.flash > 0 {
				kernel := c.Kernel
				if own.code == 0 || shared.flash > 0 {
					kernel = 0
				}
				fmt.Fprintf(&nodes, ", flash: %s", pair(own.flash, kernel, own.ram))
			}
			fmt.Fprintf(&nodes, "}\n")
		}
		if kernel, _ := kernels(e, block, ""); shared.flash > 0 && kernel > 0 && !told[block] {
			told[block] = true
			learned++
			fmt.Fprintf(&shares, "    %s: %s\n", block, pair(shared.flash, kernel, shared.ram))
		}
	}
	if nodes.Len() > 0 {
		fmt.Fprintf(&b, "  nodes:\n%s", nodes.String())
	}
	if shares.Len() > 0 {
		fmt.Fprintf(&b, "  blocks:\n%s", shares.String())
	}
	return b.String(), learned
}
