package main

import "math/bits"

// refill is P, the cycles that a taken branch takes to refill the pipeline of
// the Cortex-M4. Arm gives 1 to 3 (Cortex-M4 TRM 100166, table 3-1); 2 is what
// agrees best with a measured cosf.
const refill = 2

// divide is what SDIV and UDIV take on Cortex-M4 and M33, where Arm gives 2 to
// 12 by the operands (TRM 100166, table 3-1), which a trace does not show.
const divide = 7

// clock adds up the cycles of executed instructions, one after another.
type clock interface {
	// step runs an instruction; taken tells of a branch whether it was.
	step(i *instruction, taken bool)
	// cycles is the time so far.
	cycles() float64
	// restart forgets what was executed just before, as at a new call.
	restart()
}

// table is a clock by which an instruction takes what it and the one before it
// tell, so that a run of them takes the same each time but for the first.
type table interface {
	clock
	// skip goes over instructions that take so many cycles to behind the last.
	skip(cycles int, last *instruction)
}

// m0plus is Arm DDI 0484C, Cortex-M0+ TRM r0p1, table 3-1, with the multiplier
// of one cycle and memory without waits.
type m0plus struct{ total int }

func (c *m0plus) cycles() float64 { return float64(c.total) }
func (c *m0plus) restart()        {}

func (c *m0plus) skip(cycles int, _ *instruction) { c.total += cycles }

func (c *m0plus) step(i *instruction, taken bool) {
	switch i.class {
	case classLoad, classStore, classStoreReg:
		c.total += 2
	case classLoadMany, classStoreMany:
		c.total += 1 + i.count
		if i.toPC() {
			c.total += 2 // POP with PC is 3+N
		}
	case classCondition:
		c.total++
		if taken {
			c.total++
		}
	case classBranch, classJump:
		c.total += 2
	case classCall, classStatus, classBarrier:
		c.total += 3
	default:
		c.total++
	}
}

// m4f is Arm 100166, Cortex-M4 TRM r0p1, tables 3-1, 3-2 and 7-1 with the notes
// of section 3.3.3 and of table 7-1, memory without waits.
type m4f struct {
	total  int
	before *instruction
}

func (c *m4f) cycles() float64 { return float64(c.total) }
func (c *m4f) restart()        { c.before = nil }

func (c *m4f) skip(cycles int, last *instruction) {
	c.total += cycles
	c.before = last
}

func (c *m4f) step(i *instruction, taken bool) {
	n := 1
	switch i.class {
	case classDivide:
		n = divide
	case classLoad:
		n = 2
		if c.follows(i, true) {
			n = 1 // neighbouring loads overlap
		}
		if i.toPC() {
			n = 2 + refill
		}
	case classLoadPair, classStorePair:
		n = 3
	case classStore:
		n = 1 // the write buffer takes it
	case classStoreReg:
		n = 2
	case classLoadMany, classStoreMany:
		n = 1 + i.count
		if i.toPC() {
			n += refill
		}
	case classFloatLoad:
		n = 2
		if i.double {
			n = 3
		}
		if c.follows(i, true) {
			n--
		}
	case classFloatStore:
		n = 2
		if i.double {
			n = 3
		}
		if c.follows(i, false) {
			n--
		}
	case classFloatLoadMany, classFloatStoreMany:
		n = 1 + i.count
	case classCondition:
		if taken {
			n += refill
		}
	case classBranch, classCall, classJump:
		if taken { // in an IT block it may not be
			n = 1 + refill
		}
	case classTable:
		n = 2 + refill
	case classStatus:
		n = 2
	case classFloatMAC:
		n = 3
	case classFloatDivide:
		n = 14 // not pipelined
	case classFloatCore:
		n = 2
	}
	c.total += n + c.waits(i)
	c.before = i
}

// follows tells whether a single load or store comes right after another one
// that it overlaps with: after a load whose result its address does not need,
// or, of a store, after any single load or store but one to base and register.
func (c *m4f) follows(i *instruction, load bool) bool {
	if c.before == nil || c.before.writes&i.base != 0 {
		return false
	}
	switch c.before.class {
	case classLoad, classFloatLoad:
		return true
	case classStore, classFloatStore:
		return !load
	}
	return false
}

// waits is the cycles lost because a result is used by the very next
// instruction: a float result, except as the addend of a multiply-accumulate,
// which is read a cycle later; or data processing that makes an address.
func (c *m4f) waits(i *instruction) int {
	if c.before == nil {
		return 0
	}
	switch c.before.class {
	case classFloat, classFloatMAC:
		used := i.reads
		if i.class == classFloatMAC {
			used &^= i.addend
		}
		if c.before.writes&used != 0 {
			return 1
		}
	case classALU, classMultiply, classDivide:
		if c.before.writes&i.base != 0 {
			return 1
		}
	}
	return 0
}

// m33 goes by measurements of a Cortex-M33 r1p0 (jnk0le/random, cortex_m33.md,
// January 2026), since Arm publishes no table; VDIV and VSQRT are the M4's,
// which is an assumption, and no two instructions are taken to pair.
type m33 struct {
	now   int
	ready [48]int // when a register's value can be used
	late  [48]int // when it can be stored, or added to by a multiply-accumulate
	float int     // when the float unit is free
}

func (c *m33) cycles() float64 { return float64(c.now) }

func (c *m33) restart() {
	clear(c.ready[:])
	clear(c.late[:])
	c.float = 0
}

func (c *m33) step(i *instruction, taken bool) {
	start := c.now
	stored := registers(0)
	if i.class == classStore || i.class == classStoreReg || i.class == classFloatStore {
		stored = i.reads &^ i.base
	}
	for left := i.reads; left != 0; left &= left - 1 {
		r := bits.TrailingZeros64(uint64(left))
		if (stored|i.addend)>>r&1 == 1 {
			start = max(start, c.late[r])
		} else {
			start = max(start, c.ready[r])
		}
	}
	if i.class >= classFloat && i.class != classFloatLoad && i.class != classFloatStore {
		start = max(start, c.float)
	}
	issue, latency, late := 1, 1, 1
	switch i.class {
	case classALU:
		if i.shifted {
			latency = 2
			late = 2
		}
	case classMultiply:
		latency, late = 2, 1
	case classDivide:
		issue, latency, late = divide, divide, divide
	case classLoad:
		latency, late = 2, 1
	case classLoadPair, classStorePair:
		issue, latency, late = 2, 2, 2
	case classLoadMany, classStoreMany, classFloatLoadMany, classFloatStoreMany:
		issue, latency, late = i.count, i.count, i.count
	case classBranch, classCall, classJump, classTable:
		issue = 2
	case classCondition:
		if taken {
			issue = 2
		}
	case classFloat:
		latency, late = 2, 2
	case classFloatMAC:
		latency, late = 4, 3
		c.float = start + 3
	case classFloatDivide:
		issue, latency, late = 14, 14, 14
	}
	if i.toPC() {
		issue++
	}
	c.now = start + issue
	for left := i.writes; left != 0; left &= left - 1 {
		r := bits.TrailingZeros64(uint64(left))
		c.ready[r], c.late[r] = start+latency, start+late
	}
}
