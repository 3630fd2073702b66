package estimator

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// CauseKind is why a block of time takes more than the mean.
type CauseKind string

// Causes. The last two count in the bound alone.
const (
	CauseHops     CauseKind = "hops"        // work that falls due in this block
	CauseEvents   CauseKind = "events"      // as many as can come in one block
	CauseControl  CauseKind = "control"     // as many control periods as can begin in one block
	CauseData     CauseKind = "data"        // the costliest that the signal can bring about
	CauseStalls   CauseKind = "stalls"      // of what is worked more
	CauseSystem   CauseKind = "system"      // the run time and its interrupt
	CauseTogether CauseKind = "all hops"    // hops that never meet, all at once
	CauseCold     CauseKind = "cold caches" // everything fetched anew
)

// Cause is one reason why the worst block takes more than the mean one, or the
// bound more than the worst block.
type Cause struct {
	Kind   CauseKind
	Node   int // index in Nodes; -1: none
	Cycles float64
}

// WorstCauses are the reasons why the reachable worst block takes more than the
// mean one of its scene, the largest first. They add up to what it takes more.
func (e *Estimate) WorstCauses() []Cause {
	g := e.Graph
	var causes []Cause
	add := func(kind CauseKind, node int, cycles float64) {
		if cycles == 0 {
			return
		}
		for i := len(causes) - 1; i >= 0 && causes[i].Node == node; i-- {
			if causes[i].Kind == kind {
				causes[i].Cycles += cycles
				return
			}
		}
		causes = append(causes, Cause{kind, node, cycles})
	}
	playing := e.playing()
	at, _, _ := worstBlock(e.hops(playing), g.BlockSize)
	for i, n := range g.Nodes {
		if !playing[i] {
			continue
		}
		for _, p := range e.CycleParts(i) {
			group, _, _ := strings.Cut(p.Name, ".")
			kind := CauseData
			switch {
			case group == "events":
				kind = CauseEvents
			case group == "recurring":
				kind = CauseHops
			case group == "updates", group == "moves", n.Block().Processes() == blocks.Control:
				kind = CauseControl
			}
			add(kind, i, p.Worst.Value-p.Mean.Value)
		}
		c := &e.Nodes[i]
		waits := c.WorstStalls.Value - c.Stalls.Value
		for _, h := range c.Hops {
			times := mostDue(h, g.BlockSize)
			if at >= 0 {
				times = due(h, at, g.BlockSize)
			}
			add(CauseHops, i, times*h.Cycles.Value)
			waits += times * h.Stalls.Value
		}
		add(CauseStalls, i, waits)
	}
	add(CauseStalls, -1, e.shared.WorstStalls.Value-e.shared.Stalls.Value)
	worst, mean := e.worstScene()
	add(CauseSystem, -1, worst.System.Value-mean.System.Value)
	slices.SortStableFunc(causes, func(a, b Cause) int { return cmp.Compare(b.Cycles, a.Cycles) })
	return causes
}

// Coinciding are the nodes whose work that falls due now and then meets in the
// worst block and so makes it too much: what each takes and waits there more than
// in the mean, the largest first. There are none where the cycles suffice, or would
// not if only the largest of them fell into that block.
func (e *Estimate) Coinciding() []Cause {
	cpu := e.Resource("cpu")
	var hops []Cause
	sum := 0.0
	more := map[int]float64{} // what each node takes and waits
	for _, c := range e.WorstCauses() {
		if c.Kind == CauseHops && c.Cycles > 0 {
			hops = append(hops, c)
		}
		if c.Kind == CauseHops || c.Kind == CauseStalls && c.Node >= 0 && len(e.Nodes[c.Node].Hops) > 0 {
			more[c.Node] += c.Cycles
		}
	}
	for i := range hops {
		hops[i].Cycles = more[hops[i].Node]
		sum += hops[i].Cycles
	}
	slices.SortStableFunc(hops, func(a, b Cause) int { return cmp.Compare(b.Cycles, a.Cycles) })
	if len(hops) < 2 || cpu.Used.High <= cpu.Limit {
		return nil
	}
	worst, _ := e.worstScene()
	apart := 1 - (sum-hops[0].Cycles)/worst.Total().Value
	if cpu.Used.High*apart > cpu.Limit { // the band is that of the whole
		return nil
	}
	return hops
}

// BoundCauses are the reasons why the bound is more than the worst block.
func (e *Estimate) BoundCauses() []Cause {
	var causes []Cause
	bound, worst := e.CPU.Bound, e.CPU.Worst
	if more := bound.Compute.Value - worst.Compute.Value; more > 0 {
		causes = append(causes, Cause{CauseTogether, -1, more})
	}
	if more := bound.Stalls.Value - worst.Stalls.Value; more > 0 {
		causes = append(causes, Cause{CauseCold, -1, more})
	}
	return causes
}

// worstScene is the load of the scene whose worst block is worst.
func (e *Estimate) worstScene() (worst, mean Load) {
	if s := e.CPU.WorstScene; s >= 0 {
		return e.CPU.Scenes[s].Worst, e.CPU.Scenes[s].Mean
	}
	return e.CPU.Worst, e.CPU.Mean
}

// playing tells which nodes run in the worst scene.
func (e *Estimate) playing() []bool {
	all := make([]bool, len(e.Graph.Nodes))
	for i, scenes := range e.Graph.scenesOf() {
		all[i] = len(scenes) == 0 || slices.Contains(scenes, e.CPU.WorstScene)
	}
	return all
}

// hops are those of all nodes that play.
func (e *Estimate) hops(playing []bool) []Hop {
	var hops []Hop
	for i := range e.Nodes {
		if playing[i] {
			hops = append(hops, e.Nodes[i].Hops...)
		}
	}
	return hops
}

// Relief says what would make the worst block lighter, by the largest cause of
// what it takes more than the mean; "": it takes hardly more.
func (e *Estimate) Relief() string {
	causes := e.WorstCauses()
	worst, mean := e.worstScene()
	if len(causes) == 0 || worst.Total().Value-mean.Total().Value < eventShare*e.CPU.Budget {
		return ""
	}
	c := causes[0]
	if c.Node < 0 {
		return ""
	}
	name := e.Graph.Nodes[c.Node].Name
	much := blocks.Cycles(c.Cycles)
	switch c.Kind {
	case CauseHops:
		if saved := e.moved(c.Node); saved > 0 {
			return fmt.Sprintf("begin the work that %s does now and then in a block in which less falls due: the worst block takes %v less", name, blocks.Cycles(saved))
		}
		return fmt.Sprintf("split the work that %s does now and then over several blocks: in one it takes %v more than in the mean", name, much)
	case CauseEvents:
		return fmt.Sprintf("let fewer events reach %s in one block, by a lower greatest rate, or spread them over larger blocks: they take %v more than in the mean", name, much)
	case CauseControl:
		return fmt.Sprintf("lower the control rate, or choose blocks of a whole number of control periods: %s takes %v more than in the mean", name, much)
	}
	return fmt.Sprintf("look for a lighter stand-in for %s, whose costliest signal takes %v more than an ordinary one", name, much)
}

// moved is how much less the worst block takes where the hops of a node begin
// some blocks later, at the best.
func (e *Estimate) moved(node int) float64 {
	playing := e.playing()
	block := e.Graph.BlockSize
	_, now, _ := worstBlock(e.hops(playing), block)
	playing[node] = false
	others := e.hops(playing)
	own := e.Nodes[node].Hops
	var longest float64
	for _, h := range own {
		longest = max(longest, h.Every)
	}
	best := now.Total().Value
	for later := block; float64(later) < longest && later < mostMoves*block; later += block {
		all := slices.Clone(others)
		for _, h := range own {
			h.Offset += float64(later)
			all = append(all, h)
		}
		_, reachable, _ := worstBlock(all, block)
		best = min(best, reachable.Total().Value)
	}
	return now.Total().Value - best
}

// mostMoves is in how many blocks it is tried whether a hop falls better.
const mostMoves = 64
