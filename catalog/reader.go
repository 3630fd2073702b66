package catalog

import (
	"errors"
	"slices"
	"strings"
	"unicode/utf8"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// reader reads one catalog file: it knows the file's citations and sees to it
// that every figure names one of them, and that each is named.
type reader struct {
	citations []blocks.Citation
	named     map[string]bool
	scope     *blocks.Scope
	own       bool           // the file is a user's own board: figures without a source rest on its word
	turns     []source.Value // names of recurring work that memory is touched by
}

// nominal is the timebase that quantities in the catalog are checked against.
var nominal = blocks.Timebase{SampleRate: 48000}

// Characters that join the words of names: of blocks, boards and cores, and of
// what formulas read.
const (
	hyphenated = '-'
	underscore = '_'
)

func newReader(o *source.Object) *reader {
	r := &reader{named: map[string]bool{}}
	for _, m := range o.Need("sources").Object("sources").Rest() {
		text := m.Value.Text("a citation in one line")
		if m.Value.IsText() && strings.TrimSpace(text) == "" {
			m.Value.Fail("", "the source '%s' says nothing", m.Name)
		}
		r.citations = append(r.citations, blocks.Citation{Key: m.Name, Text: strings.TrimSpace(text)})
	}
	return r
}

// done records every source that no figure names.
func (r *reader) done(o *source.Object) {
	if !o.Has("sources") {
		return
	}
	sources := o.Take("sources").Object("sources")
	for _, c := range r.citations {
		if !r.named[c.Key] {
			sources.Key(c.Key).Fail("name it beside a figure, or remove it", "no figure names the source '%s'", c.Key)
		}
	}
}

// cites takes the sources of a group of figures.
func (r *reader) cites(o *source.Object) []string {
	if r.own && !o.Has("source") {
		return []string{ownBoard}
	}
	var keys []string
	for _, v := range o.Need("source").OneOrMore() {
		key := v.Text("the key of a source")
		if !v.IsText() {
			continue
		}
		r.named[key] = true
		if r.citation(key) == "" {
			var known []string
			for _, c := range r.citations {
				known = append(known, c.Key)
			}
			v.Fail(source.DidYouMean(key, known), "no source '%s' stands under sources", key)
		}
		keys = append(keys, key)
	}
	return keys
}

func (r *reader) citation(key string) string {
	i := slices.IndexFunc(r.citations, func(c blocks.Citation) bool { return c.Key == key })
	if i < 0 {
		return ""
	}
	return r.citations[i].Text
}

// confirmed tells whether figures rest on more than a plain default.
func (r *reader) confirmed(keys []string) bool {
	return !slices.ContainsFunc(keys, func(k string) bool {
		return strings.HasPrefix(r.citation(k), "house judgement")
	})
}

// word takes a name whose words a character joins.
func word(v source.Value, joiner byte, what string) string {
	text := v.Text(what)
	if v.IsText() && !source.IsWords(text, joiner) {
		v.Fail("", "'%s' is not %s", text, what)
	}
	return text
}

const (
	aName       = "a name of lower-case words joined by hyphens"
	anIdentifer = "a name of lower-case words joined by underscores"
)

// one reads a quantity that may not be a range.
func one(v source.Value, unit blocks.Unit) float64 {
	value, _ := nominal.ReadValue(v, unit)
	return value
}

// positive reads one quantity that must be above zero.
func positive(v source.Value, unit blocks.Unit, what string) float64 {
	value, ok := nominal.ReadValue(v, unit)
	if ok && value <= 0 {
		v.Fail("", "%s is above zero", what)
	}
	return value
}

// formula compiles a formula that must come out in a dimension.
func (r *reader) formula(v source.Value, want blocks.Dimension) *blocks.Formula {
	if !v.Given() {
		return nil
	}
	text := v.Text("a formula")
	if !v.IsText() || r.scope == nil {
		return nil
	}
	f, err := blocks.CompileFormula(text, r.scope, want)
	if err != nil {
		var refused *blocks.FormulaError
		errors.As(err, &refused)
		hint := refused.Hint
		if refused.Name != "" {
			hint = source.DidYouMean(refused.Name, refused.Candidates)
		}
		before := text[:min(max(refused.Offset, 0), len(text))] // a place counts characters
		v.FailAt(utf8.RuneCountInString(before), hint, "%s", refused.Reason)
	}
	return f
}

// need compiles a formula that must be given.
func (r *reader) need(o *source.Object, key string, want blocks.Dimension) *blocks.Formula {
	return r.formula(o.Need(key), want)
}

// counts reads operations: a class and a formula each.
func (r *reader) counts(v source.Value) []blocks.Count {
	var counts []blocks.Count
	for _, m := range v.Object("the operations").Rest() {
		class, ok := blocks.ParseClass(m.Name)
		if !ok {
			var names []string
			for _, c := range blocks.Classes() {
				names = append(names, c.String())
			}
			m.Key.Fail(source.DidYouMean(m.Name, names), "there is no operation '%s'", m.Name)
			continue
		}
		if f := r.formula(m.Value, blocks.Plain); f != nil {
			counts = append(counts, blocks.Count{Class: class, Times: f})
		}
	}
	return counts
}

// pickOr reads one of a few words; where none is given, the first.
func pickOr(v source.Value, words ...string) string {
	if !v.Given() {
		return words[0]
	}
	return pick(v, words...)
}

// pick reads one of a few words.
func pick(v source.Value, words ...string) string {
	text := v.Text(strings.Join(words, " or "))
	for _, w := range words {
		if text == w {
			return w
		}
	}
	if v.IsText() {
		v.Fail("", "expected %s, found '%s'", strings.Join(words, " or "), text)
	}
	return ""
}
