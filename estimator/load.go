package estimator

import (
	"math"
	"slices"

	"elbowroom/blocks"
)

// CPUUse is the cycles of a block of time. Each figure is a sum of three
// parts: compute, stalls and system.
type CPUUse struct {
	Budget float64 // cycles in a block: clock x block / sample rate

	Mean, Worst, Bound Load
	Scenes             []SceneLoad // empty: no scenes
	WorstScene         int         // index in Scenes; -1: no scenes
}

// Load is cycles a block by where they come from.
type Load struct{ Compute, Stalls, System blocks.Figure }

// Total is the whole load.
func (l Load) Total() blocks.Figure { return l.Compute.Plus(l.Stalls).Plus(l.System) }

// Plus adds loads part by part.
func (l Load) Plus(m Load) Load {
	return Load{l.Compute.Plus(m.Compute), l.Stalls.Plus(m.Stalls), l.System.Plus(m.System)}
}

// SceneLoad is the load while one scene plays.
type SceneLoad struct {
	Name        string
	Mean, Worst Load
}

// load adds up the cycles of a block of time, in the mean and at worst. The caches
// are cold in the bound alone: nothing in a graph empties them between two of its
// blocks.
func (e *Estimate) load() {
	g := e.Graph
	cpu := &e.CPU
	cpu.Budget = float64(g.Board.Clock) * float64(g.BlockSize) / float64(g.SampleRate)
	system := g.Board.SystemCycles
	always := SceneLoad{
		Mean:  Load{Stalls: e.shared.Stalls, System: blocks.Exactly(system.Cycles + g.Core.Interrupt.Cycles)},
		Worst: Load{Stalls: e.shared.WorstStalls, System: blocks.Exactly(system.Worst + g.Core.Interrupt.Worst)},
	}
	if system.Worst > system.Cycles {
		// What the board states as the worst is the upper edge of its guess.
		always.Mean.System.High = system.Worst + g.Core.Interrupt.Worst
	}
	in := g.scenesOf()
	scenes := max(len(g.Scenes), 1)
	loads := make([]SceneLoad, scenes)
	hops := make([][]Hop, scenes)
	cold := make([]blocks.Figure, scenes)
	for s := range loads {
		loads[s], cold[s] = always, e.shared.ColdStalls
		if len(g.Scenes) > 0 {
			loads[s].Name = g.Scenes[s].Name
		}
	}
	for i := range g.Nodes {
		c := &e.Nodes[i]
		for s := range loads {
			if len(in[i]) > 0 && !slices.Contains(in[i], s) {
				continue
			}
			loads[s].Mean.Compute = loads[s].Mean.Compute.Plus(c.Mean)
			loads[s].Worst.Compute = loads[s].Worst.Compute.Plus(c.Worst)
			loads[s].Mean.Stalls = loads[s].Mean.Stalls.Plus(c.Stalls)
			loads[s].Worst.Stalls = loads[s].Worst.Stalls.Plus(c.WorstStalls)
			cold[s] = cold[s].Plus(c.ColdStalls)
			hops[s] = append(hops[s], c.Hops...)
		}
	}
	cpu.WorstScene = -1
	for s := range loads {
		bound := loads[s].Worst
		_, reachable, together := worstBlock(hops[s], g.BlockSize)
		loads[s].Worst = loads[s].Worst.Plus(reachable)
		bound.Compute, bound.Stalls = bound.Compute.Plus(together.Compute), cold[s]
		for _, h := range hops[s] {
			bound.Stalls = bound.Stalls.Plus(h.Cold.Times(mostDue(h, g.BlockSize)))
		}
		if loads[s].Mean.Total().Value > cpu.Mean.Total().Value {
			cpu.Mean = loads[s].Mean
		}
		if loads[s].Worst.Total().Value > cpu.Worst.Total().Value {
			cpu.Worst = loads[s].Worst
			if len(g.Scenes) > 0 {
				cpu.WorstScene = s
			}
		}
		if bound.Total().Value > cpu.Bound.Total().Value {
			cpu.Bound = bound
		}
	}
	if len(g.Scenes) > 0 {
		cpu.Scenes = loads
	}
}

// mostBlocks is how many blocks are looked at for coinciding hops; where their
// pattern is longer than that, everything at once is taken.
const mostBlocks = 4096

// worstBlock is the block in which most hop work falls due, counted from the first,
// with that work, given that all hops count from the first sample, and what it would
// be if all fell at once; -1 where the block is not looked for and everything at once
// is taken.
func worstBlock(hops []Hop, block int) (at int, reachable, together Load) {
	if len(hops) == 0 {
		return 0, reachable, together
	}
	for _, h := range hops {
		together = together.Plus(h.load(mostDue(h, block)))
	}
	period := hopsPeriod(hops, block)
	if period == 0 {
		return -1, together, together
	}
	for b := range period {
		var sum Load
		for _, h := range hops {
			sum = sum.Plus(h.load(due(h, b, block)))
		}
		if sum.Total().Value > reachable.Total().Value {
			at, reachable = b, sum
		}
	}
	return at, reachable, together
}

// hopsPeriod is after how many blocks the pattern of hops repeats; 0: not within
// mostBlocks, or never.
func hopsPeriod(hops []Hop, block int) int {
	period := 1.0
	for _, h := range hops {
		if h.Every != math.Round(h.Every) {
			return 0
		}
		if period = leastCommonMultiple(period, h.Every/commonDivisor(h.Every, float64(block))); period > mostBlocks {
			return 0
		}
	}
	return int(period)
}

// HopsPeriod is after how many blocks the work of all nodes that falls due at known
// samples comes round; 0: not within a few thousand.
func (e *Estimate) HopsPeriod() int {
	var hops []Hop
	for i := range e.Nodes {
		hops = append(hops, e.Nodes[i].Hops...)
	}
	return hopsPeriod(hops, e.Graph.BlockSize)
}

// load is what a hop takes when it falls due so many times.
func (h *Hop) load(times float64) Load {
	return Load{Compute: h.Cycles.Times(times), Stalls: h.Stalls.Times(times)}
}

// due is how often a hop falls due in a block, counted from the first.
func due(h Hop, b, block int) float64 {
	start := float64(b * block)
	return math.Ceil((start+float64(block)-h.Offset)/h.Every) - math.Ceil((start-h.Offset)/h.Every)
}

// mostDue is how often a hop falls due in a block at most.
func mostDue(h Hop, block int) float64 { return math.Ceil(float64(block) / h.Every) }

func commonDivisor(a, b float64) float64 {
	for b != 0 {
		a, b = b, math.Mod(a, b)
	}
	return a
}

func leastCommonMultiple(a, b float64) float64 { return a / commonDivisor(a, b) * b }
