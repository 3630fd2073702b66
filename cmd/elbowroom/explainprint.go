package main

import (
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
)

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
	if slices.ContainsFunc(n.Tables, func(c Table) bool { return c.Readers > 1 }) {
		waits = "It waits for nothing of its own in memory; what it reads with others waits in the stalls of all."
	}
	if n.Stalls.Value > 0 {
		waits = fmt.Sprintf("It waits %s for memory (%s), modelled, beside what it computes.", blocks.Cycles(up(n.Stalls.Value)), between(n.Stalls))
	}
	after := fmt.Sprintf("%s Its state takes %v; its code takes %v of flash, once for all nodes that run it.", waits, blocks.Bytes(x.State), blocks.Bytes(x.Flash))
	for _, c := range n.Tables {
		after += fmt.Sprintf(" It reads %s, %v of flash", c.Name, blocks.Bytes(c.Bytes).Up())
		if c.Readers > 1 {
			after += fmt.Sprintf(", once for the %d nodes that do", c.Readers)
		}
		after += "."
	}
	d := document{{title: title, text: n.Note, table: t, after: after}}
	if len(x.Hops) > 0 {
		t := &table{align: "lrrrr", header: []string{"falls due", "every, samples", "cycles", "waits, cycles", "of the budget"}}
		for _, h := range x.Hops {
			t.add(h.Name, number(h.Every), whole(h.Cycles.Value), whole(h.Stalls.Value), percent(h.Cycles.Value+h.Stalls.Value, a.Cycles.Budget))
		}
		d = append(d, section{table: t, after: fmt.Sprintf("Each time all of it falls into one block, beside the worst above: %s in the costliest, %s of the budget.",
			blocks.Cycles(up(n.Costliest.Value)), percent(n.Costliest.Value, a.Cycles.Budget))})
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
