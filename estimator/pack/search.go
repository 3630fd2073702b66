package pack

import (
	"math"
	"math/bits"
	"slices"
)

// search goes through what the bound leaves, depth first, and returns what
// every placement costs at least.
func (s *solver) search() float64 {
	st := s.start()
	copy(st.prices, s.prices)
	open := math.Inf(1) // the least bound of what was left unsearched
	s.descend(st, &open)
	return open
}

// descend searches below a state. One kind at a time is decided: an item of it
// goes to a bank, or none that is left ever goes there; so that items that are
// alike are never tried in each other's place.
func (s *solver) descend(st *state, open *float64) {
	for {
		if !s.climb(st, nodeClimb, nil) {
			return
		}
		if s.steps >= s.most {
			*open = min(*open, st.bound)
			return
		}
		changed, ok := s.narrow(st)
		if !ok {
			return
		}
		if changed {
			continue
		}
		k, b := s.branch(st)
		if k < 0 {
			return // all is placed, and was kept when it was relaxed
		}
		in := st.clone()
		in.place(s, k, b, 1)
		s.descend(in, open)
		st.barred[k] |= 1 << b
	}
}

// narrow bars the banks that the bound rules out, and places what has only one
// left.
func (s *solver) narrow(st *state) (changed, ok bool) {
	for k := range s.kinds {
		if st.left[k] == 0 {
			continue
		}
		kind := &s.kinds[k]
		for b := range s.banks {
			if st.barred[k]>>b&1 != 0 || st.goes[k]>>b&1 != 0 {
				continue
			}
			if s.fits(st.rooms, b, kind) == 0 || !below(st.bound+s.priced(kind, b, st.prices)-st.edge[k], s.bestCost) {
				st.barred[k] |= 1 << b
			}
		}
		free := ^st.barred[k] & (1<<s.banks - 1)
		if bits.OnesCount64(free) == 1 {
			b := bits.TrailingZeros64(free)
			if s.fits(st.rooms, b, kind) < int64(st.left[k]) {
				return false, false
			}
			st.place(s, k, b, st.left[k])
			changed = true
		}
	}
	return changed, true
}

// branch chooses what to decide next: the kind for which each byte is sent
// elsewhere at least cost, and a bank that it goes to. Before there is any
// placement it is the largest kind, for which room is hardest to find. The kind
// is -1 where all is placed.
func (s *solver) branch(st *state) (k, bank int) {
	k, bank = -1, -1
	least := math.Inf(1)
	for j := range s.kinds {
		if st.left[j] == 0 {
			continue
		}
		kind := &s.kinds[j]
		elsewhere := math.Inf(1)
		for b := range s.banks {
			if (st.barred[j]|st.goes[j])>>b&1 == 0 {
				elsewhere = min(elsewhere, s.priced(kind, b, st.prices))
			}
		}
		weight := (elsewhere - st.edge[j]) / float64(kind.bytes)
		if s.best == nil {
			weight = -float64(kind.bytes)
		}
		if k < 0 || weight < least {
			k, bank, least = j, bits.TrailingZeros64(st.goes[j]), weight
		}
	}
	return k, bank
}

// place puts n items of a kind into a bank for good.
func (st *state) place(s *solver, k, bank, n int) {
	st.left[k] -= n
	st.counts[k*s.banks+bank] += n
	st.paid += s.kinds[k].cost[bank] * float64(n)
	s.take(st.rooms, bank, &s.kinds[k], n)
}

func (st *state) clone() *state {
	c := *st
	c.left, c.barred = slices.Clone(st.left), slices.Clone(st.barred)
	c.counts, c.rooms = slices.Clone(st.counts), slices.Clone(st.rooms)
	c.prices = slices.Clone(st.prices)
	c.goes, c.edge = slices.Clone(st.goes), slices.Clone(st.edge)
	return &c
}
