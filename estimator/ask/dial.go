// Package ask answers the questions around a verdict: how far each number of a
// graph can be turned until it no longer fits, what a grid of settings costs,
// which length of delay a board can hold, which boards hold a graph, and what
// differs between two graphs.
//
// Every answer comes from changing the graph (estimator.Graph.With) and
// estimating it again, so that it is what a person would be told who had
// written the change by hand. Start at Limits. Nothing here opens a file or
// looks at a clock; the work is spread over the processors there are, and the
// answer does not depend on how many.
package ask

import (
	"cmp"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// End is which end of a span a dial turns.
type End uint8

// A dial is one value; or the near or the far end of a span that something
// moves a parameter over.
const (
	Single End = iota
	Near
	Far
)

// Dial is one number of a graph that can be turned: a numeric parameter of a
// node or an end of its span, the voices of a group, the sample rate or the
// block size.
type Dial struct {
	Name  string // "echo.time", "bass.count", "block_size"
	End   End
	Unit  blocks.Unit
	Now   float64     // in the unit's base, as Range
	Range blocks.Span // what the reader takes

	path  []string
	other float64 // the end of the span that stays
	stays string  // as it is written
	given string  // how the file writes the value; "" where it does not, or only with the other end
	rate  blocks.Hertz
	node  int // index in the graph's nodes; -1: it belongs to no single node
	param int // index in the block's parameters
}

// Names of the dials that belong to no node.
const (
	SampleRate = "sample_rate"
	BlockSize  = "block_size"
)

// Dials are all numbers of a graph that can be turned: sample rate and block
// size, the voices of each group, and the parameters of each node in the order
// of the file. Of a parameter that is moved both ends are dials.
func Dials(g *estimator.Graph) []*Dial {
	dials := []*Dial{
		{Name: SampleRate, Unit: blocks.UnitFrequency, Now: float64(g.SampleRate),
			Range: blocks.Span{Low: estimator.MinSampleRate, High: estimator.MaxSampleRate}, path: []string{SampleRate}},
		{Name: BlockSize, Unit: blocks.UnitCount, Now: float64(g.BlockSize),
			Range: blocks.Span{Low: 1, High: estimator.MaxBlockSize}, path: []string{BlockSize}},
	}
	for _, group := range g.Groups {
		dials = append(dials, &Dial{Name: group.Name + ".count", Unit: blocks.UnitCount, Now: float64(group.Count),
			Range: blocks.Span{Low: 1, High: estimator.MaxVoices}, path: []string{"voices", group.Name, "count"}})
	}
	for _, d := range dials {
		d.node = -1
	}
	for i, n := range g.Nodes {
		for k := range n.Use.Settings {
			p := &n.Block().Params[k]
			if p.Categorical() {
				continue
			}
			limits, _ := p.At(g.SampleRate)
			set := n.Use.Settings[k]
			d := Dial{Name: n.Name + "." + p.Name, Unit: p.Unit, Now: set.Span.High, Range: limits,
				path: g.Path(n, p.Name), rate: g.SampleRate, node: i, param: k}
			if set.Moved == blocks.Fixed {
				d.given = n.Given[p.Name]
				dials = append(dials, &d)
				continue
			}
			d.path = g.Path(n, p.Name, "span")
			low, high := ends(g, n.Given[p.Name], p.Unit, set.Span)
			near := d
			near.End, near.Now, near.given, near.other, near.Range.High = Near, set.Span.Low, low, set.Span.High, set.Span.High
			near.stays = stays(g, high, p.Unit, set.Span.High)
			d.End, d.given, d.other, d.Range.Low = Far, high, set.Span.Low, set.Span.Low
			d.stays = stays(g, low, p.Unit, set.Span.Low)
			dials = append(dials, &near, &d)
		}
	}
	return dials
}

// ends are the two ends of a span as a file writes them, each "" where it does not
// tell the same alone: it may leave its unit or its tempo to the other.
func ends(g *estimator.Graph, span string, unit blocks.Unit, is blocks.Span) (low, high string) {
	low, high, _ = strings.Cut(span, "..")
	base := blocks.Timebase{SampleRate: g.SampleRate, Tempo: g.Tempo}
	alone := func(text string, value func(blocks.Span) float64, want float64) string {
		text = strings.TrimSpace(text)
		if read, err := blocks.Parse(text, unit, base); err != nil || value(read) != want {
			return ""
		}
		return text
	}
	return alone(low, func(s blocks.Span) float64 { return s.Low }, is.Low), alone(high, func(s blocks.Span) float64 { return s.High }, is.High)
}

// stays is how an end of a span is written while the other is turned: as it was,
// unless it moves with the tempo, against which no other value would stand.
func stays(g *estimator.Graph, text string, unit blocks.Unit, is float64) string {
	read, err := blocks.Parse(text, unit, blocks.Timebase{SampleRate: g.SampleRate, Tempo: g.Tempo})
	if err != nil || read.Low != read.High {
		return unit.Format(is)
	}
	return text
}

// Find is the dial of a name: of a parameter that is moved, the far end of its
// span. The error names the nearest there is.
func Find(g *estimator.Graph, name string) (*Dial, error) {
	var names []string
	var found *Dial
	for _, d := range Dials(g) {
		names = append(names, d.Name)
		if d.Name == name {
			found = d
		}
	}
	if found == nil {
		hint := source.DidYouMean(name, names)
		if hint == "" {
			hint = "it is one of " + strings.Join(slices.Compact(names), ", ")
		}
		return nil, &UnknownError{name, hint}
	}
	return found, nil
}

// UnknownError tells that a graph has no such parameter.
type UnknownError struct{ Name, Hint string }

func (e *UnknownError) Error() string {
	return fmt.Sprintf("the graph has no number '%s' to turn", e.Name)
}

// String is the dial's name, with the end of the span that it turns.
func (d *Dial) String() string {
	switch d.End {
	case Near:
		return d.Name + ", near end"
	case Far:
		return d.Name + ", far end"
	}
	return d.Name
}

// Text is a value as a graph file writes it: a time as samples where it is a
// whole number of them.
func (d *Dial) Text(v float64) string {
	if d.Unit == blocks.UnitTime {
		if samples := v * float64(d.rate); math.Abs(samples-math.Round(samples)) < 1e-6 {
			return strconv.FormatFloat(math.Round(samples), 'f', -1, 64) + " samples"
		}
	}
	return d.Unit.Format(v)
}

// Given is the value as the file writes it, and else as Text does.
func (d *Dial) Given() string { return cmp.Or(d.given, d.Text(d.Now)) }

// Written is what stands at the dial's place in the file with a value as text:
// the text, or the span with that end.
func (d *Dial) Written(text string) string {
	switch d.End {
	case Near:
		return text + ".." + d.stays
	case Far:
		return d.stays + ".." + text
	}
	return text
}

// Turn is the change of the file that gives the dial a value.
func (d *Dial) Turn(text string) source.Edit {
	return source.Edit{Path: d.path, Text: d.Written(text)}
}

// each calls f for the numbers from 0 below n, on all processors.
func each(n int, f func(i int)) {
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	all.Wait()
}
