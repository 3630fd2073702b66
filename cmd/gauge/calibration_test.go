package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"elbowroom/estimator"
	"elbowroom/estimator/calibrate"
)

// calibrated is the board whose programs are timed here.
const calibrated = "m4f-180-sdram"

// otherwise is how the programs are compiled and called that are timed here,
// where their graphs say nothing of it.
const otherwise = "code: {optimise: Os, calls: sample}\n"

// reading is what a node of a program takes of each block of time.
type reading struct {
	graph, node string
	cycles      []float64
}

func (r *reading) mean() float64 {
	sum := 0.0
	for _, c := range r.cycles {
		sum += c
	}
	return sum / float64(len(r.cycles))
}

// otherBuild reads the graph in a file with some lines before its text.
func otherBuild(t *testing.T, folder, file, lines string) *estimator.Graph {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	changed := filepath.Join(folder, filepath.Base(file))
	if err := os.WriteFile(changed, append([]byte(lines), text...), 0o644); err != nil {
		t.Fatal(err)
	}
	g, err := readGraph(changed, calibrated, "")
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// timedOtherwise builds and runs the program of a graph, and tells the cycles of
// each node that alone runs its kernel.
func timedOtherwise(t *testing.T, root, file string) []reading {
	t.Helper()
	folder := t.TempDir()
	e, err := otherBuild(t, folder, file, otherwise).Estimate()
	if err != nil {
		t.Fatal(err)
	}
	c, ok := findCore(e.Graph.Core.Name)
	if !ok {
		t.Fatalf("The core %s is not emulated.", e.Graph.Core.Name)
	}
	sources := filepath.Join(root, "blocks", "kernels")
	p, err := plan(e, c, sources)
	if err != nil {
		t.Fatal(err)
	}
	w := &workshop{folder: folder, core: c, kernels: sources}
	kernels, err := p.compileKernels(w)
	if err != nil {
		t.Fatal(err)
	}
	o, err := p.compileProgram(w, kernels, false)
	if err != nil {
		t.Fatal(err)
	}
	elf, err := p.linkToRun(w, o)
	if err != nil {
		t.Fatal(err)
	}
	list, _, err := p.run(w, elf, builtPlugin(t))
	if err != nil {
		t.Fatal(err)
	}
	var all []reading
	for _, n := range p.nodes {
		if n.unit == nil {
			continue
		}
		alone := 0
		for _, other := range p.nodes {
			alone += ones(other.unit == n.unit)
		}
		if alone > 1 {
			continue
		}
		r := reading{graph: strings.TrimSuffix(filepath.Base(file), ".yaml"), node: n.Name}
		for _, s := range list {
			if cycles := s.units[n.number]; cycles > 0 { // else its scene does not play
				r.cycles = append(r.cycles, cycles)
			}
		}
		if len(r.cycles) > 0 {
			all = append(all, r)
		}
	}
	return all
}

// off is by how much estimates are off the readings, in parts of them: the mean
// and the median.
func off(readings []reading, estimates map[string]*estimator.Estimate) (mean, median float64) {
	var all []float64
	for i := range readings {
		r := &readings[i]
		e := estimates[r.graph]
		all = append(all, math.Abs(e.Nodes[e.Graph.Node(r.node)].Mean.Value/r.mean()-1))
	}
	for _, x := range all {
		mean += x / float64(len(all))
	}
	slices.Sort(all)
	return mean, all[len(all)/2]
}

// The programs of half of the graphs, compiled for size and called sample by
// sample where the estimate expects neither, tell so much of the other half that
// the error there falls by half at least. Whole graphs are kept out, so that a
// node is told of by what others were read, as on a board that knows earlier
// shows. DEVELOPERS.md has these figures.
func TestCalibrationTellsOfOtherPrograms(t *testing.T) {
	needTools(t, toolNames...)
	if testing.Short() {
		t.Skip("Building and running graphs takes minutes.")
	}
	if os.Getenv("ELBOWROOM_TOOLS") != "required" {
		t.Skip("Sixteen programs take minutes; ELBOWROOM_TOOLS=required asks for them.")
	}
	root, err := findRoot()
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(root, "testdata", "graphs", "good", "*.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var readings [2][]reading
	var known []*estimator.Graph
	var held []string
	folder := t.TempDir()
	before := map[string]*estimator.Estimate{}
	half := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		// These say how they are compiled, or have a catalog of their own.
		if strings.Contains(string(text), "\ncode:") || strings.Contains(string(text), "\ncatalog:") {
			continue
		}
		list := timedOtherwise(t, root, file)
		g := otherBuild(t, folder, file, "")
		e, err := g.Estimate()
		if err != nil {
			t.Fatal(err)
		}
		before[strings.TrimSuffix(filepath.Base(file), ".yaml")] = e
		readings[half] = append(readings[half], list...)
		if half == 0 {
			known = append(known, g)
		} else {
			held = append(held, file)
		}
		half = 1 - half
	}
	var csv strings.Builder
	csv.WriteString("graph,node,block_size,cycles\n")
	for _, r := range readings[0] {
		e := before[r.graph]
		at := e.Graph.Node(r.node)
		// The emulator does not wait for memory; the board would, as modelled.
		fetch := e.Graph.Board.Banks[e.Graph.Board.CodeBank()].Fetch
		waits := max(e.Nodes[at].Stalls.Value-fetch*e.Nodes[at].Mean.Value, 0)
		for _, cycles := range r.cycles {
			fmt.Fprintf(&csv, "%s,%s,%d,%.2f\n", e.Graph.File.Name, r.node, e.Graph.BlockSize, cycles+waits)
		}
	}
	read, err := calibrate.Read("times.csv", strings.NewReader(csv.String()), known)
	if err != nil {
		t.Fatal(err)
	}
	result, err := calibrate.Fit(known, read)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "measured.yaml"), []byte(result.File("times.csv")), 0o644); err != nil {
		t.Fatal(err)
	}
	if result.Calls == nil {
		t.Fatal("No factor for calls was found, although every kernel is called sample by sample.")
	}
	after := map[string]*estimator.Estimate{}
	for _, file := range held {
		e, err := otherBuild(t, folder, file, "catalog: measured.yaml\n").Estimate()
		if err != nil {
			t.Fatal(err)
		}
		after[strings.TrimSuffix(filepath.Base(file), ".yaml")] = e
	}
	mean, median := off(readings[1], before)
	meanNow, medianNow := off(readings[1], after)
	t.Logf("%d nodes of %d programs were read, and %d of %d kept out; factors by %v: %d, a factor for calls of %.2f. The error falls from %.1f %% to %.1f %% in the mean, from %.1f %% to %.1f %% in the median.",
		len(readings[0]), len(known), len(readings[1]), len(held), result.Level, len(result.Factors), result.Calls.Interval.Value, 100*mean, 100*meanNow, 100*median, 100*medianNow)
	if meanNow > mean/2 || medianNow > median/2 {
		t.Errorf("The error of what was kept out should fall by half at least: in the mean from %.1f %% to %.1f %%, in the median to %.1f %% from %.1f %%.", 100*mean, 100*meanNow, 100*medianNow, 100*median)
	}
	for _, r := range readings[1] {
		b, a := before[r.graph], after[r.graph]
		at := b.Graph.Node(r.node)
		t.Logf("%s %s (%s): read %.0f, estimated %.0f, calibrated %.0f.", r.graph, r.node, b.Graph.Nodes[at].Block().Name, r.mean(), b.Nodes[at].Mean.Value, a.Nodes[at].Mean.Value)
	}
}
