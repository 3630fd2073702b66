package blocks

import (
	"fmt"
	"math"
	"slices"
)

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
