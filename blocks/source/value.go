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
	node *yaml.Node
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
	return v.file.place(v.node.Line, v.node.Column)
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
		pos.Column += min(offset, utf8.RuneCountInString(v.node.Value))
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
	return Value{NewFile(name, nil), &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: text}, errs}
}

// IsMapping, IsList and IsText tell the kind; a null is none of them.
func (v Value) IsMapping() bool { return v.node != nil && v.node.Kind == yaml.MappingNode }

// IsList tells whether the value is a list.
func (v Value) IsList() bool { return v.node != nil && v.node.Kind == yaml.SequenceNode }

// IsText tells whether the value is a scalar other than null.
func (v Value) IsText() bool {
	return v.node != nil && v.node.Kind == yaml.ScalarNode && v.node.Tag != "!!null"
}

// Under is the value of a key of a mapping, looked up without reading it: it
// records no mistakes. Where there is none it is not given.
func (v Value) Under(key string) Value {
	if v.IsMapping() {
		for i := 0; i+1 < len(v.node.Content); i += 2 {
			if v.node.Content[i].Value == key {
				return Value{v.file, v.node.Content[i+1], v.errs}
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
	for i := 0; i+1 < len(v.node.Content); i += 2 {
		keys = append(keys, v.node.Content[i].Value)
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

func flow(n *yaml.Node) string {
	var words []string
	switch n.Kind {
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			words = append(words, flow(n.Content[i])+": "+flow(n.Content[i+1]))
		}
		return "{" + strings.Join(words, ", ") + "}"
	case yaml.SequenceNode:
		for _, c := range n.Content {
			words = append(words, flow(c))
		}
		return "[" + strings.Join(words, ", ") + "]"
	}
	if n.Style != 0 {
		return strconv.Quote(n.Value)
	}
	return n.Value
}

func (v Value) kind() string {
	switch {
	case v.IsMapping():
		return "a mapping"
	case v.IsList():
		return "a list"
	case v.IsText():
		return "the value '" + clip(v.node.Value) + "'"
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
	return v.node.Value
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
	var walk func(n *yaml.Node)
	walk = func(n *yaml.Node) {
		for i, c := range n.Content {
			if n.Kind == yaml.MappingNode && i%2 == 1 && n.Content[i-1].Value == key && c.Kind == yaml.ScalarNode && !seen[c.Value] {
				seen[c.Value] = true
				texts = append(texts, c.Value)
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
	items := make([]Value, len(v.node.Content))
	for i, n := range v.node.Content {
		items[i] = Value{v.file, n, v.errs}
	}
	return items
}

// verbatim tells whether a scalar stands in its line as Text gives it: without
// quotes or a tag, and on one line.
func (v Value) verbatim() bool {
	line, _ := v.file.line(v.node.Line)
	column := 1
	for at := range line {
		if column == v.node.Column {
			return strings.HasPrefix(line[at:], v.node.Value)
		}
		column++
	}
	return false
}

// plain records a mistake at the first anchor, alias or tag, and tells whether
// there was none. They are not needed in these files; following aliases is how
// a small file becomes huge, and a tag would go unread.
func (v Value) plain() bool {
	switch {
	case v.node.Kind == yaml.AliasNode || v.node.Anchor != "":
		v.Fail("write the value out where it is used", "anchors and aliases are not read here")
		return false
	case v.node.Style&yaml.TaggedStyle != 0:
		v.Fail("write the value alone", "tags are not read here")
		return false
	}
	for _, n := range v.node.Content {
		if !(Value{v.file, n, v.errs}).plain() {
			return false
		}
	}
	return true
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
