package plan

import "math"

// state is how far the search has come down one branch: the options that each
// node may still choose.
type state struct {
	groups []group // nodes that are not folded into the sums below
	alive  []int   // their options, node after node
	chosen []int   // option of each folded node, -1 of the others
	cost   float64 // of the folded nodes
	use    []float64
	paid   []bool    // charges that are due whatever is chosen from here
	price  []float64 // of each row
	share  []float64 // of each link: what part of a charge its node pays
	mean   []float64 // of each option: how often it was the cheapest lately
	lies   []int     // row of each copy of a chosen option, once it is settled
	bound  float64
}

// group is a node and its options, alive[from:to], or a copy of a buffer and its
// places.
type group struct {
	node, from, to int
	buffer         *buffer // of a copy, nil for a node
	slot           int
}

func (f *flat) newState() *state {
	s := &state{chosen: make([]int, len(f.m.Nodes)), use: make([]float64, len(f.limit)), paid: make([]bool, len(f.due)),
		price: make([]float64, len(f.limit)), share: make([]float64, len(f.charge)), mean: make([]float64, len(f.node)), lies: make([]int, f.slots),
		bound: math.Inf(-1)}
	for i := range s.chosen {
		s.chosen[i] = -1
	}
	for l := range s.share {
		s.share[l] = 1
	}
	return s
}

// copyFrom makes a state the same as another, in the room it has.
func (s *state) copyFrom(o *state) {
	s.groups = append(s.groups[:0], o.groups...)
	s.alive = append(s.alive[:0], o.alive...)
	s.cost, s.bound = o.cost, o.bound
	copy(s.lies, o.lies)
	copy(s.chosen, o.chosen)
	copy(s.use, o.use)
	copy(s.paid, o.paid)
	copy(s.price, o.price)
	copy(s.share, o.share)
	copy(s.mean, o.mean)
}

// relaxed is where all goes at some prices, limits forgotten.
type relaxed struct {
	cheapest []int     // of each group: where in alive its cheapest option is
	value    []float64 // of each option alive
	excess   []float64 // of each row: what is used beyond its limit
	shares   []float64 // of each charge: the sum of the shares in it
	due      []float64 // of each charge: its price for one share
	toll     []float64 // of each link: what its node pays of a charge, 0 where that is paid
}

// relax finds the cheapest option of every node when each unit of each row has
// a price, which every choice within the limits costs at least: the bound of
// Lagrangian relaxation. A charge is not an option's, yet all that may need it
// can pay for it in parts: the nodes share its price, and that of a node is due
// where an option needs it. A buffer goes to the bank in which it is cheapest.
func (s *search) relax(st *state, price, share []float64) float64 {
	f, r := s.flat, &s.relaxed
	s.steps += int64(len(st.alive))
	s.dues(st, price, share)
	bound := st.cost
	for row, p := range price {
		r.excess[row] = st.use[row] - f.limit[row]
		bound += p * r.excess[row]
	}
	for g := range st.groups {
		group := &st.groups[g]
		least, at := math.Inf(1), group.from
		for a := group.from; a < group.to; a++ {
			o := st.alive[a]
			v := f.cost[o]
			for row, u := range f.take[o] {
				v += price[row] * u
			}
			for _, l := range f.links[o] {
				v += r.toll[l]
			}
			for b := range f.loose[o] {
				buffer := &f.loose[o][b]
				_, v1 := s.home(st, buffer, price)
				v += v1 * buffer.copies
			}
			r.value[a] = v
			if v < least {
				least, at = v, a
			}
		}
		r.cheapest[g] = at
		bound += least
		s.load(st, st.alive[at], price, share)
	}
	return bound
}

// load adds what the cheapest option of a node or copy uses to the excess.
func (s *search) load(st *state, o int, price, share []float64) {
	f, r := s.flat, &s.relaxed
	for row, u := range f.take[o] {
		r.excess[row] += u
	}
	for _, l := range f.links[o] {
		c := f.charge[l]
		if !st.paid[c] {
			part := share[l] / r.shares[c]
			for row, u := range f.due[c] {
				r.excess[row] += part * u
			}
		}
	}
	for b := range f.loose[o] {
		buffer := &f.loose[o][b]
		p, _ := s.home(st, buffer, price)
		if p == nil {
			continue
		}
		r.excess[p.row] += buffer.bytes * buffer.copies
		if f.stalled >= 0 {
			r.excess[f.stalled] += p.stall * buffer.copies
		}
	}
}

// owe lists the links to charges that are not paid, of nodes that are still to
// be decided.
func (s *search) owe(st *state) {
	f := s.flat
	clear(s.marked)
	clear(s.relaxed.toll)
	s.owed = s.owed[:0]
	for _, o := range st.alive {
		for _, l := range f.links[o] {
			if !s.marked[l] && !st.paid[f.charge[l]] {
				s.marked[l] = true
				s.owed = append(s.owed, l)
			}
		}
	}
}

// dues prices the charges that are not paid, each for the shares in it to make
// up the whole.
func (s *search) dues(st *state, price, share []float64) {
	f, r := s.flat, &s.relaxed
	clear(r.shares)
	clear(r.due)
	for _, l := range s.owed {
		r.shares[f.charge[l]] += share[l]
	}
	for c, sum := range r.shares {
		if sum > 0 {
			for row, u := range f.due[c] {
				r.due[c] += price[row] * u
			}
			r.due[c] /= sum
		}
	}
	for _, l := range s.owed {
		r.toll[l] = r.due[f.charge[l]] * share[l]
	}
}

// home is the place where a copy is cheapest at the prices, of those with room
// for it, and what it costs there; +Inf: nowhere.
func (s *search) home(st *state, b *buffer, price []float64) (at *place, priced float64) {
	stall := 0.0
	if s.flat.stalled >= 0 {
		stall = price[s.flat.stalled]
	}
	priced = math.Inf(1)
	for i := range b.places {
		p := &b.places[i]
		if st.use[p.row]+b.bytes > s.flat.hard[p.row] {
			continue
		}
		if v := stall*p.stall + price[p.row]*b.bytes; v < priced {
			at, priced = p, v
		}
	}
	return at, priced
}

// climb looks for prices with a higher bound, by steps along the subgradient:
// the price of what is asked for beyond a limit rises, that of what is left over
// falls, and so do the shares of the nodes that need a charge and those that do
// not. It returns false where nothing worth finding remains below the state.
func (s *search) climb(st *state, times int, each func()) bool {
	f, r := s.flat, &s.relaxed
	price, share := s.trialPrice, s.trialShare
	copy(price, st.price)
	copy(share, st.share)
	s.owe(st)
	best, stride, idle, gain := math.Inf(-1), 1.0, 0, 0.1
	patience := max(3, times/20) // rounds without gain before steps get shorter: house judgement
	for range times {
		if !s.more() {
			break
		}
		bound := s.relax(st, price, share)
		if bound > best {
			best, idle = bound, 0
			copy(st.price, price)
			copy(st.share, share)
		} else if idle++; idle == patience {
			stride, idle = stride*0.7, 0
		}
		st.bound = max(st.bound, bound)
		if s.beaten(bound, price) {
			return false
		}
		// Later rounds count for more.
		gain *= 1.1
		for g := range st.groups {
			st.mean[st.alive[r.cheapest[g]]] += gain
		}
		length, over := 0.0, false
		for row, e := range r.excess {
			over = over || e > 0 && math.IsInf(f.soft[row], 1)
			if e > 0 && price[row] < f.soft[row] || e < 0 && price[row] > 0 {
				length += e * e / (f.unit[row] * f.unit[row])
			}
		}
		if !over && s.offer(s.relaxedChoice(st, price)) && s.flat.goal.ties && s.settled(st) {
			return false // the plan is found, and stalls least in the end
		}
		if each != nil {
			each()
		}
		if length > 0 {
			step := stride * max(s.aim(best)-bound, 0) / length
			for row, e := range r.excess {
				price[row] = min(max(0, price[row]+step*e/(f.unit[row]*f.unit[row])), f.soft[row])
			}
		}
		s.shift(st, share, stride)
		if length == 0 && len(f.charge) == 0 {
			break
		}
	}
	for _, o := range st.alive {
		st.mean[o] *= 0.1 / gain
	}
	// A price is only kept if it is the best of this round, and the options'
	// values are to be those at it.
	bound := s.relax(st, st.price, st.share)
	st.bound = max(st.bound, bound)
	return !s.beaten(bound, st.price)
}

// shift moves the shares in charges to the nodes whose cheapest option needs
// them.
func (s *search) shift(st *state, share []float64, stride float64) {
	f, r := s.flat, &s.relaxed
	for g := range st.groups {
		for _, l := range f.links[st.alive[r.cheapest[g]]] {
			share[l] *= 1 + 0.3*stride
		}
	}
	for _, l := range s.owed {
		share[l] = max(share[l]/r.shares[f.charge[l]], 1e-6)
	}
}
