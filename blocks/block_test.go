package blocks

import (
	"slices"
	"strings"
	"testing"
)

// sketch completes a block of a few lines: fill gets a compiler of formulas in
// the block's scope. Facts are those of its choices.
func sketch(t *testing.T, b *Block, facts map[string]map[string][]Quantity, fill func(f func(text string, d Dimension) *Formula)) *Block {
	t.Helper()
	scope, err := b.DefineScope(facts)
	if err != nil {
		t.Fatalf("the block %s has no scope: %v", b.Name, err)
	}
	fill(func(text string, d Dimension) *Formula {
		t.Helper()
		formula, err := CompileFormula(text, scope, d)
		if err != nil {
			t.Fatalf("the block %s: %v", b.Name, err)
		}
		return formula
	})
	return b
}

// knob is a numeric parameter with a range and a default.
func knob(name string, unit Unit, low, high, def float64, moved Motion) Param {
	return Param{Name: name, Unit: unit, Range: Span{low, high}, Default: Span{def, def}, Moved: moved}
}

// lantern is a block with a port of each kind.
func lantern(t *testing.T) *Block {
	return sketch(t, &Block{
		Name:    "lantern",
		Inputs:  []Port{{Name: "in", Kind: Audio}, {Name: "clock", Kind: Event, Optional: true}},
		Outputs: []Port{{Name: "out", Kind: Audio}, {Name: "flicker", Kind: Event}},
		Params: []Param{
			knob("time", UnitTime, 0, 10, 0.5, ByControl),
			{Name: "glass", DefaultText: "red", Choices: []Choice{{Name: "clear"}, {Name: "red"}}},
		},
		Citations: []Citation{{"counted", "counted on the equation"}},
	}, map[string]map[string][]Quantity{"glass": {"panes": {{1, Plain}, {2, Plain}}}},
		func(func(string, Dimension) *Formula) {})
}

func TestBlockFindsItsPartsByName(t *testing.T) {
	b := lantern(t)
	if p, ok := b.Param("glass"); !ok || !p.Categorical() {
		t.Errorf("the parameter 'glass' was found: %t, and is a choice: %t; want both", ok, ok && p.Categorical())
	}
	if p, ok := b.Param("time"); !ok || p.Categorical() {
		t.Errorf("the parameter 'time' was found: %t, want it found and a number", ok)
	}
	if _, ok := b.Param("wick"); ok || b.ParamIndex("wick") != -1 || b.ParamIndex("glass") != 1 {
		t.Errorf("'wick' was found: %t at %d, 'glass' at %d; want none, -1 and 1", ok, b.ParamIndex("wick"), b.ParamIndex("glass"))
	}
	if names := b.ParamNames(); !slices.Equal(names, []string{"time", "glass"}) {
		t.Errorf("the parameters are %v, want time and glass", names)
	}
	for _, tt := range []struct {
		find  func(string) (*Port, bool)
		name  string
		found string
	}{
		{b.Input, "", "in"}, {b.Input, "clock", "clock"}, {b.Input, "flicker", ""},
		{b.Output, "", "out"}, {b.Output, "flicker", "flicker"}, {b.Output, "in", ""},
	} {
		p, ok := tt.find(tt.name)
		if ok != (tt.found != "") || ok && p.Name != tt.found {
			t.Errorf("the port '%s' was found: %t, want the port '%s'", tt.name, ok, tt.found)
		}
	}
	if b.Cite("counted") != "counted on the equation" || b.Cite("hearsay") != "" {
		t.Errorf("the citations are '%s' and '%s', want the text of the first and nothing", b.Cite("counted"), b.Cite("hearsay"))
	}
}

func TestBlockRunsAsOftenAsItsFastestPort(t *testing.T) {
	audio, control, event := Port{Name: "a"}, Port{Name: "c", Kind: Control}, Port{Name: "e", Kind: Event}
	call := Operations{Call: []Count{{Class: OpAdd}}}
	for _, tt := range []struct {
		name  string
		block Block
		want  Kind
	}{
		{"audio to event", Block{Inputs: []Port{audio}, Outputs: []Port{event}}, Audio},
		{"control to audio", Block{Inputs: []Port{control}, Outputs: []Port{audio}}, Audio},
		{"event to control", Block{Inputs: []Port{event}, Outputs: []Port{control}}, Control},
		{"event to event, with nothing to do between", Block{Inputs: []Port{event}, Outputs: []Port{event}}, Event},
		{"event to event, with work each control period", Block{Inputs: []Port{event}, Outputs: []Port{event}, Operations: call}, Control},
	} {
		if got := tt.block.Processes(); got != tt.want {
			t.Errorf("a block from %s runs at the rate of %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestBlockScopeRefuses(t *testing.T) {
	for _, tt := range []struct {
		name  string
		block Block
		facts map[string]map[string][]Quantity
		want  string
	}{
		{"a parameter twice", Block{Params: []Param{knob("time", UnitTime, 0, 1, 0, Fixed), knob("time", UnitTime, 0, 1, 0, Fixed)}}, nil, "'time'"},
		{"a parameter with the name of a variable", Block{Params: []Param{knob("channels", UnitCount, 0, 1, 0, Fixed)}}, nil, "channels"},
		{"a fact with the name of a unit", Block{Params: []Param{{Name: "glass", Choices: []Choice{{Name: "red"}}}}},
			map[string]map[string][]Quantity{"glass": {"word": {{1, Plain}}}}, "word"},
		{"an event input whose rate is a parameter's name", Block{
			Params: []Param{knob("clock_rate", UnitFrequency, 0, 1, 0, Fixed)}, Inputs: []Port{{Name: "clock", Kind: Event}},
		}, nil, "clock_rate"},
	} {
		if _, err := tt.block.DefineScope(tt.facts); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s gives the error '%v', want one that names %s", tt.name, err, tt.want)
		}
	}
}

// The words that files use are read back as what they stand for.
func TestWordsReadBack(t *testing.T) {
	for _, k := range []Kind{Audio, Control, Event} {
		if got, ok := ParseKind(k.String()); !ok || got != k {
			t.Errorf("the kind '%v' reads back as '%v' (%t)", k, got, ok)
		}
	}
	for _, p := range []Pattern{Stream, Tap, Random} {
		if got, ok := ParsePattern(p.String()); !ok || got != p {
			t.Errorf("the pattern '%v' reads back as '%v' (%t)", p, got, ok)
		}
	}
	for _, f := range []Float{FloatNone, FloatSingle, FloatDouble} {
		if got, ok := ParseFloat(f.String()); !ok || got != f {
			t.Errorf("the float unit '%v' reads back as '%v' (%t)", f, got, ok)
		}
	}
	for _, c := range Classes() {
		if got, ok := ParseClass(c.String()); !ok || got != c {
			t.Errorf("the class '%v' reads back as '%v' (%t)", c, got, ok)
		}
	}
	_, kind := ParseKind("smoke")
	_, pattern := ParsePattern("smoke")
	_, float := ParseFloat("smoke")
	_, class := ParseClass("smoke")
	if kind || pattern || float || class {
		t.Errorf("'smoke' is a kind %t, a pattern %t, a float unit %t, a class %t; want none", kind, pattern, float, class)
	}
	for basis, word := range map[Basis]string{Measured: "measured", Stated: "stated", Emulated: "emulated", Counted: "counted", Modelled: "modelled"} {
		if basis.String() != word {
			t.Errorf("the basis %d prints as '%v', want '%s'", basis, basis, word)
		}
	}
}

// Functions are the last classes, from the sine on; the 14 before it are instructions.
func TestFunctionsComeLast(t *testing.T) {
	for i, c := range Classes() {
		if c.IsFunction() != (i >= 14) {
			t.Errorf("the class %v at place %d is a function: %t", c, i, c.IsFunction())
		}
	}
}

func TestDefaults(t *testing.T) {
	b := lantern(t)
	want := []Setting{{Span: Span{0.5, 0.5}}, {Choice: 1}}
	if got := b.Defaults(48000); !slices.Equal(got, want) {
		t.Errorf("the defaults are %v, want half a second and the second choice", got)
	}
	none := Param{Choices: []Choice{{Name: "clear"}, {Name: "red"}}, DefaultText: "green"}
	if got := none.DefaultChoice(); got != 0 {
		t.Errorf("a default that is no choice takes choice %d, want the first", got)
	}
}

// Limits and defaults in samples follow the sample rate; those in seconds and
// those of other units do not.
func TestParamAtARate(t *testing.T) {
	samples := Param{Unit: UnitTime, RangeText: "1 samples..1 s", DefaultText: "480 samples"}
	for _, tt := range []struct {
		rate           Hertz
		lowest, preset float64
	}{{48000, 1.0 / 48000, 0.01}, {24000, 1.0 / 24000, 0.02}} {
		limits, def := samples.At(tt.rate)
		if !near(limits.Low, tt.lowest) || !near(limits.High, 1) || !near(def.High, tt.preset) {
			t.Errorf("at %v the range is %v and the default %v, want from %g to 1 s and %g s", tt.rate, limits, def, tt.lowest, tt.preset)
		}
	}
	count := Param{Unit: UnitCount, Range: Span{1, 8}, Default: Span{2, 2}, RangeText: "1..8", DefaultText: "2"}
	if limits, def := count.At(48000); limits != count.Range || def != count.Default {
		t.Errorf("a count goes from %v with %v, want its range and default as they are", limits, def)
	}
}

func TestParamRead(t *testing.T) {
	b := lantern(t)
	for _, tt := range []struct {
		param, text string
		want        Setting
		fails       string
	}{
		{"time", "250 ms", Setting{Span: Span{0.25, 0.25}}, ""},
		{"time", "4800 samples", Setting{Span: Span{0.1, 0.1}}, ""},
		{"time", "1 s..2 s", Setting{Span: Span{1, 2}}, ""},
		{"time", "soon", Setting{}, "soon"},
		{"glass", "red", Setting{Choice: 1}, ""},
		{"glass", "green", Setting{}, "'green' is no choice of glass"},
	} {
		p, _ := b.Param(tt.param)
		got, err := p.Read(tt.text, 48000)
		if tt.fails == "" && (err != nil || got != tt.want) {
			t.Errorf("%s: %s reads as %v (%v), want %v", tt.param, tt.text, got, err, tt.want)
		}
		if tt.fails != "" && (err == nil || !strings.Contains(err.Error(), tt.fails)) {
			t.Errorf("%s: %s gives the error '%v', want one that says %s", tt.param, tt.text, err, tt.fails)
		}
	}
}

func TestFormatSpan(t *testing.T) {
	for _, tt := range []struct {
		unit Unit
		span Span
		want string
	}{
		{UnitTime, Span{0.5, 0.5}, "0.5 s"},
		{UnitFrequency, Span{200, 4000}, "200 Hz..4000 Hz"},
	} {
		got := tt.unit.FormatSpan(tt.span)
		if got != tt.want {
			t.Errorf("%v prints as '%s', want '%s'", tt.span, got, tt.want)
		}
		if back, err := Parse(got, tt.unit, at48k); err != nil || back != tt.span {
			t.Errorf("'%s' reads back as %v (%v), want %v", got, back, err, tt.span)
		}
	}
}

func TestBoardFindsItsPartsByName(t *testing.T) {
	b := Board{
		Banks: []Bank{
			{Name: "tight", Kind: TightlyCoupled, Nominal: 1024},
			{Name: "wide", Kind: SDRAM, Nominal: 4096, Taken: []Taken{{What: "screen", Bytes: 1000}, {What: "loader", Bytes: 96}}},
			{Name: "far", Kind: QSPI}, {Name: "near", Kind: Flash},
		},
		Jacks:     []Jack{{Name: "knob", Count: 8, Confirmed: true}},
		Citations: []Citation{{"sheet", "the datasheet"}},
	}
	if b.BankIndex("wide") != 1 || b.BankIndex("deep") != -1 {
		t.Errorf("the banks 'wide' and 'deep' are at %d and %d, want 1 and -1", b.BankIndex("wide"), b.BankIndex("deep"))
	}
	if names := b.BankNames(); !slices.Equal(names, []string{"tight", "wide", "far", "near"}) {
		t.Errorf("the banks are %v, want tight, wide, far, near", names)
	}
	if got := b.Banks[1].Usable(); got != 3000 {
		t.Errorf("of 4096 bytes less 1000 and 96 there are %d usable, want 3000", got)
	}
	if got := b.CodeBank(); got != 2 {
		t.Errorf("code lies in bank %d, want 2, the first that holds what does not change", got)
	}
	if got := (&Board{Banks: b.Banks[:2]}).CodeBank(); got != -1 {
		t.Errorf("a board of RAM alone has its code in bank %d, want -1", got)
	}
	if got := b.Jack("knob"); got != b.Jacks[0] {
		t.Errorf("the knobs are %+v, want the eight of the board", got)
	}
	if got := b.Jack("led"); got != (Jack{Name: "led"}) {
		t.Errorf("the lamps are %+v, want none, unconfirmed", got)
	}
	if b.Cite("sheet") != "the datasheet" || (&Core{Citations: b.Citations}).Cite("sheet") != "the datasheet" {
		t.Errorf("the source 'sheet' says '%s', want the datasheet, of a board and of a core", b.Cite("sheet"))
	}
	constant := 0
	for _, k := range BankKinds() {
		if k.Constant() {
			constant++
		}
	}
	if constant != 2 || len(BankKinds()) != 6 {
		t.Errorf("%d of %d kinds of banks hold what does not change, want 2 of 6", constant, len(BankKinds()))
	}
	if n := len(JackNames()); n != 11 {
		t.Errorf("there are %d kinds of jacks and controls, want the 11 of the board file", n)
	}
}
