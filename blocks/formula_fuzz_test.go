package blocks

import (
	"errors"
	"testing"
)

// FuzzCompile feeds arbitrary text to the compiler. It must neither panic nor
// hang, every error must be a FormulaError that points into the text, and what
// compiles must read only variables of its scope.
func FuzzCompile(f *testing.F) {
	for _, text := range []string{
		"4",
		"0.5",
		"(ceil(time * sample_rate) + points - 1) * sample * channels",
		"if lines == 8 { 1 } else if lines == 4 { 2 } else { 3 }",
		"max(1, min(lines, 3), pow2ceil(stages)) / sqrt(pow(2, 4))",
		"not (lines == 4) or channels >= 2 and !(1 < 2)",
		"0 < (if 0 < 1 < 2 { 1 } else { 2 }) < 3",
		"stages*8 + word",
		"a.b?.c[1:2]",
		"map(1..3, {# * 2}) | filter(.x in [1]) ?? let y = 'z'; y",
		"1 /* */ // #",
		"((((((((((",
		"all(",
		"-,}{ if else",
		"0x1e5_ 1e400 .5. 9999999999999999999",
		"\xff\u00d7",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		scope, values := echoScope()
		for _, want := range []Dimension{Plain, InBytes} {
			formula, err := CompileFormula(text, scope, want)
			if err != nil {
				var e *FormulaError
				if !errors.As(err, &e) {
					t.Fatalf("the error of %q should be a FormulaError, but is %T", text, err)
				}
				if e.Offset < -1 || e.Offset > len(text) || e.Error() == "" {
					t.Fatalf("the error of %q should point into it, but gives %d: %v", text, e.Offset, e)
				}
				continue
			}
			if v, err := formula.Eval(values); err == nil && !(v >= 0 && v <= 1<<53) {
				t.Fatalf("%q should fail rather than give %v", text, v)
			}
			for _, name := range formula.Uses() {
				if slot, _, ok := scope.Lookup(name); !ok || !formula.Reads(slot) {
					t.Fatalf("%q should use only variables of its scope, but uses %s", text, name)
				}
			}
		}
	})
}
