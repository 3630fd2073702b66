package main

import (
	"cmp"
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

// hintExplain says what can be explained, for who named something else: a node of
// a group without the group, or the group itself.
func hintExplain(g *estimator.Graph, name string, names []string) string {
	var within, ending []string
	for _, n := range g.Nodes {
		group, own, grouped := strings.Cut(n.Name, ".")
		if !grouped {
			continue
		}
		switch name {
		case own:
			ending = append(ending, n.Name)
		case group:
			within = append(within, n.Name)
		}
	}
	switch {
	case len(ending) > 0:
		return "did you mean '" + ending[0] + "'?"
	case len(within) > 0:
		return "name one of its nodes: " + firstFew(within, 60)
	}
	return cmp.Or(source.DidYouMean(name, names), "banks are "+strings.Join(g.Board.BankNames(), ", ")+"; nodes are named as in the file, those of voices after their group")
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
		return nil, hinted{fmt.Errorf("%s has no node and %s no bank '%s'", file, g.Board.Name, name), hintExplain(g, name, names)}
	}
	if cached(g.Board, x) {
		x.Sources = append(x.Sources, cited("cache", g.Board.Cache.Cites, g.Board)...)
	}
	x.Sources = append(x.Sources, cited("stalls", g.Board.StallBand.Cites, g.Board)...)
	x.Sources = together(x.Sources)
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

// together joins sources of one text: "flash, stalls: ...".
func together(sources []string) []string {
	var joined []string
	at := map[string]int{}
	for _, s := range sources {
		what, text, _ := strings.Cut(s, ": ")
		i, told := at[text]
		if !told {
			at[text] = len(joined)
			joined = append(joined, s)
			continue
		}
		before, _, _ := strings.Cut(joined[i], ": ")
		if !slices.Contains(strings.Split(before, ", "), what) {
			joined[i] = before + ", " + what + ": " + text
		}
	}
	return joined
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
		return "being called, and setting up"
	case "sample":
		return "the samples"
	case "events":
		return strings.TrimSpace("events " + of)
	case "updates":
		return "working out " + of + " anew"
	case "recurring":
		return of + ", now and then"
	case "sums":
		return "adding up what feeds it"
	case "moves":
		return "mapping what moves it"
	case "voices":
		return "adding its voice to the others"
	case "second call":
		return "a second call, closing a loop"
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

// worthTelling is the share of the budget from which on it is told why the
// worst block takes more than the mean.
const worthTelling = 0.01

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
