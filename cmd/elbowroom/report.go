package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// reportVersion counts the shapes of the JSON output: it grows when a field
// changes its meaning or goes, not when one is added.
const reportVersion = 1

// Report is what check found out. Every format prints from it.
type Report struct {
	Version int      `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	Exit    int      `json:"exit" jsonschema:"exit status: 0 fits or tight, 1 over, 2 wrong input, 3 unsure"`
	Graphs  []Answer `json:"graphs" jsonschema:"one answer for each file, in the order asked"`
}

// Answer is what check found out about one graph file.
type Answer struct {
	File       string        `json:"file"`
	Verdict    string        `json:"verdict" jsonschema:"fits, tight, unsure, over, or 'wrong input' where the file cannot be read as a graph"`
	Sentence   string        `json:"sentence" jsonschema:"the verdict in words with figures"`
	Decides    string        `json:"decides,omitempty" jsonschema:"name of the resource that decides the verdict"`
	Mistakes   []Mistake     `json:"mistakes,omitempty" jsonschema:"what is wrong with the file; then all else is left out"`
	Board      string        `json:"board,omitempty"`
	Core       string        `json:"core,omitempty"`
	SampleRate float64       `json:"sample_rate,omitempty" jsonschema:"hertz"`
	BlockSize  int           `json:"block_size,omitempty" jsonschema:"samples"`
	RunsFrom   string        `json:"runs_from,omitempty" jsonschema:"bank that code runs from"`
	Resources  []Resource    `json:"resources,omitempty" jsonschema:"banks, cpu, and the jacks that are used"`
	Shelves    []Shelf       `json:"shelves,omitempty" jsonschema:"the banks of the board with what lies on them"`
	Large      []Placed      `json:"large,omitempty" jsonschema:"the largest buffers and why each lies where it does"`
	Explained  *Explained    `json:"explained,omitempty" jsonschema:"all of the node or bank that --explain names"`
	Linker     []LinkerShort `json:"linker,omitempty" jsonschema:"what the linker missed, where --linker-says asks"`
	Cycles     *Cycles       `json:"cycles,omitempty"`
	Schedule   *Schedule     `json:"schedule,omitempty"`
	Latency    *Latency      `json:"latency,omitempty" jsonschema:"left out where the graph has no audio output"`
	Nodes      []Node        `json:"nodes,omitempty" jsonschema:"in file order"`
	Cautions   []Caution     `json:"cautions,omitempty"`
	Swaps      []Swap        `json:"swaps,omitempty" jsonschema:"single lighter stand-ins that help a graph that is over, best first"`
	Worth      string        `json:"worth,omitempty" jsonschema:"what the figures are worth"`

	verdict estimator.Verdict
	copied  bool // code to the bank that it runs from
}

// Mistake is something wrong with a file.
type Mistake struct {
	File    string `json:"file"`
	Line    int    `json:"line,omitempty" jsonschema:"from 1"`
	Column  int    `json:"column,omitempty" jsonschema:"from 1, in characters"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
}

// Figure is a number with the edges between which the truth is thought to lie.
type Figure struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// exact tells whether the figure has no band.
func (f Figure) exact() bool { return f.Low == f.High }

// Resource is one thing the board has so much of.
type Resource struct {
	Name    string  `json:"name"`
	Kind    string  `json:"kind" jsonschema:"memory, flash, cpu or jack"`
	Unit    string  `json:"unit" jsonschema:"bytes, cycles or jacks"`
	Used    Figure  `json:"used"`
	Limit   float64 `json:"limit"`
	Left    float64 `json:"left" jsonschema:"limit less used; below zero where it is over"`
	Share   float64 `json:"share" jsonschema:"used over limit; 0 where the limit is 0"`
	Reserve float64 `json:"reserve" jsonschema:"share of the limit that was asked to stay free"`
	Verdict string  `json:"verdict" jsonschema:"fits, tight, unsure or over"`
	Rests   string  `json:"rests,omitempty" jsonschema:"the unconfirmed default that decides, with the line to write"`
	Parts   []Part  `json:"parts,omitempty" jsonschema:"of a bank: what its bytes are used for; their sum is used.value"`
}

// Part is some bytes of a bank.
type Part struct {
	Name  string `json:"name"`
	Bytes int64  `json:"bytes"`
}

// Cycles is what one block of time takes.
type Cycles struct {
	Budget     float64     `json:"budget" jsonschema:"cycles there are in a block"`
	Mean       Load        `json:"mean"`
	Worst      Load        `json:"worst" jsonschema:"reachable worst: the verdict rests on it"`
	Bound      Load        `json:"bound" jsonschema:"everything at once"`
	WorstScene string      `json:"worst_scene,omitempty"`
	Causes     []Cause     `json:"causes,omitempty" jsonschema:"why the worst block takes more than the mean; they add up to the difference"`
	Beyond     []Cause     `json:"beyond,omitempty" jsonschema:"why the bound is more than the worst block"`
	Relief     string      `json:"relief,omitempty" jsonschema:"which node to move or split so that the worst block becomes lighter"`
	Scenes     []SceneLoad `json:"scenes,omitempty"`
}

// Load is the cycles of a block; the total is the sum of its parts.
type Load struct {
	Total   Figure   `json:"total"`
	Compute LoadPart `json:"compute"`
	Stalls  LoadPart `json:"stalls"`
	System  LoadPart `json:"system"`
}

// LoadPart is cycles with the way in which they are known.
type LoadPart struct {
	Figure
	Basis string `json:"basis" jsonschema:"measured, stated, emulated, counted or modelled; several where nodes differ"`
}

// SceneLoad is the cycles of a block while one scene plays.
type SceneLoad struct {
	Name  string `json:"name"`
	Mean  Load   `json:"mean"`
	Worst Load   `json:"worst"`
}

// Schedule is the order in which a block of time is worked through.
type Schedule struct {
	Steps   []string `json:"steps" jsonschema:"the nodes in the order in which they run; a delay that closes a loop stands twice"`
	Buffers int      `json:"buffers" jsonschema:"blocks of samples that all wires share"`
	Least   int      `json:"least" jsonschema:"what every order needs at least; where it is buffers, this order is proven to need fewest"`
	Cuts    []string `json:"cuts,omitempty" jsonschema:"wires that carry the block before, as from>to"`
}

// Latency is the time from an input to an output.
type Latency struct {
	From    string        `json:"from"`
	To      string        `json:"to"`
	Samples float64       `json:"samples"`
	Seconds float64       `json:"seconds"`
	Parts   []LatencyPart `json:"parts" jsonschema:"their sum is the latency"`
}

// LatencyPart is one part of a latency.
type LatencyPart struct {
	What    string  `json:"what"`
	Samples float64 `json:"samples"`
	Seconds float64 `json:"seconds"`
}

// Node is what one node takes, all its copies together.
type Node struct {
	Name      string  `json:"name"`
	Block     string  `json:"block"`
	Kernel    string  `json:"kernel" jsonschema:"the block with the choices that make another kernel of it"`
	Copies    int     `json:"copies"`
	Place     string  `json:"place"`
	Mean      Figure  `json:"mean" jsonschema:"cycles a block, stalls left out"`
	Worst     Figure  `json:"worst" jsonschema:"cycles a block, stalls left out"`
	Stalls    Figure  `json:"stalls" jsonschema:"cycles a block"`
	Due       *Figure `json:"due,omitempty" jsonschema:"cycles of work now and then, as much as falls into one block beside the worst"`
	Waits     *Figure `json:"due_stalls,omitempty" jsonschema:"cycles that it waits in that block beyond its stalls"`
	Costliest Figure  `json:"costliest" jsonschema:"cycles of its costliest block: worst, stalls, due and due_stalls together"`
	Basis     string  `json:"basis"`
	Source    string  `json:"source,omitempty" jsonschema:"what the cycles were counted or timed from, its wires' sums left out"`
	Bytes     int64   `json:"bytes" jsonschema:"state and buffers"`
	Lies      []Share `json:"lies,omitempty" jsonschema:"the banks that its buffers lie in"`
	Tables    []Table `json:"tables,omitempty" jsonschema:"in flash, that it reads"`
	Note      string  `json:"note,omitempty"`
}

// Share is some bytes of a node in a bank.
type Share struct {
	Bank  string `json:"bank"`
	Bytes int64  `json:"bytes"`
}

// Table is constant data that nodes read.
type Table struct {
	Name    string `json:"name"`
	Bytes   int64  `json:"bytes"`
	Readers int    `json:"readers" jsonschema:"nodes that share it"`
}

// Caution is something that a figure does not tell.
type Caution struct {
	Kind  string `json:"kind"`
	Node  string `json:"node,omitempty"`
	Place string `json:"place,omitempty"`
	Text  string `json:"text"`
}

// Swap is one lighter stand-in for one node, and what it would do.
type Swap struct {
	Node    string   `json:"node"`
	Change  string   `json:"change" jsonschema:"what to write"`
	Heard   string   `json:"heard" jsonschema:"what becomes audible"`
	Loss    float64  `json:"loss" jsonschema:"points: 1 is noticed only in comparison, 10 plainly heard, 100 a function gone"`
	Effects []Effect `json:"effects,omitempty"`
	Memory  int64    `json:"memory_saved" jsonschema:"bytes of data memory"`
	Flash   int64    `json:"flash_saved" jsonschema:"bytes"`
	Cycles  float64  `json:"cycles_saved" jsonschema:"cycles of the worst block"`
	Verdict string   `json:"verdict" jsonschema:"of the graph after"`
}

// Effect is a metric of what is heard, before and after a swap.
type Effect struct {
	Metric string  `json:"metric"`
	Title  string  `json:"title"`
	Unit   string  `json:"unit,omitempty"`
	Before float64 `json:"before"`
	After  float64 `json:"after"`
	Needed float64 `json:"needed,omitempty" jsonschema:"what the ear asks for with the settings after, where that is known"`
	Points float64 `json:"points"`
}

func figure(f blocks.Figure) Figure { return Figure{f.Value, f.Low, f.High} }

// wrongAnswer is the answer to a file that is no graph.
func wrongAnswer(file string, errs *source.Errors) Answer {
	a := Answer{File: file, Verdict: wrongInput}
	for _, e := range errs.List() {
		a.Mistakes = append(a.Mistakes, Mistake{File: e.File.Name, Line: e.Pos.Line, Column: e.Pos.Column, Message: e.Message, Hint: e.Hint})
	}
	a.Sentence = fmt.Sprintf("%s cannot be checked: it has %s", file, counted(len(a.Mistakes), "mistake"))
	return a
}

// unreadable is the answer to a file that could not be read at all.
func unreadable(file string, err error) Answer {
	return Answer{
		File: file, Verdict: wrongInput, Sentence: file + " cannot be checked: it could not be read",
		Mistakes: []Mistake{{File: file, Message: err.Error()}},
	}
}

// answer tells an estimate and the swaps that would help.
func answer(file string, e *estimator.Estimate, swaps []estimator.Swap) Answer {
	g := e.Graph
	a := Answer{
		File: file, Verdict: e.Verdict.String(), verdict: e.Verdict,
		Sentence: sentence(file, e), Decides: e.Decides().Name,
		Board: g.Board.Name, Core: g.Core.Name, SampleRate: float64(g.SampleRate), BlockSize: g.BlockSize, RunsFrom: g.Board.Banks[g.Run].Name, copied: g.CopiesCode(),
		Worth: worth(e),
	}
	for i := range e.Resources {
		if r := &e.Resources[i]; r.Kind != estimator.JackResource || r.Used.Value > 0 {
			a.Resources = append(a.Resources, resource(e, r))
		}
	}
	a.Cycles = cycles(e)
	a.Schedule = schedule(e)
	a.Shelves = shelves(e)
	a.Large = large(e)
	if e.Latency.To != "" {
		a.Latency = latency(e)
	}
	a.Nodes = nodes(e)
	for _, c := range e.Cautions {
		a.Cautions = append(a.Cautions, Caution(c))
	}
	for _, s := range swaps {
		a.Swaps = append(a.Swaps, swap(g, &s))
	}
	return a
}

var kindNames = map[estimator.ResourceKind]struct{ kind, unit string }{
	estimator.MemoryResource: {"memory", "bytes"},
	estimator.FlashResource:  {"flash", "bytes"},
	estimator.CPUResource:    {"cpu", "cycles"},
	estimator.JackResource:   {"jack", "jacks"},
}

func resource(e *estimator.Estimate, r *estimator.Resource) Resource {
	kind := kindNames[r.Kind]
	out := Resource{
		Name: r.Name, Kind: kind.kind, Unit: kind.unit, Used: figure(r.Used), Limit: r.Limit, Left: r.Headroom(),
		Reserve: r.Reserve, Verdict: r.Verdict.String(), Rests: r.Rests,
	}
	if r.Limit > 0 {
		out.Share = r.Used.Value / r.Limit
	}
	if kind.unit == "bytes" {
		for part, bytes := range e.Banks[r.Index].Parts {
			if bytes > 0 {
				out.Parts = append(out.Parts, Part{estimator.Part(part).String(), int64(bytes)})
			}
		}
	}
	return out
}

func cycles(e *estimator.Estimate) *Cycles {
	cpu := &e.CPU
	basis := computeBasis(e)
	load := func(l estimator.Load) Load {
		return Load{
			Total:   figure(l.Total()),
			Compute: LoadPart{figure(l.Compute), basis},
			Stalls:  LoadPart{figure(l.Stalls), e.Graph.StallBasis().String()},
			System:  LoadPart{figure(l.System), blocks.Stated.String()},
		}
	}
	c := &Cycles{Budget: cpu.Budget, Mean: load(cpu.Mean), Worst: load(cpu.Worst), Bound: load(cpu.Bound)}
	c.Causes, c.Beyond, c.Relief = causes(e.Graph, e.WorstCauses()), causes(e.Graph, e.BoundCauses()), e.Relief()
	for _, s := range cpu.Scenes {
		c.Scenes = append(c.Scenes, SceneLoad{s.Name, load(s.Mean), load(s.Worst)})
	}
	if cpu.WorstScene >= 0 {
		c.WorstScene = cpu.Scenes[cpu.WorstScene].Name
	}
	return c
}

// computeBasis names how the cycles of the nodes are known, the surest first.
func computeBasis(e *estimator.Estimate) string {
	var bases []blocks.Basis
	for i := range e.Nodes {
		if !slices.Contains(bases, e.Nodes[i].Basis) {
			bases = append(bases, e.Nodes[i].Basis)
		}
	}
	slices.Sort(bases)
	names := make([]string, len(bases))
	for i, b := range bases {
		names[i] = b.String()
	}
	return strings.Join(names, ", ")
}

func schedule(e *estimator.Estimate) *Schedule {
	g := e.Graph
	s := &Schedule{Steps: []string{}, Buffers: e.Schedule.Slots, Least: e.Schedule.Least}
	for _, step := range e.Schedule.Steps {
		s.Steps = append(s.Steps, g.Nodes[step.Node].Name)
	}
	for _, c := range e.Schedule.Cuts {
		s.Cuts = append(s.Cuts, g.Nodes[c.From.Node].Name+">"+g.Nodes[c.To].Name)
	}
	return s
}

func latency(e *estimator.Estimate) *Latency {
	rate := float64(e.Graph.SampleRate)
	l := &Latency{From: e.Latency.From, To: e.Latency.To, Samples: e.Latency.Samples(), Parts: []LatencyPart{}}
	l.Seconds = l.Samples / rate
	for _, p := range e.Latency.Parts {
		l.Parts = append(l.Parts, LatencyPart{p.What, p.Samples, p.Samples / rate})
	}
	return l
}

func nodes(e *estimator.Estimate) []Node {
	g := e.Graph
	list := make([]Node, len(g.Nodes))
	readers := map[string]int{}
	for i := range g.Nodes {
		for _, t := range e.Tables(i) {
			readers[t.Key]++
		}
	}
	for i, n := range g.Nodes {
		c := &e.Nodes[i]
		list[i] = Node{
			Name: n.Name, Block: n.Block().Name, Kernel: n.Use.Variant(), Copies: c.Copies, Place: n.Place.Where(),
			Mean: figure(c.Mean), Worst: figure(c.Worst), Stalls: figure(c.Stalls), Costliest: figure(e.Costliest(i)), Basis: c.Basis.String(), Source: c.Source,
			Bytes: int64(c.State + c.Buffers), Note: n.Note,
		}
		if len(c.Hops) > 0 {
			cycles, stalls := e.Due(i)
			list[i].Due, list[i].Waits = new(figure(cycles)), new(figure(stalls))
		}
		for _, t := range e.Tables(i) {
			if !t.Copied {
				list[i].Tables = append(list[i].Tables, Table{t.Key, int64(t.Bytes), readers[t.Key]})
			}
		}
	}
	for i, o := range e.Objects {
		if o.Node < 0 {
			continue
		}
		lies, bank := &list[o.Node].Lies, g.Board.Banks[e.Placement.Bank[i]].Name
		at := slices.IndexFunc(*lies, func(s Share) bool { return s.Bank == bank })
		if at < 0 {
			at = len(*lies)
			*lies = append(*lies, Share{Bank: bank})
		}
		(*lies)[at].Bytes += int64(o.Bytes)
	}
	return list
}

func swap(g *estimator.Graph, s *estimator.Swap) Swap {
	out := Swap{
		Node: g.Nodes[s.Node].Name, Change: s.Change, Heard: s.Heard, Loss: s.Loss,
		Memory: int64(s.Memory), Flash: int64(s.Flash), Cycles: s.Cycles, Verdict: s.Verdict.String(),
	}
	for _, e := range s.Effects {
		out.Effects = append(out.Effects, effect(e))
	}
	return out
}

func effect(e estimator.Effect) Effect {
	return Effect{e.Metric.Name, e.Metric.Title, e.Metric.Unit, e.Before.Value, e.After.Value, e.After.Needed, e.Points}
}

// dearest gives the nodes that take most by a measure, the dearest first, and
// how many more take anything, and how much.
func dearest(list []Node, most int, takes func(*Node) float64) (top []*Node, others int, rest float64) {
	for i := range list {
		if takes(&list[i]) > 0 {
			top = append(top, &list[i])
		}
	}
	slices.SortStableFunc(top, func(a, b *Node) int { return cmp.Compare(takes(b), takes(a)) })
	if len(top) <= most {
		return top, 0, 0
	}
	for _, n := range top[most:] {
		rest += takes(n)
	}
	return top[:most], len(top) - most, rest
}
