package blocks

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
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
	// without the block's name: block, sample or tick, event_NAME, start, and
	// what these call and was not inlined. Updates holds the functions that are
	// linked only where something moves a parameter: update_NAME, and what
	// they call.
	Functions map[string]Bytes `json:"functions"`
	Updates   map[string]Bytes `json:"updates,omitempty"`
	// Symbols holds the bytes of flash of what is linked in from libraries, by
	// the member of the archive: in flash once however many kernels need it.
	// Data holds what of that lies in RAM; where it has initial values they are
	// in Symbols too.
	Symbols map[string]Bytes `json:"symbols,omitempty"`
	Data    map[string]Bytes `json:"data,omitempty"`
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

// EmulatedKernel is what emulation gave for the one kernel that a use runs.
type EmulatedKernel struct {
	EmulatedStyle
	Moved  string // the parameter that audio moves inside the kernel; "": none
	Source string // the record, and the tools it was made with

	times []*Formula // of the terms; nil: once
}

// Runs tells whether the use's choices are those of the variant, and whether
// what the variant lets audio move is moved so.
func (v *EmulatedVariant) Runs(u *Use) bool {
	for i := range u.Block.Params {
		p := &u.Block.Params[i]
		s := u.Settings[i]
		if p.Categorical() && !p.Plain && v.Choices[p.Name] != p.Choices[s.Choice].Name {
			return false
		}
		if p.Name == v.Moved && s.Moved != ByAudio {
			return false
		}
	}
	return true
}

// Has tells whether the style's code is written, called and compiled as the
// use's, its maths left out.
func (s *EmulatedStyle) Has(u *Use) bool {
	optimise, precision := "O2", "single"
	if u.Style.SizeOptimised {
		optimise = "Os"
	}
	if u.Style.Double {
		precision = "double"
	}
	// Control runs once a period however audio is called. A kernel that has no
	// short forms is not told apart by its maths.
	one := u.Style.PerSample && u.Block.Processes() == Audio
	return s.Optimise == optimise && s.OneSample == one && (s.Precision == precision || s.Maths == "approximate")
}

// Kernel is the kernel that a use of the block runs, or nil where it was not
// timed: choices of the user's own, several parameters that audio moves
// together, or short forms in double precision.
func (e *Emulation) Kernel(u *Use) (*EmulatedKernel, error) {
	var variant *EmulatedVariant
	for i := range e.Variants {
		v := &e.Variants[i]
		switch {
		case !v.Runs(u):
		case variant == nil || variant.Moved == "":
			variant = v
		case v.Moved != "":
			return nil, nil
		}
	}
	if variant == nil {
		return nil, nil
	}
	var library, short *EmulatedStyle
	for i := range variant.Styles {
		s := &variant.Styles[i]
		switch {
		case !s.Has(u):
		case s.Maths == "approximate":
			short = s
		default:
			library = s
		}
	}
	style := library
	if u.Style.Maths == ApproximateMaths && short != nil {
		style = short
	}
	if style == nil || u.Style.Double && style.Precision != "double" {
		return nil, nil
	}
	k := &EmulatedKernel{EmulatedStyle: *style, Moved: variant.Moved, times: make([]*Formula, len(style.Terms))}
	var tools []string
	for _, name := range slices.Sorted(maps.Keys(e.Tools)) {
		tools = append(tools, name+" "+e.Tools[name])
	}
	k.Source = fmt.Sprintf("catalog/emulated/%s/%s.json, made with %s", e.Core, e.Block, strings.Join(tools, ", "))
	for i, t := range style.Terms {
		if t.Times == "1" {
			continue
		}
		f, err := u.Block.CompileTimes(t.Times)
		if err != nil {
			return nil, fmt.Errorf("%s: the term '%s' of %s on %s: %w", e.Block, t.Times, t.Group, e.Core, err)
		}
		k.times[i] = f
	}
	return k, nil
}

// emulated fills in what emulation gave for the kernel: cycles, code, library
// and stack.
func (m *meter) emulated(d *Demand, k *EmulatedKernel, core *Core) {
	u, b := m.use, m.use.Block
	d.Basis, d.Timed, d.Source = Emulated, true, k.Source
	d.Stack = k.Stack
	n := float64(u.BlockSize)
	var mean, worst, hops float64 // hops: the mean of what falls due at known samples
	moved := map[string]bool{}    // groups of updates that are called
	due := map[string]*Figure{}   // the cycles of each hop
	for _, r := range b.Operations.Recurring {
		if r.Locked {
			d.Hops = append(d.Hops, Hop{Name: r.Name, Every: m.every(r), Offset: m.least("operations.recurring."+r.Name+".offset", r.Offset)})
		}
	}
	for i := range d.Hops {
		due[d.Hops[i].Name] = &d.Hops[i].Cycles
	}
	for i, t := range k.Terms {
		times := 1.0
		if f := k.times[i]; f != nil {
			times = m.most(t.Group, f)
		}
		group, name, _ := strings.Cut(t.Group, ".")
		meanTimes, worstTimes := 0.0, 0.0
		switch group {
		case "call":
			meanTimes, worstTimes = 1, 1
			if b.Processes() != Audio {
				meanTimes, worstTimes = u.MeanTicks, u.MostTicks
			}
		case "sample":
			meanTimes, worstTimes = n, n
		case "events":
			meanTimes = float64(u.EventRates[name]) * n / float64(u.SampleRate)
			worstTimes = math.Ceil(meanTimes)
		case "updates":
			meanTimes, worstTimes = m.updates(name, k.Moved)
			moved[name] = worstTimes > 0
		case "recurring":
			r, ok := b.recurring(name)
			if !ok {
				continue
			}
			every := m.every(r)
			if m.err != nil {
				return
			}
			meanTimes = n / every
			if worstTimes = math.Ceil(meanTimes); r.Locked {
				worstTimes = 0
				*due[name] = due[name].Plus(core.EmulatedBand.Within(times * max(t.Cycles, t.Costliest)))
			}
		}
		if takes := times * meanTimes * t.Cycles; b.locked(t.Group) {
			hops += takes
		} else {
			mean += takes
		}
		worst += times * worstTimes * t.Costliest
		d.note(t.Group, core.EmulatedBand.Within(times*meanTimes*t.Cycles), core.EmulatedBand.Within(times*worstTimes*t.Costliest))
	}
	d.Mean = core.EmulatedBand.Within(mean + hops)
	if len(d.Hops) > 0 {
		// A hop is timed by itself, and lies below the kernel that calls it: the two
		// together go at most twice as deep as the deeper one.
		d.Stack *= 2
	}
	// The two were fitted apart, so that where no data is costlier than another
	// the one may come out a hair under the other.
	d.Worst = core.EmulatedBand.Within(max(mean, worst))
	if mean > worst {
		for i := range d.Terms {
			if t := &d.Terms[i]; !b.locked(t.Name) {
				t.Worst = t.Mean
			}
		}
	}
	m.text(d, k, core, moved)
}

// updates is how often a group of updates is called in a block: a parameter
// that audio moves inside the kernel calls none.
func (m *meter) updates(group, within string) (mean, most float64) {
	u, b := m.use, m.use.Block
	for _, up := range b.Operations.Updates {
		if up.Name != group {
			continue
		}
		for _, name := range up.When {
			switch u.Settings[b.paramsByName[name]].Moved {
			case ByControl:
				mean, most = max(mean, u.MeanTicks), max(most, u.MostTicks)
			case ByAudio:
				if name != within {
					mean, most = float64(u.BlockSize), float64(u.BlockSize)
				}
			}
		}
	}
	return mean, most
}

func (b *Block) recurring(name string) (Recurring, bool) {
	for _, r := range b.Operations.Recurring {
		if r.Name == name {
			return r, true
		}
	}
	return Recurring{}, false
}

// locked tells whether a term is work that falls due at known samples.
func (b *Block) locked(term string) bool {
	name, recurs := strings.CutPrefix(term, "recurring.")
	r, ok := b.recurring(name)
	return recurs && ok && r.Locked
}

// text charges the code of a kernel, the updates that something calls by
// themselves, since another node may call others, and the library.
func (m *meter) text(d *Demand, k *EmulatedKernel, core *Core, moved map[string]bool) {
	key := m.use.Code()
	kernel := alignWord(k.Constants)
	for _, bytes := range k.Functions {
		kernel += alignWord(bytes)
	}
	charge := func(key string, bytes, idle Bytes) {
		if bytes > 0 {
			d.Code = append(d.Code, CodeDemand{Key: key, Bytes: core.EmulatedCodeBand.Within(float64(bytes)), Idle: idle, Basis: Emulated})
		}
	}
	charge(key, kernel, alignWord(k.Functions["start"]))
	for _, name := range slices.Sorted(maps.Keys(k.Updates)) {
		// What is no group's own is called by some of them.
		group, own := strings.CutPrefix(name, "update_")
		if own && moved[group] || !own && slices.Contains(slices.Collect(maps.Values(moved)), true) {
			charge(key+", "+name, alignWord(k.Updates[name]), 0)
		}
	}
	if len(k.Symbols) == 0 {
		return
	}
	running := m.running(core)
	for _, name := range slices.Sorted(maps.Keys(k.Symbols)) {
		_, known := core.Routines[name]
		d.Library = append(d.Library, LibraryDemand{Name: name, Flash: alignWord(k.Symbols[name]), Data: alignWord(k.Data[name]), Idle: known && !running[name]})
	}
}

// running are the routines that run while audio plays, with all that they need,
// by the counts of the block's operations.
func (m *meter) running(core *Core) map[string]bool {
	var counted Demand
	m.cycles(&counted, core)
	running := map[string]bool{}
	for _, name := range core.Linked(counted.Routines) {
		running[name] = true
	}
	return running
}

// alignWord rounds a section's size up to the words that sections begin on.
func alignWord(b Bytes) Bytes { return (b + 3) / 4 * 4 }

// Code names the kernel that a use runs and how it is compiled, which is what
// one copy of its code is charged for.
func (u *Use) Code() string {
	words := []string{u.Variant()}
	for i := range u.Block.Params {
		if u.Settings[i].Moved == ByAudio {
			words = append(words, u.Block.Params[i].Name+" by audio")
		}
	}
	if u.Style.PerSample && u.Block.Processes() == Audio {
		words = append(words, "by samples")
	}
	if u.Style.SizeOptimised {
		words = append(words, "for size")
	}
	if u.Style.Maths == ApproximateMaths {
		words = append(words, "short forms")
	}
	return strings.Join(words, ", ")
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
