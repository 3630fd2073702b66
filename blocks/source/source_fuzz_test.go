package source

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzParse reads any text to the last value, the way a caller would who
// expects other keys, and holds every mistake to a place inside the file and
// to lines that fit a screen.
func FuzzParse(f *testing.F) {
	for _, text := range []string{
		theatre, strings.ReplaceAll(theatre, "\n", "\r\n"), "\ufeff" + theatre, nested(22),
		"", "~", "# rain\n", "---\n...\n", "a: 1\n---\nb: 2\n", "a: &a [*a]\n", "rain: *wet", "rain: !!int wet",
		"<<: {a: 1}", "? 0", "? [a]\n: 1\n", ": 1", "\"\": 1", "a: 1\na: 2\n", "{a, b: , 'c': \"\\e\"}", "\"a\\nb\": |\n text\n",
		"a: 1\rb: [\r", "a: 1\u0085b: 2\u2028c: 3\u2029a: 4", "\tdrum: 1", "a: [", "a: 'x", "%FOO\n---\na", "%YAML 9.0\n---\na",
		"a: b\n  c\n", "höhle: [ä: : }", "a: \x01", "a\x00", "\xff", "- - - x\n- {y: z}\n", "a: " + strings.Repeat("k", 400) + ": x",
		"a: *" + strings.Repeat("k", 400),
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		file, errs := NewFile("storm.yaml", []byte(text)), &Errors{}
		readAll(Parse(file, errs))
		for _, e := range errs.List() {
			checkPlace(t, file, e)
			for line := range strings.Lines(e.Error()) {
				if n := utf8.RuneCountInString(line); n > 300 {
					t.Errorf("a line of the mistake in %q has %d characters, want at most 300:\n%s", text, n, line)
				}
			}
		}
	})
}

// readAll reads a value and all that it holds, and complains at each end of it.
func readAll(v Value) {
	switch {
	case v.IsMapping():
		o := v.Object("the scene")
		o.Need("drum")
		for _, m := range v.Object("the same").Rest() {
			readAll(m.Value)
		}
		o.Done("part", "thunder", "curtains")
	case v.IsList():
		for _, item := range v.OneOrMore() {
			readAll(item)
		}
		v.Text("a word")
	default:
		v.FailAt(len(v.Text("a word"))+1, "", "no such thing")
	}
}

// checkPlace holds a mistake to a line of the file and a column of that line;
// the column just past its end is where something is missing.
func checkPlace(t *testing.T, file *File, e *Error) {
	t.Helper()
	if e.Pos == (Pos{}) {
		return
	}
	line, ok := file.line(e.Pos.Line)
	if !ok {
		t.Errorf("the mistake %q in %q is in line %d, which is not there", e.Message, file.Text(), e.Pos.Line)
	} else if end := utf8.RuneCountInString(line) + 1; e.Pos.Column < 1 || e.Pos.Column > end {
		t.Errorf("the mistake %q in %q is in column %d, want one from 1 to %d", e.Message, file.Text(), e.Pos.Column, end)
	}
}
