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
	bench   *bench
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
}

func newRecorder(b *bench, c *core, program []symbol) (*recorder, error) {
	r := &recorder{bench: b, entries: map[uint64]bool{}, order: b.passages, passage: -1,
		result: &recording{calls: make([][]timing, len(b.passages)), stacks: make([]int, len(b.styles))}}
	if c.clock != nil {
		r.clock = c.clock()
	} else {
		r.traces = &traces{texts: map[uint64][]*instruction{}}
	}
	timed := map[string]bool{}
	for s, st := range b.styles {
		for _, f := range b.kernel.timed(st.oneSample) {
			timed[alias(s, f)] = true
		}
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

func (r *recorder) enter(address uint64) {
	switch {
	case address == r.mark:
		r.close()
		r.passage++
	case r.entries[address]:
		r.close()
		r.open()
	}
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

func (r *recorder) step(i *instruction, taken bool) {
	if !r.inside {
		return
	}
	if r.clock != nil {
		r.clock.step(i, taken)
	} else {
		r.path = append(r.path, i)
	}
	if i.stack != 0 && r.passage >= 0 && r.passage < len(r.order) {
		r.depth += i.stack
		s := r.order[r.passage].style
		r.result.stacks[s] = max(r.result.stacks[s], r.depth)
	}
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
