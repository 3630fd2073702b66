package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

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
