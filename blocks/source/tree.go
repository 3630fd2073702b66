package source

import (
	"encoding/binary"
	"slices"

	"go.yaml.in/yaml/v4"
)

// treeTags are the tags that a plain value can have, numbered in a tree.
var treeTags = []string{"!!str", "!!int", "!!float", "!!bool", "!!null", "!!map", "!!seq", "!!timestamp", "!!merge"}

// inTree tells whether a tree holds values of a kind.
func inTree(k yaml.Kind) bool {
	return k == yaml.ScalarNode || k == yaml.MappingNode || k == yaml.SequenceNode
}

// AppendTree appends a value and all below it to b in a compact form, which
// ReadTree reads back much faster than YAML is parsed. It is false where the
// value holds what the form has no place for.
func (v Value) AppendTree(b []byte) ([]byte, bool) {
	if v.node == nil {
		return b, false
	}
	b = binary.AppendUvarint(b, uint64(countNodes(v.node)))
	return appendNode(b, v.node)
}

func countNodes(n *yaml.Node) int {
	count := 1
	for _, c := range n.Content {
		count += countNodes(c)
	}
	return count
}

func appendNode(b []byte, n *yaml.Node) ([]byte, bool) {
	tag := slices.Index(treeTags, n.Tag)
	if tag < 0 || !inTree(n.Kind) {
		return b, false
	}
	for _, x := range []int{int(n.Kind), int(n.Style), tag, n.Line, n.Column, len(n.Value), len(n.Content)} {
		b = binary.AppendUvarint(b, uint64(x))
	}
	b = append(b, n.Value...)
	for _, c := range n.Content {
		var ok bool
		if b, ok = appendNode(b, c); !ok {
			return b, false
		}
	}
	return b, true
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
	r.nodes, r.below = make([]yaml.Node, count), make([]*yaml.Node, count)
	root := r.node()
	if root == nil || len(r.nodes) > 0 || r.rest != "" {
		return Value{}, false
	}
	return Value{file, root, errs}, true
}

type treeReader struct {
	rest  string
	nodes []yaml.Node  // not yet given out
	below []*yaml.Node // not yet given out
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
func (r *treeReader) node() *yaml.Node {
	if len(r.nodes) == 0 {
		return nil
	}
	n := &r.nodes[0]
	r.nodes = r.nodes[1:]
	kind, style, tag := r.number(), r.number(), r.number()
	line, column, length, children := r.number(), r.number(), r.number(), r.number()
	if min(kind, style, tag, line, column, length, children) < 0 || !inTree(yaml.Kind(kind)) || tag >= len(treeTags) || length > len(r.rest) || children > len(r.below) {
		return nil
	}
	n.Kind, n.Style, n.Tag, n.Line, n.Column = yaml.Kind(kind), yaml.Style(style), treeTags[tag], line, column
	n.Value, r.rest = r.rest[:length], r.rest[length:]
	n.Content, r.below = r.below[:children:children], r.below[children:]
	for i := range n.Content {
		if n.Content[i] = r.node(); n.Content[i] == nil {
			return nil
		}
	}
	return n
}
