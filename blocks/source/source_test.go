package source

import (
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

// theatre is a file that is right: what the storm scene of a shadow theatre
// declares.
const theatre = `# storm scene
scene: storm
thunder:
  sheet: 350 ms
  drum: 80 Hz
curtains: [front, moon]
`

// parse reads a text under the name "storm.yaml".
func parse(text string) (Value, *Errors) {
	errs := &Errors{}
	return Parse(NewFile("storm.yaml", []byte(text)), errs), errs
}

// parsed reads a text that must be right.
func parsed(t *testing.T, text string) (Value, *Errors) {
	t.Helper()
	v, errs := parse(text)
	if err := errs.Err(); err != nil {
		t.Fatalf("Parse(%.80q) should read this without a mistake, but finds\n%v", text, err)
	}
	return v, errs
}

// expect compares all that was recorded, to the character.
func expect(t *testing.T, errs *Errors, lines ...string) {
	t.Helper()
	if got, want := errs.Error(), strings.Join(lines, "\n"); got != want {
		t.Errorf("the mistakes should read\n%s\nbut read\n%s", want, got)
	}
}

// nested is a block mapping so many levels deep, innermost value included.
func nested(levels int) string {
	var b strings.Builder
	for i := range levels - 1 {
		b.WriteString(strings.Repeat(" ", i) + "box:\n")
	}
	return b.String() + strings.Repeat(" ", levels) + "moth\n"
}

func TestParseReadsWhatStandsThere(t *testing.T) {
	for _, tt := range []struct{ name, text string }{
		{"as written", theatre},
		{"with a byte order mark", "\ufeff" + theatre},
		{"with CRLF", strings.ReplaceAll(theatre, "\n", "\r\n")},
		{"with CR alone", strings.ReplaceAll(theatre, "\n", "\r")},
		{"between document marks", "---\n" + theatre + "...\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			v, errs := parsed(t, tt.text)
			if v.File().Text() != tt.text {
				t.Errorf("File().Text() is %q, want the text as it was given", v.File().Text())
			}
			o := v.Object("the scene")
			if got := o.Need("scene").Text("a scene"); got != "storm" {
				t.Errorf("scene reads %q, want \"storm\"", got)
			}
			thunder := o.Need("thunder").Object("thunder")
			if got := thunder.Need("sheet").Text("a time"); got != "350 ms" {
				t.Errorf("sheet reads %q, want \"350 ms\"", got)
			}
			if got := thunder.Take("drum").Text("a pitch"); got != "80 Hz" {
				t.Errorf("drum reads %q, want \"80 Hz\"", got)
			}
			var curtains []string
			for _, item := range o.Need("curtains").Items("a list") {
				curtains = append(curtains, item.Text("a curtain"))
			}
			if want := []string{"front", "moon"}; !slices.Equal(curtains, want) {
				t.Errorf("curtains read %q, want %q", curtains, want)
			}
			thunder.Done("part")
			o.Done("key")
			expect(t, errs)
		})
	}
}

func TestParseRefuses(t *testing.T) {
	const yaml = "not readable as YAML: "
	tests := []struct {
		name, text string
		want       []string
	}{
		{"an empty file", "", []string{"storm.yaml: the file is empty"}},
		{"empty lines", "\n\n", []string{"storm.yaml: the file is empty"}},
		{"a byte order mark alone", "\ufeff", []string{"storm.yaml: the file is empty"}},
		{"comments alone", "# rain\n# wind\n", []string{"storm.yaml: the file is empty"}},
		{"a document mark alone", "---\n", []string{"storm.yaml: the file is empty"}},
		{"a null", "~\n", []string{"storm.yaml: the file is empty"}},
		{"a binary file", "\x7fELF\x01\x00\x00", []string{"storm.yaml: this is not a text file in UTF-8"}},
		{"invalid UTF-8", "scene: st\xf6rm\n", []string{"storm.yaml: this is not a text file in UTF-8"}},
		{"UTF-16", "\xff\xfea\x00:\x00 \x00b\x00", []string{"storm.yaml: this is not a text file in UTF-8"}},
		{"a control character", "scene: \x01\n", []string{
			"storm.yaml:1:8: a control character stands here, which text does not hold",
			"    1 | scene:  ",
			"      |        ^",
		}},
		{"a file over the limit", strings.Repeat("#", MaxBytes+1), []string{
			"storm.yaml: the file has 2097153 bytes, more than the 2097152 that are read",
		}},
		{"a second document", "scene: storm\n---\nscene: calm\n", []string{
			"storm.yaml:2:1: a second document begins here, and only one is read",
			"    2 | ---",
			"      | ^",
		}},
		{"a mistake in a second document", "scene: storm\n---\nscene: [\n", []string{
			"storm.yaml:4:1: " + yaml + "did not find expected node content",
			"    4 | ",
			"      | ^",
		}},
		{"an anchor", "rain: &wet 1\n", []string{
			"storm.yaml:1:7: anchors and aliases are not read here",
			"    1 | rain: &wet 1",
			"      |       ^",
			"hint: write the value out where it is used",
		}},
		{"an anchor in a list", "rain:\n  - 1\n  - &wet 2\n", []string{
			"storm.yaml:3:5: anchors and aliases are not read here",
			"    3 |   - &wet 2",
			"      |     ^",
			"hint: write the value out where it is used",
		}},
		{"an alias of nothing", "rain: *wet\n", []string{
			"storm.yaml:1:7: " + yaml + "unknown anchor 'wet' referenced",
			"    1 | rain: *wet",
			"      |       ^",
		}},
		{"an alias of a long name", "rain: *" + strings.Repeat("w", 500) + "\n", []string{
			"storm.yaml:1:7: " + yaml + "unknown anchor '" + strings.Repeat("w", 104) + "...",
			"    1 | rain: *" + strings.Repeat("w", 89) + "...",
			"      |       ^",
		}},
		{"a tag", "rain: !!binary wet\n", []string{
			"storm.yaml:1:7: tags are not read here",
			"    1 | rain: !!binary wet",
			"      |       ^",
			"hint: write the value alone",
		}},
		{"a tag that would make a value nothing", "!!null storm\n", []string{
			"storm.yaml:1:1: tags are not read here",
			"    1 | !!null storm",
			"      | ^",
			"hint: write the value alone",
		}},
		{"a mapping in a plain value", "wind: door: slam\n", []string{
			"storm.yaml:1:11: " + yaml + "mapping values are not allowed in this context",
			"    1 | wind: door: slam",
			"      |           ^",
			"hint: what stands after 'wind:' goes into braces: 'wind: {KEY: VALUE}'",
		}},
		{"a key without its colon", "board: barn\nnodes # all of them\n\n  wind: {block: noise}\n", []string{
			"storm.yaml:4:3: " + yaml + "could not find expected ':'",
			"    4 |   wind: {block: noise}",
			"      |   ^",
			"hint: a colon is missing after 'nodes' in line 2",
		}},
		{"a first key without its colon, and a remark", "nodes # all of them\n\n  wind: {block: noise}\n", []string{
			"storm.yaml:3:3: " + yaml + "did not find expected <document start>",
			"    3 |   wind: {block: noise}",
			"      |   ^",
			"hint: a colon is missing after 'nodes' in line 1",
		}},
		{"a first key without its colon", "nodes\n  wind: {block: noise}\n", []string{
			"storm.yaml:2:7: " + yaml + "mapping values are not allowed in this context",
			"    2 |   wind: {block: noise}",
			"      |       ^",
			"hint: a colon is missing after 'nodes' in line 1",
		}},
		{"a tab for indentation", "wind: 1\n\tdoor: 2\n", []string{
			"storm.yaml:2:1: " + yaml + "found a tab character that violates indentation",
			"    2 |  door: 2",
			"      | ^",
			"hint: indent with spaces, not with tabs",
		}},
		{"a mistake after letters of two bytes", "höhle: [grün, ä: : }\n", []string{
			"storm.yaml:1:18: " + yaml + "did not find expected node content",
			"    1 | höhle: [grün, ä: : }",
			"      |                  ^",
		}},
		{"a list that is not closed", "curtains: [front\n", []string{
			"storm.yaml:2:1: " + yaml + "did not find expected ',' or ']'",
			"    2 | ",
			"      | ^",
			"hint: a bracket that opened before is not closed, or a comma is missing",
		}},
		{"a list that is not closed, in a line that is not ended", "curtains: [", []string{
			"storm.yaml:1:12: " + yaml + "did not find expected node content",
			"    1 | curtains: [",
			"      |            ^",
		}},
		{"deep nesting in blocks", nested(22), []string{
			"storm.yaml:21:24: " + yaml + "exceeded max depth of 20",
			"   21 |                     box:",
			"      |                        ^",
		}},
		{"deep nesting in brackets", strings.Repeat("[", 21) + strings.Repeat("]", 21), []string{
			"storm.yaml:1:21: " + yaml + "exceeded max depth of 20",
			"    1 | [[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]]",
			"      |                     ^",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v, errs := parse(tt.text)
			if v.Given() {
				t.Errorf("Parse(%.80q) should give no value beside the mistake", tt.text)
			}
			expect(t, errs, tt.want...)
		})
	}
}

// The limits themselves are still read.
func TestParseReadsUpToTheLimits(t *testing.T) {
	for _, tt := range []struct{ name, text string }{
		{"a file of exactly MaxBytes", "a: b #" + strings.Repeat("#", MaxBytes-6)},
		{"20 levels of blocks", nested(20)},
		{"20 levels of brackets", strings.Repeat("[", 20) + strings.Repeat("]", 20)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if v, _ := parsed(t, tt.text); !v.Given() {
				t.Errorf("Parse of %s gives no value, want one", tt.name)
			}
		})
	}
}

// Small files that would grow without bound are refused before they do.
func TestParseRefusesBombs(t *testing.T) {
	// Each list holds the one before nine times: 9^10 values in under 400 bytes.
	laughs := "a: &a [x, x, x, x, x, x, x, x, x]\n"
	for name := 'b'; name <= 'j'; name++ {
		laughs += fmt.Sprintf("%c: &%c [%s]\n", name, name, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*%c, ", name-1), 9), ", "))
	}
	for _, tt := range []struct{ name, text, want string }{
		{"aliases of aliases", laughs, "storm.yaml:1:4: anchors and aliases are not read here"},
		{"the same in a second document", "scene: storm\n---\n" + laughs, "storm.yaml:2:1: a second document"},
		{"an anchor that holds itself", "a: &a [*a]\n", "storm.yaml:1:4: anchors and aliases"},
		{"a million brackets", strings.Repeat("[", 1e6), "storm.yaml:1:21: not readable as YAML: exceeded max depth"},
		{"a million dashes", strings.Repeat("- ", 1e6), "storm.yaml:1:41: not readable as YAML: exceeded max depth"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			before := allocated()
			v, errs := parse(tt.text)
			if v.Given() || errs.Len() != 1 {
				t.Fatalf("Parse should refuse this with one mistake, but gives %d", errs.Len())
			}
			if got := errs.Error(); !strings.HasPrefix(got, tt.want) {
				t.Errorf("the mistake should begin %q, but reads\n%s", tt.want, got)
			}
			if took := allocated() - before; took > 64<<20 {
				t.Errorf("refusing this takes %d bytes of memory, want well under 64 MiB", took)
			}
		})
	}
}

// allocated is how many bytes of memory this process has asked for.
func allocated() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.TotalAlloc
}

// One line full of mistakes is told in bounded length.
func TestManyMistakesArePrintedInPart(t *testing.T) {
	const twice = 30000
	v, errs := parsed(t, "{a: 1"+strings.Repeat(", a: 1", twice)+"}")
	v.Object("the scene")
	if errs.Len() != twice || len(errs.List()) != twice {
		t.Errorf("%d keys stand twice, but %d mistakes are counted and %d listed", twice, errs.Len(), len(errs.List()))
	}
	text := errs.Error()
	if n := strings.Count(text, "stands twice"); n != 50 {
		t.Errorf("%d mistakes are printed, want the first 50", n)
	}
	if want := "\nand 29950 more"; !strings.HasSuffix(text, want) {
		t.Errorf("the text should end %q, but ends %q", want, text[len(text)-40:])
	}
}

// Whatever keys a mapping has, they are read back in order, and Done reports
// those that nobody took and no other.
func TestObjectAccountsForEveryKey(t *testing.T) {
	letters := []rune("abz09 -_.:#'\"\\,[]{}&*!|>%@`~?é語\t\u00a0")
	rapid.Check(t, func(t *rapid.T) {
		key := rapid.StringOfN(rapid.RuneFrom(letters), 1, 12, -1)
		keys := rapid.SliceOfNDistinct(key, 0, 12, rapid.ID).Draw(t, "keys")
		flow := rapid.Bool().Draw(t, "flow")
		var pairs []string
		for i, k := range keys {
			quoted := "'" + strings.ReplaceAll(k, "'", "''") + "'"
			pairs = append(pairs, fmt.Sprintf("%s: v%d", quoted, i))
		}
		text := "{" + strings.Join(pairs, ", ") + "}"
		if !flow && len(pairs) > 0 {
			text = strings.Join(pairs, "\n")
		}
		v, errs := parse(text)
		if err := errs.Err(); err != nil {
			t.Fatalf("Parse(%q) should be without a mistake, but finds\n%v", text, err)
		}

		taken := map[string]bool{}
		o := v.Object("the scene")
		for i, k := range keys {
			if rapid.Bool().Draw(t, "take") {
				taken[k] = true
				if got, want := o.Take(k).Text("a word"), fmt.Sprintf("v%d", i); got != want {
					t.Errorf("the value of %q reads %q, want %q", k, got, want)
				}
			}
		}
		o.Done("key")
		var want []string
		for i, k := range keys {
			if !taken[k] {
				want = append(want, fmt.Sprintf("%v the scene has no key '%s'", o.Key(k).Pos(), k))
			}
			if at := o.Key(k).Pos(); !flow && at != (Pos{i + 1, 1}) {
				t.Errorf("key %q stands at %v, want line %d, column 1", k, at, i+1)
			}
		}
		var got []string
		for _, e := range errs.List() {
			got = append(got, fmt.Sprintf("%v %s", e.Pos, e.Message))
		}
		if !slices.Equal(got, want) {
			t.Errorf("of %q, taken %v, Done reports\n%q\nwant\n%q", text, taken, got, want)
		}

		var names []string
		for _, m := range v.Object("the scene").Rest() {
			names = append(names, m.Name)
		}
		if !slices.Equal(names, keys) {
			t.Errorf("%q reads back the keys %q, want %q", text, names, keys)
		}
	})
}

// A file that was read may be asked for its places by several at once, as by a
// search that estimates a graph on every processor. Only the race detector sees
// where they share what they should not.
func TestPlacesAtOnce(t *testing.T) {
	v, errs := parsed(t, theatre)
	o := v.Object("scene")
	scene, thunder := o.Take("scene"), o.Take("thunder")
	o.Take("curtains")
	o.Done("key")
	expect(t, errs)
	places := make([]string, 8)
	var all sync.WaitGroup
	for i := range places {
		all.Go(func() { places[i] = scene.Where() + " " + thunder.Where() })
	}
	all.Wait()
	for _, got := range places {
		if want := "storm.yaml:2:8 storm.yaml:4:3"; got != want {
			t.Errorf("one of several is told the places %s, want %s", got, want)
		}
	}
}
