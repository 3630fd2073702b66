package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// remark stands beside every table of programs.
const remark = `Of each pair the first is the program's, the second by how much the estimate is off.
Bytes are from the program as linked for the board's memory map; flash is its code,
library and constants without the board's own rows. It runs where the emulated machine
has memory, so this says nothing of caches and other waits for memory, nor of other
people's code: it says that the parts add up, calls, inlining and the shared library
included. The costliest block hears the costliest stimulus of every kernel.`

var programHeader = []string{"graph", "core", "board", "data memory, bytes", "flash, bytes", "ordinary, cycles a block", "costliest, cycles a block", "stack, bytes"}

// printComparisons writes the table.
func printComparisons(out io.Writer, list []*comparison, opts programOptions) error {
	rows := [][]string{programHeader}
	var left []string
	for _, c := range list {
		rows = append(rows, c.row())
		if len(c.left) > 0 {
			left = append(left, fmt.Sprintf("%s leaves out %s, of which there is no kernel.", c.graph, strings.Join(c.left, ", ")))
		}
	}
	var err error
	if opts.format == "markdown" {
		err = printMarkdown(out, rows)
	} else {
		err = printColumns(out, rows)
	}
	if err != nil {
		return err
	}
	if opts.details {
		for _, c := range list {
			if err := c.printDetails(out); err != nil {
				return err
			}
		}
	}
	_, err = fmt.Fprintf(out, "\n%s\n", strings.Join(append(left, remark), "\n"))
	return err
}

func printMarkdown(out io.Writer, rows [][]string) error {
	for i, row := range rows {
		if _, err := fmt.Fprintf(out, "| %s |\n", strings.Join(row, " | ")); err != nil {
			return err
		}
		if i == 0 {
			if _, err := fmt.Fprintf(out, "|%s\n", strings.Repeat(" --- |", len(row))); err != nil {
				return err
			}
		}
	}
	return nil
}

func printColumns(out io.Writer, rows [][]string) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		if _, err := fmt.Fprintln(w, strings.Join(row, "\t")); err != nil {
			return err
		}
	}
	return w.Flush()
}

func (c *comparison) row() []string {
	var data []string
	for _, b := range c.data {
		text := fmt.Sprintf("%s %.0f", b.bank, b.truth)
		if b.estimate == b.truth {
			text += " (exact)"
		} else {
			text += fmt.Sprintf(" (%+.0f)", b.estimate-b.truth)
		}
		data = append(data, text)
	}
	flash := c.flash.String()
	if c.copied != (pair{}) {
		flash += ", of it copied " + c.copied.String()
	}
	return []string{c.graph, c.core, c.board, strings.Join(data, ", "), flash, c.ordinary.String(), c.costly.String(), fmt.Sprintf("%.0f of %.0f", c.stack.truth, c.stack.estimate)}
}

// printDetails tells the cycles kernel by kernel.
func (c *comparison) printDetails(out io.Writer) error {
	rows := [][]string{{"", "", ""}, {c.graph + " on " + c.core + ", " + strings.Join(c.basis, " and "), "ordinary", "costliest"}}
	for _, u := range c.units {
		rows = append(rows, []string{u.name, u.ordinary.String(), u.costly.String()})
	}
	return printColumns(out, rows)
}

// String tells the program's figure and by how much the estimate is off.
func (p pair) String() string { return fmt.Sprintf("%.0f (%+.1f %%)", p.truth, 100*p.off()) }
