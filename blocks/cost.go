package blocks

import (
	"maps"
	"math"
	"slices"
	"strings"
)

// Maths is which library functions a kernel calls.
type Maths uint8

// The library's functions, or polynomial and rational forms.
const (
	LibraryMaths Maths = iota
	ApproximateMaths
)

// Style is how the code is written and compiled.
type Style struct {
	PerSample     bool // kernels are called one sample at a time
	SizeOptimised bool // -Os in place of -O2
	Maths         Maths
	Double        bool // arithmetic slips into double precision
}

// Setting is what one parameter of a use is set to.
type Setting struct {
	Span   Span   // of a numeric parameter: Low is High unless it is moved
	Choice int    // of a categorical parameter
	Moved  Motion // what moves it
}

// Use is one use of a block: its parameters, on a core, at a rate.
type Use struct {
	Block      *Block
	Settings   []Setting // one for each of the block's parameters
	Channels   int
	EventRates map[string]Hertz // greatest rate on each event input
	SampleRate Hertz
	BlockSize  int
	// Ticks is how many control periods begin in a block: mean and most.
	MeanTicks, MostTicks float64
	Style                Style
	// Own is the cost that the user states in place of the catalog's; nil: none.
	Own *OwnCode
}

// PortChannels is how many channels an audio port of the use has.
func (u *Use) PortChannels(p *Port) int {
	switch {
	case p.Channels > 0:
		return p.Channels
	case p.Channels == CountedChannels:
		return int(u.Settings[u.Block.paramsByName[p.Counted]].Span.High)
	}
	return u.Channels
}

// Same tells whether two uses need the same.
func (u *Use) Same(v *Use) bool {
	return u.Block == v.Block && u.Own == v.Own && slices.Equal(u.Settings, v.Settings) && u.Channels == v.Channels &&
		maps.Equal(u.EventRates, v.EventRates) && u.SampleRate == v.SampleRate && u.BlockSize == v.BlockSize &&
		u.MeanTicks == v.MeanTicks && u.MostTicks == v.MostTicks && u.Style == v.Style
}

// OwnCode is the stated cost of the user's own code.
type OwnCode struct {
	Flash, State Bytes
	Buffers      []BufferDemand
	CallCycles   float64 // once a block
	SampleCycles float64
	EventCycles  float64
	Stack        Bytes
}

// Variant names the kernel that a use runs: the block and its choices.
func (u *Use) Variant() string {
	var words []string
	for i, p := range u.Block.Params {
		if p.Categorical() && !p.Plain {
			words = append(words, p.Choices[u.Settings[i].Choice].Name)
		}
	}
	if u.Style.Double {
		words = append(words, "double")
	}
	if len(words) == 0 {
		return u.Block.Name
	}
	return u.Block.Name + " (" + strings.Join(words, ", ") + ")"
}

// Demand is what the use needs on a core. A formula that gives no usable
// figure is an *EvalError.
func (u *Use) Demand(core *Core) (*Demand, error) {
	d := &Demand{Basis: Counted, Gain: 1, Jacks: map[string]int{}}
	if u.Own != nil {
		u.stated(d)
		return d, nil
	}
	m := u.meter()
	m.memory(d)
	k, err := core.emulated(u)
	if err != nil {
		return nil, err
	}
	switch {
	case k != nil:
		m.emulated(d, k, core)
	case u.Block.onlyParts():
		d.Basis, d.Timed = Measured, true // until a part is less sure
	default:
		m.cycles(d, core)
		m.code(d, core)
		d.Source = u.Block.sources(u.Block.Operations.Cites)
	}
	m.parts(d, core)
	slices.Sort(d.Routines)
	d.Routines = slices.Compact(d.Routines)
	return d, m.err
}

func (u *Use) stated(d *Demand) {
	o, n := u.Own, float64(u.BlockSize)
	d.Basis, d.Source = Stated, "own code in the graph's file"
	d.State, d.Stack = o.State, o.Stack
	d.Buffers = slices.Clone(o.Buffers)
	if o.Flash > 0 {
		d.Code = []CodeDemand{{Key: "own code", Bytes: Exactly(float64(o.Flash)), Basis: Stated}}
	}
	steady := o.CallCycles + o.SampleCycles*n
	mean, worst := steady, steady
	for _, rate := range u.EventRates {
		events := float64(rate) * n / float64(u.SampleRate)
		mean += events * o.EventCycles
		worst += math.Ceil(events) * o.EventCycles
	}
	d.Mean, d.Worst = Exactly(mean), Exactly(worst)
	d.note("call", Exactly(o.CallCycles), Exactly(o.CallCycles))
	d.note("sample", Exactly(o.SampleCycles*n), Exactly(o.SampleCycles*n))
	d.note("events", Exactly(mean-steady), Exactly(worst-steady))
}

// DefaultChoice is the index of the choice taken where none is given.
func (p *Param) DefaultChoice() int {
	for i, c := range p.Choices {
		if c.Name == p.DefaultText {
			return i
		}
	}
	return 0
}

// EventRate is the greatest rate of an event output, in hertz.
func (u *Use) EventRate(out *Port) (Hertz, error) {
	if out.Rate == nil {
		return 0, nil
	}
	m := u.meter()
	rate := m.most(out.Name+".rate", out.Rate)
	return Hertz(rate), m.err
}

// MostEvents is how many events an event output may send in one block: what its
// greatest rate brings, or more where they bunch.
func (u *Use) MostEvents(out *Port) (int, error) {
	rate, err := u.EventRate(out)
	if err != nil {
		return 0, err
	}
	most := math.Ceil(float64(rate) * float64(u.BlockSize) / float64(u.SampleRate))
	if out.Most != nil {
		m := u.meter()
		most = max(most, math.Ceil(m.most(out.Name+".most", out.Most)))
		err = m.err
	}
	return int(most), err
}

// Reading is what a metric comes to: its value, and what the ear needs of it.
type Reading struct {
	Value  float64
	Needed float64 // 0: nothing is known of a need
}

// Metric is the reading of one metric of the use, and whether the block has it.
func (u *Use) Metric(name string) (Reading, bool, error) {
	for i := range u.Block.Metrics {
		mv := &u.Block.Metrics[i]
		if mv.Metric != name {
			continue
		}
		m := u.meter()
		m.signed = true
		low, high := m.span("metric "+name, mv.Value)
		r := Reading{Value: high, Needed: m.most("metric "+name+".needed", mv.Needed)}
		if mv.Least {
			r.Value = low
		}
		return r, true, m.err
	}
	return Reading{}, false, nil
}
