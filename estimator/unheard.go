package estimator

import (
	"fmt"
	"strconv"
	"strings"

	"elbowroom/blocks"
)

// cautionUnheard tells of nodes that lead nowhere, by any path, and of outputs
// that nothing sounding reaches. What has no output leads out of the program, and
// own code may.
func (e *Estimate) cautionUnheard() {
	g := e.Graph
	heard := make([]bool, len(g.Nodes))
	var hear func(i int)
	hear = func(i int) {
		if heard[i] {
			return
		}
		heard[i] = true
		n := g.Nodes[i]
		for _, in := range n.Inputs {
			for _, s := range in.Sources {
				hear(s.Node)
			}
		}
		for _, d := range n.Drives {
			hear(d.Source.Node)
		}
	}
	ends := false
	for i, n := range g.Nodes {
		if len(n.Block().Outputs) == 0 || n.Use.Own != nil {
			ends = true
			hear(i)
		}
	}
	if !ends {
		e.warn("unheard", nil, "nothing leads out of the program: it has no audio-out, and no other node that ends in a jack or a light")
		return
	}
	const most = 3
	var first *Node
	var names []string
	var bytes blocks.Bytes
	var cycles float64
	for i, n := range g.Nodes {
		if heard[i] {
			continue
		}
		if first == nil {
			first = n
		}
		names = append(names, n.Name)
		bytes += e.Nodes[i].State + e.Nodes[i].Buffers
		cycles += e.Costliest(i).Value
	}
	if first != nil {
		takes, them := "takes", "it"
		if len(names) > 1 {
			takes, them = "take", "them"
		}
		text := strings.Join(names[:min(len(names), most)], ", ")
		if more := len(names) - most; more > 0 {
			text += fmt.Sprintf(" and %d more", more)
		}
		e.warn("unheard", first, "%s led to no output, and %s %v and %v a block: lead %s on, or leave %s out",
			isAre(text, len(names)), takes, bytes.Up(), blocks.Cycles(blocks.Ceil(cycles)), them, them)
	}
	for _, n := range g.Nodes {
		if n.demand.Jacks["audio_out"] > 0 && len(n.Inputs) > 0 && !e.sounds(n.Inputs[0]) {
			e.warn("silent", n, "only control values reach %s: they stand still or move in steps, which is no sound", n.Name)
		}
	}
}

func isAre(names string, n int) string {
	if n == 1 {
		return names + " is"
	}
	return names + " are"
}

// sounds tells whether any source of an input is audio.
func (e *Estimate) sounds(in Input) bool {
	for _, s := range in.Sources {
		if e.Graph.port(s).Kind == blocks.Audio {
			return true
		}
	}
	return len(in.Sources) == 0
}

// cautionLevels warns of factors below minus one that were written as bare
// numbers, as levels in decibels would be.
func (e *Estimate) cautionLevels() {
	for _, n := range e.Graph.Nodes {
		for i := range n.Block().Params {
			p := &n.Block().Params[i]
			factor, err := strconv.ParseFloat(n.Given[p.Name], 64)
			if err != nil || p.Unit != blocks.UnitRatio || factor >= -1 {
				continue
			}
			e.warn("level", n, "%s of %s is %g: it turns the signal over and makes it %g times as strong (%+.3g dB); a level is written '%g dB'",
				p.Name, n.Name, factor, -factor, blocks.Decibels(-factor), factor)
		}
	}
}

// cautionElsewhere tells of another bank for constants that would hold code and
// tables where the one that holds them is too small.
func (e *Estimate) cautionElsewhere() {
	g := e.Graph
	here := g.CodeBank()
	if here < 0 || e.Resource(g.Board.Banks[here].Name).Verdict < Unsure {
		return
	}
	var bytes blocks.Bytes
	for i := range e.code {
		bytes += alignUp(blocks.Bytes(blocks.Ceil(e.code[i].bytes.High)), 4)
	}
	for _, l := range g.Board.Layouts {
		bank := &g.Board.Banks[l.Bank]
		if l.Bank != here && bank.Kind.Constant() && e.Free(l.Bank) >= bytes {
			e.warn("elsewhere", nil, "%s has room for all code and tables: 'code: {run: %s}' in the graph lays them there, where reading them may take longer", bank.Name, bank.Name)
			return
		}
	}
}
