package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
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
}

// Against is a resource that rules a board out, or leaves it unsure.
type Against struct {
	Resource string  `json:"resource"`
	Kind     string  `json:"kind" jsonschema:"memory, flash, cpu or jack"`
	Verdict  string  `json:"verdict" jsonschema:"unsure or over"`
	Used     float64 `json:"used"`
	Limit    float64 `json:"limit"`

	kind estimator.ResourceKind
}

// boardsFor tells which boards hold a graph.
func (a *app) boardsFor(w io.Writer, name string) error {
	c, err := a.estimate(name, overrides{})
	if err != nil {
		return err
	}
	if c.estimate == nil {
		return c.errs.Err()
	}
	r := holdersReport(c.name, c.estimate, ask.Candidates(c.estimate, c.lib.BoardNames()))
	return a.tell(w, r, r.rows(), r.document())
}

func holdersReport(file string, e *estimator.Estimate, list []ask.Candidate) *HoldersReport {
	r := &HoldersReport{Version: reportVersion, File: file, Board: e.Graph.Board.Name, Boards: []Candidate{}}
	for _, c := range list {
		out := Candidate{Board: c.Board, Core: c.Core, Clock: float64(c.Clock), Verdict: c.Verdict.String(), Load: c.Load,
			Scarce: c.Memory.Name, Share: c.Memory.Share, Left: int64(c.Memory.Left), Refusal: c.Refusal}
		if c.Refusal != "" {
			out.Verdict = stoppedByRefusal
		}
		for _, res := range c.Against {
			out.Against = append(out.Against, Against{res.Name, kindNames[res.Kind].kind, res.Verdict.String(), res.Used.Value, res.Limit, res.Kind})
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

// holds tells whether the graph fits the board or is tight on it.
func (c *Candidate) holds() bool {
	return c.Verdict == estimator.Fits.String() || c.Verdict == estimator.Tight.String()
}

func (r *HoldersReport) rows() *table {
	t := &table{header: []string{"file", "board", "core", "clock", "verdict", "scarcest", "scarcest_share", "scarcest_left", "load", "against", "refusal"}}
	for _, c := range r.Boards {
		var against []string
		for _, a := range c.Against {
			against = append(against, a.Resource)
		}
		t.add(r.File, c.Board, c.Core, plain(c.Clock), c.Verdict, c.Scarce, plain(c.Share), fmt.Sprint(c.Left), plain(c.Load), strings.Join(against, " "), c.Refusal)
	}
	return t
}

// document is the answer for people.
func (r *HoldersReport) document() document {
	d := document{{text: capital(r.Sentence)}}
	holding := &table{align: "lrllrr", header: []string{"board", "clock", "verdict", "scarcest", "left of it", "worst block"}}
	others := &table{align: "lll", header: []string{"board", "verdict", "because of"}}
	for i := range r.Boards {
		c := &r.Boards[i]
		if c.holds() {
			holding.add(c.Board, blocks.Hertz(c.Clock).String(), c.Verdict, c.Scarce+" "+blocks.Percent(c.Share),
				blocks.Bytes(c.Left).Down(), blocks.Percent(c.Load))
			continue
		}
		others.add(c.Board, c.Verdict, shorten(c.because(), width-len(c.Board)-14))
	}
	if len(holding.rows) > 0 {
		d = append(d, section{title: "Boards that hold it, the most headroom first", table: holding,
			after: "Shares are at most, at the upper edge of each band; jacks are not in them. Memory is all banks for data together."})
	}
	if len(others.rows) > 0 {
		d = append(d, section{title: "What rules out the others, the nearest first", table: others})
	}
	return d
}

// because tells what rules a board out, the farthest first.
func (c *Candidate) because() string {
	if c.Refusal != "" {
		return c.Refusal
	}
	var words []string
	for _, a := range c.Against {
		switch a.kind {
		case estimator.JackResource:
			words = append(words, fmt.Sprintf("%s %s of %s", jacks(a.Resource), amount(a.kind, a.Used), amount(a.kind, a.Limit)))
		default:
			words = append(words, fmt.Sprintf("%s %s", a.Resource, percent(a.Used, a.Limit)))
		}
	}
	return strings.Join(words, ", ")
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
	case len(args) == 1 && len(given) > 0:
		return hinted{errors.New(strings.Fields(given[0])[0] + " lists boards, and a board is named already"), "leave one of them out"}
	case len(given) > 1:
		return hinted{errors.New("--chip and --for both choose boards"), "leave one of them out"}
	}
	return nil
}
