package main

import (
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Shelf is a bank with what lies on it.
type Shelf struct {
	Bank   string `json:"bank"`
	Base   string `json:"base" jsonschema:"address of its first byte"`
	Usable int64  `json:"usable" jsonschema:"bytes that the program may use"`
	Used   int64  `json:"used" jsonschema:"bytes, alignment counted"`
	Free   int64  `json:"free" jsonschema:"bytes in one piece behind what lies there"`
	Items  []Item `json:"items" jsonschema:"in the order of their addresses"`
}

// Item is a piece of memory in a bank.
type Item struct {
	Name   string `json:"name"`
	Node   string `json:"node,omitempty"`
	Part   string `json:"part" jsonschema:"what it is used for"`
	Offset int64  `json:"offset" jsonschema:"bytes from the base of the bank"`
	Bytes  int64  `json:"bytes"`
}

// Placed is a buffer with why it lies where it does.
type Placed struct {
	Name    string  `json:"name"`
	Node    string  `json:"node,omitempty"`
	Bank    string  `json:"bank"`
	Bytes   int64   `json:"bytes"`
	Pattern string  `json:"pattern" jsonschema:"how it is walked through: stream, tap or random"`
	Stalls  float64 `json:"stalls" jsonschema:"cycles a block"`
	Fills   float64 `json:"line_fills" jsonschema:"cache lines fetched in a block"`
	Backs   float64 `json:"write_backs" jsonschema:"cache lines written back in a block"`
	Why     string  `json:"why"`
	Moves   []Move  `json:"moves,omitempty" jsonschema:"what it would mean to lie in each other bank"`
}

// Move is what it would mean for a buffer to lie in another bank.
type Move struct {
	Bank   string  `json:"bank"`
	Barred string  `json:"barred,omitempty" jsonschema:"why it may not lie there"`
	Short  int64   `json:"short,omitempty" jsonschema:"bytes that are missing of the room"`
	Cycles float64 `json:"cycles" jsonschema:"what all buffers together would wait more in a block; below 0: less"`
}

// Cause is a reason why a block takes more.
type Cause struct {
	Kind   string  `json:"kind" jsonschema:"hops, events, control, data, stalls, system, all hops or cold caches"`
	Node   string  `json:"node,omitempty"`
	Cycles float64 `json:"cycles"`
}

// Explained is all of one node or one bank.
type Explained struct {
	Node    *NodeExplained `json:"node,omitempty"`
	Bank    *BankExplained `json:"bank,omitempty"`
	Sources []string       `json:"sources" jsonschema:"where its figures come from"`
}

// NodeExplained is all of one node.
type NodeExplained struct {
	Node    Node      `json:"node"`
	Cycles  []Portion `json:"cycles" jsonschema:"parts of mean and worst; they add up"`
	State   int64     `json:"state" jsonschema:"bytes"`
	Flash   int64     `json:"flash" jsonschema:"bytes of its kernel, once for all nodes that share it"`
	Buffers []Placed  `json:"buffers,omitempty"`
	Hops    []Hop     `json:"hops,omitempty" jsonschema:"work that falls due at known samples, beside the worst"`
}

// Hop is work of a node that falls due at known samples.
type Hop struct {
	Name   string  `json:"name"`
	Every  float64 `json:"every" jsonschema:"samples"`
	Offset float64 `json:"offset" jsonschema:"samples"`
	Cycles Figure  `json:"cycles" jsonschema:"each time"`
	Stalls Figure  `json:"stalls" jsonschema:"cycles that it waits for memory, each time"`
}

// Portion is a part of the cycles of a node.
type Portion struct {
	What  string `json:"what"`
	Mean  Figure `json:"mean"`
	Worst Figure `json:"worst"`
}

// BankExplained is all of one bank.
type BankExplained struct {
	Shelf  Shelf   `json:"shelf"`
	Kind   string  `json:"kind"`
	Access string  `json:"access" jsonschema:"what an access or a line costs"`
	DMA    bool    `json:"dma" jsonschema:"the audio DMA reaches it"`
	Align  int64   `json:"align" jsonschema:"bytes that a buffer begins at a multiple of"`
	Runs   string  `json:"runs,omitempty" jsonschema:"what fetching code costs, where code runs from this bank"`
	Code   []Item  `json:"code,omitempty" jsonschema:"of the code that is copied here, the pieces, the largest first; they have no places of their own"`
	Guests []Guest `json:"guests,omitempty" jsonschema:"buffers of other banks that it has room for, those that gain most first"`
	Line   float64 `json:"line" jsonschema:"seconds of a float32 delay line of one channel that would still fit"`
}

// Guest is a buffer of another bank that a bank has room for.
type Guest struct {
	Name   string  `json:"name"`
	Bank   string  `json:"bank" jsonschema:"where it lies"`
	Bytes  int64   `json:"bytes"`
	Cycles float64 `json:"cycles" jsonschema:"what all buffers together would wait more in a block; below 0: less"`
}

func shelves(e *estimator.Estimate) []Shelf {
	list := make([]Shelf, len(e.Banks))
	for b := range e.Banks {
		list[b] = shelf(e, b)
	}
	return list
}

func shelf(e *estimator.Estimate, b int) Shelf {
	bank, use := &e.Graph.Board.Banks[b], &e.Banks[b]
	s := Shelf{
		Bank: bank.Name, Base: fmt.Sprintf("0x%08X", bank.Base),
		Usable: int64(use.Usable), Used: int64(use.Used), Free: int64(e.Free(b)), Items: []Item{},
	}
	for _, r := range use.Regions {
		item := Item{Name: r.Name, Part: r.Part.String(), Offset: int64(r.Start - bank.Base), Bytes: int64(r.End - r.Start)}
		if r.Node >= 0 {
			item.Node = e.Graph.Nodes[r.Node].Name
		}
		s.Items = append(s.Items, item)
	}
	return s
}

// mostExplained is of how many of the largest buffers it is told why they lie
// where they do.
const mostExplained = 12

func large(e *estimator.Estimate) []Placed {
	w := e.Weigh()
	var list []Placed
	for _, i := range e.Largest(mostExplained) {
		list = append(list, placed(e, w, i))
	}
	return list
}

func placed(e *estimator.Estimate, w *estimator.Weighing, object int) Placed {
	g := e.Graph
	o := &e.Objects[object]
	moves := w.Moves(object)
	stall := e.Stall(object)
	p := Placed{
		Name: o.Name, Bank: g.Board.Banks[e.Placement.Bank[object]].Name, Bytes: int64(o.Bytes), Pattern: o.Pattern.String(),
		Stalls: stall.Cycles, Fills: stall.Fills, Backs: stall.Backs, Why: w.Why(object, moves),
	}
	if o.Node >= 0 {
		p.Node = g.Nodes[o.Node].Name
	}
	for _, m := range moves {
		p.Moves = append(p.Moves, Move{g.Board.Banks[m.Bank].Name, m.Bars, int64(m.Short), m.Cycles})
	}
	return p
}

func causes(g *estimator.Graph, list []estimator.Cause) []Cause {
	var out []Cause
	for _, c := range list {
		cause := Cause{Kind: string(c.Kind), Cycles: c.Cycles}
		if c.Node >= 0 {
			cause.Node = g.Nodes[c.Node].Name
		}
		out = append(out, cause)
	}
	return out
}

// explain tells all of the node or the bank of a name; both where both have it.
// The error names what comes nearest.
func explain(file string, e *estimator.Estimate, name string) (*Explained, error) {
	g := e.Graph
	x := &Explained{Sources: []string{}}
	var names []string
	for i, n := range g.Nodes {
		names = append(names, n.Name)
		if n.Name == name {
			x.Node = explainNode(e, i)
			x.Sources = append(x.Sources, fmt.Sprintf("%s: %s", e.Nodes[i].Basis, e.Nodes[i].Source))
			if built := e.Nodes[i].Built; built != "" {
				x.Sources = append(x.Sources, fmt.Sprintf("%s, of its bytes: %s", blocks.Measured, built))
			}
		}
	}
	for b := range g.Board.Banks {
		bank := &g.Board.Banks[b]
		names = append(names, bank.Name)
		if bank.Name == name {
			x.Bank = explainBank(e, b)
		}
		if bank.Name == name || x.Node != nil && x.Node.lies(bank.Name) {
			x.Sources = append(x.Sources, cited(bank.Name, bank.Cites, g.Board)...)
		}
		if bank.Name == name && b == g.Run {
			i := slices.IndexFunc(g.Board.Layouts, func(l blocks.Layout) bool { return l.Bank == b })
			x.Sources = append(x.Sources, cited("code runs from "+bank.Name, g.Board.Layouts[i].Cites, g.Board)...)
		}
	}
	if x.Node == nil && x.Bank == nil {
		hint := source.DidYouMean(name, names)
		if hint == "" {
			hint = "banks are " + strings.Join(g.Board.BankNames(), ", ") + "; nodes are named as in the file, of voices with their group: bass.osc"
		}
		return nil, hinted{fmt.Errorf("%s has no node and %s no bank '%s'", file, g.Board.Name, name), hint}
	}
	if cached(g.Board, x) {
		x.Sources = append(x.Sources, cited("cache", g.Board.Cache.Cites, g.Board)...)
	}
	x.Sources = append(x.Sources, cited("stalls", g.Board.StallBand.Cites, g.Board)...)
	return x, nil
}

// cited are the texts of the sources of something.
func cited(what string, keys []string, board *blocks.Board) []string {
	var texts []string
	for _, key := range keys {
		texts = append(texts, fmt.Sprintf("%s: %s", what, board.Cite(key)))
	}
	return texts
}

// lies tells whether a buffer of the node lies in a bank.
func (n *NodeExplained) lies(bank string) bool {
	for _, b := range n.Buffers {
		if b.Bank == bank {
			return true
		}
	}
	return false
}

// cached tells whether anything that is explained lies behind the cache.
func cached(board *blocks.Board, x *Explained) bool {
	for i := range board.Banks {
		b := &board.Banks[i]
		if b.Cached && (x.Bank != nil && x.Bank.Shelf.Bank == b.Name || x.Node != nil && x.Node.lies(b.Name)) {
			return true
		}
	}
	return false
}

func explainNode(e *estimator.Estimate, i int) *NodeExplained {
	c := &e.Nodes[i]
	x := &NodeExplained{Node: nodes(e)[i], State: int64(c.State)}
	for _, p := range e.CycleParts(i) {
		x.Cycles = append(x.Cycles, Portion{portion(p.Name), figure(p.Mean), figure(p.Worst)})
	}
	for b := range e.Banks {
		for _, r := range e.Banks[b].Regions {
			if r.Part == estimator.PartCode && r.Name == c.Code {
				x.Flash = int64(r.End - r.Start)
			}
		}
	}
	for _, h := range c.Hops {
		x.Hops = append(x.Hops, Hop{strings.NewReplacer("_", " ", ".", " ").Replace(h.Name), h.Every, h.Offset, figure(h.Cycles), figure(h.Stalls)})
	}
	w := e.Weigh()
	for k := range e.Objects {
		if e.Objects[k].Node == i {
			x.Buffers = append(x.Buffers, placed(e, w, k))
		}
	}
	return x
}

// portion is what brings about a part of the cycles, in words.
func portion(name string) string {
	group, of, _ := strings.Cut(name, ".")
	of = strings.ReplaceAll(of, "_", " ")
	switch group {
	case "call":
		return "being called, with what it sets up"
	case "sample":
		return "the samples"
	case "events":
		return strings.TrimSpace("events " + of)
	case "updates":
		return "working out " + of + " anew"
	case "recurring":
		return of + ", which falls due now and then"
	case "sums":
		return "adding up what feeds it"
	case "moves":
		return "mapping what moves its parameters"
	case "voices":
		return "adding its voice to the others"
	case "second call":
		return "a second call, as it closes a loop"
	}
	return strings.ReplaceAll(name, ".", ", ")
}

func explainBank(e *estimator.Estimate, b int) *BankExplained {
	g := e.Graph
	bank := &g.Board.Banks[b]
	x := &BankExplained{Shelf: shelf(e, b), Kind: string(bank.Kind), DMA: bank.DMA, Align: int64(g.Board.Align)}
	switch {
	case bank.Cached:
		x.Access = fmt.Sprintf("cached: %s to fill a line of %v, %s to write one back", blocks.Cycles(bank.LineFill), g.Board.Cache.Line, blocks.Cycles(bank.WriteBack))
	case bank.Read == 0 && bank.Write == 0:
		x.Access = "no waits"
	default:
		x.Access = fmt.Sprintf("not cached: %s more to read and %s to write", blocks.Cycles(bank.Read), blocks.Cycles(bank.Write))
	}
	if b == g.Run {
		x.Runs = runs(e, b)
	}
	if bank.Kind.Constant() {
		return x
	}
	if b == g.Run {
		for _, p := range e.CopiedCode() {
			x.Code = append(x.Code, Item{Name: p.Name, Part: p.Part.String(), Bytes: int64(p.Copied)})
		}
	}
	const sample = 4
	free := e.Free(b) - e.Free(b)%blocks.Bytes(max(g.Board.Align, 1))
	x.Line = float64(free/sample) / float64(g.SampleRate)
	for _, guest := range e.Weigh().Guests(b, mostShown) {
		o := &e.Objects[guest.Object]
		x.Guests = append(x.Guests, Guest{o.Name, g.Board.Banks[e.Placement.Bank[guest.Object]].Name, int64(o.Bytes), guest.Cycles})
	}
	return x
}

// runs tells what it costs that code runs from a bank.
func runs(e *estimator.Estimate, b int) string {
	bank, cache := &e.Graph.Board.Banks[b], &e.Graph.Board.CodeCache
	switch {
	case bank.Cached && cache.Bytes > 0:
		return fmt.Sprintf("code runs from here through a cache of %v", cache.Bytes)
	case bank.Cached:
		return fmt.Sprintf("code runs from here through the cache of %v that it shares with data", e.Graph.Board.Cache.Bytes)
	case bank.Fetch > 0:
		return fmt.Sprintf("code runs from here, and fetching it adds %s to compute", blocks.Percent(bank.Fetch))
	}
	return "code runs from here without waiting"
}

// largeSections tell why the large buffers lie where they do; those of one node
// that lie in one bank for one reason stand together.
func largeSections(a *Answer) document {
	var items []string
	for i := 0; i < len(a.Large) && len(items) < mostShown; i++ {
		first := &a.Large[i]
		if told := slices.ContainsFunc(a.Large[:i], func(p Placed) bool { return p.alike(first) }); told {
			continue
		}
		same, bytes := 0, blocks.Bytes(0)
		for k := range a.Large {
			if p := &a.Large[k]; p.alike(first) {
				same, bytes = same+1, bytes+blocks.Bytes(p.Bytes)
			}
		}
		item := fmt.Sprintf("%s, %v, in %s: %s", first.Name, bytes.Up(), first.Bank, first.Why)
		if same > 1 {
			item = fmt.Sprintf("%d buffers of %s, %v together, in %s: each %s", same, first.Node, bytes.Up(), first.Bank, first.Why)
		}
		items = append(items, item)
	}
	if len(items) == 0 {
		return nil
	}
	return document{{title: "Why the largest buffers lie where they do", items: items}}
}

// alike tells whether two buffers of a node lie in one bank for one reason.
func (p *Placed) alike(q *Placed) bool {
	return p.Node == q.Node && p.Node != "" && p.Bank == q.Bank && p.Why == q.Why || p.Name == q.Name
}

// worthTelling is the share of the budget from which on it is told why the
// worst block takes more than the mean.
const worthTelling = 0.01

func causeSections(a *Answer) document {
	c := a.Cycles
	var sum, beyond float64
	for _, cause := range c.Causes {
		sum += cause.Cycles
	}
	var more []string
	for _, cause := range c.Beyond {
		beyond += cause.Cycles
		more = append(more, fmt.Sprintf("%s, %s", causeWords[cause.Kind], blocks.Cycles(up(cause.Cycles))))
	}
	after := ""
	if beyond >= worthTelling*c.Budget {
		after = fmt.Sprintf("The bound is %s more: %s.", percent(beyond, c.Budget), strings.Join(more, "; "))
	}
	if sum < worthTelling*c.Budget {
		if after == "" {
			return nil
		}
		return document{{text: after}}
	}
	t := &table{align: "llrr", header: []string{"worst over mean", "node", "cycles", "of the budget"}}
	var rest float64
	for i, cause := range c.Causes {
		if i < mostShown {
			t.add(causeWords[cause.Kind], cause.Node, whole(cause.Cycles), percent(cause.Cycles, c.Budget))
		} else {
			rest += cause.Cycles
		}
	}
	var texts []string
	if others := len(c.Causes) - mostShown; others > 0 && rest >= 1 {
		texts = append(texts, fmt.Sprintf("The others take %s cycles together.", whole(rest)))
	}
	if after != "" {
		texts = append(texts, after)
	}
	if c.Relief != "" {
		texts = append(texts, "To make the worst block lighter, "+c.Relief+".")
	}
	return document{{table: t, after: strings.Join(texts, " ")}}
}

var causeWords = map[string]string{
	string(estimator.CauseHops):     "work that falls due",
	string(estimator.CauseEvents):   "events in one block",
	string(estimator.CauseControl):  "control at its most",
	string(estimator.CauseData):     "the costliest signal",
	string(estimator.CauseStalls):   "stalls of more work",
	string(estimator.CauseSystem):   "the system",
	string(estimator.CauseTogether): "work that never falls due together, at once",
	string(estimator.CauseCold):     "cold caches, everything fetched anew",
}

// explained are the sections below the verdict where --explain names a node or a
// bank.
func explained(a *Answer) document {
	var d document
	x := a.Explained
	if x.Node != nil {
		d = append(d, nodeSections(a, x.Node)...)
	}
	if x.Bank != nil {
		d = append(d, bankSections(x.Bank)...)
	}
	return append(d, section{title: "Sources", items: x.Sources})
}

func nodeSections(a *Answer, x *NodeExplained) document {
	n := &x.Node
	t := &table{align: "lrrrl", header: []string{"cycles of a block", "mean", "worst", "of the budget", "worst lies in"}}
	means, worsts := make([]float64, len(x.Cycles)), make([]float64, len(x.Cycles))
	for i, p := range x.Cycles {
		means[i], worsts[i] = p.Mean.Value, p.Worst.Value
	}
	mean, meanSum := adding(0, means...)
	worst, worstSum := adding(0, worsts...)
	for i, p := range x.Cycles {
		t.add(p.What, mean[i], worst[i], percent(p.Worst.Value, a.Cycles.Budget), between(p.Worst))
	}
	t.footer = []string{"compute, " + n.Basis, meanSum, worstSum, percent(n.Worst.Value, a.Cycles.Budget), between(n.Worst)}
	title := fmt.Sprintf("%s, a %s", n.Name, n.Kernel)
	if n.Copies > 1 {
		title = fmt.Sprintf("%s, %d copies of a %s", n.Name, n.Copies, n.Kernel)
	}
	waits := "It waits for nothing in memory."
	if n.Stalls.Value > 0 {
		waits = fmt.Sprintf("It waits %s for memory (%s), modelled, beside what it computes.", blocks.Cycles(up(n.Stalls.Value)), between(n.Stalls))
	}
	d := document{{title: title, text: n.Note, table: t, after: fmt.Sprintf("%s Its state takes %v; its code takes %v of flash, once for all nodes that run it.",
		waits, blocks.Bytes(x.State), blocks.Bytes(x.Flash))}}
	if len(x.Hops) > 0 {
		t := &table{align: "lrrrr", header: []string{"falls due", "every, samples", "cycles", "waits, cycles", "of the budget"}}
		for _, h := range x.Hops {
			t.add(h.Name, number(h.Every), whole(h.Cycles.Value), whole(h.Stalls.Value), percent(h.Cycles.Value+h.Stalls.Value, a.Cycles.Budget))
		}
		d = append(d, section{table: t, after: "Each time all of it falls into one block, beside the worst above."})
	}
	for rest := x.Buffers; len(rest) > 0; {
		same := 1
		for same < len(rest) && rest[same].movesAlike(&rest[0]) {
			same++
		}
		d = append(d, bufferSection(rest[:same]))
		rest = rest[same:]
	}
	return d
}

// movesAlike tells whether two buffers lie in one bank for one reason, and would
// cost the same elsewhere.
func (p *Placed) movesAlike(q *Placed) bool {
	return p.Bank == q.Bank && p.Why == q.Why && p.Pattern == q.Pattern && p.Fills == q.Fills && p.Backs == q.Backs && slices.Equal(p.Moves, q.Moves)
}

// bufferSection tells of one buffer, or of several that are alike.
func bufferSection(same []Placed) section {
	p := &same[0]
	names := make([]string, len(same))
	for i := range same {
		names[i] = fmt.Sprintf("%s (%v)", same[i].Name, blocks.Bytes(same[i].Bytes).Up())
	}
	s := section{title: fmt.Sprintf("%s in %s", names[0], p.Bank), text: fmt.Sprintf("It %s.", p.Why)}
	if len(same) > 1 {
		s = section{title: fmt.Sprintf("%d buffers in %s", len(same), p.Bank), text: fmt.Sprintf("%s: each %s.", strings.Join(names, ", "), p.Why)}
	}
	if p.Fills+p.Backs > 0 {
		s.text += fmt.Sprintf(" Walked as a %s, it fetches %s lines in a block and writes %s back.", p.Pattern, number(p.Fills), number(p.Backs))
	}
	if len(p.Moves) > 0 {
		s.table = &table{align: "lrl", header: []string{"in", "cycles more", "room"}}
	}
	for _, m := range p.Moves {
		switch {
		case m.Barred != "":
			s.table.add(m.Bank, "", m.Barred)
		case m.Short > 0:
			s.table.add(m.Bank, signed(m.Cycles), blocks.Bytes(m.Short).Up()+" short")
		default:
			s.table.add(m.Bank, signed(m.Cycles), "it would fit")
		}
	}
	return s
}

// signed is cycles more, or less with a minus.
func signed(v float64) string {
	if v < 0 {
		return "-" + whole(-v)
	}
	return whole(v)
}

func bankSections(x *BankExplained) document {
	s := &x.Shelf
	t := &table{align: "rrlll", header: []string{"offset", "bytes", "part", "node", "what"}, footer: []string{"", whole(float64(s.Used)), "", "", "used, alignment counted"}}
	for _, item := range s.Items {
		t.add(whole(float64(item.Offset)), whole(float64(item.Bytes)), item.Part, item.Node, item.Name)
	}
	reach := "the audio DMA does not reach it"
	if x.DMA {
		reach = "the audio DMA reaches it"
	}
	d := document{{
		title: fmt.Sprintf("%s, %v of %s at %s", s.Bank, blocks.Bytes(s.Usable).Down(), x.Kind, s.Base),
		text:  fmt.Sprintf("%s; %s; buffers begin at multiples of %v.", strings.ToUpper(x.Access[:1])+x.Access[1:], reach, blocks.Bytes(x.Align)),
		table: t, after: fmt.Sprintf("%v are free in one piece.", blocks.Bytes(s.Free).Down()),
	}}
	if x.Runs != "" {
		d[0].text += " " + strings.ToUpper(x.Runs[:1]) + x.Runs[1:] + "."
	}
	if len(x.Code) > 0 {
		t := &table{align: "rll", header: []string{"bytes", "part", "of the code that is copied here"}}
		for _, item := range x.Code {
			t.add(whole(float64(item.Bytes)), item.Part, item.Name)
		}
		d = append(d, section{table: t})
	}
	if x.Line > 0 {
		d[0].after += fmt.Sprintf(" A delay of one channel in float32 could have %v of it.", blocks.Seconds(x.Line))
	}
	if len(x.Guests) > 0 {
		t := &table{align: "llrr", header: []string{"could come in", "lies in", "bytes", "cycles more"}}
		for _, g := range x.Guests {
			t.add(g.Name, g.Bank, whole(float64(g.Bytes)), signed(g.Cycles))
		}
		d = append(d, section{table: t})
	}
	return d
}

// placedRows are a buffer as rows of CSV.
func placedRows(p *Placed, single func(section, name, item string, v float64, unit, text string)) {
	single("buffer", p.Name, "bytes", float64(p.Bytes), "bytes", p.Bank)
	single("buffer", p.Name, "stalls", p.Stalls, "cycles", p.Why)
	single("buffer", p.Name, "line fills", p.Fills, "lines", p.Pattern)
	single("buffer", p.Name, "write-backs", p.Backs, "lines", p.Pattern)
	for _, m := range p.Moves {
		single("move", p.Name, m.Bank, m.Cycles, "cycles", m.Barred)
		if m.Short > 0 {
			single("move", p.Name, m.Bank+" short", float64(m.Short), "bytes", "")
		}
	}
}

// rows are what is explained as rows of CSV.
func (x *Explained) rows(single func(section, name, item string, v float64, unit, text string), banded func(section, name, item string, f Figure, unit, text string), words func(section, name, item, text string)) {
	if n := x.Node; n != nil {
		for _, p := range n.Cycles {
			banded("explained", n.Node.Name, p.What+" mean", p.Mean, "cycles", n.Node.Basis)
			banded("explained", n.Node.Name, p.What+" worst", p.Worst, "cycles", n.Node.Basis)
		}
		single("explained", n.Node.Name, "state", float64(n.State), "bytes", "")
		single("explained", n.Node.Name, "code", float64(n.Flash), "bytes", n.Node.Kernel)
		for _, h := range n.Hops {
			single("explained", n.Node.Name, h.Name+" every", h.Every, "samples", "")
			banded("explained", n.Node.Name, h.Name+" each", h.Cycles, "cycles", n.Node.Basis)
			banded("explained", n.Node.Name, h.Name+" stalls", h.Stalls, "cycles", blocks.Modelled.String())
		}
		for i := range n.Buffers {
			placedRows(&n.Buffers[i], single)
		}
	}
	if b := x.Bank; b != nil {
		words("explained", b.Shelf.Bank, "access", b.Access)
		if b.Runs != "" {
			words("explained", b.Shelf.Bank, "runs", b.Runs)
		}
		for _, item := range b.Code {
			single("explained", b.Shelf.Bank, "code", float64(item.Bytes), "bytes", item.Name)
		}
		single("explained", b.Shelf.Bank, "free", float64(b.Shelf.Free), "bytes", "in one piece")
		single("explained", b.Shelf.Bank, "room for a line", b.Line, "s", "float32, one channel")
		for _, g := range b.Guests {
			single("guest", b.Shelf.Bank, g.Name, g.Cycles, "cycles", g.Bank)
		}
	}
	for _, text := range x.Sources {
		words("source", "", "", text)
	}
}
