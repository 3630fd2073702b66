package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"text/tabwriter"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// residual is how well the terms of one group of one style fit.
type residual struct {
	where string // core, block, variant, style
	fit   blocks.Fit
}

// mostWorst is how many of the worst fits are shown.
const mostWorst = 10

// residuals prints, from the kept results, by how much the terms differ from
// points that were kept out of the fits: by core, and the worst of all.
func residuals(out io.Writer, folder string, names []string) error {
	list, err := library(names)
	if err != nil {
		return err
	}
	table := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "core\tblocks\tfits\tpoints kept out\tmedian\t99 in 100 within\tworst")
	var all []residual
	for _, c := range cores {
		var here []residual
		blocks, points := 0, 0
		for _, b := range list {
			if len(b.Parts) > 0 {
				continue // priced by its parts
			}
			e, err := catalog.LoadEmulation(os.DirFS(folder), c.name, b)
			if errors.Is(err, fs.ErrNotExist) {
				continue // not timed yet
			}
			if err != nil {
				return err
			}
			blocks++
			for _, r := range fits(e) {
				points += r.fit.HeldOut
				here = append(here, r)
			}
		}
		if len(here) == 0 {
			continue
		}
		var medians, worst []float64
		for _, r := range here {
			medians, worst = append(medians, r.fit.HeldOutMedian), append(worst, r.fit.HeldOutWorst)
		}
		slices.Sort(worst)
		median, _ := middleAndWorst(medians)
		fmt.Fprintf(table, "%s\t%d\t%d\t%d\t%.2f %%\t%.1f %%\t%.1f %%\n", c.name, blocks, len(here), points, 100*median, 100*worst[len(worst)*99/100], 100*worst[len(worst)-1])
		all = append(all, here...)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	slices.SortStableFunc(all, func(a, b residual) int {
		switch d := b.fit.HeldOutWorst - a.fit.HeldOutWorst; {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
	fmt.Fprintln(out, "\nThe worst, points kept out:")
	for _, r := range all[:min(mostWorst, len(all))] {
		fmt.Fprintf(out, "%5.1f %%  %s\n", 100*r.fit.HeldOutWorst, r.where)
	}
	return nil
}

// fits are those of a result for which points were kept out.
func fits(e *blocks.Emulation) []residual {
	var list []residual
	for i := range e.Variants {
		v := &e.Variants[i]
		name := variant{choices: v.Choices, moved: v.Moved}
		for _, s := range v.Styles {
			calls := "a block"
			if s.OneSample {
				calls = "one sample"
			}
			for _, f := range s.Fits {
				if f.HeldOut > 0 {
					list = append(list, residual{fmt.Sprintf("%s%s on %s, %s, -%s, %s maths, %s a call, %s", e.Block, name, e.Core, s.Precision, s.Optimise, s.Maths, calls, f.Group), f})
				}
			}
		}
	}
	return list
}
