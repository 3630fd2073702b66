package estimator

import (
	"cmp"
	"fmt"
	"slices"

	"elbowroom/blocks"
)

// flashItem is a piece of code or constant data, charged once however many
// nodes bring it.
type flashItem struct {
	name  string
	part  Part
	bytes blocks.Figure
	idle  blocks.Bytes       // what of it runs at the start alone, or not at all
	data  blocks.Bytes       // what of it lies in RAM besides
	ram   []blocks.BankBytes // what of it runs in RAM
}

// key tells pieces apart.
func (f *flashItem) key() string { return f.part.String() + f.name }

// flash is what one node brings into flash: its kernel, the library with all
// that it needs, and constant tables.
func (e *Estimate) flash(i int) []flashItem {
	g, d := e.Graph, e.Graph.Nodes[i].demand
	routines := g.Core.Linked(e.Nodes[i].routines)
	items := make([]flashItem, 0, len(d.Code)+len(routines)+len(d.Library)+len(d.Tables))
	for _, c := range d.Code {
		items = append(items, flashItem{name: c.Key, part: PartCode, bytes: c.Bytes, idle: max(c.Idle, inRAM(c.RAM)), ram: c.RAM})
	}
	for _, name := range routines {
		r := g.Core.Routines[name]
		items = append(items, flashItem{name: name, part: PartLibrary, bytes: blocks.Exactly(float64(alignUp(r.Flash, 4))), idle: alignUp(r.Data, 4), data: alignUp(r.Data, 4)})
	}
	for _, l := range d.Library {
		idle := l.Data // initial values
		if l.Idle {
			idle = l.Flash
		}
		items = append(items, flashItem{name: l.Name, part: PartLibrary, bytes: blocks.Exactly(float64(l.Flash)), idle: idle, data: l.Data})
	}
	for _, t := range d.Tables {
		if !t.Copied {
			items = append(items, flashItem{name: t.Key, part: PartTables, bytes: blocks.Exactly(float64(t.Bytes))})
		}
	}
	return items
}

// memory gathers every piece of memory, places what lies in RAM, and returns
// what lies in flash.
func (e *Estimate) memory(placeSteps int) []flashItem {
	g := e.Graph
	var flash []flashItem
	charged := map[string]int{} // index in flash
	tables, copied := map[string]*Object{}, map[string]bool{}
	var keys []string
	var state, controls blocks.Bytes
	for i, n := range g.Nodes {
		d := n.demand
		copies := g.Copies(n)
		state += alignUp(d.State, 4) * blocks.Bytes(copies)
		for _, item := range e.flash(i) {
			at, known := charged[item.key()]
			if !known {
				charged[item.key()] = len(flash)
				flash = append(flash, item)
				continue
			}
			// Of a library's member more may be linked for one node than for another.
			if item.bytes.Value > flash[at].bytes.Value {
				flash[at].bytes, flash[at].ram = item.bytes, item.ram
			}
			flash[at].idle = min(flash[at].idle, item.idle)
			flash[at].data = max(flash[at].data, item.data)
		}
		for _, t := range d.Tables {
			reads, heads := t.Reads*float64(copies), t.Heads*float64(copies)
			if at, known := tables[t.Key]; known {
				at.Reads += reads
				at.Heads += heads
				at.Every = max(at.Every, t.Every)
				at.Node = -1
				continue
			}
			tables[t.Key] = &Object{Name: t.Key, Node: i, Part: PartTables, Bytes: t.Bytes, Align: 4, Pin: -1, Reads: reads, Element: 4, Pattern: t.Order, Heads: heads, Turn: t.Turn}
			keys = append(keys, t.Key)
			copied[t.Key] = t.Copied
		}
		for port := range n.Block().Outputs {
			controls += g.heldBytes(n, port) * blocks.Bytes(copies)
		}
		for _, b := range d.Buffers {
			for copy := range copies {
				e.object(g.buffer(i, b, copy, copies))
			}
		}
	}
	for _, key := range keys {
		if copied[key] {
			e.object(*tables[key])
		} else {
			e.Constants.Tables = append(e.Constants.Tables, *tables[key])
		}
	}
	if len(flash) > 0 {
		flash = append(flash, e.calls())
	}
	var data blocks.Bytes
	running := make([]blocks.Bytes, len(g.Board.Banks)) // code, by the bank of RAM that it runs in
	for i := range flash {
		f := &flash[i]
		data += f.data
		for _, row := range f.ram {
			running[g.Board.BankIndex(row.Bank)] += row.Bytes
		}
		running[g.Run] += g.copied(f)
		if f.part != PartTables {
			e.Constants.Code += blocks.Bytes(f.bytes.Value) - f.idle
		}
	}
	e.object(Object{Name: LibraryData, Node: -1, Part: PartState, Bytes: alignUp(data, systemAlign), Align: systemAlign, Pin: -1, Element: 4, Pattern: blocks.Random})
	for b, bytes := range running {
		e.object(Object{Name: codeIn + g.Board.Banks[b].Name, Node: -1, Part: PartCode, Bytes: alignUp(bytes, 4), Align: 4, Pin: b, Element: 4, Pattern: blocks.Random})
	}
	if g.Overlay {
		e.overlay()
	}
	e.pools(state, controls)
	var all []*Object
	for i := range e.Objects {
		all = append(all, &e.Objects[i])
	}
	for i := range e.Constants.Tables {
		all = append(all, &e.Constants.Tables[i])
	}
	keepCompany(all)
	e.Placement = g.place(e.Objects, &e.Constants, placeSteps)
	return flash
}

// runs is how much of what lies in flash runs where code runs: kernels and library
// routines, their constants included, but for the initial values of data and what was
// built to run in RAM anyhow.
func (f *flashItem) runs() blocks.Bytes {
	if f.part == PartTables {
		return 0
	}
	return max(0, alignUp(blocks.Bytes(blocks.Ceil(f.bytes.Value)), 4)-f.data-inRAM(f.ram))
}

// copied is how much of that is copied to RAM.
func (g *Graph) copied(f *flashItem) blocks.Bytes {
	if !g.CopiesCode() {
		return 0
	}
	return f.runs()
}

// inRAM is how much of a piece of code was built to run in RAM.
func inRAM(rows []blocks.BankBytes) (sum blocks.Bytes) {
	for _, row := range rows {
		sum += row.Bytes
	}
	return sum
}

// CopiedCode lists what is copied to the bank that code runs from, the largest
// first; nothing where code runs from where it lies.
func (e *Estimate) CopiedCode() []Piece {
	var list []Piece
	for i := range e.code {
		if bytes := e.Graph.copied(&e.code[i]); bytes > 0 {
			list = append(list, Piece{e.code[i].name, e.code[i].part, e.code[i].bytes, bytes})
		}
	}
	slices.SortStableFunc(list, func(a, b Piece) int { return cmp.Compare(b.Copied, a.Copied) })
	return list
}

// Piece is something in flash that is charged once, however many nodes need it.
type Piece struct {
	Name   string
	Part   Part
	Bytes  blocks.Figure
	Copied blocks.Bytes // of these, what is copied to the bank that code runs from
}

// Flash lists what a node brings into flash.
func (e *Estimate) Flash(node int) []Piece {
	var list []Piece
	for _, f := range e.flash(node) {
		list = append(list, Piece{f.key(), f.part, f.bytes, e.Graph.copied(&f)})
	}
	return list
}

// CodeIn is what of a node's code runs in a bank of RAM: of the node's own, and
// of its kernel.
func (e *Estimate) CodeIn(node int, bank string) (own, kernel blocks.Bytes) {
	n := e.Graph.Nodes[node]
	for _, c := range n.demand.Code {
		var bytes blocks.Bytes
		for _, row := range c.RAM {
			if row.Bank == bank {
				bytes += row.Bytes
			}
		}
		if e.Graph.Board.Banks[e.Graph.Run].Name == bank {
			bytes += e.Graph.copied(&flashItem{part: PartCode, bytes: c.Bytes, ram: c.RAM})
		}
		if c.Key == n.ownKey() {
			own += bytes
		} else {
			kernel += bytes
		}
	}
	return own, kernel
}

// Tables are the tables that a node reads, which it may share with others.
func (e *Estimate) Tables(node int) []blocks.TableDemand { return e.Graph.Nodes[node].demand.Tables }

// codeIn begins the name of the object that holds the code that runs in a bank of
// RAM; the bank's name follows.
const codeIn = "code in "

// LibraryData names the object that holds what the linked library keeps in RAM.
const LibraryData = "library data"

func (e *Estimate) object(o Object) {
	if o.Bytes > 0 {
		e.Objects = append(e.Objects, o)
	}
}

// heldBytes is what an output keeps for its readers beside the wires: a control
// value, or the list of the events of a block, which has a count and a pointer,
// and of each event its moment and what it brings.
func (g *Graph) heldBytes(n *Node, port int) blocks.Bytes {
	const word = 4
	p := &n.Block().Outputs[port]
	switch p.Kind {
	case blocks.Control:
		return word
	case blocks.Event:
		most, err := n.Use.MostEvents(p)
		if err != nil {
			return word // the demand of the node has told the mistake
		}
		return 2*word + 2*word*blocks.Bytes(most)
	}
	return 0
}

// buffer is a buffer of one copy of a node as an object.
func (g *Graph) buffer(node int, b blocks.BufferDemand, copy, copies int) Object {
	n := g.Nodes[node]
	o := Object{
		Name: n.Name + "." + b.Name, Node: node, Part: PartBuffers, Bytes: b.Bytes, Align: g.Board.Align, Pin: -1,
		Reads: b.Reads, Writes: b.Writes, Element: b.Element, Pattern: b.Pattern, Heads: b.Heads, Turn: b.Turn,
	}
	if copies > 1 {
		o.Name = fmt.Sprintf("%s.%s voice %d", n.Name, b.Name, copy+1)
	}
	if b.DMA {
		o.Part, o.DMA = PartDMA, true
	}
	bank := n.Pin
	if own := n.Pins[b.Name]; own != "" {
		bank = own
	}
	if bank != "" {
		o.Pin = g.Board.BankIndex(bank)
	}
	return o
}

// pools adds what belongs to no single node: state, wires and the stack.
func (e *Estimate) pools(state, controls blocks.Bytes) {
	g := e.Graph
	const word = 4
	block := blocks.Bytes(g.BlockSize)
	// The state is loaded and stored once a block; a wire is written once and
	// read by each of its readers, once more where voices add up.
	perSample := float64(state) / word / float64(g.BlockSize)
	e.object(Object{Name: "state", Node: -1, Part: PartState, Bytes: state, Align: systemAlign, Pin: -1, Reads: perSample, Writes: perSample, Element: word, Pattern: blocks.Stream})
	var written, read float64
	for _, w := range e.Schedule.Wires {
		written += float64(w.Channels)
	}
	for _, n := range g.Nodes {
		n.eachSource(func(src Source, _ bool) {
			if g.port(src).Kind == blocks.Audio {
				read += float64(g.Channels(src) * g.Copies(n))
			}
		})
	}
	wires := blocks.Bytes(e.Schedule.Slots)*block*word + controls
	e.object(Object{Name: "wires", Node: -1, Part: PartWires, Bytes: wires, Align: systemAlign, Pin: -1, Reads: read, Writes: written, Element: word, Pattern: blocks.Stream})
	stack, _ := e.stack()
	e.object(Object{Name: "stack", Node: -1, Part: PartStack, Bytes: alignUp(stack, systemAlign), Align: systemAlign, Pin: -1, Element: word, Pattern: blocks.Random})
}

// stack is the deepest path below the main loop, and the node at its end: a
// kernel and the library routine it calls, whose stack counts what that calls
// in turn. The board's own rows hold what lies above.
func (e *Estimate) stack() (most blocks.Bytes, deepest int) {
	for i, n := range e.Graph.Nodes {
		var below blocks.Bytes
		for _, r := range e.Nodes[i].routines {
			below = max(below, e.Graph.Core.Routines[r].Stack)
		}
		if deep := n.demand.Stack + below; deep > most {
			most, deepest = deep, i
		}
	}
	return most, deepest
}

// reader is the only node that reads a constant table; -1 of a table that several
// read, and of code.
func (e *Estimate) reader(f *flashItem) int {
	for i := range e.Constants.Tables {
		if t := &e.Constants.Tables[i]; f.part == PartTables && t.Name == f.name {
			return t.Node
		}
	}
	return -1
}

// fill draws the address maps and adds up the parts of every bank.
func (e *Estimate) fill() {
	board := e.Graph.Board
	e.Banks = make([]BankUse, len(board.Banks))
	slices.SortStableFunc(e.code, func(a, b flashItem) int { return int(a.part) - int(b.part) })
	for b := range board.Banks {
		use := &e.Banks[b]
		use.Usable = board.Banks[b].Usable()
		var objects []Object
		for _, i := range e.Placement.Order {
			if e.Placement.Bank[i] == b {
				objects = append(objects, e.Objects[i])
			}
		}
		var doubt blocks.Figure
		for i := range e.code {
			item := &e.code[i]
			if b == e.Graph.CodeBank() {
				bytes := blocks.Bytes(blocks.Ceil(item.bytes.Value))
				objects = append(objects, Object{Name: item.name, Node: e.reader(item), Part: item.part, Bytes: bytes, Align: 4})
			} else if b != e.Graph.Run || e.Graph.copied(item) == 0 {
				continue
			}
			doubt.Low += item.bytes.Low - item.bytes.Value
			doubt.High += item.bytes.High - item.bytes.Value
		}
		use.Regions = layout(board, b, objects)
		use.Used = used(&board.Banks[b], use.Regions)
		var sum blocks.Bytes
		for _, r := range use.Regions {
			size := blocks.Bytes(r.End - r.Start)
			use.Parts[r.Part] += size
			sum += size
		}
		use.Parts[PartAlignment] = use.Used - sum
		v := float64(use.Used)
		use.Figure = blocks.Figure{Value: v, Low: v + doubt.Low, High: v + doubt.High}
	}
}
