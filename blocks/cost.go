package blocks

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// Basis is how a figure is known.
type Basis uint8

// Bases, the surest first.
const (
	Measured Basis = iota // on the user's own board
	Stated                // by the user or by the board's file
	Emulated              // kernel compiled, run in emulation, timed by a core model
	Counted               // operations of the published equation times class weights
	Modelled              // from the board's memory figures
)

var basisNames = [...]string{Measured: "measured", Stated: "stated", Emulated: "emulated", Counted: "counted", Modelled: "modelled"}

// String is the word used in output.
func (b Basis) String() string { return basisNames[b] }

// Figure is a number with the edges between which the truth is thought to lie.
type Figure struct{ Value, Low, High float64 }

// Exactly is a figure without doubt.
func Exactly(v float64) Figure { return Figure{v, v, v} }

// Within is a figure with a band around it.
func (band Band) Within(v float64) Figure { return Figure{v, v * band.Low, v * band.High} }

// Plus adds figures. Errors of one kind are common to all nodes, so edges add.
func (f Figure) Plus(g Figure) Figure {
	return Figure{f.Value + g.Value, f.Low + g.Low, f.High + g.High}
}

// Times multiplies a figure by a factor that is not negative.
func (f Figure) Times(k float64) Figure { return Figure{f.Value * k, f.Low * k, f.High * k} }

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

// BufferDemand is one buffer of a use.
type BufferDemand struct {
	Name          string
	Bytes         Bytes
	Reads, Writes float64 // accesses a sample
	Element       Bytes
	Pattern       Pattern
	Heads         float64 // places at which it is touched
	DMA           bool
	Turn
}

// Turn is the recurring work that touches memory all at once.
type Turn struct {
	Due   string  // name of the Hop; "": it is touched as samples come
	Every float64 // samples from one turn to the next; 0: touched as samples come
}

// TableDemand is one table of a use; equal keys are charged once.
type TableDemand struct {
	Name   string // in the block's file
	Key    string
	Bytes  Bytes
	Reads  float64 // a sample
	Heads  float64 // places at which it is read
	Order  Pattern // of reads
	Copied bool
	Turn
}

// CodeDemand is a piece of code; equal keys are charged once.
type CodeDemand struct {
	Key   string
	Bytes Figure
	Idle  Bytes       // of them those that run at the start alone
	RAM   []BankBytes // of them those that run in RAM, where they lie a second time
	Basis Basis
}

// LibraryDemand is a member of a library's archive, in a program once however
// many kernels need it.
type LibraryDemand struct {
	Name        string
	Flash, Data Bytes // Data lies in RAM, its initial values in Flash too
	Idle        bool  // runs at the start alone
}

// Hop is work that falls due at known samples.
type Hop struct {
	Name          string  // of the recurring work, in a composed block behind the part's
	Every, Offset float64 // samples
	Cycles        Figure  // each time
}

// Demand is what one use needs.
type Demand struct {
	State    Bytes
	Stack    Bytes
	Buffers  []BufferDemand
	Tables   []TableDemand
	Code     []CodeDemand
	Routines []string        // of counted kernels
	Library  []LibraryDemand // of emulated ones
	Jacks    map[string]int

	// Cycles a block, in the mean and in the costliest block that the data
	// and the events can bring about, hops left out.
	Mean, Worst Figure
	Terms       []Term // of which they are the sums
	Hops        []Hop
	Basis       Basis
	Timed       bool   // of an emulated kernel, whatever was measured since
	Source      string // where the cycles come from

	Latency  float64 // samples from input to output
	Shortest float64 // samples; 0: no legal place to close a loop
	LoopGain float64 // greatest gain around the block's own loop
	Gain     float64 // greatest gain from input to output
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

// EvalError tells which formula of which block gave no usable figure.
type EvalError struct {
	Block, What, Formula, With string
	Reason                     string
}

func (e *EvalError) Error() string {
	text := fmt.Sprintf("%s: %s '%s' %s", e.Block, e.What, e.Formula, e.Reason)
	if e.With != "" {
		text += " with " + e.With
	}
	return text
}

// meter evaluates the formulas of a use, at every corner of the spans that its
// moved parameters run over.
type meter struct {
	use    *Use
	values []float64
	signed bool // results may be negative
	err    error
}

func (u *Use) meter() *meter {
	b := u.Block
	m := &meter{use: u, values: make([]float64, b.scope.Len())}
	set := func(name string, v float64) {
		slot, _, _ := b.scope.Lookup(name)
		m.values[slot] = v
	}
	set(varSampleRate, float64(u.SampleRate))
	set(varBlockSize, float64(u.BlockSize))
	set(varChannels, float64(u.Channels))
	for i, p := range b.Params {
		if p.Categorical() {
			for _, f := range p.Choices[u.Settings[i].Choice].facts {
				m.values[f.slot] = f.value
			}
		} else {
			m.values[p.slot] = u.Settings[i].Span.High
			if u.Settings[i].Moved != Fixed {
				m.values[p.movesSlot] = 1
			}
		}
	}
	for name, slot := range b.eventRateSlot {
		m.values[slot] = float64(u.EventRates[name])
	}
	return m
}

// most and least evaluate a formula at the far and the near end of what moved
// parameters can make of it. After a failure they return 0.
func (m *meter) most(what string, f *Formula) float64 {
	_, high := m.span(what, f)
	return high
}

func (m *meter) least(what string, f *Formula) float64 {
	low, _ := m.span(what, f)
	return low
}

func (m *meter) span(what string, f *Formula) (low, high float64) {
	if f == nil || m.err != nil {
		return 0, 0
	}
	var ranging []int
	for i, p := range m.use.Block.Params {
		if s := m.use.Settings[i].Span; !p.Categorical() && s.Low != s.High && f.Reads(p.slot) {
			ranging = append(ranging, i)
		}
	}
	low, high = math.Inf(1), math.Inf(-1)
	for corner := range 1 << len(ranging) {
		for bit, i := range ranging {
			s := m.use.Settings[i].Span
			v := s.High
			if corner>>bit&1 == 1 {
				v = s.Low
			}
			m.values[m.use.Block.Params[i].slot] = v
		}
		eval := f.Eval
		if m.signed {
			eval = f.EvalSigned
		}
		v, err := eval(m.values)
		if err != nil {
			m.fail(what, f, err)
			return 0, 0
		}
		low, high = min(low, v), max(high, v)
	}
	for _, i := range ranging {
		m.values[m.use.Block.Params[i].slot] = m.use.Settings[i].Span.High
	}
	return low, high
}

func (m *meter) fail(what string, f *Formula, err error) {
	var with []string
	for _, p := range m.use.Block.Params {
		if !p.Categorical() && f.Reads(p.slot) {
			with = append(with, fmt.Sprintf("%s = %s", p.Name, p.Unit.Format(m.values[p.slot])))
		}
	}
	reason := err.Error()
	if fe, ok := err.(*FormulaError); ok {
		reason = fe.Reason
	}
	m.err = &EvalError{m.use.Block.Name, what, f.Text(), strings.Join(with, ", "), reason}
}

func (m *meter) bytes(what string, f *Formula) Bytes {
	return Bytes(Ceil(m.most(what, f)))
}

// bill adds up operations on a core.
type bill struct {
	core     *Core
	style    Style
	mean     float64
	worst    float64
	routines map[string]bool
}

// weight is what a class costs in the style of the code, with the library
// routines it needs.
func (c *Core) weight(class Class, style Style) Weight {
	w := c.Weights[class]
	if style.Double && c.HasDouble[class] {
		w = c.Double[class]
	}
	if class.IsFunction() && style.Maths == ApproximateMaths && w.Approximate > 0 {
		w.Cycles, w.Worst, w.Library = w.Approximate, w.Approximate, nil
	}
	return w
}

// Work is so many operations of a class.
type Work struct {
	Class Class
	Times float64
}

// Price is the cycles of some operations in the style of the code, on ordinary
// and on the costliest data, with the library routines they call.
func (c *Core) Price(style Style, work ...Work) (mean, worst Figure, routines []string) {
	b := &bill{core: c, style: style, routines: map[string]bool{}}
	for _, w := range work {
		b.add(w.Class, w.Times, 1, 1)
	}
	factor := c.sizeFactor(style)
	return c.ComputeBand.Within(b.mean * factor), c.ComputeBand.Within(b.worst * factor), b.named()
}

// CodeOf is the bytes of code of some operations, each once where it stands.
func (c *Core) CodeOf(style Style, work ...Work) float64 {
	bytes := 0.0
	for _, w := range work {
		bytes += w.Times * float64(c.weight(w.Class, style).Code)
	}
	if style.SizeOptimised {
		bytes *= c.SizeOptimised.Code
	}
	return bytes
}

// CallCost is the cycles of one kernel call.
func (c *Core) CallCost(style Style) Figure {
	return c.ComputeBand.Within(c.Call.Cycles * c.sizeFactor(style))
}

// sizeFactor is what code compiled for size costs in time.
func (c *Core) sizeFactor(style Style) float64 {
	if style.SizeOptimised {
		return c.SizeOptimised.Cycles
	}
	return 1
}

// named lists the routines of a bill, sorted.
func (b *bill) named() []string {
	return slices.Sorted(maps.Keys(b.routines))
}

func (b *bill) add(class Class, times float64, meanTimes, worstTimes float64) {
	w := b.core.weight(class, b.style)
	b.mean += times * meanTimes * w.Cycles
	b.worst += times * worstTimes * w.Worst
	if times > 0 {
		for _, r := range w.Library {
			b.routines[r] = true
		}
	}
}

func (m *meter) charge(b *bill, what string, counts []Count, meanTimes, worstTimes float64) {
	for _, c := range counts {
		b.add(c.Class, m.most(what+"."+c.Class.String(), c.Times), meanTimes, worstTimes)
	}
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

func (m *meter) memory(d *Demand) {
	b := m.use.Block
	d.State = m.bytes("state", b.State)
	d.Stack = m.bytes("stack", b.Stack)
	eachSlot, _, _ := b.scope.Lookup(varEach)
	for i := range b.Buffers {
		buf := &b.Buffers[i]
		if buf.When != nil && m.most(buf.Name+".when", buf.When) == 0 {
			continue
		}
		each := buf.Each
		if each == nil {
			each = []float64{0}
		}
		for n, v := range each {
			m.values[eachSlot] = v
			name := buf.Name
			if buf.Each != nil {
				name = fmt.Sprintf("%s-%d", buf.Name, n+1)
			}
			bytes := m.bytes(name+".bytes", buf.Bytes)
			if bytes == 0 {
				continue
			}
			demand := BufferDemand{
				Name: name, Bytes: bytes,
				Reads: m.most(name+".reads", buf.Reads), Writes: m.most(name+".writes", buf.Writes),
				Element: m.bytes(name+".element", buf.Element),
				Pattern: buf.Pattern, Heads: 1, DMA: buf.DMA, Turn: m.turn(buf.Due),
			}
			switch {
			case buf.Heads != nil:
				demand.Heads = m.most(name+".heads", buf.Heads)
			case buf.Pattern != Stream:
				demand.Heads = demand.Reads + demand.Writes
			}
			d.Buffers = append(d.Buffers, demand)
		}
		m.values[eachSlot] = 0
	}
	for i := range b.Tables {
		t := &b.Tables[i]
		if t.When != nil && m.most(t.Name+".when", t.When) == 0 {
			continue
		}
		if bytes := m.bytes(t.Name+".bytes", t.Bytes); bytes > 0 {
			demand := TableDemand{Name: t.Name, Key: m.key(t.Key), Bytes: bytes, Reads: m.most(t.Name+".reads", t.Reads), Order: t.Order, Copied: t.Copied, Turn: m.turn(t.Due)}
			demand.Heads = demand.Reads
			if t.Heads != nil {
				demand.Heads = m.most(t.Name+".heads", t.Heads)
			}
			d.Tables = append(d.Tables, demand)
		}
	}
	for _, j := range b.Jacks {
		d.Jacks[j.Jack] += int(m.most("jack."+j.Jack, j.Count))
	}
	d.Latency = m.most("latency", b.Latency)
	d.Shortest = m.least("delays.shortest", b.Shortest)
	d.LoopGain = m.most("loop_gain", b.LoopGain)
	if b.Gain != nil {
		d.Gain = m.most("gain", b.Gain)
	}
}

// key replaces {param} in a table's key by what the parameter is set to.
func (m *meter) key(key string) string {
	for i, p := range m.use.Block.Params {
		mark := "{" + p.Name + "}"
		if !strings.Contains(key, mark) {
			continue
		}
		s := m.use.Settings[i]
		value := p.Unit.Format(s.Span.High)
		if p.Categorical() {
			value = p.Choices[s.Choice].Name
		}
		key = strings.ReplaceAll(key, mark, value)
	}
	return key
}

func (m *meter) cycles(d *Demand, core *Core) {
	u, b := m.use, m.use.Block
	ops := &b.Operations
	n := float64(u.BlockSize)
	cost := &bill{core: core, style: u.Style, routines: map[string]bool{}}
	factor := core.sizeFactor(u.Style)
	var mean, worst float64
	note := func(term string) { // what was charged since the last
		d.note(term, core.ComputeBand.Within((cost.mean-mean)*factor), core.ComputeBand.Within((cost.worst-worst)*factor))
		mean, worst = cost.mean, cost.worst
	}
	switch b.Processes() {
	case Audio:
		if u.Style.PerSample {
			cost.mean += core.PerSample.Cycles * n
			cost.worst += core.PerSample.Worst * n
		} else {
			cost.mean += core.Call.Cycles
			cost.worst += core.Call.Worst
			m.charge(cost, "operations.call", ops.Call, 1, 1)
		}
		note("call")
		m.charge(cost, "operations.sample", ops.Sample, n, n)
		m.charge(cost, "operations.costliest", ops.Costliest, 0, n)
		note("sample")
	case Control:
		cost.mean += core.Call.Cycles * u.MeanTicks
		cost.worst += core.Call.Worst * u.MostTicks
		m.charge(cost, "operations.call", ops.Call, u.MeanTicks, u.MostTicks)
		note("call")
	}
	for _, in := range b.Inputs {
		if counts := ops.Events[in.Name]; counts != nil {
			events := float64(u.EventRates[in.Name]) * n / float64(u.SampleRate)
			m.charge(cost, "operations.events."+in.Name, counts, events, math.Ceil(events))
			note("events." + in.Name)
		}
	}
	for _, up := range ops.Updates {
		mean, most := 0.0, 0.0
		for _, name := range up.When {
			switch u.Settings[b.paramsByName[name]].Moved {
			case ByControl:
				mean, most = max(mean, u.MeanTicks), max(most, u.MostTicks)
			case ByAudio:
				mean, most = n, n
			}
		}
		if most > 0 {
			m.charge(cost, "operations.updates."+up.Name, up.Counts, mean, most)
			note("updates." + up.Name)
		}
	}
	for _, r := range ops.Recurring {
		m.recurring(d, cost, r, factor)
		note("recurring." + r.Name)
	}
	d.Mean = core.ComputeBand.Within(cost.mean * factor)
	d.Worst = core.ComputeBand.Within(cost.worst * factor)
	d.Routines = append(d.Routines, cost.named()...)
}

func (m *meter) recurring(d *Demand, cost *bill, r Recurring, factor float64) {
	what := "operations.recurring." + r.Name
	every := m.every(r)
	if m.err != nil {
		return
	}
	due := float64(m.use.BlockSize) / every
	if !r.Locked {
		m.charge(cost, what, r.Counts, due, math.Ceil(due))
		return
	}
	hop := &bill{core: cost.core, style: cost.style, routines: cost.routines}
	m.charge(hop, what, r.Counts, 1, 1)
	cost.mean += hop.mean * due
	d.Hops = append(d.Hops, Hop{
		Name: r.Name, Every: every, Offset: m.least(what+".offset", r.Offset),
		Cycles: cost.core.ComputeBand.Within(hop.worst * factor),
	})
}

// turn is the recurring work of a name, with how often it comes.
func (m *meter) turn(name string) Turn {
	r, ok := m.use.Block.recurring(name)
	if !ok {
		return Turn{}
	}
	return Turn{Due: name, Every: m.every(r)}
}

// every is how many samples lie at least between two turns of recurring work.
func (m *meter) every(r Recurring) float64 {
	what := "operations.recurring." + r.Name + ".every"
	every := m.least(what, r.Every)
	if m.err == nil && every < 1 {
		m.err = &EvalError{m.use.Block.Name, what, r.Every.Text(), "", "is under one sample"}
	}
	return every
}

// code counts the static instructions of the kernel: one of everything that
// the terms do, with loops written once.
func (m *meter) code(d *Demand, core *Core) {
	b := m.use.Block
	var bytes float64
	if b.Instructions != nil {
		bytes = m.most("instructions", b.Instructions) * float64(core.instructionBytes())
	} else {
		once := m.once()
		terms := [][]Count{b.Operations.Call, b.Operations.Sample, b.Operations.Costliest}
		for _, in := range b.Inputs {
			terms = append(terms, b.Operations.Events[in.Name])
		}
		for _, r := range b.Operations.Recurring {
			terms = append(terms, r.Counts)
		}
		for _, up := range b.Operations.Updates {
			for _, name := range up.When {
				if m.use.Settings[b.paramsByName[name]].Moved != Fixed {
					terms = append(terms, up.Counts)
					break
				}
			}
		}
		for _, counts := range terms {
			for _, c := range counts {
				w := core.weight(c.Class, m.use.Style)
				bytes += math.Ceil(once.most("operations."+c.Class.String(), c.Times)) * float64(w.Code)
			}
		}
		if m.err == nil {
			m.err = once.err
		}
	}
	if bytes == 0 {
		return
	}
	bytes += float64(core.Call.Code)
	if m.use.Style.SizeOptimised {
		bytes *= core.SizeOptimised.Code
	}
	bytes = math.Ceil(bytes/4) * 4
	d.Code = append(d.Code, CodeDemand{Key: m.use.Variant(), Bytes: core.CodeBand.Within(bytes), Basis: Counted})
}

// once is a meter whose count parameters are at their least and which has one
// channel: what a loop does in one turn.
func (m *meter) once() *meter {
	u := *m.use
	u.Channels = 1
	u.Settings = slices.Clone(u.Settings)
	for i, p := range u.Block.Params {
		if p.Unit == UnitCount && !p.Categorical() {
			least := max(p.Range.Low, 1)
			u.Settings[i].Span = Span{least, least}
		}
	}
	return u.meter()
}

// instructionBytes is the mean size of an instruction: that of a float
// addition, which every core's file states.
func (c *Core) instructionBytes() Bytes { return c.Weights[OpAdd].Code }

// parts adds the demands of the blocks that a composed block is made of.
func (m *meter) parts(d *Demand, core *Core) {
	for i := range m.use.Block.Parts {
		p := &m.use.Block.Parts[i]
		count := 1.0
		if p.Count != nil {
			count = math.Round(m.most(p.Name+".count", p.Count))
		}
		use := m.part(p)
		if m.err != nil || count == 0 {
			continue
		}
		part, err := use.Demand(core)
		if err != nil {
			m.err = fmt.Errorf("%s: part '%s': %w", m.use.Block.Name, p.Name, err)
			return
		}
		d.addPart(p.Name, part, count)
	}
}

func (m *meter) part(p *Part) *Use {
	u := *m.use
	u.Block, u.Own = p.block, nil
	u.Settings = make([]Setting, len(p.block.Params))
	for i := range p.block.Params {
		param := &p.block.Params[i]
		_, def := param.At(u.SampleRate)
		u.Settings[i] = Setting{Span: def}
		if f := p.Set[param.Name]; f != nil {
			m.signed = param.Range.Low < 0
			low, high := m.span(p.Name+"."+param.Name, f)
			m.signed = false
			u.Settings[i].Span = Span{low, high}
			for j, outer := range m.use.Block.Params {
				if !outer.Categorical() && f.Reads(outer.slot) {
					u.Settings[i].Moved = max(u.Settings[i].Moved, m.use.Settings[j].Moved)
				}
			}
		}
		if word := p.Pick[param.Name]; word != "" {
			u.Settings[i].Choice = slices.IndexFunc(param.Choices, func(c Choice) bool { return c.Name == word })
		} else if param.Categorical() {
			u.Settings[i].Choice = param.DefaultChoice()
		}
	}
	return &u
}

func (d *Demand) addPart(name string, part *Demand, count float64) {
	n := int(count)
	d.Basis, d.Timed = max(d.Basis, part.Basis), d.Timed && part.Timed
	if d.Source == "" {
		d.Source = part.Source
	}
	d.State += part.State * Bytes(n)
	d.Stack = max(d.Stack, part.Stack)
	for _, b := range part.Buffers {
		for k := range n {
			copied := b
			copied.Name = name + "." + b.Name
			if n > 1 {
				copied.Name = fmt.Sprintf("%s-%d.%s", name, k+1, b.Name)
			}
			copied.Turn = b.Turn.of(name)
			d.Buffers = append(d.Buffers, copied)
		}
	}
	for _, t := range part.Tables {
		t.Turn = t.Turn.of(name)
		d.Tables = append(d.Tables, t)
	}
	d.Code = append(d.Code, part.Code...)
	d.Routines = append(d.Routines, part.Routines...)
	d.Library = append(d.Library, part.Library...)
	for _, t := range part.Terms {
		d.note(name+"."+t.Name, t.Mean.Times(count), t.Worst.Times(count))
	}
	d.Mean = d.Mean.Plus(part.Mean.Times(count))
	d.Worst = d.Worst.Plus(part.Worst.Times(count))
	for _, h := range part.Hops {
		h.Name, h.Cycles = name+"."+h.Name, h.Cycles.Times(count)
		d.Hops = append(d.Hops, h)
	}
	for jack, k := range part.Jacks {
		d.Jacks[jack] += k * n
	}
	d.Latency += part.Latency * count
}

// of is the turn as the block tells it that the part of a name belongs to.
func (t Turn) of(part string) Turn {
	if t.Due != "" {
		t.Due = part + "." + t.Due
	}
	return t
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

// join ties a part to the block it is made of, and checks its parameters.
func (p *Part) join(b *Block) error {
	p.block = b
	for name := range p.Set {
		param, ok := b.Param(name)
		if !ok || param.Categorical() {
			return fmt.Errorf("%s has no numeric parameter '%s'", b.Name, name)
		}
	}
	for name, word := range p.Pick {
		param, ok := b.Param(name)
		if !ok || !param.Categorical() {
			return fmt.Errorf("%s has no parameter '%s' that is a choice", b.Name, name)
		}
		if !slices.ContainsFunc(param.Choices, func(c Choice) bool { return c.Name == word }) {
			return fmt.Errorf("%s has no %s '%s'", b.Name, name, word)
		}
	}
	for i := range b.Params {
		param := &b.Params[i]
		if param.Needed && p.Set[param.Name] == nil && p.Pick[param.Name] == "" {
			return fmt.Errorf("%s needs '%s'", b.Name, param.Name)
		}
	}
	return nil
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
