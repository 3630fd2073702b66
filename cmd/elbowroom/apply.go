package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"

	"github.com/rogpeppe/go-internal/diff"

	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/lighten"
)

// apply writes a plan into the file that the graph was read from. What is
// written is read again first, and must give what the plan promised. The file
// is replaced whole, so that at any moment it is the old one or the new one.
func (a *app) apply(l *Lighter, file *source.File, name string, found *lighten.Result, opts lightenOptions) error {
	if opts.apply > len(found.Plans) {
		return hinted{fmt.Errorf("there is no plan %d to apply: there %s", opts.apply, areThere(len(found.Plans))), ""}
	}
	p := &found.Plans[opts.apply-1]
	if len(p.Changes) == 0 {
		return hinted{fmt.Errorf("%s needs no change, so nothing is written", file.Name), ""}
	}
	edited, err := file.Edit(p.After.Graph.Edits...)
	if err != nil {
		return err
	}
	again, err := a.estimateFile(edited, name, opts.overrides)
	if err != nil {
		return err
	}
	if again.estimate == nil {
		return again.errs.Err()
	}
	if !alikeEstimates(again.estimate, p.After) {
		return fmt.Errorf("%s would not give what plan %d promises, so nothing is written", file.Name, opts.apply)
	}
	l.Diff = string(diff.Diff(file.Name, []byte(file.Text()), file.Name+" with plan "+fmt.Sprint(opts.apply), []byte(edited.Text())))
	if opts.dryRun {
		return nil
	}
	if err := replace(name, file.Text(), edited.Text()); err != nil {
		return err
	}
	l.Applied = opts.apply
	return nil
}

func areThere(n int) string {
	if n == 0 {
		return "is none"
	}
	return "are " + fmt.Sprint(n)
}

// alikeEstimates tells whether two estimates say the same of every resource.
func alikeEstimates(e, f *estimator.Estimate) bool {
	for _, r := range e.Resources {
		if s := f.Resource(r.Name); s.Used != r.Used || s.Limit != r.Limit {
			return false
		}
	}
	return e.Verdict == f.Verdict && len(e.Resources) == len(f.Resources)
}

// replace puts a new text in the place of a file that still holds the old one.
func replace(name, before, after string) error {
	now, err := os.ReadFile(name)
	if err != nil {
		return fmt.Errorf("writing %s: %w", name, reason(err))
	}
	if !bytes.Equal(now, []byte(before)) {
		return hinted{fmt.Errorf("%s was changed since it was read, and stays as it is", name), "ask again"}
	}
	info, err := os.Stat(name)
	if err != nil {
		return fmt.Errorf("writing %s: %w", name, reason(err))
	}
	if !info.Mode().IsRegular() {
		return errors.New(name + " is no plain file, so nothing is written")
	}
	return writeFile(name, []byte(after), info.Mode().Perm())
}

// applied are the sections that show what was written.
func applied(l *Lighter) document {
	d := document{{verbatim: l.Diff}}
	for i := range l.Plans {
		if p := &l.Plans[i]; p.Number == l.Applied {
			return append(d, section{text: fmt.Sprintf("Wrote plan %d into %s: %s.", p.Number, l.File, p.Sentence), tone: p.Verdict})
		}
	}
	return append(d, section{text: "Nothing was written."})
}
