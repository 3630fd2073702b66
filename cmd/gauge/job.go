package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// job is one run or check of some blocks on some cores.
type job struct {
	stdout, stderr io.Writer
	cores          []string
	folder         string
	force          bool

	project project
	kernels []*kernel
}

// open finds the project, the tools and the kernels, and goes on.
func (j *job) open(names []string, next func() error) error {
	root, err := findRoot()
	if err != nil {
		return err
	}
	j.project.root = root
	if j.folder == "" {
		j.folder = filepath.Join(root, "catalog", "emulated")
	}
	if len(j.cores) == 0 {
		for _, c := range cores {
			j.cores = append(j.cores, c.name)
		}
	}
	for _, name := range j.cores {
		if _, ok := findCore(name); !ok {
			return fmt.Errorf("the core '%s' is not one that is emulated", name)
		}
	}
	if j.project.tools, err = toolVersions(); err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "gauge")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	if j.project.plugin, err = buildPlugin(folder); err != nil {
		return err
	}
	list, err := library(names)
	if err != nil {
		return err
	}
	for _, b := range list {
		if len(b.Parts) > 0 {
			continue // priced by its parts
		}
		k, err := openKernel(j.project.kernels(), b)
		if errors.Is(err, fs.ErrNotExist) && len(names) == 0 {
			fmt.Fprintf(j.stderr, "%s: no kernel yet\n", b.Name)
			continue
		}
		if err != nil {
			return err
		}
		j.kernels = append(j.kernels, k)
	}
	return next()
}

// result is one block on one core, done.
type result struct {
	kernel    *kernel
	core      *core
	emulation *blocks.Emulation
	err       error
}

// task is one variant of a block on one core.
type task struct {
	kernel  *kernel
	core    *core
	index   int
	variant variant
}

// measureAll times every variant on every core, with as many at once as there
// are processors, and hands over each block and core when it is complete.
func (j *job) measureAll(wanted func(k *kernel, c *core) (bool, error), done func(r result)) error {
	type gathering struct {
		result
		left int
	}
	var tasks []task
	open := map[string]*gathering{}
	for _, name := range j.cores {
		c, _ := findCore(name)
		for _, k := range j.kernels {
			want, err := wanted(k, c)
			if err != nil {
				return err
			}
			if !want {
				continue
			}
			made, err := j.project.digest(k, c)
			if err != nil {
				return err
			}
			list := k.variants()
			open[name+"/"+k.block.Name] = &gathering{result{k, c, &blocks.Emulation{Block: k.block.Name, Core: name, Made: made,
				Tools: j.project.tools, Variants: make([]blocks.EmulatedVariant, len(list))}, nil}, len(list)}
			for i, v := range list {
				tasks = append(tasks, task{k, c, i, v})
			}
		}
	}
	queue := make(chan task)
	var mu sync.Mutex
	var workers sync.WaitGroup
	began, finished := time.Now(), 0
	for range runtime.NumCPU() {
		workers.Go(func() {
			for t := range queue {
				v, err := measure(t.kernel, t.variant, t.core, j.project.plugin)
				mu.Lock()
				g := open[t.core.name+"/"+t.kernel.block.Name]
				finished++
				g.left--
				switch {
				case err != nil:
					g.err = errors.Join(g.err, fmt.Errorf("%s%s on %s: %w", t.kernel.block.Name, t.variant, t.core.name, err))
				default:
					g.emulation.Variants[t.index] = *v
				}
				fmt.Fprintf(j.stderr, "%4d of %d, %5.0f s: %s%s on %s\n", finished, len(tasks), time.Since(began).Seconds(), t.kernel.block.Name, t.variant, t.core.name)
				if g.left == 0 {
					done(g.result)
				}
				mu.Unlock()
			}
		})
	}
	for _, t := range tasks {
		queue <- t
	}
	close(queue)
	workers.Wait()
	return nil
}

// String names what is special to a variant.
func (v variant) String() string {
	var words []string
	for _, name := range sorted(v.choices) {
		words = append(words, v.choices[name])
	}
	if v.moved != "" {
		words = append(words, v.moved+" moved by audio")
	}
	if words == nil {
		return ""
	}
	return " (" + strings.Join(words, ", ") + ")"
}

// run times what is not current and writes it.
func (j *job) run() error {
	var failed []error
	err := j.measureAll(func(k *kernel, c *core) (bool, error) {
		if j.force {
			return true, nil
		}
		made, err := j.project.digest(k, c)
		if err != nil {
			return false, err
		}
		kept, err := catalog.LoadEmulation(os.DirFS(j.folder), c.name, k.block)
		return err != nil || kept.Made != made, nil
	}, func(r result) {
		if r.err == nil {
			r.err = save(j.folder, r.emulation)
		}
		if r.err != nil {
			fmt.Fprintf(j.stderr, "%v\n", r.err)
			failed = append(failed, r.err)
			return
		}
		fmt.Fprintf(j.stdout, "%s on %s: %s\n", r.kernel.block.Name, r.core.name, quip(r.emulation))
	})
	if err != nil {
		return err
	}
	if len(failed) > 0 {
		return fmt.Errorf("%d of the kernels could not be timed", len(failed))
	}
	return nil
}

// quip says how well the terms of a result fit.
func quip(e *blocks.Emulation) string {
	var medians, worst []float64
	for _, v := range e.Variants {
		for _, s := range v.Styles {
			for _, f := range s.Fits {
				if f.HeldOut > 0 {
					medians, worst = append(medians, f.HeldOutMedian), append(worst, f.HeldOutWorst)
				}
			}
		}
	}
	median, _ := middleAndWorst(medians)
	_, most := middleAndWorst(worst)
	return fmt.Sprintf("%d variants, points kept out of the fit differ by %.2f %% in the median and %.1f %% at worst", len(e.Variants), 100*median, 100*most)
}

// sampleEvery is which part of the results a check without --all runs again.
const sampleEvery = 12

// otherTools is how far figures may differ where the tools are of other
// versions, in parts of the figure.
const otherTools = 0.02

// check times results again and compares.
func (j *job) check(all bool) error {
	n := 0
	var differing []string
	compared := 0
	err := j.measureAll(func(k *kernel, c *core) (bool, error) {
		n++
		return all || (n-1)%sampleEvery == 0, nil
	}, func(r result) {
		compared++
		name := fmt.Sprintf("%s on %s", r.kernel.block.Name, r.core.name)
		if r.err != nil {
			differing = append(differing, r.err.Error())
			return
		}
		if problem := j.compare(r); problem != "" {
			differing = append(differing, name+": "+problem)
		}
	})
	if err != nil {
		return err
	}
	slices.Sort(differing)
	for _, d := range differing {
		fmt.Fprintf(j.stdout, "%s\n", d)
	}
	if len(differing) > 0 {
		return fmt.Errorf("%d of %d results differ from %s", len(differing), compared, j.folder)
	}
	fmt.Fprintf(j.stdout, "%d results are as in %s\n", compared, j.folder)
	return nil
}

// compare tells how a result differs from what is kept, or "".
func (j *job) compare(r result) string {
	kept, err := os.ReadFile(file(j.folder, r.core.name, r.kernel.block.Name))
	if err != nil {
		return err.Error()
	}
	text, err := encode(r.emulation)
	if err != nil {
		return err.Error()
	}
	if bytes.Equal(kept, text) {
		return ""
	}
	before, err := catalog.LoadEmulation(os.DirFS(j.folder), r.core.name, r.kernel.block)
	if err != nil {
		return err.Error()
	}
	other := otherVersions(before.Tools, r.emulation.Tools)
	if other == "" {
		return firstDifference(kept, text)
	}
	fmt.Fprintf(j.stderr, "%s on %s: made with other versions (%s), so compared within %g %%\n", r.kernel.block.Name, r.core.name, other, 100*otherTools)
	return differs(before, r.emulation, r.kernel)
}

func otherVersions(a, b map[string]string) string {
	var list []string
	for _, name := range sorted(b) {
		if a[name] != b[name] {
			list = append(list, fmt.Sprintf("%s %s, here %s", name, a[name], b[name]))
		}
	}
	return strings.Join(list, "; ")
}

// firstDifference shows the first line in which two texts differ.
func firstDifference(kept, text []byte) string {
	a, b := strings.Split(string(kept), "\n"), strings.Split(string(text), "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("line %d is '%s' and was '%s'", i+1, strings.TrimSpace(b[i]), strings.TrimSpace(a[i]))
		}
	}
	return fmt.Sprintf("there are %d lines in place of %d", len(b), len(a))
}

// differs compares code and cycles of two results within otherTools: the
// cycles at the block's defaults, since other code may loop in other terms.
func differs(before, now *blocks.Emulation, k *kernel) string {
	if len(before.Variants) != len(now.Variants) {
		return fmt.Sprintf("there are %d variants in place of %d", len(now.Variants), len(before.Variants))
	}
	variants := k.variants()
	for v := range now.Variants {
		if len(before.Variants[v].Styles) != len(now.Variants[v].Styles) {
			return "there are other styles"
		}
		p := point{channels: 1, blockSize: 48, settings: [][]blocks.Setting{k.defaults(variants[v])}}
		for s := range now.Variants[v].Styles {
			a, b := &before.Variants[v].Styles[s], &now.Variants[v].Styles[s]
			for _, pair := range []struct {
				what    string
				was, is float64
			}{
				{"bytes of code", sum(a.Functions) + sum(a.Updates), sum(b.Functions) + sum(b.Updates)},
				{"cycles a block", cyclesAt(a, &p, k), cyclesAt(b, &p, k)},
			} {
				if math.Abs(pair.is-pair.was) > otherTools*pair.was {
					return fmt.Sprintf("%s of variant %d, style %d are %g and were %g", pair.what, v+1, s+1, pair.is, pair.was)
				}
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
