package main

import (
	"embed"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

//go:embed silicon
var siliconFiles embed.FS

// silicon holds what was measured on chips.
type silicon struct {
	Sources map[string]string `yaml:"sources"`
	Rows    []siliconRow      `yaml:"rows"`
}

// siliconRow is one published measurement and what is compiled to compare.
type siliconRow struct {
	Core        string
	Kernel      string
	Timed       string  // FILE.FUNCTION
	Sizes       []int   // one: the whole call; two: the slope between them
	Less        string  // FILE.FUNCTION whose slope is taken off
	CompiledFor string  `yaml:"compiled_for"` // core; "": its own
	Published   float64 // core cycles
	Source      string
}

// likeLibraries compiles as vendors' libraries are: multiplications and additions
// may be joined, which -std=c11 of the kernels forbids.
var likeLibraries = []string{"-O3", "-std=gnu11"}

func readSilicon() (*silicon, error) {
	text, err := siliconFiles.ReadFile("silicon/rows.yaml")
	if err != nil {
		return nil, err
	}
	s := &silicon{}
	if err := yaml.Load(text, s, yaml.WithKnownFields()); err != nil {
		return nil, fmt.Errorf("silicon/rows.yaml: %w", err)
	}
	for _, r := range s.Rows {
		if s.Sources[r.Source] == "" {
			return nil, fmt.Errorf("silicon/rows.yaml: '%s' of %s has the source '%s', which is not given", r.Kernel, r.Core, r.Source)
		}
	}
	return s, nil
}

// siliconCall is one call that is timed.
type siliconCall struct {
	function string
	size     int
}

// calls are what must be timed for a row.
func (r *siliconRow) calls() []siliconCall {
	var list []siliconCall
	for _, timed := range []string{r.Timed, r.Less} {
		_, function, ok := strings.Cut(timed, ".")
		for _, size := range r.Sizes {
			if ok {
				list = append(list, siliconCall{function, size})
			}
		}
	}
	return list
}

// predicted is what the model says to a row.
func (r *siliconRow) predicted(cycles map[siliconCall]float64) float64 {
	slope := func(timed string) float64 {
		_, function, ok := strings.Cut(timed, ".")
		if !ok {
			return 0
		}
		last := len(r.Sizes) - 1
		high := cycles[siliconCall{function, r.Sizes[last]}]
		if last == 0 {
			return high
		}
		return (high - cycles[siliconCall{function, r.Sizes[0]}]) / float64(r.Sizes[last]-r.Sizes[0])
	}
	return slope(r.Timed) - slope(r.Less)
}

// validate times what was published and prints both, and the bands that follow.
func (j *job) validate(out io.Writer) error {
	s, err := readSilicon()
	if err != nil {
		return err
	}
	s.Rows = slices.DeleteFunc(s.Rows, func(r siliconRow) bool { return !slices.Contains(j.cores, r.Core) })
	// One program for all rows with the same file, core and code.
	type program struct{ file, core, code string }
	wanted := map[program][]siliconCall{}
	of := func(r *siliconRow) program {
		file, _, _ := strings.Cut(r.Timed, ".")
		code := r.CompiledFor
		if code == "" {
			code = r.Core
		}
		return program{file, r.Core, code}
	}
	for i := range s.Rows {
		r := &s.Rows[i]
		for _, c := range r.calls() {
			if !slices.Contains(wanted[of(r)], c) {
				wanted[of(r)] = append(wanted[of(r)], c)
			}
		}
	}
	found := map[program]map[siliconCall]float64{}
	for p, calls := range wanted {
		on, _ := findCore(p.core)
		code, _ := findCore(p.code)
		if on == nil || code == nil {
			return fmt.Errorf("silicon/rows.yaml: '%s' or '%s' is no core that is emulated", p.core, p.code)
		}
		if found[p], err = timeSilicon(p.file, on, code, calls, j.project.plugin); err != nil {
			return fmt.Errorf("%s.c on %s: %w", p.file, p.core, err)
		}
	}
	fmt.Fprintf(out, "| core | kernel | model | published | difference | source |\n| --- | --- | --- | --- | --- | --- |\n")
	ratios := map[string][]float64{}
	sources := map[string]map[string]bool{}
	for i := range s.Rows {
		r := &s.Rows[i]
		predicted := r.predicted(found[of(r)])
		fmt.Fprintf(out, "| %s | %s | %.4g | %g | %+.0f %% | %s |\n", r.Core, r.Kernel, predicted, r.Published, 100*(predicted/r.Published-1), r.Source)
		ratios[r.Core] = append(ratios[r.Core], r.Published/predicted)
		if sources[r.Core] == nil {
			sources[r.Core] = map[string]bool{}
		}
		author, _, _ := strings.Cut(r.Source, "-")
		sources[r.Core][author] = true
	}
	fmt.Fprintln(out)
	for _, c := range cores {
		list := ratios[c.name]
		if list == nil {
			continue
		}
		low, high := siliconBand(list, len(sources[c.name]))
		middle, _ := middleAndWorst(list)
		fmt.Fprintf(out, "- %s: published is %.2f to %.2f times the model, %.2f in the median, over %d rows by %d authors; band %.2f to %.2f\n",
			c.name, slices.Min(list), slices.Max(list), middle, len(list), len(sources[c.name]), low, high)
	}
	for _, name := range sorted(s.Sources) {
		fmt.Fprintf(out, "\n%s: %s", name, s.Sources[name])
	}
	fmt.Fprintln(out)
	return nil
}

// Floors of a band, house judgement: what rows of three authors or more agree on
// may still be a tenth off elsewhere, what fewer say a quarter.
const (
	manyAuthors = 3
	floorMany   = 0.10
	floorFew    = 0.25
)

// siliconBand is the band of a core's emulated cycles: what was published against
// the model in nine rows of ten, since the odd one ran another version of a
// library or another compiler's code, and no narrower than the floor; rounded
// outward to hundredths.
func siliconBand(ratios []float64, authors int) (low, high float64) {
	floor := floorFew
	if authors >= manyAuthors {
		floor = floorMany
	}
	sorted := slices.Sorted(slices.Values(ratios))
	outside := (len(sorted) + 10) / 20 // of each end
	low, high = min(1-floor, sorted[outside]), max(1+floor, sorted[len(sorted)-1-outside])
	return math.Floor(100*low+1e-9) / 100, math.Ceil(100*high-1e-9) / 100
}

// timeSilicon compiles a file for one core, runs it, and times calls by the model
// of another.
func timeSilicon(file string, on, code *core, calls []siliconCall, plugin string) (map[siliconCall]float64, error) {
	folder, err := os.MkdirTemp("", "gauge")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	text, err := siliconFiles.ReadFile("silicon/" + file + ".c")
	if err != nil {
		return nil, err
	}
	source := filepath.Join(folder, file+".c")
	if err := os.WriteFile(source, text, 0o644); err != nil {
		return nil, err
	}
	w := &workshop{folder: folder, core: code, bench: &bench{kernel: &kernel{file: source}}}
	object, err := w.style(0, append(slices.Clone(likeLibraries), source))
	if err != nil {
		return nil, err
	}
	program, err := w.joined(siliconBench(calls), []string{object})
	if err != nil {
		return nil, err
	}
	listing, err := w.listing(program)
	if err != nil {
		return nil, err
	}
	symbols, err := symbols(program)
	if err != nil {
		return nil, err
	}
	timed := map[string]bool{}
	var order []passage
	for _, c := range calls {
		timed["timed_"+c.function] = true
		order = append(order, passage{calls: 1}, passage{}) // and what prepares the next
	}
	r, err := newRecorder(on, symbols, timed, order, 1)
	if err != nil {
		return nil, err
	}
	result, err := r.record(on, program, plugin, listing)
	if err != nil {
		return nil, err
	}
	cycles := map[siliconCall]float64{}
	for i, c := range calls {
		cycles[c] = result.calls[2*i][0].cycles
	}
	return cycles, nil
}

// siliconBench is the program that makes the calls.
func siliconBench(calls []siliconCall) string {
	var c strings.Builder
	c.WriteString("#include <stdint.h>\nextern void mark(void);\nextern void prepare(uint32_t n);\n")
	for _, name := range functions(calls) {
		fmt.Fprintf(&c, "extern void timed_%s(uint32_t n);\n", name)
	}
	c.WriteString("static __attribute__((noinline)) void measure(void) {\n")
	for _, call := range calls {
		fmt.Fprintf(&c, "  prepare(%d); mark(); timed_%s(%d); mark();\n", call.size, call.function, call.size)
	}
	c.WriteString("}\n" + startup)
	return c.String()
}

// functions are the names of what is called, each once.
func functions(calls []siliconCall) []string {
	var names []string
	for _, c := range calls {
		names = append(names, c.function)
	}
	slices.Sort(names)
	return slices.Compact(names)
}
