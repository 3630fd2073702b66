package pack

import (
	"math"
	"slices"
)

// Steps along the subgradient: at the root, and at each node of the search.
// Both are house judgement, from the benchmarks.
const (
	rootClimb = 300
	nodeClimb = 6
)

// state is how far the search has come down one branch.
type state struct {
	left   []int    // of each kind, the items that are not yet placed
	barred []uint64 // of each kind, the banks that these may no longer use
	counts []int    // of each kind and bank, the items placed
	rooms  []int64  // what is left of them
	paid   float64
	prices []float64
	relaxed
}

// relaxed is where the unplaced items go at the prices: which may be more than
// the rooms hold.
type relaxed struct {
	bound float64
	goes  []uint64  // of each kind, the banks that its items go to
	edge  []float64 // of each kind, the price of the dearest of these
}

// start is the state in which nothing is placed.
func (s *solver) start() *state {
	st := &state{
		left:   make([]int, len(s.kinds)),
		barred: make([]uint64, len(s.kinds)),
		counts: make([]int, len(s.kinds)*s.banks),
		rooms:  slices.Clone(s.rooms),
		prices: slices.Clone(s.prices),
	}
	st.goes, st.edge = make([]uint64, len(s.kinds)), make([]float64, len(s.kinds))
	for k := range s.kinds {
		st.left[k] = len(s.kinds[k].items)
		for b, c := range s.kinds[k].cost {
			if math.IsInf(c, 1) {
				st.barred[k] |= 1 << b
			}
		}
	}
	return st
}

// priced is the cost of an item of a kind in a bank, its bytes paid for.
func (s *solver) priced(k *kind, bank int, prices []float64) float64 {
	cost := k.cost[bank]
	for _, r := range s.over[bank] {
		cost += prices[r] * float64(k.takes[r])
	}
	return cost
}

// relax sends every unplaced item where it is cheapest at the prices, as many
// of a kind to a bank as it could hold of that kind alone, and leaves in s.load
// what that puts on each room. It returns the bound and whether the rooms hold
// it all; +Inf where an item has nowhere to go.
func (s *solver) relax(st *state, prices []float64) (bound float64, holds bool) {
	clear(s.load)
	bound = st.paid
	for k := range s.kinds {
		left := st.left[k]
		st.goes[k] = 0
		if left == 0 {
			continue
		}
		s.steps++
		kind := &s.kinds[k]
		closed := st.barred[k]
		for left > 0 {
			cheapest, at, most := math.Inf(1), -1, int64(0)
			for b := range s.banks {
				if closed>>b&1 != 0 {
					continue
				}
				if cost := s.priced(kind, b, prices); cost < cheapest {
					if n := s.fits(st.rooms, b, kind); n > 0 {
						cheapest, at, most = cost, b, n
					}
				}
			}
			if at < 0 {
				return math.Inf(1), false
			}
			n := int(min(int64(left), most))
			bound += cheapest * float64(n)
			for _, r := range s.over[at] {
				s.load[r] += kind.takes[r] * int64(n)
			}
			st.goes[k] |= 1 << at
			st.edge[k] = cheapest
			closed |= 1 << at
			left -= n
		}
	}
	holds = true
	for r, price := range prices {
		bound -= price * float64(st.rooms[r])
		holds = holds && s.load[r] <= st.rooms[r]
	}
	return bound, holds
}

// climb looks for prices with a higher bound, by steps along the subgradient:
// what is asked of a room more than it has raises its price, what is left over
// lowers it. It stops where the bound reaches the best placement, and calls found
// after each step. It returns false where no better placement remains.
func (s *solver) climb(st *state, times int, found func()) bool {
	best := math.Inf(-1)
	trial := s.trial
	copy(trial, st.prices)
	stride, idle := 1.0, 0
	for range times {
		bound, holds := s.relax(st, trial)
		if math.IsInf(bound, 1) {
			st.bound = bound
			return false
		}
		if bound > best {
			best, idle = bound, 0
			copy(st.prices, trial)
		} else if idle++; idle == 4 {
			stride, idle = stride/2, 0
		}
		if holds {
			s.keepRelaxed(st)
		}
		if !below(best, s.bestCost) || s.steps > s.most {
			break
		}
		if found != nil {
			found()
		}
		// Rooms are of very different sizes, so each counts in shares of itself.
		length := 0.0
		for r := range trial {
			if share := s.asked(st, r); share > 0 || trial[r] > 0 {
				length += share * share
			}
		}
		if length == 0 {
			break // the rooms hold what was sent there, and no price is idle
		}
		step := stride * (s.bestCost - bound) / length
		for r := range trial {
			trial[r] = max(0, trial[r]+step*s.asked(st, r)/float64(max(st.rooms[r], 1)))
		}
	}
	st.bound, _ = s.relax(st, st.prices)
	return below(st.bound, s.bestCost)
}

// asked is what is asked of a room more than it has, as a share of it.
func (s *solver) asked(st *state, room int) float64 {
	return float64(s.load[room]-st.rooms[room]) / float64(max(st.rooms[room], 1))
}

// keepRelaxed polishes and keeps the placement to which all items went where
// the rooms hold it.
func (s *solver) keepRelaxed(st *state) {
	l := &lying{s: s, rooms: slices.Clone(st.rooms), counts: slices.Clone(st.counts)}
	for k := range s.kinds {
		for left := st.left[k]; left > 0; {
			b := s.cheapest(&s.kinds[k], l.rooms, ^st.goes[k], s.trial)
			n := int(min(int64(left), s.fits(l.rooms, b, &s.kinds[k])))
			l.add(k, b, n)
			left -= n
		}
	}
	s.keep(l)
}

// cheapest is the bank with room, and not closed, in which an item costs least
// at the prices; -1: none.
func (s *solver) cheapest(k *kind, rooms []int64, closed uint64, prices []float64) int {
	least, at := math.Inf(1), -1
	for b := range s.banks {
		if closed>>b&1 != 0 {
			continue
		}
		if cost := s.priced(k, b, prices); cost < least && s.fits(rooms, b, k) > 0 {
			least, at = cost, b
		}
	}
	return at
}
