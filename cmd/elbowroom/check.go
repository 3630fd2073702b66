package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// checkOptions are the flags of check.
type checkOptions struct {
	overrides
	strict  bool
	quiet   bool
	explain string // a node or a bank
	says    string // a file with what the linker printed
}

// overrides are flags that replace what the graph file says.
type overrides struct{ board, sampleRate, blockSize override }

// override is a flag's text; unlike an empty one, none replaces nothing.
type override struct {
	what  string
	text  string
	given bool
}

func (o *override) String() string { return o.text }

// Type is the word that help shows for the value.
func (o *override) Type() string { return o.what }

// Set takes the text as it is: what it means is for the estimator to read.
func (o *override) Set(text string) error {
	o.text, o.given = text, true
	return nil
}

func (o *overrides) addFlags(cmd *cobra.Command) {
	o.board.what, o.sampleRate.what, o.blockSize.what = "board", "rate", "samples"
	f := cmd.Flags()
	f.Var(&o.board, "board", "take this board, chip or board file instead of the graph's")
	f.Var(&o.sampleRate, "sample-rate", "take this sample rate (44.1 kHz) instead of the graph's")
	f.Var(&o.blockSize, "block-size", "take blocks of so many samples instead of the graph's")
	_ = cmd.RegisterFlagCompletionFunc("board", completeBoards)
}

// options are the estimator's; mistakes in them go to errs.
func (o *overrides) options(errs *source.Errors) estimator.Options {
	flag := func(name string, o override) source.Value {
		if !o.given {
			return source.Value{}
		}
		return source.FromText(name, o.text, errs)
	}
	return estimator.Options{
		Board: flag("--board", o.board), SampleRate: flag("--sample-rate", o.sampleRate), BlockSize: flag("--block-size", o.blockSize),
	}
}

func (a *app) checkCommand() *cobra.Command {
	var opts checkOptions
	cmd := &cobra.Command{
		Use:   "check GRAPH...",
		Short: "Tell whether graphs fit their boards",
		Long: `Tell whether each graph fits its board: every bank, the flash, the cycles of the
worst block and the jacks; what is dear; what to beware of; and for a graph that
is over the single swaps that help. GRAPH is a file, or - for standard input.

--linker-says takes what the linker printed of a program that did not fit: how
much is missing in which bank, what is largest there, and the least to give up.
'regions: {REGION: BANK}' in the graph tells which bank a region of yours is.

Exit status: 0 fits or tight, 1 over, 2 wrong input, 3 unsure; of several files
the worst: 2, then 1, then 3. With --strict tight and unsure are 1.`,
		Example: `  $ elbowroom check --block-size 16 storm.yaml
  $ elbowroom check --explain echo storm.yaml
  $ elbowroom check --strict --format json shows/*.yaml
  $ make 2>&1 | elbowroom check storm.yaml --linker-says -`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) == 0:
				return hinted{errors.New("check needs a graph file"), "'elbowroom new storm.yaml' writes one to start from"}
			case opts.says != "" && len(args) > 1:
				return hinted{errors.New("--linker-says is about the program of one graph"), "name that graph alone"}
			case opts.says == standardInput && args[0] == standardInput:
				return hinted{errors.New("the graph and the linker's words cannot both come from standard input"), "name a file for one of them"}
			}
			return nil
		},
	}
	watch := watchFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.answer(cmd, *watch, args, func(w io.Writer) error { return a.runCheck(cmd.Context(), w, opts, args) })
	}
	opts.addFlags(cmd)
	cmd.Flags().BoolVar(&opts.strict, "strict", false, "exit with 1 where a graph is tight or unsure")
	cmd.Flags().BoolVarP(&opts.quiet, "quiet", "q", false, "print only the verdict in a sentence")
	cmd.Flags().StringVar(&opts.explain, "explain", "", "tell all of this node or bank in place of the whole graph")
	cmd.Flags().StringVar(&opts.says, "linker-says", "", "tell what to change for what the linker printed into this file, or - for standard input")
	cmd.MarkFlagsMutuallyExclusive("explain", "quiet", "linker-says")
	cmd.MarkFlagsMutuallyExclusive("linker-says", "watch")
	a.formatFlag(cmd)
	return cmd
}

func (a *app) runCheck(ctx context.Context, w io.Writer, opts checkOptions, names []string) error {
	report := Report{Version: reportVersion, Graphs: []Answer{}}
	for _, name := range names {
		answer, err := a.check(ctx, name, opts)
		if err != nil {
			return err
		}
		report.Graphs = append(report.Graphs, answer)
		report.Exit = worse(report.Exit, exitOf(&answer, opts.strict))
	}
	a.exit = report.Exit
	switch a.format {
	case asJSON:
		return printJSON(w, report)
	case asCSV:
		return reportCSV(w, &report)
	}
	return a.printReport(w, &report, opts.quiet)
}

// printReport writes the answers for people. Files that could not be read were
// complained of, and stand only in the summary.
func (a *app) printReport(w io.Writer, r *Report, quiet bool) error {
	var d document
	for i := range r.Graphs {
		answer := &r.Graphs[i]
		if answer.Verdict == wrongInput {
			continue
		}
		d = append(d, section{text: answer.Sentence + ".", tone: answer.Verdict, joined: quiet})
		switch {
		case len(answer.Linker) > 0:
			d = append(d, linkerSections(answer.Linker)...)
		case answer.Explained != nil:
			d = append(d, explained(answer)...)
		case !quiet:
			d = append(d, details(answer, swapSections(answer))...)
		}
	}
	if len(r.Graphs) > 1 && !quiet {
		d = append(d, summary(r))
	}
	return a.printDocument(w, d)
}

// check answers for one file. What is wrong with it is told at once, so that
// the other files are answered all the same.
func (a *app) check(ctx context.Context, name string, opts checkOptions) (Answer, error) {
	c, err := a.estimate(name, opts.overrides)
	if err != nil {
		a.complain(err)
		if name == standardInput {
			name = standardInputName
		}
		return unreadable(name, err), nil
	}
	if c.estimate == nil {
		a.complain(c.errs.Err())
		return wrongAnswer(c.name, &c.errs), nil
	}
	if opts.explain != "" {
		x, err := explain(c.name, c.estimate, opts.explain)
		if err != nil {
			a.complain(err)
			return unreadable(name, err), nil
		}
		told := answer(c.name, c.estimate, nil)
		told.Explained = x
		return told, nil
	}
	if opts.says != "" {
		said, err := a.linkerSays(ctx, opts.says, c)
		if err != nil {
			a.complain(err)
			return unreadable(name, err), nil
		}
		told := answer(c.name, c.estimate, nil)
		told.Linker = said
		return told, nil
	}
	var swaps []estimator.Swap
	if c.estimate.Verdict == estimator.Over {
		if swaps, err = c.estimate.Swaps(); err != nil {
			return Answer{}, fmt.Errorf("%s: looking for lighter stand-ins: %w", c.name, err)
		}
	}
	return answer(c.name, c.estimate, swaps), nil
}

// exitOf is the exit status that one answer asks for.
func exitOf(a *Answer, strict bool) int {
	switch {
	case a.Verdict == wrongInput:
		return exitWrong
	case a.verdict == estimator.Over, len(a.Linker) > 0, strict && a.verdict != estimator.Fits:
		return exitOver
	case a.verdict == estimator.Unsure:
		return exitUnsure
	}
	return exitFits
}

// worse is the worse of two exit statuses.
func worse(a, b int) int {
	badness := []int{exitFits, exitUnsure, exitOver, exitWrong}
	return badness[max(slices.Index(badness, a), slices.Index(badness, b))]
}

// printDocument writes text for people, for a terminal or as Markdown.
func (a *app) printDocument(w io.Writer, d document) error {
	if a.format == asMarkdown {
		return d.markdown(w)
	}
	return d.print(w, newPainter(a.stdout))
}

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
	return section{
		title: fmt.Sprintf("%s at %v, blocks of %d samples", a.Board, blocks.Hertz(a.SampleRate), a.BlockSize),
		table: t,
	}
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
	takes := func(n *Node) float64 { return n.Worst.Value + n.Stalls.Value }
	if top, others, rest := dearest(a.Nodes, mostShown, takes); len(top) > 0 {
		t := &table{align: "llrrr", header: []string{"dear in cycles", "block", "worst", "stalls", "of the budget"}}
		for _, n := range top {
			t.add(named(n), n.Block, whole(n.Worst.Value), whole(n.Stalls.Value), percent(takes(n), a.Cycles.Budget))
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
	return d
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
