package estimator

import (
	"slices"

	"elbowroom/blocks/source"
)

// With is the graph with changes of its file, one made after the other: what
// reading the changed file would give. The graph itself stays as it is. The
// error is what a person would be told who had written the changes by hand.
//
// A change of the board, the sample rate or the block size counts also where
// Options had replaced what the file says.
func (g *Graph) With(edits ...source.Edit) (*Graph, error) {
	var errs source.Errors
	root, err := g.root.Edited(&errs, edits...)
	if err != nil {
		return nil, err
	}
	changed := readGraph(root, g.library, g.opts.without(edits), &errs)
	if changed == nil {
		return nil, errs.Err()
	}
	changed.Edits = slices.Concat(g.Edits, edits)
	changed.reuse(g)
	return changed, nil
}

// without leaves out what edits of the file decide.
func (o Options) without(edits []source.Edit) Options {
	for _, e := range edits {
		switch e.Path[0] {
		case "board":
			o.Board = source.Value{}
		case "sample_rate":
			o.SampleRate = source.Value{}
		case "block_size":
			o.BlockSize = source.Value{}
		}
	}
	return o
}

// reuse takes over what was worked out for nodes that need the same as before.
func (g *Graph) reuse(before *Graph) {
	if g.Core != before.Core || len(g.Nodes) != len(before.Nodes) {
		return
	}
	for i, n := range g.Nodes {
		if was := before.Nodes[i]; n.Name == was.Name && n.Use.Same(&was.Use) {
			n.estimated = was.estimated
		}
	}
}

// Node is the index of a node by its full name; -1: there is none.
func (g *Graph) Node(name string) int {
	return slices.IndexFunc(g.Nodes, func(n *Node) bool { return n.Name == name })
}

// Path is where a node stands in the file, for edits.
func (g *Graph) Path(n *Node, key ...string) []string {
	path := []string{"nodes", n.Place.Text("")}
	if n.Group >= 0 {
		path = append([]string{"voices", g.Groups[n.Group].Name}, path...)
	}
	return append(path, key...)
}

// SourcePath is where the name of a source stands in the file, for edits.
func (g *Graph) SourcePath(s Source) []string { return g.root.PathTo(s.Place) }

// at is the value at a path of the file; not given where there is none.
func (g *Graph) at(path []string) source.Value {
	v := g.root
	for _, key := range path {
		v = v.Under(key)
	}
	return v
}
