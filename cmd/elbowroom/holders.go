package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
	"elbowroom/estimator/lighten"
)

// HoldersReport is which boards hold a graph. Every format prints from it.
type HoldersReport struct {
	Version  int         `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	File     string      `json:"file"`
	Board    string      `json:"board" jsonschema:"that the graph names"`
	Sentence string      `json:"sentence"`
	Boards   []Candidate `json:"boards" jsonschema:"those that hold the graph first, the most headroom first"`
}

// Candidate is a board that the graph was tried on.
type Candidate struct {
	Board   string    `json:"board"`
	Core    string    `json:"core,omitempty"`
	Clock   float64   `json:"clock,omitempty" jsonschema:"hertz"`
	Verdict string    `json:"verdict" jsonschema:"fits, tight, unsure, over, or refused where the graph cannot be read for the board"`
	Scarce  string    `json:"scarcest,omitempty" jsonschema:"memory (all banks for data together), flash, or a bank that does not fit"`
	Share   float64   `json:"scarcest_share,omitempty" jsonschema:"of it that is taken at most"`
	Left    int64     `json:"scarcest_left,omitempty" jsonschema:"bytes of it that are left at least"`
	Load    float64   `json:"load,omitempty" jsonschema:"share of the cycles that the worst block takes at most"`
	Against []Against `json:"against,omitempty" jsonschema:"what rules the board out or leaves it unsure, the farthest first"`
	Refusal string    `json:"refusal,omitempty"`
	Without []string  `json:"without,omitempty" jsonschema:"of a graph that is refused: its keys that name banks which the board has not; figures are those of the graph without them"`
	Freed   string    `json:"verdict_without,omitempty" jsonschema:"of the graph without them"`
	Cost    *Cost     `json:"cost,omitempty" jsonschema:"with --plans, what must be given up so that the board holds the graph; left out where it holds it or refuses it"`
}

// Cost is the least that must be given up so that a board holds a graph.
type Cost struct {
	Found   bool         `json:"found" jsonschema:"whether there is a plan; then loss and changes tell it"`
	Loss    float64      `json:"loss,omitempty" jsonschema:"points: 1 is noticed only in comparison, 10 plainly heard, 100 a function gone"`
	Changes []PlanChange `json:"changes,omitempty"`
	Proven  bool         `json:"proven" jsonschema:"whether no plan of what was tried loses less, or none fits"`
}

// Against is a resource that rules a board out, or leaves it unsure.
type Against struct {
	Resource string  `json:"resource"`
	Kind     string  `json:"kind" jsonschema:"memory, flash, cpu or jack"`
	Verdict  string  `json:"verdict" jsonschema:"unsure or over"`
	Used     float64 `json:"used"`
	Limit    float64 `json:"limit"`
	Share    float64 `json:"share,omitempty" jsonschema:"of the limit that is taken at most; left out where the limit is nothing"`
	Rests    string  `json:"rests,omitempty" jsonschema:"the unconfirmed default that decides, with the line to write in a board file"`

	kind estimator.ResourceKind
}

// costSteps bounds the planner on each board: what it finds by then is told,
// and whether it is proven. 'lighten --board' goes on for longer.
const costSteps = 200_000

// boardsFor tells which boards hold a graph.
func (a *app) boardsFor(ctx context.Context, w io.Writer, opts boardsOptions) error {
	c, err := a.estimate(opts.graph, overrides{})
	if err != nil {
		return err
	}
	if c.estimate == nil {
		return c.errs.Err()
	}
	list := ask.Candidates(c.estimate, c.lib.BoardNames())
	r := holdersReport(c.name, c.estimate, list)
	if opts.plans {
		progress := a.progress()
		for i := range list {
			if r.Boards[i].Cost, err = cost(ctx, &list[i], progress); err != nil {
				return err
			}
		}
	}
	return a.tell(w, r, r.rows(), r.document())
}

// cost is what must be given up on a board; nil where it holds the graph or
// refuses it.
func cost(ctx context.Context, c *ask.Candidate, progress func(string)) (*Cost, error) {
	if c.Refusal != "" || c.Verdict <= estimator.Tight {
		return nil, nil
	}
	o := lighten.Options{Steps: costSteps}
	if progress != nil {
		o.Progress = func(doing string) { progress(c.Board + ": " + doing) }
	}
	found, err := lighten.Find(ctx, c.After, o)
	if err != nil {
		return nil, err
	}
	out := &Cost{Found: len(found.Plans) > 0, Proven: found.Proven}
	if out.Found {
		p := planOf("", c.After, &found.Plans[0], 1)
		out.Loss, out.Changes = p.Loss, p.Changes
	}
	return out, nil
}

func holdersReport(file string, e *estimator.Estimate, list []ask.Candidate) *HoldersReport {
	r := &HoldersReport{Version: reportVersion, File: file, Board: e.Graph.Board.Name, Boards: []Candidate{}}
	for _, c := range list {
		out := Candidate{Board: c.Board, Core: c.Core, Clock: float64(c.Clock), Verdict: c.Verdict.String(), Load: c.Load,
			Scarce: c.Memory.Name, Share: c.Memory.Share, Left: int64(c.Memory.Left), Refusal: c.Refusal, Without: c.Without}
		if c.Refusal != "" {
			out.Verdict = stoppedByRefusal
		}
		if len(c.Without) > 0 {
			out.Freed = c.Verdict.String()
		}
		for _, res := range c.Against {
			out.Against = append(out.Against, against(&res))
		}
		r.Boards = append(r.Boards, out)
	}
	held := 0
	for _, c := range r.Boards {
		if c.holds() {
			held++
		}
	}
	r.Sentence = fmt.Sprintf("none of %s holds %s as it is", counted(len(list), "board"), file)
	if held > 0 {
		first := &r.Boards[0]
		r.Sentence = fmt.Sprintf("of %s %d hold %s; the most headroom has %s, which keeps %s of %s and %s of the cycles free",
			counted(len(list), "board"), held, file, first.Board, blocks.Bytes(first.Left).Down(), first.Scarce, blocks.Percent(1-first.Load))
	}
	return r
}

func against(r *estimator.Resource) Against {
	a := Against{r.Name, kindNames[r.Kind].kind, r.Verdict.String(), r.Used.Value, r.Limit, 0, r.Rests, r.Kind}
	if r.Limit > 0 {
		a.Share = r.Share()
	}
	return a
}

// holds tells whether the graph fits the board or is tight on it.
func (c *Candidate) holds() bool {
	return c.Verdict == estimator.Fits.String() || c.Verdict == estimator.Tight.String()
}

func (r *HoldersReport) rows() *table {
	t := &table{header: []string{"file", "board", "core", "clock", "verdict", "scarcest", "scarcest_share", "scarcest_left", "load", "against", "refusal", "without", "verdict_without", "plan", "loss", "proven"}}
	for _, c := range r.Boards {
		var against []string
		for _, a := range c.Against {
			against = append(against, a.Resource)
		}
		row := []string{r.File, c.Board, c.Core, plain(c.Clock), c.Verdict, c.Scarce, plain(c.Share), fmt.Sprint(c.Left), plain(c.Load), strings.Join(against, " "), c.Refusal, strings.Join(c.Without, " "), c.Freed}
		switch {
		case c.Cost == nil:
			row = append(row, "", "", "")
		case !c.Cost.Found:
			row = append(row, "", "", strconv.FormatBool(c.Cost.Proven))
		default:
			row = append(row, c.Cost.changes(), plain(c.Cost.Loss), strconv.FormatBool(c.Cost.Proven))
		}
		t.add(row...)
	}
	return t
}

// document is the answer for people.
func (r *HoldersReport) document() document {
	d := document{{text: capital(r.Sentence)}}
	holding := &table{align: "lrllrr", header: []string{"board", "clock", "verdict", "scarcest", "left of it", "worst block"}}
	freed := &table{align: "lrlrl", header: []string{"board", "clock", "verdict", "worst block", "without"}}
	others := &table{align: "lll", header: []string{"board", "verdict", "because of"}}
	var free, out []*Candidate
	for i := range r.Boards {
		switch c := &r.Boards[i]; {
		case c.holds():
			holding.add(c.Board, blocks.Hertz(c.Clock).String(), c.Verdict, c.Scarce+" "+blocks.Percent(c.Share),
				blocks.Bytes(c.Left).Down(), blocks.Percent(c.Load))
		case c.Freed == estimator.Fits.String() || c.Freed == estimator.Tight.String():
			free = append(free, c)
		default:
			out = append(out, c)
		}
	}
	for _, c := range free {
		freed.add(c.Board, blocks.Hertz(c.Clock).String(), c.Freed, blocks.Percent(c.Load), shorten(strings.Join(c.Without, ", "), width-34-longest(free)))
	}
	for _, c := range out {
		others.add(c.Board, c.Verdict, shorten(c.because(), width-12-longest(out)))
	}
	if len(holding.rows) > 0 {
		d = append(d, section{title: "Boards that hold it, the most headroom first", table: holding,
			after: "Shares are at most, at the upper edge of each band; jacks are not in them. Memory is all banks for data together."})
	}
	if len(freed.rows) > 0 {
		d = append(d, section{title: "Boards that would hold it if it named no bank that they have not", table: freed,
			after: "Take these keys out of the file: buffers and code then lie where there is room."})
	}
	if len(others.rows) > 0 {
		d = append(d, section{title: "What rules out the others, the nearest first", table: others})
	}
	if costs := r.costs(); len(costs.rows) > 0 {
		d = append(d, section{title: "The least that must be given up on the others", table: costs,
			after: "Points: 1 is noticed only in comparison, 10 plainly heard, 100 a function gone. 'elbowroom lighten --board NAME' tells what is heard, and more plans."})
	}
	return d
}

// longest is the length of the longest name.
func longest(list []*Candidate) int {
	most := 0
	for _, c := range list {
		most = max(most, len(c.Board))
	}
	return most
}

// costs are what must be given up on the boards that do not hold the graph, the
// least first.
func (r *HoldersReport) costs() *table {
	t := &table{align: "lrl", header: []string{"board", "points", "give up"}}
	list := slices.DeleteFunc(slices.Clone(r.Boards), func(c Candidate) bool { return c.Cost == nil })
	slices.SortStableFunc(list, func(a, b Candidate) int {
		switch {
		case a.Cost.Found && b.Cost.Found:
			return cmp.Compare(a.Cost.Loss, b.Cost.Loss)
		case a.Cost.Found:
			return -1
		case b.Cost.Found:
			return 1
		}
		return 0
	})
	for _, c := range list {
		name, loss, text := c.Board, "", "nothing that may be given up makes it fit"
		switch {
		case c.Cost.Found:
			loss, text = points(c.Cost.Loss), c.Cost.changes()
			if !c.Cost.Proven {
				loss = "≤ " + loss
			}
		case c.guessed():
			text = "nothing helps, but a plain default alone rules it out: a board file of your own decides"
		case !c.Cost.Proven:
			text = "no plan was found, and not all were tried"
		}
		for _, line := range wrap(text, width-32) {
			t.add(name, loss, line)
			name, loss = "", ""
		}
	}
	return t
}

// guessed tells whether all that stands against a board rests on its plain
// defaults.
func (c *Candidate) guessed() bool {
	return !slices.ContainsFunc(c.Against, func(a Against) bool { return a.Rests == "" })
}

// changes are what a plan writes, in one line.
func (c *Cost) changes() string {
	var words []string
	for _, change := range c.Changes {
		words = append(words, strings.TrimPrefix(change.Node+": "+change.Write, ": "))
	}
	return strings.Join(words, "; ")
}

// because tells what rules a board out, the farthest first; last why it was
// refused.
func (c *Candidate) because() string {
	var words []string
	for _, a := range withBanksTogether(c.Against) {
		switch a.kind {
		case estimator.JackResource:
			words = append(words, fmt.Sprintf("%s %s of %s", jacks(a.Resource), amount(a.kind, a.Used), amount(a.kind, a.Limit)))
		default:
			share := percent(a.Used, a.Limit)
			if a.Used <= a.Limit {
				share = "up to " + blocks.Percent(a.Share)
			}
			words = append(words, a.Resource+" "+share)
		}
	}
	if c.Refusal != "" {
		words = append(words, strings.TrimPrefix(c.Refusal, c.Board+" "))
	}
	return strings.Join(words, ", ")
}

// withBanksTogether has one resource in the place of several banks: which of them
// holds what finds no room is of less weight than how much all of them lack, and
// a small bank would be told as full many times over.
func withBanksTogether(list []Against) []Against {
	var banks []string
	var sum Against
	for _, a := range list {
		if a.kind == estimator.MemoryResource {
			banks = append(banks, a.Resource)
			sum.Share += a.Share * a.Limit
			sum.Used, sum.Limit, sum.kind = sum.Used+a.Used, sum.Limit+a.Limit, a.kind
		}
	}
	if len(banks) < 2 {
		return list
	}
	sum.Share /= sum.Limit
	sum.Resource = strings.Join(banks, " and ")
	if len(banks) > 2 {
		sum.Resource = counted(len(banks), "bank")
	}
	sum.Resource += " together"
	rest := slices.DeleteFunc(slices.Clone(list), func(a Against) bool { return a.kind == estimator.MemoryResource })
	at := slices.IndexFunc(rest, func(a Against) bool { return a.Share < sum.Share })
	if at < 0 {
		at = len(rest)
	}
	return slices.Insert(rest, at, sum)
}

// shorten cuts a text to a width, between words.
func shorten(text string, width int) string {
	lines := wrap(text, width-2)
	if len(lines) == 1 {
		return text
	}
	return strings.TrimRight(lines[0], ",;") + " …"
}

// check refuses what cannot stand together.
func (o *boardsOptions) check(args []string) error {
	given := slices.DeleteFunc([]string{"--chip " + o.chip, "--for " + o.graph}, func(s string) bool { return strings.HasSuffix(s, " ") })
	switch {
	case o.plans && o.graph == "":
		return hinted{errors.New("--plans asks about a graph, and none is named"), "write '--for GRAPH --plans'"}
	case len(args) == 1 && len(given) > 0:
		return hinted{errors.New(strings.Fields(given[0])[0] + " lists boards, and a board is named already"), "leave one of them out"}
	case len(given) > 1:
		return hinted{errors.New("--chip and --for both choose boards"), "leave one of them out"}
	}
	return nil
}
