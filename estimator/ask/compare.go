package ask

import (
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Comparison is what differs between two graphs, row by row.
type Comparison struct {
	Before, After *estimator.Estimate
	Settings      []Difference // of the whole graph
	Resources     []ResourceChange
	Nodes         []NodeChange // only those of which a figure or a setting differs
}

// Difference is a setting that is not the same; "": there is none on that side.
type Difference struct{ What, Before, After string }

// ResourceChange is one resource of both graphs; nil where a board has none.
type ResourceChange struct{ Before, After *estimator.Resource }

// NodeChange is one node of both graphs; of one that is only in one of them the
// figures on the other side are zero.
type NodeChange struct {
	Name          string
	Before, After NodeFigures
	Why           []Difference // what explains the figures
}

// NodeFigures are what one node takes, all its copies together.
type NodeFigures struct {
	There  bool // the graph has such a node
	Cycles float64
	Stalls float64 // both cycles of the worst block
	Bytes  blocks.Bytes
	Banks  []string // that its buffers lie in, fastest first
}

// Compare tells what differs between two graphs. Nodes are the same where they
// have the same name.
func Compare(before, after *estimator.Estimate) *Comparison {
	c := &Comparison{Before: before, After: after}
	a, b := before.Graph, after.Graph
	c.set("board", a.Board.Name, b.Board.Name)
	c.set("core", a.Core.Name, b.Core.Name)
	c.set(SampleRate, a.SampleRate.String(), b.SampleRate.String())
	c.set(BlockSize, fmt.Sprint(a.BlockSize), fmt.Sprint(b.BlockSize))
	c.set("control_rate", controlRate(a), controlRate(b))
	c.set("tempo", tempo(a), tempo(b))
	c.set("code runs from", a.Board.Banks[a.Run].Name, b.Board.Banks[b.Run].Name)
	c.set("latency", blocks.Seconds(Latency(before)).String(), blocks.Seconds(Latency(after)).String())
	c.resources()
	all := names(a)
	for _, name := range names(b) {
		if !slices.Contains(all, name) {
			all = append(all, name)
		}
	}
	for _, name := range all {
		if n, differs := c.node(name); differs {
			c.Nodes = append(c.Nodes, n)
		}
	}
	return c
}

func (c *Comparison) set(what, before, after string) {
	if before != after {
		c.Settings = append(c.Settings, Difference{what, before, after})
	}
}

func controlRate(g *estimator.Graph) string {
	if g.ControlRate == 0 {
		return "once a block"
	}
	return g.ControlRate.String()
}

func tempo(g *estimator.Graph) string {
	if g.Tempo.Low == 0 {
		return ""
	}
	return blocks.UnitTempo.FormatSpan(g.Tempo)
}

func names(g *estimator.Graph) []string {
	list := make([]string, len(g.Nodes))
	for i, n := range g.Nodes {
		list[i] = n.Name
	}
	return list
}

func (c *Comparison) resources() {
	find := func(e *estimator.Estimate, name string) *estimator.Resource {
		i := slices.IndexFunc(e.Resources, func(r estimator.Resource) bool { return r.Name == name })
		if i < 0 {
			return nil
		}
		return &e.Resources[i]
	}
	for i := range c.Before.Resources {
		r := &c.Before.Resources[i]
		c.Resources = append(c.Resources, ResourceChange{r, find(c.After, r.Name)})
	}
	for i := range c.After.Resources {
		if r := &c.After.Resources[i]; find(c.Before, r.Name) == nil {
			c.Resources = append(c.Resources, ResourceChange{nil, r})
		}
	}
}

// node compares a node by its name, and tells whether anything differs.
func (c *Comparison) node(name string) (NodeChange, bool) {
	n := NodeChange{Name: name, Before: figuresOf(c.Before, name), After: figuresOf(c.After, name)}
	a, b := c.Before.Graph, c.After.Graph
	i, j := a.Node(name), b.Node(name)
	switch {
	case i < 0:
		n.Why = append(n.Why, Difference{"block", "", b.Nodes[j].Block().Name})
		return n, true
	case j < 0:
		n.Why = append(n.Why, Difference{"block", a.Nodes[i].Block().Name, ""})
		return n, true
	}
	x, y := a.Nodes[i], b.Nodes[j]
	because := func(what, before, after string) {
		if before != after {
			n.Why = append(n.Why, Difference{what, before, after})
		}
	}
	because("block", x.Block().Name, y.Block().Name)
	because("copies", fmt.Sprint(a.Copies(x)), fmt.Sprint(b.Copies(y)))
	because("channels", fmt.Sprint(x.Use.Channels), fmt.Sprint(y.Use.Channels))
	for _, p := range parameters(x, y) {
		because(p, given(x, p), given(y, p))
	}
	because("code", style(x), style(y))
	own := len(n.Why) > 0
	because("lies in", strings.Join(n.Before.Banks, ", "), strings.Join(n.After.Banks, ", "))
	same := n.Before.Cycles == n.After.Cycles && n.Before.Stalls == n.After.Stalls && n.Before.Bytes == n.After.Bytes
	if same && !own {
		return n, len(n.Why) > 0
	}
	if !own {
		// Nothing of its own explains it: what is around it does.
		for _, s := range c.Settings {
			if s.What != "latency" && s.What != "tempo" {
				n.Why = append(n.Why, s)
			}
		}
	}
	return n, true
}

// parameters are the names of the parameters of either of two nodes.
func parameters(x, y *estimator.Node) []string {
	list := x.Block().ParamNames()
	for _, p := range y.Block().ParamNames() {
		if !slices.Contains(list, p) {
			list = append(list, p)
		}
	}
	return list
}

// given is what a parameter is set to, as the file has it or by its default;
// "": the block has no such parameter.
func given(n *estimator.Node, param string) string {
	if text, ok := n.Given[param]; ok {
		return text
	}
	if p, ok := n.Block().Param(param); ok {
		return p.DefaultText
	}
	return ""
}

// style is how the code of a node is written, in the words of the file.
func style(n *estimator.Node) string {
	words := []string{"block", "O2", "library", "single"}
	s := n.Use.Style
	for i, other := range []struct {
		is   bool
		word string
	}{{s.PerSample, "sample"}, {s.SizeOptimised, "Os"}, {s.Maths == blocks.ApproximateMaths, "approximate"}, {s.Double, "double"}} {
		if other.is {
			words[i] = other.word
		}
	}
	return strings.Join(words, " ")
}

func figuresOf(e *estimator.Estimate, name string) NodeFigures {
	i := e.Graph.Node(name)
	if i < 0 {
		return NodeFigures{}
	}
	cost := &e.Nodes[i]
	due, waits := e.Due(i)
	f := NodeFigures{There: true, Cycles: cost.Worst.Value + due.Value, Stalls: cost.Stalls.Value + waits.Value, Bytes: cost.State + cost.Buffers}
	for b := range e.Graph.Board.Banks {
		for k, o := range e.Objects {
			if o.Node == i && e.Placement.Bank[k] == b {
				f.Banks = append(f.Banks, e.Graph.Board.Banks[b].Name)
				break
			}
		}
	}
	return f
}

// ParseChange reads a change of the file that a person asks for, 'echo.time=1 s'
// or 'bass.count=2' or 'tempo=90 bpm': a node or group of the graph and a key,
// or a key at the top, and its value. What the value may be is for the reader
// of the graph to say.
func ParseChange(g *estimator.Graph, text string) (source.Edit, error) {
	name, value, found := strings.Cut(text, "=")
	if name = strings.TrimSpace(name); !found || name == "" {
		return source.Edit{}, &AxisError{fmt.Sprintf("'%s' changes nothing", text), "write it like 'echo.time=200 ms'"}
	}
	words := strings.Split(name, ".")
	e := source.Edit{Path: words, Text: strings.TrimSpace(value)}
	if len(words) == 1 {
		return e, nil
	}
	for cut := len(words) - 1; cut > 0; cut-- {
		owner := strings.Join(words[:cut], ".")
		if i := g.Node(owner); i >= 0 {
			e.Path = g.Path(g.Nodes[i], words[cut:]...)
			return e, nil
		}
		if slices.ContainsFunc(g.Groups, func(group *estimator.Group) bool { return group.Name == owner }) {
			e.Path = append([]string{"voices"}, words...)
			return e, nil
		}
	}
	return source.Edit{}, &AxisError{fmt.Sprintf("the graph has no node '%s'", strings.Join(words[:len(words)-1], ".")), source.DidYouMean(words[0], names(g))}
}
