package main

import (
	"context"
	"fmt"
	"html/template"
	"strings"

	"elbowroom/blocks"
	"elbowroom/cmd/elbowroom/page"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
	"elbowroom/estimator/lighten"
)

// advice is what lighten found as the pictures show it: plans, then single
// swaps, then what comes nearest where nothing fits.
func advice(l *Lighter) *page.Advice {
	out := &page.Advice{Proof: l.proof()}
	number := 0
	group := func(title string, plans ...page.Plan) {
		if len(plans) == 0 {
			return
		}
		for i := range plans {
			number++
			plans[i].Number = number
		}
		out.Groups = append(out.Groups, page.Group{Title: title, Plans: plans})
	}
	var plans, swaps []page.Plan
	for i := range l.Plans {
		plans = append(plans, shownPlan(fmt.Sprintf("plan %d", i+1), &l.Plans[i]))
	}
	group("With each of these it fits", plans...)
	for i := range l.Swaps[:min(len(l.Swaps), mostShown)] {
		w := &l.Swaps[i]
		name := fmt.Sprintf("swap %d", i+1)
		swaps = append(swaps, page.Plan{
			Name: name,
			Title: fmt.Sprintf("%s: %s lost; memory %s, flash %s, worst block %s cycles", capitalised(name), pointsOf(w.Loss),
				savedBytes(w.Memory), savedBytes(w.Flash), saved(w.Cycles)),
			Changes: []page.Change{{Node: w.Node, Write: w.Change, Heard: w.Heard + told(w.Effects)}},
			Then:    "the verdict is " + w.Verdict,
		})
	}
	group("Single swaps that help, most relief for the least loss first", swaps...)
	if l.Miss != nil && len(l.Miss.Plan.Changes) > 0 {
		nearest := shownPlan("the nearest", &l.Miss.Plan)
		group("Nothing makes it fit; this comes nearest", nearest)
	}
	return out
}

func shownPlan(name string, p *Plan) page.Plan {
	shown := page.Plan{
		Name: name,
		Title: fmt.Sprintf("%s: %s lost; memory %s, flash %s, worst block %s", capitalised(name), pointsOf(p.Loss),
			savedBytes(p.Memory), savedBytes(p.Flash), blocks.Percent(p.Load)),
		Then: p.Sentence,
	}
	for _, c := range p.Changes {
		node := c.Node
		if node == "" {
			node = wholeGraph
		}
		shown.Changes = append(shown.Changes, page.Change{Node: node, Write: c.Write, Heard: c.Heard + told(c.Effects)})
	}
	return shown
}

func capitalised(words string) string { return strings.ToUpper(words[:1]) + words[1:] }

// tryable is an advice whose plans have their changes of the file.
func tryable(l *Lighter, e *estimator.Estimate, found *lighten.Result) *page.Advice {
	a := advice(l)
	var after []*estimator.Estimate
	for i := range found.Plans {
		after = append(after, found.Plans[i].After)
	}
	for i := range l.Swaps[:min(len(l.Swaps), mostShown)] {
		after = append(after, found.Singles[i].After)
	}
	if found.Miss != nil {
		after = append(after, found.Miss.Nearest.After)
	}
	for _, g := range a.Groups {
		for i := range g.Plans {
			p := &g.Plans[i]
			p.Edits = after[p.Number-1].Graph.Edits[len(e.Graph.Edits):]
		}
	}
	return a
}

// tables are a document as the page shows it.
func tables(d document) []page.Table {
	var list []page.Table
	for _, s := range d {
		t := page.Table{Title: s.title, Text: s.text, Items: s.items, After: s.after}
		if s.table != nil {
			cells := func(texts []string) []page.Cell {
				row := make([]page.Cell, len(texts))
				for i, text := range texts {
					row[i] = page.Cell{Text: text, Number: i < len(s.table.align) && s.table.align[i] == 'r'}
				}
				return row
			}
			t.Header = cells(s.table.header)
			for _, row := range s.table.rows {
				t.Rows = append(t.Rows, cells(row))
			}
		}
		list = append(list, t)
	}
	return list
}

// charts are the pictures of 'delays' and of 'sweep' over the size of the block.
// Delays are asked about in the place of a node that is one, or else beside all
// that is there. The error may be that of the context.
func charts(ctx context.Context, file string, e *estimator.Estimate, node string) ([]page.Chart, error) {
	o := delaysOptions{formats: []string{"float32", "int16"}, channels: []string{"1"}}
	if i := e.Graph.Node(node); i >= 0 && e.Graph.Nodes[i].Block().Name == ask.DelayLine {
		o.node = node
	}
	q, err := o.question(e.Graph, []string{""})
	if err != nil {
		return nil, err
	}
	answer, err := ask.Delays(ctx, e, q)
	if err != nil {
		return nil, err
	}
	var axes []ask.Axis
	for _, a := range ask.UsualAxes(e.Graph) {
		if a.Dial.Name == ask.BlockSize {
			axes = append(axes, a)
		}
	}
	sizes, err := ask.Run(ctx, e, axes...)
	if err != nil {
		return nil, err
	}
	var list []page.Chart
	for i, p := range []picture{delaysReport(file, q, answer).picture(), sweepReport(file, sizes).picture()} {
		var drawn strings.Builder
		if err := svg(&drawn, fmt.Sprintf("chart-%d-", i+1), p.title, p.sentence, p.charts); err != nil {
			return nil, err
		}
		list = append(list, page.Chart{Title: p.title, Sentence: p.sentence, Picture: template.HTML(drawn.String()), Tables: tables(p.tables)}) // the picture has escaped its words
	}
	return list, nil
}
