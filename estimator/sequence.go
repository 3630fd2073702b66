package estimator

import (
	"cmp"
	"slices"
)

// sequence is steps to put into an order, such that the wires between them need
// as few block buffers as can be. A wire lives from the step that writes it to
// the last that reads it; one that nothing reads lives in its step alone.
type sequence struct {
	steps []seqStep // in the order of the file, which is one of the orders that are allowed
	wires []seqWire
}

// seqStep is one step of a sequence.
type seqStep struct {
	before []int // steps that come first
	writes []int // wires
	reads  []int // wires, each once
	inner  int   // buffers that the step needs within itself
	sum    int   // buffers of what is added up before the kernel runs
	// A sum may be written over a source that nothing reads after it; and the
	// first output over the input, which is the sum or a wire.
	sumOver []int // wires; none: the sum has a buffer of its own
	over    int   // wire that output may take over; -1: none
	overSum bool
	output  int // wire of the first output; -1: none
}

// seqWire is a wire of a sequence.
type seqWire struct {
	buffers int
	readers int
}

// alive is how far a sequence has come.
type alive struct {
	unread  []int // of each wire, the readers that are still to come
	buffers int   // that hold what is still to be read
}

func (q *sequence) begin() *alive {
	a := &alive{unread: make([]int, len(q.wires))}
	for w := range q.wires {
		a.unread[w] = q.wires[w].readers
	}
	return a
}

// during is how many buffers are in use while a step runs.
func (q *sequence) during(a *alive, step int) int {
	s := &q.steps[step]
	need := a.buffers + s.inner + s.sum
	for _, w := range s.writes {
		need += q.wires[w].buffers
	}
	for _, w := range s.sumOver {
		if a.unread[w] == 1 {
			need -= s.sum
			break
		}
	}
	if s.output >= 0 && (s.overSum || s.over >= 0 && a.unread[s.over] == 1) {
		need -= q.wires[s.output].buffers
	}
	return need
}

// change is how many buffers more hold something after a step than before it.
func (q *sequence) change(a *alive, step int) int {
	s := &q.steps[step]
	more := 0
	for _, w := range s.writes {
		if q.wires[w].readers > 0 {
			more += q.wires[w].buffers
		}
	}
	for _, w := range s.reads {
		if a.unread[w] == 1 {
			more -= q.wires[w].buffers
		}
	}
	return more
}

// run takes a step; with -1 it takes it back.
func (q *sequence) run(a *alive, step, sign int) {
	if sign > 0 {
		a.buffers += q.change(a, step)
	}
	for _, w := range q.steps[step].reads {
		a.unread[w] -= sign
	}
	if sign < 0 {
		a.buffers -= q.change(a, step)
	}
}

// peak is how many buffers an order needs.
func (q *sequence) peak(order []int) int {
	a, most := q.begin(), 0
	for _, step := range order {
		most = max(most, q.during(a, step))
		q.run(a, step, 1)
	}
	return most
}

// least is what every order needs: that of the step that needs most where
// nothing but its own inputs is alive.
func (q *sequence) least() int {
	most := 0
	a := &alive{unread: slices.Repeat([]int{1}, len(q.wires))} // nothing else reads a wire after it
	for i := range q.steps {
		a.buffers = 0
		for _, w := range q.steps[i].reads {
			a.buffers += q.wires[w].buffers
		}
		most = max(most, q.during(a, i))
	}
	return most
}

// Of how many steps a sequence may be to be searched, which is by a word of
// bits, and how many turns of the search that may take: a few milliseconds. Both
// are house judgement.
const (
	mostSearched  = 64
	sequenceTurns = 5_000
)

// order is the order that needs fewest buffers, with how many it needs and what
// every order needs at least: exactly for few steps, else the better of a few
// good ones. Where others need no fewer it is that of the file.
func (q *sequence) order() (best []int, peak, least int) {
	best = make([]int, len(q.steps))
	for i := range best {
		best[i] = i
	}
	peak, least = q.peak(best), q.least()
	if peak == least {
		return best, peak, least
	}
	for _, other := range [][]int{q.thrifty(), q.upstream()} {
		if p := q.peak(other); p < peak {
			best, peak = other, p
		}
	}
	if len(q.steps) > mostSearched {
		return best, peak, least
	}
	search := &seqSearch{q: q, turns: sequenceTurns, before: make([]uint64, len(q.steps))}
	for i := range q.steps {
		for _, b := range q.steps[i].before {
			search.before[i] |= 1 << b
		}
	}
	for least < peak {
		search.within, search.failed, search.path = least, map[uint64]bool{}, nil
		switch found, complete := search.from(0, q.begin()); {
		case found:
			return search.path, least, least
		case !complete:
			return best, peak, least
		}
		least++
	}
	return best, peak, least
}

// seqSearch looks for an order within so many buffers, depth first.
type seqSearch struct {
	q      *sequence
	before []uint64 // of each step, the steps that come first
	within int
	failed map[uint64]bool // sets of steps from which no order goes on within it
	path   []int
	turns  int
}

// from looks for an order of what is left after a set of steps. It tells whether
// there is one, and whether the search was complete.
//
// A step that fits and leaves no more alive than before it is taken at once: the
// later a step comes the more of its inputs die in it, so that what it changes
// only falls, and an order in which it comes later needs no less without it.
func (s *seqSearch) from(done uint64, a *alive) (found, complete bool) {
	if len(s.path) == len(s.q.steps) {
		return true, true
	}
	if s.failed[done] {
		return false, true
	}
	if s.turns--; s.turns < 0 {
		return false, false
	}
	type choice struct{ step, change int }
	var choices []choice
	for i := range s.q.steps {
		if done>>i&1 == 1 || s.before[i]&^done != 0 || s.q.during(a, i) > s.within {
			continue
		}
		c := choice{i, s.q.change(a, i)}
		if c.change <= 0 {
			choices = append(choices[:0], c)
			break
		}
		choices = append(choices, c)
	}
	slices.SortStableFunc(choices, func(x, y choice) int { return cmp.Compare(x.change, y.change) })
	for _, c := range choices {
		s.path = append(s.path, c.step)
		s.q.run(a, c.step, 1)
		found, complete := s.from(done|1<<c.step, a)
		if found || !complete {
			return found, complete
		}
		s.q.run(a, c.step, -1)
		s.path = s.path[:len(s.path)-1]
	}
	s.failed[done] = true
	return false, true
}

// mostThrifty is how many steps the thrifty order is made of at most: it looks
// at all that could come next.
const mostThrifty = 1000

// thrifty is the order in which the step that leaves least alive comes next, of
// those that could.
func (q *sequence) thrifty() []int {
	n := len(q.steps)
	order := make([]int, 0, n)
	if n > mostThrifty {
		return q.upstream()
	}
	waits := make([]int, n)
	for i := range q.steps {
		waits[i] = len(q.steps[i].before)
	}
	after := q.after()
	ready := make([]bool, n)
	for i := range ready {
		ready[i] = waits[i] == 0
	}
	a := q.begin()
	for len(order) < n {
		next, least, need := -1, 0, 0
		for i := range ready {
			if !ready[i] {
				continue
			}
			if c, d := q.change(a, i), q.during(a, i); next < 0 || c < least || c == least && d < need {
				next, least, need = i, c, d
			}
		}
		q.run(a, next, 1)
		order = append(order, next)
		ready[next] = false
		for _, i := range after[next] {
			if waits[i]--; waits[i] == 0 {
				ready[i] = true
			}
		}
	}
	return order
}

// after are the steps that come after each.
func (q *sequence) after() [][]int {
	after := make([][]int, len(q.steps))
	for i := range q.steps {
		for _, b := range q.steps[i].before {
			after[b] = append(after[b], i)
		}
	}
	return after
}

// upstream is the order in which everything comes as late as what needs it
// allows: from each step that nothing needs, what it needs, the branch that
// needs most buffers first (R. Sethi and J.D. Ullman, The Generation of Optimal
// Code for Arithmetic Expressions, J. ACM 17(4), 1970).
func (q *sequence) upstream() []int {
	n := len(q.steps)
	need := make([]int, n) // of a step with all before it, as if they were a tree
	sorted := make([][]int, n)
	for i := range q.steps { // the file's order goes forward
		before := slices.Clone(q.steps[i].before)
		slices.SortStableFunc(before, func(a, b int) int { return cmp.Compare(need[b], need[a]) })
		sorted[i] = before
		held := 0
		for _, b := range before {
			need[i] = max(need[i], held+need[b])
			for _, w := range q.steps[b].writes {
				held += q.wires[w].buffers
			}
		}
		own := q.steps[i].inner + q.steps[i].sum
		for _, w := range q.steps[i].writes {
			own += q.wires[w].buffers
		}
		need[i] = max(need[i], held+own)
	}
	order := make([]int, 0, n)
	done := make([]bool, n)
	type visit struct{ step, next int }
	for end, after := range q.after() {
		if len(after) > 0 {
			continue
		}
		for stack := []visit{{end, 0}}; len(stack) > 0; {
			top := &stack[len(stack)-1]
			switch {
			case done[top.step]:
				stack = stack[:len(stack)-1]
			case top.next < len(sorted[top.step]):
				top.next++
				stack = append(stack, visit{sorted[top.step][top.next-1], 0})
			default:
				done[top.step] = true
				order = append(order, top.step)
				stack = stack[:len(stack)-1]
			}
		}
	}
	return order
}
