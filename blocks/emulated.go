package blocks

import (
	"maps"
	"slices"
)

// Emulation is what compiling, running and timing the kernels of a block gave
// on one core.
type Emulation struct {
	Block string `json:"block"`
	Core  string `json:"core"`
	// Made is a digest of all that the figures depend on: kernel, header,
	// catalog entry, flags and tool versions.
	Made     string            `json:"made"`
	Tools    map[string]string `json:"tools"` // Debian packages and their versions
	Variants []EmulatedVariant `json:"variants"`
}

// EmulatedVariant is one kernel of a block.
type EmulatedVariant struct {
	Choices map[string]string `json:"choices,omitempty"`
	Moved   string            `json:"moved,omitempty"` // the parameter that audio moves
	State   Bytes             `json:"state"`           // with the parameters at their defaults and one channel
	Styles  []EmulatedStyle   `json:"styles"`
}

// EmulatedStyle is a kernel compiled and called in one way.
type EmulatedStyle struct {
	Optimise  string `json:"optimise"`            // O2 or Os
	OneSample bool   `json:"one_sample"`          // one sample a call, in place of a block
	Maths     string `json:"maths"`               // library or approximate
	Precision string `json:"precision"`           // single or double
	Constants Bytes  `json:"constants,omitempty"` // constant data of the kernel's own
	// Functions holds the bytes of the kernel's own code by function, named
	// without the block's name: block, sample or tick, update_NAME,
	// event_NAME, start, and helpers that were not inlined.
	Functions map[string]Bytes `json:"functions"`
	// Symbols holds the bytes of what is linked in from libraries for all but
	// start, in flash once however many kernels need it.
	Symbols map[string]Bytes `json:"symbols,omitempty"`
	Stack   Bytes            `json:"stack"` // deepest along the executed calls
	Terms   []CycleTerm      `json:"terms"`
	Fits    []Fit            `json:"fits"`
}

// CycleTerm is cycles that come as often as a formula tells.
type CycleTerm struct {
	// Group is call (once a block or control period), sample (once a sample),
	// recurring.NAME, updates.NAME or events.NAME (each time).
	Group string `json:"group"`
	// Times is a formula over the block's variables: 1, or what the kernel
	// loops over.
	Times     string  `json:"times"`
	Cycles    float64 `json:"cycles"`
	Costliest float64 `json:"costliest"`
}

// Fit is how well the terms of a group meet the timed points: relative
// differences, in the ordinary and the costliest data alike.
type Fit struct {
	Group         string  `json:"group"` // run, updates.NAME or events.NAME
	Points        int     `json:"points"`
	Median        float64 `json:"median"`
	Worst         float64 `json:"worst"`
	HeldOut       int     `json:"held_out"` // points that were kept out of the fit
	HeldOutMedian float64 `json:"held_out_median"`
	HeldOutWorst  float64 `json:"held_out_worst"`
}

// CompileTimes compiles a formula that gives a plain number, in the variables
// of the block's own formulas.
func (b *Block) CompileTimes(text string) (*Formula, error) {
	return CompileFormula(text, b.scope, Plain)
}

// Value is what a formula of the use's block gives, at the far end of what
// moved parameters can make of it.
func (u *Use) Value(f *Formula) (float64, error) {
	m := u.meter()
	v := m.most("times", f)
	return v, m.err
}

// Formulas are the formulas of all terms of the operations.
func (o *Operations) Formulas() []*Formula {
	var list []*Formula
	add := func(counts []Count) {
		for _, c := range counts {
			list = append(list, c.Times)
		}
	}
	add(o.Call)
	add(o.Sample)
	add(o.Costliest)
	for _, name := range slices.Sorted(maps.Keys(o.Events)) {
		add(o.Events[name])
	}
	for _, r := range o.Recurring {
		add(r.Counts)
	}
	for _, up := range o.Updates {
		add(up.Counts)
	}
	return list
}
