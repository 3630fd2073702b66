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
	name := strings.TrimSpace(form("name"))
	switch do {
	case "add":
		d.add(form)
		return
	case "rename-voices", "remove-voices":
		k := group(g, form("group"))
		if k < 0 {
			d.draft("", nil, errNode)
			return
		}
		if do == "remove-voices" {
			edits, err := g.TakeOutVoices(k)
			d.draft(form("group")+" taken out", edits, err)
			return
		}
		after, err := g.RenameVoices(k, name)
		if err != nil {
			d.draft("", nil, err)
			return
		}
		d.draft(form("group")+" is called "+name, after.Edits[len(g.Edits):], nil)
		return
	case "rename-scene":
		edits, err := g.RenameScene(form("scene"), name)
		d.draft(form("scene")+" is called "+name, edits, err)
		return
	case "put-on":
		cues := []estimator.Cue{{Scene: strings.TrimSpace(form("scene")), Name: name}}
		if other := strings.TrimSpace(form("other-scene")); other != "" {
			cues = append(cues, estimator.Cue{Scene: other, Name: form("other-name")})
		}
		edits, err := g.PutOn(cues...)
		d.draft(name+" runs in "+cues[0].Scene, edits, err)
		return
	case "put-off":
		edits, err := g.PutOff(estimator.Cue{Scene: form("scene"), Name: name})
		d.draft(name+" no longer runs in "+form("scene"), edits, err)
		return
	}
	i := g.Node(form("node"))
	if i < 0 {
		d.draft("", nil, errNode)
		return
	}
	name = g.Nodes[i].Name
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
	case "give-out":
		edits, err := g.GiveOut(i)
		d.draft(name+" is what its voices give out", edits, err)
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
	within, full := form("in"), name
	var edits []source.Edit
	if voices := strings.TrimSpace(form("voices")); voices != "" {
		edits, err = g.AddVoices(voices, strings.TrimSpace(form("count")), name, b.Name, feeds, values)
		full = voices + "." + name
	} else if k := group(g, within); within != "" && k < 0 {
		err = errNode
	} else {
		edits, err = g.Add(k, name, b.Name, feeds, values)
		if k >= 0 {
			full = within + "." + name
		}
	}
	before := d.at
	if d.draft(full+" added", edits, err); d.at != before {
		d.open = full
	}
}

// group is the group of voices of a name; -1: there is none.
func group(g *estimator.Graph, name string) int {
	return slices.IndexFunc(g.Groups, func(k *estimator.Group) bool { return k.Name == name })
}

// bench is what a new node can be made of: blocks that a search finds, or one
// that was chosen.
type bench struct {
	Search   string
	Into     string // the group of voices that it shall be in; "": none
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
		text := strings.ToLower(strings.Join(slices.Concat(b.Called, []string{b.Family, b.Name, b.Role, b.Title}), " "))
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
	k := group(g, d.bench.Into)
	f := &fresh{Block: b, Name: unused(g, k, b.Name)}
	for _, in := range b.Inputs {
		f.Inputs = append(f.Inputs, socket{Name: in.Name, Optional: in.Optional, From: feeders(g, k, in.Kind)})
	}
	for _, p := range b.Params {
		if p.Needed {
			f.Needs = append(f.Needs, p)
		}
	}
	d.bench.Fresh = f
}

// search looks into the catalog.
func (d *desk) search(text, into string) {
	d.version++
	found, err := look(d.shown().Graph.Library(), text)
	if err != nil {
		d.wrong = err.Error()
		return
	}
	d.bench = bench{Search: text, Into: into, Families: found}
}

// unused is a name that no node of a group has, or outside of all, -1.
func unused(g *estimator.Graph, group int, block string) string {
	name, within := block, ""
	if group >= 0 {
		within = g.Groups[group].Name + "."
	}
	for k := 2; g.Node(within+name) >= 0; k++ {
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
	Inner       bool   // it is in a group, and not what the group gives out
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
	o.Inner = n.Group >= 0 && g.Groups[n.Group].Out != i
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

// cast is who runs in a scene.
type cast struct {
	Scene string
	Names []string
}

// casts are the scenes, and all that can run in one.
func (d *desk) casts() (list []cast, all []string) {
	g := d.shown().Graph
	for _, n := range g.Nodes {
		if n.Group < 0 {
			all = append(all, n.Name)
		}
	}
	for _, k := range g.Groups {
		all = append(all, k.Name)
	}
	for _, s := range g.Scenes {
		c := cast{Scene: s.Name}
		for _, i := range s.Nodes {
			c.Names = append(c.Names, g.Nodes[i].Name)
		}
		for _, k := range s.Groups {
			c.Names = append(c.Names, g.Groups[k].Name)
		}
		list = append(list, c)
	}
	return list, all
}

// voices are the names of the groups.
func (d *desk) voices() (names []string) {
	for _, k := range d.shown().Graph.Groups {
		names = append(names, k.Name)
	}
	return names
}
