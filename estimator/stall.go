package estimator

import (
	"math"
	"slices"

	"elbowroom/blocks"
)

// Stalls is the cycles that something waits for memory each time that it is
// touched, in a block or in a turn of recurring work: in the mean, and where the
// caches are cold and all is fetched anew.
type Stalls struct{ Mean, Cold float64 }

// stalls adds up, for every node, the cycles that it waits for memory: for what
// lies in RAM, for constants in flash, and for its code where that is not
// cached. It returns the stalls of what belongs to no single node.
func (e *Estimate) stalls() (shared NodeStalls) {
	g := e.Graph
	band := g.Board.StallBand
	add := func(node int, s Stalls) {
		to := &shared
		if node >= 0 {
			to = &e.Nodes[node].NodeStalls
		}
		to.Stalls = to.Stalls.Plus(band.Within(s.Mean))
		to.WorstStalls = to.WorstStalls.Plus(band.Within(s.Mean))
		to.ColdStalls = to.ColdStalls.Plus(band.Within(s.Cold))
	}
	touch := func(o *Object, bank int) {
		s := g.objectStalls(o, bank, e.Horizon)
		if o.Every == 0 {
			add(o.Node, s)
			return
		}
		mean := band.Within(s.Mean * float64(g.BlockSize) / o.Every)
		if o.Node < 0 { // what several nodes touch may fall due in any block
			shared.Stalls = shared.Stalls.Plus(mean)
			shared.WorstStalls = shared.WorstStalls.Plus(band.Within(s.Mean))
			shared.ColdStalls = shared.ColdStalls.Plus(band.Within(s.Cold))
			return
		}
		c := &e.Nodes[o.Node]
		c.Stalls = c.Stalls.Plus(mean)
		h := &c.Hops[slices.IndexFunc(c.Hops, func(h Hop) bool { return h.Name == o.Due })]
		h.Stalls, h.Cold = h.Stalls.Plus(band.Within(s.Mean)), h.Cold.Plus(band.Within(s.Cold))
	}
	e.Horizon = e.horizon()
	for i := range e.Objects {
		touch(&e.Objects[i], e.Placement.Bank[i])
	}
	for i := range e.Constants.Tables {
		touch(&e.Constants.Tables[i], g.CodeBank())
	}
	add(-1, e.codeStalls())
	if fetch := g.Board.Banks[g.Run].Fetch; fetch > 0 {
		for i := range e.Nodes {
			c := &e.Nodes[i]
			if c.Basis <= blocks.Stated {
				continue // what was stated or measured holds the fetching
			}
			c.Stalls = c.Stalls.Plus(band.Within(c.Mean.Value * fetch))
			c.WorstStalls = c.WorstStalls.Plus(band.Within(c.Worst.Value * fetch))
			c.ColdStalls = c.ColdStalls.Plus(band.Within(c.Worst.Value * fetch))
			for k := range c.Hops {
				h := &c.Hops[k]
				waits := band.Within(h.Cycles.Value * fetch)
				h.Stalls, h.Cold = h.Stalls.Plus(waits), h.Cold.Plus(waits)
			}
		}
	}
	return shared
}

// horizon is how many blocks back the cache still holds what was touched, of
// those that are asked for; 0: not even what was touched in one.
func (e *Estimate) horizon() float64 {
	g := e.Graph
	kept := 0.0
	for _, k := range g.horizons(e.Objects) {
		held := e.Constants.footprint(g, k)
		for i := range e.Objects {
			if g.Board.Banks[e.Placement.Bank[i]].Cached {
				held += g.footprint(&e.Objects[i], k)
			}
		}
		if held > g.Board.Cache.Bytes {
			break
		}
		kept = k
	}
	return kept
}

// Constants is what lies in flash and is read, or run from there or from RAM, while
// audio plays.
type Constants struct {
	Tables []Object
	Code   blocks.Bytes // of kernels and library routines, what runs while audio plays
}

// footprint is how many bytes the constants take up of the cache of data with
// what is touched of them in so many blocks. Code runs through once a block, in
// the cache of data where it has none of its own.
func (c *Constants) footprint(g *Graph, horizon float64) (held blocks.Bytes) {
	if g.Board.Banks[g.CodeBank()].Cached {
		for i := range c.Tables {
			held += g.footprint(&c.Tables[i], horizon)
		}
	}
	if g.Board.CodeCache.Bytes == 0 && g.Board.Banks[g.Run].Cached {
		held += alignUp(c.Code, g.Board.Cache.Line)
	}
	return held
}

// codeStalls is the cycles a block that code waits to be fetched by lines: none
// where all that runs in a block stays in the cache. In a cache of its own what
// goes beyond it throws out, way by way, one way more than itself.
func (e *Estimate) codeStalls() Stalls {
	board := e.Graph.Board
	b := &board.Banks[e.Graph.Run]
	cache := &board.CodeCache
	alone := cache.Bytes > 0
	if !alone {
		cache = &board.Cache
	}
	if !b.Cached {
		return Stalls{}
	}
	all := math.Ceil(float64(e.Constants.Code)/float64(cache.Line)) * b.LineFill
	s := Stalls{Cold: all}
	beyond := float64(e.Constants.Code - cache.Bytes)
	switch {
	case alone && beyond > 0:
		s.Mean = all * min(1, beyond*float64(cache.Ways+1)/float64(e.Constants.Code))
	case !alone && e.Horizon < 1:
		s.Mean = all
	}
	return s
}

// codeWaits is the cycles a block, in the mean, that code would wait to be fetched if
// it ran from a bank and all else were as it is.
func (e *Estimate) codeWaits(bank int) float64 {
	g, moved := *e.Graph, *e
	g.Run, moved.Graph = bank, &g
	moved.Horizon = moved.horizon()
	waits := moved.codeStalls().Mean
	for i := range e.Nodes {
		if c := &e.Nodes[i]; c.Basis > blocks.Stated {
			waits += c.Mean.Value * g.Board.Banks[bank].Fetch
		}
	}
	return waits
}

// waits is the cycles a block that all objects wait together, as placement
// counts them: all scenes at once.
func (e *Estimate) waits() float64 {
	horizon, sum := e.horizon(), 0.0
	for i := range e.Objects {
		sum += e.Graph.waits(&e.Objects[i], e.Placement.Bank[i], horizon)
	}
	return sum
}

// waits is the cycles a block, in the mean, that the accesses to an object would
// wait for memory if it lay in a bank.
func (g *Graph) waits(o *Object, bank int, horizon float64) float64 {
	return g.stallCycles(o, bank, horizon) * float64(g.BlockSize) / g.stretch(o)
}

// objectStalls is the stalls of an object in a bank, each time that it is touched.
func (g *Graph) objectStalls(o *Object, bank int, horizon float64) Stalls {
	return Stalls{Mean: g.stallCycles(o, bank, horizon), Cold: g.stallCycles(o, bank, 0)}
}

// stallCycles is the cycles that the accesses to an object would wait for memory if
// it lay in a bank, each time that it is touched, in a block or in a turn, given how
// many blocks back the cache reaches.
// Placement and load both ask here, so that what is minimised is what is told.
//
// A bank that is not cached costs so much an access. A cached one costs line
// fills and write-backs. A DMA buffer in a cached bank is dropped from the cache
// before it is read, so that it is always fetched, and cleaned after it was
// written.
func (g *Graph) stallCycles(o *Object, bank int, horizon float64) float64 {
	b, cache := &g.Board.Banks[bank], &g.Board.Cache
	if !b.Cached {
		return (o.Reads*b.Read + o.Writes*b.Write) * g.stretch(o)
	}
	if !o.DMA {
		fills, backs, past := g.lines(o, horizon)
		return fills*b.LineFill + backs*b.WriteBack + past*b.Write
	}
	lines := math.Ceil(o.frame() * g.stretch(o) / float64(cache.Line))
	cycles := lines * cache.Maintenance
	if o.Reads > 0 {
		cycles += lines * b.LineFill
	}
	if o.Writes > 0 {
		fills, _, past := g.lines(o, horizon)
		cycles += fills*b.LineFill + past*b.Write + lines*b.WriteBack
	}
	return cycles
}

// LeastWait is the cycles a block, its whole band counted, that the accesses to
// an object wait at least for memory if it lies in a bank, whatever else the
// cache holds.
func (g *Graph) LeastWait(o *Object, bank int) float64 {
	horizon := math.Inf(1)
	if o.Pattern != blocks.Random && o.Bytes > g.Board.Cache.Bytes {
		horizon = 1 // no cache keeps it until it comes round
	}
	return g.Board.StallBand.Within(g.waits(o, bank, horizon)).High
}
