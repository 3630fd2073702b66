package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// summary is one row for each of several files.
func summary(r *Report) section {
	t := &table{align: "lll", header: []string{"file", "verdict", "decides"}}
	for i := range r.Graphs {
		t.add(r.Graphs[i].File, r.Graphs[i].Verdict, r.Graphs[i].Decides)
	}
	return section{title: counted(len(r.Graphs), "file"), table: t}
}

// mostShown is how many of the dearest nodes, or of the swaps, are shown.
const mostShown = 8

// details are the sections below the verdict, with those on what is lighter.
func details(a *Answer, lighter document) document {
	d := document{resourceSection(a)}
	d = append(d, byteSections(a)...)
	d = append(d, largeSections(a)...)
	d = append(d, cycleSection(a))
	d = append(d, causeSections(a)...)
	if len(a.Cycles.Scenes) > 0 {
		d = append(d, sceneSection(a))
	}
	if a.Latency != nil {
		d = append(d, latencySection(a.Latency))
	}
	d = append(d, dearSections(a)...)
	if items := cautionItems(a); len(items) > 0 {
		d = append(d, section{title: "Beware", items: items})
	}
	if items := restItems(a); len(items) > 0 {
		d = append(d, section{title: "To be sure", items: items})
	}
	if items := noteItems(a); len(items) > 0 {
		d = append(d, section{title: "Notes in the file", items: items})
	}
	d = append(d, lighter...)
	return append(d, section{text: a.Worth})
}

func resourceSection(a *Answer) section {
	t := &table{align: "lrrrrrl", header: []string{"resource", "used", "at most", "limit", "left", "share", "verdict"}}
	for i := range a.Resources {
		r := &a.Resources[i]
		used, most, limit := whole(up(r.Used.Value)), whole(up(r.Used.High)), whole(down(r.Limit))
		left := whole(down(r.Limit) - up(r.Used.Value))
		name := r.Name
		switch r.Unit {
		case "bytes":
			used, most = blocks.Bytes(r.Used.Value).Up(), blocks.Bytes(r.Used.High).Up()
			limit, left = blocks.Bytes(r.Limit).Down(), blocks.Bytes(r.Left).Down()
		case "cycles":
			name += " cycles"
		}
		if r.Used.exact() {
			most = ""
		}
		t.add(name, used, most, limit, left, percent(r.Used.Value, r.Limit), r.Verdict)
	}
	title := fmt.Sprintf("%s at %v, blocks of %d samples", a.Board, blocks.Hertz(a.SampleRate), a.BlockSize)
	if a.copied {
		title += ", code copied to " + a.RunsFrom
	}
	return section{title: title, table: t}
}

// mostBanks is how many banks stand beside each other in 80 columns.
const mostBanks = 5

// byteSections tell to the byte what every bank that is used is used for.
func byteSections(a *Answer) document {
	var d document
	var used []*Resource
	for i := range a.Resources {
		if len(a.Resources[i].Parts) > 0 {
			used = append(used, &a.Resources[i])
		}
	}
	for banks := range slices.Chunk(used, mostBanks) {
		t := &table{align: "l", header: []string{"bytes"}, footer: []string{"used"}}
		bytes := make([]map[string]int64, len(banks))
		for i, bank := range banks {
			t.align += "r"
			t.header = append(t.header, bank.Name)
			t.footer = append(t.footer, whole(bank.Used.Value))
			bytes[i] = map[string]int64{}
			for _, p := range bank.Parts {
				bytes[i][p.Name] = p.Bytes
			}
		}
		for _, part := range estimator.Parts() {
			row, some := []string{part.String()}, false
			for i := range banks {
				text := ""
				if b := bytes[i][part.String()]; b > 0 {
					text, some = whole(float64(b)), true
				}
				row = append(row, text)
			}
			if some {
				t.add(row...)
			}
		}
		d = append(d, section{title: "What the bytes are", table: t})
	}
	return d
}

func cycleSection(a *Answer) section {
	c := a.Cycles
	t := &table{align: "lrrrrl", header: []string{"cycles", "mean", "worst", "bound", "share", "worst lies in"}}
	loads := []*Load{&c.Mean, &c.Worst, &c.Bound}
	columns, sums, shares := make([][]string, len(loads)), make([]string, len(loads)), make([]string, len(loads))
	for i, l := range loads {
		columns[i], sums[i] = adding(0, l.Compute.Value, l.Stalls.Value, l.System.Value)
		shares[i] = percent(l.Total.Value, c.Budget)
	}
	w := &c.Worst
	for i, part := range []struct {
		name string
		load LoadPart
	}{{"compute", w.Compute}, {"stalls", w.Stalls}, {"system", w.System}} {
		t.add(part.name+", "+part.load.Basis, columns[0][i], columns[1][i], columns[2][i], percent(part.load.Value, c.Budget), between(part.load.Figure))
	}
	t.footer = []string{"all", sums[0], sums[1], sums[2], shares[1], between(w.Total)}
	return section{
		title: "One block of time: in the mean, at the reachable worst, all at once",
		table: t,
		after: fmt.Sprintf("Of %s there are taken %s in the mean, %s at the reachable worst (%s to %s) and %s if all came at once.",
			blocks.Cycles(down(c.Budget)), shares[0], shares[1], percent(w.Total.Low, c.Budget), percent(w.Total.High, c.Budget), shares[2]),
	}
}

// between tells the edges of a figure.
func between(f Figure) string {
	if f.exact() {
		return "exact"
	}
	return whole(down(f.Low)) + ".." + whole(up(f.High))
}

func sceneSection(a *Answer) section {
	c := a.Cycles
	t := &table{align: "lrrrl", header: []string{"scene", "mean", "worst", "share", "worst lies in"}}
	for i := range c.Scenes {
		s := &c.Scenes[i]
		t.add(s.Name, whole(s.Mean.Total.Value), whole(s.Worst.Total.Value), percent(s.Worst.Total.Value, c.Budget), between(s.Worst.Total))
	}
	return section{title: "Cycles of a block, by scene", table: t, after: "The worst scene is " + c.WorstScene + "."}
}

func latencySection(l *Latency) section {
	t := &table{align: "lrr", header: []string{"latency", "samples", "ms"}}
	ms := make([]float64, len(l.Parts))
	for i, p := range l.Parts {
		ms[i] = p.Seconds * 1000
	}
	printed, sum := adding(2, ms...)
	for i, p := range l.Parts {
		t.add(p.What, number(p.Samples), printed[i])
	}
	t.footer = []string{"all", number(l.Samples), sum}
	return section{title: fmt.Sprintf("From %s to %s", l.From, l.To), table: t}
}

func dearSections(a *Answer) document {
	var d document
	takes := func(n *Node) float64 { return n.Costliest.Value }
	if top, others, rest := dearest(a.Nodes, mostShown, takes); len(top) > 0 {
		t := &table{align: "llrrr", header: []string{"dear in cycles", "block", "worst", "stalls", "of the budget"}}
		for _, n := range top {
			t.add(named(n), n.Block, whole(n.computes()), whole(n.waits()), percent(takes(n), a.Cycles.Budget))
		}
		s := section{table: t}
		if others > 0 {
			s.after = fmt.Sprintf("%s more take %s cycles together.", counted(others, "node"), whole(rest))
		}
		d = append(d, s)
	}
	if top, others, rest := dearest(a.Nodes, mostShown, func(n *Node) float64 { return float64(n.Bytes) }); len(top) > 0 {
		t := &table{align: "llrl", header: []string{"dear in memory", "block", "bytes", "buffers lie in"}}
		for _, n := range top {
			t.add(named(n), n.Block, whole(float64(n.Bytes)), lies(n))
		}
		s := section{table: t}
		if others > 0 {
			s.after = fmt.Sprintf("%s more take %s bytes together.", counted(others, "node"), whole(rest))
		}
		d = append(d, s)
	}
	return append(d, dearTables(a)...)
}

// dearTables are the constants that take much of flash: recordings, above all.
func dearTables(a *Answer) document {
	const much = 0.01 // of all flash; house judgement
	var flash float64
	for _, r := range a.Resources {
		if r.Kind == "flash" {
			flash += r.Limit
		}
	}
	var large []Table
	readers := map[string][]string{}
	for i := range a.Nodes {
		for _, t := range a.Nodes[i].Tables {
			if float64(t.Bytes) < much*flash {
				continue
			}
			if readers[t.Name] == nil {
				large = append(large, t)
			}
			readers[t.Name] = append(readers[t.Name], a.Nodes[i].Name)
		}
	}
	if len(large) == 0 {
		return nil
	}
	slices.SortStableFunc(large, func(a, b Table) int { return cmp.Compare(b.Bytes, a.Bytes) })
	t := &table{align: "lrl", header: []string{"dear in flash", "bytes", "read by"}}
	for _, l := range large[:min(len(large), mostShown)] {
		t.add(l.Name, whole(float64(l.Bytes)), firstFew(readers[l.Name], 32))
	}
	return document{{table: t}}
}

// computes is what the node computes in its costliest block, in cycles, and waits what
// it waits in it.
func (n *Node) computes() float64 {
	if n.Due == nil {
		return n.Worst.Value
	}
	return n.Worst.Value + n.Due.Value
}

func (n *Node) waits() float64 {
	if n.Waits == nil {
		return n.Stalls.Value
	}
	return n.Stalls.Value + n.Waits.Value
}

// named is a node's name, with its copies where there are several.
func named(n *Node) string {
	if n.Copies == 1 {
		return n.Name
	}
	return fmt.Sprintf("%s x %d", n.Name, n.Copies)
}

// lies names the banks that a node's buffers lie in.
func lies(n *Node) string {
	text := ""
	for i, share := range n.Lies {
		if i > 0 {
			text += ", "
		}
		text += share.Bank
	}
	return text
}

func cautionItems(a *Answer) []string {
	var items []string
	for _, c := range a.Cautions {
		text := c.Text
		if c.Place != "" {
			text = c.Place + ": " + text
		}
		items = append(items, text)
	}
	return items
}

func restItems(a *Answer) []string {
	var items []string
	for i := range a.Resources {
		if rests := a.Resources[i].Rests; rests != "" {
			items = append(items, rests)
		}
	}
	return items
}

func noteItems(a *Answer) []string {
	var items []string
	for i := range a.Nodes {
		if a.Nodes[i].Note != "" {
			items = append(items, a.Nodes[i].Name+": "+a.Nodes[i].Note)
		}
	}
	return items
}

// swapSections tell the single swaps that help a graph that is over.
func swapSections(a *Answer) document {
	if a.verdict != estimator.Over {
		return nil
	}
	if len(a.Swaps) == 0 {
		return document{{text: "No single swap that was tried helps; 'elbowroom lighten' tries several together, and larger boards are in 'elbowroom boards'."}}
	}
	return swapTable(a.Swaps)
}

// swapTable shows the best of some swaps.
func swapTable(swaps []Swap) document {
	t := &table{align: "rllrrrrl", header: []string{"", "node", "write", "memory", "flash", "cycles", "loss", "then"}}
	heard := section{numbered: true}
	for i := range swaps[:min(len(swaps), mostShown)] {
		w := &swaps[i]
		lines := settings(w.Change, 28)
		t.add(strconv.Itoa(i+1), w.Node, lines[0], saved(float64(w.Memory)), saved(float64(w.Flash)), saved(w.Cycles), points(w.Loss), w.Verdict)
		for _, more := range lines[1:] {
			t.add("", "", more, "", "", "", "", "")
		}
		heard.items = append(heard.items, fmt.Sprintf("%s: %s%s", w.Node, w.Heard, told(w.Effects)))
	}
	heard.after = "Loss is in points, times the importance of the node: 1 is noticed only side by side, 10 is plainly heard, 100 is a function gone."
	if more := len(swaps) - mostShown; more > 0 {
		heard.after += fmt.Sprintf(" There are %s more, which '--format json' has.", counted(more, "swap"))
	}
	return document{{title: "Single swaps that help, most relief for the least loss first", table: t}, heard}
}

// saved is an amount that a swap saves, as what it takes from the total.
func saved(v float64) string {
	switch {
	case v > 0:
		return "-" + whole(v)
	case v < 0:
		return "+" + whole(-v)
	}
	return "0"
}

// told are the metrics that a change makes worse, before and after.
func told(effects []Effect) string {
	text := ""
	for _, e := range effects {
		if e.Points > 0 {
			text += fmt.Sprintf("; %s %s, before %s", e.Title, strings.TrimSpace(number(e.After)+" "+e.Unit), number(e.Before))
			if e.Needed > 0 {
				text += ", wanted " + number(e.Needed)
			}
			text += fmt.Sprintf(" (%s points)", points(e.Points))
		}
	}
	return text
}

// points prints points of loss to three significant figures.
func points(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

// number prints to four significant figures.
func number(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
