package main

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

func (a *app) limitsCommand() *cobra.Command {
	var opts overrides
	var of []string
	cmd := &cobra.Command{
		Use:   "limits GRAPH",
		Short: "Tell how far each number can go",
		Long: `Tell how far each number of a graph can go alone, all else equal, until the
graph no longer fits: the parameters of its nodes, its voices, sample rate and
block size; what stops it there, and what one unit more costs. Of a graph that
does not fit: which number alone can make it fit, and from where on.

An edge is exact: the value fits or is tight, and one step more does not. A step
is 1 of a count, one sample of a time, and else the fourth significant figure.
What is unsure already may stay so. Of a parameter that moves both ends of its
span are turned. Where an edge comes from placing memory there may be another
farther on.`,
		Example: `  $ elbowroom limits storm.yaml
  $ elbowroom limits --of echo.time --of cave storm.yaml`,
	}
	cmd.Flags().Var(each(&of), "of", "only this `parameter`, or those of this node; may be given several times")
	a.question(cmd, &opts, func(w io.Writer, c *checked) error {
		wanted, err := only(c.estimate.Graph, of)
		if err != nil {
			return err
		}
		found, err := ask.FindLimits(cmd.Context(), c.estimate, wanted)
		if err != nil {
			return err
		}
		r := limitsReport(c.name, found)
		return a.tell(w, r, r.rows(), r.document())
	})
	return cmd
}

// only takes the dials that names say: of parameters, nodes or groups; nil
// takes all.
func only(g *estimator.Graph, names []string) (func(*ask.Dial) bool, error) {
	if len(names) == 0 {
		return nil, nil
	}
	named := func(d *ask.Dial, name string) bool { return d.Name == name || strings.HasPrefix(d.Name, name+".") }
	var known []string
	for _, d := range ask.Dials(g) {
		known = append(known, d.Name)
		if at := strings.LastIndex(d.Name, "."); at > 0 {
			known = append(known, d.Name[:at])
		}
	}
	for _, name := range names {
		found := false
		for _, d := range ask.Dials(g) {
			found = found || named(d, name)
		}
		if !found {
			hint := cmp.Or(source.DidYouMean(name, known), "without --of all are told")
			return nil, hinted{fmt.Errorf("--of: the graph has no number '%s' to turn", name), hint}
		}
	}
	return func(d *ask.Dial) bool {
		for _, name := range names {
			if named(d, name) {
				return true
			}
		}
		return false
	}, nil
}

// LimitsReport is what limits found out. Every format prints from it.
type LimitsReport struct {
	Version  int      `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	File     string   `json:"file"`
	Board    string   `json:"board"`
	Verdict  string   `json:"verdict" jsonschema:"of the graph as it is: fits, tight, unsure or over"`
	Sentence string   `json:"sentence"`
	Limits   []Limit  `json:"limits" jsonschema:"the nearest edge first; of a graph that is over, what makes it fit alone"`
	Free     []string `json:"free" jsonschema:"numbers that change no cost in their whole range"`
	Helpless []string `json:"helpless" jsonschema:"of a graph that is over: numbers that change a cost and cannot make it fit alone"`

	verdict estimator.Verdict
}

// Limit is how far one number can go.
type Limit struct {
	Parameter string  `json:"parameter"`
	End       string  `json:"end,omitempty" jsonschema:"near or far: which end of the span of a parameter that moves"`
	Direction string  `json:"direction" jsonschema:"up or down: the way from now to value"`
	Unit      string  `json:"unit" jsonschema:"of now and value: s, Hz, or none"`
	Now       float64 `json:"now"`
	Value     float64 `json:"value" jsonschema:"the farthest that fits; of a graph that is over the nearest that fits"`
	Write     string  `json:"write" jsonschema:"the value as the graph file has it"`
	Past      string  `json:"past,omitempty" jsonschema:"one step on, which does not fit; left out where the range of the parameter ends"`
	StoppedBy string  `json:"stopped_by" jsonschema:"the resource that one step on does not fit, 'range' or 'refused'"`
	Refusal   string  `json:"refusal,omitempty" jsonschema:"why one step on is no graph"`
	Verdict   string  `json:"verdict" jsonschema:"at the value"`
	Memory    float64 `json:"memory_per_unit" jsonschema:"bytes of data that one unit costs on the way there"`
	Flash     float64 `json:"flash_per_unit" jsonschema:"bytes"`
	Cycles    float64 `json:"cycles_per_unit" jsonschema:"cycles of the worst block"`

	title string
	unit  blocks.Unit
}

// Words for what is no resource and yet stops a number.
const (
	stoppedByRange   = "range"
	stoppedByRefusal = "refused"
)

func limitsReport(file string, l *ask.Limits) *LimitsReport {
	r := &LimitsReport{
		Version: reportVersion, File: file, Board: l.Estimate.Graph.Board.Name,
		Verdict: l.Estimate.Verdict.String(), verdict: l.Estimate.Verdict, Sentence: sentence(file, l.Estimate),
		Limits: []Limit{}, Free: titles(l.Free), Helpless: titles(l.Helpless),
	}
	for i := range l.Limits {
		r.Limits = append(r.Limits, limit(&l.Limits[i]))
	}
	return r
}

func limit(l *ask.Limit) Limit {
	d := l.Dial
	out := Limit{
		Parameter: d.Name, Direction: "down", Unit: unitWord(d.Unit), Now: d.Now, Value: l.Value, Write: d.Written(l.Text),
		Verdict: l.After.Verdict.String(), Memory: l.Slope.Memory, Flash: l.Slope.Flash, Cycles: l.Slope.Cycles,
		title: d.String(), unit: d.Unit,
	}
	if l.Up {
		out.Direction = "up"
	}
	if l.Past != "" {
		out.Past = d.Written(l.Past)
	}
	switch d.End {
	case ask.Near:
		out.End = "near"
	case ask.Far:
		out.End = "far"
	}
	out.StoppedBy, out.Refusal = stoppedBy(l.Stop)
	return out
}

// stoppedBy names what stands in the way of one step more.
func stoppedBy(s ask.Stop) (by, refusal string) {
	switch {
	case s.Resource != nil:
		return s.Resource.Name, ""
	case s.Refusal != "":
		return stoppedByRefusal, s.Refusal
	}
	return stoppedByRange, ""
}

func titles(dials []*ask.Dial) []string {
	names := []string{}
	for _, d := range dials {
		names = append(names, d.String())
	}
	return names
}

// unitWord is the base unit of a kind of quantity; "": it is a plain number.
func unitWord(u blocks.Unit) string {
	_, word, _ := strings.Cut(u.Format(0), " ")
	return word
}

func (r *LimitsReport) rows() *table {
	t := &table{header: []string{
		"file", "parameter", "end", "direction", "unit", "now", "value", "write", "past", "stopped_by", "refusal",
		"memory_per_unit", "flash_per_unit", "cycles_per_unit",
	}}
	for _, l := range r.Limits {
		t.add(r.File, l.Parameter, l.End, l.Direction, l.Unit, plain(l.Now), plain(l.Value), l.Write, l.Past, l.StoppedBy, l.Refusal,
			plain(l.Memory), plain(l.Flash), plain(l.Cycles))
	}
	return t
}

// document is the answer for people.
func (r *LimitsReport) document() document {
	over := r.verdict == estimator.Over
	d := document{{text: r.Sentence + ".", tone: r.Verdict}}
	title, stopped := "How far each number can go alone, the nearest edge first", "then stopped by"
	if over {
		title, stopped = "Each of these alone makes it fit", "until then over"
	}
	switch {
	case len(r.Limits) > 0:
		edges := &table{align: "lrrll", header: []string{"number", "now", "to", "write", stopped}}
		costs := &table{align: "llrrr", header: []string{"number", "one more", "memory", "flash", "cycles of a block"}}
		var refusals []string
		seen := map[string]bool{}
		for _, l := range r.Limits {
			by := l.StoppedBy
			switch by {
			case stoppedByRange:
				by = "its own range"
			case stoppedByRefusal:
				refusals = append(refusals, fmt.Sprintf("%s at %s: %s", l.title, l.Past, l.Refusal))
			}
			edges.add(l.title, l.unit.Rounded(l.Now), l.unit.Rounded(l.Value), l.Write, by)
			if per, size := perUnit(l.unit); !seen[l.title] && (l.Memory != 0 || l.Flash != 0 || l.Cycles != 0) {
				seen[l.title] = true
				costs.add(l.title, per, slope(l.Memory*size), slope(l.Flash*size), slope(l.Cycles*size))
			}
		}
		d = append(d, section{title: title, table: edges})
		if len(refusals) > 0 {
			d = append(d, section{title: "What is refused past the edge", items: refusals})
		}
		if len(costs.rows) > 0 {
			d = append(d, section{title: "What one more costs, in bytes and cycles, on the way there", table: costs})
		}
	case over:
		d = append(d, section{text: "No number of it makes it fit alone; 'elbowroom check' shows lighter stand-ins."})
	default:
		d = append(d, section{text: "No number of it makes it heavier."})
	}
	if len(r.Helpless) > 0 {
		d = append(d, section{title: "Not enough alone", text: strings.Join(r.Helpless, "; ")})
	}
	if len(r.Free) > 0 {
		d = append(d, section{title: "Free to turn: they change no cost", text: strings.Join(r.Free, "; ")})
	}
	return d
}

// perUnit is a step of a kind of quantity that a person thinks in, and its size
// in the base unit.
func perUnit(u blocks.Unit) (string, float64) {
	switch u {
	case blocks.UnitTime:
		return "1 ms", 1e-3
	case blocks.UnitFrequency:
		return "1 kHz", 1e3
	case blocks.UnitRatio:
		return "0.1", 0.1
	}
	return u.Format(1), 1
}

// slope is a cost of one more, with its sign; what rounds to nothing is none.
func slope(v float64) string {
	text := fmt.Sprintf("%+.3g", v)
	if v < 0 && v > -5e-4 || v >= 0 && v < 5e-4 {
		return ""
	}
	if v >= 1000 || v <= -1000 {
		text = whole(v)
		if v > 0 {
			text = "+" + text
		}
	}
	return text
}
