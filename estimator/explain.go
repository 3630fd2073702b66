package estimator

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// Move is what it would mean for an object to lie in another bank.
type Move struct {
	Bank int
	// Bars says why it may not lie there whatever the room; "": it may.
	Bars string
	// Short is what is missing of the room there; 0: it would fit.
	Short blocks.Bytes
	// Cycles is what all objects together would wait more in a block; below 0:
	// less.
	Cycles float64
	// Reserve tells that it would fit only in what was asked to stay free.
	Reserve bool
}

// Weighing is a placement with what all objects in it wait, at each horizon
// that the cache might reach back to, so that the moves of one are quickly
// weighed.
type Weighing struct {
	e        *Estimate
	horizons []float64
	held     []blocks.Bytes // of the cache, within each horizon
	waits    []float64      // cycles a block
}

// Weigh weighs the placement.
func (e *Estimate) Weigh() *Weighing {
	g := e.Graph
	w := &Weighing{e: e, horizons: append([]float64{0}, g.horizons(e.Objects)...)}
	w.held, w.waits = make([]blocks.Bytes, len(w.horizons)), make([]float64, len(w.horizons))
	for k, horizon := range w.horizons {
		w.held[k] = e.Constants.footprint(g, horizon)
		for i := range e.Objects {
			w.put(k, i, e.Placement.Bank[i], 1)
		}
	}
	return w
}

// put adds an object in a bank to what is weighed at a horizon, or takes it
// away.
func (w *Weighing) put(k, object, bank, sign int) {
	g, o := w.e.Graph, &w.e.Objects[object]
	if g.Board.Banks[bank].Cached {
		w.held[k] += blocks.Bytes(sign) * g.footprint(o, w.horizons[k])
	}
	w.waits[k] += float64(sign) * g.waits(o, bank, w.horizons[k])
}

// total is what all objects wait.
func (w *Weighing) total() float64 {
	k := 0
	for k+1 < len(w.horizons) && w.held[k+1] <= w.e.Graph.Board.Cache.Bytes {
		k++
	}
	return w.waits[k]
}

// moved is what all objects would wait if one lay in another bank.
func (w *Weighing) moved(object, bank int) float64 {
	here := w.e.Placement.Bank[object]
	for k := range w.horizons {
		w.put(k, object, here, -1)
		w.put(k, object, bank, 1)
	}
	total := w.total()
	for k := range w.horizons {
		w.put(k, object, bank, -1)
		w.put(k, object, here, 1)
	}
	return total
}

// Moves are what it would mean for an object to lie in each other bank, in the
// order of the board.
func (w *Weighing) Moves(object int) []Move {
	e, g := w.e, w.e.Graph
	o := &e.Objects[object]
	here := e.Placement.Bank[object]
	now := w.total()
	var moves []Move
	for b := range g.Board.Banks {
		bank := &g.Board.Banks[b]
		if b == here || bank.Kind.Constant() {
			continue
		}
		m := Move{Bank: b}
		switch {
		case o.Pin >= 0:
			m.Bars = "the file pins it to " + g.Board.Banks[o.Pin].Name
		case o.DMA && !bank.DMA:
			m.Bars = "the audio DMA does not reach it"
		}
		if m.Bars == "" {
			free := bank.Usable() - alignUp(e.Banks[b].Used, o.Align)
			m.Short = max(o.Bytes-free, 0)
			m.Reserve = m.Short == 0 && float64(free-o.Bytes) < float64(bank.Usable())*g.Reserve.Memory
			m.Cycles = w.moved(object, b) - now
		}
		moves = append(moves, m)
	}
	return moves
}

// Why says why an object lies where it does, from what its moves would mean.
func (w *Weighing) Why(object int, moves []Move) string {
	e, g := w.e, w.e.Graph
	o := &e.Objects[object]
	if slices.Contains(e.Placement.Homeless, object) {
		return "finds no room in any bank, and comes nearest to it here"
	}
	if o.Pin >= 0 {
		return "the file pins it here"
	}
	may := 0
	var spared, full []string
	for _, m := range moves {
		if m.Bars != "" {
			continue
		}
		may++
		name := g.Board.Banks[m.Bank].Name
		switch {
		case m.Cycles > -1:
		case m.Short > 0:
			full = append(full, fmt.Sprintf("%s would spare %v and is %v short", name, blocks.Cycles(math.Round(-m.Cycles)), m.Short.Up()))
		default:
			spared = append(spared, fmt.Sprintf("%s would spare %v", name, blocks.Cycles(math.Round(-m.Cycles))))
		}
	}
	waits := g.waits(o, e.Placement.Bank[object], e.Horizon)
	text := fmt.Sprintf("waits %v a block", blocks.Cycles(math.Round(waits)))
	if waits < 0.5 {
		text = "waits for nothing here"
	}
	switch {
	case may == 0 && o.DMA && len(moves) > 0:
		return text + "; no other bank is reached by the audio DMA"
	case may == 0:
		return text + "; there is no other bank for it"
	case len(full) > 0:
		return text + "; " + strings.Join(full, "; ")
	case len(spared) > 0 && e.Placement.Gap > 0:
		return text + "; " + strings.Join(spared, "; ") + ": this placement is not proven to be the best"
	case len(spared) > 0:
		return text + "; " + strings.Join(spared, "; ") + ", but only in the room that was asked to stay free"
	case waits < 0.5:
		return text
	}
	return text + ", the least of all banks"
}

// Largest are the objects that take up most room, the largest first: those of
// at least a hundredth of the largest.
func (e *Estimate) Largest(most int) []int {
	var list []int
	for i := range e.Objects {
		if o := &e.Objects[i]; o.Part == PartBuffers || o.Part == PartTables {
			list = append(list, i)
		}
	}
	slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(e.Objects[b].Bytes, e.Objects[a].Bytes) })
	for k, i := range list {
		if k == most || e.Objects[i].Bytes*100 < e.Objects[list[0]].Bytes {
			return list[:k]
		}
	}
	return list
}

// Stall is what an object waits for where it lies, in the mean: cycles a block, and
// the lines that it fetches and writes back, which are none in a bank that is not
// cached.
type Stall struct {
	Cycles       float64
	Fills, Backs float64
}

// Stall is what an object waits for in a block.
func (e *Estimate) Stall(object int) Stall {
	g, bank, o := e.Graph, e.Placement.Bank[object], &e.Objects[object]
	s := Stall{Cycles: g.waits(o, bank, e.Horizon)}
	if g.Board.Banks[bank].Cached {
		fills, backs, _ := g.lines(o, e.Horizon)
		blocks := float64(g.BlockSize) / g.stretch(o)
		s.Fills, s.Backs = fills*blocks, backs*blocks
	}
	return s
}

// Free is the room that is left of a bank in one piece, from the end of what
// lies there. What alignment leaves open in between is too small for anything.
func (e *Estimate) Free(bank int) blocks.Bytes {
	return max(e.Banks[bank].Usable-e.Banks[bank].Used, 0)
}

// Guest is an object of another bank that a bank still has room for.
type Guest struct {
	Object int
	Cycles float64 // what all objects would wait more in a block; below 0: less
}

// Guests are the buffers that lie elsewhere and for which a bank has room, those
// that would gain most first.
func (w *Weighing) Guests(bank, most int) []Guest {
	var list []Guest
	e := w.e
	for _, i := range e.Largest(mostGuests) {
		if e.Placement.Bank[i] == bank {
			continue
		}
		for _, m := range w.Moves(i) {
			if m.Bank == bank && m.Bars == "" && m.Short == 0 {
				list = append(list, Guest{i, m.Cycles})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b Guest) int { return cmp.Compare(a.Cycles, b.Cycles) })
	return list[:min(most, len(list))]
}

// mostGuests is for how many of the largest objects it is asked whether they
// could lie elsewhere.
const mostGuests = 64
