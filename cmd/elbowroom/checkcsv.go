package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
)

// csvHeader names the columns of check's CSV: one quantity a row.
var csvHeader = []string{"file", "section", "name", "item", "value", "low", "high", "unit", "text"}

// reportCSV writes every quantity of a report on a row of its own.
func reportCSV(w io.Writer, r *Report) error {
	out := csv.NewWriter(w)
	if err := out.Write(csvHeader); err != nil {
		return err
	}
	for i := range r.Graphs {
		if err := out.WriteAll(csvRows(&r.Graphs[i])); err != nil {
			return err
		}
	}
	return nil
}

func csvRows(a *Answer) [][]string {
	rows := [][]string{{a.File, "verdict", a.Decides, a.Verdict, "", "", "", "", a.Sentence}}
	exact := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	banded := func(section, name, item string, f Figure, unit, text string) {
		rows = append(rows, []string{a.File, section, name, item, exact(f.Value), exact(f.Low), exact(f.High), unit, text})
	}
	single := func(section, name, item string, v float64, unit, text string) {
		rows = append(rows, []string{a.File, section, name, item, exact(v), "", "", unit, text})
	}
	words := func(section, name, item, text string) {
		rows = append(rows, []string{a.File, section, name, item, "", "", "", "", text})
	}
	for _, m := range a.Mistakes {
		words("mistake", m.File, fmt.Sprintf("%d:%d", m.Line, m.Column), m.Message)
	}
	if a.Cycles == nil {
		return rows
	}
	for i := range a.Resources {
		r := &a.Resources[i]
		banded("resource", r.Name, "used", r.Used, r.Unit, r.Verdict)
		single("resource", r.Name, "limit", r.Limit, r.Unit, r.Rests)
		single("resource", r.Name, "left", r.Left, r.Unit, "")
		single("resource", r.Name, "reserve", r.Reserve, "ratio", "")
		for _, p := range r.Parts {
			single("part", r.Name, p.Name, float64(p.Bytes), "bytes", "")
		}
	}
	load := func(section, name string, l *Load) {
		banded(section, name, "compute", l.Compute.Figure, "cycles", l.Compute.Basis)
		banded(section, name, "stalls", l.Stalls.Figure, "cycles", l.Stalls.Basis)
		banded(section, name, "system", l.System.Figure, "cycles", l.System.Basis)
		banded(section, name, "total", l.Total, "cycles", "")
	}
	words("code", "runs from", "", a.RunsFrom)
	c := a.Cycles
	single("cycles", "budget", "", c.Budget, "cycles", "")
	load("cycles", "mean", &c.Mean)
	load("cycles", "worst", &c.Worst)
	load("cycles", "bound", &c.Bound)
	for i := range c.Scenes {
		load("scene mean", c.Scenes[i].Name, &c.Scenes[i].Mean)
		load("scene worst", c.Scenes[i].Name, &c.Scenes[i].Worst)
	}
	for _, cause := range c.Causes {
		single("cause", cause.Node, cause.Kind, cause.Cycles, "cycles", "worst over mean")
	}
	for _, cause := range c.Beyond {
		single("cause", cause.Node, cause.Kind, cause.Cycles, "cycles", "bound over worst")
	}
	if c.Relief != "" {
		words("relief", "", "", c.Relief)
	}
	for i := range a.Shelves {
		for _, item := range a.Shelves[i].Items {
			single("shelf", a.Shelves[i].Bank, item.Name, float64(item.Bytes), "bytes", fmt.Sprintf("%s at %d", item.Part, item.Offset))
		}
		single("shelf", a.Shelves[i].Bank, "free", float64(a.Shelves[i].Free), "bytes", "")
	}
	for i := range a.Large {
		placedRows(&a.Large[i], single)
	}
	if a.Explained != nil {
		a.Explained.rows(single, banded, words)
	}
	if l := a.Latency; l != nil {
		for _, p := range l.Parts {
			single("latency", p.What, "part", p.Samples, "samples", "")
		}
		single("latency", "all", "total", l.Samples, "samples", l.From+" to "+l.To)
	}
	for i := range a.Nodes {
		n := &a.Nodes[i]
		banded("node", n.Name, "mean", n.Mean, "cycles", n.Basis)
		banded("node", n.Name, "worst", n.Worst, "cycles", n.Basis)
		banded("node", n.Name, "stalls", n.Stalls, "cycles", a.Cycles.Mean.Stalls.Basis)
		if n.Due != nil {
			banded("node", n.Name, "due", *n.Due, "cycles", n.Basis)
			banded("node", n.Name, "due stalls", *n.Waits, "cycles", a.Cycles.Mean.Stalls.Basis)
		}
		banded("node", n.Name, "costliest", n.Costliest, "cycles", n.Basis)
		single("node", n.Name, "bytes", float64(n.Bytes), "bytes", lies(n))
	}
	for i := range a.Linker {
		s := &a.Linker[i]
		single("linker", s.Bank, s.Region, float64(s.Over), "bytes", s.Text)
		if s.Plan != nil {
			for _, c := range s.Plan.Changes {
				single("linker plan", s.Bank, c.Node, c.Loss, "points", c.Write)
			}
		}
	}
	for _, caution := range a.Cautions {
		words("caution", caution.Node, caution.Kind, caution.Text)
	}
	for i := range a.Swaps {
		s := &a.Swaps[i]
		single("swap", s.Node, "loss", s.Loss, "points", s.Change)
		single("swap", s.Node, "memory saved", float64(s.Memory), "bytes", s.Change)
		single("swap", s.Node, "flash saved", float64(s.Flash), "bytes", s.Change)
		single("swap", s.Node, "cycles saved", s.Cycles, "cycles", s.Change)
		for _, e := range s.Effects {
			single("swap", s.Node, e.Metric+" before", e.Before, e.Unit, s.Change)
			single("swap", s.Node, e.Metric+" after", e.After, e.Unit, s.Change)
		}
	}
	words("worth", "", "", a.Worth)
	return rows
}
