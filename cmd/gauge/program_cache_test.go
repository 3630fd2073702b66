package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/outside"
)

// Lines that whole graphs fetch in cachegrind, the cache simulator of valgrind,
// with the geometry of their board's data cache, against those of the model. The
// acceptance is 25 %.
//
// The simulated cache is in front of all memory, so the board is taken with all
// its banks behind its cache, the tightly coupled ones too.
func TestProgramLinesAgainstCachegrind(t *testing.T) {
	needTools(t, hostCompiler, "valgrind")
	root, err := findRoot()
	if err != nil {
		t.Fatal(err)
	}
	const within = 0.25
	for _, tt := range []struct {
		graph, board string // "": the graph's own
		often        bool   // also where only a few are asked for
	}{
		{graph: "bell-choir"},
		{graph: "glass-carillon"},
		{graph: "puppet-king", board: "m7-480-sdram"},
		{graph: "shadow-chorus"},
		{graph: "storm-machine"},
		{graph: "tide-organ", board: "m7-480-sdram", often: true},
		{graph: "train-over-the-bridge"},
	} {
		t.Run(tt.graph, func(t *testing.T) {
			if !tt.often && os.Getenv("ELBOWROOM_TOOLS") != "required" {
				t.Skip("The simulated cache takes seconds; ELBOWROOM_TOOLS=required asks for this graph too.")
			}
			t.Parallel()
			g, err := readGraph(filepath.Join(root, "testdata", "graphs", "good", tt.graph+".yaml"), tt.board, "")
			if err != nil {
				t.Fatal(err)
			}
			g.Board = allCached(g.Board)
			e, err := g.Estimate()
			if err != nil {
				t.Fatal(err)
			}
			got := linesFetched(e)
			want := simulatedLines(t, e, filepath.Join(root, "blocks", "kernels"))
			t.Logf("%.2f lines a block by the model, %.2f in the simulated cache (%+.1f %%), horizon %.3g blocks", got, want, 100*(got/want-1), e.Horizon)
			if math.Abs(got-want) > within*want {
				t.Errorf("%s: the model fetches %.2f lines a block, and the simulated cache %.2f; that is not within %.0f %%.", tt.graph, got, want, 100*within)
			}
		})
	}
}

// allCached is a board with all its memory behind its cache, where a line costs
// one cycle to fetch and nothing else costs anything. Code has a cache that it
// never outgrows, since only data is counted.
func allCached(board *blocks.Board) *blocks.Board {
	b := *board
	b.CodeCache = blocks.Cache{Bytes: 1 << 20, Line: board.Cache.Line, Ways: board.Cache.Ways}
	b.Banks = slices.Clone(board.Banks)
	for i := range b.Banks {
		bank := &b.Banks[i]
		bank.Cached, bank.LineFill, bank.WriteBack, bank.Read, bank.Write = true, 1, 0, 0, 0
	}
	return &b
}

// linesFetched is the lines a block that a graph on such a board fetches by the
// model. What DMA does to the cache is left out, since a host has none.
func linesFetched(e *estimator.Estimate) float64 {
	lines := e.CPU.Mean.Stalls.Value
	for i := range e.Objects {
		s := e.Stall(i)
		lines += s.Fills - s.Cycles
	}
	return lines
}

// simulatedLines is the lines a block that the graph's program fetches in the
// simulated cache.
func simulatedLines(t *testing.T, e *estimator.Estimate, kernels string) float64 {
	host := &core{name: "host", compiler: hostCompiler, flags: []string{"-fno-pie", "-fno-tree-vectorize", "-fno-tree-loop-distribute-patterns"}}
	p, err := plan(e, host, kernels)
	if err != nil {
		t.Fatal(err)
	}
	// A host's pointer is twice as long: the room that this takes at most.
	for _, n := range p.nodes {
		n.demand.State *= 2
	}
	w := &workshop{folder: t.TempDir(), core: host, kernels: kernels}
	var objects []string
	add := func(name, text string, flags ...string) {
		if err := os.WriteFile(w.path(name+".c"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		objects = append(objects, w.path(name+".o"))
		if err := w.compile(name+".o", append(flags, "-O2", "-c", w.path(name+".c"))...); err != nil {
			t.Fatal(err)
		}
	}
	for i, u := range p.units {
		add(fmt.Sprintf("kernel%d", i), u.source(i, false))
		outer := fmt.Sprintf("outer%d", i)
		add(outer, u.source(i, true))
		if err := u.readOffsets(w.path(outer + ".o")); err != nil {
			t.Fatal(err)
		}
	}
	add("program", p.source(false), "-DSTANDING")
	add("main", p.hostHarness())
	program := w.path("program")
	args := slices.Concat([]string{"-no-pie"}, objects, p.hostAddresses(), []string{"-lm", "-o", program})
	if _, err := call("", hostCompiler, args...); err != nil {
		t.Fatal(err)
	}
	cache := &e.Graph.Board.Cache
	return outside.LinesPerBlock(t, fmt.Sprintf("%d,%d,%d", cache.Bytes, cache.Ways, cache.Line), program, 120)
}

// hostHarness is the C file that runs so many blocks of the program as its
// argument says.
func (p *program) hostHarness() string {
	w := &writer{program: p}
	w.p("#include <stdlib.h>")
	w.declare()
	w.feed(false)
	w.prepareAll(false)
	w.p("int main(int argc, char **argv) {\n  (void)argc;\n  const uint32_t blocks = (uint32_t)atoi(argv[1]);\n  prepare();\n  float ticks = 0;\n  for (turn = 0; turn < blocks; turn++) {")
	w.p("    ticks += %sf;\n    program_ticks = (uint32_t)ticks;\n    ticks -= (float)program_ticks;", float(p.ticks()))
	w.p("    program_half = turn & 1;\n    feed();\n    program_block();\n  }\n}")
	return w.text.String()
}

// hostAddresses are what makes a host's linker put every object where it was
// placed. Each bank has 128 MiB of low memory to itself, in which it begins
// where it does on the board, so that the cache cannot tell the two apart. What
// holds pointers is longer on a host and lies behind the rest of its bank.
func (p *program) hostAddresses() []string {
	const apart = 128 << 20
	var list []string
	for b := range p.graph.Board.Banks {
		bank := &p.estimate.Banks[b]
		home := func(at uint64) uint64 { return uint64(b+1)*apart + at%apart }
		behind := home(p.graph.Board.Banks[b].Base + uint64(bank.Used))
		for _, r := range bank.Regions {
			object := slices.IndexFunc(p.estimate.Objects, func(o estimator.Object) bool { return o.Name == r.Name && o.Part == r.Part })
			if object < 0 {
				continue
			}
			at := home(r.Start)
			if r.Part == estimator.PartState || r.Part == estimator.PartWires {
				at = (behind + 63) / 64 * 64
				behind = at + 2*(r.End-r.Start)
			}
			list = append(list, fmt.Sprintf("-Wl,--section-start=.object%d=%#x", object, at))
		}
	}
	return list
}
