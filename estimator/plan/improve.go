package plan

import "math"

// start finds prices at the root, and plans to begin with: what is cheapest at
// the prices on the way there, made to fit and improved. It returns false where
// nothing worth finding remains.
func (s *search) start(st *state) bool {
	round := 0
	if !s.climb(st, rootClimb, func() {
		if round++; round%80 == 0 {
			s.attempt(st, s.trialPrice, false)
		}
	}) {
		return false
	}
	s.fix(st)
	if !s.tighten(st) {
		return false
	}
	s.owe(st)
	st.bound = s.relax(st, st.price, st.share)
	s.attempt(st, st.price, true)
	return true
}

// attempt makes the cheapest options fit, improves them, by pairs too where
// asked, and offers them.
func (s *search) attempt(st *state, price []float64, pairs bool) {
	options, lies := s.relaxedChoice(st, price)
	t := s.try(options, lies, price)
	if t.repair(st) {
		for t.single(st) || pairs && t.pair(st) {
		}
		s.offer(t.options, t.lies)
	}
}

// trial is a whole choice on its way to a better one.
type trial struct {
	s       *search
	options []int // of each node
	lies    []int // row of each copy
	due     []int // chosen options that need each charge
	use     []float64
	cost    float64
	price   []float64
}

func (s *search) try(options, lies []int, price []float64) *trial {
	f := s.flat
	t := &trial{s: s, options: append([]int(nil), options...), lies: append([]int(nil), lies...), due: make([]int, len(f.due)),
		use: make([]float64, len(f.limit)), price: price}
	for _, o := range t.options {
		t.count(o, 1)
	}
	return t
}

// count adds an option and its copies where they lie (sign 1), or takes them
// out (sign -1).
func (t *trial) count(o int, sign float64) {
	f := t.s.flat
	t.cost += sign * f.cost[o]
	for r, u := range f.uses[o] {
		t.use[r] += sign * u
	}
	for _, l := range f.links[o] {
		c := f.charge[l]
		before := t.due[c]
		t.due[c] += int(sign)
		if before == 0 || t.due[c] == 0 {
			for r, u := range f.due[c] {
				t.use[r] += sign * u
			}
		}
	}
	for j := range f.buffers[o] {
		b := &f.buffers[o][j]
		for c := range int(b.copies) {
			t.lay(b, t.lies[b.slot+c], sign)
		}
	}
}

// lay adds a copy that lies in a row, or takes it out.
func (t *trial) lay(b *buffer, row int, sign float64) {
	for i := range b.places {
		if p := &b.places[i]; p.row == row {
			if t.s.flat.stalled >= 0 {
				t.use[t.s.flat.stalled] += sign * p.stall
			}
		}
	}
	t.use[row] += sign * b.bytes
}

// set makes a node choose an option, and puts its copies where they are
// cheapest at the prices and have room; or else the most room.
func (t *trial) set(o int) {
	f := t.s.flat
	i := f.node[o]
	t.count(t.options[i], -1)
	t.options[i] = o
	for j := range f.buffers[o] {
		b := &f.buffers[o][j]
		for c := range int(b.copies) {
			t.lies[b.slot+c] = t.home(b)
			t.lay(b, t.lies[b.slot+c], 1)
		}
	}
	for j := range f.buffers[o] {
		b := &f.buffers[o][j]
		for c := range int(b.copies) {
			t.lay(b, t.lies[b.slot+c], -1)
		}
	}
	t.count(o, 1)
}

// home is the row for one more copy.
func (t *trial) home(b *buffer) int {
	f := t.s.flat
	row, least := b.places[0].row, math.Inf(1)
	widest, most := row, math.Inf(-1)
	for i := range b.places {
		p := &b.places[i]
		v := t.price[p.row] * b.bytes
		if f.stalled >= 0 {
			v += p.stall * t.price[f.stalled]
		}
		room := f.hard[p.row] - t.use[p.row] - b.bytes
		if room >= 0 && v < least {
			row, least = p.row, v
		}
		if room > most {
			widest, most = p.row, room
		}
	}
	if math.IsInf(least, 1) {
		return widest
	}
	return row
}

// over is by how much limits that hold are exceeded, in units of their rows.
func (t *trial) over() float64 {
	f := t.s.flat
	sum := 0.0
	for row, u := range t.use {
		if u > f.limit[row] && math.IsInf(f.soft[row], 1) {
			sum += (u - f.limit[row]) / f.unit[row]
		}
	}
	return sum
}

// value is what the choice costs, with what it exceeds.
func (t *trial) value() float64 {
	f := t.s.flat
	v := t.cost
	for row, u := range t.use {
		if u > f.limit[row] && !math.IsInf(f.soft[row], 1) {
			v += f.soft[row] * (u - f.limit[row])
		}
	}
	return v
}

// undo is what set changes and does not itself take back.
type undo struct {
	o    int
	lies []int
}

// swap sets an option and returns how to take it back.
func (t *trial) swap(o int, room []int) undo {
	f := t.s.flat
	was := t.options[f.node[o]]
	u := undo{o: was, lies: room[:0]}
	for j := range f.buffers[was] {
		b := &f.buffers[was][j]
		u.lies = append(u.lies, t.lies[b.slot:b.slot+int(b.copies)]...)
	}
	t.set(o)
	return u
}

// back takes a swap back.
func (t *trial) back(u undo) {
	f := t.s.flat
	i := f.node[u.o]
	t.count(t.options[i], -1)
	t.options[i] = u.o
	lies := u.lies
	for j := range f.buffers[u.o] {
		b := &f.buffers[u.o][j]
		n := copy(t.lies[b.slot:b.slot+int(b.copies)], lies)
		lies = lies[n:]
	}
	t.count(u.o, 1)
}

// each calls f with every option that a node without copies to decide may swap
// to.
func (t *trial) each(st *state, do func(o int) bool) {
	for g := range st.groups {
		if st.groups[g].buffer != nil {
			continue
		}
		for _, o := range st.alive[st.groups[g].from:st.groups[g].to] {
			if !do(o) {
				return
			}
		}
	}
}

// repair swaps single options until the choice fits: each time the one that
// costs least for what it brings the limits nearer.
func (t *trial) repair(st *state) bool {
	var room [64]int
	over := t.over()
	for over > 0 {
		value := t.value()
		least, at, rest := math.Inf(1), -1, over
		t.each(st, func(o int) bool {
			t.s.steps++
			u := t.swap(o, room[:])
			if less := over - t.over(); less > 1e-9 {
				dear := t.value() - value
				rate := dear / less
				if dear < 0 {
					rate = dear * less
				}
				if rate < least {
					least, at, rest = rate, o, over-less
				}
			}
			t.back(u)
			return true
		})
		if at < 0 {
			return false
		}
		t.set(at)
		over = rest
		if over < 1e-9 {
			over = t.over()
		}
	}
	return true
}

// single makes the swap of one option that saves most.
func (t *trial) single(st *state) bool {
	var room [64]int
	value := t.value()
	least, at := value-1e-9*math.Abs(value)-1e-9, -1
	t.each(st, func(o int) bool {
		t.s.steps++
		u := t.swap(o, room[:])
		if v := t.value(); v < least && t.over() == 0 {
			least, at = v, o
		}
		t.back(u)
		return true
	})
	if at >= 0 {
		t.set(at)
	}
	return at >= 0
}

// pair makes the first swap of two options that saves something: one that
// saves more than it may, and one that makes room for it.
func (t *trial) pair(st *state) bool {
	var first, second [64]int
	value := t.value()
	enough := value - 1e-9*math.Abs(value) - 1e-9
	done := false
	t.each(st, func(a int) bool {
		u := t.swap(a, first[:])
		saved := t.value()
		if saved >= enough {
			t.back(u)
			return true
		}
		i := t.s.flat.node[a]
		least, at := enough, -1
		t.each(st, func(b int) bool {
			t.s.steps++
			if t.s.flat.node[b] == i || t.options[t.s.flat.node[b]] == b {
				return true
			}
			if saved+t.s.flat.cost[b]-t.s.flat.cost[t.options[t.s.flat.node[b]]] >= least {
				return true
			}
			w := t.swap(b, second[:])
			if v := t.value(); v < least && t.over() == 0 {
				least, at = v, b
			}
			t.back(w)
			return true
		})
		if at >= 0 {
			t.set(at)
			done = true
			return false
		}
		t.back(u)
		return true
	})
	return done
}
