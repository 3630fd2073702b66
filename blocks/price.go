package blocks

import (
	"maps"
	"slices"
)

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

// instructionBytes is the mean size of an instruction: that of a float
// addition, which every core's file states.
func (c *Core) instructionBytes() Bytes { return c.Weights[OpAdd].Code }
