package main

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// measure builds, runs and times one variant of a kernel on a core.
func measure(k *kernel, v variant, c *core, plugin string) (*blocks.EmulatedVariant, error) {
	folder, err := os.MkdirTemp("", "gauge")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	b := newBench(k, v, c)
	w := &workshop{folder: folder, core: c, bench: b}
	program, err := w.build()
	if err != nil {
		return nil, err
	}
	listing, err := w.listing(program)
	if err != nil {
		return nil, err
	}
	symbols, err := symbols(program)
	if err != nil {
		return nil, err
	}
	timed := map[string]bool{}
	for s, st := range b.styles {
		for _, f := range k.timed(st.oneSample) {
			timed[alias(s, f)] = true
		}
	}
	r, err := newRecorder(c, symbols, timed, b.passages, len(b.styles))
	if err != nil {
		return nil, err
	}
	result, err := r.record(c, program, plugin, listing)
	if err != nil {
		return nil, err
	}
	if err := b.checkSizes(result.sizes); err != nil {
		return nil, err
	}
	return b.summarise(w, result)
}

// checkSizes compares the bytes that the kernel asks for at each point with
// the catalog's formulas.
func (b *bench) checkSizes(sizes map[int][]int64) error {
	k := b.kernel
	for at, got := range sizes {
		one := at >= len(b.points[0])
		index := at
		if one {
			index -= len(b.points[0])
		}
		p := &b.points[ones(one)][index]
		d, err := p.use(k.block, 0).Demand(&blocks.Core{})
		if err != nil {
			return err
		}
		names, want := []string{"the state"}, []int64{int64(d.State)}
		for _, name := range k.bufferNames() {
			names = append(names, "the buffer "+name)
			bytes := int64(0)
			for _, buffer := range d.Buffers {
				if buffer.Name == name {
					bytes = int64(buffer.Bytes)
				}
			}
			want = append(want, bytes)
		}
		for _, t := range k.block.Tables {
			names = append(names, "the table "+t.Name)
			bytes := int64(0)
			for _, table := range d.Tables {
				if table.Name == t.Name {
					bytes = int64(table.Bytes)
				}
			}
			want = append(want, bytes)
		}
		if len(got) != len(want) {
			return fmt.Errorf("the kernel told %d sizes, the catalog has %d", len(got), len(want))
		}
		for n := range want {
			if got[n] != want[n] {
				return fmt.Errorf("%s takes %d bytes in the kernel and %d by the catalog, with %s", names[n], got[n], want[n], b.describe(p))
			}
		}
	}
	return nil
}

// describe tells the settings of a point.
func (b *bench) describe(p *point) string {
	text := fmt.Sprintf("%d channels, blocks of %d", p.channels, p.blockSize)
	for i, param := range b.kernel.block.Params {
		s := p.settings[0][i]
		if param.Categorical() {
			text += fmt.Sprintf(", %s %s", param.Name, param.Choices[s.Choice].Name)
		} else {
			text += fmt.Sprintf(", %s %s", param.Name, param.Unit.FormatSpan(s.Span))
		}
	}
	return text
}

// summarise fits the terms of every style and reads its code.
func (b *bench) summarise(w *workshop, result *recording) (*blocks.EmulatedVariant, error) {
	k := b.kernel
	v := &blocks.EmulatedVariant{Choices: b.variant.choices, Moved: b.variant.moved}
	base := point{channels: 1, blockSize: 48, settings: [][]blocks.Setting{k.defaults(b.variant)}}
	d, err := base.use(k.block, 0).Demand(&blocks.Core{})
	if err != nil {
		return nil, err
	}
	v.State = d.State
	for s, st := range b.styles {
		c, err := w.flash(s)
		if err != nil {
			return nil, err
		}
		frames, err := w.frames(s)
		if err != nil {
			return nil, err
		}
		e := blocks.EmulatedStyle{Optimise: st.optimise, OneSample: st.oneSample, Maths: "library", Precision: "single",
			Functions: c.functions, Updates: c.updates, Constants: c.constants, Symbols: c.symbols, Data: c.data, Stack: blocks.Bytes(result.stacks[s])}
		if st.approximate {
			e.Maths = "approximate"
		}
		if st.double {
			e.Precision = "double"
		}
		for _, f := range k.timed(st.oneSample) {
			// A path that no stimulus took may be deeper than those that were.
			e.Stack = max(e.Stack, blocks.Bytes(frames[alias(s, f)]))
		}
		if err := b.fit(&e, s, result); err != nil {
			return nil, err
		}
		v.Styles = append(v.Styles, e)
	}
	return v, nil
}

// fit finds the terms of every group of a style.
func (b *bench) fit(e *blocks.EmulatedStyle, style int, result *recording) error {
	groups := b.groups(style)
	if b.styles[style].oneSample {
		groups = append(groups, slices.DeleteFunc(b.groups(b.whole(style)), func(group string) bool { return !strings.HasPrefix(group, groupHops) })...)
	}
	for _, group := range groups {
		style := style
		if strings.HasPrefix(group, groupHops) {
			style = b.whole(style)
		}
		st := b.styles[style]
		points := b.pointsOf(st)
		var uses []*blocks.Use
		var ordinary, costliest []sample
		for n, ps := range b.passages {
			if ps.style != style || points[ps.point].group != group {
				continue
			}
			p := &points[ps.point]
			mean, most := meanAndMost(result.calls[n])
			if !ps.costliest {
				u := p.use(b.kernel.block, 0)
				if st.oneSample {
					u.BlockSize = 1
				}
				uses = append(uses, u)
				ordinary = append(ordinary, sample{cycles: mean, heldOut: p.heldOut})
				costliest = append(costliest, sample{cycles: mean, heldOut: p.heldOut})
				if group != groupRun {
					costliest[len(costliest)-1].cycles = most
				}
				continue
			}
			if group != groupRun {
				mean = most
			}
			last := &costliest[len(costliest)-1]
			last.cycles = max(last.cycles, mean)
		}
		terms, values, err := b.kernel.candidates(group, st.oneSample, uses)
		if err != nil {
			return err
		}
		for i := range uses {
			ordinary[i].terms, costliest[i].terms = values[i], values[i]
		}
		x, y := fitTerms(ordinary, len(terms)), fitTerms(costliest, len(terms))
		for j, t := range terms {
			if x[j] > 0 || y[j] > 0 {
				e.Terms = append(e.Terms, blocks.CycleTerm{Group: t.group, Times: t.times, Cycles: rounded(x[j]), Costliest: rounded(y[j])})
			}
		}
		e.Fits = append(e.Fits, quality(group, ordinary, costliest, x, y))
	}
	return nil
}

// groups are the groups of a style's points.
func (b *bench) groups(style int) []string {
	var groups []string
	for _, p := range b.pointsOf(b.styles[style]) {
		if !slices.Contains(groups, p.group) {
			groups = append(groups, p.group)
		}
	}
	return groups
}

func meanAndMost(calls []timing) (mean, most float64) {
	for _, t := range calls {
		mean += t.cycles / float64(len(calls))
		most = max(most, t.cycles)
	}
	return mean, most
}

// rounded keeps six significant digits, so that a file holds what was found
// and not the noise of adding in floating point.
func rounded(v float64) float64 {
	if v == 0 {
		return 0
	}
	unit := math.Pow(10, 5-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*unit) / unit
}

func quality(group string, ordinary, costliest []sample, x, y []float64) blocks.Fit {
	var fitted, heldOut []float64
	for n, set := range [][]sample{ordinary, costliest} {
		coefficients := [][]float64{x, y}[n]
		for i, d := range differences(set, coefficients) {
			if set[i].heldOut {
				heldOut = append(heldOut, d)
			} else {
				fitted = append(fitted, d)
			}
		}
	}
	f := blocks.Fit{Group: group, Points: len(fitted), HeldOut: len(heldOut)}
	f.Median, f.Worst = middleAndWorst(fitted)
	f.HeldOutMedian, f.HeldOutWorst = middleAndWorst(heldOut)
	for _, v := range []*float64{&f.Median, &f.Worst, &f.HeldOutMedian, &f.HeldOutWorst} {
		*v = math.Round(*v*1e5) / 1e5
	}
	return f
}
