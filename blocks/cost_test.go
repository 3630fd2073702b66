package blocks

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// mill is a core whose costs are easy to tell apart.
func mill() *Core {
	c := &Core{
		Name: "mill", ComputeBand: Band{Low: 0.5, High: 2}, CodeBand: Band{Low: 0.75, High: 1.5},
		Call: Weight{Cycles: 10, Worst: 12, Code: 8}, PerSample: Weight{Cycles: 6, Worst: 7},
	}
	c.SizeOptimised.Cycles, c.SizeOptimised.Code = 1.5, 0.5
	c.Weights[OpAdd] = Weight{Cycles: 1, Worst: 1, Code: 4}
	c.Weights[OpMul] = Weight{Cycles: 2, Worst: 2, Code: 4}
	c.Weights[OpLoad] = Weight{Cycles: 3, Worst: 3, Code: 2}
	c.Weights[OpDiv] = Weight{Cycles: 20, Worst: 30, Code: 6}
	c.Weights[OpSin] = Weight{Cycles: 100, Worst: 130, Approximate: 15, Code: 8, Library: []string{"sinf"}}
	c.Double[OpMul] = Weight{Cycles: 40, Worst: 50, Code: 12, Library: []string{"dmul"}}
	c.HasDouble[OpMul] = true
	return c
}

// ran is a use of a block at its defaults: one channel, blocks of 48 at 48 kHz.
func ran(b *Block) *Use {
	return &Use{
		Block: b, Settings: b.Defaults(48000), Channels: 1, SampleRate: 48000, BlockSize: 48,
		EventRates: map[string]Hertz{}, MeanTicks: 1, MostTicks: 1,
	}
}

// demand is what the use needs on the mill.
func demand(t *testing.T, u *Use) *Demand {
	t.Helper()
	d, err := u.Demand(mill())
	if err != nil {
		t.Fatalf("%s gives no demand: %v", u.Block.Name, err)
	}
	return d
}

// counts is so many operations of one class.
func counts(f *Formula, class Class) []Count { return []Count{{class, f}} }

var audioThrough = []Port{{Name: "in"}, {Name: "out"}}

// echo is a delay with a choice of two formats.
func echo(t *testing.T) *Block {
	b := &Block{
		Name: "echo", Inputs: audioThrough[:1], Outputs: audioThrough[1:],
		Params: []Param{
			knob("time", UnitTime, 0, 10, 0.5, ByControl),
			knob("stages", UnitCount, 1, 8, 1, Fixed),
			{Name: "format", DefaultText: "wide", Choices: []Choice{{Name: "wide"}, {Name: "narrow"}}},
			{Name: "label", DefaultText: "plain", Plain: true, Choices: []Choice{{Name: "plain"}, {Name: "gilded"}}},
		},
	}
	facts := map[string]map[string][]Quantity{"format": {"sample": {{4, InBytes}, {2, InBytes}}, "converts": {{0, Plain}, {1, Plain}}}}
	return sketch(t, b, facts, func(f func(string, Dimension) *Formula) {
		b.State, b.Stack = f("stages * 2 * word * channels", InBytes), f("16 * byte", InBytes)
		one := f("1", Plain)
		b.Buffers = []Buffer{
			{Name: "line", Bytes: f("ceil(time * sample_rate) * sample * channels", InBytes), Reads: f("2 * channels", Plain),
				Writes: f("channels", Plain), Element: f("sample", InBytes), Pattern: Tap, DMA: true},
			{Name: "combs", When: f("stages > 1", Plain), Each: []float64{100, 200}, Bytes: f("each * word", InBytes),
				Reads: one, Writes: one, Element: f("word", InBytes)},
		}
		b.Tables = []Table{
			{Name: "curve", Key: "curve-{stages}-{format}-{time}", Bytes: f("33 * word", InBytes)},
			{Name: "scratch", Key: "scratch", When: f("converts", Plain), Bytes: f("8 * byte", InBytes), Copied: true},
		}
		b.Jacks = []JackUse{{"knob", f("stages", Plain)}, {"led", one}}
		b.Latency, b.Shortest = f("stages / 2", Plain), f("time * sample_rate", Plain)
		b.LoopGain, b.Gain = f("0.5 * time / second", Plain), f("stages", Plain)
	})
}

func TestDemandMemory(t *testing.T) {
	u := ran(echo(t))
	d := demand(t, u)
	if d.State != 8 || d.Stack != 16 || d.Basis != Counted {
		t.Errorf("state is %d, stack %d, basis %v; want one stage of 2 words = 8, 16 as written, counted", d.State, d.Stack, d.Basis)
	}
	line := BufferDemand{Name: "line", Bytes: 96000, Reads: 2, Writes: 1, Element: 4, Pattern: Tap, Heads: 3, DMA: true}
	if !slices.Equal(d.Buffers, []BufferDemand{line}) {
		t.Errorf("buffers are %+v, want the line of 0.5 s x 48000 Hz x 4 bytes alone", d.Buffers)
	}
	if want := []TableDemand{{Name: "curve", Key: "curve-1-wide-0.5 s", Bytes: 132}}; !slices.Equal(d.Tables, want) {
		t.Errorf("tables are %+v, want %+v", d.Tables, want)
	}
	if d.Jacks["knob"] != 1 || d.Jacks["led"] != 1 {
		t.Errorf("jacks are %v, want a knob and a lamp", d.Jacks)
	}
	if d.Latency != 0.5 || d.Shortest != 24000 || d.LoopGain != 0.25 || d.Gain != 1 {
		t.Errorf("latency is %g, the shortest delay %g, the loop gain %g, the gain %g; want 0.5, 24000, 0.25, 1", d.Latency, d.Shortest, d.LoopGain, d.Gain)
	}

	u.Channels = 2
	u.Settings[1].Span = Span{2, 2}
	u.Settings[2].Choice = 1
	d = demand(t, u)
	if d.State != 32 {
		t.Errorf("state is %d, want 2 stages x 2 words x 2 channels = 32", d.State)
	}
	comb := BufferDemand{Reads: 1, Writes: 1, Element: 4, Pattern: Stream, Heads: 1}
	first, second := comb, comb
	first.Name, first.Bytes = "combs-1", 400
	second.Name, second.Bytes = "combs-2", 800
	line = BufferDemand{Name: "line", Bytes: 96000, Reads: 4, Writes: 2, Element: 2, Pattern: Tap, Heads: 6, DMA: true}
	if !slices.Equal(d.Buffers, []BufferDemand{line, first, second}) {
		t.Errorf("buffers are %+v, want the line of 24000 x 2 bytes x 2 channels and two combs of 400 and 800", d.Buffers)
	}
	if want := []TableDemand{{Name: "curve", Key: "curve-2-narrow-0.5 s", Bytes: 132}, {Name: "scratch", Key: "scratch", Bytes: 8, Copied: true}}; !slices.Equal(d.Tables, want) {
		t.Errorf("tables are %+v, want %+v", d.Tables, want)
	}

	u.Settings[0].Span = Span{0, 0}
	if d = demand(t, u); len(d.Buffers) != 2 || d.Shortest != 0 {
		t.Errorf("without a time there are the buffers %+v, want no line of 0 bytes", d.Buffers)
	}
}

// A parameter that moves is sized for its far end, and its near end decides
// how short a delay may get.
func TestDemandOverASpan(t *testing.T) {
	u := ran(echo(t))
	u.Settings[0] = Setting{Span: Span{0.1, 0.2}, Moved: ByControl}
	d := demand(t, u)
	if d.Buffers[0].Bytes != 38400 || d.Shortest != 4800 {
		t.Errorf("from 0.1 s to 0.2 s the line has %d bytes and the delay is at least %g samples, want 38400 and 4800", d.Buffers[0].Bytes, d.Shortest)
	}
	b := &Block{Name: "dip", Outputs: audioThrough[1:], Params: []Param{knob("width", UnitRatio, 0, 1, 0.5, ByControl), knob("depth", UnitRatio, 0, 1, 0.5, ByControl)}}
	sketch(t, b, nil, func(f func(string, Dimension) *Formula) {
		b.State = f("(100 - 50 * width + 10 * depth) * byte", InBytes)
	})
	u = ran(b)
	u.Settings[0].Span, u.Settings[1].Span = Span{0, 1}, Span{0, 1}
	if d = demand(t, u); d.State != 110 {
		t.Errorf("the largest of the four corners is %d bytes, want 110 with no width and full depth", d.State)
	}
}

func TestVariantNamesTheKernel(t *testing.T) {
	u := ran(echo(t))
	u.Settings[3].Choice = 1
	if got := u.Variant(); got != "echo (wide)" {
		t.Errorf("the kernel is '%s', want 'echo (wide)': a plain choice makes no other", got)
	}
	u.Style.Double = true
	if got := u.Variant(); got != "echo (wide, double)" {
		t.Errorf("the kernel is '%s', want 'echo (wide, double)'", got)
	}
	if got := (&Use{Block: &Block{Name: "hum"}}).Variant(); got != "hum" {
		t.Errorf("the kernel is '%s', want 'hum'", got)
	}
}

// howl has work of every kind: loads each call, multiplies each sample, divides
// on bad data, additions at an event and at the moves of two parameters.
func howl(t *testing.T) *Block {
	b := &Block{
		Name: "howl", Inputs: []Port{{Name: "in"}, {Name: "gate", Kind: Event}}, Outputs: []Port{{Name: "out"}, {Name: "tick", Kind: Event}},
		Params: []Param{knob("cutoff", UnitFrequency, 1, 20000, 1000, ByAudio), knob("stages", UnitCount, 1, 8, 3, Fixed)},
	}
	return sketch(t, b, nil, func(f func(string, Dimension) *Formula) {
		b.Operations = Operations{
			Call:      counts(f("4", Plain), OpLoad),
			Sample:    counts(f("2 * stages * channels", Plain), OpMul),
			Costliest: counts(f("1", Plain), OpDiv),
			Events:    map[string][]Count{"gate": counts(f("5", Plain), OpAdd)},
			Updates:   []Update{{Name: "tuning", When: []string{"cutoff"}, Counts: counts(f("1", Plain), OpSin)}},
		}
		b.Outputs[1].Rate = f("gate_rate * 2", PerSecond)
	})
}

// Cycles of howl on the mill are worked by hand: in a block of 48 samples a
// call is 10 (at worst 12), its loads are 4 x 3 = 12, three stages of two
// multiplies are 6 x 2 x 48 = 576; the costliest data divides, 48 x 30.
func TestDemandCycles(t *testing.T) {
	const mean, worst = 10 + 12 + 576, 12 + 12 + 576 + 48*30
	for _, tt := range []struct {
		name        string
		change      func(u *Use)
		mean, worst float64
		routines    []string
	}{
		{"at its defaults", func(u *Use) {}, mean, worst, nil},
		{"in two channels", func(u *Use) { u.Channels = 2 }, mean + 576, worst + 576, nil},
		{"with a gate 1500 times a second, 1.5 in a block", func(u *Use) { u.EventRates["gate"] = 1500 }, mean + 1.5*5, worst + 2*5, nil},
		{"with its cutoff moved once a block", func(u *Use) { u.Settings[0].Moved = ByControl }, mean + 100, worst + 130, []string{"sinf"}},
		{"with its cutoff moved 1.5 times a block in the mean", func(u *Use) {
			u.Settings[0].Moved, u.MeanTicks, u.MostTicks = ByControl, 1.5, 2
		}, mean + 150, worst + 260, []string{"sinf"}},
		{"with its cutoff moved each sample", func(u *Use) { u.Settings[0].Moved = ByAudio }, mean + 4800, worst + 48*130, []string{"sinf"}},
		{"with its cutoff moved each sample by a short form", func(u *Use) {
			u.Settings[0].Moved, u.Style.Maths = ByAudio, ApproximateMaths
		}, mean + 48*15, worst + 48*15, nil},
		{"called once a sample, in place of its call and its loads", func(u *Use) { u.Style.PerSample = true }, 576 + 48*6, 576 + 48*30 + 48*7, nil},
		{"compiled for size", func(u *Use) { u.Style.SizeOptimised = true }, mean * 1.5, worst * 1.5, nil},
		{"in double", func(u *Use) { u.Style.Double = true }, mean + 288*38, worst + 288*48, []string{"dmul"}},
	} {
		u := ran(howl(t))
		tt.change(u)
		d := demand(t, u)
		if !near(d.Mean.Value, tt.mean) || !near(d.Worst.Value, tt.worst) {
			t.Errorf("howl %s takes %g and at worst %g cycles, want %g and %g", tt.name, d.Mean.Value, d.Worst.Value, tt.mean, tt.worst)
		}
		if !near(d.Mean.Low, tt.mean/2) || !near(d.Mean.High, tt.mean*2) || !near(d.Worst.Low, tt.worst/2) || !near(d.Worst.High, tt.worst*2) {
			t.Errorf("howl %s lies between %g and %g cycles, want half and twice %g", tt.name, d.Mean.Low, d.Mean.High, tt.mean)
		}
		if !slices.Equal(d.Routines, tt.routines) {
			t.Errorf("howl %s links %v, want %v", tt.name, d.Routines, tt.routines)
		}
	}
	u := ran(howl(t))
	u.EventRates["gate"] = 50
	if rate, err := u.EventRate(&u.Block.Outputs[1]); err != nil || rate != 100 {
		t.Errorf("a gate of 50 Hz sends %v (%v), want twice that", rate, err)
	}
	if rate, err := u.EventRate(&u.Block.Outputs[0]); err != nil || rate != 0 {
		t.Errorf("an output without events sends %v (%v), want none", rate, err)
	}
}

// A control block runs once in a control period, however long the block is;
// one of events alone is never called.
func TestDemandOfControlAndEvents(t *testing.T) {
	sway := &Block{Name: "sway", Outputs: []Port{{Name: "out", Kind: Control}}}
	sketch(t, sway, nil, func(f func(string, Dimension) *Formula) { sway.Operations.Call = counts(f("4", Plain), OpLoad) })
	u := ran(sway)
	u.MeanTicks, u.MostTicks = 2.5, 3
	if d := demand(t, u); d.Mean.Value != 2.5*22 || d.Worst.Value != 3*24 {
		t.Errorf("2.5 periods a block take %g and 3 %g cycles, want 55 and 72", d.Mean.Value, d.Worst.Value)
	}
	count := &Block{Name: "count", Inputs: []Port{{Name: "in", Kind: Event}}, Outputs: []Port{{Name: "out", Kind: Event}}}
	sketch(t, count, nil, func(f func(string, Dimension) *Formula) {
		count.Operations.Events = map[string][]Count{"in": counts(f("7", Plain), OpAdd)}
	})
	u = ran(count)
	u.EventRates["in"] = 100
	if d := demand(t, u); !near(d.Mean.Value, 0.7) || d.Worst.Value != 7 {
		t.Errorf("an event in ten blocks takes %g and at worst %g cycles, want 0.7 and 7", d.Mean.Value, d.Worst.Value)
	}
}

func TestDemandOfRecurringWork(t *testing.T) {
	grains := func(every string, locked bool) *Use {
		b := &Block{Name: "grains", Outputs: audioThrough[1:], Params: []Param{knob("size", UnitCount, 0, 4096, 32, Fixed)}}
		sketch(t, b, nil, func(f func(string, Dimension) *Formula) {
			b.Operations.Recurring = []Recurring{{Name: "grain", Every: f(every, Plain), Locked: locked, Offset: f("7", Plain), Counts: counts(f("3", Plain), OpDiv)}}
		})
		return ran(b)
	}
	// 48 / 32 grains a block of 3 divides at 20 or 30, and the call of 10 or 12.
	d := demand(t, grains("size", false))
	if d.Mean.Value != 10+1.5*60 || d.Worst.Value != 12+2*90 || len(d.Hops) != 0 {
		t.Errorf("free grains take %g and at worst %g cycles with %d hops, want 100, 192 and none", d.Mean.Value, d.Worst.Value, len(d.Hops))
	}
	d = demand(t, grains("size", true))
	hop := Hop{Name: "grain", Every: 32, Offset: 7, Cycles: Figure{90, 45, 180}}
	if d.Mean.Value != 10+1.5*60 || d.Worst.Value != 12 || !slices.Equal(d.Hops, []Hop{hop}) {
		t.Errorf("locked grains take %g and at worst %g cycles with hops %+v, want 100, 12 and %+v", d.Mean.Value, d.Worst.Value, d.Hops, hop)
	}
	u := grains("size / 64", false)
	if _, err := u.Demand(mill()); err == nil || !strings.Contains(err.Error(), "grains: operations.recurring.grain.every 'size / 64' is under one sample") {
		t.Errorf("grains every half a sample give '%v', want a refusal", err)
	}
}

// The code is one of everything: loops once, one channel, and of the updates
// only those that happen. 4 loads of 2 bytes, 2 multiplies of 4, a divide of
// 6 and 5 additions of 4 are 42; the call adds 8.
func TestDemandCode(t *testing.T) {
	const code = 42 + 8
	for _, tt := range []struct {
		name   string
		change func(u *Use)
		want   float64
	}{
		{"rounded up to words", func(u *Use) {}, 52},
		{"in two channels and eight stages", func(u *Use) { u.Channels, u.Settings[1].Span = 2, Span{8, 8} }, 52},
		{"with a sine at each move", func(u *Use) { u.Settings[0].Moved = ByControl }, 60},
		{"compiled for size", func(u *Use) { u.Style.SizeOptimised = true }, 28},
		{"in double", func(u *Use) { u.Style.Double = true }, 68},
	} {
		u := ran(howl(t))
		tt.change(u)
		want := CodeDemand{Key: u.Variant(), Bytes: Figure{tt.want, tt.want * 0.75, tt.want * 1.5}, Basis: Counted}
		if d := demand(t, u); !reflect.DeepEqual(d.Code, []CodeDemand{want}) {
			t.Errorf("the code of howl, %d bytes %s, is %+v, want %+v", code, tt.name, d.Code, want)
		}
	}
	b := howl(t)
	f, err := CompileFormula("10 * stages", b.scope, Plain)
	if err != nil {
		t.Fatal(err)
	}
	b.Instructions = f
	if d := demand(t, ran(b)); d.Code[0].Bytes.Value != 30*4+8 {
		t.Errorf("30 stated instructions of 4 bytes and a call make %g bytes, want 128", d.Code[0].Bytes.Value)
	}
	still := &Block{Name: "still", Outputs: audioThrough[1:]}
	sketch(t, still, nil, func(func(string, Dimension) *Formula) {})
	if d := demand(t, ran(still)); len(d.Code) != 0 {
		t.Errorf("a block that does nothing has the code %+v, want none", d.Code)
	}
	// A recurring term stands in the code once, too: 2 divides and the call.
	pulse := &Block{Name: "pulse", Outputs: audioThrough[1:]}
	sketch(t, pulse, nil, func(f func(string, Dimension) *Formula) {
		pulse.Operations.Recurring = []Recurring{{Name: "edge", Every: f("10", Plain), Counts: counts(f("2", Plain), OpDiv)}}
	})
	if d := demand(t, ran(pulse)); d.Code[0].Bytes.Value != 20 {
		t.Errorf("an edge of two divides has %g bytes of code, want 20", d.Code[0].Bytes.Value)
	}
}

// hall is made of two echoes of a shared time, one of them in several copies.
func hall(t *testing.T) *Block {
	b := &Block{
		Name: "hall", Inputs: audioThrough[:1], Outputs: audioThrough[1:],
		Params: []Param{knob("size", UnitTime, 0, 1, 0.1, ByControl), knob("voices", UnitCount, 0, 4, 2, Fixed)},
	}
	sketch(t, b, nil, func(f func(string, Dimension) *Formula) {
		b.State = f("20 * byte", InBytes)
		b.Operations.Sample = counts(f("1", Plain), OpAdd)
		b.Parts = []Part{
			{Name: "near", Block: "echo", Set: map[string]*Formula{"time": f("size / 2", InSeconds)}, Pick: map[string]string{"format": "narrow"}},
			{Name: "far", Block: "echo", Count: f("voices", Plain), Set: map[string]*Formula{"time": f("size", InSeconds)}},
		}
	})
	lib := shelve(t, b, echo(t))
	found, err := lib.Block("hall")
	if err != nil {
		t.Fatalf("the hall cannot be built: %v", err)
	}
	return found
}

func TestDemandOfParts(t *testing.T) {
	b := hall(t)
	u := ran(b)
	d := demand(t, u)
	var names []string
	var sizes []Bytes
	for _, buffer := range d.Buffers {
		names, sizes = append(names, buffer.Name), append(sizes, buffer.Bytes)
	}
	if !slices.Equal(names, []string{"near.line", "far-1.line", "far-2.line"}) || !slices.Equal(sizes, []Bytes{4800, 19200, 19200}) {
		t.Errorf("buffers are %v of %v bytes, want the near line of 2400 x 2 and two far ones of 4800 x 4", names, sizes)
	}
	if d.State != 20+3*8 || d.Stack != 16 {
		t.Errorf("state is %d and stack %d, want 20 and three echoes of 8, and the deepest of 16", d.State, d.Stack)
	}
	if d.Jacks["knob"] != 3 || d.Latency != 1.5 {
		t.Errorf("there are %d knobs and a latency of %g, want those of three echoes, 3 and 1.5", d.Jacks["knob"], d.Latency)
	}
	// The hall: a call of 10 and 48 additions. Each echo: a call of 10.
	if d.Mean.Value != 58+30 || d.Worst.Value != 60+36 {
		t.Errorf("three echoes take %g and at worst %g cycles, want 88 and 96", d.Mean.Value, d.Worst.Value)
	}
	if keys := d.Tables; len(keys) != 3 || keys[0].Key != "curve-1-narrow-0.05 s" || keys[2].Key != "curve-1-wide-0.1 s" {
		t.Errorf("tables are %+v, want a curve for each kind of echo and the scratch of the narrow one", keys)
	}
	u.Settings[1].Span = Span{0, 0}
	if d = demand(t, u); len(d.Buffers) != 1 || d.State != 28 {
		t.Errorf("without voices there are %d buffers and %d bytes of state, want 1 and 28", len(d.Buffers), d.State)
	}
	u.Settings[0] = Setting{Span: Span{0.2, 0.4}, Moved: ByControl}
	if d = demand(t, u); d.Buffers[0].Bytes != 19200 {
		t.Errorf("a size moved from 0.2 s to 0.4 s makes a near line of %d bytes, want 0.2 s x 48000 x 2", d.Buffers[0].Bytes)
	}
}

// Hops, routines and moves of a part are those of the whole.
func TestDemandOfMovedParts(t *testing.T) {
	inner := howl(t)
	inner.Name = "inner"
	f, err := CompileFormula("64", inner.scope, Plain)
	if err != nil {
		t.Fatal(err)
	}
	inner.Operations.Recurring = []Recurring{{Name: "hop", Every: f, Locked: true}}
	outer := &Block{Name: "outer", Inputs: audioThrough[:1], Outputs: audioThrough[1:], Params: []Param{knob("bright", UnitFrequency, 1, 20000, 500, ByControl)}}
	sketch(t, outer, nil, func(f func(string, Dimension) *Formula) {
		outer.Parts = []Part{{Name: "pair", Block: "inner", Count: f("2", Plain), Set: map[string]*Formula{"cutoff": f("bright", PerSecond)}}}
	})
	b, err := shelve(t, inner, outer).Block("outer")
	if err != nil {
		t.Fatal(err)
	}
	u := ran(b)
	still := demand(t, u)
	u.Settings[0].Moved = ByControl
	moved := demand(t, u)
	if want := []Hop{{Name: "pair.hop", Every: 64}}; !slices.Equal(moved.Hops, want) || !slices.Equal(moved.Routines, []string{"sinf"}) || len(still.Routines) != 0 {
		t.Errorf("two parts have the hops %+v and link %v, %v when still; want %+v, sinf and none", moved.Hops, moved.Routines, still.Routines, want)
	}
	if more := moved.Mean.Value - still.Mean.Value; more != 2*100 {
		t.Errorf("moving both parts takes %g cycles more, want a sine of 100 for each", more)
	}
}

func TestDemandOfOwnCode(t *testing.T) {
	u := ran(&Block{Name: "own-code"})
	u.Own = &OwnCode{Flash: 6144, State: 2048, Stack: 64, CallCycles: 400, SampleCycles: 120, EventCycles: 2000,
		Buffers: []BufferDemand{{Name: "table", Bytes: 32768, Element: 4}}}
	u.EventRates["gate"] = 1500
	d := demand(t, u)
	if d.State != 2048 || d.Stack != 64 || !slices.Equal(d.Buffers, u.Own.Buffers) || d.Basis != Stated {
		t.Errorf("own code keeps %d, stacks %d, holds %+v, %v; want what was stated", d.State, d.Stack, d.Buffers, d.Basis)
	}
	if want := []CodeDemand{{Key: "own code", Bytes: Exactly(6144), Basis: Stated}}; !reflect.DeepEqual(d.Code, want) {
		t.Errorf("its code is %+v, want %+v", d.Code, want)
	}
	// 400 + 48 x 120 = 6160, and 1.5 events or 2.
	if d.Mean != Exactly(9160) || d.Worst != Exactly(10160) {
		t.Errorf("own code takes %+v and at worst %+v cycles, want exactly 9160 and 10160", d.Mean, d.Worst)
	}
	u.Own.Flash = 0
	if d = demand(t, u); len(d.Code) != 0 {
		t.Errorf("own code without flash has the code %+v, want none", d.Code)
	}
}

func TestPrice(t *testing.T) {
	core := mill()
	mean, worst, routines := core.Price(Style{SizeOptimised: true}, Work{OpMul, 3}, Work{OpSin, 1}, Work{OpDiv, 0})
	if mean != (Figure{159, 79.5, 318}) || worst != (Figure{204, 102, 408}) || !slices.Equal(routines, []string{"sinf"}) {
		t.Errorf("three multiplies and a sine for size cost %v and %v and link %v, want 1.5 x 106, 1.5 x 136 and sinf", mean, worst, routines)
	}
	if got := core.CallCost(Style{}); got != (Figure{10, 5, 20}) {
		t.Errorf("a call costs %v, want 10 between 5 and 20", got)
	}
}

func TestFigures(t *testing.T) {
	sum := Band{Low: 0.5, High: 2}.Within(10).Plus(Exactly(3)).Times(2)
	if sum != (Figure{26, 16, 46}) {
		t.Errorf("twice 10 between 5 and 20, and 3, is %v, want 26 between 16 and 46", sum)
	}
}

func TestUseMetric(t *testing.T) {
	b := &Block{Name: "table", Outputs: audioThrough[1:], Params: []Param{knob("length", UnitCount, 1, 4096, 8, Fixed)}}
	sketch(t, b, nil, func(f func(string, Dimension) *Formula) {
		b.Metrics = []MetricValue{{Metric: "residue", Value: f("-6 * log2(length)", Plain)}}
	})
	if r, ok, err := ran(b).Metric("residue"); !ok || err != nil || r != (Reading{Value: -18}) {
		t.Errorf("the residue of 8 entries is %v (found %t, %v), want -18 and no need", r, ok, err)
	}
	if _, ok, err := ran(b).Metric("glow"); ok || err != nil {
		t.Errorf("a metric that the block does not give was found: %t (%v)", ok, err)
	}
}

// A formula that gives no usable figure is told with its block, its place, its
// text, the parameters that it reads and what went wrong, wherever it stands.
func TestDemandTellsBadFormulas(t *testing.T) {
	states := []struct{ formula, reason string }{
		{"(depth - 2) * word", "comes out negative (-4)"},
		{"word / (depth - 1)", "comes out infinite"},
		{"sqrt(depth - 2) * word", "has no value"},
		{"pow(10, 20 * depth) * word", "comes out beyond 2^53 (4e+20)"},
	}
	bad := func() (*Block, func(string, Dimension) *Formula) {
		b := &Block{Name: "pit", Inputs: []Port{{Name: "in"}, {Name: "gate", Kind: Event}}, Outputs: audioThrough[1:],
			Params: []Param{knob("depth", UnitRatio, 0, 10, 1, ByControl), knob("height", UnitRatio, 0, 10, 3, Fixed)}}
		var compile func(string, Dimension) *Formula
		sketch(t, b, nil, func(f func(string, Dimension) *Formula) { compile = f })
		return b, compile
	}
	refused := func(b *Block, what, formula, reason string) {
		t.Helper()
		_, err := ran(b).Demand(mill())
		var wrong *EvalError
		want := "pit: " + what + " '" + formula + "' " + reason + " with depth = 1"
		if !errors.As(err, &wrong) || err.Error() != want {
			t.Errorf("a bad formula for %s gives '%v', want '%s'", what, err, want)
		}
	}
	for _, s := range states {
		b, f := bad()
		b.State = f(s.formula, InBytes)
		refused(b, "state", s.formula, s.reason)
	}
	const under, reason = "depth - 2", "comes out negative (-1)"
	for _, tt := range []struct {
		what string
		put  func(b *Block, f *Formula)
	}{
		{"latency", func(b *Block, f *Formula) { b.Latency = f }},
		{"delays.shortest", func(b *Block, f *Formula) { b.Shortest = f }},
		{"loop_gain", func(b *Block, f *Formula) { b.LoopGain = f }},
		{"gain", func(b *Block, f *Formula) { b.Gain = f }},
		{"jack.knob", func(b *Block, f *Formula) { b.Jacks = []JackUse{{"knob", f}} }},
		{"instructions", func(b *Block, f *Formula) { b.Instructions = f }},
		{"lines.when", func(b *Block, f *Formula) { b.Buffers = []Buffer{{Name: "lines", When: f}} }},
		{"curve.when", func(b *Block, f *Formula) { b.Tables = []Table{{Name: "curve", When: f}} }},
		{"operations.call.add", func(b *Block, f *Formula) { b.Operations.Call = counts(f, OpAdd) }},
		{"operations.sample.mul", func(b *Block, f *Formula) { b.Operations.Sample = counts(f, OpMul) }},
		{"operations.costliest.div", func(b *Block, f *Formula) { b.Operations.Costliest = counts(f, OpDiv) }},
		{"operations.events.gate.sin", func(b *Block, f *Formula) { b.Operations.Events = map[string][]Count{"gate": counts(f, OpSin)} }},
		{"operations.recurring.hop.every", func(b *Block, f *Formula) { b.Operations.Recurring = []Recurring{{Name: "hop", Every: f}} }},
	} {
		b, f := bad()
		tt.put(b, f(under, Plain))
		refused(b, tt.what, under, reason)
	}
	b, f := bad()
	b.Outputs = []Port{{Name: "tick", Kind: Event, Rate: f("(depth - 2) * hertz", PerSecond)}}
	if _, err := ran(b).EventRate(&b.Outputs[0]); err == nil || !strings.Contains(err.Error(), "pit: tick.rate '(depth - 2) * hertz' comes out negative (-1) with depth = 1") {
		t.Errorf("a negative rate gives '%v', want the formula and its place", err)
	}
	b, f = bad()
	b.State = f("word / sample_rate * hertz / 0", InBytes)
	if _, err := ran(b).Demand(mill()); err == nil || strings.Contains(err.Error(), "with") {
		t.Errorf("a bad formula that reads no parameter gives '%v', want an error without one", err)
	}
}

// A bad formula in a part tells of which part of which block.
func TestDemandTellsBadParts(t *testing.T) {
	b := hall(t)
	u := ran(b)
	inner := b.Parts[0].block
	f, err := CompileFormula("(time - second) * word / second", inner.scope, InBytes)
	if err != nil {
		t.Fatal(err)
	}
	inner.State = f
	_, err = u.Demand(mill())
	var wrong *EvalError
	if !errors.As(err, &wrong) || !strings.Contains(err.Error(), "hall: part 'near': echo: state") {
		t.Errorf("a bad part gives '%v', want the hall, its part and the echo's state", err)
	}
	if wrong != nil && wrong.With != "time = 0.05 s" {
		t.Errorf("the part was worked out with '%s', want half of the hall's size, 0.05 s", wrong.With)
	}
}

// Whatever the rate of events, the worst block is never below the mean.
func TestWorstIsNeverBelowTheMean(t *testing.T) {
	for _, rate := range []Hertz{0, 1, 333, 999.5, 1000, 4000, 48000} {
		u := ran(howl(t))
		u.EventRates["gate"] = rate
		u.Settings[0].Moved = ByControl
		d := demand(t, u)
		if d.Worst.Value < d.Mean.Value || math.IsNaN(d.Worst.Value) {
			t.Errorf("with a gate of %v the worst block takes %g cycles, below the mean of %g", rate, d.Worst.Value, d.Mean.Value)
		}
	}
}
