package pack

import (
	"cmp"
	"math"
	"slices"
)

// price finds the prices of the rooms, and placements on the way there.
func (s *solver) price() {
	st := s.start()
	s.fill(st, s.prices)
	round := 0
	s.alive = s.climb(st, rootClimb, func() {
		if round++; round%16 == 0 && s.steps < s.most/2 {
			s.fill(st, s.trial)
		}
	})
	copy(s.prices, st.prices)
	s.root = st.bound
	if s.alive {
		s.fill(st, s.prices)
	}
}

// fill makes two placements, of one kind after the other where each is cheapest
// at the prices: first those that lose most for each byte by going elsewhere,
// then the largest first.
func (s *solver) fill(st *state, prices []float64) {
	regret := make([]float64, len(s.kinds))
	order := make([]int, len(s.kinds))
	for k := range s.kinds {
		kind := &s.kinds[k]
		first, second := math.Inf(1), math.Inf(1)
		for b := range s.banks {
			if st.barred[k]>>b&1 != 0 {
				continue
			}
			cost := s.priced(kind, b, prices)
			first, second = min(first, cost), min(second, max(first, cost))
		}
		order[k], regret[k] = k, second
		if !math.IsInf(second, 1) {
			regret[k] = (second - first) / float64(kind.bytes)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(regret[b], regret[a]) })
	s.fillIn(order, st, prices)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.kinds[b].bytes, s.kinds[a].bytes) })
	s.fillIn(order, st, prices)
}

// fillIn places the kinds in an order, polishes the placement and keeps it
// where it is the best so far.
func (s *solver) fillIn(order []int, st *state, prices []float64) {
	l := &lying{s: s, rooms: slices.Clone(s.rooms), counts: make([]int, len(s.kinds)*s.banks)}
	for _, k := range order {
		s.steps++
		kind := &s.kinds[k]
		for left := len(kind.items); left > 0; {
			b := s.cheapest(kind, l.rooms, st.barred[k], prices)
			if b < 0 {
				return
			}
			n := int(min(int64(left), s.fits(l.rooms, b, kind)))
			l.add(k, b, n)
			left -= n
		}
	}
	s.keep(l)
}

// lying is a placement on its way to a better one.
type lying struct {
	s      *solver
	rooms  []int64 // what is left of them
	counts []int   // of each kind and bank
}

// add puts n items more of a kind into a bank; n below 0 takes them out.
func (l *lying) add(k, bank, n int) {
	l.counts[k*l.s.banks+bank] += n
	l.s.take(l.rooms, bank, &l.s.kinds[k], n)
}

func (l *lying) cost() float64 {
	sum := 0.0
	for k := range l.s.kinds {
		for b, cost := range l.s.kinds[k].cost {
			if n := l.counts[k*l.s.banks+b]; n > 0 {
				sum += cost * float64(n)
			}
		}
	}
	return sum
}

// polish moves single items, and lets one item push another on, until neither
// helps or the steps are used up.
func (l *lying) polish() {
	s := l.s
	for better := true; better; {
		better = false
		for k := range s.kinds {
			for from := range s.banks {
				for l.counts[k*s.banks+from] > 0 && s.steps < s.most && (l.move(k, from) || l.push(k, from)) {
					better = true
				}
			}
		}
	}
}

// move takes one item of a kind to the cheapest bank with room.
func (l *lying) move(k, from int) bool {
	kind := &l.s.kinds[k]
	l.s.steps++
	l.add(k, from, -1)
	to := from
	for b, cost := range kind.cost {
		if below(cost, kind.cost[to]) && l.s.fits(l.rooms, b, kind) > 0 {
			to = b
		}
	}
	l.add(k, to, 1)
	return to != from
}

// push takes an item of a kind to a bank out of which it pushes another, which
// goes where there is room, perhaps where the first one came from; of all such
// pairs the one that saves most.
func (l *lying) push(k, from int) bool {
	s := l.s
	a := &s.kinds[k]
	most, other, at, on := 0.0, -1, 0, 0
	l.add(k, from, -1)
	for to := range s.banks {
		if to == from || math.IsInf(a.cost[to], 1) {
			continue
		}
		l.add(k, to, 1)
		saved := a.cost[from] - a.cost[to]
		for j := range s.kinds {
			b := &s.kinds[j]
			if j == k || l.counts[j*s.banks+to] == 0 {
				continue
			}
			s.steps++
			for next := range s.banks {
				gain := saved + b.cost[to] - b.cost[next]
				if next == to || !below(most, gain) {
					continue
				}
				l.add(j, to, -1)
				l.add(j, next, 1)
				if l.holds() {
					most, other, at, on = gain, j, to, next
				}
				l.add(j, next, -1)
				l.add(j, to, 1)
			}
		}
		l.add(k, to, -1)
	}
	if other < 0 {
		l.add(k, from, 1)
		return false
	}
	l.add(k, at, 1)
	l.add(other, at, -1)
	l.add(other, on, 1)
	return true
}

// holds tells whether no room is overfull.
func (l *lying) holds() bool {
	for _, left := range l.rooms {
		if left < 0 {
			return false
		}
	}
	return true
}
