package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// BlockCost is what a block takes on a core at its defaults, in a block of samples.
type BlockCost struct {
	Core   string `json:"core"`
	Cycles Figure `json:"cycles" jsonschema:"mean of a block, work that falls due now and then within"`
	Memory int64  `json:"memory" jsonschema:"bytes of state and buffers"`
	Flash  Figure `json:"flash" jsonschema:"bytes of its own code"`
	Basis  string `json:"basis" jsonschema:"of the cycles"`
}

// blockOrders are what blocks are sorted by.
var blockOrders = []string{"cycles", "memory", "flash", "name"}

// compareBlocks tells what each block takes on a core at its defaults.
func (a *app) compareBlocks(w io.Writer, lib *blocks.Library, lines []BlockLine, opts blocksOptions) error {
	core, err := coreNamed(lib, opts.core)
	if err != nil {
		return err
	}
	for i := range lines {
		b, err := lib.Block(lines[i].Name)
		if err != nil {
			return err
		}
		d, err := b.DefaultUse(customaryRate, customaryBlock).Demand(core)
		if err != nil {
			return err
		}
		cost := BlockCost{Core: core.Name, Memory: int64(d.State), Basis: d.Basis.String()}
		mean := d.Mean
		for _, h := range d.Hops {
			mean = mean.Plus(h.Cycles.Times(customaryBlock / h.Every))
		}
		for _, buffer := range d.Buffers {
			cost.Memory += int64(buffer.Bytes)
		}
		var flash blocks.Figure
		for _, code := range d.Code {
			flash = flash.Plus(code.Bytes)
		}
		cost.Cycles, cost.Flash = figure(mean), figure(flash)
		lines[i].BlockCost = &cost
	}
	slices.SortStableFunc(lines, func(a, b BlockLine) int {
		switch opts.sort {
		case "cycles":
			return cmp.Compare(a.Cycles.Value, b.Cycles.Value)
		case "memory":
			return cmp.Compare(a.Memory, b.Memory)
		case "flash":
			return cmp.Compare(a.Flash.Value, b.Flash.Value)
		case "name":
			return cmp.Compare(a.Name, b.Name)
		}
		return 0
	})
	if a.format == asJSON {
		return printJSON(w, struct {
			Version int         `json:"version"`
			Blocks  []BlockLine `json:"blocks"`
		}{reportVersion, lines})
	}
	t := &table{align: "lrrrrl", header: []string{"block", "cycles", "at most", "memory", "flash", "basis"}}
	for _, l := range lines {
		t.add(l.Name, whole(l.Cycles.Value), whole(l.Cycles.High), blocks.Bytes(l.Memory).Up(), blocks.Bytes(up(l.Flash.Value)).Up(), l.Basis)
	}
	return a.printTable(w, t, fmt.Sprintf("%s at their defaults on %s, %v, a block of %d samples, one channel, no events: cycles in the mean, without waits for memory, library routines left out of flash.",
		counted(len(lines), "block"), core.Name, customaryRate, customaryBlock))
}

// noSuchRole tells which role was probably meant.
func noSuchRole(lib *blocks.Library, role string) error {
	var roles []string
	for _, name := range lib.BlockNames() {
		b, err := lib.Block(name)
		if err != nil {
			return err
		}
		roles = append(roles, b.Role)
	}
	hint := source.DidYouMean(role, roles)
	if hint == "" {
		hint = "'elbowroom blocks' lists blocks with their roles"
	}
	return hinted{fmt.Errorf("there is no role named '%s'", role), hint}
}
