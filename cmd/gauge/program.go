package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// programOptions are the flags of program.
type programOptions struct {
	board   string
	run     string
	format  string // table or markdown
	details bool
	keep    string // folder in which the built files stay; "": none
}

func programCommand(stdout, stderr io.Writer) *cobra.Command {
	var opts programOptions
	c := &cobra.Command{
		Use:   "program GRAPH...",
		Short: "Build and run whole graphs, and compare them with their estimates",
		Long: `Write each graph as one program in C from the reference kernels, with the
schedule and the placement of its estimate; link it for the board's memory map;
run it in emulation; and tell estimate and truth side by side.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, files []string) error {
			if opts.format != "table" && opts.format != "markdown" {
				return fmt.Errorf("there is no format '%s': table or markdown", opts.format)
			}
			root, err := findRoot()
			if err != nil {
				return err
			}
			if _, err := toolVersions(); err != nil {
				return err
			}
			folder, err := os.MkdirTemp("", "gauge")
			if err != nil {
				return err
			}
			defer os.RemoveAll(folder)
			plugin, err := buildPlugin(folder)
			if err != nil {
				return err
			}
			var list []*comparison
			for _, file := range files {
				fmt.Fprintf(stderr, "%s\n", file)
				c, err := compareProgram(root, file, plugin, opts)
				if err != nil {
					return fmt.Errorf("%s: %w", file, err)
				}
				list = append(list, c)
			}
			return printComparisons(stdout, list, opts)
		},
	}
	c.Flags().StringVar(&opts.board, "board", "", "another board than the graph's; pins to banks, of code too, are left out then")
	c.Flags().StringVar(&opts.run, "run", "", "another bank that code runs from than the graph's")
	c.Flags().StringVar(&opts.format, "format", "table", "table or markdown")
	c.Flags().BoolVar(&opts.details, "details", false, "tell the cycles kernel by kernel")
	c.Flags().StringVar(&opts.keep, "keep", "", "leave what is built in this folder")
	return c
}

// pair is a figure of the estimate and of the program.
type pair struct{ estimate, truth float64 }

// off is by how much the estimate differs from the program, in parts of it.
func (p pair) off() float64 {
	if p.truth == 0 {
		return 0
	}
	return p.estimate/p.truth - 1
}

// comparison is a graph's estimate beside its program.
type comparison struct {
	graph, board, core string
	left               []string // nodes that no program is written for
	data               []bankPair
	astray             []string // objects that the linker put elsewhere than the estimate, or that have another size
	flash              pair
	copied             pair // code that is copied to RAM; zero: it runs from where it lies
	ordinary, costly   pair
	stack              pair // the estimate's room, and how deep the program went
	units              []unitPair
	basis              []string
}

// bankPair is the bytes of one bank.
type bankPair struct {
	bank string
	pair
}

// unitPair is the mean cycles of one kernel, all its nodes together.
type unitPair struct {
	name             string
	ordinary, costly pair
}

// pinned finds what names a bank in the graphs of this project: where a buffer
// lies, and where code runs.
var pinned = regexp.MustCompile(`, bank: (\{[^}]*\}|[\w-]+)|(?m)^code: \{run: [\w-]+\}\n`)

// readGraph reads a graph for a program: own code, of which there is no kernel,
// costs nothing.
func readGraph(file, board, run string) (*estimator.Graph, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	lib, err := catalog.Open()
	if err != nil {
		return nil, err
	}
	var errs source.Errors
	opts := estimator.Options{Load: func(name source.Value) string {
		beside := filepath.Join(filepath.Dir(file), name.Text("a path"))
		text, err := os.ReadFile(beside)
		if err != nil {
			name.Fail("", "%v", err)
			return ""
		}
		return catalog.Add(lib, source.NewFile(beside, text), &errs)
	}}
	if board != "" {
		opts.Board = source.FromText("--board", board, &errs)
		text = pinned.ReplaceAll(text, nil)
	}
	g := estimator.Read(source.NewFile(file, text), lib, opts, &errs)
	if g == nil {
		return nil, errs.Err()
	}
	if run != "" {
		if g, err = g.With(source.Edit{Path: []string{"code", "run"}, Text: run}); err != nil {
			return nil, err
		}
	}
	for _, n := range g.Nodes {
		if n.Use.Own != nil || n.Block().FromUser {
			// What moves its parameters is left out with it.
			n.Use.Own, n.Drives = &blocks.OwnCode{}, nil
		}
	}
	return g, nil
}

// compareProgram builds a graph and runs it in the emulator with its plugin.
func compareProgram(root, file, plugin string, opts programOptions) (*comparison, error) {
	g, err := readGraph(file, opts.board, opts.run)
	if err != nil {
		return nil, err
	}
	c, ok := findCore(g.Core.Name)
	if !ok {
		return nil, fmt.Errorf("the core %s is not one that is emulated", g.Core.Name)
	}
	e, err := g.Estimate()
	if err != nil {
		return nil, err
	}
	sources := filepath.Join(root, "blocks", "kernels")
	p, err := plan(e, c, sources)
	if err != nil {
		return nil, err
	}
	folder := opts.keep
	if folder == "" {
		if folder, err = os.MkdirTemp("", "gauge"); err != nil {
			return nil, err
		}
		defer os.RemoveAll(folder)
	} else if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, err
	}
	w := &workshop{folder: folder, core: c, kernels: sources}
	kernels, err := p.compileKernels(w)
	if err != nil {
		return nil, err
	}
	cmp := &comparison{graph: strings.TrimSuffix(filepath.Base(file), ".yaml"), board: g.Board.Name, core: c.name, left: p.left}
	for i := range e.Nodes {
		if name := e.Nodes[i].Basis.String(); e.Nodes[i].Basis != blocks.Stated && !slices.Contains(cmp.basis, name) {
			cmp.basis = append(cmp.basis, name)
		}
	}
	for _, costliest := range []bool{false, true} {
		o, err := p.compileProgram(w, kernels, costliest)
		if err != nil {
			return nil, err
		}
		if !costliest {
			l, err := p.linkForBoard(w, o)
			if err != nil {
				return nil, err
			}
			p.compareBytes(cmp, l)
		}
		elf, err := p.linkToRun(w, o)
		if err != nil {
			return nil, err
		}
		blocks, deepest, err := p.run(w, elf, plugin)
		if err != nil {
			return nil, err
		}
		if !costliest {
			cmp.stack.truth = float64(deepest)
		}
		p.compareCycles(cmp, blocks, costliest)
	}
	return cmp, nil
}

// compareBytes tells the bytes of the estimate beside what the linker made. What
// the board's own system takes is stated, not built, and left out.
func (p *program) compareBytes(cmp *comparison, l *linked) {
	e, board := p.estimate, p.graph.Board
	code := p.graph.CodeBank()
	for b := range board.Banks {
		if b == code {
			continue
		}
		objects := 0
		data := pair{float64(e.Banks[b].Used), float64(l.banks[b])}
		for i := range e.Objects {
			if e.Placement.Bank[i] != b {
				continue
			}
			o := &e.Objects[i]
			if o.Part != estimator.PartCode {
				objects++
				continue
			}
			// It is the last of its bank.
			built := l.objects[i].end - l.objects[i].start
			cmp.copied = pair{float64(o.Bytes), float64(built)}
			data.estimate, data.truth = data.estimate-float64(o.Bytes), data.truth-float64(built)
		}
		if objects > 0 {
			cmp.data = append(cmp.data, bankPair{board.Banks[b].Name, data})
		}
	}
	parts := &e.Banks[code].Parts
	cmp.flash = pair{float64(parts[estimator.PartCode] + parts[estimator.PartLibrary] + parts[estimator.PartTables]), float64(l.code)}
	for i := range e.Objects {
		if e.Objects[i].Part == estimator.PartStack {
			cmp.stack.estimate = float64(e.Objects[i].Bytes)
		}
	}
	for i, want := range p.places() {
		got := l.objects[i]
		if e.Objects[i].Part == estimator.PartCode {
			got.end = want.end // how large it is told apart
		}
		if got != want {
			cmp.astray = append(cmp.astray, fmt.Sprintf("%s lies from %#x to %#x in place of %#x to %#x", e.Objects[i].Name, got.start, got.end, want.start, want.end))
		}
	}
}

// places are where the objects of the estimate lie by its maps of the banks.
func (p *program) places() []extent {
	e := p.estimate
	list := make([]extent, len(e.Objects))
	for i := range e.Objects {
		o := &e.Objects[i]
		for _, r := range e.Banks[e.Placement.Bank[i]].Regions {
			if r.Name == o.Name && r.Part == o.Part {
				list[i] = extent{r.Start, r.End}
			}
		}
	}
	return list
}

// compareCycles tells the cycles of the estimate beside those of the program.
func (p *program) compareCycles(cmp *comparison, list []spent, costliest bool) {
	e := p.estimate
	timed := p.blocksTimed()
	for at := 0; at < len(list); at += timed {
		mean, most := meanSpent(list[at : at+timed])
		if costliest {
			cmp.costly.truth = max(cmp.costly.truth, most)
		} else {
			cmp.ordinary.truth = max(cmp.ordinary.truth, mean)
		}
	}
	cmp.ordinary.estimate, cmp.costly.estimate = e.CPU.Mean.Compute.Value, e.CPU.Worst.Compute.Value
	for i := range e.CPU.Scenes {
		// Which scene takes most may hang on waits for memory, which are not here.
		scene := &e.CPU.Scenes[i]
		cmp.ordinary.estimate = max(cmp.ordinary.estimate, scene.Mean.Compute.Value)
		cmp.costly.estimate = max(cmp.costly.estimate, scene.Worst.Compute.Value)
	}
	if cmp.units == nil {
		cmp.units = make([]unitPair, len(p.units)+1)
		for i, u := range p.units {
			cmp.units[i].name = strings.Join(append([]string{u.kernel.block.Name}, u.defines...), " ")
		}
		cmp.units[len(p.units)].name = "what calls them"
		for i, n := range p.nodes {
			if n.unit == nil {
				continue
			}
			u := &cmp.units[n.number]
			copies := float64(n.copies)
			u.ordinary.estimate += n.demand.Mean.Value * copies
			due, _ := e.Due(i)
			u.costly.estimate += n.demand.Worst.Value*copies + due.Value
			rest := &cmp.units[len(p.units)]
			rest.ordinary.estimate += e.Nodes[i].Mean.Value - n.demand.Mean.Value*copies
			rest.costly.estimate += e.Nodes[i].Worst.Value - n.demand.Worst.Value*copies
		}
	}
	scenes := max(1, len(p.graph.Scenes))
	for i := range cmp.units {
		for _, s := range list {
			// A node plays in one scene or in all: the sum over the scenes of what
			// plays always is told as often, so that the two sides agree only
			// where there is one scene.
			if costliest {
				cmp.units[i].costly.truth = max(cmp.units[i].costly.truth, s.units[i])
			} else {
				cmp.units[i].ordinary.truth += s.units[i] / float64(len(list)/scenes) / float64(scenes)
			}
		}
	}
}
