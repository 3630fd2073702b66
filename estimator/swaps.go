package estimator

import (
	"cmp"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// Swap is one lighter stand-in for one node, tried on the whole graph.
type Swap struct {
	Node    int    // index in the graph's nodes
	Change  string // what to write in the file: "format: int16"
	Heard   string // what is heard, in the catalog's words
	Effects []Effect
	Loss    float64 // points, times the node's importance
	Relief  float64 // shares of the limits that what does not fit is relieved by
	Memory  blocks.Bytes
	Flash   blocks.Bytes
	Cycles  float64 // of the worst block
	Verdict Verdict // of the graph with the swap
	After   *Estimate

	name  string
	moves []move
	words []string // what is heard, of each change
	graph *Graph   // with the swap
}

// Moves is how many changes it is made of: substitutes, and values that are set.
func (w *Swap) Moves() int { return len(w.moves) }

// move is one change of a node, worked out for the graph that it is to be made
// in, which other changes may have made another since. It is false where it
// cannot be made there.
type move func(g *Graph, i int) ([]source.Edit, bool, error)

// Effect is a metric before and after a swap, and the points it loses.
type Effect struct {
	Metric        *blocks.Metric
	Before, After blocks.Reading
	Points        float64
}

// triedNodes bounds the work of trying swaps: each try estimates the graph
// again, so graphs of many nodes get fewer tries. It counts steps, not time, so
// that every machine gives the same answer.
const triedNodes = 20000

const (
	// leastRelief is the smallest relief worth a line, as a share of a limit.
	leastRelief = 0.001
	// LeastHelp is the smallest part of all that is beyond its limit that a swap
	// must take away to be called a help; house judgement.
	LeastHelp = 0.01
)

// Swaps tries every substitute that the catalog names for a node and returns
// those that relieve what does not fit, the most relief for the least loss
// first. A graph that fits gets none.
func (e *Estimate) Swaps() ([]Swap, error) {
	g := e.Graph
	if e.Verdict < Unsure {
		return nil, nil
	}
	tries := triedNodes / max(len(g.Nodes), 1)
	least := max(leastRelief, LeastHelp*e.Excess(OfBoard))
	var swaps []Swap
	for _, i := range e.dearest() {
		if g.Nodes[i].Keep {
			continue
		}
		for k := range g.Nodes[i].Block().Substitutes {
			if tries--; tries < 0 {
				break
			}
			sub := &g.Nodes[i].Block().Substitutes[k]
			s, err := e.make(i, substituted(sub, nil), byCatalog(sub))
			if err != nil {
				return nil, err
			}
			if s != nil && s.estimate(e) && s.Relief >= least {
				swaps = append(swaps, *s)
			}
		}
	}
	Rank(swaps)
	return swaps, nil
}

// Rank sorts swaps, the most relief for the least loss first.
func Rank(swaps []Swap) {
	slices.SortStableFunc(swaps, func(a, b Swap) int {
		return cmp.Or(cmp.Compare(b.Relief*(a.Loss+1), a.Relief*(b.Loss+1)), cmp.Compare(a.Loss, b.Loss))
	})
}

// WithSwaps is the graph with swaps made in it, which may be of another graph of
// the same file, each of its own node; nil where they do not go together. Moves
// at different places are made in one reading of the file.
func (g *Graph) WithSwaps(swaps ...*Swap) (*Graph, error) {
	made := make([]int, len(swaps)) // moves
	for {
		var edits []source.Edit
		done := true
		for k, s := range swaps {
			if made[k] == len(s.moves) {
				continue
			}
			done = false
			i := g.Node(s.name)
			if i < 0 {
				return nil, nil
			}
			more, ok, err := s.moves[made[k]](g, i)
			if err != nil || !ok {
				return nil, err
			}
			if source.Meet(edits, more) {
				continue
			}
			edits = append(edits, more...)
			made[k]++
		}
		if done {
			return g, nil
		}
		var err error
		if g, err = g.With(edits...); err != nil {
			return nil, nil // the reader refuses what does not go together
		}
	}
}

// told says what is heard of each change of a swap, from the metrics that change.
type told func([]Effect) []string

// plainly tells the same, whatever changes.
func plainly(heard string) told { return func([]Effect) []string { return []string{heard} } }

const (
	// andThen stands between what is heard of several substitutes, and again
	// behind what is heard of one that is made twice.
	andThen = "; "
	again   = ", and that again"
	// unheard is of a number that is turned down with no metric the worse for it.
	unheard = "nothing that any figure of what it gives the ear would tell"
)

// substituted tells of a substitute of the catalog, laid upon another swap where
// there is one.
func substituted(sub *blocks.Substitute, upon *Swap) told {
	return func(effects []Effect) []string {
		var words []string
		var before []Effect
		if upon != nil {
			words, before = slices.Clone(upon.words), upon.Effects
		}
		if sub.Block == "" && len(sub.Set) == 0 && slices.Equal(effects, before) {
			if len(words) == 0 {
				return []string{unheard}
			}
			return words
		}
		words = slices.DeleteFunc(words, func(w string) bool { return w == unheard })
		for k, w := range words {
			if w == sub.Heard && len(sub.Scale) == 0 {
				return words
			}
			if strings.TrimSuffix(w, again) == sub.Heard {
				words[k] = sub.Heard + again
				return words
			}
		}
		return append(words, sub.Heard)
	}
}

// make makes a swap in the graph; nil: it cannot be made, or nothing would
// change.
func (e *Estimate) make(i int, heard told, moves ...move) (*Swap, error) {
	n := e.Graph.Nodes[i]
	s := &Swap{Node: i, name: n.Name, moves: moves}
	var err error
	if s.graph, err = e.Graph.WithSwaps(s); s.graph == nil || err != nil {
		return nil, err
	}
	hearing, err := s.graph.library.Hearing()
	if err != nil {
		return nil, err
	}
	if m := s.node(); m == nil {
		s.Change = "leave it out"
		s.Effects = leftOut(hearing)
	} else {
		if m.Use.Same(&n.Use) {
			return nil, nil
		}
		if s.Effects, err = effects(hearing, n, m); err != nil {
			return nil, nil // a metric that cannot be worked out with these values
		}
		s.Change = e.Graph.change(n, s.graph, m)
	}
	for _, f := range s.Effects {
		s.Loss += f.Points * n.Importance
	}
	s.words = heard(s.Effects)
	s.Heard = strings.Join(s.words, andThen)
	return s, nil
}

// node is what became of the node that is swapped; nil: it is left out.
func (s *Swap) node() *Node {
	if i := s.graph.Node(s.name); i >= 0 {
		return s.graph.Nodes[i]
	}
	return nil
}

// estimate works out what a swap does to the graph, and is false where it cannot
// be worked out with its values.
func (s *Swap) estimate(e *Estimate) bool {
	var err error
	if s.After, err = s.graph.Estimate(); err != nil {
		return false
	}
	s.Verdict, s.Relief = s.After.Verdict, Relief(e, s.After, OfBoard)
	s.Memory, s.Flash = e.Bytes(MemoryResource)-s.After.Bytes(MemoryResource), e.Bytes(FlashResource)-s.After.Bytes(FlashResource)
	s.Cycles = e.CPU.Worst.Total().Value - s.After.CPU.Worst.Total().Value
	return true
}

func byCatalog(sub *blocks.Substitute) move {
	return func(g *Graph, i int) ([]source.Edit, bool, error) { return g.substitute(i, sub) }
}

// Alternatives tries what could stand in for a node: what the catalog names, up
// to so many of its substitutes one on top of the other; the short forms of the
// functions it calls; single for double precision; one channel for several; and
// to leave it out, where the file allows that. At most so many are tried. What
// is no lighter than something that loses no more is left out.
func (e *Estimate) Alternatives(i, deep, most int) ([]Swap, error) {
	a := alternatives{e: e, node: i, most: most}
	n := e.Graph.Nodes[i]
	if n.Optional {
		a.try(plainly("it is gone"), (*Graph).leaveOut)
	}
	level := []layer{{block: n.Block()}}
	for _, m := range e.plainMoves(n) {
		if s := a.try(plainly(m.heard), m.move); s != nil {
			level = append(level, layer{swap: s, block: n.Block()})
		}
	}
	for range deep {
		var next []layer
		for _, from := range level {
			next = append(next, a.onto(from)...)
		}
		level = next
	}
	return e.lighter(a.found), a.failed
}

// alternatives gathers what could stand in for a node.
type alternatives struct {
	e      *Estimate
	node   int
	most   int
	found  []Swap
	failed error
}

// layer is a stand-in that others are laid upon.
type layer struct {
	swap  *Swap // nil: the node as it stands
	block *blocks.Block
	from  int // substitutes of its block before this one were tried below it
}

func (a *alternatives) try(heard told, moves ...move) *Swap {
	if len(a.found) >= a.most || a.failed != nil {
		return nil
	}
	s, err := a.e.make(a.node, heard, moves...)
	a.failed = err
	if s == nil || slices.ContainsFunc(a.found, s.alike) || !s.estimate(a.e) {
		return nil
	}
	a.found = append(a.found, *s)
	return s
}

// onto lays the substitutes of a stand-in's block upon it. Those of one block
// are laid in one order only, since they give the same in any.
func (a *alternatives) onto(l layer) []layer {
	var next []layer
	for k := range l.block.Substitutes {
		sub := &l.block.Substitutes[k]
		if k < l.from && sub.Block == "" {
			continue
		}
		moves := []move{byCatalog(sub)}
		if l.swap != nil {
			moves = append(slices.Clip(l.swap.moves), moves...)
		}
		s := a.try(substituted(sub, l.swap), moves...)
		switch {
		case s == nil:
		case sub.Block == "":
			next = append(next, layer{s, l.block, k})
		default:
			next = append(next, layer{s, s.node().Block(), 0})
		}
	}
	return next
}

// plainMove is a change that no block's entry needs to name.
type plainMove struct {
	heard string
	move  move
}

func (e *Estimate) plainMoves(n *Node) []plainMove {
	var list []plainMove
	write := func(text string, key ...string) move {
		return func(g *Graph, i int) ([]source.Edit, bool, error) {
			return []source.Edit{{Path: g.Path(g.Nodes[i], key...), Text: text}}, true, nil
		}
	}
	if _, calls := n.Use.MathsError(); calls && n.Use.Style.Maths == blocks.LibraryMaths {
		list = append(list, plainMove{"the functions it calls in their short forms", write("approximate", "code", "maths")})
	}
	if n.Use.Style.Double {
		list = append(list, plainMove{"arithmetic in single precision, as written for this core", write("single", "precision")})
	}
	if out, ok := n.Block().Output(""); ok && out.Kind == blocks.Audio && takesChannels(n.Block()) && n.outChannels(0) > 1 {
		list = append(list, plainMove{"one channel in place of several", write("1", "channels")})
	}
	return list
}

// alike tells whether another swap of the node makes the same of it.
func (s *Swap) alike(t Swap) bool {
	m, n := s.node(), t.node()
	if m == nil || n == nil {
		return m == n
	}
	return m.Use.Same(&n.Use)
}

// lighter keeps the swaps that are lighter than the graph as it stands in
// something, and not heavier in everything than one that loses no more.
func (e *Estimate) lighter(swaps []Swap) []Swap {
	none := Swap{After: e}
	var kept []Swap
	for i := range swaps {
		s := &swaps[i]
		if none.noHeavier(s) {
			continue
		}
		beaten := false
		for k := range swaps {
			t := &swaps[k]
			beaten = beaten || k != i && t.Loss <= s.Loss && t.noHeavier(s) && (k < i || t.Loss < s.Loss || !s.noHeavier(t))
		}
		if !beaten {
			kept = append(kept, *s)
		}
	}
	return kept
}

// noHeavier tells whether a swap leaves the graph with no more of anything than
// another does, and with no code that the other does without.
func (s *Swap) noHeavier(t *Swap) bool {
	for _, r := range s.After.Resources {
		if r.Kind != MemoryResource && r.Used.High > t.After.Resource(r.Name).Used.High {
			return false
		}
	}
	return s.After.Bytes(MemoryResource) <= t.After.Bytes(MemoryResource) &&
		largest(s.After) <= largest(t.After) &&
		!slices.ContainsFunc(s.After.code, func(f flashItem) bool {
			return !slices.ContainsFunc(t.After.code, func(o flashItem) bool { return o.key() == f.key() })
		})
}

// largest is the largest piece of memory.
func largest(e *Estimate) blocks.Bytes {
	var most blocks.Bytes
	for i := range e.Objects {
		most = max(most, e.Objects[i].Bytes)
	}
	return most
}

// dearest lists the nodes by what they take of what does not fit.
func (e *Estimate) dearest() []int {
	share := make([]float64, len(e.Nodes))
	for _, r := range e.Resources {
		if r.Verdict < Unsure || r.Limit <= 0 {
			continue
		}
		for i, c := range e.Nodes {
			switch r.Kind {
			case CPUResource:
				share[i] += e.Costliest(i).Value / r.Limit
			case MemoryResource:
				share[i] += float64(c.Buffers+c.State) / r.Limit
			}
		}
	}
	order := make([]int, len(e.Nodes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(share[b], share[a]) })
	return order
}

// Bytes is what is used of all banks of a kind.
func (e *Estimate) Bytes(kind ResourceKind) blocks.Bytes {
	var sum blocks.Bytes
	for i := range e.Banks {
		constant := e.Graph.Board.Banks[i].Kind.Constant()
		if constant == (kind == FlashResource) {
			sum += e.Banks[i].Used
		}
	}
	return sum
}

// Resource is a resource by name; one that nothing uses is zero.
func (e *Estimate) Resource(name string) Resource {
	for _, r := range e.Resources {
		if r.Name == name {
			return r
		}
	}
	return Resource{Name: name}
}
