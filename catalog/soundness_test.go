package catalog

import (
	"fmt"
	"io/fs"
	"math"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// shelf is everything that is shipped, read.
type shelf struct {
	lib    *blocks.Library
	blocks []*blocks.Block
	boards []*blocks.Board
	cores  []*blocks.Core
}

func readAll(t *testing.T) shelf {
	t.Helper()
	s := shelf{lib: open(t)}
	for _, name := range s.lib.BlockNames() {
		b, err := s.lib.Block(name)
		if err != nil {
			t.Fatalf("block %s cannot be read: %v", name, err)
		}
		s.blocks = append(s.blocks, b)
	}
	for _, name := range s.lib.BoardNames() {
		b, err := s.lib.Board(name)
		if err != nil {
			t.Fatalf("board %s cannot be read: %v", name, err)
		}
		s.boards = append(s.boards, b)
	}
	for _, name := range s.lib.CoreNames() {
		c, err := s.lib.Core(name)
		if err != nil {
			t.Fatalf("core %s cannot be read: %v", name, err)
		}
		s.cores = append(s.cores, c)
	}
	if len(s.blocks) == 0 || len(s.boards) == 0 || len(s.cores) == 0 {
		t.Fatal("the catalog has no blocks, no boards or no cores")
	}
	return s
}

// variants are the settings of a block under every combination of its choices,
// numbers at their defaults; a number that must be given is at its far end.
func variants(b *blocks.Block, rate blocks.Hertz) [][]blocks.Setting {
	start := b.Defaults(rate)
	for i, p := range b.Params {
		if p.Needed {
			limits, _ := p.At(rate)
			start[i].Span = blocks.Span{Low: limits.High, High: limits.High}
		}
	}
	all := [][]blocks.Setting{start}
	for i, p := range b.Params {
		var wider [][]blocks.Setting
		for _, settings := range all {
			for choice := range p.Choices {
				picked := slices.Clone(settings)
				picked[i].Choice = choice
				wider = append(wider, picked)
			}
		}
		if p.Categorical() {
			all = wider
		}
	}
	return all
}

// use is one use of a block with an event every hundredth of a second.
func use(b *blocks.Block, settings []blocks.Setting, channels, block int, rate blocks.Hertz) *blocks.Use {
	u := &blocks.Use{
		Block: b, Settings: settings, Channels: channels, BlockSize: block, SampleRate: rate,
		EventRates: map[string]blocks.Hertz{}, MeanTicks: 1, MostTicks: 1,
	}
	for _, in := range b.Inputs {
		if in.Kind == blocks.Event {
			u.EventRates[in.Name] = 100
		}
	}
	return u
}

// describe tells the settings of a use, for messages.
func describe(u *blocks.Use) string {
	words := []string{u.Block.Name}
	for i, p := range u.Block.Params {
		value := p.Unit.FormatSpan(u.Settings[i].Span)
		if p.Categorical() {
			value = p.Choices[u.Settings[i].Choice].Name
		}
		words = append(words, p.Name+" "+value)
	}
	return fmt.Sprintf("%s, %d channels, blocks of %d at %v", strings.Join(words, ", "), u.Channels, u.BlockSize, u.SampleRate)
}

// wrong tells what in a demand is no usable figure; "" if all is well.
func wrong(d *blocks.Demand, block int) string {
	figures := map[string]float64{
		"state": float64(d.State), "stack": float64(d.Stack), "latency": d.Latency, "shortest delay": d.Shortest,
		"loop gain": d.LoopGain, "gain": d.Gain,
		"mean": d.Mean.Value, "low edge of the mean": d.Mean.Low, "high edge of the mean": d.Mean.High,
		"worst": d.Worst.Value, "low edge of the worst": d.Worst.Low, "high edge of the worst": d.Worst.High,
	}
	for _, b := range d.Buffers {
		figures["bytes of "+b.Name] = float64(b.Bytes)
		figures["reads of "+b.Name] = b.Reads
		figures["writes of "+b.Name] = b.Writes
		if b.Element < 1 {
			return "an access of " + b.Name + " moves no byte"
		}
	}
	for _, c := range d.Code {
		figures["code of "+c.Key] = c.Bytes.Value
	}
	for _, h := range d.Hops {
		figures["a hop"] = h.Cycles.Value
	}
	for name, v := range figures {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return fmt.Sprintf("%s is %g", name, v)
		}
	}
	var mean, worst float64
	for _, term := range d.Terms {
		mean, worst = mean+term.Mean.Value, worst+term.Worst.Value
	}
	if math.Abs(mean-d.Mean.Value) > 1e-9*d.Mean.Value || math.Abs(worst-d.Worst.Value) > 1e-9*d.Worst.Value {
		return fmt.Sprintf("the terms add up to %g and at worst %g cycles, and %g and %g are told", mean, worst, d.Mean.Value, d.Worst.Value)
	}
	costliest := d.Worst.Value
	for _, h := range d.Hops {
		costliest += h.Cycles.Value * math.Ceil(float64(block)/h.Every)
	}
	if costliest < d.Mean.Value*(1-1e-12) {
		return fmt.Sprintf("the worst block of %g cycles is below the mean of %g", costliest, d.Mean.Value)
	}
	return ""
}

// Every block gives usable figures on every core, under every combination of
// choices, with every number at either end of its range, at slow and fast
// rates, in short and long blocks.
func TestEveryBlockIsSound(t *testing.T) {
	s := readAll(t)
	check := func(u *blocks.Use) {
		for _, core := range s.cores {
			d, err := u.Demand(core)
			if err != nil {
				t.Errorf("%s on %s: %v", describe(u), core.Name, err)
				return
			}
			if what := wrong(d, u.BlockSize); what != "" {
				t.Errorf("%s on %s: %s", describe(u), core.Name, what)
				return
			}
		}
		for i := range u.Block.Outputs {
			if _, err := u.EventRate(&u.Block.Outputs[i]); err != nil {
				t.Errorf("%s: the rate of %s: %v", describe(u), u.Block.Outputs[i].Name, err)
			}
		}
		for _, m := range u.Block.Metrics {
			if r, _, err := u.Metric(m.Metric); err != nil || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
				t.Errorf("%s: the metric %s is %g: %v", describe(u), m.Metric, r.Value, err)
			}
		}
	}
	for _, b := range s.blocks {
		for _, rate := range []blocks.Hertz{8000, 44100, 192000} {
			for _, settings := range variants(b, rate) {
				ends := [][]blocks.Setting{settings}
				for i, p := range b.Params {
					if p.Categorical() {
						continue
					}
					limits, _ := p.At(rate)
					for _, span := range []blocks.Span{{Low: limits.Low, High: limits.Low}, {Low: limits.High, High: limits.High}, limits} {
						end := slices.Clone(settings)
						end[i].Span = span
						if span.Low != span.High {
							end[i].Moved = p.Moved
						}
						ends = append(ends, end)
					}
				}
				for _, end := range ends {
					for _, channels := range []int{1, 2} {
						for _, block := range []int{1, 48, 8192} {
							check(use(b, end, channels, block, rate))
						}
					}
				}
			}
		}
	}
}

// Every style of code gives usable figures on every core.
func TestEveryStyleIsSound(t *testing.T) {
	s := readAll(t)
	styles := []blocks.Style{{PerSample: true}, {SizeOptimised: true}, {Maths: blocks.ApproximateMaths}, {Double: true}}
	for _, b := range s.blocks {
		for _, settings := range variants(b, 48000) {
			for _, style := range styles {
				u := use(b, settings, 2, 48, 48000)
				u.Style = style
				for _, core := range s.cores {
					d, err := u.Demand(core)
					if err != nil {
						t.Errorf("%s on %s as %+v: %v", describe(u), core.Name, style, err)
					} else if what := wrong(d, u.BlockSize); what != "" {
						t.Errorf("%s on %s as %+v: %s", describe(u), core.Name, style, what)
					}
				}
			}
		}
	}
}

// A longer time, or more stages, taps or voices, never takes less memory and
// never fewer cycles.
func TestMoreNeverCostsLess(t *testing.T) {
	s := readAll(t)
	const rate, steps = 48000, 12
	for _, b := range s.blocks {
		for i, p := range b.Params {
			if p.Unit != blocks.UnitTime && p.Unit != blocks.UnitCount {
				continue
			}
			limits, _ := p.At(rate)
			for _, settings := range variants(b, rate) {
				for _, core := range s.cores {
					var before *blocks.Demand
					var at float64
					for step := range steps + 1 {
						v := limits.Low + (limits.High-limits.Low)*float64(step)/steps
						if p.Unit == blocks.UnitCount {
							v = math.Round(v)
						}
						here := slices.Clone(settings)
						here[i].Span = blocks.Span{Low: v, High: v}
						u := use(b, here, 2, 48, rate)
						d, err := u.Demand(core)
						if err != nil {
							t.Fatalf("%s on %s: %v", describe(u), core.Name, err)
						}
						if before != nil {
							if memory(d)+tables(d) < memory(before)+tables(before) {
								t.Errorf("%s takes %d bytes, but %d with %s %s", describe(u),
									memory(d)+tables(d), memory(before)+tables(before), p.Name, p.Unit.Format(at))
							}
							if d.Mean.Value < before.Mean.Value || d.Worst.Value < before.Worst.Value {
								t.Errorf("%s on %s takes %g and at worst %g cycles, but %g and %g with %s %s", describe(u), core.Name,
									d.Mean.Value, d.Worst.Value, before.Mean.Value, before.Worst.Value, p.Name, p.Unit.Format(at))
							}
						}
						before, at = d, v
					}
				}
			}
		}
	}
}

func tables(d *blocks.Demand) (sum blocks.Bytes) {
	for _, t := range d.Tables {
		sum += t.Bytes
	}
	return sum
}

// Every stand-in exists, takes what is carried over and set, and is of the
// role that it stands in for.
func TestSubstitutesExist(t *testing.T) {
	s := readAll(t)
	const rate = 48000
	for _, b := range s.blocks {
		for n, sub := range b.Substitutes {
			what := fmt.Sprintf("stand-in %d of %s", n+1, b.Name)
			if sub.Heard == "" {
				t.Errorf("%s does not say what is heard", what)
			}
			other := b
			if sub.Block != "" {
				var err error
				if other, err = s.lib.Block(sub.Block); err != nil {
					t.Errorf("%s: %v", what, err)
					continue
				}
				if other.Role != b.Role && !moves(b, other) && !draws(b, other) {
					t.Errorf("%s is %s of role '%s', want the role '%s'", what, other.Name, other.Role, b.Role)
				}
			}
			for theirs, ours := range sub.Carry {
				to, ok := other.Param(theirs)
				if !ok {
					t.Errorf("%s carries to '%s', which %s does not have", what, theirs, other.Name)
					continue
				}
				from, _ := b.Param(ours)
				if from.Unit != to.Unit || !slices.Equal(choiceNames(from), choiceNames(to)) {
					t.Errorf("%s carries '%s' in %v %v to '%s' in %v %v", what, ours, from.Unit, choiceNames(from), theirs, to.Unit, choiceNames(to))
				}
				if limits, _ := to.At(rate); !from.Needed && !moves(b, other) && (from.Default.Low < limits.Low || from.Default.High > limits.High) {
					t.Errorf("%s cannot take the default %s of '%s'", what, from.DefaultText, ours)
				}
			}
			for name, text := range sub.Set {
				p, ok := other.Param(name)
				if !ok {
					t.Errorf("%s sets '%s', which %s does not have", what, name, other.Name)
					continue
				}
				set, err := p.Read(text, rate)
				if err != nil {
					t.Errorf("%s sets %s to '%s': %v", what, name, text, err)
				}
				if limits, _ := p.At(rate); !p.Categorical() && (set.Span.Low < limits.Low || set.Span.High > limits.High) {
					t.Errorf("%s sets %s to %s, outside %s", what, name, text, p.RangeText)
				}
			}
			for name, factor := range sub.Scale {
				if factor <= 0 || factor >= 1 {
					t.Errorf("%s scales %s by %g, want a factor between 0 and 1", what, name, factor)
				}
			}
			for _, p := range other.Params {
				_, carried := sub.Carry[p.Name]
				if _, set := sub.Set[p.Name]; sub.Block != "" && p.Needed && !carried && !set {
					t.Errorf("%s leaves out '%s', which %s needs", what, p.Name, other.Name)
				}
			}
		}
	}
}

// What the numbers of a stand-in leave out or add is told as a loss only where
// what it stands in for tells of its own numbers too: then it does.
func TestErrorsOfNumbersAreTold(t *testing.T) {
	s := readAll(t)
	for _, b := range s.blocks {
		for n, sub := range b.Substitutes {
			if sub.Block == "" {
				continue
			}
			other, err := s.lib.Block(sub.Block)
			if err != nil {
				t.Fatal(err)
			}
			for _, metric := range []string{"quantisation_snr", "precision_snr", "headroom"} {
				if gives(other, metric) && !gives(b, metric) {
					t.Errorf("stand-in %d of %s, %s, tells of '%s', and %s does not, so that no loss is told", n+1, b.Name, other.Name, metric, b.Name)
				}
			}
		}
	}
}

func gives(b *blocks.Block, metric string) bool {
	return slices.ContainsFunc(b.Metrics, func(m blocks.MetricValue) bool { return m.Metric == metric })
}

// draws tells whether a block may draw what another one computes: a table may
// hold any wave, a sine too.
func draws(b, other *blocks.Block) bool { return b.Role == "sine" && other.Role == "wavetable" }

func choiceNames(p *blocks.Param) []string {
	var names []string
	for _, c := range p.Choices {
		names = append(names, c.Name)
	}
	return names
}

// Every stand-in is lighter in memory, tables or cycles, on some core, for some
// choice of what it stands in for, and while nothing moves or all that can.
func TestSubstitutesAreLighter(t *testing.T) {
	s := readAll(t)
	for _, b := range s.blocks {
		for n, sub := range b.Substitutes {
			lighter := false
			for _, motion := range []blocks.Motion{blocks.Fixed, blocks.ByControl, blocks.ByAudio} {
				for _, settings := range variants(b, 48000) {
					for i, p := range b.Params {
						settings[i].Moved = min(motion, p.Moved)
						// Counts are at their greatest, so that a share of them is less.
						if p.Unit == blocks.UnitCount {
							settings[i].Span = blocks.Span{Low: p.Range.High, High: p.Range.High}
						}
					}
					before := use(b, settings, 1, 48, 48000)
					after, ok, err := standIn(s.lib, before, &sub)
					if err != nil {
						t.Fatalf("stand-in %d of %s: %v", n+1, b.Name, err)
					}
					for _, core := range s.cores {
						was, err1 := before.Demand(core)
						is, err2 := after.Demand(core)
						if err1 != nil || err2 != nil {
							t.Fatalf("stand-in %d of %s on %s: %v, %v", n+1, b.Name, core.Name, err1, err2)
						}
						lighter = lighter || ok && (memory(is) < memory(was) || tables(is) < tables(was) || is.Mean.Value < was.Mean.Value)
					}
				}
			}
			if !lighter {
				t.Errorf("stand-in %d of %s (%s) is nowhere lighter than what it stands in for", n+1, b.Name, sub.Heard)
			}
		}
	}
}

// What is heard of a stand-in costs points with some settings of what it stands in
// for: the zero of one that is plainly heard would bring it to the front of every
// plan.
func TestWhatIsHeardIsLost(t *testing.T) {
	s := readAll(t)
	hearing, err := s.lib.Hearing()
	if err != nil {
		t.Fatal(err)
	}
	const (
		whole  = "the steps of control are a metric of the whole graph"
		same   = "it sounds the same where it stands in by these settings"
		better = "what is heard of it is for the better"
		unlike = "the level at a width other than the default differs"
		below  = "by the curve of foldover it lies below what is heard"
		none   = "no metric tells a growl from another of as many partials"
	)
	free := map[string]string{
		"additive 4": same, "matrix-mixer 1": same, "state-variable 1": same, "state-variable 3": same, "naive-saw 2": better,
		"naive-pulse 1": whole, "naive-saw 1": whole, "naive-triangle 1": whole, "phase-distortion 2": whole, "phase-ramp 1": whole,
		"integrated-clip 2": below, "oversampled-clip 3": below, "stereo-width 1": unlike, "fm-four 1": none,
	}
	for _, b := range s.blocks {
		for n, sub := range b.Substitutes {
			if strings.HasPrefix(sub.Heard, "nothing") {
				continue
			}
			most := 0.0
			for _, motion := range []blocks.Motion{blocks.Fixed, blocks.ByControl, blocks.ByAudio} {
				for _, settings := range slices.Concat(variants(b, 48000), crowded(b, 48000)) {
					for i, p := range b.Params {
						settings[i].Moved = min(motion, p.Moved)
					}
					before := use(b, settings, 2, 48, 48000)
					after, _, err := standIn(s.lib, before, &sub)
					if err != nil {
						t.Fatal(err)
					}
					most = max(most, loss(t, hearing, before, after))
				}
			}
			which := fmt.Sprintf("%s %d", b.Name, n+1)
			if reason, ok := free[which]; ok && most > 0 {
				t.Errorf("stand-in %s costs %g points, and is excused: %s", which, most, reason)
			} else if !ok && most == 0 {
				t.Errorf("stand-in %s costs nothing with any settings, and is heard: %s", which, sub.Heard)
			}
		}
	}
}

// crowded are the variants of a block with every count at its greatest.
func crowded(b *blocks.Block, rate blocks.Hertz) [][]blocks.Setting {
	list := variants(b, rate)
	for _, settings := range list {
		for i, p := range b.Params {
			if p.Unit == blocks.UnitCount {
				settings[i].Span = blocks.Span{Low: p.Range.High, High: p.Range.High}
			}
		}
	}
	return list
}

// loss adds up the points of all metrics that two uses have; a metric that cannot
// be worked out with these settings counts for nothing.
func loss(t *testing.T, hearing *blocks.Hearing, before, after *blocks.Use) float64 {
	t.Helper()
	sum := 0.0
	for i := range hearing.Metrics {
		m := &hearing.Metrics[i]
		was, has, err1 := before.Metric(m.Name)
		is, still, err2 := after.Metric(m.Name)
		if err1 == nil && err2 == nil && has && still && was != is {
			sum += m.Loss(was, is)
		}
	}
	return sum
}

// standIn is a use with a substitute in its place, which may not take what
// moves the parameters that are carried over.
func standIn(lib *blocks.Library, u *blocks.Use, sub *blocks.Substitute) (after *blocks.Use, ok bool, err error) {
	ok = true
	b, settings := u.Block, slices.Clone(u.Settings)
	if sub.Block != "" {
		other, err := lib.Block(sub.Block)
		if err != nil {
			return nil, false, err
		}
		settings = other.Defaults(u.SampleRate)
		for theirs, ours := range sub.Carry {
			to, from := other.ParamIndex(theirs), b.ParamIndex(ours)
			settings[to] = u.Settings[from]
			ok = ok && settings[to].Moved <= other.Params[to].Moved
		}
		b = other
	}
	for name, text := range sub.Set {
		i := b.ParamIndex(name)
		set, err := b.Params[i].Read(text, u.SampleRate)
		if err != nil {
			return nil, false, err
		}
		settings[i] = set
	}
	for name, factor := range sub.Scale {
		i := b.ParamIndex(name)
		v := settings[i].Span.High * factor
		settings[i].Span = blocks.Span{Low: v, High: v}
	}
	return use(b, settings, u.Channels, u.BlockSize, u.SampleRate), ok, nil
}

// What blocks give the ear and what hearing.yaml judges are the same metrics,
// save for those that only a whole graph has.
func TestMetricsAreJudged(t *testing.T) {
	s := readAll(t)
	hearing, err := s.lib.Hearing()
	if err != nil {
		t.Fatal(err)
	}
	given := map[string]bool{"voices": true, "latency": true, "width": true, "presence": true, "bandwidth": true, "maths_error": true, "control_rate": true}
	for _, b := range s.blocks {
		for _, m := range b.Metrics {
			given[m.Metric] = true
			if _, ok := hearing.Find(m.Metric); !ok {
				t.Errorf("%s gives the metric '%s', which hearing.yaml does not judge", b.Name, m.Metric)
			}
		}
	}
	for _, m := range hearing.Metrics {
		if !given[m.Name] {
			t.Errorf("hearing.yaml judges '%s', which no block gives", m.Name)
		}
		for i, corner := range m.Curve[1:] {
			if falls := corner.Points < m.Curve[i].Points; falls == m.LessIsBetter && corner.Points != m.Curve[i].Points {
				t.Errorf("the curve of %s goes from %g to %g points at %g, against its better side", m.Name, m.Curve[i].Points, corner.Points, corner.At)
			}
		}
	}
}

// A parameter is written beside the keys that every node may have, so it may
// not have the name of one.
func TestParametersAreNoNodeKeys(t *testing.T) {
	keys := []string{"block", "from", "channels", "keep", "optional", "importance", "bank", "code", "precision", "note"}
	for _, b := range readAll(t).blocks {
		for _, name := range b.ParamNames() {
			if slices.Contains(keys, name) {
				t.Errorf("%s has a parameter '%s', which is a key of every node", b.Name, name)
			}
		}
	}
}

// Files lie where their contents say.
func TestFilesAreNamedAfterTheirContents(t *testing.T) {
	lib := open(t)
	files := 0
	err := fs.WalkDir(shipped, ".", func(file string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || file == "hearing.yaml" {
			return err
		}
		files++
		name := strings.TrimSuffix(path.Base(file), ".yaml")
		folder := path.Dir(file)
		switch {
		case folder == "boards":
			if b, err := lib.Board(name); err != nil || b.Name != name {
				t.Errorf("%s does not hold the board %s: %v", file, name, err)
			}
		case folder == "codecs":
			if c, err := lib.Codec(name); err != nil || c.Name != name {
				t.Errorf("%s does not hold the codec %s: %v", file, name, err)
			}
		case folder == "cores":
			if c, err := lib.Core(name); err != nil || c.Name != name {
				t.Errorf("%s does not hold the core %s: %v", file, name, err)
			}
		default:
			if b, err := lib.Block(name); err != nil || b.Name != name || path.Join("blocks", b.Family) != folder {
				t.Errorf("%s does not hold the block %s of that family: %v", file, name, err)
			}
		}
		return nil
	})
	if err != nil || files == 0 {
		t.Errorf("the catalog's %d files cannot be walked: %v", files, err)
	}
}

// Every routine that a core's operations call, or that another needs, is in
// its table.
func TestCoresHaveTheirRoutines(t *testing.T) {
	for _, core := range readAll(t).cores {
		has := func(who string, names []string) {
			for _, name := range names {
				if _, ok := core.Routines[name]; !ok {
					t.Errorf("%s: %s needs the routine '%s', which is not there", core.Name, who, name)
				}
			}
		}
		for _, class := range blocks.Classes() {
			has(class.String(), core.Weights[class].Library)
			has("double "+class.String(), core.Double[class].Library)
			// Rounding down is one instruction where the float unit is of Armv8 or FPv5.
			if class.IsFunction() && class != blocks.OpFloor && len(core.Weights[class].Library) == 0 {
				t.Errorf("%s: the function %v links no routine", core.Name, class)
			}
			// A wait can hide nothing where every float result is a routine's.
			if core.Weights[class].Cycles <= 0 && !(class == blocks.OpChain && core.Float == blocks.FloatNone) {
				t.Errorf("%s: %v takes %g cycles, want more than 0", core.Name, class, core.Weights[class].Cycles)
			}
		}
		for name, routine := range core.Routines {
			has(name, routine.Needs)
		}
		if core.Float == blocks.FloatNone && len(core.Weights[blocks.OpAdd].Library) == 0 {
			t.Errorf("%s computes floats in software, but its additions link no routine", core.Name)
		}
	}
}

// Boards have a core, banks that do not overlap, room for their own run time,
// and RAM that the audio DMA reaches.
func TestBoardsAreSound(t *testing.T) {
	s := readAll(t)
	for _, b := range s.boards {
		if _, err := s.lib.Core(b.Core); err != nil {
			t.Errorf("%s: %v", b.Name, err)
		}
		taken := make([]blocks.Bytes, len(b.Banks))
		for _, row := range b.System {
			taken[row.Bank] += row.Bytes
		}
		reached, cached := false, false
		for i, bank := range b.Banks {
			if taken[i] >= bank.Usable() {
				t.Errorf("%s: the run time takes %d of the %d bytes of %s", b.Name, taken[i], bank.Usable(), bank.Name)
			}
			reached = reached || bank.DMA && !bank.Kind.Constant()
			cached = cached || bank.Cached && !bank.Kind.Constant()
			if bank.Cached && bank.LineFill <= 0 {
				t.Errorf("%s: %s is cached, but fetching a line takes %g cycles", b.Name, bank.Name, bank.LineFill)
			}
			if !bank.Cached && bank.LineFill+bank.WriteBack > 0 {
				t.Errorf("%s: %s is not cached, but its lines cost cycles", b.Name, bank.Name)
			}
			for _, other := range b.Banks[i+1:] {
				if bank.Base < other.Base+uint64(other.Nominal) && other.Base < bank.Base+uint64(bank.Nominal) {
					t.Errorf("%s: %s and %s overlap in address", b.Name, bank.Name, other.Name)
				}
			}
		}
		// Code runs from where it lies unless it is said to run elsewhere, and where it
		// runs from what it waits for is known.
		if len(b.Layouts) < 2 || b.Layouts[0].Bank != b.CodeBank() {
			t.Errorf("%s: code may run from %s, want the bank that it lies in, and then others", b.Name, strings.Join(b.LayoutNames(), ", "))
		}
		for i, l := range b.Layouts {
			if slices.ContainsFunc(b.Layouts[:i], func(m blocks.Layout) bool { return m.Bank == l.Bank }) {
				t.Errorf("%s: code runs from %s twice", b.Name, b.Banks[l.Bank].Name)
			}
			if len(l.Cites) == 0 {
				t.Errorf("%s: nothing says that code can run from %s", b.Name, b.Banks[l.Bank].Name)
			}
		}
		if !reached {
			t.Errorf("%s: the audio DMA reaches no RAM", b.Name)
		}
		if cached && b.Align%b.Cache.Line != 0 {
			t.Errorf("%s: buffers aligned to %d bytes share cache lines of %d", b.Name, b.Align, b.Cache.Line)
		}
	}
}

// Sources that are choices of ours begin with those words, memory is put in
// brackets, and both are counted.
func TestSourcesSayWhatTheyAre(t *testing.T) {
	s := readAll(t)
	hearing, err := s.lib.Hearing()
	if err != nil {
		t.Fatal(err)
	}
	memory := regexp.MustCompile(`\([^()]*from memory[^()]*\)`)
	var all, judged, remembered int
	count := func(where string, citations []blocks.Citation) {
		for _, c := range citations {
			all++
			if strings.Contains(c.Text, "house judgement") {
				judged++
				if !strings.HasPrefix(c.Text, "house judgement: ") {
					t.Errorf("%s: the source '%s' does not begin with 'house judgement: '", where, c.Key)
				}
			}
			if strings.Contains(c.Text, "from memory") {
				remembered++
				if !memory.MatchString(c.Text) {
					t.Errorf("%s: the source '%s' does not say '(from memory)' in brackets", where, c.Key)
				}
			}
		}
	}
	for _, b := range s.blocks {
		count(b.Name, b.Citations)
	}
	for _, b := range s.boards {
		count(b.Name, b.Citations)
	}
	for _, c := range s.cores {
		count(c.Name, c.Citations)
	}
	count("hearing.yaml", hearing.Citations)
	if all == 0 {
		t.Error("the catalog names no sources")
	}
	t.Logf("of %d sources %d are house judgements and %d are wholly or partly from memory", all, judged, remembered)
}

// mistakes reads a catalog file's text and returns what is wrong with it.
func mistakes(text string, read func(source.Value)) string {
	var errs source.Errors
	if v := source.Parse(source.NewFile("test.yaml", []byte(text)), &errs); v.Given() {
		read(v)
	}
	if err := errs.Err(); err != nil {
		return err.Error()
	}
	return ""
}

// sourceKey finds 'source: KEY' on a line of its own, or last in a mapping in
// one line; sourceValue finds it without what stands around it.
var (
	sourceKey   = regexp.MustCompile(`(?m)(^ *source: .*\n|, source: (\[[^\]]*\]|[^\]},]*))`)
	sourceValue = regexp.MustCompile(`source: (\[[^\]]*\]|[^\]},\n]*)`)
)

// A figure without a source is refused: of one block, one core, one board and
// the file of hearing, each 'source' is taken away in turn.
func TestFiguresNeedASource(t *testing.T) {
	lib := open(t)
	for _, tt := range []struct {
		file string
		read func(source.Value)
	}{
		{"blocks/oscillator/sine.yaml", func(v source.Value) { readBlock(v) }},
		{"blocks/delay/delay.yaml", func(v source.Value) { readBlock(v) }},
		{"cores/m0plus.yaml", func(v source.Value) { readCore(v) }},
		{"boards/m4f-168-192k.yaml", func(v source.Value) { readBoard(v, lib) }},
		{"hearing.yaml", func(v source.Value) { readHearing(v) }},
	} {
		data, err := fs.ReadFile(shipped, tt.file)
		if err != nil {
			t.Fatal(err)
		}
		text := string(data)
		if found := mistakes(text, tt.read); found != "" {
			t.Errorf("%s is refused as it is: %s", tt.file, found)
		}
		figures, _, _ := strings.Cut(text, "\nsources:")
		places := sourceKey.FindAllStringIndex(figures, -1)
		if len(places) == 0 {
			t.Errorf("%s names no sources", tt.file)
		}
		for _, place := range places {
			without := text[:place[0]] + text[place[1]:]
			if found := mistakes(without, tt.read); !strings.Contains(found, "needs 'source'") {
				t.Errorf("%s without '%s' after '%s' is not refused for it: %s", tt.file,
					strings.TrimSpace(text[place[0]:place[1]]), lastLine(text[:place[0]]), found)
			}
		}
		first := places[0]
		unknown := text[:first[0]] + sourceValue.ReplaceAllString(text[first[0]:first[1]], "source: hearsay") + text[first[1]:]
		if found := mistakes(unknown, tt.read); !strings.Contains(found, "no source 'hearsay'") {
			t.Errorf("%s takes a source that it does not list: %s", tt.file, found)
		}
		spare := strings.Replace(text, "\nsources:\n", "\nsources:\n  rumour: somebody said so\n", 1)
		if found := mistakes(spare, tt.read); !strings.Contains(found, "no figure names the source 'rumour'") {
			t.Errorf("%s takes a source that no figure names: %s", tt.file, found)
		}
	}
}

func lastLine(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return strings.TrimSpace(lines[len(lines)-1])
}

// moves tells whether a block of control stands in for one of audio. It does so
// where that moves others and is not heard, and then slowly: neither the role nor
// the default need be the same.
func moves(b, other *blocks.Block) bool {
	return b.Processes() == blocks.Audio && other.Processes() == blocks.Control
}
