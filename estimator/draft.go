package estimator

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// Feed is what a node is fed with: an input, or a parameter that is moved, and
// the source as the file names it.
type Feed struct {
	To, From string
	Span     string // that a parameter is moved over, as the file writes it; "": the usual one
}

// Add works out the changes that put a new node last into the graph, or into a
// group of voices, fed as told, with values for parameters; group -1: into none.
// Whether they suit the block is for With to say. A name that is taken, or that
// no node may have, is an error.
func (g *Graph) Add(group int, name, block string, feeds []Feed, values map[string]string) ([]source.Edit, error) {
	if err := g.free(name, group); err != nil {
		return nil, err
	}
	within := []string{"nodes", name}
	if group >= 0 {
		within = append([]string{"voices", g.Groups[group].Name}, within...)
	}
	return g.write(within, block, feeds, values)
}

// AddVoices works out the changes that make a new group of voices, of one node
// that gives out what the group sounds; see Add.
func (g *Graph) AddVoices(group, count, name, block string, feeds []Feed, values map[string]string) ([]source.Edit, error) {
	if err := g.free(group, -1); err != nil {
		return nil, err
	}
	if !isNodeName(name) {
		return nil, g.free(name, -1)
	}
	path := []string{"voices", group}
	node, err := g.write(append(slices.Clone(path), "nodes", name), block, feeds, values)
	if err != nil {
		return nil, err
	}
	edits := []source.Edit{{Path: append(slices.Clone(path), "count"), Text: count}}
	return append(append(edits, node...), source.Edit{Path: append(path, "out"), Text: name}), nil
}

// write works out the changes that put a node where none stands.
func (g *Graph) write(at []string, block string, feeds []Feed, values map[string]string) ([]source.Edit, error) {
	b, err := g.library.Block(block)
	if err != nil {
		return nil, err
	}
	path := func(key ...string) []string { return append(slices.Clone(at), key...) }
	edits := []source.Edit{{Path: path("block"), Text: b.Name}}
	for _, f := range feeds {
		key := []string{"from"}
		if len(feeds) > 1 || len(b.Inputs) == 0 || f.To != b.Inputs[0].Name {
			key = append(key, f.To)
		}
		edits = append(edits, source.Edit{Path: path(key...), Text: f.From})
	}
	for _, p := range b.ParamNames() {
		if text, given := values[p]; given {
			edits = append(edits, source.Edit{Path: path(p), Text: text})
		}
	}
	return edits, nil
}

// free says why a new node, or one of a group, cannot have a name.
func (g *Graph) free(name string, group int) error {
	if !isNodeName(name) {
		return fmt.Errorf("%q cannot be the name of a node, which is a word of letters, digits and hyphens that starts with a letter", name)
	}
	full := name
	if group >= 0 {
		full = g.Groups[group].Name + "." + name
	} else if slices.ContainsFunc(g.Groups, func(k *Group) bool { return k.Name == name }) {
		return fmt.Errorf("there is a group named '%s' already", name)
	}
	if g.Node(full) >= 0 {
		return fmt.Errorf("there is a node named '%s' already", full)
	}
	return nil
}

// Rename works out the graph with another name for a node, which all that names
// it follows. The name is one within its group. Where something else would be
// meant by a name then, that is an error.
func (g *Graph) Rename(i int, name string) (*Graph, error) {
	n := g.Nodes[i]
	if err := g.free(name, n.Group); err != nil {
		return nil, err
	}
	old := n.Place.Text("")
	var edits []source.Edit
	for _, reader := range g.Nodes {
		for _, s := range reader.sources() {
			if s.Node == i && s.Group < 0 {
				edits = append(edits, source.Edit{Path: g.SourcePath(s), Text: name + strings.TrimPrefix(s.Place.Text(""), old)})
			}
		}
	}
	if n.Group < 0 {
		for _, path := range g.inScenes(n.Name) {
			edits = append(edits, source.Edit{Path: path, Text: name})
		}
	} else if k := g.Groups[n.Group]; k.Out == i {
		edits = append(edits, source.Edit{Path: []string{"voices", k.Name, "out"}, Text: name})
	}
	if g.at([]string{"symbols", n.Name}).Given() {
		edits = append(edits, source.Edit{Path: []string{"symbols", n.Name}, Key: strings.TrimSuffix(n.Name, old) + name})
	}
	return g.renamed(name, append(edits, source.Edit{Path: g.Path(n), Key: name}))
}

// RenameVoices works out the graph with another name for a group of voices, which
// all that names it follows.
func (g *Graph) RenameVoices(k int, name string) (*Graph, error) {
	if err := g.free(name, -1); err != nil {
		return nil, err
	}
	old := g.Groups[k].Name
	var edits []source.Edit
	for _, reader := range g.Nodes {
		for _, s := range reader.sources() {
			if s.Group == k {
				edits = append(edits, source.Edit{Path: g.SourcePath(s), Text: name + strings.TrimPrefix(s.Place.Text(""), old)})
			}
		}
	}
	for _, path := range g.inScenes(old) {
		edits = append(edits, source.Edit{Path: path, Text: name})
	}
	for _, owner := range g.at([]string{"symbols"}).Keys() {
		if strings.HasPrefix(owner, old+".") {
			edits = append(edits, source.Edit{Path: []string{"symbols", owner}, Key: name + strings.TrimPrefix(owner, old)})
		}
	}
	return g.renamed(name, append(edits, source.Edit{Path: []string{"voices", old}, Key: name}))
}

// renamed is the graph after changes for a new name, in which every name must
// mean what it meant before.
func (g *Graph) renamed(name string, edits []source.Edit) (*Graph, error) {
	after, err := g.With(edits...)
	if err != nil {
		return nil, err
	}
	for k, m := range g.Nodes {
		if !slices.EqualFunc(m.sources(), after.Nodes[k].sources(), sameOutput) {
			return nil, fmt.Errorf("'%s' would be taken for another node where '%s' names one; choose another name", name, after.Nodes[k].Name)
		}
	}
	return after, nil
}

// GiveOut works out the changes that let a node of a group of voices be what the
// group sounds.
func (g *Graph) GiveOut(i int) ([]source.Edit, error) {
	n := g.Nodes[i]
	if n.Group < 0 {
		return nil, fmt.Errorf("'%s' is in no group of voices", n.Name)
	}
	return []source.Edit{{Path: []string{"voices", g.Groups[n.Group].Name, "out"}, Text: n.Place.Text("")}}, nil
}

// Cue is a scene, and a node or a group of voices that runs in it.
type Cue struct{ Scene, Name string }

// OnBoard works out the changes that put the graph on a board of another name. Where
// that cannot run code from the bank that the file names, it runs it as it does
// unless asked.
func (g *Graph) OnBoard(name string) []source.Edit {
	edits := []source.Edit{{Path: []string{"board"}, Text: name}}
	board, err := g.library.BoardOrChip(name)
	run := g.at([]string{"code", "run"})
	if err != nil || !run.IsText() || slices.Contains(board.LayoutNames(), run.Text("")) {
		return edits
	}
	path := []string{"code", "run"}
	if len(g.at(path[:1]).Keys()) == 1 {
		path = path[:1]
	}
	return append(edits, source.Edit{Path: path, Remove: true})
}

// Unpin works out the changes that take out where nodes name banks for their
// buffers that a board of that name has not.
func (g *Graph) Unpin(name string) []source.Edit {
	board, err := g.library.BoardOrChip(name)
	if err != nil {
		return nil
	}
	var edits []source.Edit
	for _, n := range g.Nodes {
		at := g.Path(n, "bank")
		pins := g.at(at)
		lacks := func(v source.Value) bool { return v.IsText() && board.BankIndex(v.Text("")) < 0 }
		gone := slices.DeleteFunc(pins.Keys(), func(key string) bool { return !lacks(pins.Under(key)) })
		if lacks(pins) || len(gone) > 0 && len(gone) == len(pins.Keys()) {
			edits = append(edits, source.Edit{Path: at, Remove: true})
			continue
		}
		for _, key := range gone {
			edits = append(edits, source.Edit{Path: append(slices.Clone(at), key), Remove: true})
		}
	}
	return edits
}

// PutOn works out the changes that let nodes and groups run in scenes; a scene
// that is not there begins with them. That there be at least two scenes is for
// With to say, and so whether there is such a node.
func (g *Graph) PutOn(cues ...Cue) ([]source.Edit, error) {
	var edits []source.Edit
	for _, p := range cues {
		if err := sceneName(p.Scene); err != nil {
			return nil, err
		}
		path := []string{"scenes", p.Scene}
		if v := g.at(path); v.Given() {
			edits = append(edits, g.join(path, p.Name)...)
		} else {
			edits = append(edits, source.Edit{Path: path, List: []string{p.Name}})
		}
	}
	return edits, nil
}

// sceneName says why no scene can have a name.
func sceneName(name string) error {
	if !isNodeName(name) || name == "overlay" {
		return fmt.Errorf("%q cannot be the name of a scene, which is a word of letters, digits and hyphens that starts with a letter, and not 'overlay'", name)
	}
	return nil
}

// PutOff works out the changes after which a node or a group no longer runs in a
// scene; a scene that nothing is left of goes.
func (g *Graph) PutOff(p Cue) ([]source.Edit, error) {
	for _, path := range g.inScenes(p.Name) {
		if path[1] != p.Scene {
			continue
		}
		if len(g.at(path[:2]).OneOrMore()) == 1 {
			path = path[:2]
		}
		return []source.Edit{{Path: path, Remove: true}}, nil
	}
	return nil, fmt.Errorf("'%s' is not in the scene '%s'", p.Name, p.Scene)
}

// RenameScene works out the changes that give a scene another name.
func (g *Graph) RenameScene(old, name string) ([]source.Edit, error) {
	switch err := sceneName(name); {
	case err != nil:
		return nil, err
	case !slices.ContainsFunc(g.Scenes, func(s Scene) bool { return s.Name == old }):
		return nil, fmt.Errorf("there is no scene '%s'", old)
	case g.at([]string{"scenes", name}).Given():
		return nil, fmt.Errorf("'%s' stands under scenes already", name)
	}
	return []source.Edit{{Path: []string{"scenes", old}, Key: name}}, nil
}

// sources are all outputs that a node names.
func (n *Node) sources() []Source {
	var list []Source
	for _, in := range n.Inputs {
		list = append(list, in.Sources...)
	}
	for _, d := range n.Drives {
		list = append(list, d.Source)
	}
	return list
}

// TakeOut works out the changes that take a node out of the graph: what it fed
// is fed by what fed it, and what it moved stands still in the middle. Where
// something needs the node, that is an error that names it.
func (g *Graph) TakeOut(i int) ([]source.Edit, error) {
	edits, can, err := g.leaveOut(i)
	if err != nil || can {
		return edits, err
	}
	n := g.Nodes[i]
	if n.Group >= 0 && g.Groups[n.Group].Out == i {
		return nil, fmt.Errorf("'%s' is what '%s' gives out; let another node be that first", n.Name, g.Groups[n.Group].Name)
	}
	var need []string
	for _, reader := range g.Nodes {
		if reader != n && slices.ContainsFunc(reader.sources(), func(s Source) bool { return s.Node == i && s.Group < 0 }) {
			need = append(need, "'"+reader.Name+"'")
		}
	}
	return nil, fmt.Errorf("'%s' is needed by %s, which nothing else would feed; wire another node there first", n.Name, strings.Join(need, ", "))
}

// TakeOutVoices works out the changes that take a group of voices out of the
// graph: what it fed beside others goes on without it, and what it moved stands
// still in the middle. Where something needs the group, that is an error that
// names it.
func (g *Graph) TakeOutVoices(k int) ([]source.Edit, error) {
	group := g.Groups[k]
	sounds := func(s Source) bool { return s.Group == k }
	var edits []source.Edit
	var need []string
	for _, reader := range g.Nodes {
		for in := range reader.Inputs {
			e, can := g.refeed(reader, &reader.Inputs[in], sounds, nil)
			if !can {
				need = append(need, "'"+reader.Name+"'")
			}
			edits = append(edits, e...)
		}
		edits = append(edits, g.still(reader, sounds)...)
	}
	if len(need) > 0 {
		return nil, fmt.Errorf("'%s' is needed by %s, which nothing else would feed; wire another node there first", group.Name, strings.Join(need, ", "))
	}
	for _, s := range g.Scenes {
		if e, err := g.PutOff(Cue{s.Name, group.Name}); err == nil {
			edits = append(edits, e...)
		}
	}
	path := []string{"voices", group.Name}
	if len(g.Groups) == 1 {
		path = path[:1]
	}
	return append(edits, source.Edit{Path: path, Remove: true}), nil
}

// Sockets are what can be wired to a node: its inputs, and the parameters that
// can be moved.
func (n *Node) Sockets() []string {
	names := portNames(n.Block().Inputs)
	for _, p := range n.Block().Params {
		if p.Moved != blocks.Fixed {
			names = append(names, p.Name)
		}
	}
	return names
}

// Wire works out the changes that lead a source to an input of a node, beside
// what feeds it already, or let it move a parameter.
// Whether the two go together is for With to say.
func (g *Graph) Wire(i int, f Feed) ([]source.Edit, error) {
	n := g.Nodes[i]
	in := slices.IndexFunc(n.Inputs, func(in Input) bool { return in.Port.Name == f.To })
	if in < 0 {
		p, known := n.Block().Param(f.To)
		if !known || p.Moved == blocks.Fixed {
			return nil, fmt.Errorf("'%s' has no input '%s', and no such parameter that could be moved", n.Name, f.To)
		}
		span := f.Span
		if span == "" {
			span = g.UsualSpan(n, p)
		}
		var edits []source.Edit
		if g.at(g.Path(n, p.Name)).Given() {
			edits = append(edits, source.Edit{Path: g.Path(n, p.Name), Remove: true})
		}
		return append(edits,
			source.Edit{Path: g.Path(n, p.Name, "from"), Text: f.From},
			source.Edit{Path: g.Path(n, p.Name, "span"), Text: span}), nil
	}
	from := g.at(g.Path(n, "from"))
	switch {
	case !from.Given() && in == 0:
		return []source.Edit{{Path: g.Path(n, "from"), Text: f.From}}, nil
	case from.IsMapping() || !from.Given():
		return g.join(g.Path(n, "from", f.To), f.From), nil
	case in == 0:
		return g.join(g.Path(n, "from"), f.From), nil
	}
	// What fed the main input alone moves into a mapping of all inputs.
	edits := []source.Edit{{Path: g.Path(n, "from"), Remove: true}}
	main := source.Edit{Path: g.Path(n, "from", n.Inputs[0].Port.Name), Text: from.Text("")}
	if from.IsList() {
		main.Text, main.List = "", names(n.Inputs[0].Sources)
	}
	return append(edits, main, source.Edit{Path: g.Path(n, "from", f.To), Text: f.From}), nil
}

// UsualSpan is a span to begin with where a parameter is to be moved, as a file
// writes it: round the value it has, an octave to either side, or from nothing to
// that value where the range holds nothing; its whole range where that is no span.
func (g *Graph) UsualSpan(n *Node, p *blocks.Param) string {
	whole, _ := p.At(g.SampleRate)
	at := slices.IndexFunc(n.Block().Params, func(q blocks.Param) bool { return q.Name == p.Name })
	now := n.Use.Settings[at].Span.High
	span := blocks.Span{Low: max(whole.Low, fourFigures(now/2)), High: min(whole.High, fourFigures(now*2))}
	if whole.Low <= 0 {
		span = blocks.Span{Low: 0, High: now}
	}
	if p.Unit == blocks.UnitCount {
		span = blocks.Span{Low: math.Ceil(span.Low), High: math.Floor(span.High)}
	}
	if span.High <= span.Low {
		span = whole
	}
	return p.Unit.FormatSpan(span)
}

// names are sources as the file names them.
func names(sources []Source) []string {
	list := make([]string, len(sources))
	for i, s := range sources {
		list[i] = s.Place.Text("")
	}
	return list
}

// join adds a source to what stands at a path.
func (g *Graph) join(path []string, from string) []source.Edit {
	switch v := g.at(path); {
	case v.IsList():
		return []source.Edit{{Path: append(path, strconv.Itoa(len(v.OneOrMore()))), Text: from}}
	case v.Given():
		return []source.Edit{{Path: path, List: []string{v.Text(""), from}}}
	}
	return []source.Edit{{Path: path, Text: from}}
}

// Unwire works out the changes that take one wire from a node. A parameter that
// it moved stands still in the middle. What an input needs is for With to say.
func (g *Graph) Unwire(i int, f Feed) ([]source.Edit, error) {
	n := g.Nodes[i]
	for _, d := range n.Drives {
		if p := &n.Block().Params[d.Param]; p.Name == f.To && d.Source.Place.Text("") == f.From {
			return []source.Edit{
				{Path: g.Path(n, p.Name), Remove: true},
				{Path: g.Path(n, p.Name), Text: n.middle(d)},
			}, nil
		}
	}
	for _, in := range n.Inputs {
		if in.Port.Name != f.To {
			continue
		}
		for _, s := range in.Sources {
			if s.Place.Text("") != f.From {
				continue
			}
			if len(in.Sources) > 1 {
				return []source.Edit{{Path: g.SourcePath(s), Remove: true}}, nil
			}
			return []source.Edit{g.unfed(n, f.To)}, nil
		}
	}
	return nil, fmt.Errorf("there is no wire from '%s' to '%s' of '%s'", f.From, f.To, n.Name)
}

// Feeders are the sources that a node of a group can name, as its file would
// name them, and that give something; group -1: outside of all groups. Those
// that an inner name hides are left out.
func (g *Graph) Feeders(group int) []string {
	var list []string
	for _, k := range []int{group, -1} {
		for _, n := range g.Nodes {
			name := n.Place.Text("")
			if n.Group != k || slices.Contains(list, name) {
				continue
			}
			for p, out := range n.Block().Outputs {
				if p > 0 {
					list = append(list, name+"."+out.Name)
				} else {
					list = append(list, name)
				}
			}
		}
		if k < 0 {
			break
		}
	}
	for k, voices := range g.Groups {
		if k != group && !slices.Contains(list, voices.Name) {
			list = append(list, voices.Name)
		}
	}
	return list
}

// Library is where the graph's blocks come from.
func (g *Graph) Library() *blocks.Library { return g.library }
