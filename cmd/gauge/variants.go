package main

import (
	"math"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// rate is the sample rate that kernels are timed at; controlRate that of their
// control periods.
const (
	rate        = blocks.Hertz(48000)
	controlRate = 1000
)

// variant is one kernel of a block: its choices, and the parameter that audio
// moves, if one does.
type variant struct {
	choices map[string]string
	moved   string
}

// variants are all kernels of a block, in the catalog's order. What audio moves
// is one parameter at a time.
func (k *kernel) variants() []variant {
	list := []variant{{choices: map[string]string{}}}
	for _, p := range k.block.Params {
		if !p.Categorical() || p.Plain {
			continue
		}
		var next []variant
		for _, v := range list {
			for _, c := range p.Choices {
				choices := map[string]string{p.Name: c.Name}
				for name, choice := range v.choices {
					choices[name] = choice
				}
				next = append(next, variant{choices: choices})
			}
		}
		list = next
	}
	all := slices.Clone(list)
	for _, p := range k.block.Params {
		// A kernel without the macro moves the parameter by its update alone.
		if p.Moved == blocks.ByAudio && strings.Contains(k.text, "MOVED_"+macro(p.Name)+"_AUDIO") {
			for _, v := range list {
				all = append(all, variant{choices: v.choices, moved: p.Name})
			}
		}
	}
	return all
}

// style is how a kernel is compiled and called.
type style struct {
	optimise    string // O2 or Os
	oneSample   bool
	approximate bool
	double      bool
}

// styles are all ways to compile a kernel that give other code.
func (k *kernel) styles() []style {
	var list []style
	for _, optimise := range []string{"O2", "Os"} {
		for _, one := range []bool{false, true} {
			if one && k.block.Processes() != blocks.Audio {
				continue
			}
			list = append(list, style{optimise: optimise, oneSample: one})
			if k.usesMaths() {
				list = append(list, style{optimise: optimise, oneSample: one, approximate: true})
			}
			list = append(list, style{optimise: optimise, oneSample: one, double: true})
		}
	}
	return list
}

// defines are the compiler's flags for a style.
func (s style) defines() []string {
	flags := []string{"-" + s.optimise}
	if s.oneSample {
		flags = append(flags, "-DONE_SAMPLE")
	}
	if s.approximate {
		flags = append(flags, "-DMATHS_APPROXIMATE")
	}
	if s.double {
		flags = append(flags, "-DPRECISION_DOUBLE")
	}
	return flags
}

// point is one setting at which a piece of a kernel is timed.
type point struct {
	group     string // run, updates.NAME, events.NAME or recurring.NAME
	channels  int
	blockSize int
	// settings are those of the block's parameters, one list for each call of
	// an update, else one.
	settings [][]blocks.Setting
	heldOut  bool
	audio    bool // called for samples, not for periods
	loops    int  // channels times counts: how often a sample may come by the kernel's innermost loop
}

// Samples for which a point is called, and periods of what is called once in a
// period: enough for a mean over what differs from sample to sample, the more
// where float arithmetic is by software and loops add no mean of their own, the
// fewer where every instruction goes through LLVM's model.
const (
	samplesTimed, samplesTimedSoft = 64, 384
	samplesTraced                  = 16
	periodsTimed, periodsTimedSoft = 32, 64
	eventsTimed                    = 8
	hopsTimed                      = 2
	moves                          = 6
)

// fraction is the fraction of a sample in all times.
const fraction = 0.37

// calls is how often a point is called on a core in a style.
func (p *point) calls(c *core, s style) int {
	samples, periods := samplesTimed, periodsTimed
	switch {
	case c.clock == nil:
		samples = samplesTraced
	case c.soft(s):
		samples, periods = max(samplesTimed, samplesTimedSoft/max(1, p.loops)), periodsTimedSoft
	}
	switch {
	case strings.HasPrefix(p.group, groupUpdates):
		return moves
	case strings.HasPrefix(p.group, groupEvents):
		return eventsTimed
	case strings.HasPrefix(p.group, groupHops):
		return hopsTimed
	case !p.audio:
		return periods
	}
	return (samples + p.blockSize - 1) / p.blockSize
}

// soft tells whether a style's arithmetic is by software.
func (c *core) soft(s style) bool { return c.softSingle || s.double && c.softDouble }

// use is the point as the catalog's formulas see it.
func (p *point) use(b *blocks.Block, call int) *blocks.Use {
	u := &blocks.Use{
		Block: b, Settings: p.settings[call], Channels: p.channels, SampleRate: rate, BlockSize: p.blockSize,
		MeanTicks: 1, MostTicks: 1, EventRates: map[string]blocks.Hertz{},
	}
	for _, name := range events(b.Inputs) {
		u.EventRates[name] = controlRate
	}
	return u
}

const (
	groupRun     = "run"
	groupUpdates = "updates."
	groupEvents  = "events."
	groupHops    = "recurring."
)

// Block sizes of the points that are fitted and of those that are kept out.
var (
	fittedSizes  = []int{16, 24, 32, 48}
	heldOutSizes = []int{40, 64}
)

// manyChannels are the numbers of channels where a node may have any.
var manyChannels = []int{1, 2, 3}

// hopChannels are the most channels that a hop is timed with.
const hopChannels = 2

// mostBuffer is the greatest memory of the buffers at a point, in bytes, so
// that clearing them does not take the longest part of a run.
const mostBuffer = 160 << 10

// mostLooped is the greatest count that a kernel loops over by default at a point,
// so that what goes through LLVM's model stays short.
const mostLooped = 128

// points are the settings at which a variant is timed, the same for every
// style but that kernels of one sample a call need no block sizes.
func (k *kernel) points(v variant, oneSample bool) []point {
	base := k.defaults(v)
	channels := []int{1}
	if k.manyChannels() {
		channels = manyChannels
	}
	sizes, heldOut := fittedSizes, heldOutSizes
	if oneSample || k.block.Processes() != blocks.Audio {
		sizes, heldOut = []int{1}, []int{1}
	}
	var list []point
	add := func(group string, settings []blocks.Setting, channels, size int, held bool) {
		loops := channels
		for _, i := range k.looped() {
			loops *= max(1, int(settings[i].Span.High))
		}
		list = append(list, point{group: group, loops: loops, channels: channels, blockSize: size, settings: [][]blocks.Setting{settings}, heldOut: held, audio: k.block.Processes() == blocks.Audio})
	}
	counted := k.combinations(v, base)
	if k.ticks() {
		for _, size := range sizes {
			add(groupRun, base, 1, size, false)
		}
		if last := sizes[len(sizes)-1]; last > 1 {
			// What comes once a block and channel is told from what comes once a
			// sample and channel by a second size.
			for _, ch := range channels[1:] {
				add(groupRun, base, ch, last, false)
			}
		}
		// Every combination of the counts with every number of channels, at
		// changing sizes; between them those that are kept out of the fit.
		for n, settings := range counted {
			for m, ch := range channels {
				add(groupRun, settings, ch, sizes[(n+m)%len(sizes)%3], false)
				if (n+m)%3 == 1 {
					add(groupRun, settings, ch, heldOut[n%len(heldOut)], true)
				}
			}
		}
		for i, p := range k.block.Params {
			if p.Categorical() || p.Unit == blocks.UnitCount {
				continue
			}
			for n, value := range k.values(i, base) {
				settings := slices.Clone(base)
				settings[i].Span = blocks.Span{Low: value, High: value}
				add(groupRun, settings, 1, sizes[n%len(sizes)%2], false)
				if n == 1 {
					add(groupRun, settings, 1, heldOut[0], true)
				}
			}
		}
	}
	for _, up := range k.block.Operations.Updates {
		for n, settings := range counted {
			for m, ch := range channels {
				p := point{group: groupUpdates + up.Name, channels: ch, blockSize: 16, heldOut: n > 0 && (n+m)%3 == 2}
				for t := range moves {
					p.settings = append(p.settings, k.moving(up.When, settings, t))
				}
				list = append(list, p)
			}
		}
	}
	for _, name := range events(k.block.Inputs) {
		if k.block.Operations.Events[name] == nil {
			continue
		}
		for n, settings := range counted {
			for m, ch := range channels {
				add(groupEvents+name, settings, ch, 16, n > 0 && (n+m)%3 == 2)
			}
		}
	}
	if oneSample {
		return list // hops are timed where whole blocks are
	}
	for _, name := range k.hops() {
		for n, settings := range k.spanned(counted) {
			for m, ch := range channels[:min(len(channels), hopChannels)] {
				add(groupHops+name, settings, ch, 16, n > 0 && (n+m)%3 == 2)
			}
		}
	}
	return list
}

// spanned are settings with every time that the operations depend on at three
// values besides: hops work through as much.
func (k *kernel) spanned(list [][]blocks.Setting) [][]blocks.Setting {
	for i := range k.block.Params {
		p := &k.block.Params[i]
		if p.Categorical() || p.Unit != blocks.UnitTime || !k.operates(p.Name) {
			continue
		}
		var next [][]blocks.Setting
		for _, settings := range list {
			for _, value := range k.values(i, settings) {
				s := slices.Clone(settings)
				s[i].Span = blocks.Span{Low: value, High: value}
				next = append(next, s)
			}
		}
		list = next
	}
	return list
}

// manyChannels tells whether the number of channels is the node's.
func (k *kernel) manyChannels() bool {
	for _, p := range slices.Concat(k.block.Inputs, k.block.Outputs) {
		if p.Kind == blocks.Audio && p.Channels <= 0 {
			return true
		}
	}
	return false
}

// defaults are the settings of a variant where nothing else is given.
func (k *kernel) defaults(v variant) []blocks.Setting {
	settings, looped := k.block.Defaults(rate), k.looped()
	for i := range k.block.Params {
		p := &k.block.Params[i]
		if p.Categorical() && !p.Plain {
			settings[i], _ = p.Read(v.choices[p.Name], rate)
		}
		if p.Needed && !p.Categorical() {
			limits, _ := p.At(rate)
			middle := between(p, limits, 0.5)
			settings[i].Span = blocks.Span{Low: middle, High: middle}
		}
		if value := settings[i].Span.High; p.Unit == blocks.UnitRatio && bare(value) || p.Unit == blocks.UnitDecibels && value == 0 {
			limits, _ := p.At(rate)
			if value *= 0.9; value == 0 {
				value = between(p, limits, 0.6)
			}
			value = min(limits.High, max(limits.Low, value))
			settings[i].Span = blocks.Span{Low: value, High: value}
		}
		if k.turns(p) {
			value := k.turning(p, 1)
			settings[i].Span = blocks.Span{Low: value, High: value}
		}
		if slices.Contains(looped, i) {
			value := settings[i].Span.High
			for value > mostLooped && value/2 >= p.Range.Low {
				value = math.Round(value / 2)
			}
			settings[i].Span = blocks.Span{Low: value, High: value}
		}
		if p.Name == v.moved {
			settings[i].Moved = blocks.ByAudio
		}
	}
	// A memory that is longer than a point may have is shortened. Then times are
	// made no whole number of samples, since the fraction 0 is cheap too.
	for i := range k.block.Params {
		p := &k.block.Params[i]
		for p.Unit == blocks.UnitTime && !k.fits(settings) {
			settings[i].Span.Low /= 2
			settings[i].Span.High /= 2
			if limits, _ := p.At(rate); settings[i].Span.High < limits.Low {
				settings[i].Span = blocks.Span{Low: limits.Low, High: limits.Low}
				break
			}
		}
		if p.Unit == blocks.UnitTime && !p.Categorical() {
			value := settings[i].Span.High + fraction/float64(rate)
			if limits, _ := p.At(rate); value <= limits.High {
				settings[i].Span = blocks.Span{Low: value, High: value}
			}
		}
	}
	return settings
}

// bare tells whether a number is 0 or a power of two, products with which are
// cheap where floats are made by software.
func bare(value float64) bool {
	fraction, _ := math.Frexp(value)
	return fraction == 0 || math.Abs(fraction) == 0.5
}

// turns tells whether a parameter is the frequency of a block that makes a wave
// of its own.
func (k *kernel) turns(p *blocks.Param) bool {
	makes := !slices.ContainsFunc(k.block.Inputs, func(in blocks.Port) bool { return in.Kind != blocks.Event })
	return makes && p.Unit == blocks.UnitFrequency && p.Moved != blocks.Fixed
}

// turning is a frequency that makes so many turns in eight samples or periods,
// which divide all block sizes, so that every point sees whole turns; and a
// little more, so that it is not always the same few places.
func (k *kernel) turning(p *blocks.Param, turns int) float64 {
	steps := float64(rate)
	if k.block.Processes() != blocks.Audio {
		steps = controlRate
	}
	return min(p.Range.High, steps*(float64(turns)/8+0.002))
}

// fits tells whether the buffers of a setting are small enough.
func (k *kernel) fits(settings []blocks.Setting) bool {
	p := point{channels: 1, blockSize: 16, settings: [][]blocks.Setting{settings}}
	d, err := p.use(k.block, 0).Demand(&blocks.Core{})
	if err != nil {
		return false
	}
	var bytes blocks.Bytes
	for _, b := range d.Buffers {
		bytes += b.Bytes
	}
	return bytes <= mostBuffer
}

// values are three values of a numeric parameter: the default, or the middle,
// and one to either side.
func (k *kernel) values(param int, settings []blocks.Setting) []float64 {
	p := &k.block.Params[param]
	limits, _ := p.At(rate)
	def := settings[param].Span.High
	if k.turns(p) {
		list := []float64{k.turning(p, 1), k.turning(p, 2), k.turning(p, 3)}
		if len(k.block.Operations.Recurring) > 0 { // one without, so that they stand apart
			list = append(list, between(p, p.Range, 0.1))
		}
		return slices.Compact(list)
	}
	var list []float64
	for _, part := range []float64{0.3, 0.7} {
		value := between(p, limits, part)
		trial := slices.Clone(settings)
		trial[param].Span = blocks.Span{Low: value, High: value}
		for value > limits.Low && !k.fits(trial) {
			value = max(limits.Low, value/2)
			trial[param].Span = blocks.Span{Low: value, High: value}
		}
		list = append(list, value)
	}
	list = append(list, def)
	slices.Sort(list)
	return slices.Compact(list)
}

// between is a place in a range: of times and frequencies, and wherever a range
// spans two decades, by equal ratios.
func between(p *blocks.Param, limits blocks.Span, part float64) float64 {
	if limits.Low > 0 && limits.High >= 100*limits.Low {
		return limits.Low * math.Pow(limits.High/limits.Low, part)
	}
	value := limits.Low + part*(limits.High-limits.Low)
	if p.Unit == blocks.UnitCount {
		value = math.Round(value)
	}
	return value
}

// mostCombinations bounds the points of a kernel with many counts.
const mostCombinations = 12

// combinations are settings with every count, and every choice that makes no
// other kernel, at three values.
func (k *kernel) combinations(v variant, base []blocks.Setting) [][]blocks.Setting {
	list := [][]blocks.Setting{base}
	for i := range k.block.Params {
		p := &k.block.Params[i]
		var options []blocks.Setting
		switch {
		case p.Categorical() && p.Plain:
			choices := len(p.Choices)
			if len(k.hops()) == 0 {
				choices = min(3, choices)
			}
			for c := range choices {
				options = append(options, blocks.Setting{Choice: c})
			}
		case slices.Contains(k.looped(), i):
			for _, n := range counts(p, base[i].Span.High) {
				options = append(options, blocks.Setting{Span: blocks.Span{Low: n, High: n}})
			}
		default:
			continue
		}
		var next [][]blocks.Setting
		for _, settings := range list {
			for _, o := range options {
				s := slices.Clone(settings)
				s[i] = o
				next = append(next, s)
			}
		}
		list = next
	}
	if len(list) > mostCombinations { // evenly chosen
		var some [][]blocks.Setting
		for n := range mostCombinations {
			some = append(some, list[(n*(len(list)-1)+(mostCombinations-1)/2)/(mostCombinations-1)])
		}
		list = some
	}
	return list
}

// counts are up to four values of a count, small ones, since a kernel loops
// over it.
func counts(p *blocks.Param, def float64) []float64 {
	low := max(1, p.Range.Low)
	list := []float64{low, min(p.Range.High, low+1), min(p.Range.High, low+3), min(p.Range.High, 8, 2*def)}
	if def > 8 {
		list = []float64{min(math.Round(def/2), p.Range.High), def, min(p.Range.High, def+8)}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// moving gives settings in which some parameters have moved to place t of so many.
func (k *kernel) moving(names []string, settings []blocks.Setting, t int) []blocks.Setting {
	moved := slices.Clone(settings)
	for _, name := range names {
		i := k.block.ParamIndex(name)
		p := &k.block.Params[i]
		limits, _ := p.At(rate)
		if p.Unit == blocks.UnitTime {
			// A buffer is as long as the time at the start.
			limits.High = min(limits.High, max(limits.Low, settings[i].Span.High))
		}
		value := between(p, limits, (float64(t)+0.5)/moves)
		moved[i].Span = blocks.Span{Low: value, High: value}
	}
	return moved
}
