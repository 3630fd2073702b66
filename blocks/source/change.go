package source

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"
)

// Edit is one change of a file: what stands at a path is set, removed or given
// another key.
type Edit struct {
	Path   []string // keys of mappings from the top, and indices of lists; an index one past the last adds an item
	Text   string   // the new value, a scalar without its quotes
	List   []string // the new value where it is a list of scalars; nil: it is Text
	Remove bool
	Key    string // the new key of a value that stays as it is; "": it keeps its key
}

// Meet tells whether an edit of the one changes something beside or within what
// one of the other does, so that which is made first may matter.
func Meet(one, other []Edit) bool {
	for _, a := range one {
		for _, b := range other {
			in, as := a.Path[:len(a.Path)-1], b.Path[:len(b.Path)-1]
			if n := min(len(in), len(as)); slices.Equal(in[:n], as[:n]) {
				return true
			}
		}
	}
	return false
}

// String is the edit as a person would be told to make it.
func (e Edit) String() string {
	at := e.Path[len(e.Path)-1]
	within := ""
	if len(e.Path) > 1 {
		within = " in '" + strings.Join(e.Path[:len(e.Path)-1], ".") + "'"
	}
	if _, err := strconv.Atoi(at); err == nil {
		at = fmt.Sprintf("item %s", at)
	}
	if e.Key != "" {
		return fmt.Sprintf("call '%s' '%s'%s", at, e.Key, within)
	}
	if e.Remove {
		return fmt.Sprintf("take out '%s'%s", at, within)
	}
	return fmt.Sprintf("write '%s: %s'%s", at, e.value(0), within)
}

// value is the new value as YAML, in the quotes that the old one had.
func (e Edit) value(quotes yaml.Style) string {
	if e.List == nil {
		return quoted(e.Text, quotes)
	}
	items := make([]string, len(e.List))
	for i, text := range e.List {
		items[i] = quoted(text, 0)
	}
	return "[" + strings.Join(items, ", ") + "]"
}

// quoted is a text as a YAML scalar on one line: in the quotes asked for, or
// as it is, where that reads back as the same.
func quoted(text string, quotes yaml.Style) string {
	one := !strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || strings.ContainsRune("\u0085\u2028\u2029", r) })
	switch {
	case quotes&yaml.SingleQuotedStyle != 0 && one:
		return "'" + strings.ReplaceAll(text, "'", "''") + "'"
	case quotes&yaml.DoubleQuotedStyle == 0 && one && plain("{k: "+text+"}", text) && plain("k: "+text, text):
		return text
	}
	return strconv.Quote(text)
}

// plain tells whether the one value of a mapping reads as a text without quotes:
// what does in braces need not on a line of its own, nor the other way.
func plain(mapping, text string) bool {
	documents, err := load(mapping)
	if err != nil || len(documents) != 1 {
		return false
	}
	pair := documents[0].Content[0].Content
	return len(pair) == 2 && pair[1].Kind == yaml.ScalarNode &&
		pair[1].Style == 0 && pair[1].Value == text && pair[1].Tag != nullTag && pair[1].Anchor == ""
}

// node is the new value as a file with it would be read: in the place of what
// it stands for.
func (e *Edit) node(at *node) *node {
	if e.List == nil {
		return scalar(e.Text, at)
	}
	list := &node{kind: yaml.SequenceNode, style: yaml.FlowStyle, line: at.line, column: at.column}
	for _, text := range e.List {
		list.content = append(list.content, scalar(text, at))
	}
	return list
}

func scalar(text string, at *node) *node {
	return &node{kind: yaml.ScalarNode, value: text, line: at.line, column: at.column}
}

// indexOf is the index of what a key or an index names; -1: nothing.
func indexOf(n *node, key string) int {
	switch n.kind {
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.content); i += 2 {
			if n.content[i].value == key {
				return i + 1
			}
		}
	case yaml.SequenceNode:
		if i, err := strconv.Atoi(key); err == nil && i >= 0 && i < len(n.content) {
			return i
		}
	}
	return -1
}

// find is what an edit is about: the mapping or list it falls in and the index
// of its value there, or -1 and the part of the path that is missing. It tells
// why where the edit cannot be made.
func find(root *node, e *Edit) (at *node, index int, missing []string, why string) {
	if len(e.Path) == 0 {
		return root, -1, nil, "an edit needs a path"
	}
	at, missing = root, e.Path
	index = indexOf(at, missing[0])
	for index >= 0 && len(missing) > 1 {
		at, missing = at.content[index], missing[1:]
		index = indexOf(at, missing[0])
	}
	switch {
	case index < 0 && (e.Remove || e.Key != ""):
		why = fmt.Sprintf("there is no '%s' here", missing[0])
	case index < 0 && at.kind != yaml.MappingNode && !past(at, missing):
		why = fmt.Sprintf("there is no place for '%s' here", missing[0])
	case e.Key != "" && at.kind != yaml.MappingNode:
		why = "the items of a list have no keys"
	}
	return at, index, missing, why
}

// past tells whether what is missing is the item after the last of a list.
func past(list *node, missing []string) bool {
	return list.kind == yaml.SequenceNode && len(missing) == 1 && missing[0] == strconv.Itoa(len(list.content))
}

// changed is a tree with an edit made that find has found to be possible. It
// shares with the tree before what stays.
func changed(n *node, path []string, e *Edit) *node {
	c := *n
	c.content = slices.Clone(n.content)
	i := indexOf(n, path[0])
	switch {
	case i >= 0 && len(path) > 1:
		c.content[i] = changed(n.content[i], path[1:], e)
	case i < 0 && n.kind == yaml.SequenceNode:
		c.content = append(c.content, e.node(n))
	case i < 0:
		value := e.node(n)
		for _, above := range slices.Backward(path[1:]) {
			value = &node{kind: yaml.MappingNode, style: yaml.FlowStyle, line: n.line, column: n.column,
				content: []*node{scalar(above, n), value}}
		}
		c.content = append(c.content, scalar(path[0], n), value)
	case e.Key != "":
		c.content[i-1] = scalar(e.Key, n.content[i-1])
	case e.Remove && n.kind == yaml.MappingNode:
		c.content = slices.Delete(c.content, i-1, i+1)
	case e.Remove:
		c.content = slices.Delete(c.content, i, i+1)
	default:
		c.content[i] = e.node(n.content[i])
	}
	return &c
}

// Edited is the value with changes made one after the other, as if the file
// held them: what File.Edit writes reads the same. The new value has a list of
// mistakes of its own. An edit that cannot be made is an *Error.
func (v Value) Edited(errs *Errors, edits ...Edit) (Value, error) {
	if v.node == nil {
		return Value{}, errors.New("there is nothing to edit")
	}
	root := v.node
	for _, e := range edits {
		if at, _, _, why := find(root, &e); why != "" {
			return Value{}, (Value{v.file, at, errs}).Mistake("", "%s", why)
		}
		root = changed(root, e.Path, &e)
	}
	return Value{v.file, root, errs}, nil
}

// PathTo is the path of edits from a value to one that stands below it; nil:
// it does not.
func (v Value) PathTo(below Value) []string {
	if v.node == nil || below.node == nil {
		return nil
	}
	return pathTo(v.node, below.node)
}

func pathTo(n, below *node) []string {
	for i, c := range n.content {
		name := strconv.Itoa(i)
		if n.kind == yaml.MappingNode {
			if i%2 == 0 {
				continue
			}
			name = n.content[i-1].value
		}
		if c == below {
			return []string{name}
		}
		if path := pathTo(c, below); path != nil {
			return append([]string{name}, path...)
		}
	}
	return nil
}
