package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime"
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
	if j.folder, err = emulatedFolder(j.folder); err != nil {
		return err
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

// task is one variant of a block on one core.
type task struct {
	kernel  *kernel
	core    *core
	index   int // of the variant
	variant variant
}

func (t *task) String() string {
	return fmt.Sprintf("%s%s on %s", t.kernel.block.Name, t.variant, t.core.name)
}

// tasks are all variants of the kernels on the cores, core by core.
func (j *job) tasks() []task {
	var list []task
	for _, name := range j.cores {
		c, _ := findCore(name)
		for _, k := range j.kernels {
			for i, v := range k.variants() {
				list = append(list, task{k, c, i, v})
			}
		}
	}
	return list
}

// measureAll times tasks, with as many at once as there are processors, and
// hands over each as it is done, one after another.
func (j *job) measureAll(tasks []task, done func(t *task, v *blocks.EmulatedVariant, err error)) {
	queue := make(chan *task)
	var mu sync.Mutex
	var workers sync.WaitGroup
	began, finished := time.Now(), 0
	for range runtime.NumCPU() {
		workers.Go(func() {
			for t := range queue {
				v, err := measure(t.kernel, t.variant, t.core, j.project.plugin)
				if err != nil {
					err = fmt.Errorf("%v: %w", t, err)
				}
				mu.Lock()
				finished++
				fmt.Fprintf(j.stderr, "%4d of %d, %5.0f s: %v\n", finished, len(tasks), time.Since(began).Seconds(), t)
				done(t, v, err)
				mu.Unlock()
			}
		})
	}
	for i := range tasks {
		queue <- &tasks[i]
	}
	close(queue)
	workers.Wait()
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

// gathering is a block on a core of which some variants are not timed yet.
type gathering struct {
	emulation *blocks.Emulation
	left      int
	err       error
}

// run times what is not current and writes it.
func (j *job) run() error {
	var tasks []task
	open := map[string]*gathering{}
	key := func(t *task) string { return t.core.name + "/" + t.kernel.block.Name }
	for _, t := range j.tasks() {
		if t.index == 0 {
			made, err := j.project.digest(t.kernel, t.core, j.project.tools)
			if err != nil {
				return err
			}
			kept, err := catalog.LoadEmulation(os.DirFS(j.folder), t.core.name, t.kernel.block)
			if err == nil && kept.Made == made && !j.force {
				continue
			}
			open[key(&t)] = &gathering{emulation: &blocks.Emulation{Block: t.kernel.block.Name, Core: t.core.name, Made: made, Tools: j.project.tools}}
		}
		if g := open[key(&t)]; g != nil {
			g.emulation.Variants = append(g.emulation.Variants, blocks.EmulatedVariant{})
			g.left++
			tasks = append(tasks, t)
		}
	}
	failed := 0
	j.measureAll(tasks, func(t *task, v *blocks.EmulatedVariant, err error) {
		g := open[key(t)]
		if g.left--; err != nil {
			g.err = errors.Join(g.err, err)
		} else {
			g.emulation.Variants[t.index] = *v
		}
		if g.left > 0 {
			return
		}
		if g.err == nil {
			g.err = save(j.folder, g.emulation)
		}
		if g.err != nil {
			fmt.Fprintf(j.stderr, "%v\n", g.err)
			failed++
			return
		}
		fmt.Fprintf(j.stdout, "%s on %s: %s\n", t.kernel.block.Name, t.core.name, quip(g.emulation))
	})
	if failed > 0 {
		return fmt.Errorf("%d of the kernels could not be timed", failed)
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
