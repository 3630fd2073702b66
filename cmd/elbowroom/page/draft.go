package page

import (
	"errors"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// The changes that make a graph: nodes come and go, are wired and named.

// opened is the node whose numbers and wires lie open; -1: none.
func (d *desk) opened() int { return d.shown().Graph.Node(d.open) }

// toggle opens a node, or closes it.
func (d *desk) toggle(name string) {
	if d.open == name {
		name = ""
	}
	d.open = name
	d.version++
}

// draft makes changes of which the file must be able to hold every one, so that
// nothing is drawn up that cannot be saved.
func (d *desk) draft(what string, edits []source.Edit, err error) {
	before := d.at
	if err == nil {
		d.change(what, "", edits...)
		if d.at == before {
			return // it was told why
		}
		if _, err = d.file.Edit(d.edits()...); err == nil {
			return
		}
		d.at = before
		d.steps = d.steps[:before+1]
	}
	d.version++
	d.wrong, d.told = err.Error(), ""
}

// errNode tells that a form is of a node that is no longer there.
var errNode = errors.New("there is no such node; " + errStale.Error())

// build makes one of the changes that make a graph, as a form asks for it.
func (d *desk) build(do string, form func(string) string) {
	g := d.shown().Graph
	if do == "add" {
		d.add(form)
		return
	}
	i := g.Node(form("node"))
	if i < 0 {
		d.draft("", nil, errNode)
		return
	}
	name := g.Nodes[i].Name
	feed := estimator.Feed{To: form("to"), From: strings.TrimSpace(form("from")), Span: strings.TrimSpace(form("span"))}
	switch do {
	case "wire":
		edits, err := g.Wire(i, feed)
		d.draft(name+": "+feed.From+" wired to "+feed.To, edits, err)
	case "unwire":
		edits, err := g.Unwire(i, feed)
		d.draft(name+": "+feed.From+" no longer wired to "+feed.To, edits, err)
	case "rename":
		to := strings.TrimSpace(form("name"))
		after, err := g.Rename(i, to)
		if err != nil {
			d.draft("", nil, err)
			return
		}
		before := d.at
		if d.draft(name+" is called "+to, after.Edits[len(g.Edits):], nil); d.at != before {
			d.open = after.Nodes[i].Name
		}
	case "remove":
		edits, err := g.TakeOut(i)
		d.draft(name+" taken out", edits, err)
	}
}

// add puts a block of the catalog into the graph.
func (d *desk) add(form func(string) string) {
	g := d.shown().Graph
	name := strings.TrimSpace(form("name"))
	b, err := g.Library().Block(form("block"))
	if err != nil {
		d.draft("", nil, err)
		return
	}
	var feeds []estimator.Feed
	for _, in := range b.Inputs {
		if from := strings.TrimSpace(form("from." + in.Name)); from != "" {
			feeds = append(feeds, estimator.Feed{To: in.Name, From: from})
		}
	}
	values := map[string]string{}
	for _, p := range b.Params {
		if text := strings.TrimSpace(form("param." + p.Name)); text != "" && p.Needed {
			values[p.Name] = text
		}
	}
	edits, err := g.Add(-1, name, b.Name, feeds, values)
	before := d.at
	if d.draft(name+" added", edits, err); d.at != before {
		d.open = name
	}
}

// bench is what a new node can be made of: blocks that a search finds, or one
// that was chosen.
type bench struct {
	Search   string
	Families []family
	Fresh    *fresh // nil: none was chosen
}

type family struct {
	Name   string
	Blocks []*blocks.Block
}

// fresh is a block that is about to become a node.
type fresh struct {
	Block  *blocks.Block
	Name   string
	Inputs []socket
	Needs  []blocks.Param
}

// socket is an input, or a parameter that can be moved, with what it can name.
type socket struct {
	Name     string
	Optional bool
	From     []string
	Span     string // to begin with, of a parameter; "": it is an input
}

// look finds the blocks that have all words of a search in what is written of
// them; "" finds none, and "*" all.
func look(lib *blocks.Library, search string) ([]family, error) {
	words := strings.Fields(strings.ToLower(search))
	if len(words) == 0 {
		return nil, nil
	}
	var list []family
	for _, name := range lib.BlockNames() {
		b, err := lib.Block(name)
		if err != nil {
			return nil, err
		}
		text := strings.ToLower(b.Family + " " + b.Name + " " + b.Role + " " + b.Title)
		if search != "*" && slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) }) {
			continue
		}
		at := slices.IndexFunc(list, func(f family) bool { return f.Name == b.Family })
		if at < 0 {
			at, list = len(list), append(list, family{Name: b.Family})
		}
		list[at].Blocks = append(list[at].Blocks, b)
	}
	slices.SortStableFunc(list, func(a, b family) int { return strings.Compare(a.Name, b.Name) })
	return list, nil
}

// choose shows the form of a block that is to become a node.
func (d *desk) choose(name string) {
	d.version++
	g := d.shown().Graph
	b, err := g.Library().Block(name)
	if err != nil {
		d.wrong = err.Error()
		return
	}
	f := &fresh{Block: b, Name: unused(g, b.Name)}
	for _, in := range b.Inputs {
		f.Inputs = append(f.Inputs, socket{Name: in.Name, Optional: in.Optional, From: feeders(g, -1, in.Kind)})
	}
	for _, p := range b.Params {
		if p.Needed {
			f.Needs = append(f.Needs, p)
		}
	}
	d.bench.Fresh = f
}

// search looks into the catalog.
func (d *desk) search(text string) {
	d.version++
	found, err := look(d.shown().Graph.Library(), text)
	if err != nil {
		d.wrong = err.Error()
		return
	}
	d.bench = bench{Search: text, Families: found}
}

// unused is a name that no node has.
func unused(g *estimator.Graph, block string) string {
	name := block
	for k := 2; g.Node(name) >= 0; k++ {
		name = block + "-" + blocks.UnitCount.Format(float64(k))
	}
	return name
}

// feeders are the sources that may feed a wire of a kind.
func feeders(g *estimator.Graph, group int, kind blocks.Kind) []string {
	return slices.DeleteFunc(g.Feeders(group), func(name string) bool {
		node, port, _ := strings.Cut(name, ".")
		i := -1
		if group >= 0 {
			i = g.Node(g.Groups[group].Name + "." + node)
		}
		if i < 0 {
			i = g.Node(node)
		}
		if i < 0 {
			return kind != blocks.Audio // the sum of voices
		}
		outputs := g.Nodes[i].Block().Outputs
		from := outputs[0].Kind
		for _, out := range outputs {
			if out.Name == port {
				from = out.Kind
			}
		}
		return from != kind && (from != blocks.Control || kind != blocks.Audio)
	})
}

// open is the node that lies open, with all that can be done with it.
type open struct {
	Name, Short string // Short within its group
	Wires       []estimator.Feed
	Sockets     []socket
	Known       node
	Equation    string
	Formulas    []Formula
	Sources     []string
}

func (d *desk) openNode(v *view) *open {
	i := d.opened()
	if i < 0 {
		return nil
	}
	g := d.shown().Graph
	n := g.Nodes[i]
	b := n.Block()
	o := &open{Name: n.Name, Short: n.Place.Text(""), Known: v.Nodes[i], Equation: b.Equation}
	for _, in := range n.Inputs {
		for _, s := range in.Sources {
			o.Wires = append(o.Wires, estimator.Feed{To: in.Port.Name, From: s.Place.Text("")})
		}
		o.Sockets = append(o.Sockets, socket{Name: in.Port.Name, Optional: in.Port.Optional, From: feeders(g, n.Group, in.Port.Kind)})
	}
	for _, drive := range n.Drives {
		o.Wires = append(o.Wires, estimator.Feed{To: b.Params[drive.Param].Name, From: drive.Source.Place.Text("")})
	}
	for _, p := range b.Params {
		if p.Moved != blocks.Fixed {
			kind := blocks.Control
			if p.Moved == blocks.ByAudio {
				kind = blocks.Audio
			}
			o.Sockets = append(o.Sockets, socket{p.Name, true, feeders(g, n.Group, kind), g.UsualSpan(n, &p)})
		}
	}
	if d.program.Formulas != nil {
		o.Formulas = d.program.Formulas(b)
	}
	for _, c := range b.Citations {
		o.Sources = append(o.Sources, c.Text)
	}
	return o
}
