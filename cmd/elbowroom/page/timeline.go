package page

import (
	"fmt"
	"math"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// share is what one node, or what belongs to none, takes of a block of time.
type share struct {
	node        int // -1: none
	name        string
	kind        string
	mean, worst float64
}

// timelineOf lays out one block of time. The shares of the mean and of the worst
// block add up to their loads.
func timelineOf(e *estimator.Estimate) timeline {
	cpu := &e.CPU
	shares := sharesOf(e)
	whole := max(cpu.Budget, cpu.Mean.Total().Value, cpu.Worst.Total().Value)
	t := timeline{
		Budget:  figure{"cycles.budget", cpu.Budget, blocks.Cycles(math.Floor(cpu.Budget)).String()},
		Limit:   100 * cpu.Budget / whole,
		Seconds: blocks.Seconds(float64(e.Graph.BlockSize) / float64(e.Graph.SampleRate)).String(),
		Mean:    cyclesFigure("cycles.mean", cpu.Mean.Total().Value),
		Worst:   cyclesFigure("cycles.worst", cpu.Worst.Total().Value),
	}
	t.MeanShare, t.WorstShare = percent(t.Mean.Value, cpu.Budget), percent(t.Worst.Value, cpu.Budget)
	if cpu.WorstScene >= 0 {
		t.Scene = cpu.Scenes[cpu.WorstScene].Name
	}
	for i, s := range shares {
		row := timeRow{Number: i + 1, Node: s.node, Name: s.name, Mean: cyclesFigure("", s.mean), Worst: cyclesFigure("", s.worst), Share: percent(s.worst, cpu.Budget)}
		if s.node >= 0 {
			row.Block = e.Graph.Nodes[s.node].Block().Name
		}
		t.Rows = append(t.Rows, row)
	}
	t.Bars = []bar{
		barOf("mean", shares, whole, func(s share) float64 { return s.mean }),
		barOf("worst", shares, whole, func(s share) float64 { return s.worst }),
	}
	t.Bars[0].Summary = t.MeanShare + " taken, " + idle(cpu.Budget, t.Mean.Value)
	t.Bars[1].Summary = t.WorstShare + " taken, " + idle(cpu.Budget, t.Worst.Value)
	if worst := t.Worst.Value; worst > 0 && worst < enlargedBelow*whole {
		larger := barOf("worst, enlarged", shares, worst, func(s share) float64 { return s.worst })
		t.Enlarged = &larger
		t.Enlarged.Summary = fmt.Sprintf("%.0f times: only what is taken", whole/worst)
	}
	block := float64(e.Graph.BlockSize) / float64(e.Graph.SampleRate)
	for i := range 5 {
		t.Ticks = append(t.Ticks, tick{t.Limit * float64(i) / 4, blocks.Seconds(block * float64(i) / 4).String(), side(i, 4)})
	}
	return t
}

// enlargedBelow is the share of the picture under which what is taken is drawn a
// second time, larger.
const enlargedBelow = 0.4

func idle(budget, taken float64) string {
	if taken > budget {
		return percent(taken-budget, budget) + " too many"
	}
	return percent(budget-taken, budget) + " idle"
}

// sharesOf are the shares in the order in which the block is worked through.
// The mean is that of the scene whose mean is greatest, the worst that of the
// scene whose worst is: between them a node may play in one alone.
func sharesOf(e *estimator.Estimate) []share {
	g, cpu := e.Graph, &e.CPU
	meanScene := -1
	for s := range cpu.Scenes {
		if meanScene < 0 || cpu.Scenes[s].Mean.Total().Value > cpu.Scenes[meanScene].Mean.Total().Value {
			meanScene = s
		}
	}
	plays := func(node, scene int) bool { return scene < 0 || g.Plays(node, scene) }
	more := make([]float64, len(g.Nodes))
	for _, c := range e.WorstCauses() {
		if c.Node >= 0 {
			more[c.Node] += c.Cycles
		}
	}
	list := []share{{node: -1, name: "system", kind: "system", mean: cpu.Mean.System.Value, worst: cpu.Worst.System.Value}}
	left := share{node: -1, name: "memory that all share", kind: "shared", mean: cpu.Mean.Total().Value - list[0].mean, worst: cpu.Worst.Total().Value - list[0].worst}
	seen := make([]bool, len(g.Nodes))
	for _, step := range e.Schedule.Steps {
		if seen[step.Node] {
			continue // the second half of a delay that closes a loop
		}
		seen[step.Node] = true
		c := &e.Nodes[step.Node]
		s := share{node: step.Node, name: g.Nodes[step.Node].Name, kind: "node"}
		if plays(step.Node, meanScene) {
			s.mean = c.Mean.Value + c.Stalls.Value
		}
		if plays(step.Node, cpu.WorstScene) {
			s.worst = c.Mean.Value + c.Stalls.Value + more[step.Node]
		}
		left.mean, left.worst = left.mean-s.mean, left.worst-s.worst
		list = append(list, s)
	}
	if rounding := 1e-6 * cpu.Budget; left.mean > rounding || left.worst > rounding {
		left.mean, left.worst = max(left.mean, 0), max(left.worst, 0)
		list = append(list, left)
	}
	return list
}

// barOf draws shares one after the other; those too small to be told apart
// stand together.
func barOf(name string, shares []share, whole float64, takes func(share) float64) bar {
	b := bar{Name: name}
	at := 0.0
	var last *mark
	for i, s := range shares {
		width := 100 * takes(s) / whole
		if width <= 0 {
			continue
		}
		m := mark{Start: at, Width: width, Node: s.node, Kind: s.kind, Number: i + 1, Title: s.name + ", " + blocks.Cycles(takes(s)).String()}
		at += width
		if last != nil && last.Width < least && width < least {
			last.Width, last.Node, last.Number, last.Kind, last.Title = last.Width+width, -1, 0, "several", "several small shares"
			continue
		}
		m.label(s.name)
		b.Marks = append(b.Marks, m)
		last = &b.Marks[len(b.Marks)-1]
	}
	return b
}
