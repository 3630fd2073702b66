package blocks

import "fmt"

// Dimension is what formulas compute in for a parameter of this kind.
func (u Unit) Dimension() Dimension {
	switch u {
	case UnitTime:
		return InSeconds
	case UnitFrequency:
		return PerSecond
	case UnitBytes:
		return InBytes
	}
	return Plain
}

// At is the range and the default of a numeric parameter at a sample rate,
// since the catalog may state either in samples.
func (p *Param) At(rate Hertz) (limits, def Span) {
	limits, def = p.Range, p.Default
	if p.Unit != UnitTime {
		return limits, def
	}
	base := Timebase{SampleRate: rate}
	if s, err := Parse(p.RangeText, p.Unit, base); err == nil {
		limits = s
	}
	if s, err := Parse(p.DefaultText, p.Unit, base); err == nil {
		def = s
	}
	return limits, def
}

// Defaults are the settings that a use has where nothing is given.
func (b *Block) Defaults(rate Hertz) []Setting {
	settings := make([]Setting, len(b.Params))
	for i := range b.Params {
		p := &b.Params[i]
		if p.Categorical() {
			settings[i].Choice = p.DefaultChoice()
			continue
		}
		_, settings[i].Span = p.At(rate)
	}
	return settings
}

// ParamIndex is the index of a parameter, or -1.
func (b *Block) ParamIndex(name string) int {
	if i, ok := b.paramsByName[name]; ok {
		return i
	}
	return -1
}

// Read gives the setting that a text stands for.
func (p *Param) Read(text string, rate Hertz) (Setting, error) {
	if p.Categorical() {
		for i, c := range p.Choices {
			if c.Name == text {
				return Setting{Choice: i}, nil
			}
		}
		return Setting{}, fmt.Errorf("'%s' is no choice of %s", text, p.Name)
	}
	span, err := Parse(text, p.Unit, Timebase{SampleRate: rate})
	return Setting{Span: span}, err
}

// FormatSpan prints a span as a graph file writes it.
func (u Unit) FormatSpan(s Span) string {
	if s.Low == s.High {
		return u.Format(s.High)
	}
	return u.Format(s.Low) + ".." + u.Format(s.High)
}

// DefaultUse is a use with every parameter at its default, one channel and no
// events; a parameter without a default is at the top of its range.
func (b *Block) DefaultUse(rate Hertz, blockSize int) *Use {
	u := &Use{
		Block: b, Settings: make([]Setting, len(b.Params)), Channels: 1,
		SampleRate: rate, BlockSize: blockSize, MeanTicks: 1, MostTicks: 1,
	}
	for i := range b.Params {
		p := &b.Params[i]
		limits, def := p.At(rate)
		if p.Needed {
			def = Span{Low: limits.High, High: limits.High}
		}
		u.Settings[i] = Setting{Span: def}
		if p.Categorical() {
			u.Settings[i] = Setting{Choice: p.DefaultChoice()}
		}
	}
	return u
}
