package blocks

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

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

func (m *meter) charge(b *bill, what string, counts []Count, meanTimes, worstTimes float64) {
	for _, c := range counts {
		b.add(c.Class, m.most(what+"."+c.Class.String(), c.Times), meanTimes, worstTimes)
	}
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
