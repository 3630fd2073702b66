package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"elbowroom/blocks"
)

func (a *app) printLighter(w io.Writer, l *Lighter) error {
	a.exit = l.Exit
	switch a.format {
	case asJSON:
		return printJSON(w, l)
	case asCSV:
		return lighterCSV(w, l)
	}
	if l.Verdict == wrongInput {
		return nil // it was complained of
	}
	d := document{{text: l.Sentence + ".", tone: l.Verdict}}
	if l.Diff != "" {
		return a.printDocument(w, append(d, applied(l)...))
	}
	if len(l.Rests) > 0 {
		d = append(d, section{title: "To be sure", items: l.Rests})
	}
	if len(l.Hops) > 0 {
		d = append(d, section{text: l.coincidence()})
	}
	for i := range l.Plans {
		d = append(d, planSections(&l.Plans[i])...)
	}
	if l.Miss != nil {
		d = append(d, missSections(l.Miss)...)
	}
	d = append(d, section{text: l.proof()})
	if l.Trade != nil {
		d = append(d, tradeSections(l.Trade)...)
	}
	if len(l.Swaps) > 0 {
		d = append(d, swapTable(l.Swaps)...)
	}
	return a.printDocument(w, d)
}

// coincidence says which work meets in the worst block, and what would part it.
func (l *Lighter) coincidence() string {
	var each []string
	for _, h := range l.Hops {
		each = append(each, fmt.Sprintf("%s, %s", h.Node, blocks.Cycles(up(h.Cycles))))
	}
	text := fmt.Sprintf("It would fit if work that falls due now and then did not meet in one block. There it takes more than in the mean: %s.", strings.Join(each, "; "))
	if l.Relief != "" {
		text += " To part it, " + l.Relief + "."
	}
	return text
}

// proof says what is known of better plans.
func (l *Lighter) proof() string {
	tried := fmt.Sprintf("%s for single nodes were tried", counted(l.Tried, "alternative"))
	switch {
	case len(l.Plans) > 0 && len(l.Plans[0].Changes) == 0:
		return "Nothing needs to be given up."
	case len(l.Plans) > 0 && l.Proven:
		return fmt.Sprintf("%s, and no plan made of them loses less than plan 1.", tried)
	case len(l.Plans) > 0:
		return fmt.Sprintf("%s; a plan made of them may lose less than plan 1, but not less than %s points.", tried, points(l.Bound))
	case l.Proven:
		return fmt.Sprintf("Nothing that may be given up makes it fit: %s, and no plan made of them does.", tried)
	}
	return fmt.Sprintf("No plan was found: %s, and not all that can be made of them.", tried)
}

func planSections(p *Plan) document {
	if len(p.Changes) == 0 {
		return nil
	}
	title := fmt.Sprintf("Plan %d: %s lost; memory %s, flash %s, worst block %s", p.Number, pointsOf(p.Loss),
		savedBytes(p.Memory), savedBytes(p.Flash), blocks.Percent(p.Load))
	return changeSections(title, p)
}

// changeSections tell what a plan changes, what is heard, and what comes of it.
func changeSections(title string, p *Plan) document {
	t := &table{align: "llr", header: []string{"node", "write", "loss"}}
	heard := section{joined: false, after: p.Sentence + "."}
	for i := range p.Changes {
		c := &p.Changes[i]
		node := c.Node
		if node == "" {
			node = wholeGraph
		}
		lines := settings(c.Write, 50)
		t.add(node, lines[0], points(c.Loss))
		for _, more := range lines[1:] {
			t.add("", more, "")
		}
		heard.items = append(heard.items, fmt.Sprintf("%s: %s%s", node, c.Heard, told(c.Effects)))
	}
	return document{{title: title, table: t}, heard}
}

// missSections tell how near a graph comes that nothing makes fit.
func missSections(m *Miss) document {
	var d document
	if len(m.Plan.Changes) > 0 {
		d = changeSections("What comes nearest", &m.Plan)
	} else {
		d = document{{text: "As it stands it comes nearest."}}
	}
	over := section{title: "What is then still beyond its limit"}
	for _, o := range m.Over {
		over.items = append(over.items, fmt.Sprintf("%s: %s too much", o.Resource, inUnit(o.Unit, up(o.Much))))
	}
	d = append(d, over)
	if len(m.Shifts) > 0 {
		t := &table{align: "lrr", header: []string{"limit", "now", "at least"}}
		for _, s := range m.Shifts {
			t.add(s.Resource, inUnit(s.Unit, down(s.Now)), inUnit(s.Unit, up(s.Least)))
		}
		return append(d, section{title: "Each of these limits alone would be enough", table: t})
	}
	if m.Never {
		d = append(d, section{text: "No limit alone would be enough, however far it moved."})
	}
	return d
}

// inUnit is an amount in the unit of a resource.
func inUnit(unit string, v float64) string {
	switch unit {
	case "bytes":
		return blocks.Bytes(v).Up()
	case "cycles":
		return whole(v) + " cycles"
	}
	return whole(v)
}

// tradeSections are the curves of what must be lost for less.
func tradeSections(t *Trade) document {
	curve := func(what string, plans []Plan, all bool) section {
		s := section{title: "What must be lost for " + what, table: &table{align: "rrrl", header: []string{"loss", "worst block", "memory", "write"}}}
		for i := range plans {
			p := &plans[i]
			for k, c := range p.Changes {
				loss, load, memory, node := "", "", "", c.Node
				if k == 0 {
					loss, load, memory = points(p.Loss), blocks.Percent(p.Load), savedBytes(p.Memory)
				}
				for n, line := range settings(c.Write, 34) {
					if n == 0 {
						line = node + ": " + line
					} else {
						loss, load, memory, line = "", "", "", "  "+line
					}
					s.table.add(loss, load, memory, line)
				}
			}
		}
		if !all {
			s.after = "There are further plans between these."
		}
		return s
	}
	return document{curve("less load", t.Load, t.AllLoad), curve("less memory", t.Memory, t.AllMemory)}
}

// savedBytes is an amount that a plan saves, as what it takes from the total.
func savedBytes(b int64) string {
	switch {
	case b > 0:
		return "-" + blocks.Bytes(b).Down()
	case b < 0:
		return "+" + blocks.Bytes(-b).Up()
	}
	return "as before"
}

func pointsOf(v float64) string {
	if v == 1 {
		return "1 point"
	}
	return points(v) + " points"
}

// lighterCSV writes one change of a plan a row, and then the single swaps.
func lighterCSV(w io.Writer, l *Lighter) error {
	out := csv.NewWriter(w)
	exact := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	rows := [][]string{{"file", "section", "number", "node", "write", "loss", "memory_saved", "flash_saved", "verdict", "text"}}
	rows = append(rows, []string{l.File, "verdict", "", "", "", "", "", "", l.Verdict, l.Sentence})
	for i := range l.Plans {
		p := &l.Plans[i]
		number := strconv.Itoa(p.Number)
		rows = append(rows, []string{l.File, "plan", number, "", "", exact(p.Loss), strconv.FormatInt(p.Memory, 10), strconv.FormatInt(p.Flash, 10), p.Verdict, p.Sentence})
		for _, c := range p.Changes {
			rows = append(rows, []string{l.File, "change", number, c.Node, c.Write, exact(c.Loss), "", "", "", c.Heard})
		}
	}
	for i := range l.Swaps {
		s := &l.Swaps[i]
		rows = append(rows, []string{l.File, "swap", strconv.Itoa(i + 1), s.Node, s.Change, exact(s.Loss), strconv.FormatInt(s.Memory, 10), strconv.FormatInt(s.Flash, 10), s.Verdict, s.Heard})
	}
	return out.WriteAll(rows)
}
