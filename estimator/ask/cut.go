package ask

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// cutter looks for the cuts of a graph over two boards.
type cutter struct {
	graph   *estimator.Graph
	steps   []estimator.Step // the graph's schedule
	boards  [2]place
	units   []unit
	unitOf  []int // by node
	signals []signal
	order   []int // in which units are given to a board: neighbours follow each other

	// Of one search:
	level int
	left  int // steps
	side  []int8
	found []cut
}

// unit is what stays together: a node, or a group with all its nodes.
type unit struct {
	name  string
	path  []string // in the file
	nodes []int
	jacks [2]jackCounts // on either board, as what follows
	bytes [2]float64    // of data memory, at least
	load  [2]float64    // share of the cycles of the worst block, at least
	bar   [2]string     // the bank that the unit asks for and the board has not
}

// jackCounts are numbers of jacks in the order of blocks.JackNames.
type jackCounts [11]int

// place is one of the two boards, with what the graph takes there at least.
type place struct {
	name  string
	edits []source.Edit // that choose it
	board *blocks.Board
	alone bool
	jacks jackCounts // that it has
	bytes float64    // of data memory that it has
	load  float64    // share of the cycles that the system takes
}

// signal is an output that something reads.
type signal struct {
	name     string // as the file writes it
	source   estimator.Source
	unit     int
	kind     blocks.Kind
	channels int
	tied     string // why no jack carries it
	rate     blocks.Hertz
	readers  []reader
}

// reader is a place in the file that names an output.
type reader struct {
	unit, node int
	channel    int  // -1: all
	loop       bool // it leads back to the output
	path       []string
}

// cut is a board for each unit, and the load there is at least.
type cut struct {
	side []int8
	load float64
}

// Pulses of the gate output of the catalog, in seconds: the shortest, and what it
// gives where nothing is said. Half of the time between two is left as a gap.
const (
	shortestPulse = 0.1e-3
	usualPulse    = 5e-3
)

func newCutter(e *estimator.Estimate, boards [2]string) (*cutter, error) {
	g := e.Graph
	c := &cutter{graph: g, steps: e.Schedule.Steps, unitOf: make([]int, len(g.Nodes))}
	groups := make([]int, len(g.Groups))
	for k := range groups {
		groups[k] = -1
	}
	for i, n := range g.Nodes {
		if n.Group >= 0 && groups[n.Group] >= 0 {
			c.unitOf[i] = groups[n.Group]
			c.units[c.unitOf[i]].nodes = append(c.units[c.unitOf[i]].nodes, i)
			continue
		}
		u := unit{name: n.Name, path: g.Path(n), nodes: []int{i}}
		if n.Group >= 0 {
			group := g.Groups[n.Group]
			u.name, u.path = group.Name, []string{"voices", group.Name}
			groups[n.Group] = len(c.units)
		}
		c.unitOf[i] = len(c.units)
		c.units = append(c.units, u)
	}
	for k, name := range boards {
		if err := c.look(k, name); err != nil {
			return nil, err
		}
	}
	if err := c.wires(); err != nil {
		return nil, err
	}
	c.arrange()
	return c, nil
}

// look works out what the units take on a board.
func (c *cutter) look(k int, name string) error {
	g, p := c.graph, &c.boards[k]
	p.name = name
	if name != g.Board.Name {
		// Otherwise it may come from a file, under whose name alone the reader
		// finds it.
		p.edits = g.OnBoard(name)
	}
	bare := slices.Clone(p.edits)
	for _, n := range g.Nodes {
		if n.Pin != "" || len(n.Pins) > 0 {
			bare = append(bare, source.Edit{Path: g.Path(n, "bank"), Remove: true})
		}
	}
	on := standard{}.try(g, bare...)
	if on.after == nil {
		return &RefusedError{name, on.refusal}
	}
	e := on.after
	whole := standard{}.try(g, p.edits...)
	p.alone = whole.after != nil && whole.after.Verdict <= estimator.Tight
	p.board = e.Graph.Board
	for i, jack := range blocks.JackNames() {
		p.jacks[i] = p.board.Jack(jack).Count
	}
	for _, r := range e.Resources {
		if r.Kind == estimator.MemoryResource {
			p.bytes += r.Limit
		}
	}
	p.load = e.CPU.Worst.System.High / e.CPU.Budget
	for u := range c.units {
		c.weigh(k, &c.units[u], e)
	}
	return nil
}

// weigh adds up what a unit takes on a board at least. Where scenes share
// memory or the processor only what always runs is sure.
func (c *cutter) weigh(k int, u *unit, e *estimator.Estimate) {
	for _, i := range u.nodes {
		n := e.Graph.Nodes[i]
		if d, err := n.Use.Demand(e.Graph.Core); err == nil {
			for j, name := range blocks.JackNames() {
				u.jacks[k][j] += d.Jacks[name] * e.Graph.Copies(n)
			}
		}
		cost := &e.Nodes[i]
		if len(e.Graph.Scenes) == 0 {
			u.bytes[k] += float64(cost.State + cost.Buffers)
			sure := cost.Worst.High
			for _, part := range e.CycleParts(i) {
				if part.Name == "second call" {
					sure -= part.Worst.High // the loop may be cut
				}
			}
			u.load[k] += sure / e.CPU.Budget
		}
		was := c.graph.Nodes[i]
		pins := []string{was.Pin}
		for _, buffer := range slices.Sorted(maps.Keys(was.Pins)) {
			pins = append(pins, was.Pins[buffer])
		}
		for _, bank := range pins {
			if bank != "" && e.Graph.Board.BankIndex(bank) < 0 {
				u.bar[k] = bank
			}
		}
	}
}

// wires gathers the outputs that other units read.
func (c *cutter) wires() error {
	g := c.graph
	known := map[[3]int]int{}
	reach := c.reach()
	for i, n := range g.Nodes {
		read := func(src estimator.Source) error {
			if c.unitOf[src.Node] == c.unitOf[i] {
				return nil
			}
			key := [3]int{src.Node, src.Port, src.Group}
			at, ok := known[key]
			if !ok {
				at = len(c.signals)
				known[key] = at
				s, err := c.signal(src)
				if err != nil {
					return err
				}
				c.signals = append(c.signals, s)
			}
			s := &c.signals[at]
			s.readers = append(s.readers, reader{c.unitOf[i], i, src.Channel, reach[c.unitOf[i]][s.unit], g.SourcePath(src)})
			return nil
		}
		for _, in := range n.Inputs {
			for _, src := range in.Sources {
				if err := read(src); err != nil {
					return err
				}
			}
		}
		for _, d := range n.Drives {
			if err := read(d.Source); err != nil {
				return err
			}
		}
	}
	return nil
}

// signal is what an output is to a cable.
func (c *cutter) signal(src estimator.Source) (signal, error) {
	g := c.graph
	n := g.Nodes[src.Node]
	port := &n.Block().Outputs[src.Port]
	whole := src
	whole.Channel = -1
	s := signal{name: n.Name, source: whole, unit: c.unitOf[src.Node], kind: port.Kind, channels: g.Channels(whole)}
	if src.Group >= 0 {
		s.name = g.Groups[src.Group].Name
	} else if src.Port > 0 {
		s.name += "." + port.Name
	}
	if s.kind != blocks.Event {
		return s, nil
	}
	var err error
	if s.rate, err = n.Use.EventRate(port); err != nil {
		return s, err
	}
	switch {
	case n.Use.Own != nil:
		s.tied = "what events of own code carry nobody has said"
	case s.rate <= 0:
		s.tied = "no event ever comes"
	case 0.5/float64(s.rate) < shortestPulse:
		s.tied = fmt.Sprintf("pulses %v apart run into one another at a gate output", blocks.Seconds(1/float64(s.rate)))
	}
	return s, nil
}

// unfit tells why no board takes a unit, whatever else goes there; "": one may.
func (c *cutter) unfit(u *unit) string {
	var why []string
	for k := range c.boards {
		b := &c.boards[k]
		switch {
		case u.bar[k] != "":
			why = append(why, fmt.Sprintf("%s has no bank '%s'", b.board.Name, u.bar[k]))
		case u.bytes[k] > b.bytes:
			why = append(why, fmt.Sprintf("%s has %s of data memory for its %s", b.board.Name, blocks.Bytes(b.bytes).Down(), blocks.Bytes(u.bytes[k]).Down()))
		case b.load+u.load[k] > 1+slack:
			why = append(why, fmt.Sprintf("%s would spend up to %s of its cycles on it", b.board.Name, blocks.Percent(u.load[k])))
		default:
			return ""
		}
	}
	return strings.Join(slices.Compact(why), " and ")
}

// reach tells for each unit which units it leads to.
func (c *cutter) reach() [][]bool {
	next := make([][]int, len(c.units))
	for i, n := range c.graph.Nodes {
		for _, in := range n.Inputs {
			for _, src := range in.Sources {
				next[c.unitOf[src.Node]] = append(next[c.unitOf[src.Node]], c.unitOf[i])
			}
		}
		for _, d := range n.Drives {
			next[c.unitOf[d.Source.Node]] = append(next[c.unitOf[d.Source.Node]], c.unitOf[i])
		}
	}
	reach := make([][]bool, len(c.units))
	for u := range reach {
		reach[u] = make([]bool, len(c.units))
		for stack := slices.Clone(next[u]); len(stack) > 0; {
			v := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if !reach[u][v] {
				reach[u][v] = true
				stack = append(stack, next[v]...)
			}
		}
	}
	return reach
}

// arrange orders the units so that each follows what it is wired to, where it
// can: then cables show early.
func (c *cutter) arrange() {
	near := make([][]int, len(c.units))
	for _, s := range c.signals {
		for _, r := range s.readers {
			near[s.unit] = append(near[s.unit], r.unit)
			near[r.unit] = append(near[r.unit], s.unit)
		}
	}
	taken := make([]bool, len(c.units))
	for first := range c.units {
		for queue := []int{first}; len(queue) > 0; queue = queue[1:] {
			if u := queue[0]; !taken[u] {
				taken[u] = true
				c.order = append(c.order, u)
				queue = append(queue, near[u]...)
			}
		}
	}
}

// mostJacks is how many cables the outputs need if all of them cross.
func (c *cutter) mostJacks() int {
	most := 0
	for _, s := range c.signals {
		most += s.channels
	}
	return most
}

// cuts are the cuts with so many cables that may hold, and whether these are
// all.
func (c *cutter) cuts(level int) ([]cut, bool) {
	c.level, c.left, c.found = level, cutSteps, nil
	c.side = slices.Repeat([]int8{-1}, len(c.units))
	var t taking
	for k := range c.boards {
		t.load[k] = c.boards[k].load
	}
	c.assign(0, t)
	return c.found, c.left > 0 && len(c.found) < mostCuts
}

// taking is what the units that have a board take there.
type taking struct {
	jacks       [2]jackCounts
	bytes, load [2]float64
	units       [2]int
}

func (c *cutter) assign(k int, t taking) {
	if c.left--; c.left <= 0 || len(c.found) >= mostCuts {
		return
	}
	if k == len(c.order) {
		if cables, ok := c.cables(t.jacks); ok && cables == c.level && t.units[0] > 0 && t.units[1] > 0 {
			c.found = append(c.found, cut{slices.Clone(c.side), max(t.load[0], t.load[1])})
		}
		return
	}
	i := c.order[k]
	u := &c.units[i]
	for side := range 2 {
		if u.bar[side] != "" || side == 1 && k == 0 && c.boards[0].name == c.boards[1].name {
			continue // with boards that are the same, the first unit may stay
		}
		next := t
		next.units[side]++
		next.bytes[side] += u.bytes[side]
		next.load[side] += u.load[side]
		for j, n := range u.jacks[side] {
			next.jacks[side][j] += n
		}
		b := &c.boards[side]
		if next.bytes[side] > b.bytes || next.load[side] > 1+slack {
			continue
		}
		c.side[i] = int8(side)
		if cables, ok := c.cables(next.jacks); ok && cables <= c.level {
			c.assign(k+1, next)
		}
		c.side[i] = -1
	}
}

// jackOf are the jacks at the two ends of a cable, by the kind of what it
// carries, as indices in blocks.JackNames.
var jackOf = func() (list [3][2]int) {
	for kind, names := range map[blocks.Kind][2]string{
		blocks.Audio: {"audio_out", "audio_in"}, blocks.Control: {"cv_out", "cv_in"}, blocks.Event: {"gate_out", "gate_in"},
	} {
		for end, name := range names {
			list[kind][end] = slices.Index(blocks.JackNames(), name)
		}
	}
	return list
}()

// cables counts those between units that have a board, and tells whether there
// are jacks enough and no output crosses that cannot.
func (c *cutter) cables(jacks [2]jackCounts) (sum int, ok bool) {
	for i := range c.signals {
		s := &c.signals[i]
		n := s.cables(c.side)
		if n == 0 {
			continue
		}
		if s.tied != "" {
			return 0, false
		}
		sum += n
		from := c.side[s.unit]
		jacks[from][jackOf[s.kind][0]] += n
		jacks[1-from][jackOf[s.kind][1]] += n
	}
	for k := range jacks {
		for j, n := range jacks[k] {
			if n > c.boards[k].jacks[j] {
				return 0, false
			}
		}
	}
	return sum, true
}

// cables is how many cables a signal needs: one for each of its channels, or
// only one where all that is read beyond the cut is the same channel.
func (s *signal) cables(side []int8) int {
	n, only := 0, 0
	from := side[s.unit]
	if from < 0 {
		return 0
	}
	for _, r := range s.readers {
		if side[r.unit] < 0 || side[r.unit] == from {
			continue
		}
		if n == 0 {
			n, only = 1, r.channel
		}
		if r.channel < 0 || r.channel != only {
			return s.channels
		}
	}
	return n
}
