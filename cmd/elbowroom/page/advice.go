package page

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"slices"

	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// Advice is what would make a graph lighter.
type Advice struct {
	Groups []Group
	Proof  string // what is known of other plans; "": none was looked for
}

// Group is plans of one kind.
type Group struct {
	Title string
	Plans []Plan
}

// plan is the one of a number; nil: there is none.
func (a *Advice) plan(number int) *Plan {
	for g := range a.Groups {
		for p := range a.Groups[g].Plans {
			if a.Groups[g].Plans[p].Number == number {
				return &a.Groups[g].Plans[p]
			}
		}
	}
	return nil
}

// Plan is a set of changes that makes a graph lighter.
type Plan struct {
	Edits   []source.Edit // of the file that the estimate is of
	Number  int           // from 1, and unique in an advice
	Name    string        // "plan 1", "swap 2"
	Title   string        // what it gives up and what it gains
	Changes []Change
	Then    string // the verdict after, in a sentence without its full stop
}

// Change is one of the changes of a plan.
type Change struct{ Node, Write, Heard string }

// Chart is a picture of lines, and its figures as tables for those who do not
// see it. The picture must have escaped its words.
type Chart struct {
	Title, Sentence string
	Picture         template.HTML
	Tables          []Table
}

// Table is an answer as rows, or as a list, or as a text, with its title.
type Table struct {
	Title, Text, After string
	Header             []Cell
	Rows               [][]Cell
	Items              []string
}

// Cell is a cell of a table.
type Cell struct {
	Text   string
	Number bool // it stands to the right
}

// bounds are how far the numbers of one estimate can be turned, as far as they
// were looked for: by their node, "" for those of the whole graph, and by the
// names of their dials.
type bounds struct {
	of   *estimator.Estimate
	each map[string]map[string]bound
}

// missing are those of the whole graph and of an open node that nobody has
// looked for yet.
func (b *bounds) missing(e *estimator.Estimate, open string) []string {
	return slices.DeleteFunc([]string{"", open}, func(node string) bool {
		return b.of == e && b.each[node] != nil || node != "" && e.Graph.Node(node) < 0
	})
}

// keep keeps what was found of one node.
func (b *bounds) keep(e *estimator.Estimate, node string, found map[string]bound) {
	if b.of != e {
		*b = bounds{e, map[string]map[string]bound{}}
	}
	b.each[node] = found
}

// bound is how far one dial can be turned: where on its slider, in percent, and
// in words.
type bound struct {
	At   []float64
	Text string
}

// boundsOf looks for the bounds of a node's numbers, or for those of the whole
// graph, "". The error is that of the context.
func boundsOf(ctx context.Context, e *estimator.Estimate, node string) (map[string]bound, error) {
	found := map[string]bound{}
	i := e.Graph.Node(node)
	mine := func(d *ask.Dial) bool { return owner(e.Graph, d.Name) == i }
	l, err := ask.FindLimits(ctx, e, mine)
	if err != nil {
		return nil, err
	}
	for _, d := range ask.Dials(e.Graph) {
		if mine(d) {
			found[dialID(d)] = bound{Text: "turning it makes nothing heavier"}
		}
	}
	for _, d := range l.Free {
		found[dialID(d)] = bound{Text: "it changes no cost"}
	}
	for _, d := range l.Helpless {
		found[dialID(d)] = bound{Text: "no value of it makes the graph fit alone"}
	}
	for k := range l.Limits {
		limit := &l.Limits[k]
		id := dialID(limit.Dial)
		told := found[id]
		if told.At == nil {
			told.Text = ""
		} else {
			told.Text += "; "
		}
		told.At = append(told.At, place(limit.Dial, limit.Value)/sliderSteps*100)
		told.Text += words(limit, e.Verdict == estimator.Over)
		found[id] = told
	}
	return found, nil
}

// words tell a limit.
func words(l *ask.Limit, over bool) string {
	value := l.Dial.Unit.Rounded(l.Value)
	way := "down"
	if l.Up {
		way = "up"
	}
	if over {
		return fmt.Sprintf("from %s %s the graph fits by this alone", value, way)
	}
	switch {
	case l.Stop.Resource != nil:
		return fmt.Sprintf("it holds %s to %s, and then %s does not suffice", way, value, l.Stop.Resource.Name)
	case l.Stop.Refusal != "":
		return fmt.Sprintf("it can go %s to %s, and beyond is refused", way, value)
	}
	return fmt.Sprintf("it holds %s to the end of its range", way)
}

// place is where a value stands on a dial's slider, in its steps.
func place(d *ask.Dial, value float64) float64 {
	low, high := d.Range.Low, d.Range.High
	if bent(d.Range) {
		low, high, value = math.Log(low), math.Log(high), math.Log(value)
	}
	return sliderSteps * (value - low) / (high - low)
}
