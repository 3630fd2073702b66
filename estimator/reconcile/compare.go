package reconcile

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// leastTable is the size from which equal constants are told (house judgement).
const leastTable = 64

// mostPadding is the widest gap between two sections that alignment explains.
const mostPadding = 256

// Bank is what was estimated and what was built of one bank.
type Bank struct {
	Name      string
	Estimated blocks.Figure // without the stack where the program has no section for it
	Built     blocks.Bytes
	Padding   blocks.Bytes // of what was built, between sections
	Usable    blocks.Bytes
	Stack     blocks.Bytes // of what was built, sections for stack and heap
	Over      bool
	Differs   bool
}

// Room is what the bank has left for stack and heap that no section holds.
func (b *Bank) Room() blocks.Bytes { return b.Usable - b.Built }

// Group is the symbols of one owner, in one bank.
type Group struct {
	Owner     Owner
	Name      string // of a node or block
	Bank      string
	Built     blocks.Bytes
	Code      blocks.Bytes   // of what was built, functions
	copied    blocks.Bytes   // of Code, what flash holds as well
	data      []blocks.Bytes // of what was built, the rest, symbol by symbol
	Estimated float64        // of a node's data, or of code in flash, by the estimate; 0: it says nothing
	Largest   string         // its largest symbol
}

// Result is what comparing gave.
type Result struct {
	Banks     []Bank
	Groups    []Group // by bank, the largest first
	Homeless  []Section
	Explained float64 // share of the built bytes that have an owner
	Waste     []string
	Agrees    bool

	tables map[place]held // that are estimated, by whose they are in the program
}

// place is whose something is, in flash or in RAM.
type place struct {
	owned
	flash bool
}

// bankOf is the bank that an address lies in, or -1.
func bankOf(board *blocks.Board, address uint64) int {
	return slices.IndexFunc(board.Banks, func(b blocks.Bank) bool {
		return address >= b.Base && address-b.Base < uint64(b.Nominal)
	})
}

// isRoom tells whether a section is room for stack or heap.
func isRoom(name string) bool {
	name = strings.ToLower(name)
	return strings.Contains(name, "stack") || strings.Contains(name, "heap")
}

// Compare holds a program against the estimate. A bank differs where it is off
// the band of the estimate by more than a share of the estimate.
func Compare(e *estimator.Estimate, p *Program, tolerance float64) *Result {
	board := e.Graph.Board
	r := &Result{Agrees: true}
	banks := p.banks(board)
	for b := range board.Banks {
		use := &e.Banks[b]
		out := Bank{
			Name: board.Banks[b].Name, Estimated: use.Figure, Built: banks[b].bytes, Padding: banks[b].padding, Stack: banks[b].stack, Usable: use.Usable,
		}
		if out.Stack == 0 {
			none := float64(use.Parts[estimator.PartStack])
			for _, row := range board.System {
				if row.Bank == b && row.What == "stack" {
					none += float64(row.Bytes)
				}
			}
			out.Estimated = blocks.Figure{Value: use.Figure.Value - none, Low: use.Figure.Low - none, High: use.Figure.High - none}
		}
		built, allowed := float64(out.Built), tolerance*out.Estimated.Value
		out.Over = out.Built > out.Usable
		out.Differs = built > out.Estimated.High+allowed || built < out.Estimated.Low-allowed
		r.Agrees = r.Agrees && !out.Over && !out.Differs
		r.Banks = append(r.Banks, out)
	}
	for _, s := range p.Sections {
		if bankOf(board, s.Address) < 0 {
			r.Homeless = append(r.Homeless, s)
		}
	}
	r.group(e, p)
	r.waste(e, p)
	return r
}

// built is what a program takes of a bank.
type built struct{ bytes, padding, stack blocks.Bytes }

// banks adds up the sections of a program by bank. Data with initial values lie
// in RAM and in flash.
func (p *Program) banks(board *blocks.Board) []built {
	list := make([]built, len(board.Banks))
	type piece struct {
		begin, end uint64
		room       bool
	}
	pieces := make([][]piece, len(board.Banks))
	for _, s := range p.Sections {
		add := func(at uint64) {
			if b := bankOf(board, at); b >= 0 {
				pieces[b] = append(pieces[b], piece{at, at + uint64(s.Bytes), isRoom(s.Name)})
			}
		}
		add(s.Address)
		if s.Filled && s.Stored != s.Address {
			add(s.Stored)
		}
	}
	for b := range pieces {
		slices.SortFunc(pieces[b], func(a, c piece) int { return cmp.Compare(a.begin, c.begin) })
		var end uint64
		for i, q := range pieces[b] {
			if i > 0 && q.begin > end && q.begin-end <= mostPadding {
				list[b].padding += blocks.Bytes(q.begin - end)
				list[b].bytes += blocks.Bytes(q.begin - end)
			}
			begin := max(q.begin, end) // what lies on another is counted once
			if q.end > begin {
				list[b].bytes += blocks.Bytes(q.end - begin)
				if q.room {
					list[b].stack += blocks.Bytes(q.end - begin)
				}
			}
			end = max(end, q.end)
		}
	}
	return list
}

// group adds up the symbols by owner and bank, in flash also what is copied from
// there into RAM; what no symbol tells of is left to the section.
func (r *Result) group(e *estimator.Estimate, p *Program) {
	board := e.Graph.Board
	whose := newOwners(e.Graph)
	type key struct {
		owned
		bank int
	}
	groups := map[key]*Group{}
	largest := map[key]blocks.Bytes{}
	var all, known blocks.Bytes
	add := func(k key, bytes blocks.Bytes, symbol string, code, copied bool) {
		g := groups[k]
		if g == nil {
			g = &Group{Owner: k.of, Name: k.name, Bank: board.Banks[k.bank].Name}
			groups[k] = g
		}
		g.Built += bytes
		if code {
			g.Code += bytes
			if copied {
				g.copied += bytes
			}
		} else {
			g.data = append(g.data, bytes)
		}
		if bytes > largest[k] {
			largest[k], g.Largest = bytes, clip(symbol)
		}
		if k.of != Unexplained {
			known += bytes
		}
	}
	symbols := slices.Clone(p.Symbols)
	slices.SortFunc(symbols, func(a, b Symbol) int { return cmp.Compare(a.Address, b.Address) })
	section := func(s *Section, b int, copied bool) {
		if b < 0 {
			return
		}
		all += s.Bytes
		left := s.Bytes
		first, _ := slices.BinarySearchFunc(symbols, s.Address, func(y Symbol, at uint64) int { return cmp.Compare(y.Address, at) })
		end := s.Address
		for _, y := range symbols[first:] {
			if y.Address >= s.Address+uint64(s.Bytes) {
				break
			}
			begin, stop := max(y.Address, end), min(y.Address+uint64(y.Bytes), s.Address+uint64(s.Bytes))
			if stop <= begin { // an alias within another
				continue
			}
			end = stop
			bytes := blocks.Bytes(stop - begin)
			left -= bytes
			add(key{whose.ofObject(whose.symbol(y.Name), y.object), b}, bytes, y.Name, y.Code, copied)
		}
		if left > 0 {
			add(key{whose.section(s.Name), b}, left, "section "+s.Name, false, false)
		}
	}
	for i := range p.Sections {
		s := &p.Sections[i]
		from := bankOf(board, s.Stored)
		copied := s.Filled && s.Stored != s.Address && from >= 0
		section(s, bankOf(board, s.Address), copied && board.Banks[from].Kind.Constant())
		if copied {
			section(s, from, false)
		}
	}
	for _, g := range groups {
		r.Groups = append(r.Groups, *g)
	}
	r.tables = r.holds(e)
	for i := range r.Groups {
		r.Groups[i].Estimated = r.estimated(e, &r.Groups[i])
	}
	slices.SortFunc(r.Groups, func(a, b Group) int {
		return cmp.Or(
			cmp.Compare(board.BankIndex(a.Bank), board.BankIndex(b.Bank)), cmp.Compare(b.Built, a.Built),
			cmp.Compare(a.Owner, b.Owner), cmp.Compare(a.Name, b.Name))
	})
	if all > 0 {
		r.Explained = float64(known) / float64(all)
	}
}

// held is what the tables of one owner take: as they are estimated, and as far as
// they were found in the program.
type held struct{ estimated, built blocks.Bytes }

// holds finds whose the tables that are estimated are in the program: in flash of
// the node, or else the block, that has constants; in RAM of one that has as large
// a piece of data. A table that several nodes read is found once, as it is
// estimated once.
func (r *Result) holds(e *estimator.Estimate) map[place]held {
	board := e.Graph.Board
	left, data, found := map[place]blocks.Bytes{}, map[place][]blocks.Bytes{}, map[place]held{}
	for i := range r.Groups {
		g := &r.Groups[i]
		at := place{owned{g.Owner, g.Name}, board.Banks[board.BankIndex(g.Bank)].Kind.Constant()}
		left[at] += g.Built - g.Code
		data[at] = append(data[at], g.data...)
	}
	known := map[string]bool{}
	for _, owner := range []Owner{OfNode, OfBlock} {
		for i, n := range e.Graph.Nodes {
			name := n.Name
			if owner == OfBlock {
				name = n.Block().Name
			}
			for _, t := range e.Tables(i) {
				at := place{owned{owner, name}, !t.Copied}
				if known[t.Key] || left[at] == 0 || t.Copied && !slices.Contains(data[at], t.Bytes) {
					continue
				}
				known[t.Key] = true
				bytes := min(t.Bytes, left[at])
				left[at] -= bytes
				f := found[at]
				found[at] = held{f.estimated + t.Bytes, f.built + bytes}
			}
		}
	}
	return found
}

// estimated is what the estimate says of a group: the tables that it holds, and in
// RAM of the node's data and of code that runs there, in flash of the block's kernels, which a node has by itself only where the
// program has nothing of its block.
func (r *Result) estimated(e *estimator.Estimate, g *Group) float64 {
	constant := e.Graph.Board.Banks[e.Graph.Board.BankIndex(g.Bank)].Kind.Constant()
	tables := r.tables[place{owned{g.Owner, g.Name}, constant}].estimated
	switch {
	case g.Owner == OfNode && !constant:
		i := e.Graph.Node(g.Name)
		own, kernel := e.CodeIn(i, g.Bank)
		if r.hasCode(e, e.Graph.Nodes[i].Block().Name) {
			kernel = 0
		}
		if g.Built == g.Code {
			return float64(own + kernel)
		}
		return float64(e.Nodes[i].State + e.Nodes[i].Buffers + own + kernel + tables)
	case g.Owner == OfNode:
		i := e.Graph.Node(g.Name)
		c := &e.Nodes[i]
		if c.Own == 0 && g.Code > 0 && !r.hasCode(e, e.Graph.Nodes[i].Block().Name) {
			return float64(c.Kernel + tables)
		}
		return float64(c.Own + tables)
	case g.Owner == OfBlock:
		flash, ram := kernels(e, g.Name, g.Bank)
		if constant {
			return float64(flash + tables)
		}
		return float64(ram + tables)
	}
	return 0
}

// kernels is what the kernels of a block take by the estimate: of flash, and of
// them what runs in a bank of RAM.
func kernels(e *estimator.Estimate, block, bank string) (flash, ram blocks.Bytes) {
	known := map[string]bool{}
	for i, n := range e.Graph.Nodes {
		if c := &e.Nodes[i]; n.Block().Name == block && !known[c.Code] {
			known[c.Code] = true
			_, kernel := e.CodeIn(i, bank)
			flash, ram = flash+c.Kernel, ram+kernel
		}
	}
	return flash, ram
}

// hasCode tells whether flash holds something of a block.
func (r *Result) hasCode(e *estimator.Estimate, block string) bool {
	return slices.ContainsFunc(r.Groups, func(g Group) bool {
		return g.Owner == OfBlock && g.Name == block && e.Graph.Board.Banks[e.Graph.Board.BankIndex(g.Bank)].Kind.Constant()
	})
}

// waste says what takes room for nothing.
func (r *Result) waste(e *estimator.Estimate, p *Program) {
	tell := func(format string, args ...any) { r.Waste = append(r.Waste, fmt.Sprintf(format, args...)) }
	for _, s := range r.Homeless {
		tell("the section %s, %v at 0x%08x, lies in no bank of the board", s.Name, s.Bytes, s.Address)
	}
	for _, b := range r.Banks {
		if b.Padding > 0 {
			tell("%v of %s are padding between sections", b.Padding, b.Name)
		}
	}
	within := make([]blocks.Bytes, len(r.Banks))
	for _, f := range p.fills {
		if b := bankOf(e.Graph.Board, f.address); b >= 0 {
			within[b] += f.bytes
		}
	}
	for b, bytes := range within {
		if bytes > 0 {
			tell("%v of %s are padding within sections", bytes, r.Banks[b].Name)
		}
	}
	symbols := slices.SortedFunc(slices.Values(p.Symbols), func(a, b Symbol) int { return cmp.Compare(a.Address, b.Address) })
	family := func(what, why string, match func(string) bool) {
		var sum blocks.Bytes
		var first string
		var end uint64
		for _, s := range symbols {
			if stop := s.Address + uint64(s.Bytes); match(s.Name) && stop > end { // one may begin within another
				sum += blocks.Bytes(stop - max(s.Address, end))
				end = stop
				first = cmp.Or(first, s.Name)
			}
		}
		if sum > 0 {
			tell("%s take %v (%s and its like): %s", what, sum, clip(first), why)
		}
	}
	family("printing routines", "leave out printf, or the floats in it", func(n string) bool {
		return begins(n, []string{"_printf_", "printf", "_vfprintf", "_svfprintf", "_dtoa", "snprintf", "sprintf"})
	})
	if e.Graph.Core.Float != blocks.FloatDouble {
		family("routines of double precision", "the core computes in single precision; write constants as 0.5f, and call sinf in place of sin", func(n string) bool {
			return begins(strings.ToLower(n), []string{"__aeabi_d", "__muldf3", "__adddf3", "__subdf3", "__divdf3", "__aeabi_f2d"})
		})
	}
	tables := slices.DeleteFunc(slices.Clone(p.Symbols), func(s Symbol) bool { return s.contents == nil })
	slices.SortStableFunc(tables, func(a, b Symbol) int {
		return cmp.Or(cmp.Compare(b.Bytes, a.Bytes), bytes.Compare(a.contents, b.contents))
	})
	for i := 1; i < len(tables); i++ {
		if bytes.Equal(tables[i-1].contents, tables[i].contents) {
			tell("%s and %s hold the same %v twice", clip(tables[i-1].Name), clip(tables[i].Name), tables[i].Bytes)
		}
	}
}
