package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"

	"elbowroom/cmd/elbowroom/page"
	"elbowroom/estimator"
	"elbowroom/estimator/lighten"
)

// plansShown is how many plans a report, the page or lighten shows of a graph that
// is over, where nobody says how many.
const plansShown = 3

type reportOptions struct {
	overrides
	output string
	format string
}

func (a *app) reportCommand() *cobra.Command {
	var opts reportOptions
	cmd := &cobra.Command{
		Use:   "report GRAPH -o FILE",
		Short: "Write the answer as one file to look at, print or send",
		Long: `Write what check and lighten find as one file: a block of time and the banks
drawn to scale, the graph by its wires, jacks, what is dear, what to beware of,
lighter plans where it is over, and the bands and sources of the figures. The
HTML stands alone: nothing is fetched, so that it can be mailed and printed. A
FILE that is there is replaced; - is standard output, where Markdown goes if no
FILE is named.`,
		Example: `  $ elbowroom report storm.yaml -o storm.html
  $ elbowroom report --format markdown storm.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return hinted{errors.New("report needs one graph file"), "write 'elbowroom report storm.yaml -o storm.html'"}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return a.runReport(cmd.Context(), opts, args[0]) },
	}
	opts.addFlags(cmd)
	cmd.Flags().StringVarP(&opts.output, "output", "o", "", "write into this `file`")
	cmd.Flags().StringVar(&opts.format, "format", "html", "write html or markdown")
	_ = cmd.RegisterFlagCompletionFunc("format", cobra.FixedCompletions([]string{"html", "markdown"}, cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

func (a *app) runReport(ctx context.Context, opts reportOptions, name string) error {
	switch {
	case opts.format != "html" && opts.format != "markdown":
		return hinted{fmt.Errorf("--format: there is no format '%s', only html, markdown", opts.format), ""}
	case opts.format == "html" && opts.output == "":
		return hinted{errors.New("report writes a file and needs its name"), "write '-o storm.html'"}
	case sameFile(opts.output, name):
		return hinted{fmt.Errorf("%s is the graph itself, and stays as it is", opts.output), "give the report another name"}
	}
	c, err := a.estimate(name, opts.overrides)
	if err != nil {
		return err
	}
	if c.estimate == nil {
		return c.errs.Err()
	}
	var b bytes.Buffer
	if opts.format == "markdown" {
		err = a.markdownReport(ctx, &b, c)
	} else {
		var s page.Subject
		if s, err = a.subject(ctx, c.name, c.estimate); err == nil {
			err = page.Report(&b, s)
		}
	}
	if err != nil {
		return err
	}
	if opts.output == "" || opts.output == standardInput {
		return a.answered(func(w io.Writer) error {
			_, err := w.Write(b.Bytes())
			return err
		})
	}
	if err := writeFile(opts.output, b.Bytes(), 0o644); err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "wrote %s: %s.\n", printable(opts.output), printable(sentence(c.name, c.estimate)))
	return err
}

// subject is an estimate as the pictures show it.
func (a *app) subject(ctx context.Context, name string, e *estimator.Estimate) (page.Subject, error) {
	s := page.Subject{File: name, Estimate: e, Sentence: sentence(name, e), Worth: worth(e), Made: time.Now(), Version: version()}
	if e.Verdict != estimator.Over {
		return s, nil
	}
	l, err := a.lighterPlans(ctx, name, e)
	if err != nil {
		return s, err
	}
	s.Advice = *advice(l)
	return s, nil
}

// lighterPlans looks for the plans of a graph that is over.
func (a *app) lighterPlans(ctx context.Context, name string, e *estimator.Estimate) (*Lighter, error) {
	found, err := lighten.Find(ctx, e, lighten.Options{Plans: plansShown, Progress: a.progress()})
	if err != nil {
		return nil, fmt.Errorf("%s: looking for lighter plans: %w", name, err)
	}
	return lighter(name, e, found), nil
}

// markdownReport writes what check prints, with the plans and what a report adds.
func (a *app) markdownReport(ctx context.Context, w io.Writer, c *checked) error {
	told := answer(c.name, c.estimate, nil)
	var plans document
	if c.estimate.Verdict == estimator.Over {
		l, err := a.lighterPlans(ctx, c.name, c.estimate)
		if err != nil {
			return err
		}
		for i := range l.Plans {
			plans = append(plans, planSections(&l.Plans[i])...)
		}
		plans = append(plans, section{text: l.proof()})
	}
	d := document{{title: c.name, text: told.Sentence + ".", tone: told.Verdict}}
	d = append(d, details(&told, plans)...)
	d = append(d, section{text: fmt.Sprintf("Made %s with Elbowroom %s.", time.Now().Format("2 January 2006, 15:04"), version())})
	a.format = asMarkdown
	return d.markdown(w)
}

// version names the build of the program.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "of unknown version"
	}
	return info.Main.Version
}
