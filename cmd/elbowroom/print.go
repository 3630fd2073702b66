package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/fatih/color"
	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"
	"golang.org/x/term"
)

// format is the shape of an answer. It is a flag value.
type format string

const (
	asTable    format = "table"
	asJSON     format = "json"
	asCSV      format = "csv"
	asMarkdown format = "markdown"
)

var formats = []string{string(asTable), string(asJSON), string(asCSV), string(asMarkdown)}

func (f *format) String() string { return string(*f) }

// Type is the word that help shows for the value.
func (f *format) Type() string { return strings.Join(formats, "|") }

// Set reads the flag's value.
func (f *format) Set(text string) error {
	if !slices.Contains(formats, text) {
		return fmt.Errorf("there is no format '%s', only %s", text, strings.Join(formats, ", "))
	}
	*f = format(text)
	return nil
}

// document is text for people, as a terminal or Markdown shows it.
type document []section

// section is a title, and below it text, a list, lines as they are, a table and a
// last remark, each of which may be missing.
type section struct {
	title string
	text  string
	tone  string // a verdict: the text is coloured as such
	items []string
	table *table
	after string
	// verbatim is lines that are shown as they are, a difference between two
	// texts.
	verbatim string

	numbered bool // the items, in place of dashes
	joined   bool // no empty line before it
}

// mark is what stands before an item of the list.
func (s *section) mark(item int) string {
	if s.numbered {
		return fmt.Sprintf("%d. ", item+1)
	}
	return "- "
}

// table is rows of cells; align has one letter for each column, l or r.
type table struct {
	align  string
	header []string
	rows   [][]string
	footer []string
}

func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

// width is what a terminal has at least.
const width = 80

// tones are the colours of the verdicts, told apart by their words as well.
var tones = map[string][]color.Attribute{
	"fits":     {color.FgGreen},
	"tight":    {color.FgYellow},
	"unsure":   {color.FgMagenta},
	"over":     {color.FgRed, color.Bold},
	wrongInput: {color.FgRed, color.Bold},
}

// wrongInput is the verdict on a file that cannot be read as a graph.
const wrongInput = "wrong input"

// painter colours text by a verdict; where colours is false it does nothing.
type painter struct{ terminal, colours bool }

// newPainter colours only a terminal, and none where NO_COLOR is set.
func newPainter(w io.Writer) painter {
	file, ok := w.(*os.File)
	terminal := ok && term.IsTerminal(int(file.Fd()))
	return painter{terminal, terminal && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"}
}

func (p painter) paint(verdict, text string) string {
	tone, ok := tones[verdict]
	if !ok || !p.colours {
		return text
	}
	c := color.New(tone...)
	c.EnableColor()
	return c.Sprint(text)
}

// write writes the document, each section as draw would have it. Two draw at a
// time, since tables take a good part of a small answer.
func (d document) write(w io.Writer, draw func(b *bytes.Buffer, s section) error) error {
	drawn, errs := make([]bytes.Buffer, len(d)), make([]error, len(d))
	var next atomic.Int64
	work := func() {
		for i := int(next.Add(1)) - 1; i < len(d); i = int(next.Add(1)) - 1 {
			errs[i] = draw(&drawn[i], d[i])
		}
	}
	var beside sync.WaitGroup
	beside.Go(work)
	work()
	beside.Wait()
	if err := errors.Join(errs...); err != nil {
		return err
	}
	var whole bytes.Buffer
	for i, s := range d {
		if i > 0 && !s.joined {
			whole.WriteByte('\n')
		}
		whole.Write(drawn[i].Bytes())
	}
	_, err := w.Write(whole.Bytes())
	return err
}

// print writes the document for a terminal.
func (d document) print(w io.Writer, p painter) error {
	return d.write(w, func(b *bytes.Buffer, s section) error {
		if s.title != "" {
			fmt.Fprintln(b, printable(s.title))
		}
		if s.text != "" {
			for _, line := range wrap(printable(s.text), width) {
				fmt.Fprintln(b, p.paint(s.tone, line))
			}
		}
		for i, item := range s.items {
			mark := s.mark(i)
			for _, line := range wrap(printable(item), width-4) {
				fmt.Fprintf(b, "%4s%s\n", mark, line)
				mark = ""
			}
		}
		for line := range strings.Lines(s.verbatim) {
			fmt.Fprintln(b, printable(strings.TrimRight(line, "\r\n")))
		}
		if s.table != nil {
			lines, err := s.table.lines(light(), func(text string) string { return p.paint(text, printable(text)) })
			if err != nil {
				return err
			}
			for _, line := range lines {
				fmt.Fprintln(b, strings.TrimRight(line, " "))
			}
		}
		if s.after != "" {
			for _, line := range wrap(printable(s.after), width-1) {
				fmt.Fprintln(b, " "+line)
			}
		}
		return nil
	})
}

// markdown writes the document as Markdown.
func (d document) markdown(w io.Writer) error {
	return d.write(w, func(b *bytes.Buffer, s section) error {
		if s.title != "" {
			fmt.Fprintf(b, "### %s\n\n", escaped(s.title))
		}
		if s.text != "" {
			fmt.Fprintln(b, escaped(s.text))
		}
		for i, item := range s.items {
			fmt.Fprintf(b, "%s%s\n", s.mark(i), escaped(item))
		}
		if s.verbatim != "" {
			fmt.Fprintf(b, "````diff\n")
			for line := range strings.Lines(s.verbatim) {
				fmt.Fprintln(b, printable(strings.TrimRight(line, "\r\n")))
			}
			fmt.Fprintf(b, "````\n")
		}
		if s.table != nil {
			lines, err := s.table.lines(tablewriter.WithRenderer(renderer.NewMarkdown()), escaped)
			if err != nil {
				return err
			}
			fmt.Fprintln(b, strings.Join(lines, "\n"))
		}
		if s.after != "" {
			fmt.Fprintf(b, "\n%s\n", escaped(s.after))
		}
		return nil
	})
}

// escaped is text in which Markdown finds no table, emphasis or tag.
func escaped(text string) string {
	return strings.NewReplacer("|", `\|`, "*", `\*`, "<", "&lt;", "`", "\\`").Replace(printable(text))
}

// light is two rules and no box.
func light() tablewriter.Option {
	return tablewriter.WithRendition(tw.Rendition{
		Borders: tw.BorderNone, Symbols: tw.NewSymbols(tw.StyleLight),
		Settings: tw.Settings{Separators: tw.Separators{BetweenColumns: tw.Off}},
	})
}

// lines renders a table; cell says how the text of a cell is shown.
func (t *table) lines(look tablewriter.Option, cell func(string) string) ([]string, error) {
	align := make([]tw.Align, len(t.align))
	for i := range align {
		align[i] = tw.AlignLeft
		if t.align[i] == 'r' {
			align[i] = tw.AlignRight
		}
	}
	columns := tw.CellAlignment{PerColumn: align}
	var text bytes.Buffer
	drawn := tablewriter.NewTable(&text, look,
		tablewriter.WithHeaderAutoFormat(tw.Off), // or headers come out in capitals
		tablewriter.WithFooterAutoFormat(tw.Off),
		tablewriter.WithRowAutoWrap(tw.WrapNone),
		tablewriter.WithHeaderAlignmentConfig(columns),
		tablewriter.WithRowAlignmentConfig(columns),
		tablewriter.WithFooterAlignmentConfig(columns),
	)
	cells := func(row []string) []string {
		shown := make([]string, len(row))
		for i, text := range row {
			shown[i] = cell(text)
		}
		return shown
	}
	drawn.Header(cells(t.header))
	for _, row := range t.rows {
		if err := drawn.Append(cells(row)); err != nil {
			return nil, err
		}
	}
	if t.footer != nil {
		drawn.Footer(cells(t.footer))
	}
	if err := drawn.Render(); err != nil {
		return nil, err
	}
	return strings.Split(strings.TrimSuffix(text.String(), "\n"), "\n"), nil
}

// csv writes the rows of a table as comma-separated values.
func (t *table) csv(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(t.header); err != nil {
		return err
	}
	return out.WriteAll(t.rows)
}

// answered runs what prints an answer and hands it on as a whole, so that what
// fails half way prints nothing.
func (a *app) answered(print func(io.Writer) error) error {
	var b bytes.Buffer
	if err := print(&b); err != nil {
		return err
	}
	if _, err := a.stdout.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing the answer: %w", reason(err))
	}
	return nil
}

// printJSON writes a value as indented JSON.
func printJSON(w io.Writer, v any) error {
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	out.SetIndent("", "  ")
	return out.Encode(v)
}
