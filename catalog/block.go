package catalog

import (
	"slices"
	"strings"
	"unicode"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// Families are the folders that blocks are kept in.
func Families() []string {
	return []string{"delay", "reverb", "filter", "oscillator", "shape", "control", "mix", "spectral", "board"}
}

// readBlock reads a block's file.
func readBlock(v source.Value) *blocks.Block {
	o := v.Object("the block")
	b := &blocks.Block{Name: word(o.Need("block"), hyphenated, aName)}
	r := newReader(o)
	b.Citations = r.citations
	if family := o.Need("family"); family.IsText() {
		b.Family = family.Text("a family")
		if !slices.Contains(Families(), b.Family) {
			family.Fail("families are "+strings.Join(Families(), ", "), "there is no family '%s'", b.Family)
		}
	}
	b.Role = word(o.Need("role"), hyphenated, aName)
	for _, other := range o.Take("called").Items("a list of words") {
		b.Called = append(b.Called, word(other, hyphenated, aName))
	}
	b.Title = o.Need("title").Text("a title")
	b.About = strings.Join(strings.Fields(o.Need("about").Text("two sentences")), " ")
	b.Equation = o.Take("equation").Text("an equation")

	facts := readParams(b, o)
	inputs, outputs := o.Take("inputs"), o.Take("outputs")
	b.Inputs = readPorts(inputs)
	b.Outputs = readPorts(outputs)
	if len(b.Inputs)+len(b.Outputs) == 0 {
		o.At().Fail("", "the block has neither inputs nor outputs")
	}
	if in := o.Take("in_place"); in.Given() {
		b.InPlace = in.Truth()
		audio := func(ports []blocks.Port) bool { return len(ports) > 0 && ports[0].Kind == blocks.Audio }
		if b.InPlace && !(audio(b.Inputs) && audio(b.Outputs)) {
			in.Fail("", "only what has audio for its first input and its first output can work in place")
		}
	}
	scope, err := b.DefineScope(facts)
	if err != nil {
		at := o.At()
		for _, m := range o.Take("params").Object("params").Rest() {
			if strings.Contains(err.Error(), "'"+m.Name+"'") {
				at = m.Key
			}
		}
		at.Fail("", "a name for formulas is taken: %v", err)
	}
	r.scope = scope
	r.rates(b, outputs)
	countedPorts(b, b.Inputs, inputs, false)
	countedPorts(b, b.Outputs, outputs, true)

	if so := o.Take("state"); so.Given() {
		state := so.Object("state")
		b.State = r.need(state, "bytes", blocks.InBytes)
		b.StateCites = r.cites(state)
		state.Done("key")
	}
	if so := o.Take("stack"); so.Given() {
		stack := so.Object("stack")
		b.Stack = r.need(stack, "bytes", blocks.InBytes)
		b.StateCites = append(b.StateCites, r.cites(stack)...)
		stack.Done("key")
	}
	for _, m := range o.Take("buffers").Object("buffers").Rest() {
		b.Buffers = append(b.Buffers, r.buffer(m))
	}
	for _, m := range o.Take("tables").Object("tables").Rest() {
		b.Tables = append(b.Tables, r.table(m, b))
	}
	if ops := o.Take("operations"); ops.Given() {
		b.Operations = r.operations(ops.Object("operations"), b)
	}
	r.checkTurns(b)
	b.Instructions = r.formula(o.Take("instructions"), blocks.Plain)
	b.Latency = r.formula(o.Take("latency"), blocks.Plain)
	if d := o.Take("delays"); d.Given() {
		delays := d.Object("delays")
		b.Shortest = r.need(delays, "shortest", blocks.Plain)
		delays.Done("key")
	}
	b.LoopGain = r.formula(o.Take("loop_gain"), blocks.Plain)
	b.Gain = r.formula(o.Take("gain"), blocks.Plain)
	for _, m := range o.Take("jack").Object("jack").Rest() {
		if !slices.Contains(blocks.JackNames(), m.Name) {
			m.Key.Fail(source.DidYouMean(m.Name, blocks.JackNames()), "there is no jack '%s'", m.Name)
		}
		b.Jacks = append(b.Jacks, blocks.JackUse{Jack: m.Name, Count: r.formula(m.Value, blocks.Plain)})
	}
	for _, m := range o.Take("metrics").Object("metrics").Rest() {
		mo := m.Value.Object("the metric")
		b.Metrics = append(b.Metrics, blocks.MetricValue{
			Metric: word(m.Key, underscore, anIdentifer), Value: r.need(mo, "value", blocks.Plain),
			Needed: r.formula(mo.Take("needed"), blocks.Plain), Least: pickOr(mo.Take("at"), "most", "least") == "least", Cites: r.cites(mo),
		})
		mo.Done("key")
	}
	for _, v := range o.Take("substitutes").Items("a list of substitutes") {
		b.Substitutes = append(b.Substitutes, readSubstitute(v, b))
	}
	for _, m := range o.Take("parts").Object("parts").Rest() {
		b.Parts = append(b.Parts, r.part(m))
	}
	r.done(o)
	o.Done("key")
	return b
}

// readParams reads the parameters and, of each choice, the facts it sets.
func readParams(b *blocks.Block, o *source.Object) map[string]map[string][]blocks.Quantity {
	facts := map[string]map[string][]blocks.Quantity{}
	for _, m := range o.Take("params").Object("params").Rest() {
		po := m.Value.Object("the parameter '" + m.Name + "'")
		p := blocks.Param{
			Name:  word(m.Key, underscore, anIdentifer),
			About: po.Take("about").Text("what the parameter does"),
		}
		if choices := po.Take("choices"); choices.Given() {
			facts[p.Name] = readChoices(&p, choices)
			def := po.Need("default")
			p.DefaultText = def.Text("one of the choices")
			if !slices.ContainsFunc(p.Choices, func(c blocks.Choice) bool { return c.Name == p.DefaultText }) {
				def.Fail("", "the default '%s' is none of the choices", p.DefaultText)
			}
			p.Plain = po.Take("same_kernel").Truth()
		} else {
			readQuantity(&p, po)
		}
		po.Done("key")
		b.Params = append(b.Params, p)
	}
	return facts
}

func readChoices(p *blocks.Param, v source.Value) map[string][]blocks.Quantity {
	facts := map[string][]blocks.Quantity{}
	var names []string
	for i, m := range v.Object("the choices").Rest() {
		p.Choices = append(p.Choices, blocks.Choice{Name: m.Name})
		if set := len(m.Value.Keys()); i > 0 && set != len(names) {
			m.Value.Fail("every choice sets the same facts", "'%s' sets %d facts, the first choice %d", m.Name, set, len(names))
		}
		for _, f := range m.Value.Object("the facts of a choice").Rest() {
			if i == 0 {
				names = append(names, word(f.Key, underscore, anIdentifer))
			} else if !slices.Contains(names, f.Name) {
				f.Key.Fail(source.DidYouMean(f.Name, names), "the first choice does not set '%s'", f.Name)
				continue
			}
			facts[f.Name] = append(facts[f.Name], readFact(f.Value))
		}
	}
	if len(p.Choices) == 0 {
		v.Fail("", "a parameter that is a choice needs choices")
	}
	for name, values := range facts {
		for len(values) < len(p.Choices) { // a mistake that was told; formulas that use the fact are none
			values = append(values, values[0])
		}
		facts[name] = values
		for _, q := range values {
			if q.Dimension != values[0].Dimension {
				v.Fail("", "the fact '%s' has not the same unit in all choices", name)
				break
			}
		}
	}
	return facts
}

func readFact(v source.Value) blocks.Quantity {
	text := v.Text("a number or a quantity")
	for _, unit := range []blocks.Unit{blocks.UnitRatio, blocks.UnitBytes, blocks.UnitTime, blocks.UnitFrequency} {
		span, err := blocks.Parse(text, unit, blocks.Timebase{})
		if err == nil && span.Low == span.High {
			return blocks.Quantity{Value: span.High, Dimension: unit.Dimension()}
		}
	}
	v.Fail("write it like '2', '4 B', '5 ms' or '50 Hz'", "'%s' is no number and no quantity", text)
	return blocks.Quantity{}
}

func readQuantity(p *blocks.Param, po *source.Object) {
	known := false
	if v := po.Need("unit"); v.IsText() {
		name := v.Text("a unit")
		if p.Unit, known = blocks.ParseUnit(name); !known {
			v.Fail("units are "+strings.Join(blocks.UnitNames(), ", "), "there is no unit '%s'", name)
		}
	}
	limits, def := po.Need("range"), po.Take("default")
	p.Needed = !def.Given()
	if known {
		p.RangeText, p.DefaultText = limits.Text("a range"), def.Text("a quantity")
		within, ok := nominal.ReadSpan(limits, p.Unit)
		value, given := nominal.ReadValue(def, p.Unit)
		p.Range, p.Default = within, blocks.Span{Low: value, High: value}
		if ok && given && (value < within.Low || value > within.High) {
			def.Fail("", "the default lies outside the range %s", p.RangeText)
		}
	}
	if v := po.Take("moved"); v.Given() {
		switch text := v.Text("none, control or audio"); text {
		case "none":
		case "control":
			p.Moved = blocks.ByControl
		case "audio":
			p.Moved = blocks.ByAudio
		default:
			v.Fail("", "expected none, control or audio, found '%s'", text)
		}
	}
}

func readPorts(v source.Value) []blocks.Port {
	var ports []blocks.Port
	for _, m := range v.Object("the ports").Rest() {
		po := m.Value.Object("the port '" + m.Name + "'")
		p := blocks.Port{Name: word(m.Key, underscore, anIdentifer)}
		if kind := po.Need("kind"); kind.IsText() {
			k, ok := blocks.ParseKind(kind.Text("a kind"))
			if !ok {
				kind.Fail("", "expected audio, control or event, found '%s'", kind.Text("a kind"))
			}
			p.Kind = k
		}
		if ch := po.Take("channels"); ch.Given() {
			switch text := ch.Text("same, any, a number or a parameter"); text {
			case "same":
			case "any":
				p.Channels = blocks.AnyChannels
			default:
				if source.IsWords(text, underscore) && !unicode.IsDigit(rune(text[0])) {
					p.Channels, p.Counted = blocks.CountedChannels, text
				} else {
					p.Channels = int(one(ch, blocks.UnitCount))
				}
			}
		}
		p.Optional = po.Take("optional").Truth()
		po.Take("rate") // compiled when the scope is there, as is the next
		po.Take("most")
		po.Done("key")
		ports = append(ports, p)
	}
	return ports
}

// countedPorts checks the ports whose channels a parameter says.
func countedPorts(b *blocks.Block, ports []blocks.Port, v source.Value, outputs bool) {
	for i, m := range v.Object("the ports").Rest() {
		if ports[i].Channels != blocks.CountedChannels {
			continue
		}
		at := m.Value.Object("the port '" + m.Name + "'").Take("channels")
		p, known := b.Param(ports[i].Counted)
		switch {
		case !outputs || ports[i].Kind != blocks.Audio:
			at.Fail("write same, any or a number", "only of an audio output a parameter says how many channels it has")
		case !known:
			at.Fail(source.DidYouMean(ports[i].Counted, b.ParamNames()), "the block has no parameter '%s'", ports[i].Counted)
		case p.Unit != blocks.UnitCount || p.Categorical() || p.Moved != blocks.Fixed:
			at.Fail("", "'%s' is no count that stands still", p.Name)
		}
	}
}

// rates compiles the greatest rate of every event output, and how far they bunch.
func (r *reader) rates(b *blocks.Block, outputs source.Value) {
	for i, m := range outputs.Object("the ports").Rest() {
		po := m.Value.Object("the port '" + m.Name + "'")
		rate, most := po.Take("rate"), po.Take("most")
		if b.Outputs[i].Kind == blocks.Event && !rate.Given() {
			m.Key.Fail("", "an event output needs 'rate', its greatest rate")
		}
		if b.Outputs[i].Kind != blocks.Event && rate.Given() {
			rate.Fail("", "only an event output has a rate")
		}
		if b.Outputs[i].Kind != blocks.Event && most.Given() {
			most.Fail("", "only an event output has a most")
		}
		b.Outputs[i].Rate = r.formula(rate, blocks.PerSecond)
		b.Outputs[i].Most = r.formula(most, blocks.Plain)
	}
}

func (r *reader) buffer(m source.Member) blocks.Buffer {
	o := m.Value.Object("the buffer '" + m.Name + "'")
	buf := blocks.Buffer{
		Name:    word(m.Key, underscore, anIdentifer),
		Bytes:   r.need(o, "bytes", blocks.InBytes),
		Reads:   r.need(o, "reads", blocks.Plain),
		Writes:  r.need(o, "writes", blocks.Plain),
		Element: r.need(o, "element", blocks.InBytes),
		Heads:   r.formula(o.Take("heads"), blocks.Plain),
		When:    r.formula(o.Take("when"), blocks.Plain),
		DMA:     o.Take("dma").Truth(),
		Pattern: readPattern(o.Need("pattern")),
		Due:     r.due(o.Take("due")),
	}
	for _, v := range o.Take("each").Items("a list of numbers") {
		buf.Each = append(buf.Each, one(v, blocks.UnitRatio))
	}
	buf.Cites = r.cites(o)
	o.Done("key")
	return buf
}

// due reads which recurring work touches memory; checkTurns holds it to the
// operations, which are read later.
func (r *reader) due(v source.Value) string {
	if !v.Given() {
		return ""
	}
	r.turns = append(r.turns, v)
	return v.Text("locked recurring work")
}

func (r *reader) checkTurns(b *blocks.Block) {
	var locked []string
	for _, rec := range b.Operations.Recurring {
		if rec.Locked {
			locked = append(locked, rec.Name)
		}
	}
	for _, v := range r.turns {
		if name := v.Text("locked recurring work"); !slices.Contains(locked, name) {
			v.Fail(source.DidYouMean(name, locked), "the block has no recurring work '%s' of a locked phase", name)
		}
	}
}

func readPattern(v source.Value) blocks.Pattern {
	p := blocks.Random
	if v.IsText() {
		var ok bool
		if p, ok = blocks.ParsePattern(v.Text("a pattern")); !ok {
			v.Fail("", "expected stream, tap or random, found '%s'", v.Text("a pattern"))
		}
	}
	return p
}

func (r *reader) table(m source.Member, b *blocks.Block) blocks.Table {
	o := m.Value.Object("the table '" + m.Name + "'")
	t := blocks.Table{
		Name:  word(m.Key, underscore, anIdentifer),
		Bytes: r.need(o, "bytes", blocks.InBytes),
		Reads: r.formula(o.Take("reads"), blocks.Plain),
		Heads: r.formula(o.Take("heads"), blocks.Plain),
		When:  r.formula(o.Take("when"), blocks.Plain),
		Order: blocks.Random,
		Due:   r.due(o.Take("due")),
	}
	if v := o.Take("pattern"); v.Given() {
		t.Order = readPattern(v)
	}
	if v := o.Need("key"); v.IsText() {
		t.Key = v.Text("a key")
		for _, piece := range strings.Split(t.Key, "{")[1:] {
			name, _, _ := strings.Cut(piece, "}")
			if _, ok := b.Param(name); !ok {
				v.Fail(source.DidYouMean(name, b.ParamNames()), "the block has no parameter '%s'", name)
			}
		}
	}
	if v := o.Need("place"); v.IsText() {
		switch v.Text("flash or ram") {
		case "flash":
		case "ram":
			t.Copied = true
		default:
			v.Fail("", "expected flash or ram, found '%s'", v.Text("flash or ram"))
		}
	}
	t.Cites = r.cites(o)
	o.Done("key")
	return t
}

func (r *reader) operations(o *source.Object, b *blocks.Block) blocks.Operations {
	ops := blocks.Operations{
		Call:      r.counts(o.Take("call")),
		Sample:    r.counts(o.Take("sample")),
		Costliest: r.counts(o.Take("costliest")),
		Events:    map[string][]blocks.Count{},
	}
	for _, m := range o.Take("events").Object("events").Rest() {
		if in, ok := b.Input(m.Name); !ok || in.Kind != blocks.Event {
			m.Key.Fail("", "the block has no event input '%s'", m.Name)
		}
		ops.Events[m.Name] = r.counts(m.Value)
	}
	for _, m := range o.Take("recurring").Object("recurring").Rest() {
		ro := m.Value.Object("the recurring work")
		rec := blocks.Recurring{
			Name:   m.Name,
			Every:  r.need(ro, "every", blocks.Plain),
			Offset: r.formula(ro.Take("offset"), blocks.Plain),
			Counts: r.counts(ro.Need("operations")),
		}
		if v := ro.Need("phase"); v.IsText() {
			switch v.Text("free or locked") {
			case "free":
			case "locked":
				rec.Locked = true
			default:
				v.Fail("", "expected free or locked, found '%s'", v.Text("free or locked"))
			}
		}
		ro.Done("key")
		ops.Recurring = append(ops.Recurring, rec)
	}
	for _, m := range o.Take("updates").Object("updates").Rest() {
		uo := m.Value.Object("the update")
		up := blocks.Update{Name: m.Name, Counts: r.counts(uo.Need("operations"))}
		for _, v := range uo.Need("when").OneOrMore() {
			name := v.Text("a parameter")
			p, ok := b.Param(name)
			if !ok {
				v.Fail(source.DidYouMean(name, b.ParamNames()), "the block has no parameter '%s'", name)
				continue
			}
			if p.Moved == blocks.Fixed {
				v.Fail("", "nothing may move '%s', so it never updates", name)
			}
			up.When = append(up.When, name)
		}
		uo.Done("key")
		ops.Updates = append(ops.Updates, up)
	}
	ops.Cites = r.cites(o)
	o.Done("key")
	return ops
}

func readSubstitute(v source.Value, b *blocks.Block) blocks.Substitute {
	o := v.Object("the substitute")
	s := blocks.Substitute{
		Carry: map[string]string{}, Set: map[string]string{}, Scale: map[string]float64{},
		Heard: o.Need("heard").Text("what is heard"),
	}
	if bv := o.Take("block"); bv.Given() {
		s.Block = word(bv, hyphenated, aName)
	}
	for _, m := range o.Take("carry").Object("carry").Rest() {
		name := m.Value.Text("a parameter of this block")
		if _, ok := b.Param(name); !ok {
			m.Value.Fail(source.DidYouMean(name, b.ParamNames()), "the block has no parameter '%s'", name)
		}
		s.Carry[m.Name] = name
	}
	for _, m := range o.Take("set").Object("set").Rest() {
		s.Set[m.Name] = m.Value.Text("a value")
	}
	for _, m := range o.Take("scale").Object("scale").Rest() {
		if p, ok := b.Param(m.Name); !ok || p.Categorical() {
			m.Key.Fail(source.DidYouMean(m.Name, b.ParamNames()), "the block has no numeric parameter '%s'", m.Name)
		}
		s.Scale[m.Name] = one(m.Value, blocks.UnitRatio)
	}
	if s.Block == "" {
		for _, m := range o.Take("set").Object("set").Rest() {
			if _, ok := b.Param(m.Name); !ok {
				m.Key.Fail(source.DidYouMean(m.Name, b.ParamNames()), "the block has no parameter '%s'", m.Name)
			}
		}
		if len(s.Carry) > 0 {
			o.Key("carry").Fail("name the other block with 'block'", "only another block's parameters can be carried over")
		}
	}
	o.Done("key")
	return s
}

func (r *reader) part(m source.Member) blocks.Part {
	o := m.Value.Object("the part '" + m.Name + "'")
	p := blocks.Part{
		Name:  m.Name,
		Block: word(o.Need("block"), hyphenated, aName),
		Count: r.formula(o.Take("count"), blocks.Plain),
		Set:   map[string]*blocks.Formula{},
		Pick:  map[string]string{},
	}
	for _, s := range o.Take("set").Object("set").Rest() {
		if text := s.Value.Text("a formula or a choice"); source.IsWords(text, hyphenated) && !r.scope.Has(text) {
			p.Pick[s.Name] = text
		} else {
			p.Set[s.Name] = r.anyFormula(s.Value)
		}
	}
	o.Done("key")
	return p
}

// anyFormula compiles a formula for a part's parameter, whose unit is known
// only when the part's block is found: the first dimension that fits.
func (r *reader) anyFormula(v source.Value) *blocks.Formula {
	for _, dim := range []blocks.Dimension{blocks.InSeconds, blocks.PerSecond, blocks.InBytes} {
		if f, err := blocks.CompileFormula(v.Text("a formula"), r.scope, dim); err == nil {
			return f
		}
	}
	return r.formula(v, blocks.Plain)
}
