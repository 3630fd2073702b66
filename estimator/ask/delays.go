package ask

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// DelayLine is the block of the catalog that delays are asked about.
const DelayLine = "delay"

// Length is how long a delay is.
type Length struct {
	Text    string // as it was asked for: "350 ms", "3/8", "clock / 3"
	Seconds float64
}

// Line is how a delay is kept.
type Line struct {
	Format   string // of a sample: a choice of the block
	Channels int
	Rate     blocks.Hertz
}

// DelayQuestion is which delays are asked about.
type DelayQuestion struct {
	Node    string // the delay of the graph that changes; "": one more beside all that is there
	Lengths []Length
	Lines   []Line
	Tempo   blocks.Span // beats a minute; zero: not known
	Notes   []string    // note values whose slowest tempo is asked for
}

// DelayAnswer is what delays take, and how long they can be.
type DelayAnswer struct {
	Estimate *estimator.Estimate // of the graph as it is
	Banks    []string            // that hold data, fastest first
	Held     []Held              // for each line each length
	Longest  []Longest           // for each line each bank
}

// Held is what a delay of one length takes.
type Held struct {
	Length
	Line
	Samples int          // a channel
	Bytes   blocks.Bytes // of the line, all copies of the node together
	Rooms   []Room       // one for each bank
	Refusal string       // why there is no such delay; then all else is zero
}

// Room is what a delay does to a bank that it lies in.
type Room struct {
	Fits bool
	// Left is what stays free of the bank; of a delay that finds no room what
	// is missing, below zero: by how much it is larger than the longest that
	// the bank holds with all else around it.
	Left   blocks.Bytes
	Stalls blocks.Figure       // cycles a block that the delay waits for memory
	Stop   *estimator.Resource // what does not fit; nil: it fits
}

// Longest is the longest delay that a bank still holds.
type Longest struct {
	Line
	Bank    string
	Samples int // 0: none
	Seconds float64
	Bytes   blocks.Bytes
	Beats   float64   // at the slowest tempo; 0: no tempo is known
	Tempos  []float64 // the slowest beats a minute at which each note fits, rounded up to 0.01
	Stop    Stop      // what one sample more does not fit
}

// Delays answers how much memory delays take and how long they can be. A delay
// lies in each bank of the board in turn, while all else is placed around it
// anew. The error is that the graph has no such node, that all of the delays are
// refused, or that of the context, where it ends before all is tried.
func Delays(ctx context.Context, e *estimator.Estimate, q DelayQuestion) (*DelayAnswer, error) {
	s, err := newShelf(e, q.Node)
	if err != nil {
		return nil, err
	}
	a := &DelayAnswer{Estimate: e}
	for i := range e.Graph.Board.Banks {
		if b := &e.Graph.Board.Banks[i]; !b.Kind.Constant() {
			a.Banks = append(a.Banks, b.Name)
		}
	}
	a.Held = make([]Held, len(q.Lines)*len(q.Lengths))
	each(len(a.Held), func(i int) {
		if ctx.Err() == nil {
			a.Held[i] = s.held(q.Lengths[i%len(q.Lengths)], q.Lines[i/len(q.Lengths)], a.Banks)
		}
	})
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(a.Held) > 0 && !slices.ContainsFunc(a.Held, func(h Held) bool { return h.Refusal == "" }) {
		return nil, &AxisError{Message: a.Held[0].Refusal}
	}
	a.Longest = make([]Longest, len(q.Lines)*len(a.Banks))
	each(len(a.Longest), func(i int) {
		if ctx.Err() != nil {
			return
		}
		l := s.longest(ctx, q.Lines[i/len(a.Banks)], a.Banks[i%len(a.Banks)])
		l.Beats = l.Seconds * q.Tempo.Low / 60
		for _, note := range q.Notes {
			l.Tempos = append(l.Tempos, slowest(note, l.Seconds))
		}
		a.Longest[i] = l
	})
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for i := range a.Held {
		h := &a.Held[i]
		for b := range h.Rooms {
			longest := &a.Longest[i/len(q.Lengths)*len(a.Banks)+b]
			if r := &h.Rooms[b]; r.Left < 0 && longest.Samples > 0 {
				r.Left = longest.Bytes - h.Bytes
			}
		}
	}
	return a, nil
}

// slowest is the slowest tempo at which a note value is no longer than a time,
// rounded up to 0.01 bpm; 0: none is.
func slowest(note string, seconds float64) float64 {
	at60, err := blocks.Parse(note, blocks.UnitTime, blocks.Timebase{Tempo: blocks.Span{Low: 60, High: 60}})
	if err != nil || seconds <= 0 {
		return 0
	}
	return math.Ceil(at60.High*60/seconds*100-slack) / 100
}

// shelf puts delays into a graph.
type shelf struct {
	standard
	graph *estimator.Graph
	name  string   // of the node
	path  []string // to it in the file
	edits []source.Edit
}

func newShelf(e *estimator.Estimate, node string) (*shelf, error) {
	g := e.Graph
	s := &shelf{standard: newStandard(e), graph: g, name: node}
	if node != "" {
		i := g.Node(node)
		if i < 0 {
			return nil, unknownDelay(g, node, "the graph has no node '%s'")
		}
		if g.Nodes[i].Block().Name != DelayLine {
			return nil, unknownDelay(g, node, "'%s' is no "+DelayLine)
		}
		s.path = g.Path(g.Nodes[i])
		return s, nil
	}
	// What feeds the new delay costs nothing itself.
	feed := unused(g, "what-comes-in")
	s.name = unused(g, "the-delay")
	s.path = []string{"nodes", s.name}
	s.edits = []source.Edit{
		{Path: []string{"nodes", feed, "block"}, Text: "own-code"},
		{Path: []string{"nodes", feed, "outputs", "out"}, Text: "audio"},
		{Path: []string{"nodes", s.name, "block"}, Text: DelayLine},
		{Path: []string{"nodes", s.name, "from"}, Text: feed},
	}
	return s, nil
}

func unknownDelay(g *estimator.Graph, node, format string) error {
	var delays []string
	for _, n := range g.Nodes {
		if n.Block().Name == DelayLine {
			delays = append(delays, n.Name)
		}
	}
	hint := source.DidYouMean(node, delays)
	if hint == "" && len(delays) > 0 {
		hint = fmt.Sprintf("its delays are %s", strings.Join(delays, ", "))
	}
	return &AxisError{fmt.Sprintf(format, node), hint}
}

// unused is a name that no node of the graph has.
func unused(g *estimator.Graph, name string) string {
	for g.Node(name) >= 0 || slices.ContainsFunc(g.Groups, func(group *estimator.Group) bool { return group.Name == name }) {
		name += "-too"
	}
	return name
}

// with is the graph with a delay of a line's kind in a bank.
func (s *shelf) with(time string, l Line, bank string) []source.Edit {
	under := func(key, text string) source.Edit {
		return source.Edit{Path: append(slices.Clone(s.path), key), Text: text}
	}
	return append(slices.Clone(s.edits),
		source.Edit{Path: []string{SampleRate}, Text: blocks.UnitFrequency.Format(float64(l.Rate))},
		under("time", time), under("format", l.Format), under("channels", strconv.Itoa(l.Channels)), under("bank", bank))
}

func (s *shelf) held(length Length, l Line, banks []string) Held {
	h := Held{Length: length, Line: l, Rooms: make([]Room, len(banks))}
	for i, bank := range banks {
		p := s.try(s.graph, s.with(blocks.UnitTime.Format(length.Seconds), l, bank)...)
		if p.after == nil {
			return Held{Length: length, Line: l, Refusal: p.refusal}
		}
		g := p.after.Graph
		node := p.after.Nodes[g.Node(s.name)]
		h.Bytes = node.Buffers
		h.Samples = int(math.Ceil(length.Seconds*float64(l.Rate) - slack*length.Seconds*float64(l.Rate)))
		r := Room{Fits: p.holds, Stalls: node.Stalls, Stop: p.stop}
		use := &p.after.Banks[g.Board.BankIndex(bank)]
		r.Left = use.Usable - use.Used
		if p.short.memory > 0 {
			r.Left = -blocks.Bytes(math.Ceil(p.short.memory))
		}
		h.Rooms[i] = r
	}
	return h
}

// longest looks for the longest delay in a bank, exactly to the sample.
func (s *shelf) longest(ctx context.Context, l Line, bank string) Longest {
	out := Longest{Line: l, Bank: bank}
	// A block is the least that closes a loop, which the delay may be part of.
	shortest := s.try(s.graph, s.with(strconv.Itoa(s.graph.BlockSize)+" samples", l, bank)...)
	if !shortest.holds {
		out.Stop = Stop{Resource: shortest.stop, Refusal: shortest.refusal}
		return out
	}
	seek := seeker{standard: s.standard, base: shortest.after, now: shortest, ended: ctx.Err}
	d, err := Find(shortest.after.Graph, s.name+".time")
	if err != nil {
		out.Stop.Refusal = err.Error()
		return out
	}
	seek.now.value, seek.now.step = d.Now, d.grid().floor(d.Now)
	_, high := d.ends()
	farthest := seek.at(d, high)
	if !farthest.holds {
		var fails point
		farthest, fails = seek.narrow(d, seek.now, farthest)
		out.Stop = Stop{Resource: fails.stop, Refusal: fails.refusal}
	}
	out.Samples, out.Seconds = farthest.step, farthest.value
	out.Bytes = farthest.after.Nodes[farthest.after.Graph.Node(s.name)].Buffers
	return out
}

// Notes reads note values, each as long as it is at the slowest tempo.
func Notes(texts []string, tempo blocks.Span) ([]Length, error) {
	var lengths []Length
	for _, text := range texts {
		span, err := blocks.Parse(text, blocks.UnitTime, blocks.Timebase{Tempo: tempo})
		if err != nil {
			return nil, err
		}
		lengths = append(lengths, Length{text, span.High})
	}
	return lengths, nil
}

// Divisions are the periods of a clock of so many seconds at its slowest,
// divided.
func Divisions(clock float64, by []int) []Length {
	var lengths []Length
	for _, n := range by {
		lengths = append(lengths, Length{"clock / " + strconv.Itoa(n), clock / float64(n)})
	}
	return lengths
}
