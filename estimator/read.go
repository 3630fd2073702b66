package estimator

import (
	"slices"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// Limits of what is read. They are far beyond any board here and keep every
// later sum within whole numbers.
const (
	MaxBlockSize  = 8192
	MinSampleRate = 1000
	MaxSampleRate = 768000
	MaxVoices     = 1024
	maxCopies     = 16384 // of all nodes, voices counted: what 256 MiB can hold of the largest
	maxChannels   = 64
)

// Options change what a graph file says.
type Options struct {
	// Load reads a file that the graph names into the library: the path as it
	// stands in the graph. It returns the board's name where the file holds one
	// and "" otherwise; it records its own mistakes. Without it a graph that
	// names files is refused. It is asked again for a changed graph, and answers
	// the same.
	Load func(path source.Value) (board string)
	// Unmeasured leaves out what was measured, to be measured against.
	Unmeasured bool
	// Board, SampleRate and BlockSize replace the file's; not given: they don't.
	Board, SampleRate, BlockSize source.Value
}

// Read reads a graph file. On any mistake it returns no graph; all mistakes
// that could be found are in errs.
func Read(file *source.File, lib *blocks.Library, opts Options, errs *source.Errors) *Graph {
	root := source.Parse(file, errs)
	if !root.Given() {
		return nil
	}
	return readGraph(root, lib, opts, errs)
}

func readGraph(root source.Value, lib *blocks.Library, opts Options, errs *source.Errors) *Graph {
	before := errs.Len()
	r := &graphReader{
		g:      &Graph{File: root.File(), library: lib, opts: opts, root: root, Reserve: Reserve{CPU: 0.20, Memory: 0.05, Flash: 0.05}},
		lib:    lib,
		opts:   opts,
		errs:   errs,
		limits: map[*blocks.Param]paramLimits{},
		outer:  scope{nodes: map[string]int{}, groups: map[string]int{}},
		named:  map[string]bool{},
	}
	r.top(root)
	if errs.Len() > before {
		return nil
	}
	return r.g
}

// scope is the names that a source may use.
type scope struct {
	nodes, groups map[string]int
	within        *scope
}

type graphReader struct {
	g       *Graph
	lib     *blocks.Library
	opts    Options
	errs    *source.Errors
	base    blocks.Timebase
	style   blocks.Style
	limits  map[*blocks.Param]paramLimits
	outer   scope
	named   map[string]bool // the names of all nodes and groups that were met
	pending []pendingNode

	// incomplete is set where a catalog file could not be read: a name that is
	// not known then is no second mistake.
	incomplete bool
}

func (r *graphReader) top(v source.Value) {
	before := r.errs.Len()
	o := v.Object("the graph")
	g := r.g
	for _, path := range o.Take("catalog").OneOrMore() {
		path.Text("the path of a catalog file")
		if path.IsText() {
			_, ok := r.load(path)
			r.incomplete = r.incomplete || !ok
		}
	}
	r.lib.Prepare(v.Below("block"))
	r.board(o.Take("board"), o)
	r.rates(o)
	if tempo, ok := r.base.ReadSpan(o.Take("tempo"), blocks.UnitTempo); ok {
		g.Tempo = tempo
	} else if o.Has("tempo") {
		g.Tempo = blocks.Span{Low: 60, High: 60} // so that note values are not mistakes too
	}
	r.base = blocks.Timebase{SampleRate: g.SampleRate, Tempo: g.Tempo}
	r.reserve(o.Take("reserve"))
	r.style = r.code(o.Take("code"), blocks.Style{}, r.run)

	nodes, voices, scenes := o.Need("nodes"), o.Take("voices"), o.Take("scenes")
	r.nodes(nodes, &r.outer, -1)
	r.voices(voices)
	r.scenes(scenes)
	r.symbols(o.Take("symbols"))
	r.regions(o.Take("regions"))
	o.Done("key")
	if copies := g.copies(); copies > maxCopies {
		o.At().Fail("", "the nodes and their voices are %d copies, more than the %d that are read", copies, maxCopies)
		return
	}
	for _, p := range r.pending {
		r.connect(p)
	}
	if r.errs.Len() == before {
		r.spread()
	}
}

func (r *graphReader) voices(v source.Value) {
	for _, m := range v.Object("voices").Rest() {
		if !isNodeName(m.Name) {
			r.misnamed(m, "a group")
		}
		if _, taken := r.outer.nodes[m.Name]; taken {
			m.Key.Fail("", "a node is named '%s' already", m.Name)
			continue
		}
		o := m.Value.Object("'" + m.Name + "'")
		g := &Group{Name: m.Name, Place: m.Key, Count: 1, Out: -1}
		index := len(r.g.Groups)
		r.g.Groups = append(r.g.Groups, g)
		r.outer.groups[m.Name] = index
		count := o.Need("count")
		if c, ok := r.base.ReadValue(count, blocks.UnitCount); ok {
			if c < 1 || c > MaxVoices {
				count.Fail("", "a group has from 1 to %d voices", MaxVoices)
			} else {
				g.Count = int(c)
			}
		}
		sc := &scope{nodes: map[string]int{}, groups: map[string]int{}, within: &r.outer}
		r.nodes(o.Need("nodes"), sc, index)
		out := o.Need("out")
		if name := out.Text("the name of a node"); out.IsText() {
			i, ok := sc.nodes[name]
			if !ok && len(g.Nodes) == 0 {
				// that there are none was told
			} else if !ok {
				out.Fail(source.DidYouMean(name, keys(sc.nodes)), "the group has no node '%s'", name)
			} else if b := r.g.Nodes[i].Use.Block; b != nil && (len(b.Outputs) == 0 || b.Outputs[0].Kind != blocks.Audio) {
				out.Fail("", "'%s' gives no audio", name)
			} else {
				g.Out = i
			}
		}
		o.Done("key")
	}
}

func (r *graphReader) scenes(v source.Value) {
	for _, m := range v.Object("scenes").Rest() {
		if m.Name == "overlay" {
			r.g.Overlay = m.Value.Truth()
			continue
		}
		scene := Scene{Name: m.Name}
		for _, nv := range m.Value.Items("a list of nodes") {
			name := nv.Text("the name of a node")
			if !nv.IsText() {
				continue
			}
			twice := false
			if i, ok := r.outer.nodes[name]; ok {
				twice = slices.Contains(scene.Nodes, i)
				scene.Nodes = append(scene.Nodes, i)
			} else if i, ok := r.outer.groups[name]; ok {
				twice = slices.Contains(scene.Groups, i)
				scene.Groups = append(scene.Groups, i)
			} else {
				r.unknownNode(nv, name, &r.outer)
			}
			if twice {
				nv.Fail("", "'%s' stands twice in the scene", name)
			}
		}
		r.g.Scenes = append(r.g.Scenes, scene)
	}
	if v.IsMapping() && len(r.g.Scenes) < 2 {
		v.Fail("", "scenes are at least two: parts that never sound together")
	}
}
