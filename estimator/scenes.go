package estimator

import "slices"

// overlay lets the buffers of different scenes share memory: the largest of
// each scene lie on each other, then the next.
func (e *Estimate) overlay() {
	g := e.Graph
	scene := g.onlyScene()
	lists := make([][]Object, len(g.Scenes))
	var rest []Object
	for _, o := range e.Objects {
		if o.Node >= 0 && scene[o.Node] >= 0 && o.Part == PartBuffers && o.Pin < 0 {
			lists[scene[o.Node]] = append(lists[scene[o.Node]], o)
		} else {
			rest = append(rest, o)
		}
	}
	longest := 0
	for i := range lists {
		slices.SortStableFunc(lists[i], func(a, b Object) int { return int(b.Bytes - a.Bytes) })
		longest = max(longest, len(lists[i]))
	}
	e.Objects = rest
	for k := range longest {
		var shared Object
		for _, list := range lists {
			if k >= len(list) {
				continue
			}
			o := list[k]
			if shared.Name != "" {
				o.Name = shared.Name + " / " + o.Name
				o.Bytes = max(o.Bytes, shared.Bytes)
				o.Reads, o.Writes = max(o.Reads, shared.Reads), max(o.Writes, shared.Writes)
				o.Pattern, o.Element = max(o.Pattern, shared.Pattern), max(o.Element, shared.Element)
				o.Heads = max(o.Heads, shared.Heads)
			}
			shared = o
		}
		e.object(shared)
	}
}

// onlyScene tells for each node which one scene it runs in; -1: it runs always
// or in several.
func (g *Graph) onlyScene() []int {
	in := g.scenesOf()
	only := make([]int, len(g.Nodes))
	for i, scenes := range in {
		only[i] = -1
		if len(scenes) == 1 {
			only[i] = scenes[0]
		}
	}
	return only
}

// Plays tells whether a node runs while a scene plays: always, unless scenes
// name it.
func (g *Graph) Plays(node, scene int) bool {
	in := g.scenesOf()[node]
	return len(in) == 0 || slices.Contains(in, scene)
}

// scenesOf tells for each node which scenes it runs in; none: it runs always.
func (g *Graph) scenesOf() [][]int {
	in := make([][]int, len(g.Nodes))
	for k, s := range g.Scenes {
		for _, i := range s.Nodes {
			in[i] = append(in[i], k)
		}
		for _, group := range s.Groups {
			for _, i := range g.Groups[group].Nodes {
				in[i] = append(in[i], k)
			}
		}
	}
	return in
}
