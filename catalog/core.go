package catalog

import (
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// readCore reads a core's file.
func readCore(v source.Value) *blocks.Core {
	o := v.Object("the core")
	c := &blocks.Core{Name: word(o.Need("core"), hyphenated, aName), Routines: map[string]blocks.Routine{}}
	r := newReader(o)
	c.Citations = r.citations
	c.Title = o.Need("title").Text("a title")
	c.About = strings.Join(strings.Fields(o.Need("about").Text("two sentences")), " ")
	if f := o.Need("float"); f.IsText() {
		hardware, ok := blocks.ParseFloat(f.Text("none, single or double"))
		if !ok {
			f.Fail("", "expected none, single or double, found '%s'", f.Text("none, single or double"))
		}
		c.Float = hardware
	}
	for _, m := range o.Need("routines").Object("routines").Rest() {
		ro := m.Value.Object("the routine '" + m.Name + "'")
		data := blocks.Bytes(0)
		if v := ro.Take("data"); v.Given() {
			data = blocks.Bytes(one(v, blocks.UnitBytes))
		}
		c.Routines[m.Name] = blocks.Routine{
			Data:  data,
			Name:  m.Name,
			Flash: blocks.Bytes(one(ro.Need("flash"), blocks.UnitBytes)),
			Stack: blocks.Bytes(one(ro.Need("stack"), blocks.UnitBytes)),
			Needs: words(ro.Take("needs")),
			Cites: r.cites(ro),
		}
		ro.Done("key")
	}
	classes, functions := o.Need("classes").Object("classes"), o.Need("functions").Object("functions")
	var missing, silent []string
	for _, class := range blocks.Classes() {
		group, lacking := classes, &missing
		if class.IsFunction() {
			group, lacking = functions, &silent
		}
		if !group.Has(class.String()) {
			*lacking = append(*lacking, class.String())
		}
		c.Weights[class] = r.weight(group.Take(class.String()), c)
	}
	if len(missing) > 0 {
		classes.At().Fail("", "the core does not say what these cost: %s", strings.Join(missing, ", "))
	}
	if len(silent) > 0 {
		functions.At().Fail("", "the core does not say what these cost: %s", strings.Join(silent, ", "))
	}
	classes.Done("class")
	functions.Done("function")
	if v := o.Take("double"); v.Given() {
		double := v.Object("double")
		for _, class := range blocks.Classes() {
			if w := double.Take(class.String()); w.Given() {
				c.Double[class], c.HasDouble[class] = r.weight(w, c), true
			}
		}
		double.Done("class")
	}
	c.Call = r.weight(o.Need("call"), c)
	c.PerSample = r.weight(o.Need("per_sample"), c)
	c.Interrupt = r.weight(o.Need("interrupt"), c)
	size := o.Need("size_optimised").Object("size_optimised")
	c.SizeOptimised.Cycles = one(size.Need("cycles"), blocks.UnitRatio)
	c.SizeOptimised.Code = one(size.Need("code"), blocks.UnitRatio)
	c.SizeOptimised.Cites = r.cites(size)
	size.Done("key")
	band := o.Need("band").Object("band")
	c.ComputeBand = r.band(band.Need("compute"))
	c.CodeBand = r.band(band.Need("code"))
	if v := band.Take("emulated"); v.Given() {
		emulated := v.Object("the bands of timed kernels")
		c.EmulatedBand = r.band(emulated.Need("compute"))
		c.EmulatedCodeBand = r.band(emulated.Need("code"))
		emulated.Done("key")
	}
	band.Done("key")
	for _, m := range o.Take("routines").Object("routines").Rest() {
		for _, need := range m.Value.Object("the routine").Take("needs").OneOrMore() {
			r.routine(need, c)
		}
	}
	r.done(o)
	o.Done("key")
	return c
}

// weight reads what an operation costs.
func (r *reader) weight(v source.Value, c *blocks.Core) blocks.Weight {
	if !v.Given() {
		return blocks.Weight{}
	}
	o := v.Object("the cost")
	w := blocks.Weight{Cycles: one(o.Need("cycles"), blocks.UnitCycles)}
	w.Worst = w.Cycles
	if worst := o.Take("worst"); worst.Given() {
		w.Worst = one(worst, blocks.UnitCycles)
		if w.Worst < w.Cycles {
			worst.Fail("", "the worst case is under the ordinary %g cycles", w.Cycles)
		}
	}
	if v := o.Take("approximate"); v.Given() {
		w.Approximate = one(v, blocks.UnitCycles)
	}
	if v := o.Take("code"); v.Given() {
		w.Code = blocks.Bytes(one(v, blocks.UnitBytes))
	}
	for _, v := range o.Take("library").OneOrMore() {
		w.Library = append(w.Library, r.routine(v, c))
	}
	w.Cites = r.cites(o)
	o.Done("key")
	return w
}

// routine reads the name of a library routine that the core's file states.
func (r *reader) routine(v source.Value, c *blocks.Core) string {
	name := v.Text("a routine")
	if _, ok := c.Routines[name]; !ok && v.IsText() {
		var known []string
		for n := range c.Routines {
			known = append(known, n)
		}
		v.Fail(source.DidYouMean(name, known), "no routine '%s' stands under routines", name)
	}
	return name
}

func (r *reader) band(v source.Value) blocks.Band {
	o := v.Object("the band")
	low, lowRead := nominal.ReadValue(o.Need("low"), blocks.UnitRatio)
	high, highRead := nominal.ReadValue(o.Need("high"), blocks.UnitRatio)
	b := blocks.Band{Low: low, High: high, Cites: r.cites(o)}
	if lowRead && highRead && (low <= 0 || low > 1 || high < 1) {
		v.Fail("", "a band reaches from below 1 to above 1")
	}
	o.Done("key")
	return b
}

// words reads a list of words, or one.
func words(v source.Value) []string {
	var list []string
	for _, item := range v.OneOrMore() {
		list = append(list, item.Text("a name"))
	}
	slices.Sort(list)
	return list
}
