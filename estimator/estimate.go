package estimator

import (
	"math"

	"elbowroom/blocks"
)

// Estimate is what a graph needs of its board, and whether it fits.
type Estimate struct {
	Graph     *Graph
	Schedule  *Schedule
	Nodes     []NodeCost // one for each of the graph's nodes
	Banks     []BankUse  // one for each of the board's banks
	Objects   []Object
	Placement Placement
	Constants Constants
	Horizon   float64 // how many blocks back the cache still holds what was touched; +Inf: for ever
	CPU       CPUUse
	Jacks     []JackCount
	Latency   Latency
	Resources []Resource
	Cautions  []Caution
	Verdict   Verdict

	code   []flashItem // what lies in flash, each charged once
	shared NodeStalls  // of what belongs to no single node
}

// NodeCost is what one node takes, all its copies together.
type NodeCost struct {
	Copies  int
	State   blocks.Bytes
	Buffers blocks.Bytes // in RAM, tables and wires left out
	Code    string       // key of its kernel; "" where it has none
	Mean    blocks.Figure
	Worst   blocks.Figure // in its costliest block, hops left out
	NodeStalls
	Hops   []Hop
	Basis  blocks.Basis
	Source string       // of Mean and Worst
	Kernel blocks.Bytes // of its kernel, which nodes of equal Code share
	Own    blocks.Bytes // in flash, of the node alone, as a program was built
	Built  string       // the program that its bytes were read from; "": none

	routines []string    // library routines of its kernel and of what feeds it
	wiring   []CyclePart // of one copy
}

// NodeStalls is the cycles a block that a node waits for memory.
type NodeStalls struct {
	Stalls      blocks.Figure // in the mean
	WorstStalls blocks.Figure // in its costliest block, hops left out, the caches as they are in the mean
	ColdStalls  blocks.Figure // in its costliest block, hops left out, the caches cold
}

// Hop is work of a node that falls due at known samples, all its copies together,
// with what it waits for memory each time.
type Hop struct {
	blocks.Hop
	Stalls blocks.Figure // the caches as they are in the mean
	Cold   blocks.Figure // the caches cold
}

// Due is what of a node's work that falls due at known samples falls at most into
// one block, and what the node waits for memory in that block beyond its mean.
func (e *Estimate) Due(node int) (cycles, stalls blocks.Figure) {
	c := &e.Nodes[node]
	if len(c.Hops) == 0 {
		return cycles, stalls
	}
	_, reachable, _ := worstBlock(c.Hops, e.Graph.BlockSize)
	w, m := c.WorstStalls.Plus(reachable.Stalls), c.Stalls
	return reachable.Compute, blocks.Figure{Value: w.Value - m.Value, Low: w.Low - m.Low, High: w.High - m.High}
}

// Costliest is the cycles that a node takes in its costliest block, hops and waits
// for memory within.
func (e *Estimate) Costliest(node int) blocks.Figure {
	c := &e.Nodes[node]
	cycles, stalls := e.Due(node)
	return c.Worst.Plus(c.Stalls).Plus(cycles).Plus(stalls)
}

// BankUse is what lies in one bank.
type BankUse struct {
	Parts   [numParts]blocks.Bytes // their sum is Used
	Used    blocks.Bytes
	Figure  blocks.Figure // Used with its band
	Usable  blocks.Bytes
	Regions []Region
}

// Estimate answers for a graph. The error names the node whose costs could not
// be worked out.
func (g *Graph) Estimate() (*Estimate, error) { return g.estimate(placeSteps) }

// EstimateThoroughly answers for the one graph that is asked for, of which more
// may be proven than of the many that are tried on the way.
func (g *Graph) EstimateThoroughly() (*Estimate, error) { return g.estimate(thoroughSteps) }

func (g *Graph) estimate(placeSteps int) (*Estimate, error) {
	for _, n := range g.Nodes {
		if n.estimated == nil {
			d, err := n.Use.Demand(g.Core)
			if err != nil {
				return nil, n.Place.Mistake("", "%v", err)
			}
			if n.Use.Own != nil {
				for i := range d.Code {
					d.Code[i].Key = n.Name
				}
			}
			n.estimated = d
		}
		n.demand, n.built = g.asMeasured(n)
	}
	e := &Estimate{Graph: g, Schedule: g.schedule(), Nodes: make([]NodeCost, len(g.Nodes))}
	e.compute()
	e.code = e.memory(placeSteps)
	e.shared = e.stalls()
	e.load()
	e.fill()
	e.jacks()
	e.latency()
	e.judge()
	e.caution()
	return e, nil
}

// compute works out the cycles of each node's own work.
func (e *Estimate) compute() {
	g := e.Graph
	split := map[int]bool{}
	for _, i := range e.Schedule.Split {
		split[i] = true
	}
	for i, n := range g.Nodes {
		c := &e.Nodes[i]
		d := n.demand
		c.Copies, c.Basis, c.Source = g.Copies(n), d.Basis, d.Source
		parts, routines := g.wiring(n)
		c.routines = append(routines, d.Routines...)
		if split[i] {
			call := g.Core.CallCost(n.Use.Style)
			parts = append(parts, CyclePart{"second call", call, call})
		}
		mean, worst := d.Mean, d.Worst
		if f, _, ok := g.factor(n); ok { // the wires were timed with the kernel
			for k := range parts {
				parts[k].Mean, parts[k].Worst = parts[k].Mean.By(f), parts[k].Worst.By(f)
			}
		}
		for _, p := range parts {
			mean, worst = mean.Plus(p.Mean), worst.Plus(p.Worst)
		}
		copies := float64(c.Copies)
		c.wiring = parts
		c.Mean, c.Worst = mean.Times(copies), worst.Times(copies)
		c.State = d.State * blocks.Bytes(c.Copies)
		for _, h := range d.Hops {
			h.Cycles = h.Cycles.Times(copies)
			c.Hops = append(c.Hops, Hop{Hop: h})
		}
		for _, b := range d.Buffers {
			c.Buffers += b.Bytes * blocks.Bytes(c.Copies)
		}
		if len(d.Code) > 0 {
			c.Code = d.Code[0].Key
		}
		c.Built = n.built
		for _, code := range d.Code {
			if bytes := blocks.Bytes(math.Ceil(code.Bytes.Value)); code.Key == n.ownKey() {
				c.Own += bytes
			} else {
				c.Kernel += bytes
			}
		}
	}
}

// CyclePart is a part of the cycles a block of a node, by what brings it about:
// a term of its kernel (blocks.Term), or of what lies around the kernel: sums,
// moves, voices, calls for each sample, second call.
type CyclePart struct {
	Name        string
	Mean, Worst blocks.Figure
}

// CycleParts are the parts of a node's mean and worst cycles, all its copies
// together.
func (e *Estimate) CycleParts(node int) []CyclePart {
	var parts []CyclePart
	for _, t := range e.Graph.Nodes[node].demand.Terms {
		parts = append(parts, CyclePart(t))
	}
	parts = append(parts, e.Nodes[node].wiring...)
	for i := range parts {
		copies := float64(e.Nodes[node].Copies)
		parts[i].Mean, parts[i].Worst = parts[i].Mean.Times(copies), parts[i].Worst.Times(copies)
	}
	return parts
}

// wiring is the cycles that one copy of a node spends on what feeds it: sums,
// moved parameters, and adding its voice to those of its group; with the
// library routines that takes.
func (g *Graph) wiring(n *Node) (parts []CyclePart, routines []string) {
	style, block := n.Use.Style, float64(g.BlockSize)
	add := func(name string, meanTimes, worstTimes float64, work ...blocks.Work) {
		m, w, names := g.Core.Price(style, work...)
		m, w = m.Times(meanTimes), w.Times(worstTimes)
		if k := len(parts) - 1; k >= 0 && parts[k].Name == name {
			parts[k].Mean, parts[k].Worst = parts[k].Mean.Plus(m), parts[k].Worst.Plus(w)
		} else {
			parts = append(parts, CyclePart{name, m, w})
		}
		routines = append(routines, names...)
	}
	for i := range n.Inputs {
		in := &n.Inputs[i]
		k := float64(len(in.Sources))
		if ch := in.sumChannels(n); ch > 0 {
			times := block * float64(ch)
			add("sums", times, times, sumWork(k)...)
		} else if k > 1 && in.Port.Kind == blocks.Control {
			add("sums", n.Use.MeanTicks, n.Use.MostTicks, blocks.Work{Class: blocks.OpLoad, Times: k}, blocks.Work{Class: blocks.OpAdd, Times: k - 1})
		}
	}
	for _, d := range n.Drives {
		meanTimes, worstTimes := n.Use.MeanTicks, n.Use.MostTicks
		if n.Use.Settings[d.Param].Moved == blocks.ByAudio {
			meanTimes, worstTimes = block, block
		}
		add("moves", meanTimes, worstTimes, d.work()...)
	}
	if n.Group >= 0 && g.Groups[n.Group].Out >= 0 && g.Nodes[g.Groups[n.Group].Out] == n {
		times := block * float64(n.outChannels(0))
		add("voices", times, times, voiceWork()...)
	}
	if style.PerSample && n.demand.Timed && n.Block().Processes() == blocks.Audio {
		add("calls", block, block, n.steppingWork()...)
	}
	return parts, routines
}

// work is what mapping one value of a mover to the span of a parameter takes:
// low + x (high - low), or low times 2^(x log2(high/low)).
func (d *Drive) work() []blocks.Work {
	work := []blocks.Work{
		{Class: blocks.OpLoad, Times: 3}, {Class: blocks.OpMul, Times: 1}, {Class: blocks.OpAdd, Times: 1}, {Class: blocks.OpStore, Times: 1},
	}
	if d.Curve == Exponential {
		work = append(work, blocks.Work{Class: blocks.OpExp2, Times: 1}, blocks.Work{Class: blocks.OpMul, Times: 1})
	}
	return work
}
