package estimator

import (
	"math/rand/v2"
	"os"
	"slices"
	"testing"
)

// drawSequence makes a sequence of the shape whose arrows are the bits of a
// number, from each step to each later one, with wires of one or two channels
// and steps that add up, or write in place, or neither.
func drawSequence(n int, arrows uint64, r *rand.Rand) *sequence {
	q := &sequence{steps: make([]seqStep, n), wires: make([]seqWire, n)}
	for i := range n {
		q.steps[i] = seqStep{writes: []int{i}, over: -1, output: -1, inner: r.IntN(8) / 6}
		q.wires[i].buffers = 1 + r.IntN(3)/2
	}
	bit := 0
	for from := range n {
		for to := from + 1; to < n; to++ {
			if arrows>>bit&1 == 1 {
				s := &q.steps[to]
				s.before, s.reads = append(s.before, from), append(s.reads, from)
				q.wires[from].readers++
			}
			bit++
		}
	}
	for i := range n {
		s := &q.steps[i]
		own := q.wires[i].buffers
		if len(s.reads) > 1 && r.IntN(2) == 0 {
			s.sum = own
			for _, w := range s.reads {
				if q.wires[w].buffers == own {
					s.sumOver = append(s.sumOver, w)
				}
			}
		}
		if r.IntN(2) == 0 {
			if s.sum > 0 {
				s.output, s.overSum = i, true
			} else if len(s.reads) > 0 && q.wires[s.reads[0]].buffers == own {
				s.output, s.over = i, s.reads[0]
			}
		}
	}
	return q
}

// connected tells whether a shape hangs together.
func (q *sequence) connected() bool {
	group := make([]int, len(q.steps))
	for i := range group {
		group[i] = i
	}
	for i := range q.steps {
		for _, b := range q.steps[i].before {
			from, to := group[b], group[i]
			for k := range group {
				if group[k] == from {
					group[k] = to
				}
			}
		}
	}
	return len(slices.Compact(slices.Sorted(slices.Values(group)))) <= 1
}

// liveRanges is how many buffers an order needs, from when each wire is written
// and last read: nothing of how the search counts is used.
func liveRanges(q *sequence, order []int) int {
	at := make([]int, len(order))
	for pos, step := range order {
		at[step] = pos
	}
	most := 0
	end := make([]int, len(q.wires))
	for i := range q.steps {
		for _, w := range q.steps[i].writes {
			end[w] = max(end[w], at[i])
		}
		for _, w := range q.steps[i].reads {
			end[w] = max(end[w], at[i])
		}
	}
	for pos, step := range order {
		s := &q.steps[step]
		need := s.inner
		for i := range q.steps {
			for _, w := range q.steps[i].writes {
				if at[i] <= pos && pos <= end[w] {
					need += q.wires[w].buffers
				}
			}
		}
		dies := func(w int) bool { return end[w] == pos }
		if s.sum > 0 && !slices.ContainsFunc(s.sumOver, dies) {
			need += s.sum
		}
		if s.output >= 0 && (s.overSum || s.over >= 0 && dies(s.over)) {
			need -= q.wires[s.output].buffers
		}
		most = max(most, need)
	}
	return most
}

// fewest is how many buffers the best of all orders needs.
func fewest(q *sequence) int {
	best := 1 << 30
	var order []int
	done := make([]bool, len(q.steps))
	var try func()
	try = func() {
		if len(order) == len(q.steps) {
			best = min(best, liveRanges(q, order))
			return
		}
		for i := range q.steps {
			if !done[i] && !slices.ContainsFunc(q.steps[i].before, func(b int) bool { return !done[b] }) {
				done[i], order = true, append(order, i)
				try()
				done[i], order = false, order[:len(order)-1]
			}
		}
	}
	try()
	return best
}

// checkOrder finds anything wrong with the order of a sequence.
func checkOrder(t *testing.T, q *sequence, what string) {
	t.Helper()
	order, peak, least := q.order()
	done := make([]bool, len(q.steps))
	for _, i := range order {
		if done[i] || slices.ContainsFunc(q.steps[i].before, func(b int) bool { return !done[b] }) {
			t.Fatalf("%s: %v takes step %d twice, or before what comes before it", what, order, i)
		}
		done[i] = true
	}
	if len(order) != len(q.steps) {
		t.Fatalf("%s: %v leaves steps out", what, order)
	}
	if ranges := liveRanges(q, order); peak != ranges {
		t.Fatalf("%s: %v is told to need %d buffers, and by its live ranges it needs %d", what, order, peak, ranges)
	}
	if least > peak {
		t.Fatalf("%s: every order is told to need %d buffers, and %v needs %d", what, least, order, peak)
	}
}

// On every connected shape of up to five steps, and of six where all tools are
// asked for, the order needs as few buffers as the best of all orders; and so on
// some of six, seven and eight steps drawn at random, more where all tools are
// asked for.
func TestFewestBuffersAgainstAllOrders(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 7))
	shapes, improved := 0, 0
	check := func(n int, arrows uint64) {
		q := drawSequence(n, arrows, r)
		if !q.connected() {
			return
		}
		shapes++
		_, peak, least := q.order()
		if want := fewest(q); peak != want || least != want {
			t.Fatalf("the shape %b of %d steps is ordered to need %d buffers, at least %d, and the best of all orders needs %d: %+v", arrows, n, peak, least, want, q)
		}
		inFile := make([]int, n)
		for i := range inFile {
			inFile[i] = i
		}
		if peak < q.peak(inFile) {
			improved++
		}
		checkOrder(t, q, "a small shape")
	}
	all, more := 5, 1
	if os.Getenv("ELBOWROOM_TOOLS") == "required" {
		all, more = 6, 10
	}
	for n := 1; n <= all; n++ {
		for arrows := range uint64(1) << (n * (n - 1) / 2) {
			check(n, arrows)
		}
	}
	for n, times := range []int{6: 200, 7: 60, 8: 12} {
		for range times * more {
			check(n, r.Uint64()&r.Uint64()) // few arrows leave many orders
		}
	}
	if improved < shapes/100 {
		t.Errorf("of %d shapes only %d need fewer buffers than in the order of the file: too few to say anything", shapes, improved)
	}
}

// Large sequences get an order that is allowed, that is what it is told to be,
// and that is no worse than that of the file.
func TestLargeSequences(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 7))
	for _, n := range []int{20, 40, 64, 65, 200, 1500} {
		q := &sequence{wires: make([]seqWire, n)}
		for i := range n {
			s := seqStep{writes: []int{i}, over: -1, output: -1}
			q.wires[i].buffers = 1 + r.IntN(2)
			for range min(i, r.IntN(3)) {
				if b := max(0, i-1-r.IntN(12)); !slices.Contains(s.before, b) {
					s.before, s.reads = append(s.before, b), append(s.reads, b)
					q.wires[b].readers++
				}
			}
			q.steps = append(q.steps, s)
		}
		checkOrder(t, q, "a large sequence")
		inFile := make([]int, n)
		for i := range inFile {
			inFile[i] = i
		}
		_, peak, least := q.order()
		if file := q.peak(inFile); peak > file {
			t.Errorf("%d steps need %d buffers, and %d in the order of the file", n, peak, file)
		}
		t.Logf("%d steps: %d buffers, at least %d, in the order of the file %d", n, peak, least, q.peak(inFile))
	}
}

// Sixteen sources that are mixed two by two need sixteen buffers and more in the
// order of the file, all sources first, and no more than one a level of the tree
// where each is used at once.
func TestTournament(t *testing.T) {
	q := &sequence{}
	add := func(before ...int) int {
		i := len(q.steps)
		q.steps = append(q.steps, seqStep{writes: []int{i}, before: before, reads: before, over: -1, output: -1})
		q.wires = append(q.wires, seqWire{buffers: 1})
		for _, b := range before {
			q.wires[b].readers++
		}
		return i
	}
	var level []int
	for range 16 {
		level = append(level, add())
	}
	for len(level) > 1 {
		var next []int
		for i := 0; i < len(level); i += 2 {
			next = append(next, add(level[i], level[i+1]))
		}
		level = next
	}
	// The last of four levels: one held from each level before, two leaves, and their
	// mix: 3 + 2 + 1 = 6 (Sethi and Ullman).
	if _, peak, _ := q.order(); peak != 6 {
		t.Errorf("sixteen sources mixed two by two need %d buffers, want 6", peak)
	}
}
