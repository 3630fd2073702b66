// Package pack places items into banks at least cost.
//
// Every item lies whole in one bank. A bank has so much room, and several banks
// may have a room that they share, such as a cache before all of them. Solve
// starts from a greedy placement that local search improves, and proves it by
// branch and bound: the bound is the Lagrangian one, which lets every item go
// where it is cheapest when each byte of each room has a price. Rooms alone tie
// the items together, so that the prices of a handful of rooms are all there is
// to find.
//
// Work is counted in steps and never in time, so that the same problem has the
// same answer on every machine.
package pack

import (
	"math"
	"slices"
)

// Item is something to place.
type Item struct {
	Bytes int64     // at least 1
	Align int64     // a power of two; its size is rounded up to it; 0: 1
	Cost  []float64 // in each bank; +Inf: it may not lie there
}

// size is what an item takes of a bank, wherever in it it lies.
//
// Rounding every size up to its alignment makes the order of items a matter of
// drawing: laid down from the coarsest alignment to the finest, each begins
// where the one before ends, and no byte is lost between them.
func (i *Item) size() int64 {
	align := max(i.Align, 1)
	return (i.Bytes + align - 1) / align * align
}

// Shared is room that some banks have together.
type Shared struct {
	Banks []int // indexes
	Room  int64 // bytes
	// Takes is what each item takes of it, at least 0; nil: its size.
	Takes []int64
}

// Problem is what to place, and where. Each cost is at least 0, and there are
// at most 64 banks.
type Problem struct {
	Items  []Item
	Room   []int64 // bytes of each bank
	Shared []Shared
}

// Result is a placement and what is known of it.
type Result struct {
	Bank []int   // of each item; nil: none was found
	Cost float64 // of the placement; +Inf: none was found
	// Bound is what every placement costs at least; +Inf: there is none.
	Bound  float64
	Proven bool // no placement is cheaper, or there is none
	Steps  int
}

// Gap is the share by which a cheaper placement could at most be cheaper; 0
// where the placement is proven.
func (r *Result) Gap() float64 {
	if r.Proven || r.Cost <= r.Bound {
		return 0
	}
	return (r.Cost - r.Bound) / r.Cost
}

// slack forgives rounding when costs are compared.
const slack = 1e-9

func below(a, b float64) bool { return a < b-slack*max(1, math.Abs(b)) }

// Solve places the items. It takes about as many steps as it is given, each a
// look at one kind of item, and a few more to come to an end. Where costs are
// equal an item lies in the bank named first, as far as room goes.
func Solve(p *Problem, steps int) Result {
	s := newSolver(p, steps)
	s.price()
	bound := s.root
	if s.alive {
		bound = max(bound, s.search())
	}
	r := Result{Bank: s.best, Cost: s.bestCost, Bound: min(bound, s.bestCost), Steps: s.steps}
	r.Proven = !below(bound, s.bestCost)
	if s.best == nil {
		r.Cost = math.Inf(1)
		if r.Bound = s.root; r.Proven {
			r.Bound = math.Inf(1)
		}
		return r
	}
	s.settle(r.Bank)
	r.Cost = 0
	for i, b := range r.Bank {
		r.Cost += p.Items[i].Cost[b]
	}
	return r
}

// kind is items that are alike: of one size, at the same costs. Which of them
// lies where makes no difference, so the search only counts them.
type kind struct {
	bytes int64
	takes []int64 // of each room
	cost  []float64
	items []int
}

// solver is the work on one problem.
type solver struct {
	kinds []kind
	items int
	banks int
	rooms []int64 // of the banks, then of what they share
	over  [][]int // for each bank the rooms that an item in it takes from

	best     []int // bank of each item; nil: none yet
	bestCost float64
	steps    int
	most     int

	prices []float64 // the best so far: cost of a byte of each room
	root   float64   // the bound at these prices
	alive  bool      // a placement may exist

	// Room to work in.
	load  []int64
	trial []float64
}

func newSolver(p *Problem, steps int) *solver {
	s := &solver{items: len(p.Items), banks: len(p.Room), most: steps, alive: true}
	s.rooms = slices.Clone(p.Room)
	s.over = make([][]int, s.banks)
	for b := range s.over {
		s.over[b] = []int{b}
	}
	for _, shared := range p.Shared {
		for _, b := range shared.Banks {
			s.over[b] = append(s.over[b], len(s.rooms))
		}
		s.rooms = append(s.rooms, shared.Room)
	}
	// Anything that can be placed costs less than this.
	dearest := 1.0
	alike := map[int64][]int{} // by size
	takes := make([]int64, len(s.rooms))
	for i := range p.Items {
		item := &p.Items[i]
		size := item.size()
		most := 0.0
		for _, c := range item.Cost {
			if !math.IsInf(c, 1) {
				most = max(most, c)
			}
		}
		dearest += most
		for r := range takes {
			takes[r] = size
			if r >= s.banks && p.Shared[r-s.banks].Takes != nil {
				takes[r] = p.Shared[r-s.banks].Takes[i]
			}
		}
		at := -1
		for _, k := range alike[size] {
			if slices.Equal(s.kinds[k].cost, item.Cost) && slices.Equal(s.kinds[k].takes, takes) {
				at = k
				break
			}
		}
		if at < 0 {
			at = len(s.kinds)
			alike[size] = append(alike[size], at)
			s.kinds = append(s.kinds, kind{bytes: size, takes: slices.Clone(takes), cost: item.Cost})
		}
		s.kinds[at].items = append(s.kinds[at].items, i)
	}
	s.bestCost = dearest
	s.prices = make([]float64, len(s.rooms))
	s.trial = make([]float64, len(s.rooms))
	s.load = make([]int64, len(s.rooms))
	return s
}

// fits is how many items of a kind still go into a bank.
func (s *solver) fits(rooms []int64, bank int, k *kind) int64 {
	most := int64(math.MaxInt64)
	for _, r := range s.over[bank] {
		if k.takes[r] > 0 {
			most = min(most, rooms[r]/k.takes[r])
		}
	}
	return max(most, 0)
}

// take takes the room of n items of a kind out of a bank.
func (s *solver) take(rooms []int64, bank int, k *kind, n int) {
	for _, r := range s.over[bank] {
		rooms[r] -= k.takes[r] * int64(n)
	}
}

// keep remembers a placement, polished, where it is the cheapest so far.
func (s *solver) keep(l *lying) {
	const worth = 1.02 // a placement dearer than this share of the best is not worth polishing
	if s.best != nil && l.cost() > s.bestCost*worth {
		return
	}
	l.polish()
	cost := l.cost()
	if s.best != nil && !below(cost, s.bestCost) {
		return
	}
	if s.best == nil {
		s.best = make([]int, s.items)
	}
	s.bestCost = cost
	for k := range s.kinds {
		items := s.kinds[k].items
		for b := range s.banks {
			n := l.counts[k*s.banks+b]
			for _, i := range items[:n] {
				s.best[i] = b
			}
			items = items[n:]
		}
	}
}

// settle moves items to the first bank that costs them as much and has room.
func (s *solver) settle(bank []int) {
	rooms := slices.Clone(s.rooms)
	kindOf := make([]*kind, len(bank))
	for k := range s.kinds {
		for _, i := range s.kinds[k].items {
			kindOf[i] = &s.kinds[k]
			s.take(rooms, bank[i], &s.kinds[k], 1)
		}
	}
	for moved := true; moved; {
		moved = false
		for i, from := range bank {
			k := kindOf[i]
			s.take(rooms, from, k, -1)
			for b := range from {
				if k.cost[b] == k.cost[from] && s.fits(rooms, b, k) > 0 {
					bank[i], moved = b, true
					break
				}
			}
			s.take(rooms, bank[i], k, 1)
		}
	}
}
