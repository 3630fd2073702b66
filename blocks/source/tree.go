package source

import (
	"encoding/binary"

	"go.yaml.in/yaml/v4"
)

// node is a value as it was parsed: of the parser's own node what is needed,
// which is less than half.
type node struct {
	content      []*node // keys and values of a mapping in turn, items of a list
	value        string  // of a scalar
	line, column int
	kind         yaml.Kind // scalar, mapping or list
	style        yaml.Style
	null         bool
}

const nullTag = "!!null"

// compact takes over a value that is plain and all below it.
func compact(n *yaml.Node) *node {
	c := &node{value: n.Value, line: n.Line, column: n.Column, kind: n.Kind, style: n.Style, null: n.Tag == nullTag}
	if len(n.Content) > 0 {
		c.content = make([]*node, len(n.Content))
	}
	for i, below := range n.Content {
		c.content[i] = compact(below)
	}
	return c
}

// inFiles tells whether plain values have a kind.
func inFiles(k yaml.Kind) bool {
	return k == yaml.ScalarNode || k == yaml.MappingNode || k == yaml.SequenceNode
}

// notPlain is the mistake of the first anchor, alias or tag; nil: there is none.
// They are not needed in these files; following aliases is how a small file
// becomes huge, and a tag would go unread.
func (f *File) notPlain(n *yaml.Node) *Error {
	switch {
	case n.Kind == yaml.AliasNode || n.Anchor != "":
		return f.mistake(n, "write the value out where it is used", "anchors and aliases are not read here")
	case n.Style&yaml.TaggedStyle != 0:
		return f.mistake(n, "write the value alone", "tags are not read here")
	}
	for _, below := range n.Content {
		if mistake := f.notPlain(below); mistake != nil {
			return mistake
		}
	}
	return nil
}

func (f *File) mistake(n *yaml.Node, hint, message string) *Error {
	return &Error{File: f, Pos: f.place(n.Line, n.Column), Message: message, Hint: hint}
}

// AppendTree appends a value and all below it to b in a compact form, which
// ReadTree reads back much faster than YAML is parsed. Of a value that is not
// given it appends nothing.
func (v Value) AppendTree(b []byte) []byte {
	if v.node == nil {
		return b
	}
	b = binary.AppendUvarint(b, uint64(countNodes(v.node)))
	return appendNode(b, v.node)
}

func countNodes(n *node) int {
	count := 1
	for _, c := range n.content {
		count += countNodes(c)
	}
	return count
}

func appendNode(b []byte, n *node) []byte {
	null := 0
	if n.null {
		null = 1
	}
	for _, x := range []int{int(n.kind), int(n.style), null, n.line, n.column, len(n.value), len(n.content)} {
		b = binary.AppendUvarint(b, uint64(x))
	}
	b = append(b, n.value...)
	for _, c := range n.content {
		b = appendNode(b, c)
	}
	return b
}

// ReadTree reads what AppendTree wrote for a value of the file. It is false
// where the tree is damaged.
func ReadTree(file *File, tree string, errs *Errors) (Value, bool) {
	r := treeReader{rest: tree}
	count := r.number()
	if count < 1 || count > len(tree) {
		return Value{}, false
	}
	// One piece of memory for all nodes, and one for all lists of them.
	r.nodes, r.below = make([]node, count), make([]*node, count)
	root := r.node()
	if root == nil || len(r.nodes) > 0 || r.rest != "" {
		return Value{}, false
	}
	return Value{file, root, errs}, true
}

type treeReader struct {
	rest  string
	nodes []node  // not yet given out
	below []*node // not yet given out
}

// number reads a number; -1: there is none.
func (r *treeReader) number() int {
	x, shift := 0, 0
	for i := 0; i < len(r.rest) && shift < 32; i++ {
		x |= int(r.rest[i]&0x7f) << shift
		if r.rest[i] < 0x80 {
			r.rest = r.rest[i+1:]
			return x
		}
		shift += 7
	}
	return -1
}

// node reads a node and all below it; nil: the tree is damaged.
func (r *treeReader) node() *node {
	if len(r.nodes) == 0 {
		return nil
	}
	n := &r.nodes[0]
	r.nodes = r.nodes[1:]
	kind, style, null := r.number(), r.number(), r.number()
	line, column, length, children := r.number(), r.number(), r.number(), r.number()
	if min(kind, style, null, line, column, length, children) < 0 || !inFiles(yaml.Kind(kind)) || null > 1 || length > len(r.rest) || children > len(r.below) {
		return nil
	}
	n.kind, n.style, n.null, n.line, n.column = yaml.Kind(kind), yaml.Style(style), null == 1, line, column
	n.value, r.rest = r.rest[:length], r.rest[length:]
	n.content, r.below = r.below[:children:children], r.below[children:]
	for i := range n.content {
		if n.content[i] = r.node(); n.content[i] == nil {
			return nil
		}
	}
	return n
}
