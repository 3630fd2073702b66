package plan

import (
	"context"
	"math"
	"slices"
)

// How often prices are adjusted at the root and at each node of the search.
// Both are house judgement, from the benchmarks.
const (
	rootClimb = 400
	nodeClimb = 8
)

// progressEvery is about the number of steps between two looks at the context
// and two calls of Progress.
const progressEvery = 1 << 20

// search is one search over a flat model.
type search struct {
	ctx     context.Context
	flat    *flat
	o       Options
	best    []found // the best so far, best first
	open    float64 // least bound of what was left unsearched
	cutoff  float64 // what costs more is left for a later dive
	steps   int64
	looked  int64 // steps at the last look at the context
	stopped bool
	err     error

	// Room to work in.
	stack      []*state
	relaxed    relaxed
	trialPrice []float64
	trialShare []float64
	owed       []int  // links to charges that are not paid, of nodes to decide
	marked     []bool // of each link, whether it is among them
	picked     []int
	lying      []int
	offered    found
	charged    []bool // of each charge, whether the plan offered pays it
}

// found is a plan and its value to the goal.
type found struct {
	Plan
	value float64
	stall int64 // of its use, what stalls take
	exact bool  // it stalls least
}

func newSearch(ctx context.Context, m *Model, o Options, g goal) *search {
	o.Plans = max(o.Plans, 1)
	f := newFlat(m, g)
	return &search{ctx: ctx, flat: f, o: o, open: math.Inf(1), cutoff: math.Inf(1),
		relaxed: relaxed{cheapest: make([]int, len(m.Nodes)+f.slots), value: make([]float64, len(f.node)),
			excess: make([]float64, len(f.limit)), due: make([]float64, len(f.due)), shares: make([]float64, len(f.due)),
			toll: make([]float64, len(f.charge))},
		trialPrice: make([]float64, len(f.limit)), trialShare: make([]float64, len(f.charge)),
		marked: make([]bool, len(f.charge)), picked: make([]int, len(m.Nodes)), lying: make([]int, f.slots), charged: make([]bool, len(m.Charges)),
		offered: found{Plan: Plan{Use: make([]int64, len(m.Resources)), Choice: make([]int, len(m.Nodes)), Filled: make([]int64, len(m.Banks))}}}
}

// placeable is whether every buffer of an option has a place to lie in.
func (f *flat) placeable(o int) bool {
	return !slices.ContainsFunc(f.buffers[o], func(b buffer) bool { return len(b.places) == 0 })
}

// more tells whether the search goes on.
func (s *search) more() bool {
	if s.stopped {
		return false
	}
	if s.o.MaxSteps > 0 && s.steps >= s.o.MaxSteps {
		s.stopped = true
		return false
	}
	if s.steps-s.looked >= progressEvery || s.looked == 0 {
		s.looked = max(s.steps, 1)
		if s.err = s.ctx.Err(); s.err != nil {
			s.stopped = true
			return false
		}
		if s.o.Progress != nil {
			s.o.Progress(s.steps)
		}
	}
	return true
}

// beaten is whether nothing that costs at least bound, at the prices, could be
// among the best. What costs as much as the last of them could by more
// headroom: it then leaves so much of each limit, at its price.
func (s *search) beaten(bound float64, price []float64) bool {
	g := &s.flat.goal
	if bound > s.cutoff+s.rounding() {
		return true
	}
	if len(s.best) < s.o.Plans {
		return bound > s.flat.most
	}
	last := &s.best[len(s.best)-1]
	slack := s.rounding()
	if g.grain == 0 {
		return bound > last.value-slack
	}
	if !g.ties {
		return bound > last.value-g.grain+slack
	}
	left := 0.0
	for row, r := range s.flat.resources {
		if res := &s.flat.m.Resources[r]; !res.Counted {
			left += price[row] * last.Headroom * res.whole()
		}
	}
	return bound+min(g.grain-slack, left) > last.value+slack
}

// rounding is more than what rounding makes of a bound.
func (s *search) rounding() float64 { return 1e-9 + 1e-12*s.flat.most }

// aim is the value that prices are to reach, from the best bound so far.
func (s *search) aim(bound float64) float64 {
	if !math.IsInf(s.cutoff, 1) {
		return s.cutoff + s.flat.goal.grain
	}
	if len(s.best) < s.o.Plans {
		return bound + 0.1*s.flat.most
	}
	return s.best[len(s.best)-1].value + s.flat.goal.grain
}

// descend searches below the state at a depth. One node at a time is decided:
// it chooses an option, or never does.
func (s *search) descend(depth int) {
	st := s.stack[depth]
	for {
		if !s.tighten(st) {
			return
		}
		if len(st.groups) == 0 {
			if s.more() {
				s.offer(s.relaxedChoice(st, st.price))
			} else {
				s.open = min(s.open, st.bound)
			}
			return
		}
		if !s.climb(st, nodeClimb, nil) {
			return
		}
		if s.stopped {
			s.open = min(s.open, st.bound)
			return
		}
		if s.fix(st) {
			continue
		}
		g, a := s.branch(st)
		if depth+1 == len(s.stack) {
			s.stack = append(s.stack, s.flat.newState())
		}
		in := s.stack[depth+1]
		in.copyFrom(st)
		in.choose(g, a)
		s.descend(depth + 1)
		if s.stopped {
			s.open = min(s.open, st.bound)
			return
		}
		st.remove(g, a)
	}
}

// choose leaves a group only the option alive[a].
func (st *state) choose(g, a int) {
	group := &st.groups[g]
	st.alive[group.from] = st.alive[a]
	group.to = group.from + 1
}

// remove takes the option alive[a] from a group, and where it is a place, from
// all copies of the buffer: if any lay there, it might as well be this one.
func (st *state) remove(g, a int) {
	o, buffer := st.alive[a], st.groups[g].buffer
	for i := range st.groups {
		group := &st.groups[i]
		if i != g && (buffer == nil || group.buffer != buffer) {
			continue
		}
		if at := slices.Index(st.alive[group.from:group.to], o); at >= 0 {
			at += group.from
			copy(st.alive[at:group.to-1], st.alive[at+1:group.to])
			group.to--
		}
	}
}

// fold drops the options that are no longer alive, and adds nodes and copies
// that have one left to the sums; the copies of a node that is settled become
// groups of their own. It returns false where a node or copy has none.
func (s *search) fold(st *state) bool {
	f := s.flat
	n, kept := 0, 0
	var settled []*buffer
	for _, g := range st.groups {
		if g.from == g.to {
			return false
		}
		// What all options of a node need is due.
		for _, l := range f.links[st.alive[g.from]] {
			c := f.charge[l]
			if !st.paid[c] && !slices.ContainsFunc(st.alive[g.from+1:g.to], func(o int) bool { return !slices.Contains(f.links[o], l) }) {
				st.paid[c] = true
				for r, u := range f.due[c] {
					st.use[r] += u
				}
			}
		}
		if g.to-g.from > 1 {
			from := n
			n += copy(st.alive[n:], st.alive[g.from:g.to])
			g.from, g.to = from, n
			st.groups[kept] = g
			kept++
			continue
		}
		o := st.alive[g.from]
		if g.buffer != nil {
			s.lay(st, &f.buffers[o][0].places[0], g.buffer.bytes, g.slot)
			continue
		}
		st.chosen[g.node] = f.base[o]
		st.cost += f.cost[o]
		for r, u := range f.uses[o] {
			st.use[r] += u
		}
		for j := range f.buffers[o] {
			b := &f.buffers[o][j]
			if len(b.places) > 1 {
				settled = append(settled, b)
				continue
			}
			for c := range int(b.copies) {
				s.lay(st, &b.places[0], b.bytes, b.slot+c)
			}
		}
	}
	st.groups, st.alive = st.groups[:kept], st.alive[:n]
	for _, b := range settled {
		for c := range int(b.copies) {
			from := len(st.alive)
			for p := range b.places {
				st.alive = append(st.alive, b.option+p)
			}
			st.groups = append(st.groups, group{node: f.node[b.option], from: from, to: len(st.alive), buffer: b, slot: b.slot + c})
		}
	}
	return true
}

// lay settles where a copy lies.
func (s *search) lay(st *state, p *place, bytes float64, slot int) {
	st.lies[slot] = p.row
	st.use[p.row] += bytes
	if s.flat.stalled >= 0 {
		st.use[s.flat.stalled] += p.stall
	}
}

// settled is whether what every node chooses is settled, and only the places of
// copies are not.
func (s *search) settled(st *state) bool {
	f := s.flat
	for _, g := range st.groups {
		if g.buffer != nil {
			continue
		}
		first := f.base[st.alive[g.from]]
		for _, o := range st.alive[g.from+1 : g.to] {
			if f.base[o] != first {
				return false
			}
		}
	}
	return true
}

// tighten folds the state and takes out what no limit leaves room for, until
// nothing changes. It returns false where nothing fits.
func (s *search) tighten(st *state) bool {
	f := s.flat
	for again := true; again; {
		again = false
		if !s.fold(st) || !s.room(st, &again) {
			return false
		}
		for r := range f.resources {
			if !math.IsInf(f.soft[r], 1) {
				continue
			}
			room, widest := f.limit[r]-st.use[r], 0.0
			for _, g := range st.groups {
				least, most := math.Inf(1), math.Inf(-1)
				for _, o := range st.alive[g.from:g.to] {
					least, most = min(least, f.floor[o][r]), max(most, f.floor[o][r])
				}
				room -= least
				widest = max(widest, most-least)
			}
			if room < 0 {
				return false
			}
			if widest <= room {
				continue
			}
			again = true
			for i := range st.groups {
				g := &st.groups[i]
				least := math.Inf(1)
				for _, o := range st.alive[g.from:g.to] {
					least = min(least, f.floor[o][r])
				}
				to := g.from
				for _, o := range st.alive[g.from:g.to] {
					if f.floor[o][r]-least <= room {
						st.alive[to] = o
						to++
					}
				}
				g.to = to
			}
		}
	}
	return true
}

// room takes out the options and places for whose copies no room is left. It
// returns false where a bank is overfull.
func (s *search) room(st *state, again *bool) bool {
	f := s.flat
	for row := len(f.resources); row < len(f.limit); row++ {
		if st.use[row] > f.hard[row] {
			return false
		}
	}
	for i := range st.groups {
		g := &st.groups[i]
		to := g.from
		for _, o := range st.alive[g.from:g.to] {
			if s.housed(st, o) {
				st.alive[to] = o
				to++
			}
		}
		*again = *again || to != g.to && to-g.from <= 1
		g.to = to
	}
	return true
}

// housed is whether there is room for a copy of each buffer of an option.
func (s *search) housed(st *state, o int) bool {
	for j := range s.flat.buffers[o] {
		b := &s.flat.buffers[o][j]
		some := false
		for i := range b.places {
			row := b.places[i].row
			if st.use[row]+b.bytes <= s.flat.hard[row] {
				some = true
				break
			}
		}
		if !some {
			return false
		}
	}
	return true
}

// fix takes out the options that the bound rules out, and tells whether a node
// has lost its choice. The values are to be those at the state's prices.
func (s *search) fix(st *state) bool {
	closed := false
	for i := range st.groups {
		g := &st.groups[i]
		if g.to-g.from == 1 {
			continue
		}
		least := s.relaxed.value[s.relaxed.cheapest[i]]
		to := g.from
		for a := g.from; a < g.to; a++ {
			if !s.beaten(st.bound+s.relaxed.value[a]-least, st.price) {
				st.alive[to], s.relaxed.value[to] = st.alive[a], s.relaxed.value[a]
				if a == s.relaxed.cheapest[i] {
					s.relaxed.cheapest[i] = to
				}
				to++
			}
		}
		g.to = to
		closed = closed || to-g.from <= 1
	}
	return closed
}

// branch chooses the node or copy to decide and the option to try: the one
// whose cost was least settled while prices moved, and the option it came to
// most.
func (s *search) branch(st *state) (g, a int) {
	f := s.flat
	g, a = -1, -1
	most := math.Inf(-1)
	for i := range st.groups {
		group := &st.groups[i]
		if group.to-group.from == 1 {
			continue
		}
		sum, top, at, middle := 1e-12, -1.0, 0, 0.0
		for a := group.from; a < group.to; a++ {
			mean := st.mean[st.alive[a]]
			sum += mean
			middle += mean * s.apart(st, st.alive[a])
			if mean > top {
				top, at = mean, a
			}
		}
		spread := 1e-9 * f.most
		for a := group.from; a < group.to; a++ {
			o := st.alive[a]
			spread += st.mean[o] / sum * math.Abs(s.apart(st, o)-middle/sum)
		}
		if weight := spread * (1 - top/sum); weight > most {
			g, a, most = i, at, weight
		}
	}
	return g, a
}

// apart is what tells options of a node apart while their prices are level: the
// cost itself, of a place with its stall.
func (s *search) apart(st *state, o int) float64 {
	f := s.flat
	if f.stalled < 0 {
		return f.cost[o]
	}
	return f.cost[o] + st.price[f.stalled]*f.wait[o]
}

// relaxedChoice is the choice of the cheapest options, and where the copies of
// their buffers are cheapest.
func (s *search) relaxedChoice(st *state, price []float64) (options, lies []int) {
	f := s.flat
	copy(s.picked, st.chosen)
	copy(s.lying, st.lies)
	for g := range st.groups {
		group := &st.groups[g]
		o := st.alive[s.relaxed.cheapest[g]]
		if group.buffer != nil {
			s.lying[group.slot] = f.buffers[o][0].places[0].row
			continue
		}
		s.picked[group.node] = f.base[o]
		for j := range f.buffers[o] {
			b := &f.buffers[o][j]
			p, _ := s.home(st, b, price)
			for c := range int(b.copies) {
				s.lying[b.slot+c] = p.row
			}
		}
	}
	return s.picked, s.lying
}
