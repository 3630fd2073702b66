package blocks

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"pgregory.net/rapid"
)

// echoScope is the scope of a stereo echo in a shadow theatre: values for each
// of its variables stand beside them.
func echoScope() (*Scope, []float64) {
	scope := NewScope()
	var values []float64
	for _, v := range []struct {
		name      string
		dimension Dimension
		value     float64
	}{
		{"time", InSeconds, 0.3501},
		{"sample_rate", PerSecond, 48000},
		{"points", Plain, 2},
		{"sample", InBytes, 2},
		{"channels", Plain, 2},
		{"stages", Plain, 8},
		{"feedback", Plain, 0.5},
		{"lines", Plain, 4},
		{"count", Plain, 3}, // a function of the parser's, here a plain name
	} {
		scope.Define(v.name, v.dimension)
		values = append(values, v.value)
	}
	return scope, values
}

// The expected values are worked by hand from the values in echoScope.
func TestFormulaValue(t *testing.T) {
	bytesPerSecond := Dimension{Bytes: 1, Seconds: -1}
	for _, tt := range []struct {
		text string
		want Dimension
		v    float64
	}{
		{"4", Plain, 4},
		{"0.5", Plain, 0.5},
		{"0", InBytes, 0},
		{" 12 ", Plain, 12},
		{"1e3", Plain, 1000},
		{"word", InBytes, 4},
		{"short", InBytes, 2},
		{"byte", InBytes, 1},
		{"second", InSeconds, 1},
		{"hertz", PerSecond, 1},
		{"64 * byte", InBytes, 64},
		{"3 * word + 2 * word * channels", InBytes, 28},
		{"stages*8", Plain, 64},
		// 0.3501 s at 48 kHz are 16804.8 samples: 16805, and one for the second point.
		{"(ceil(time * sample_rate) + points - 1) * sample * channels", InBytes, 67224},
		{"sample_rate / 2", PerSecond, 24000},
		{"1 / sample_rate", InSeconds, 1.0 / 48000},
		{"points * channels", Plain, 4},
		{"1 - 2 - 3 + 10", Plain, 6},
		{"2 + 3 * 4", Plain, 14},
		{"(2 + 3) * 4", Plain, 20},
		{"8 / 2 / 2", Plain, 2},
		{"-points + 3", Plain, 1},
		{"--points", Plain, 2},
		{"count * 2", Plain, 6},
		{"lines == 4", Plain, 1},
		{"lines != 4", Plain, 0},
		{"lines < 4", Plain, 0},
		{"lines <= 4", Plain, 1},
		{"lines > 3", Plain, 1},
		{"lines >= 5", Plain, 0},
		{"lines == 8 or channels == 2", Plain, 1},
		{"lines == 8 || channels == 2", Plain, 1},
		{"lines == 4 and channels == 1", Plain, 0},
		{"lines == 4 && not (channels == 1)", Plain, 1},
		{"!(lines == 4)", Plain, 0},
		{"time > 0", Plain, 1},
		{"0 == word", Plain, 0},
		{"if lines == 4 { 4 * word } else { 0 }", InBytes, 16},
		{"if lines == 8 { 1 } else if lines == 4 { 2 } else { 3 }", Plain, 2},
		{"if lines == 8 { 1 } else if lines == 5 { 2 } else { 3 }", Plain, 3},
		{"2 * (if feedback > 0.4 { word } else { short })", InBytes, 8},
		{"if 1 < 2 { 0 } else { 0 }", PerSecond, 0},
		{"ceil(1.2)", Plain, 2},
		{"floor(1.8)", Plain, 1},
		{"round(2.5)", Plain, 3},
		{"abs(1 - 3)", Plain, 2},
		{"abs(word - 3 * word)", InBytes, 8},
		{"ceil(time)", InSeconds, 1},
		{"max(1)", Plain, 1},
		{"max(1, lines, 3)", Plain, 4},
		{"min(1, lines, 3)", Plain, 1},
		{"max(0, word)", InBytes, 4},
		{"max(word, 0, short)", InBytes, 4},
		{"max(0, 0)", InBytes, 0},
		{"sqrt(16)", Plain, 4},
		{"sqrt(word * word)", InBytes, 4},
		{"pow(2, 10)", Plain, 1024},
		{"pow(feedback, lines)", Plain, 0.0625},
		{"pow(word, 2) / word", InBytes, 4},
		{"pow(time, -1) * second * hertz", PerSecond, 1 / 0.3501},
		{"log2(8)", Plain, 3},
		{"log10(1000)", Plain, 3},
		{"exp(0)", Plain, 1},
		{"pow2ceil(0)", Plain, 1},
		{"pow2ceil(0.3)", Plain, 1},
		{"pow2ceil(1024)", Plain, 1024},
		{"pow2ceil(1025)", Plain, 2048},
		{"word * sample_rate", bytesPerSecond, 192000},
		{"word * sample_rate * second", InBytes, 192000},
		{"0 * word", InBytes, 0},
		{"-0", InBytes, 0},
		{"9007199254740992", Plain, 1 << 53},
	} {
		scope, values := echoScope()
		f, err := CompileFormula(tt.text, scope, tt.want)
		if err != nil {
			t.Errorf("%q should compile to %v, but: %v", tt.text, tt.want, err)
			continue
		}
		got, err := f.Eval(values)
		if err != nil || math.Abs(got-tt.v) > 1e-12*tt.v || math.Signbit(got) {
			t.Errorf("%q should be %v, but is %v (error %v)", tt.text, tt.v, got, err)
		}
		if f.Text() != tt.text {
			t.Errorf("%q should keep its text, but has %q", tt.text, f.Text())
		}
	}
}

func TestFormulaError(t *testing.T) {
	deep := strings.Repeat("(", 51) + "1" + strings.Repeat(")", 51)
	for _, tt := range []struct {
		text    string
		want    Dimension
		offset  int
		message string // a part of it
	}{
		// Dimensions.
		{"stages*8 + word", InBytes, 9, "adds bytes to a plain number in 'stages*8 + word': multiply the plain one by word, short or byte"},
		{"word - time", InBytes, 5, "subtracts seconds from bytes"},
		{"stages * 8", InBytes, -1, "the value is a plain number, not bytes in 'stages * 8': multiply the plain one by word"},
		{"4", InBytes, -1, "the value is a plain number, not bytes"},
		{"word", Plain, -1, "the value is bytes, not a plain number"},
		{"max(0, word)", Plain, -1, "the value is bytes, not a plain number"},
		{"if lines == 4 { 0 } else { word }", PerSecond, -1, "the value is bytes, not hertz"},
		{"word * sample_rate", InBytes, -1, "the value is bytes per second, not bytes"},
		{"lines == 4", InBytes, 6, "the value is a comparison, not bytes"},
		{"time < 3", Plain, 5, "compares seconds with a plain number in 'time < 3': multiply the plain one by second"},
		{"sample_rate == 48000", Plain, 12, "multiply the plain one by hertz"},
		{"max(word, 2)", InBytes, 0, "max is given bytes and a plain number"},
		{"min(1, 2, time)", Plain, 0, "min is given a plain number and seconds"},
		{"if lines == 4 { word } else { 1 }", InBytes, 30, "gives bytes or else a plain number"},
		{"sqrt(word)", Plain, 0, "takes the square root of bytes"},
		{"log2(word)", Plain, 0, "log2 takes a plain number and is given bytes"},
		{"pow2ceil(word)", InBytes, 0, "pow2ceil takes a plain number"},
		{"pow(2, word)", Plain, 0, "the exponent of pow is bytes"},
		{"pow(word, lines)", Plain, 0, "raises bytes to a power that can change"},
		{"pow(word, 0.5)", Plain, 0, "raises bytes to the power 0.5"},
		{"pow(word, 1e9)", Plain, 0, "raises bytes to the power 1e+09"},
		{"pow(pow(word, 60), 60)", Plain, 0, "multiplies too many units"},
		{"pow(word, 100) * word", Plain, 15, "multiplies too many units"},
		// Names.
		{"stags * word", InBytes, 0, "unknown name 'stags'"},
		{"2 * ciel(3.5)", Plain, 4, "unknown function 'ciel'"},
		{"len(stages)", Plain, 0, "unknown function 'len'"},
		{"sum(stages, stages)", Plain, 0, "unknown function 'sum'"},
		// Kinds.
		{"(lines == 4) * 2", Plain, 7, "a comparison stands where a number is due"},
		{"", Plain, -1, "there is no formula"},
		{"  ", Plain, -1, "there is no formula"},
		{"if lines { 1 } else { 2 }", Plain, 3, "a number stands where a comparison is due"},
		{"not lines == 4", Plain, 0, "a comparison stands where a number is due"},
		{"lines and 1 == 1", Plain, 0, "a number stands where a comparison is due"},
		{"lines == 1 or channels", Plain, 14, "a number stands where a comparison is due"},
		{"not lines", Plain, 4, "a number stands where a comparison is due"},
		{"1 < lines < 8", Plain, 10, "two comparisons share an operand"},
		{"1 < lines < 8 < 9", Plain, 14, "two comparisons share an operand"},
		// Functions.
		{"max()", Plain, 0, "max is given nothing"},
		{"pow(2)", Plain, 0, "pow is not given two values"},
		{"ceil(1, 2)", Plain, 0, "ceil is not given exactly one value"},
		{"sqrt()", Plain, 0, "sqrt is not given exactly one value"},
		// What the parser knows and formulas do not.
		{"2 ** 3", Plain, 2, "'**' is not part of formulas in '2 ** 3': use pow(base, exponent)"},
		{"2 ^ 3", Plain, 2, "use pow(base, exponent)"},
		{"7 % 2", Plain, 2, "the remainder of a / b as a - b * floor(a / b)"},
		{"lines == 4 ? 1 : 2", Plain, 11, "use if condition { a } else { b }"},
		{"lines ?? 2", Plain, 6, "'?' is not part of formulas"},
		{"[1, 2][0]", Plain, 0, "formulas have no lists"},
		{"{a: 1}", Plain, 2, "':' is not part of formulas"},
		{"{}", Plain, 0, "this is not part of formulas"},
		{"'abc'", Plain, 0, "formulas have no text"},
		{`"abc"`, Plain, 0, "formulas have no text"},
		{"`abc`", Plain, 0, "formulas have no text"},
		{"1..3", Plain, 1, "formulas have no ranges"},
		{"lines.x", Plain, 6, "this is not part of formulas"},
		{"lines.x(1)", Plain, 6, "this is not part of formulas"},
		{"lines | max(1)", Plain, 6, "'|' is not part of formulas"},
		{"lines in 4", Plain, 6, "'in' is not part of formulas"},
		{"let a = 1; a", Plain, 9, "a formula is one expression"},
		{"1 // one", Plain, 2, "formulas have no comments"},
		{"1 /* one */", Plain, 2, "formulas have no comments"},
		{"1 # one", Plain, 2, "formulas have no comments"},
		{"true", Plain, 0, "this is not part of formulas"},
		{"nil", Plain, 0, "this is not part of formulas"},
		{"+lines", Plain, 0, "this is not part of formulas"},
		{"2 × 3", Plain, 2, "'×' is not part of formulas"},
		{"$env", Plain, 0, "'$' is not part of formulas"},
		{"1 + \xff", Plain, 4, "is not part of formulas"},
		// Syntax.
		{"2 +", Plain, 3, "the formula ends too early"},
		{"(2 + 3", Plain, 6, "the formula ends too early"},
		{"2 + 3)", Plain, 5, "')' is not expected here"},
		{"2 3", Plain, 2, "'3' is not expected here"},
		{"lines = 4", Plain, 6, "'=' is not expected here in 'lines = 4': write == to compare"},
		{"if lines == 4 { 1 }", Plain, 19, "the formula ends too early"},
		{"4k", Plain, 1, "bad number syntax"},
		// Size.
		{deep, Plain, 50, "more than 50 brackets are open"},
		{strings.Repeat("(", 500000), Plain, -1, "longer than 4096 bytes"},
		{strings.Repeat("1", 5000), Plain, -1, "longer than 4096 bytes"},
		{"1" + strings.Repeat("+1", 600), Plain, 501, "more than 500 terms"},
	} {
		scope, _ := echoScope()
		_, err := CompileFormula(tt.text, scope, tt.want)
		var got *FormulaError
		if !errors.As(err, &got) {
			t.Errorf("%.60q should be refused with a FormulaError, but gives %v", tt.text, err)
			continue
		}
		if !strings.Contains(got.Error(), tt.message) {
			t.Errorf("%.60q should be refused with %q, but says %q", tt.text, tt.message, got)
		}
		if got.Offset != tt.offset {
			t.Errorf("%.60q should be refused at byte %d, but is at %d (%v)", tt.text, tt.offset, got.Offset, got)
		}
	}
}

// Each level of this formula doubles the time of a walk that does not notice
// that both comparisons of a chain hold one operand; 24 levels fit in the
// limits. It must be refused at once, whatever surrounds it.
func TestFormulaNestedChain(t *testing.T) {
	chain := "1"
	for range 24 {
		chain = "(if 0 < " + chain + " < 2 { 1 } else { 2 })"
	}
	for _, text := range []string{chain, chain + " + word", "not (" + chain + " < 2) + 1"} {
		if _, err := CompileFormula(text, NewScope(), Plain); err == nil {
			t.Errorf("a nest of 24 chained comparisons should be refused: %.60s", text)
		}
	}
}

func TestFormulaUnknownNameGivesCandidates(t *testing.T) {
	scope := NewScope()
	scope.Define("stages", Plain)
	for _, tt := range []struct {
		text, name string
		candidates []string
	}{
		{"2 * stags", "stags", []string{"byte", "hertz", "second", "short", "stages", "word"}},
		{"flor(stages)", "flor", functionNames},
	} {
		_, err := CompileFormula(tt.text, scope, Plain)
		var got *FormulaError
		if !errors.As(err, &got) {
			t.Fatalf("%q should be refused with a FormulaError, but gives %v", tt.text, err)
		}
		if got.Name != tt.name || !slices.Equal(got.Candidates, tt.candidates) {
			t.Errorf("%q should name %q with candidates %v, but names %q with %v",
				tt.text, tt.name, tt.candidates, got.Name, got.Candidates)
		}
	}
}

func TestFormulaEvalError(t *testing.T) {
	scope := NewScope()
	x := scope.Define("x", Plain)
	values := make([]float64, scope.Len())
	for _, tt := range []struct {
		text    string
		x       float64
		message string
	}{
		{"1 / x", 0, "comes out infinite in '1 / x': it divides by zero"},
		{"x / x", 0, "has no value"},
		{"sqrt(x)", -1, "has no value"},
		{"log2(x)", 0, "comes out infinite"},
		{"pow2ceil(1 / x)", 0, "comes out infinite"},
		{"pow2ceil(x / x)", 0, "has no value"},
		{"x - 1", 0.5, "comes out negative (-0.5)"},
		{"x * 2", 1 << 53, "comes out beyond 2^53"},
		{"1 / 0", 0, "comes out infinite"},
		{"99999999999999999999", 0, "comes out beyond 2^53"},
	} {
		f, err := CompileFormula(tt.text, scope, Plain)
		if err != nil {
			t.Errorf("%q should compile, but: %v", tt.text, err)
			continue
		}
		values[x] = tt.x
		got, err := f.Eval(values)
		var e *FormulaError
		if !errors.As(err, &e) || !strings.Contains(e.Error(), tt.message) || e.Text != tt.text || e.Offset != -1 {
			t.Errorf("%q at x = %v should fail with %q, but gives %v and %v", tt.text, tt.x, tt.message, got, err)
		}
	}
}

func TestFormulaUses(t *testing.T) {
	scope, _ := echoScope()
	f, err := CompileFormula("(if lines == 4 { time } else { 0 }) * sample_rate * lines / count", scope, Plain)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"count", "lines", "sample_rate", "time"}; !slices.Equal(f.Uses(), want) {
		t.Errorf("the formula should use %v, but uses %v", want, f.Uses())
	}
	for _, v := range scope.variables {
		slot, _, _ := scope.Lookup(v.name)
		if f.Reads(slot) != slices.Contains(f.Uses(), v.name) {
			t.Errorf("Reads and Uses should agree on %s", v.name)
		}
	}
}

func TestScope(t *testing.T) {
	scope := NewScope()
	scope.Define("time", InSeconds)
	scope.Define("rate", PerSecond)
	if slot, d, ok := scope.Lookup("rate"); slot != 1 || d != PerSecond || !ok {
		t.Errorf("rate should lie in slot 1 in hertz, but Lookup gives %d, %v, %v", slot, d, ok)
	}
	for _, name := range []string{"word", "tempo"} {
		if _, _, ok := scope.Lookup(name); ok {
			t.Errorf("%s is no variable, but Lookup finds it", name)
		}
	}
	for name, want := range map[string]bool{"rate": true, "word": true, "tempo": false, "ceil": false} {
		if scope.Has(name) != want {
			t.Errorf("Has(%q) should be %v", name, want)
		}
	}
	if scope.Len() != 2 {
		t.Errorf("two variables make a length of 2, but Len is %d", scope.Len())
	}
	for name, message := range map[string]string{
		"":          "is not a name",
		"2nd":       "is not a name",
		"low-pass":  "is not a name",
		"größe":     "is not a name",
		"if":        "meaning of its own",
		"contains":  "meaning of its own",
		"ceil":      "meaning of its own",
		"word":      "is a unit",
		"time":      "defined twice",
		"decay_60":  "",
		"count":     "",
		"threshold": "",
	} {
		err := scope.CheckName(name)
		if message == "" && err != nil || message != "" && (err == nil || !strings.Contains(err.Error(), message)) {
			t.Errorf("CheckName(%q) should say %q, but gives %v", name, message, err)
		}
	}
}

func TestScopeDefinePanicsOnBadName(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("Define should panic on the name of a unit")
		}
	}()
	NewScope().Define("word", InBytes)
}

func TestDimensionString(t *testing.T) {
	for _, tt := range []struct {
		d    Dimension
		want string
	}{
		{Plain, "a plain number"},
		{InBytes, "bytes"},
		{InSeconds, "seconds"},
		{PerSecond, "hertz"},
		{Dimension{1, -1}, "bytes per second"},
		{Dimension{2, -2}, "bytes^2 per second^2"},
		{Dimension{1, 1}, "bytes times seconds"},
		{Dimension{0, -2}, "seconds^-2"},
		{Dimension{-1, 0}, "bytes^-1"},
	} {
		if got := tt.d.String(); got != tt.want {
			t.Errorf("%#v should be called %q, but is %q", tt.d, tt.want, got)
		}
	}
}

// treeVariables are the variables of generated formulas, in slot order.
var treeVariables = []variable{
	{"a", Plain}, {"b", Plain}, {"m", InBytes}, {"n", InBytes}, {"t", InSeconds}, {"r", PerSecond},
}

// drawNumber writes a random formula of the given dimension.
func drawNumber(t *rapid.T, d Dimension, depth int) string {
	leaves := []string{}
	for _, v := range treeVariables {
		if v.dimension == d {
			leaves = append(leaves, v.name)
		}
	}
	for name, unit := range formulaUnits {
		if unit.dimension == d {
			leaves = append(leaves, name)
		}
	}
	slices.Sort(leaves)
	if d == Plain {
		leaves = append(leaves, "0", "1", "7", "2.5", "0.125")
	}
	if depth == 0 {
		return rapid.SampledFrom(leaves).Draw(t, "leaf")
	}
	same := func() string { return drawNumber(t, d, depth-1) }
	plain := func() string { return drawNumber(t, Plain, depth-1) }
	other := func() Dimension {
		return rapid.SampledFrom([]Dimension{Plain, InBytes, InSeconds, PerSecond}).Draw(t, "dimension")
	}
	kinds := []string{"leaf", "sum", "sum", "product", "quotient", "choice", "keep", "extreme", "negate", "root"}
	if d == Plain {
		kinds = append(kinds, "ratio", "transcendental", "power")
	}
	switch kind := rapid.SampledFrom(kinds).Draw(t, "kind"); kind {
	case "sum":
		return fmt.Sprintf("(%s %s %s)", same(), rapid.SampledFrom([]string{"+", "-"}).Draw(t, "sign"), same())
	case "product":
		return fmt.Sprintf("%s * %s", plain(), same())
	case "quotient":
		return fmt.Sprintf("%s / (%s)", same(), plain())
	case "ratio":
		o := other()
		return fmt.Sprintf("(%s) / (%s)", drawNumber(t, o, depth-1), drawNumber(t, o, depth-1))
	case "choice":
		return fmt.Sprintf("(if %s { %s } else { %s })", drawCondition(t, depth-1), same(), same())
	case "keep":
		return fmt.Sprintf("%s(%s)", rapid.SampledFrom([]string{"ceil", "floor", "round", "abs"}).Draw(t, "function"), same())
	case "extreme":
		return fmt.Sprintf("%s(%s, %s, 0)", rapid.SampledFrom([]string{"min", "max"}).Draw(t, "function"), same(), same())
	case "negate":
		return "-" + rapid.SampledFrom(leaves).Draw(t, "leaf")
	case "root":
		return fmt.Sprintf("sqrt((%s) * (%s))", same(), same())
	case "transcendental":
		return fmt.Sprintf("%s(%s)", rapid.SampledFrom([]string{"log2", "log10", "exp", "pow2ceil"}).Draw(t, "function"), plain())
	case "power":
		return fmt.Sprintf("pow(%s, %s)", plain(), plain())
	}
	return rapid.SampledFrom(leaves).Draw(t, "leaf")
}

func drawCondition(t *rapid.T, depth int) string {
	if depth > 0 {
		switch rapid.SampledFrom([]string{"compare", "and", "or", "not"}).Draw(t, "logic") {
		case "and":
			return fmt.Sprintf("(%s and %s)", drawCondition(t, depth-1), drawCondition(t, depth-1))
		case "or":
			return fmt.Sprintf("(%s || %s)", drawCondition(t, depth-1), drawCondition(t, depth-1))
		case "not":
			return fmt.Sprintf("not (%s)", drawCondition(t, depth-1))
		}
	}
	d := rapid.SampledFrom([]Dimension{Plain, InBytes, InSeconds, PerSecond}).Draw(t, "dimension")
	operator := rapid.SampledFrom([]string{"==", "!=", "<", ">", "<=", ">="}).Draw(t, "operator")
	return fmt.Sprintf("%s %s %s", drawNumber(t, d, max(0, depth-1)), operator, drawNumber(t, d, max(0, depth-1)))
}

// floatLiterals makes the machine of expr count in float64 throughout, as
// formulas do; it would add and multiply whole literals as int.
type floatLiterals struct{}

func (floatLiterals) Visit(node *ast.Node) {
	if n, ok := (*node).(*ast.IntegerNode); ok {
		ast.Patch(node, &ast.FloatNode{Value: float64(n.Value)})
	}
}

// machineValue is the value of text by the compiler and the virtual machine of
// expr-lang/expr, which know nothing of our walk. Its own ceil, abs, min and
// so on give way to those of package math, which keep the sign of zero and NaN,
// and to our own ceil and floor, which TestWholeNumbers holds to their rule.
func machineValue(text string, env map[string]any) (float64, error) {
	options := []expr.Option{expr.Env(env), expr.Optimize(false), expr.Patch(floatLiterals{})}
	for name, f := range map[string]func(float64) float64{
		"ceil": Ceil, "floor": floor, "round": math.Round, "abs": math.Abs,
		"sqrt": math.Sqrt, "log2": math.Log2, "log10": math.Log10, "exp": math.Exp,
		"pow2ceil": func(x float64) float64 {
			if math.IsNaN(x) || math.IsInf(x, 1) {
				return x
			}
			p := 1.0
			for p < x {
				p *= 2
			}
			return p
		},
	} {
		options = append(options, expr.Function(name, func(p ...any) (any, error) {
			return f(p[0].(float64)), nil
		}, f))
	}
	for name, f := range map[string]func(x, y float64) float64{
		"min": math.Min, "max": math.Max, "pow": math.Pow,
	} {
		options = append(options, expr.Function(name, func(p ...any) (any, error) {
			v := p[0].(float64)
			for _, next := range p[1:] {
				v = f(v, next.(float64))
			}
			return v, nil
		}, new(func(...float64) float64)))
	}
	program, err := expr.Compile(text, options...)
	if err != nil {
		return 0, err
	}
	v, err := expr.Run(program, env)
	if err != nil {
		return 0, err
	}
	return v.(float64), nil
}

// Closures and the library's virtual machine find the same value for every
// formula, and every well-dimensioned formula compiles.
func TestFormulaAgreesWithMachine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scope := NewScope()
		values := make([]float64, len(treeVariables))
		env := map[string]any{}
		for name, unit := range formulaUnits {
			env[name] = unit.value
		}
		for _, v := range treeVariables {
			slot := scope.Define(v.name, v.dimension)
			values[slot] = rapid.OneOf(
				rapid.SampledFrom([]float64{0, 1, -1, 2, 48000}), rapid.Float64Range(-1e3, 1e6),
			).Draw(t, v.name)
			env[v.name] = values[slot]
		}
		d := rapid.SampledFrom([]Dimension{Plain, InBytes, InSeconds, PerSecond}).Draw(t, "wanted")
		text := drawNumber(t, d, 4)
		want, err := machineValue(text, env)
		if err != nil {
			t.Fatalf("the machine should run %q, but: %v", text, err)
		}
		f, err := CompileFormula(text, scope, d)
		var failed *FormulaError
		if errors.As(err, &failed) && failed.Reason == tooManyTerms {
			return
		}
		if err != nil {
			t.Fatalf("%q is in %v and should compile, but: %v", text, d, err)
		}
		got, err := f.Eval(values)
		if usable := want >= 0 && want <= 1<<53; usable != (err == nil) {
			t.Fatalf("%q is %v by the machine, but Eval gives %v and error %v", text, want, got, err)
		}
		if err == nil && got != want {
			t.Fatalf("%q is %v by the machine, but Eval gives %v", text, want, got)
		}
		for _, v := range treeVariables {
			if f.Reads(scope.slots[v.name]) {
				continue
			}
			changed := slices.Clone(values)
			changed[scope.slots[v.name]]++
			again, _ := f.Eval(changed)
			if again != got {
				t.Fatalf("%q does not use %s, but changes with it from %v to %v", text, v.name, got, again)
			}
		}
	})
}

// benchmarkText is the formula that the choice of library was measured with.
const benchmarkText = "ceil(time*sample_rate)*sample*channels + stages*8*byte"

func TestFormulaEvalDoesNotAllocate(t *testing.T) {
	scope, values := echoScope()
	f, err := CompileFormula(benchmarkText, scope, InBytes)
	if err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(100, func() { f.Eval(values) }); n != 0 {
		t.Errorf("Eval of %q should not allocate, but does so %v times", benchmarkText, n)
	}
}

func BenchmarkFormulaEval(b *testing.B) {
	scope, values := echoScope()
	f, err := CompileFormula(benchmarkText, scope, InBytes)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := f.Eval(values); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCompileFormula(b *testing.B) {
	scope, _ := echoScope()
	for _, bb := range []struct {
		name, text string
		want       Dimension
	}{
		{"expression", benchmarkText, InBytes},
		{"number", "4", Plain},
	} {
		b.Run(bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := CompileFormula(bb.text, scope, bb.want); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// ceil and floor forgive what binary fractions add, and nothing more.
func TestWholeNumbers(t *testing.T) {
	for _, rate := range []float64{32000, 44100, 48000, 96000} {
		for ms := range 10001 {
			exact := (ms*int(rate) + 999) / 1000
			if got := Ceil(float64(ms) / 1000 * rate); got != float64(exact) {
				t.Fatalf("%d ms at %g Hz is %g samples, want %d (whole-number arithmetic)", ms, rate, got, exact)
			}
		}
	}
	for _, tt := range []struct{ x, up, down float64 }{
		{2.5, 3, 2}, {2.000001, 3, 2}, {1.999999, 2, 1}, {-2.5, -2, -3}, {816.0000000000001, 816, 816}, {815.9999999999999, 816, 816},
	} {
		if up, down := Ceil(tt.x), floor(tt.x); up != tt.up || down != tt.down {
			t.Errorf("%v goes up to %g and down to %g, want %g and %g", tt.x, up, down, tt.up, tt.down)
		}
	}
}
