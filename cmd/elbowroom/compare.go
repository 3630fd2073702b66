package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// compareOptions are the flags of compare.
type compareOptions struct {
	overrides
	set []string
}

func (a *app) compareCommand() *cobra.Command {
	var opts compareOptions
	cmd := &cobra.Command{
		Use:   "compare GRAPH [OTHER]",
		Short: "Tell what differs between two graphs",
		Long: `Tell row by row what differs between two graphs and why: settings, resources,
and the nodes of which anything changed. With one GRAPH it is compared with
itself under another setting: --board, --sample-rate, --block-size, or --set for
a key of a node or group ('echo.time=200 ms') or one at the top ('tempo=90
bpm'). With two, these hold for both.`,
		Example: `  $ elbowroom compare storm.yaml storm-lighter.yaml
  $ elbowroom compare storm.yaml --set 'echo.format=int16' --block-size 16`,
		Args: func(_ *cobra.Command, args []string) error {
			switch len(args) {
			case 1, 2:
				return nil
			}
			return hinted{errors.New("compare needs one or two graph files"), "with one, say what changes: --set 'echo.time=200 ms'"}
		},
		RunE: func(_ *cobra.Command, args []string) error { return a.runCompare(opts, args) },
	}
	opts.addFlags(cmd)
	cmd.Flags().Var(each(&opts.set), "set", "change a `KEY=VALUE` of the graph; may be given several times")
	a.formatFlag(cmd)
	return cmd
}

func (a *app) runCompare(opts compareOptions, args []string) error {
	var plainly overrides
	if len(args) == 2 {
		plainly = opts.overrides
	} else if !opts.board.given && !opts.sampleRate.given && !opts.blockSize.given && len(opts.set) == 0 {
		return hinted{errors.New("one graph alone differs from nothing"), "name a second, or say what changes: --set 'echo.time=200 ms'"}
	}
	before, err := a.compared(args[0], plainly, nil)
	if err != nil {
		return err
	}
	other := args[len(args)-1]
	set := opts.set
	if len(args) == 2 {
		if before, err = a.compared(args[0], plainly, set); err != nil {
			return err
		}
	}
	after, err := a.compared(other, opts.overrides, set)
	if err != nil {
		return err
	}
	names := [2]string{args[0], other}
	if len(args) == 1 {
		names[1] += " as changed"
	}
	r := compareReport(names, ask.Compare(before, after))
	return a.answered(func(w io.Writer) error { return a.tell(w, r, r.rows(), r.document()) })
}

// compared is the estimate of a graph with changes.
func (a *app) compared(name string, opts overrides, set []string) (*estimator.Estimate, error) {
	c, err := a.estimate(name, opts)
	if err != nil {
		return nil, err
	}
	if c.estimate == nil {
		return nil, c.errs.Err()
	}
	if len(set) == 0 {
		return c.estimate, nil
	}
	var edits []source.Edit
	for _, text := range set {
		edit, err := ask.ParseChange(c.estimate.Graph, text)
		if err != nil {
			return nil, hinted{fmt.Errorf("--set: %w", err), hintOf(err)}
		}
		edits = append(edits, edit)
	}
	changed, err := c.estimate.Graph.With(edits...)
	if err != nil {
		return nil, fmt.Errorf("--set: %w", plainError(err))
	}
	return changed.Estimate()
}

// plainError is the first mistake without its place, which is in no file.
func plainError(err error) error {
	var list *source.Errors
	if errors.As(err, &list) && list.Len() > 0 {
		first := list.List()[0]
		return hinted{errors.New(first.Message), first.Hint}
	}
	var one *source.Error
	if errors.As(err, &one) {
		return hinted{errors.New(one.Message), one.Hint}
	}
	return err
}

// CompareReport is what differs between two graphs. Every format prints from it.
type CompareReport struct {
	Version   int              `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	Before    string           `json:"before" jsonschema:"file"`
	After     string           `json:"after" jsonschema:"file"`
	Sentences [2]string        `json:"sentences" jsonschema:"the verdict on each in words"`
	Verdicts  [2]string        `json:"verdicts"`
	Settings  []Difference     `json:"settings" jsonschema:"of the whole graph that differ"`
	Resources []ResourceChange `json:"resources"`
	Nodes     []NodeChange     `json:"nodes" jsonschema:"of which anything differs"`

	kinds []estimator.ResourceKind
}

// Difference is a setting that is not the same.
type Difference struct {
	What   string `json:"what"`
	Before string `json:"before" jsonschema:"empty: there is none"`
	After  string `json:"after" jsonschema:"empty: there is none"`
}

// ResourceChange is one resource of both graphs.
type ResourceChange struct {
	Name   string    `json:"name"`
	Unit   string    `json:"unit" jsonschema:"bytes, cycles or jacks"`
	Before *Standing `json:"before,omitempty" jsonschema:"left out where the board has none"`
	After  *Standing `json:"after,omitempty" jsonschema:"left out where the board has none"`
}

// Standing is how a resource stands.
type Standing struct {
	Used    float64 `json:"used"`
	Limit   float64 `json:"limit"`
	Verdict string  `json:"verdict"`
}

// NodeChange is what changed of one node.
type NodeChange struct {
	Name   string       `json:"name"`
	Before *NodeFigures `json:"before,omitempty" jsonschema:"left out where the graph has no such node"`
	After  *NodeFigures `json:"after,omitempty" jsonschema:"left out where the graph has no such node"`
	Why    []Difference `json:"why"`
}

// NodeFigures are what a node takes.
type NodeFigures struct {
	Cycles float64 `json:"cycles" jsonschema:"of the worst block, stalls left out"`
	Stalls float64 `json:"stalls" jsonschema:"cycles of the worst block"`
	Bytes  int64   `json:"bytes" jsonschema:"state and buffers"`
}

func compareReport(names [2]string, c *ask.Comparison) *CompareReport {
	r := &CompareReport{
		Version: reportVersion, Before: names[0], After: names[1],
		Sentences: [2]string{sentence(names[0], c.Before), sentence(names[1], c.After)},
		Verdicts:  [2]string{c.Before.Verdict.String(), c.After.Verdict.String()},
		Settings:  differences(c.Settings), Resources: []ResourceChange{}, Nodes: []NodeChange{},
	}
	for _, change := range c.Resources {
		either := change.Before
		if either == nil {
			either = change.After
		}
		r.Resources = append(r.Resources, ResourceChange{either.Name, kindNames[either.Kind].unit, standingOf(change.Before), standingOf(change.After)})
		r.kinds = append(r.kinds, either.Kind)
	}
	for _, n := range c.Nodes {
		r.Nodes = append(r.Nodes, NodeChange{n.Name, nodeFigures(n.Before), nodeFigures(n.After), differences(n.Why)})
	}
	return r
}

func differences(list []ask.Difference) []Difference {
	out := []Difference{}
	for _, d := range list {
		out = append(out, Difference(d))
	}
	return out
}

func standingOf(r *estimator.Resource) *Standing {
	if r == nil {
		return nil
	}
	return &Standing{r.Used.Value, r.Limit, r.Verdict.String()}
}

func nodeFigures(f ask.NodeFigures) *NodeFigures {
	if !f.There {
		return nil
	}
	return &NodeFigures{f.Cycles, f.Stalls, int64(f.Bytes)}
}

func (r *CompareReport) rows() *table {
	t := &table{header: []string{"section", "name", "item", "before", "after", "unit", "why"}}
	t.add("verdict", "", "", r.Verdicts[0], r.Verdicts[1], "", "")
	for _, d := range r.Settings {
		t.add("setting", d.What, "", d.Before, d.After, "", "")
	}
	number := func(s *Standing, v func(*Standing) float64) string {
		if s == nil {
			return ""
		}
		return plain(v(s))
	}
	for _, c := range r.Resources {
		used, limit := func(s *Standing) float64 { return s.Used }, func(s *Standing) float64 { return s.Limit }
		t.add("resource", c.Name, "used", number(c.Before, used), number(c.After, used), c.Unit, "")
		t.add("resource", c.Name, "limit", number(c.Before, limit), number(c.After, limit), c.Unit, "")
	}
	for _, n := range r.Nodes {
		why := n.because()
		for _, item := range []struct {
			name, unit string
			of         func(*NodeFigures) float64
		}{
			{"cycles", "cycles", func(f *NodeFigures) float64 { return f.Cycles }},
			{"stalls", "cycles", func(f *NodeFigures) float64 { return f.Stalls }},
			{"bytes", "bytes", func(f *NodeFigures) float64 { return float64(f.Bytes) }},
		} {
			text := func(f *NodeFigures) string {
				if f == nil {
					return ""
				}
				return plain(item.of(f))
			}
			t.add("node", n.Name, item.name, text(n.Before), text(n.After), item.unit, why)
		}
	}
	return t
}

// document is the answer for people.
func (r *CompareReport) document() document {
	d := document{
		{text: r.Sentences[0] + ".", tone: r.Verdicts[0]},
		{text: r.Sentences[1] + ".", tone: r.Verdicts[1]},
	}
	if len(r.Settings) > 0 {
		t := &table{align: "lll", header: []string{"setting", "before", "after"}}
		for _, s := range r.Settings {
			t.add(s.What, s.Before, s.After)
		}
		d = append(d, section{title: "Settings that differ", table: t})
	}
	resources := &table{align: "lrrrll", header: []string{"resource", "before", "after", "change", "verdict", "then"}}
	for i, c := range r.Resources {
		if row, differs := c.row(r.kinds[i]); differs {
			resources.add(row...)
		}
	}
	if len(resources.rows) > 0 {
		d = append(d, section{title: "Resources that differ", table: resources})
	}
	nodes := &table{align: "lrrrrrr", header: []string{"node", "cycles", "then", "stalls", "then", "bytes", "then"}}
	var why []string
	common := r.common()
	if len(common) > 0 {
		every := NodeChange{Before: &NodeFigures{}, After: &NodeFigures{}, Why: common}
		why = append(why, "every node: "+every.because())
	}
	for _, n := range r.Nodes {
		before, after := n.Before, n.After
		cells := func(f *NodeFigures) [3]string {
			if f == nil {
				return [3]string{"-", "-", "-"}
			}
			return [3]string{whole(up(f.Cycles) + 0), whole(up(f.Stalls) + 0), whole(float64(f.Bytes))}
		}
		a, b := cells(before), cells(after)
		nodes.add(n.Name, a[0], b[0], a[1], b[1], a[2], b[2])
		n.Why = slices.DeleteFunc(slices.Clone(n.Why), func(d Difference) bool { return slices.Contains(common, d) })
		if text := n.because(); text != "" {
			why = append(why, n.Name+": "+text)
		}
	}
	if len(nodes.rows) == 0 {
		return append(d, section{text: "No node differs."})
	}
	d = append(d, section{title: "Nodes that differ, in cycles of the worst block and in bytes", table: nodes})
	if len(why) > 0 {
		d = append(d, section{title: "Why", items: why})
	}
	return d
}

// row tells how a resource changed, and whether it did.
func (c *ResourceChange) row(kind estimator.ResourceKind) ([]string, bool) {
	verdict := func(s *Standing) string {
		if s == nil {
			return "-"
		}
		return s.Verdict
	}
	used := func(s *Standing) string {
		if s == nil {
			return "-"
		}
		return amount(kind, s.Used)
	}
	change := ""
	if c.Before != nil && c.After != nil {
		if c.Before.Used == c.After.Used && c.Before.Limit == c.After.Limit {
			return nil, false
		}
		more := c.After.Used - c.Before.Used
		if kind == estimator.CPUResource {
			more = up(c.After.Used) - up(c.Before.Used)
		}
		if change = amount(kind, more); more > 0 {
			change = "+" + change
		}
	}
	name := c.Name
	if kind == estimator.CPUResource {
		name += " cycles"
	}
	return []string{name, used(c.Before), used(c.After), change, verdict(c.Before), verdict(c.After)}, true
}

// common are the differences of every node that is there before and after, where
// there are several.
func (r *CompareReport) common() []Difference {
	var common []Difference
	nodes := 0
	for _, n := range r.Nodes {
		switch {
		case n.Before == nil || n.After == nil:
			continue
		case nodes == 0:
			common = slices.Clone(n.Why)
		default:
			common = slices.DeleteFunc(common, func(d Difference) bool { return !slices.Contains(n.Why, d) })
		}
		nodes++
	}
	if nodes < 2 {
		return nil
	}
	return common
}

// because tells why a node's figures differ.
func (n *NodeChange) because() string {
	switch {
	case n.Before == nil:
		return "it is new"
	case n.After == nil:
		return "it is gone"
	}
	var words []string
	for _, d := range n.Why {
		before, after := d.Before, d.After
		switch {
		case before == "":
			words = append(words, fmt.Sprintf("%s is %s, where none was", d.What, after))
		case after == "":
			words = append(words, fmt.Sprintf("%s is no more, it was %s", d.What, before))
		default:
			words = append(words, fmt.Sprintf("%s %s, before %s", d.What, after, before))
		}
	}
	return strings.Join(words, "; ")
}
