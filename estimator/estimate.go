package estimator

import (
	"fmt"
	"math"
	"slices"

	"elbowroom/blocks"
)

// Estimate is what a graph needs of its board, and whether it fits.
type Estimate struct {
	Graph     *Graph
	Schedule  *Schedule
	Nodes     []NodeCost // one for each of the graph's nodes
	Banks     []BankUse  // one for each of the board's banks
	Objects   []Object
	Placement Placement
	Constants Constants
	Horizon   float64 // how many blocks back the cache still holds what was touched; +Inf: for ever
	CPU       CPUUse
	Jacks     []JackCount
	Latency   Latency
	Resources []Resource
	Cautions  []Caution
	Verdict   Verdict

	code []flashItem // what lies in flash, each charged once
}

// NodeCost is what one node takes, all its copies together.
type NodeCost struct {
	Copies  int
	State   blocks.Bytes
	Buffers blocks.Bytes // in RAM, tables and wires left out
	Code    string       // key of its kernel; "" where it has none
	Mean    blocks.Figure
	Worst   blocks.Figure
	NodeStalls
	Basis  blocks.Basis
	Source string       // of Mean and Worst
	Kernel blocks.Bytes // of its kernel, which nodes of equal Code share
	Own    blocks.Bytes // in flash, of the node alone, as a program was built
	Built  string       // the program that its bytes were read from; "": none

	routines []string    // library routines of its kernel and of what feeds it
	wiring   []CyclePart // of one copy
}

// NodeStalls is the cycles a block that a node waits for memory.
type NodeStalls struct {
	Stalls      blocks.Figure // in the mean
	WorstStalls blocks.Figure // in its costliest block, the caches as they are in the mean
	ColdStalls  blocks.Figure // in its costliest block, the caches cold
}

// BankUse is what lies in one bank.
type BankUse struct {
	Parts   [numParts]blocks.Bytes // their sum is Used
	Used    blocks.Bytes
	Figure  blocks.Figure // Used with its band
	Usable  blocks.Bytes
	Regions []Region
}

// Estimate answers for a graph. The error names the node whose costs could not
// be worked out.
func (g *Graph) Estimate() (*Estimate, error) { return g.estimate(placeSteps) }

// EstimateThoroughly answers for the one graph that is asked for, of which more
// may be proven than of the many that are tried on the way.
func (g *Graph) EstimateThoroughly() (*Estimate, error) { return g.estimate(thoroughSteps) }

func (g *Graph) estimate(placeSteps int) (*Estimate, error) {
	for _, n := range g.Nodes {
		if n.demand != nil {
			continue
		}
		d, err := n.Use.Demand(g.Core)
		if err != nil {
			return nil, n.Place.Mistake("", "%v", err)
		}
		if n.Use.Own != nil {
			for i := range d.Code {
				d.Code[i].Key = n.Name
			}
		}
		if f, source, ok := g.factor(n); ok {
			mean, worst := g.calls(n, d)
			d = d.By(f, source)
			d.Charge("calls a sample", mean, worst)
		}
		n.demand, n.built = g.builtBytes(n, d)
	}
	e := &Estimate{Graph: g, Schedule: g.schedule(), Nodes: make([]NodeCost, len(g.Nodes))}
	e.compute()
	e.code = e.memory(placeSteps)
	e.load(e.stalls())
	e.fill()
	e.jacks()
	e.latency()
	e.judge()
	e.caution()
	return e, nil
}

// compute works out the cycles of each node's own work.
func (e *Estimate) compute() {
	g := e.Graph
	split := map[int]bool{}
	for _, i := range e.Schedule.Split {
		split[i] = true
	}
	for i, n := range g.Nodes {
		c := &e.Nodes[i]
		d := n.demand
		c.Copies, c.Basis, c.Source = g.Copies(n), d.Basis, d.Source
		parts, routines := g.wiring(n)
		c.routines = append(routines, d.Routines...)
		if split[i] {
			call := g.Core.CallCost(n.Use.Style)
			parts = append(parts, CyclePart{"second call", call, call})
		}
		mean, worst := d.Mean, d.Worst
		if f, _, ok := g.factor(n); ok { // the wires were timed with the kernel
			for k := range parts {
				parts[k].Mean, parts[k].Worst = parts[k].Mean.By(f), parts[k].Worst.By(f)
			}
		}
		for _, p := range parts {
			mean, worst = mean.Plus(p.Mean), worst.Plus(p.Worst)
		}
		copies := float64(c.Copies)
		c.wiring = parts
		c.Mean, c.Worst = mean.Times(copies), worst.Times(copies)
		c.State = d.State * blocks.Bytes(c.Copies)
		for _, b := range d.Buffers {
			c.Buffers += b.Bytes * blocks.Bytes(c.Copies)
		}
		if len(d.Code) > 0 {
			c.Code = d.Code[0].Key
		}
		c.Built = n.built
		for _, code := range d.Code {
			if bytes := blocks.Bytes(math.Ceil(code.Bytes.Value)); code.Key == n.ownKey() {
				c.Own += bytes
			} else {
				c.Kernel += bytes
			}
		}
	}
}

// CyclePart is a part of the cycles a block of a node, by what brings it about:
// a term of its kernel (blocks.Term), or of what lies around the kernel: sums,
// moves, voices, calls for each sample, second call.
type CyclePart struct {
	Name        string
	Mean, Worst blocks.Figure
}

// CycleParts are the parts of a node's mean and worst cycles, all its copies
// together.
func (e *Estimate) CycleParts(node int) []CyclePart {
	var parts []CyclePart
	for _, t := range e.Graph.Nodes[node].demand.Terms {
		parts = append(parts, CyclePart(t))
	}
	parts = append(parts, e.Nodes[node].wiring...)
	for i := range parts {
		copies := float64(e.Nodes[node].Copies)
		parts[i].Mean, parts[i].Worst = parts[i].Mean.Times(copies), parts[i].Worst.Times(copies)
	}
	return parts
}

// wiring is the cycles that one copy of a node spends on what feeds it: sums,
// moved parameters, and adding its voice to those of its group; with the
// library routines that takes.
func (g *Graph) wiring(n *Node) (parts []CyclePart, routines []string) {
	style, block := n.Use.Style, float64(g.BlockSize)
	add := func(name string, meanTimes, worstTimes float64, work ...blocks.Work) {
		m, w, names := g.Core.Price(style, work...)
		m, w = m.Times(meanTimes), w.Times(worstTimes)
		if k := len(parts) - 1; k >= 0 && parts[k].Name == name {
			parts[k].Mean, parts[k].Worst = parts[k].Mean.Plus(m), parts[k].Worst.Plus(w)
		} else {
			parts = append(parts, CyclePart{name, m, w})
		}
		routines = append(routines, names...)
	}
	for i := range n.Inputs {
		in := &n.Inputs[i]
		k := float64(len(in.Sources))
		if ch := in.sumChannels(n); ch > 0 {
			times := block * float64(ch)
			add("sums", times, times, sumWork(k)...)
		} else if k > 1 && in.Port.Kind == blocks.Control {
			add("sums", n.Use.MeanTicks, n.Use.MostTicks, blocks.Work{Class: blocks.OpLoad, Times: k}, blocks.Work{Class: blocks.OpAdd, Times: k - 1})
		}
	}
	for _, d := range n.Drives {
		meanTimes, worstTimes := n.Use.MeanTicks, n.Use.MostTicks
		if n.Use.Settings[d.Param].Moved == blocks.ByAudio {
			meanTimes, worstTimes = block, block
		}
		add("moves", meanTimes, worstTimes, d.work()...)
	}
	if n.Group >= 0 && g.Groups[n.Group].Out >= 0 && g.Nodes[g.Groups[n.Group].Out] == n {
		times := block * float64(n.outChannels(0))
		add("voices", times, times, voiceWork()...)
	}
	if style.PerSample && n.demand.Timed && n.Block().Processes() == blocks.Audio {
		add("calls", block, block, n.steppingWork()...)
	}
	return parts, routines
}

// work is what mapping one value of a mover to the span of a parameter takes:
// low + x (high - low), or low times 2^(x log2(high/low)).
func (d *Drive) work() []blocks.Work {
	work := []blocks.Work{
		{Class: blocks.OpLoad, Times: 3}, {Class: blocks.OpMul, Times: 1}, {Class: blocks.OpAdd, Times: 1}, {Class: blocks.OpStore, Times: 1},
	}
	if d.Curve == Exponential {
		work = append(work, blocks.Work{Class: blocks.OpExp2, Times: 1}, blocks.Work{Class: blocks.OpMul, Times: 1})
	}
	return work
}

// flashItem is a piece of code or constant data, charged once however many
// nodes bring it.
type flashItem struct {
	name  string
	part  Part
	bytes blocks.Figure
	idle  blocks.Bytes // what of it runs at the start alone, or not at all
	data  blocks.Bytes // what of it lies in RAM besides
}

// key tells pieces apart.
func (f *flashItem) key() string { return f.part.String() + f.name }

// flash is what one node brings into flash: its kernel, the library with all
// that it needs, and constant tables.
func (e *Estimate) flash(i int) []flashItem {
	g, d := e.Graph, e.Graph.Nodes[i].demand
	var items []flashItem
	for _, c := range d.Code {
		items = append(items, flashItem{name: c.Key, part: PartCode, bytes: c.Bytes, idle: c.Idle})
	}
	for _, name := range g.Core.Linked(e.Nodes[i].routines) {
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
				flash[at].bytes = item.bytes
			}
			flash[at].idle = min(flash[at].idle, item.idle)
			flash[at].data = max(flash[at].data, item.data)
		}
		for _, t := range d.Tables {
			reads, heads := t.Reads*float64(copies), t.Heads*float64(copies)
			if at, known := tables[t.Key]; known {
				at.Reads += reads
				at.Heads += heads
				at.Node = -1
				continue
			}
			tables[t.Key] = &Object{Name: t.Key, Node: i, Part: PartTables, Bytes: t.Bytes, Align: 4, Pin: -1, Reads: reads, Element: 4, Pattern: blocks.Random, Heads: heads}
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
	for i := range flash {
		data += flash[i].data
		if flash[i].part != PartTables {
			e.Constants.Code += blocks.Bytes(flash[i].bytes.Value) - flash[i].idle
		}
	}
	e.object(Object{Name: LibraryData, Node: -1, Part: PartState, Bytes: alignUp(data, systemAlign), Align: systemAlign, Pin: -1, Element: 4, Pattern: blocks.Random})
	if g.Overlay {
		e.overlay()
	}
	e.pools(state, controls)
	e.Placement = g.place(e.Objects, &e.Constants, placeSteps)
	return flash
}

// Piece is something in flash that is charged once, however many nodes need it.
type Piece struct {
	Name  string
	Bytes blocks.Figure
}

// Flash lists what a node brings into flash.
func (e *Estimate) Flash(node int) []Piece {
	var list []Piece
	for _, f := range e.flash(node) {
		list = append(list, Piece{f.key(), f.bytes})
	}
	return list
}

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
		rate, err := n.Use.EventRate(p)
		if err != nil {
			return word // the demand of the node has told the mistake
		}
		most := math.Ceil(float64(rate) * float64(g.BlockSize) / float64(g.SampleRate))
		return 2*word + 2*word*blocks.Bytes(most)
	}
	return 0
}

// buffer is a buffer of one copy of a node as an object.
func (g *Graph) buffer(node int, b blocks.BufferDemand, copy, copies int) Object {
	n := g.Nodes[node]
	o := Object{
		Name: n.Name + "." + b.Name, Node: node, Part: PartBuffers, Bytes: b.Bytes, Align: g.Board.Align, Pin: -1,
		Reads: b.Reads, Writes: b.Writes, Element: b.Element, Pattern: b.Pattern, Heads: b.Heads,
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

// overlay lets the buffers of different scenes share memory: the largest of
// each scene lie on each other, then the next.
func (e *Estimate) overlay() {
	g := e.Graph
	scene := g.onlyScene()
	lists := make([][]Object, len(g.Scenes))
	var rest []Object
	for _, o := range e.Objects {
		if o.Node >= 0 && scene[o.Node] >= 0 && o.Part == PartBuffers && o.Pin < 0 {
			lists[scene[o.Node]] = append(lists[scene[o.Node]], o)
		} else {
			rest = append(rest, o)
		}
	}
	longest := 0
	for i := range lists {
		slices.SortStableFunc(lists[i], func(a, b Object) int { return int(b.Bytes - a.Bytes) })
		longest = max(longest, len(lists[i]))
	}
	e.Objects = rest
	for k := range longest {
		var shared Object
		for _, list := range lists {
			if k >= len(list) {
				continue
			}
			o := list[k]
			if shared.Name != "" {
				o.Name = shared.Name + " / " + o.Name
				o.Bytes = max(o.Bytes, shared.Bytes)
				o.Reads, o.Writes = max(o.Reads, shared.Reads), max(o.Writes, shared.Writes)
				o.Pattern, o.Element = max(o.Pattern, shared.Pattern), max(o.Element, shared.Element)
				o.Heads = max(o.Heads, shared.Heads)
			}
			shared = o
		}
		e.object(shared)
	}
}

// onlyScene tells for each node which one scene it runs in; -1: it runs always
// or in several.
func (g *Graph) onlyScene() []int {
	in := g.scenesOf()
	only := make([]int, len(g.Nodes))
	for i, scenes := range in {
		only[i] = -1
		if len(scenes) == 1 {
			only[i] = scenes[0]
		}
	}
	return only
}

// Plays tells whether a node runs while a scene plays: always, unless scenes
// name it.
func (g *Graph) Plays(node, scene int) bool {
	in := g.scenesOf()[node]
	return len(in) == 0 || slices.Contains(in, scene)
}

// scenesOf tells for each node which scenes it runs in; none: it runs always.
func (g *Graph) scenesOf() [][]int {
	in := make([][]int, len(g.Nodes))
	for k, s := range g.Scenes {
		for _, i := range s.Nodes {
			in[i] = append(in[i], k)
		}
		for _, group := range s.Groups {
			for _, i := range g.Groups[group].Nodes {
				in[i] = append(in[i], k)
			}
		}
	}
	return in
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

// fill draws the address maps and adds up the parts of every bank.
func (e *Estimate) fill() {
	board := e.Graph.Board
	e.Banks = make([]BankUse, len(board.Banks))
	slices.SortStableFunc(e.code, func(a, b flashItem) int { return int(a.part) - int(b.part) })
	code := board.CodeBank()
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
		if b == code {
			for _, item := range e.code {
				bytes := blocks.Bytes(math.Ceil(item.bytes.Value))
				objects = append(objects, Object{Name: item.name, Node: -1, Part: item.part, Bytes: bytes, Align: 4})
				doubt.Low += item.bytes.Low - item.bytes.Value
				doubt.High += item.bytes.High - item.bytes.Value
			}
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
