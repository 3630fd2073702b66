package estimator

import (
	"math/bits"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
)

// drawSequence makes a sequence of a shape, given as the steps before each step in
// bits, with wires of one or two channels and steps that add up, or write in place,
// or neither.
func drawSequence(before []uint, r *rand.Rand) *sequence {
	n := len(before)
	q := &sequence{steps: make([]seqStep, n), wires: make([]seqWire, n)}
	for i := range n {
		q.steps[i] = seqStep{writes: []int{i}, over: -1, output: -1, inner: r.IntN(8) / 6}
		q.wires[i].buffers = 1 + r.IntN(3)/2
	}
	for to, from := range before {
		s := &q.steps[to]
		for ; from != 0; from &= from - 1 {
			b := bits.TrailingZeros(from)
			s.before, s.reads = append(s.before, b), append(s.reads, b)
			q.wires[b].readers++
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

// eachShape calls f with every shape of n steps, as the steps before each step in
// bits: each at least once however its steps are numbered, since some numbering goes
// up by how far a step is from the beginning, and from equally far by what is before
// it.
func eachShape(n int, f func(before []uint)) {
	before, far := make([]uint, n), make([]int, n)
	var choose func(k int)
	choose = func(k int) {
		if k == n {
			f(before)
			return
		}
		for mask := range uint(1) << k {
			far[k] = 0
			for m := mask; m != 0; m &= m - 1 {
				far[k] = max(far[k], far[bits.TrailingZeros(m)]+1)
			}
			if k > 0 && (far[k] < far[k-1] || far[k] == far[k-1] && mask < before[k-1]) {
				continue
			}
			before[k] = mask
			choose(k + 1)
		}
	}
	choose(0)
}

// connected tells whether a shape hangs together.
func connected(before []uint) bool {
	group := uint(1)
	for grown := true; grown; {
		grown = false
		for i, b := range before {
			with := b | 1<<i
			if with&group != 0 && with&^group != 0 {
				group, grown = group|with, true
			}
		}
	}
	return group == 1<<len(before)-1
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

// fewestOfAll is how many buffers the best of all orders needs, one order after the
// other.
func fewestOfAll(q *sequence) int {
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

// fewest is the same for sequences whose steps write one wire each, by sets: what is
// alive at a step depends on which steps came before it, and not on their order. As
// in liveRanges, nothing of how the search counts is used.
func fewest(q *sequence) int {
	n := len(q.steps)
	before, readers := make([]uint, n), make([]uint, n) // of each step, and of each wire
	for i := range q.steps {
		for _, b := range q.steps[i].before {
			before[i] |= 1 << b
		}
		for _, w := range q.steps[i].reads {
			readers[w] |= 1 << i
		}
	}
	best := make([]int, 1<<n) // over all orders of the steps of a set
	for set := range best[1:] {
		set := uint(set + 1)
		best[set] = 1 << 30
		for rest := set; rest != 0; rest &= rest - 1 {
			i := bits.TrailingZeros(rest)
			earlier := set &^ (1 << i)
			if before[i]&^earlier != 0 || best[earlier] == 1<<30 {
				continue
			}
			s := &q.steps[i]
			need := s.inner
			for w := range q.wires {
				if w == i || earlier>>w&1 == 1 && readers[w]&^earlier != 0 {
					need += q.wires[w].buffers
				}
			}
			dies := func(w int) bool { return readers[w]&^set == 0 }
			if s.sum > 0 && !slices.ContainsFunc(s.sumOver, dies) {
				need += s.sum
			}
			if s.output >= 0 && (s.overSum || s.over >= 0 && dies(s.over)) {
				need -= q.wires[s.output].buffers
			}
			best[set] = min(best[set], max(best[earlier], need))
		}
	}
	return best[len(best)-1]
}

// checkOrder finds anything wrong with the order of a sequence, and gives how many
// buffers it is told to need, and every order at least.
func checkOrder(t *testing.T, q *sequence, what string) (peak, least int) {
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
	return peak, least
}

// allShapes is the environment variable that asks for more steps: with 8 the test
// takes eleven minutes of one core.
const allShapes = "ELBOWROOM_SHAPES"

// On every connected shape of up to six steps, and of seven where all tools are
// asked for, the order needs as few buffers as the best of all orders; and so on
// some of eight that are drawn at random.
func TestFewestBuffersAgainstAllOrders(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 7))
	shapes, improved := 0, 0
	check := func(before []uint) {
		if !connected(before) {
			return
		}
		n := len(before)
		q := drawSequence(before, r)
		shapes++
		peak, least := checkOrder(t, q, "a small shape")
		want := fewest(q)
		if peak != want || least != want {
			t.Fatalf("the shape %b of %d steps is ordered to need %d buffers, at least %d, and the best of all orders needs %d: %+v", before, n, peak, least, want, q)
		}
		if n <= 5 {
			if all := fewestOfAll(q); all != want {
				t.Fatalf("of the shape %b the best of all orders needs %d buffers, and by sets %d: %+v", before, all, want, q)
			}
		}
		inFile := make([]int, n)
		for i := range inFile {
			inFile[i] = i
		}
		if peak < q.peak(inFile) {
			improved++
		}
	}
	all := 6
	if os.Getenv("ELBOWROOM_TOOLS") == "required" {
		all = 7
	}
	if text := os.Getenv(allShapes); text != "" {
		var err error
		if all, err = strconv.Atoi(text); err != nil {
			t.Fatalf("%s is '%s', and no number of steps", allShapes, text)
		}
	}
	for n := 1; n <= all; n++ {
		was := shapes
		eachShape(n, check)
		t.Logf("%d steps: %d shapes", n, shapes-was)
	}
	for range 1000 {
		before := make([]uint, 8)
		for i := range before {
			before[i] = uint(r.Uint64()&r.Uint64()) & (1<<i - 1) // few arrows leave many orders
		}
		check(before)
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
		peak, least := checkOrder(t, q, "a large sequence")
		inFile := make([]int, n)
		for i := range inFile {
			inFile[i] = i
		}
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
