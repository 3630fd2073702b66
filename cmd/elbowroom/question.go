package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
)

// question runs what answers a question about one graph file, whose name is the
// first argument.
func (a *app) question(cmd *cobra.Command, opts *overrides, answer func(w io.Writer, c *checked) error) {
	opts.addFlags(cmd)
	watch := watchFlag(cmd)
	a.formatFlag(cmd)
	cmd.Args = func(_ *cobra.Command, args []string) error {
		switch len(args) {
		case 0:
			return hinted{fmt.Errorf("%s needs a graph file", cmd.Name()), "'elbowroom new storm.yaml' writes one to start from"}
		case 1:
			return nil
		}
		return hinted{fmt.Errorf("%s takes one graph file, and here are %d", cmd.Name(), len(args)), "ask for each on its own"}
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.answer(cmd, *watch, args, func(w io.Writer) error {
			c, err := a.estimate(args[0], *opts)
			if err != nil {
				return err
			}
			if c.estimate == nil {
				return c.errs.Err()
			}
			return answer(w, c)
		})
	}
}

// tell writes an answer in the format that was asked for: a value as JSON, a
// table as CSV, or a document for people.
func (a *app) tell(w io.Writer, value any, rows *table, d document) error {
	switch a.format {
	case asJSON:
		return printJSON(w, value)
	case asCSV:
		return rows.csv(w)
	}
	return a.printDocument(w, d)
}

// sideBySide adds columns to a table, as many as a terminal holds beside each
// other, and goes on in another below with those that are left.
func sideBySide(title string, fixed *table, headers []string, cells [][]string) document {
	const gap = 2
	length := func(s string) int { return len([]rune(s)) + gap }
	beside := 0
	for i, h := range fixed.header {
		widest := length(h)
		for _, row := range fixed.rows {
			widest = max(widest, length(row[i]))
		}
		beside += widest
	}
	var d document
	for from := 0; from < len(headers); {
		to, used := from, beside
		for to < len(headers) {
			widest := length(headers[to])
			for _, row := range cells {
				widest = max(widest, length(row[to]))
			}
			if used += widest; used > width && to > from {
				break
			}
			to++
		}
		t := &table{align: fixed.align + strings.Repeat("r", to-from), header: slices.Concat(fixed.header, headers[from:to])}
		for i, row := range fixed.rows {
			t.add(slices.Concat(row, cells[i][from:to])...)
		}
		d = append(d, section{title: title, table: t})
		from, title = to, ""
	}
	return d
}

// plain is a number for other programs, which have units in their headers.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
