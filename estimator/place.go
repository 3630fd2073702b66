package estimator

import (
	"cmp"
	"math"
	"slices"

	"elbowroom/blocks"
	"elbowroom/estimator/pack"
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
	Heads         float64      // places at which it is touched; 0: one
	blocks.Turn                // in which it is touched all at once
	Company       blocks.Bytes // all that is walked round again and again in the same turn, itself within; 0: it is not
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
	// Gap is the share of the stalls by which another placement could at most
	// have less; 0: none has less.
	Gap float64
}

// Steps that the search for a placement may take, and for one that leaves out
// as little as it can: a few milliseconds, and a tenth of that, since a graph
// that is over is estimated again for each swap that is tried. 20 buffers over 5
// banks are always proven within that, 60 seldom; the gap is then told.
const (
	placeSteps    = 200_000
	thoroughSteps = 2_000_000 // for the one graph that is asked for: some 20 ms, where it is not proven sooner
	homelessSteps = 20_000
	mostWeighed   = 256 // objects for which every horizon is looked at
)

// place assigns objects to banks so that they wait least for memory: exactly,
// or within the gap that it states where the steps do not suffice. Of banks
// that cost an object as much, the fastest holds it. The reserve stays free in
// every bank as long as there is a placement that leaves it, and is given up
// where there is none. Where there is none at all, as few bytes as the search
// can are left without a home.
//
// What waits least is counted over all scenes together, not in the worst.
func (g *Graph) place(objects []Object, constants *Constants, steps int) Placement {
	s := newShelves(g, objects, constants)
	if !s.beyond() {
		for _, reserve := range []float64{g.Reserve.Memory, 0} {
			if r := s.solve(reserve, steps); r.Bank != nil {
				return s.placement(r.Bank, r.Gap())
			}
		}
	}
	return s.placement(s.leaveOut(), 0)
}

// shelves is the placement of a graph's objects as a problem to solve: the
// objects in the order in which they may choose where costs are equal, and the
// banks that hold data.
type shelves struct {
	g         *Graph
	objects   []Object
	constants *Constants
	order     []int // index in objects of each item
	system    []blocks.Bytes
}

func newShelves(g *Graph, objects []Object, constants *Constants) *shelves {
	s := &shelves{g: g, objects: objects, constants: constants, order: make([]int, len(objects))}
	for i := range s.order {
		s.order[i] = i
	}
	slices.SortStableFunc(s.order, func(i, j int) int {
		a, b := &objects[i], &objects[j]
		return cmp.Or(
			-cmpBool(a.Pin >= 0, b.Pin >= 0),
			-cmpBool(a.DMA, b.DMA),
			-cmpBool(a.Part != PartBuffers, b.Part != PartBuffers),
			cmp.Compare(b.traffic(), a.traffic()),
			cmp.Compare(b.Bytes, a.Bytes),
		)
	})
	s.system = make([]blocks.Bytes, len(g.Board.Banks))
	for _, row := range g.Board.System {
		s.system[row.Bank] = alignUp(s.system[row.Bank], systemAlign) + row.Bytes
	}
	return s
}

// beyond tells whether the objects are more than all banks that hold data could
// take, however they lie.
func (s *shelves) beyond() bool {
	var need, room blocks.Bytes
	for i := range s.objects {
		need += s.objects[i].Bytes
	}
	for b := range s.g.Board.Banks {
		if bank := &s.g.Board.Banks[b]; !bank.Kind.Constant() {
			room += bank.Usable()
		}
	}
	return need > room
}

// rooms is what each bank has for objects with the reserve left free, or what
// is pinned there where that is more.
func (s *shelves) rooms(reserve float64) []int64 {
	board := s.g.Board
	pinned := make([]blocks.Bytes, len(board.Banks))
	for i := range s.objects {
		if o := &s.objects[i]; o.Pin >= 0 {
			pinned[o.Pin] += alignUp(o.Bytes, o.Align)
		}
	}
	rooms := make([]int64, len(board.Banks))
	for b := range rooms {
		if board.Banks[b].Kind.Constant() {
			continue
		}
		usable := board.Banks[b].Usable()
		system := alignUp(s.system[b], max(board.Align, systemAlign))
		room := blocks.Bytes(float64(usable)*(1-reserve)) - system
		rooms[b] = int64(max(room, min(pinned[b], usable-system), 0))
	}
	return rooms
}

// items are the objects with what they cost in each bank where the cache
// reaches so many blocks back.
func (s *shelves) items(horizon float64) []pack.Item {
	board := s.g.Board
	items := make([]pack.Item, len(s.order))
	costs := make([]float64, len(s.order)*len(board.Banks))
	for i, k := range s.order {
		o := &s.objects[k]
		cost := costs[i*len(board.Banks):][:len(board.Banks):len(board.Banks)]
		for b := range cost {
			cost[b] = math.Inf(1)
			if o.mayLieIn(b, &board.Banks[b]) {
				cost[b] = s.g.waits(o, b, horizon)
			}
		}
		items[i] = pack.Item{Bytes: int64(o.Bytes), Align: int64(o.Align), Cost: cost}
	}
	return items
}

// solve looks for the placement that waits least. What an object costs in a
// cached bank depends on the others, by how many blocks back the cache reaches.
// So it looks once for each horizon, with what is touched within it as one more
// room that all in cached banks share, and keeps the best. A horizon that could
// save nothing, or more than there are steps for, is passed over, and bounds
// what is found by what its objects would cost each by itself.
func (s *shelves) solve(reserve float64, steps int) pack.Result {
	rooms := s.rooms(reserve)
	items := s.items(0)
	best := pack.Solve(&pack.Problem{Items: items, Room: rooms}, steps)
	if best.Bank == nil {
		return best
	}
	var cached []int
	for b := range s.g.Board.Banks {
		if s.g.Board.Banks[b].Cached && rooms[b] > 0 {
			cached = append(cached, b)
		}
	}
	horizons := s.g.horizons(s.objects)
	bound := best.Bound
	for i := len(horizons) - 1; i >= 0 && best.Cost > 0 && len(cached) > 0; i-- {
		items = s.items(horizons[i])
		least := 0.0
		for k := range items {
			least += slices.Min(items[k].Cost)
		}
		if least >= best.Cost {
			break // a shorter horizon saves no more
		}
		if i > 0 && alikeCosts(items, s.items(horizons[i-1])) {
			continue // a shorter one saves as much and asks for less room
		}
		cache := pack.Shared{Banks: cached, Room: int64(s.g.Board.Cache.Bytes - s.constants.footprint(s.g, horizons[i]))}
		if cache.Room < 0 {
			continue
		}
		if steps <= 0 || len(items) > mostWeighed && !math.IsInf(horizons[i], 1) {
			bound = min(bound, least)
			continue
		}
		for _, k := range s.order {
			cache.Takes = append(cache.Takes, int64(s.g.footprint(&s.objects[k], horizons[i])))
		}
		r := pack.Solve(&pack.Problem{Items: items, Room: rooms, Shared: []pack.Shared{cache}}, steps)
		steps -= r.Steps
		bound = min(bound, r.Bound)
		if r.Cost < best.Cost {
			best.Bank, best.Cost = r.Bank, r.Cost
		}
	}
	best.Bound = min(bound, best.Cost)
	best.Proven = best.Cost <= best.Bound*(1+1e-9)
	return best
}

// alikeCosts tells whether all items cost the same in either list.
func alikeCosts(a, b []pack.Item) bool {
	return slices.EqualFunc(a, b, func(x, y pack.Item) bool { return slices.Equal(x.Cost, y.Cost) })
}

// leaveOut places what it can and leaves the rest, as few bytes as the search
// can find, in a bank after the last that holds anything for a price above all
// waiting.
func (s *shelves) leaveOut() []int {
	items := s.items(0)
	dearest := 1.0
	for i := range items {
		most := 0.0
		for _, c := range items[i].Cost {
			if !math.IsInf(c, 1) {
				most = max(most, c)
			}
		}
		dearest += most
	}
	var all int64
	for i := range items {
		size := int64(alignUp(blocks.Bytes(items[i].Bytes), blocks.Bytes(items[i].Align)))
		items[i].Cost = append(items[i].Cost, dearest*float64(size))
		all += size
	}
	return pack.Solve(&pack.Problem{Items: items, Room: append(s.rooms(0), all)}, homelessSteps).Bank
}

// placement orders what lies in each bank, the coarsest alignment first so that
// nothing is lost between objects, code last, and counts what found no home where it comes
// nearest. What was left out for its rounded size alone still fits there.
func (s *shelves) placement(bank []int, gap float64) Placement {
	board := s.g.Board
	p := Placement{Bank: make([]int, len(s.objects)), Gap: gap}
	var homeless []int
	for i, b := range bank {
		k := s.order[i]
		if p.Bank[k] = b; b == len(board.Banks) {
			homeless = append(homeless, k)
		} else {
			p.Order = append(p.Order, k)
		}
	}
	slices.SortStableFunc(p.Order, func(i, j int) int {
		return cmp.Or(
			cmp.Compare(s.objects[j].Align, s.objects[i].Align),
			-cmpBool(s.objects[i].Part != PartCode, s.objects[j].Part != PartCode), // its size is the least sure
		)
	})
	ends := slices.Clone(s.system)
	for _, k := range p.Order {
		b := p.Bank[k]
		ends[b] = alignUp(ends[b], s.objects[k].Align) + s.objects[k].Bytes
	}
	for _, k := range homeless {
		o := &s.objects[k]
		best := -1
		for b := range board.Banks {
			if o.mayLieIn(b, &board.Banks[b]) && (best < 0 || board.Banks[b].Usable()-ends[b] > board.Banks[best].Usable()-ends[best]) {
				best = b
			}
		}
		may := best >= 0
		if !may {
			best = o.anyBank(board)
		}
		p.Bank[k] = best
		ends[best] = alignUp(ends[best], o.Align) + o.Bytes
		p.Order = append(p.Order, k)
		if !may || ends[best] > board.Banks[best].Usable() {
			p.Homeless = append(p.Homeless, k)
		}
	}
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

// MayLieIn tells whether a bank could hold the object, room left aside.
func (g *Graph) MayLieIn(o *Object, bank int) bool { return o.mayLieIn(bank, &g.Board.Banks[bank]) }

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
