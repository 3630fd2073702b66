package estimator

import (
	"cmp"
	"slices"

	"elbowroom/blocks"
)

// Part is what memory is used for.
type Part uint8

// Parts of a bank. Their sum is what is used of it.
const (
	PartState Part = iota
	PartBuffers
	PartWires
	PartTables
	PartDMA
	PartStack
	PartCode
	PartLibrary
	PartSystem
	PartAlignment
	numParts
)

var partNames = [numParts]string{
	PartState: "state", PartBuffers: "buffers", PartWires: "wires", PartTables: "tables", PartDMA: "dma",
	PartStack: "stack", PartCode: "code", PartLibrary: "library", PartSystem: "system", PartAlignment: "alignment",
}

// String is the word used in output.
func (p Part) String() string { return partNames[p] }

// Parts are all parts, in order.
func Parts() []Part {
	all := make([]Part, numParts)
	for i := range all {
		all[i] = Part(i)
	}
	return all
}

// Object is a piece of memory that lies in one bank, in one piece.
type Object struct {
	Name  string
	Node  int // index in Nodes; -1: it belongs to no single node
	Part  Part
	Bytes blocks.Bytes
	Align blocks.Bytes
	DMA   bool
	Pin   int // bank it must lie in; -1: free

	Reads, Writes float64 // accesses a sample
	Element       blocks.Bytes
	Pattern       blocks.Pattern
}

// traffic is accesses a sample and byte: what gains most from a fast bank.
func (o *Object) traffic() float64 {
	return (o.Reads + o.Writes) / float64(max(o.Bytes, 1))
}

// Placement tells for each object which bank it lies in, and which objects
// found no bank that can hold them.
type Placement struct {
	Bank     []int // index in the board's banks, one for each object
	Order    []int // the objects in the order in which they lie in their banks
	Homeless []int // objects for which no bank has room; Bank is where they come nearest
}

// place assigns objects to banks: the fastest that can hold each, the busiest
// objects first, leaving the reserve free everywhere. Where that leaves one
// out, the largest are placed first instead, then the reserve is given up, and
// the first placement that leaves least out is kept.
//
// This is a first placement: it obeys pins, DMA reach and contiguity, and it
// does not yet weigh what each choice costs the others.
func place(board *blocks.Board, objects []Object, reserve float64) Placement {
	busiest := func(a, b *Object) int {
		return cmp.Or(cmp.Compare(b.traffic(), a.traffic()), cmp.Compare(b.Bytes, a.Bytes))
	}
	largest := func(a, b *Object) int { return cmp.Compare(b.Bytes, a.Bytes) }
	beyondAll := more(board, objects)
	var best Placement
	for i, try := range []struct {
		order   func(a, b *Object) int
		reserve float64
	}{{busiest, reserve}, {largest, reserve}, {busiest, 0}, {largest, 0}} {
		p := placeInOrder(board, objects, try.order, try.reserve)
		if i == 0 || homelessBytes(objects, p) < homelessBytes(objects, best) {
			best = p
		}
		if len(best.Homeless) == 0 || beyondAll {
			break
		}
	}
	return best
}

// more tells whether the objects are more than all banks that hold data could
// take, however they lie.
func more(board *blocks.Board, objects []Object) bool {
	var need, room blocks.Bytes
	for i := range objects {
		need += objects[i].Bytes
	}
	for i := range board.Banks {
		if !board.Banks[i].Kind.Constant() {
			room += board.Banks[i].Usable()
		}
	}
	return need > room
}

func homelessBytes(objects []Object, p Placement) blocks.Bytes {
	var sum blocks.Bytes
	for _, i := range p.Homeless {
		sum += objects[i].Bytes
	}
	return sum
}

func placeInOrder(board *blocks.Board, objects []Object, before func(a, b *Object) int, reserve float64) Placement {
	p := Placement{Bank: make([]int, len(objects))}
	order := make([]int, len(objects))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := &objects[i], &objects[j]
		return cmp.Or(
			-cmpBool(a.Pin >= 0, b.Pin >= 0),
			-cmpBool(a.DMA, b.DMA),
			-cmpBool(a.Part != PartBuffers, b.Part != PartBuffers),
			before(a, b),
		)
	})
	ends := make([]blocks.Bytes, len(board.Banks))
	for _, row := range board.System {
		ends[row.Bank] = alignUp(ends[row.Bank], systemAlign) + row.Bytes
	}
	for _, i := range order {
		o := &objects[i]
		best, found := -1, false
		for b := range board.Banks {
			if !o.mayLieIn(b, &board.Banks[b]) {
				continue
			}
			room := blocks.Bytes(float64(board.Banks[b].Usable()) * (1 - reserve))
			if alignUp(ends[b], o.Align)+o.Bytes <= room {
				best, found = b, true
				break
			}
			if best < 0 || board.Banks[b].Usable()-ends[b] > board.Banks[best].Usable()-ends[best] {
				best = b
			}
		}
		if !found {
			p.Homeless = append(p.Homeless, i)
		}
		if best < 0 {
			best = o.anyBank(board)
		}
		p.Bank[i] = best
		if found {
			p.Order = append(p.Order, i)
			ends[best] = alignUp(ends[best], o.Align) + o.Bytes
		}
	}
	p.Order = append(p.Order, p.Homeless...)
	return p
}

func cmpBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// mayLieIn tells whether a bank is of the right kind for the object, room
// left aside.
func (o *Object) mayLieIn(index int, b *blocks.Bank) bool {
	constant := o.Part == PartCode || o.Part == PartLibrary
	if o.Pin >= 0 {
		return o.Pin == index && (b.DMA || !o.DMA)
	}
	return b.Kind.Constant() == constant && (b.DMA || !o.DMA)
}

// anyBank is where an object is counted that no bank of the board can take.
func (o *Object) anyBank(board *blocks.Board) int {
	if o.Pin >= 0 {
		return o.Pin
	}
	for i := range board.Banks {
		if !board.Banks[i].Kind.Constant() {
			return i
		}
	}
	return 0
}

// systemAlign is what every piece of memory is aligned to at least: the stack
// alignment of the Arm procedure call standard.
const systemAlign = 8

func alignUp(x, align blocks.Bytes) blocks.Bytes {
	if align <= 1 {
		return x
	}
	return (x + align - 1) / align * align
}

// Region is where a piece of memory lies in its bank.
type Region struct {
	Name       string
	Node       int // index in Nodes; -1: none
	Part       Part
	Start, End uint64 // addresses; End is the first one after
}

// layout draws the address map of a bank: what the system takes, then the
// objects in the order given, each aligned. Used is where the map ends less
// where the bank begins.
func layout(board *blocks.Board, bank int, objects []Object) []Region {
	b := &board.Banks[bank]
	at := blocks.Bytes(0)
	var regions []Region
	add := func(name string, node int, part Part, bytes, align blocks.Bytes) {
		at = alignUp(at, align)
		regions = append(regions, Region{name, node, part, b.Base + uint64(at), b.Base + uint64(at+bytes)})
		at += bytes
	}
	for _, row := range board.System {
		if row.Bank == bank {
			add(row.What, -1, PartSystem, row.Bytes, systemAlign)
		}
	}
	for i := range objects {
		o := &objects[i]
		add(o.Name, o.Node, o.Part, o.Bytes, o.Align)
	}
	return regions
}

// used is how far the regions of a bank reach.
func used(b *blocks.Bank, regions []Region) blocks.Bytes {
	if len(regions) == 0 {
		return 0
	}
	return blocks.Bytes(regions[len(regions)-1].End - b.Base)
}
