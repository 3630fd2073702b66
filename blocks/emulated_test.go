package blocks

import (
	"maps"
	"slices"
	"strings"
	"testing"
)

// A record as gauge writes it, with figures that are easy to follow.
func oilLampRecord() *Emulation {
	style := func(scale float64, s EmulatedStyle) EmulatedStyle {
		s.Functions = map[string]Bytes{"block": 102, "event_flicker": 14, "start": 40}
		s.Updates = map[string]Bytes{"update_wick": 30, "helper": 8}
		s.Constants = 6
		s.Symbols = map[string]Bytes{"sf_sin": 116, "errno": 10, "impure": 1072}
		s.Data = map[string]Bytes{"impure": 1072}
		s.Stack = 56
		s.Terms = []CycleTerm{
			{"call", "1", 20 * scale, 30 * scale},
			{"sample", "flames", 2 * scale, 3 * scale},
			{"updates.wick", "1", 40 * scale, 50 * scale},
			{"events.flicker", "flames", 10 * scale, 12 * scale},
			{"recurring.turn", "1", 6 * scale, 5 * scale},
		}
		return s
	}
	plain := []EmulatedStyle{
		style(1, EmulatedStyle{Optimise: "O2", Maths: "library", Precision: "single"}),
		style(0.5, EmulatedStyle{Optimise: "O2", Maths: "approximate", Precision: "single"}),
		style(10, EmulatedStyle{Optimise: "O2", Maths: "library", Precision: "double"}),
		style(2, EmulatedStyle{Optimise: "Os", Maths: "library", Precision: "single"}),
	}
	moved := style(1, EmulatedStyle{Optimise: "O2", Maths: "library", Precision: "single"})
	moved.Terms = []CycleTerm{{"sample", "1", 7, 7}}
	return &Emulation{Block: "oil-lamp", Core: "mill", Tools: map[string]string{"gcc": "12.2", "qemu": "7.2"}, Variants: []EmulatedVariant{
		{Choices: map[string]string{"glass": "clear"}, State: 12, Styles: plain},
		{Choices: map[string]string{"glass": "clear"}, Moved: "wick", State: 12, Styles: []EmulatedStyle{moved}},
	}}
}

// oilLamp is a block with an update, an event and recurring work.
func oilLamp(t *testing.T) *Block {
	t.Helper()
	b := &Block{
		Name:    "oil-lamp",
		Inputs:  []Port{{Name: "in", Kind: Audio}, {Name: "flicker", Kind: Event}},
		Outputs: []Port{{Name: "out", Kind: Audio}},
		Params: []Param{
			{Name: "glass", Choices: []Choice{{Name: "clear"}, {Name: "red"}}},
			{Name: "flames", Unit: UnitCount, Range: Span{1, 8}, Default: Span{2, 2}},
			{Name: "wick", Unit: UnitRatio, Range: Span{0, 1}, Moved: ByAudio},
			{Name: "oil", Unit: UnitRatio, Range: Span{0, 1}, Moved: ByAudio},
		},
	}
	scope, err := b.DefineScope(nil)
	if err != nil {
		t.Fatal(err)
	}
	formula := func(text string) *Formula {
		f, err := CompileFormula(text, scope, Plain)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	b.Operations = Operations{
		Sample:    []Count{{OpAdd, formula("flames")}},
		Updates:   []Update{{Name: "wick", When: []string{"wick"}}},
		Recurring: []Recurring{{Name: "turn", Every: formula("16")}},
	}
	return b
}

// What an emulated kernel takes, worked by hand from the record above: 48
// samples a block, 3 flames, 1.5 control periods a block in the mean and 2 at
// most, and flickers at 500 Hz, which is half of one a block at 48 kHz.
func TestEmulatedDemand(t *testing.T) {
	// recurring.turn: 48 / 16 = 3 times, in the mean 3 x 6, at worst 3 x 5.
	const still = 20 + 48*3*2 + 0.5*3*10 + 3*6    // 341
	const stillWorst = 30 + 48*3*3 + 1*3*12 + 3*5 // 513
	const kernel = 6 + 2 + 102 + 2 + 14 + 2 + 40  // each filled up to words: 168
	const library = 116 + 10 + 2 + 1072           // 1200
	tests := []struct {
		name        string
		change      func(u *Use)
		basis       Basis
		mean, worst float64
		code        map[string]float64
	}{
		{name: "as it stands", basis: Emulated, mean: still, worst: stillWorst, code: map[string]float64{"oil-lamp (clear)": kernel}},
		{name: "with the wick moved by control", basis: Emulated,
			change: func(u *Use) { u.Settings[2].Moved = ByControl },
			mean:   still + 1.5*40, worst: stillWorst + 2*50,
			code: map[string]float64{"oil-lamp (clear)": kernel, "oil-lamp (clear), update_wick": 32, "oil-lamp (clear), helper": 8}},
		{name: "with the wick moved by audio, which has a kernel of its own", basis: Emulated,
			change: func(u *Use) { u.Settings[2].Moved = ByAudio },
			mean:   48 * 7, worst: 48 * 7, code: map[string]float64{"oil-lamp (clear), wick by audio": kernel}},
		{name: "with the oil moved by audio, which no kernel reads", basis: Emulated,
			change: func(u *Use) { u.Settings[3].Moved = ByAudio },
			mean:   still, worst: stillWorst, code: map[string]float64{"oil-lamp (clear), oil by audio": kernel}},
		{name: "for size", basis: Emulated, change: func(u *Use) { u.Style.SizeOptimised = true },
			mean: 2 * still, worst: 2 * stillWorst, code: map[string]float64{"oil-lamp (clear), for size": kernel}},
		{name: "in short forms", basis: Emulated, change: func(u *Use) { u.Style.Maths = ApproximateMaths },
			// 0.5 x 341; at worst half of 513.
			mean: still / 2, worst: stillWorst / 2., code: map[string]float64{"oil-lamp (clear), short forms": kernel}},
		{name: "in double precision", basis: Emulated, change: func(u *Use) { u.Style.Double = true },
			mean: 10 * still, worst: 10 * stillWorst, code: map[string]float64{"oil-lamp (clear, double)": kernel}},
		{name: "in short forms and double precision, which was not timed", basis: Counted, change: func(u *Use) { u.Style.Maths, u.Style.Double = ApproximateMaths, true }},
		{name: "with another glass, which was not timed", basis: Counted, change: func(u *Use) { u.Settings[0].Choice = 1 }},
		{name: "called a sample at a time, which was not timed", basis: Counted, change: func(u *Use) { u.Style.PerSample = true }},
		{name: "from a file of the user's own", basis: Counted, change: func(u *Use) { u.Block.FromUser = true }},
	}
	for _, tt := range tests {
		b := oilLamp(t)
		u := b.DefaultUse(48000, 48)
		u.Settings[1].Span = Span{3, 3}
		u.MeanTicks, u.MostTicks = 1.5, 2
		u.EventRates = map[string]Hertz{"flicker": 500}
		if tt.change != nil {
			tt.change(u)
		}
		core := mill()
		record := oilLampRecord()
		core.Emulated = record.Kernel
		core.EmulatedBand, core.EmulatedCodeBand = Band{Low: 0.5, High: 2}, Band{Low: 0.75, High: 1.5}
		d, err := u.Demand(core)
		if err != nil {
			t.Fatalf("The lamp %s: %v", tt.name, err)
		}
		if d.Basis != tt.basis {
			t.Errorf("The lamp %s is %v; it should be %v.", tt.name, d.Basis, tt.basis)
		}
		if tt.basis == Counted {
			if len(d.Library) > 0 || strings.Contains(d.Source, "emulated") {
				t.Errorf("The lamp %s is counted and yet links %v, from %s.", tt.name, d.Library, d.Source)
			}
			continue
		}
		if want := core.EmulatedBand.Within(tt.mean); d.Mean != want {
			t.Errorf("The lamp %s takes %v cycles in the mean; by hand %v.", tt.name, d.Mean, want)
		}
		if want := core.EmulatedBand.Within(tt.worst); d.Worst != want {
			t.Errorf("The lamp %s takes %v cycles at worst; by hand %v.", tt.name, d.Worst, want)
		}
		code := map[string]float64{}
		for _, c := range d.Code {
			code[c.Key] = c.Bytes.Value
		}
		if !maps.Equal(code, tt.code) {
			t.Errorf("The lamp %s has the code %v; by hand %v.", tt.name, code, tt.code)
		}
		var flash, data Bytes
		for _, l := range d.Library {
			flash, data = flash+l.Flash, data+l.Data
		}
		if flash != library || data != 1072 || d.Stack != 56 {
			t.Errorf("The lamp %s links %d bytes of library with %d in RAM and has %d of stack; by hand %d, 1072 and 56.", tt.name, flash, data, d.Stack, library)
		}
		if want := "catalog/emulated/mill/oil-lamp.json, made with gcc 12.2, qemu 7.2"; d.Source != want {
			t.Errorf("The figures of the lamp come from '%s'; they come from '%s'.", d.Source, want)
		}
	}
}

// Recurring work at a known phase falls due in blocks that the schedule finds.
func TestEmulatedHops(t *testing.T) {
	b := oilLamp(t)
	b.Operations.Recurring[0].Locked = true
	core := mill()
	core.Emulated = oilLampRecord().Kernel
	core.EmulatedBand = Band{Low: 1, High: 1}
	d, err := b.DefaultUse(48000, 48).Demand(core)
	if err != nil {
		t.Fatal(err)
	}
	if want := []Hop{{Name: "turn", Every: 16, Cycles: Exactly(6)}}; !slices.Equal(d.Hops, want) {
		t.Errorf("The lamp turns as %+v; by hand as %+v.", d.Hops, want)
	}
	// 30 + 48 x 2 flames x 3 without the turn.
	if d.Worst.Value != 318 {
		t.Errorf("Without its turns the lamp takes %g cycles at worst; by hand 318.", d.Worst.Value)
	}
}

// A term that the block's variables do not make up is told by name.
func TestEmulatedTermOfUnknownVariables(t *testing.T) {
	record := oilLampRecord()
	record.Variants[0].Styles[0].Terms[1].Times = "candles"
	core := mill()
	core.Emulated = record.Kernel
	_, err := oilLamp(t).DefaultUse(48000, 48).Demand(core)
	if err == nil || !strings.Contains(err.Error(), "oil-lamp: the term 'candles' of sample on mill: ") {
		t.Errorf("A term of unknown variables gives '%v'.", err)
	}
}
