package main

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"strconv"
	"strings"
)

// timing is what one call of a kernel's function took.
type timing struct {
	cycles float64
	trace  uint64 // of the executed instructions, where LLVM's model times them
}

// recording is what a run of the bench gave.
type recording struct {
	calls  [][]timing // by passage
	stacks []int      // deepest, by style
	sizes  map[int][]int64
}

// caller is what a call costs its caller: four arguments moved into place, and
// the branch.
var caller = func() []*instruction {
	var list []*instruction
	for _, line := range [][2]string{{"mov", "r0, r4"}, {"mov", "r1, r5"}, {"mov", "r2, r6"}, {"mov", "r3, r7"}, {"bl", "#0"}} {
		i, err := parseInstruction(line[0], line[1])
		if err != nil {
			panic(err) // a line of our own
		}
		list = append(list, i)
	}
	return list
}()

// recorder sorts executed instructions into passages and calls.
type recorder struct {
	fresh   func() clock
	clock   clock           // nil: traces are kept
	traces  *traces         // of cores without a table
	mark    uint64          // address of the marker
	entries map[uint64]bool // addresses of the timed functions
	order   []passage       // of the bench
	passage int             // the current one; -1 before the first mark
	result  *recording
	began   float64
	inside  bool // within a timed function
	depth   int
	path    []*instruction
	join    joiner
}

// newRecorder times the named functions of a program on a core.
func newRecorder(c *core, program []symbol, timed map[string]bool, order []passage, styles int) (*recorder, error) {
	r := &recorder{entries: map[uint64]bool{}, order: order, passage: -1,
		result: &recording{calls: make([][]timing, len(order)), stacks: make([]int, styles)}}
	r.join.step = r.step
	r.fresh = func() clock { return nil }
	if c.clock != nil {
		r.fresh = c.clock
		r.clock = c.clock()
	} else {
		r.traces = &traces{texts: map[uint64][]*instruction{}}
	}
	for _, s := range program {
		switch {
		case s.name == "mark":
			r.mark = s.address
		case timed[s.name]:
			r.entries[s.address] = true
		}
	}
	if len(r.entries) != len(timed) {
		return nil, fmt.Errorf("the program has %d of the %d functions to be timed", len(r.entries), len(timed))
	}
	return r, nil
}

// tally sums up a stretch but for its last instruction, which may lead to one
// place or another.
type tally struct {
	entry  bool           // a timed function begins here
	code   []*instruction // with the IT blocks as the compiler wrote them
	cycles int            // of all but the first, by a table
	grows  int            // bytes by which the stack ends deeper
	peak   int            // and by which it is deeper at most
	join   joiner         // as it stands before the last
}

// summed is the tally of a stretch, made when it runs first.
func (r *recorder) summed(s *stretch) *tally {
	if s.tally != nil {
		return s.tally
	}
	t := &tally{entry: r.entries[s.address]}
	t.join.step = func(i *instruction, _ bool) { t.code = append(t.code, i) }
	for _, i := range s.code[:len(s.code)-1] {
		t.join.next(i, false)
	}
	for _, i := range t.code {
		t.grows += i.stack
		t.peak = max(t.peak, t.grows)
	}
	if fresh, ok := r.fresh().(table); ok && len(t.code) > 0 {
		fresh.step(t.code[0], false)
		first := fresh.cycles()
		for _, i := range t.code[1:] {
			fresh.step(i, false)
		}
		t.cycles = int(fresh.cycles() - first)
	}
	s.tally = t
	return t
}

// run takes in an executed stretch.
func (r *recorder) run(s *stretch, taken bool) {
	t := r.summed(s)
	switch {
	case s.address == r.mark:
		r.close()
		r.passage++
	case t.entry:
		r.close()
		r.open()
	}
	if !r.inside {
		return
	}
	if r.join.within() { // an IT block that two stretches share
		for n, i := range s.code {
			r.join.next(i, taken && n == len(s.code)-1)
		}
		return
	}
	table, summed := r.clock.(table)
	switch {
	case len(t.code) == 0:
	case summed:
		table.step(t.code[0], false)
		table.skip(t.cycles, t.code[len(t.code)-1])
	case r.clock != nil:
		for _, i := range t.code {
			r.clock.step(i, false)
		}
	default:
		r.path = append(r.path, t.code...)
	}
	r.deepen(t.grows, t.peak)
	r.join.branch, r.join.zero = t.join.branch, t.join.zero
	r.join.next(s.code[len(s.code)-1], taken)
}

func (r *recorder) open() {
	r.inside, r.depth = true, 0
	if r.clock != nil {
		r.clock.restart()
		r.began = r.clock.cycles()
	}
	r.path = r.path[:0]
	for _, i := range caller {
		r.step(i, i.target)
	}
}

// close ends a call that is open.
func (r *recorder) close() {
	if !r.inside {
		return
	}
	r.inside = false
	var t timing
	if r.clock != nil {
		t.cycles = r.clock.cycles() - r.began
	} else {
		t.trace = r.traces.keep(r.path)
	}
	if r.passage >= 0 && r.passage < len(r.order) {
		r.result.calls[r.passage] = append(r.result.calls[r.passage], t)
	}
}

// step takes in one instruction.
func (r *recorder) step(i *instruction, taken bool) {
	if r.clock != nil {
		r.clock.step(i, taken)
	} else {
		r.path = append(r.path, i)
	}
	r.deepen(i.stack, i.stack)
}

// deepen lets the stack grow and notes how deep it was at most.
func (r *recorder) deepen(grows, peak int) {
	if peak > 0 && r.passage >= 0 && r.passage < len(r.order) {
		deepest := &r.result.stacks[r.order[r.passage].style]
		*deepest = max(*deepest, r.depth+peak)
	}
	r.depth += grows
}

// record runs a program and times what it executes.
func (r *recorder) record(c *core, program, plugin string, listing map[uint64]*instruction) (*recording, error) {
	walk := &walker{program: listing, run: r.run}
	said, err := emulate(c.machine, program, plugin, walk.read)
	if err != nil {
		return nil, err
	}
	result, err := r.finish(said)
	if err != nil || r.traces == nil {
		return result, err
	}
	cycles, err := c.analyse(listing, r.traces)
	if err != nil {
		return nil, err
	}
	for _, calls := range result.calls {
		for n := range calls {
			calls[n].cycles = cycles[calls[n].trace]
		}
	}
	return result, nil
}

// finish checks that every passage was timed as often as it calls.
func (r *recorder) finish(said string) (*recording, error) {
	for n, ps := range r.order {
		if got := len(r.result.calls[n]); got != ps.calls {
			return nil, fmt.Errorf("passage %d was timed %d times in place of %d", n, got, ps.calls)
		}
	}
	r.result.sizes = map[int][]int64{}
	for line := range strings.Lines(said) {
		words := strings.Fields(line)
		if len(words) < 3 {
			continue
		}
		point, err := strconv.ParseUint(words[0], 16, 32)
		if err != nil {
			continue // the emulator's own words
		}
		var sizes []int64
		for _, w := range words[1 : len(words)-1] {
			v, err := strconv.ParseUint(w, 16, 32)
			if err != nil {
				return nil, fmt.Errorf("the program said '%s'", strings.TrimSpace(line))
			}
			sizes = append(sizes, int64(v))
		}
		r.result.sizes[int(point)] = sizes
	}
	return r.result, nil
}

// traces holds every distinct run of instructions once.
type traces struct{ texts map[uint64][]*instruction }

func (t *traces) keep(path []*instruction) uint64 {
	h := fnv.New64a()
	var word [8]byte
	for _, i := range path {
		binary.LittleEndian.PutUint64(word[:], i.address)
		_, _ = h.Write(word[:])
	}
	key := h.Sum64()
	if _, known := t.texts[key]; !known {
		t.texts[key] = append([]*instruction(nil), path...)
	}
	return key
}
