package estimator

import "elbowroom/blocks"

// stalls adds up, for every object, the cycles that its accesses wait for the
// memory it lies in. It returns the stalls of what belongs to no single node.
func (e *Estimate) stalls() (shared blocks.Figure) {
	g := e.Graph
	together := e.cachedTogether()
	for i := range e.Objects {
		o := &e.Objects[i]
		f := g.Board.StallBand.Within(g.stallCycles(o, e.Placement.Bank[i], together))
		if o.Node >= 0 {
			e.Nodes[o.Node].Stalls = e.Nodes[o.Node].Stalls.Plus(f)
		} else {
			shared = shared.Plus(f)
		}
	}
	return shared
}

// waits is the cycles a block that all objects wait together, as placement
// counts them: all scenes at once.
func (e *Estimate) waits() float64 {
	together, sum := e.cachedTogether(), 0.0
	for i := range e.Objects {
		sum += e.Graph.stallCycles(&e.Objects[i], e.Placement.Bank[i], together)
	}
	return sum
}

// cachedTogether tells whether all that lies in cached banks fits into the
// cache together, so that nothing is fetched twice.
func (e *Estimate) cachedTogether() bool {
	var cached blocks.Bytes
	for i := range e.Objects {
		if e.Graph.Board.Banks[e.Placement.Bank[i]].Cached {
			cached += e.Objects[i].Bytes
		}
	}
	return cached <= e.Graph.Board.Cache.Bytes
}

// stallCycles is the cycles a block that the accesses to an object would wait
// for memory if it lay in a bank. Placement and load both ask here, so that
// what is minimised is what is told.
//
// A bank that is not cached costs so much an access. A cached one costs line
// fills and write-backs, but nothing where all that lies in cached banks fits
// into the cache together, which cachedTogether tells.
func (g *Graph) stallCycles(o *Object, bank int, cachedTogether bool) float64 {
	b := &g.Board.Banks[bank]
	cycles := o.Reads*b.Read + o.Writes*b.Write
	if b.Cached {
		cycles = 0
		if !cachedTogether {
			fills, backs := o.lines(g.Board.Cache.Line)
			cycles = fills*b.LineFill + backs*b.WriteBack
		}
	}
	return cycles * float64(g.BlockSize)
}

// lines is how many cache lines a sample an object fetches and writes back. A
// stream is fetched line by line, as many streams as are written; a tap is
// fetched line by line for each of its reads; a random access fetches a line
// each time.
func (o *Object) lines(line blocks.Bytes) (fills, backs float64) {
	share := min(float64(o.Element)/float64(max(line, 1)), 1)
	if o.Pattern == blocks.Random {
		return o.Reads + o.Writes, o.Writes
	}
	streams := o.Reads
	if o.Pattern == blocks.Stream && o.Writes > 0 {
		streams = min(o.Reads, o.Writes)
	}
	return (streams + o.Writes) * share, o.Writes * share
}
