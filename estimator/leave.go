package estimator

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// leaveOut works out the changes that take a node out of the graph: what it fed
// is fed by what fed it, and what it moved stands still in the middle. It is
// false where something needs the node.
func (g *Graph) leaveOut(i int) ([]source.Edit, bool, error) {
	n := g.Nodes[i]
	if n.Group >= 0 && g.Groups[n.Group].Out == i {
		return nil, false, nil
	}
	var edits []source.Edit
	for _, reader := range g.Nodes {
		if reader == n {
			continue
		}
		for k := range reader.Inputs {
			e, ok := g.bypass(i, reader, &reader.Inputs[k])
			if !ok {
				return nil, false, nil
			}
			edits = append(edits, e...)
		}
		edits = append(edits, g.still(reader, func(s Source) bool { return s.Node == i })...)
	}
	if n.Group < 0 {
		edits = append(edits, g.leaveScenes(n)...)
	}
	return append(edits, source.Edit{Path: g.Path(n), Remove: true}), true, nil
}

// still lets what sources move that go stand still in the middle.
func (g *Graph) still(reader *Node, goes func(Source) bool) []source.Edit {
	var edits []source.Edit
	for _, d := range reader.Drives {
		if goes(d.Source) {
			edits = append(edits, source.Edit{Path: g.Path(reader, reader.Block().Params[d.Param].Name), Text: reader.middle(d)})
		}
	}
	return edits
}

// middle is the value in the middle of what a parameter is moved over.
func (n *Node) middle(d Drive) string {
	p, span := &n.Block().Params[d.Param], n.Use.Settings[d.Param].Span
	middle := (span.Low + span.High) / 2
	if d.Curve == Exponential {
		middle = math.Sqrt(span.Low * span.High)
	}
	middle = fourFigures(middle)
	if p.Unit == blocks.UnitCount {
		middle = math.Floor(middle)
	}
	return p.Unit.Format(middle)
}

// bypass ties an input to what feeds a node in place of the node itself.
func (g *Graph) bypass(i int, reader *Node, in *Input) ([]source.Edit, bool) {
	fed := func(src Source) bool { return src.Node == i && src.Group < 0 }
	var others, instead []string
	for _, src := range in.Sources {
		if !fed(src) {
			others = append(others, src.Place.Text(""))
		}
	}
	n := g.Nodes[i]
	for _, src := range in.Sources {
		if !fed(src) || len(n.Inputs) == 0 || src.Port != 0 || n.Inputs[0].Port.Kind != g.port(src).Kind {
			continue
		}
		for _, before := range n.Inputs[0].Sources {
			name := before.Place.Text("")
			if before.Channel < 0 && src.Channel >= 0 && g.Channels(before) > src.Channel {
				name += "." + strconv.Itoa(src.Channel+1)
			}
			if !slices.Contains(others, name) && !slices.Contains(instead, name) {
				instead = append(instead, name)
			}
		}
	}
	return g.refeed(reader, in, fed, instead)
}

// refeed ties an input to others in place of the sources that go. In a list only
// the items that name those change, so that all else about it stays. It is false
// where nothing would feed an input that needs something.
func (g *Graph) refeed(reader *Node, in *Input, goes func(Source) bool, instead []string) ([]source.Edit, bool) {
	var gone [][]string // where the file names them
	for _, src := range in.Sources {
		if goes(src) {
			gone = append(gone, g.SourcePath(src))
		}
	}
	if len(gone) == 0 {
		return nil, true
	}
	path := g.Path(reader, "from")
	if g.at(path).IsMapping() {
		path = append(path, in.Port.Name)
	}
	switch from := g.at(path); {
	case len(gone) == len(in.Sources) && len(instead) == 0:
		return []source.Edit{g.unfed(reader, in.Port.Name)}, in.Port.Optional
	case from.IsList():
		return exchange(path, len(from.OneOrMore()), gone, instead), true
	case len(instead) == 1:
		return []source.Edit{{Path: path, Text: instead[0]}}, true
	}
	return []source.Edit{{Path: path, List: instead}}, true
}

// unfed is the change that leaves an input with nothing that feeds it.
func (g *Graph) unfed(n *Node, input string) source.Edit {
	path := g.Path(n, "from")
	if from := g.at(path); from.IsMapping() && len(from.Keys()) > 1 {
		path = append(path, input)
	}
	return source.Edit{Path: path, Remove: true}
}

// exchange puts texts into the places of items of a list, what is more behind its
// last, and takes out the items for which there is none.
func exchange(list []string, length int, items [][]string, texts []string) []source.Edit {
	var edits []source.Edit
	for k, text := range texts {
		at := append(slices.Clone(list), strconv.Itoa(length+k-len(items)))
		if k < len(items) {
			at = items[k]
		}
		edits = append(edits, source.Edit{Path: at, Text: text})
	}
	for _, at := range slices.Backward(items[min(len(texts), len(items)):]) {
		edits = append(edits, source.Edit{Path: at, Remove: true})
	}
	return edits
}

// leaveScenes takes a node out of the scenes that name it.
func (g *Graph) leaveScenes(n *Node) []source.Edit {
	var edits []source.Edit
	for _, path := range g.inScenes(n.Name) {
		edits = append(edits, source.Edit{Path: path, Remove: true})
	}
	return edits
}

// inScenes are the paths at which scenes name a node or a group.
func (g *Graph) inScenes(name string) [][]string {
	var paths [][]string
	for _, s := range g.Scenes {
		items := g.at([]string{"scenes", s.Name})
		if !items.IsList() {
			continue
		}
		for k, item := range items.Items("a list of nodes") {
			if item.Text("") == name {
				paths = append(paths, []string{"scenes", s.Name, strconv.Itoa(k)})
			}
		}
	}
	return paths
}

// change is what a person would write into a node to make it what it is in
// another graph: "block: four-comb-reverb, decay: 2 s, without damping".
func (g *Graph) change(n *Node, after *Graph, m *Node) string {
	was, is := g.at(g.Path(n)), after.at(after.Path(m))
	var words []string
	for _, name := range is.Keys() {
		if name == "from" {
			continue
		}
		v := is.Under(name)
		if text := v.Flow(); text != was.Under(name).Flow() {
			if span := v.Under("span"); span.Given() {
				name, text = name+" span", span.Flow()
			}
			words = append(words, name+": "+text)
		}
	}
	for _, name := range was.Keys() {
		if name != "from" && !is.Under(name).Given() && m.Block() == n.Block() {
			words = append(words, "without "+name)
		}
	}
	return strings.Join(words, ", ")
}
