package source

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// Value is one YAML value with its place. The zero Value is one that was not
// given; its methods are safe and report nothing.
type Value struct {
	file *File
	node *node
	errs *Errors
}

// Given tells whether the value stands in the file.
func (v Value) Given() bool { return v.node != nil }

// Same tells whether two values are the same place in the same file.
func (v Value) Same(w Value) bool { return v.node == w.node }

// File is the file that the value stands in.
func (v Value) File() *File { return v.file }

// Pos is where the value begins.
func (v Value) Pos() Pos {
	if v.node == nil {
		return Pos{}
	}
	return v.file.place(v.node.line, v.node.column)
}

// Where prints the place as file:line:column, or the name alone where the value
// stands in no file.
func (v Value) Where() string {
	if v.node == nil {
		return ""
	}
	pos := v.Pos()
	if pos == (Pos{}) {
		return v.file.Name
	}
	return fmt.Sprintf("%s:%d:%d", v.file.Name, pos.Line, pos.Column)
}

// Fail records a mistake at the value. The hint may be empty.
func (v Value) Fail(hint, format string, args ...any) { v.FailAt(0, hint, format, args...) }

// FailAt records a mistake some characters into a value, where it is text that
// stands in the file as it is; else at its beginning.
func (v Value) FailAt(offset int, hint, format string, args ...any) {
	if v.node == nil {
		return
	}
	pos := v.Pos()
	if offset > 0 && v.IsText() && v.verbatim() {
		pos.Column += min(offset, utf8.RuneCountInString(v.node.value))
	}
	v.errs.Add(&Error{File: v.file, Pos: pos, Message: fmt.Sprintf(format, args...), Hint: hint})
}

// Mistake makes an Error at the value without recording it, for what is found
// only after reading.
func (v Value) Mistake(hint, format string, args ...any) *Error {
	return &Error{File: v.file, Pos: v.Pos(), Message: fmt.Sprintf(format, args...), Hint: hint}
}

// FromText makes a value that stands in no file: name says where it came from
// ("--board").
func FromText(name, text string, errs *Errors) Value {
	return Value{NewFile(name, nil), &node{kind: yaml.ScalarNode, value: text}, errs}
}

// IsMapping, IsList and IsText tell the kind; a null is none of them.
func (v Value) IsMapping() bool { return v.node != nil && v.node.kind == yaml.MappingNode }

// IsList tells whether the value is a list.
func (v Value) IsList() bool { return v.node != nil && v.node.kind == yaml.SequenceNode }

// IsText tells whether the value is a scalar other than null.
func (v Value) IsText() bool {
	return v.node != nil && v.node.kind == yaml.ScalarNode && !v.node.null
}

// Under is the value of a key of a mapping, looked up without reading it: it
// records no mistakes. Where there is none it is not given.
func (v Value) Under(key string) Value {
	if v.IsMapping() {
		for i := 0; i+1 < len(v.node.content); i += 2 {
			if v.node.content[i].value == key {
				return Value{v.file, v.node.content[i+1], v.errs}
			}
		}
	}
	return Value{}
}

// Keys are the keys of a mapping in file order, without reading it; of anything
// else there are none.
func (v Value) Keys() []string {
	if !v.IsMapping() {
		return nil
	}
	var keys []string
	for i := 0; i+1 < len(v.node.content); i += 2 {
		keys = append(keys, v.node.content[i].value)
	}
	return keys
}

// Flow prints the value on one line for people, as flow style would have it.
func (v Value) Flow() string {
	if v.node == nil {
		return ""
	}
	return flow(v.node)
}

func flow(n *node) string {
	var words []string
	switch n.kind {
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.content); i += 2 {
			words = append(words, flow(n.content[i])+": "+flow(n.content[i+1]))
		}
		return "{" + strings.Join(words, ", ") + "}"
	case yaml.SequenceNode:
		for _, c := range n.content {
			words = append(words, flow(c))
		}
		return "[" + strings.Join(words, ", ") + "]"
	}
	if n.style != 0 {
		return strconv.Quote(n.value)
	}
	return n.value
}

func (v Value) kind() string {
	switch {
	case v.IsMapping():
		return "a mapping"
	case v.IsList():
		return "a list"
	case v.IsText():
		return "the value '" + clip(v.node.value) + "'"
	}
	return "nothing"
}

// Text is a scalar as it was written, without its quotes. Anything else is a
// mistake: what says what was expected.
func (v Value) Text(what string) string {
	if v.node == nil {
		return ""
	}
	if !v.IsText() {
		v.Fail("", "expected %s, found %s", what, v.kind())
		return ""
	}
	return v.node.value
}

// Truth is a value that must be true or false; not given, it is false.
func (v Value) Truth() bool {
	switch text := v.Text("true or false"); text {
	case "true":
		return true
	case "false", "":
	default:
		v.Fail("", "expected true or false, found '%s'", clip(text))
	}
	return false
}

// Below lists the texts that stand under a key anywhere below the value, each
// once, in file order. It reports no mistakes.
func (v Value) Below(key string) []string {
	if v.node == nil {
		return nil
	}
	var texts []string
	seen := map[string]bool{}
	var walk func(n *node)
	walk = func(n *node) {
		for i, c := range n.content {
			if n.kind == yaml.MappingNode && i%2 == 1 && n.content[i-1].value == key && c.kind == yaml.ScalarNode && !seen[c.value] {
				seen[c.value] = true
				texts = append(texts, c.value)
			}
			walk(c)
		}
	}
	walk(v.node)
	return texts
}

// Items are the values of a list. Anything else is a mistake.
func (v Value) Items(what string) []Value {
	if v.node == nil {
		return nil
	}
	if !v.IsList() {
		v.Fail("", "expected %s, found %s", what, v.kind())
		return nil
	}
	return v.items()
}

// OneOrMore are the values of a list, or the one value that is no list.
func (v Value) OneOrMore() []Value {
	if v.IsList() {
		return v.items()
	}
	if v.node == nil {
		return nil
	}
	return []Value{v}
}

func (v Value) items() []Value {
	items := make([]Value, len(v.node.content))
	for i, n := range v.node.content {
		items[i] = Value{v.file, n, v.errs}
	}
	return items
}

// verbatim tells whether a scalar stands in its line as Text gives it: without
// quotes or a tag, and on one line.
func (v Value) verbatim() bool {
	line, _ := v.file.line(v.node.line)
	column := 1
	for at := range line {
		if column == v.node.column {
			return strings.HasPrefix(line[at:], v.node.value)
		}
		column++
	}
	return false
}

// clip shortens text that a message quotes.
func clip(text string) string { return shorten(text, 40) }

// shorten cuts a text after so many characters.
func shorten(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + "..."
	}
	return text
}
