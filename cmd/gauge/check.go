package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// sampleSize is how many kernels a check without --all times again, so that it
// takes a minute or two.
const sampleSize = 24

// otherTools is how far figures may differ where the tools are of other
// versions, in parts of the figure.
const otherTools = 0.02

// check looks whether every result is there and of the kernels as they are,
// times kernels again, all or evenly chosen ones, and compares.
func (j *job) check(all bool) error {
	tasks := j.tasks()
	kept := map[string]*blocks.Emulation{}
	key := func(t *task) string { return t.core.name + "/" + t.kernel.block.Name }
	var differing []string
	results := 0
	for _, t := range tasks {
		if t.index > 0 {
			continue
		}
		results++
		e, problem := j.current(&t)
		if problem != "" {
			differing = append(differing, fmt.Sprintf("%s on %s: %s", t.kernel.block.Name, t.core.name, problem))
		}
		kept[key(&t)] = e
	}
	if !all {
		tasks = evenly(tasks, sampleSize)
	}
	other := ""
	j.measureAll(tasks, func(t *task, now *blocks.EmulatedVariant, err error) {
		e := kept[key(t)]
		switch {
		case err != nil:
			differing = append(differing, err.Error())
		case e != nil && t.index < len(e.Variants):
			versions := otherVersions(e.Tools, j.project.tools)
			other = max(other, versions)
			if problem := compare(t, &e.Variants[t.index], now, versions == ""); problem != "" {
				differing = append(differing, fmt.Sprintf("%v: %s", t, problem))
			}
		}
	})
	if other != "" {
		fmt.Fprintf(j.stderr, "made with other versions (%s), so compared within %g %%\n", other, 100*otherTools)
	}
	slices.Sort(differing)
	for _, d := range differing {
		fmt.Fprintf(j.stdout, "%s\n", d)
	}
	if len(differing) > 0 {
		return fmt.Errorf("%d of %d kernels timed again, or of %d results, are not as in %s", len(differing), len(tasks), results, j.folder)
	}
	exactly := "byte for byte"
	if other != "" {
		exactly = fmt.Sprintf("within %g %%", 100*otherTools)
	}
	fmt.Fprintf(j.stdout, "%d results are there and current; %d kernels timed again are as they were, %s\n", results, len(tasks), exactly)
	return nil
}

// evenly chooses n of a list, in order.
func evenly(list []task, n int) []task {
	if len(list) <= n {
		return list
	}
	var some []task
	for i := range n {
		some = append(some, list[(2*i+1)*len(list)/(2*n)])
	}
	return some
}

// current reads the kept result of a task's block and tells what is wrong with
// it, or "".
func (j *job) current(t *task) (*blocks.Emulation, string) {
	e, err := catalog.LoadEmulation(os.DirFS(j.folder), t.core.name, t.kernel.block)
	if err != nil {
		return nil, err.Error()
	}
	// The digest by the versions it was made with: other ones are no fault.
	made, err := j.project.digest(t.kernel, t.core, e.Tools)
	if err != nil {
		return nil, err.Error()
	}
	if e.Made != made {
		return nil, "kernel, catalog entry or timing rules have changed since: run gauge run"
	}
	if n := len(t.kernel.variants()); len(e.Variants) != n {
		return nil, fmt.Sprintf("there are %d variants in place of %d", len(e.Variants), n)
	}
	return e, ""
}

// compare tells how a variant differs from what is kept, or "": byte for byte,
// or of code and cycles within otherTools.
func compare(t *task, before, now *blocks.EmulatedVariant, exactly bool) string {
	if !exactly {
		return differs(t, before, now)
	}
	kept, err := json.MarshalIndent(before, "", " ")
	if err != nil {
		return err.Error()
	}
	text, err := json.MarshalIndent(now, "", " ")
	if err != nil {
		return err.Error()
	}
	if bytes.Equal(kept, text) {
		return ""
	}
	a, b := strings.Split(string(kept), "\n"), strings.Split(string(text), "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("'%s' was '%s'", strings.TrimSpace(b[i]), strings.TrimSpace(a[i]))
		}
	}
	return fmt.Sprintf("there are %d lines in place of %d", len(b), len(a))
}

// otherVersions tells which versions differ, or "".
func otherVersions(was, is map[string]string) string {
	var list []string
	for _, name := range sorted(is) {
		if was[name] != is[name] {
			list = append(list, fmt.Sprintf("%s %s, here %s", name, was[name], is[name]))
		}
	}
	return strings.Join(list, "; ")
}

// differs compares code and cycles of a variant within otherTools: the cycles
// at the block's defaults, since other code may loop in other terms.
func differs(t *task, before, now *blocks.EmulatedVariant) string {
	if len(before.Styles) != len(now.Styles) {
		return "there are other styles"
	}
	p := point{channels: 1, blockSize: 48, settings: [][]blocks.Setting{t.kernel.defaults(t.variant)}}
	for s := range now.Styles {
		a, b := &before.Styles[s], &now.Styles[s]
		for _, pair := range []struct {
			what    string
			was, is float64
		}{
			{"bytes of code", sum(a.Functions), sum(b.Functions)},
			{"cycles a block", cyclesAt(a, &p, t.kernel), cyclesAt(b, &p, t.kernel)},
		} {
			if math.Abs(pair.is-pair.was) > otherTools*pair.was {
				return fmt.Sprintf("%s of style %d are %g and were %g", pair.what, s+1, pair.is, pair.was)
			}
		}
	}
	return ""
}

func sum(m map[string]blocks.Bytes) float64 {
	n := 0.0
	for _, bytes := range m {
		n += float64(bytes)
	}
	return n
}

// cyclesAt is what a style takes for one block at a point; formulas were
// checked when they were read.
func cyclesAt(s *blocks.EmulatedStyle, p *point, k *kernel) float64 {
	u := p.use(k.block, 0)
	cycles := 0.0
	for _, t := range s.Terms {
		f, err := k.block.CompileTimes(t.Times)
		if err != nil {
			continue
		}
		times, err := u.Value(f)
		if err != nil {
			continue
		}
		switch {
		case t.Group == "call":
			cycles += times * t.Cycles
		case t.Group == "sample":
			cycles += times * t.Cycles * float64(p.blockSize)
		}
	}
	return cycles
}
