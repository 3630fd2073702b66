package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/lighten"
)

// lightenVersion counts the shapes of lighten's JSON, as reportVersion does.
const lightenVersion = 1

// Lighter is what lighten found out about one graph. Every format prints from
// it.
type Lighter struct {
	Version  int       `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	Exit     int       `json:"exit" jsonschema:"exit status: 0 there is a plan or none is needed, 1 nothing fits, 2 wrong input"`
	File     string    `json:"file"`
	Verdict  string    `json:"verdict" jsonschema:"of the graph as it stands: fits, tight, unsure, over or wrong input"`
	Sentence string    `json:"sentence" jsonschema:"the verdict in words with figures"`
	Mistakes []Mistake `json:"mistakes,omitempty" jsonschema:"what is wrong with the file; then all else is left out"`
	Rests    []string  `json:"rests,omitempty" jsonschema:"unconfirmed defaults of the board that decide, with the lines to write"`
	Hops     []Cause   `json:"coinciding,omitempty" jsonschema:"work that falls due now and then, where meeting in one block alone makes that too much"`
	Relief   string    `json:"relief,omitempty" jsonschema:"what would part such work"`
	Plans    []Plan    `json:"plans,omitempty" jsonschema:"the least loss first"`
	Proven   bool      `json:"proven" jsonschema:"whether no plan of what was tried loses less than the first, or none fits"`
	Bound    float64   `json:"bound,omitempty" jsonschema:"points that any plan loses at least, where that is not proven"`
	Tried    int       `json:"tried" jsonschema:"alternatives of single nodes that were estimated"`
	Miss     *Miss     `json:"miss,omitempty" jsonschema:"where there is no plan: what comes nearest"`
	Trade    *Trade    `json:"trade,omitempty" jsonschema:"what must be lost for less, where --trade asks"`
	Swaps    []Swap    `json:"swaps,omitempty" jsonschema:"single changes that help, most relief for the least loss first"`
	Applied  int       `json:"applied,omitempty" jsonschema:"number of the plan that was written into the file"`
	Diff     string    `json:"diff,omitempty" jsonschema:"what the plan asked for changes in the file"`
}

// Plan is a set of changes with which the graph fits.
type Plan struct {
	Number   int          `json:"number"`
	Loss     float64      `json:"loss" jsonschema:"points: 1 is noticed only in comparison, 10 plainly heard, 100 a function gone"`
	Changes  []PlanChange `json:"changes"`
	Memory   int64        `json:"memory_saved" jsonschema:"bytes of data memory"`
	Flash    int64        `json:"flash_saved" jsonschema:"bytes"`
	Load     float64      `json:"load" jsonschema:"share of the cycles that the worst block takes after"`
	Verdict  string       `json:"verdict" jsonschema:"of the graph after"`
	Sentence string       `json:"sentence" jsonschema:"the verdict after in words with figures"`
}

// PlanChange is one of the changes of a plan.
type PlanChange struct {
	Node    string   `json:"node,omitempty" jsonschema:"left out where it is a setting of the whole graph"`
	Write   string   `json:"write" jsonschema:"what to write"`
	Heard   string   `json:"heard" jsonschema:"what becomes audible"`
	Loss    float64  `json:"loss"`
	Effects []Effect `json:"effects,omitempty"`
}

// Miss is the plan that comes nearest to fitting, and the limits that keep it
// from it.
type Miss struct {
	Plan   Plan    `json:"plan" jsonschema:"the plan that misses the limits by least, in shares of the limits"`
	Over   []Over  `json:"over" jsonschema:"the resources that are still beyond their limits"`
	Shifts []Shift `json:"shifts,omitempty" jsonschema:"limits that would be enough if one alone were another"`
	Never  bool    `json:"never" jsonschema:"whether no limit alone would be enough"`
}

// Over is by how much a resource is beyond its limit, its whole band counted.
type Over struct {
	Resource string  `json:"resource"`
	Unit     string  `json:"unit"`
	Much     float64 `json:"much"`
}

// Shift is a limit that would be enough if it alone were another.
type Shift struct {
	Resource string  `json:"resource"`
	Unit     string  `json:"unit"`
	Now      float64 `json:"now"`
	Least    float64 `json:"least" jsonschema:"it may have to be a little more"`
}

// Trade is plans of which none loses as little as another and takes as little.
type Trade struct {
	Load      []Plan `json:"load" jsonschema:"against the load of the worst block"`
	Memory    []Plan `json:"memory" jsonschema:"against data memory"`
	AllLoad   bool   `json:"all_load" jsonschema:"whether there is none between those against the load"`
	AllMemory bool   `json:"all_memory" jsonschema:"whether there is none between those against data memory"`
}

type lightenOptions struct {
	overrides
	wants       []string
	keep, allow []string
	plans       int
	apply       int
	dryRun      bool
	trade       bool
}

func (a *app) lightenCommand() *cobra.Command {
	var opts lightenOptions
	cmd := &cobra.Command{
		Use:   "lighten GRAPH",
		Short: "Find the least that must be given up to fit",
		Long: `Find the changes of a graph that are heard least and make it fit: lighter
blocks, shorter times, coarser formats and their like for each node, fewer
voices, optional nodes left out, larger blocks, a lower sample rate, smaller
code. Each plan is estimated in full, and the first is the least that must be
given up, or the gap to it is told; each further one spares something that those
before it give up, or keeps the reserve where they only just fit. 'keep: true'
in the file and --keep protect a node.

--apply writes a plan into the file: only what changes differs, and a file that
was changed meanwhile stays as it is.

Exit status: 0 there is a plan or none is needed, 1 nothing fits, 2 wrong input.`,
		Example: `  $ elbowroom lighten storm.yaml
  $ elbowroom lighten --want cpu=70% --keep echo storm.yaml
  $ elbowroom lighten --apply 1 --dry-run storm.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return hinted{errors.New("lighten needs one graph file"), "write 'elbowroom lighten storm.yaml'"}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.answered(func(w io.Writer) error { return a.runLighten(cmd.Context(), w, opts, args[0]) })
		},
	}
	opts.addFlags(cmd)
	f := cmd.Flags()
	f.Var(each(&opts.wants), "want", "`aim` at more than fitting: cpu=70%, flash=100KiB or BANK=50%; may be repeated")
	f.Var(wordsOf(&opts.keep), "keep", "leave these `nodes` or groups as they are")
	f.Var(wordsOf(&opts.allow), "allow", "change these `nodes` or groups although the file keeps them")
	f.IntVar(&opts.plans, "plans", plansShown, "show so many plans")
	f.BoolVar(&opts.trade, "trade", false, "show also what must be lost for less load and for less memory")
	f.IntVar(&opts.apply, "apply", 0, "write the plan of this number into the file")
	f.BoolVar(&opts.dryRun, "dry-run", false, "with --apply, only show what would be written")
	a.formatFlag(cmd)
	return cmd
}

// check refuses flags that do not go together.
func (o *lightenOptions) check(name string) error {
	switch {
	case o.plans < 1 || o.plans > 100:
		return hinted{fmt.Errorf("--plans %d: from 1 to 100 plans are shown", o.plans), ""}
	case o.apply < 0 || o.apply > o.plans:
		return hinted{fmt.Errorf("--apply %d: there are plans from 1 to %d", o.apply, o.plans), "--plans asks for more"}
	case o.dryRun && o.apply == 0:
		return hinted{errors.New("--dry-run shows what --apply would write"), "write '--apply 1 --dry-run'"}
	case o.apply > 0 && name == standardInput:
		return hinted{errors.New("--apply writes into a file, and this is the standard input"), ""}
	case o.apply > 0 && (o.board.given || o.sampleRate.given || o.blockSize.given):
		return hinted{errors.New("--apply writes for what the file says, and a flag says otherwise"), "write board, sample rate and block size into the file first"}
	}
	return nil
}

// wanted reads the limits asked for.
func (o *lightenOptions) wanted() ([]lighten.Want, error) {
	var wants []lighten.Want
	for _, text := range o.wants {
		name, value, ok := strings.Cut(text, "=")
		if !ok || name == "" {
			return nil, hinted{fmt.Errorf("--want %s: what of which resource?", text), "write 'cpu=70%' or 'flash=100KiB'"}
		}
		unit := blocks.UnitBytes
		switch {
		case strings.HasSuffix(value, "%"):
			unit = blocks.UnitRatio
		case name == "cpu":
			unit = blocks.UnitCycles
		}
		if _, err := strconv.ParseFloat(value, 64); err == nil && unit == blocks.UnitCycles {
			return nil, hinted{fmt.Errorf("--want %s: %s of what?", text, value), fmt.Sprintf("write 'cpu=%s%%' or 'cpu=%s cycles'", value, value)}
		}
		span, err := blocks.Parse(value, unit, blocks.Timebase{})
		if err == nil && (span.Low != span.High || span.High <= 0) {
			err = errors.New("one amount above nothing is wanted")
		}
		if err != nil {
			return nil, hinted{fmt.Errorf("--want %s: %w", text, err), "write 'cpu=70%' or 'flash=100KiB'"}
		}
		w := lighten.Want{Resource: name, Amount: span.High}
		if unit == blocks.UnitRatio {
			w = lighten.Want{Resource: name, Share: span.High}
		}
		wants = append(wants, w)
	}
	return wants, nil
}

func (a *app) runLighten(ctx context.Context, w io.Writer, opts lightenOptions, name string) error {
	if err := opts.check(name); err != nil {
		return err
	}
	wants, err := opts.wanted()
	if err != nil {
		return err
	}
	file, err := readText(name, a.stdin)
	if err != nil {
		return err
	}
	c, err := a.estimateFile(file, name, opts.overrides)
	if err != nil {
		return err
	}
	if c.estimate == nil {
		a.complain(c.errs.Err())
		wrong := wrongAnswer(c.name, &c.errs)
		return a.printLighter(w, &Lighter{
			Version: lightenVersion, Exit: exitWrong, File: wrong.File, Verdict: wrong.Verdict, Sentence: wrong.Sentence, Mistakes: wrong.Mistakes,
		})
	}
	// Fewer are searched for as the usual number, of which they are the first: one
	// that loses no more and keeps the reserve may be found late.
	aims := lighten.Options{Plans: max(opts.plans, plansShown), Wants: wants, Keep: opts.keep, Allow: opts.allow, Progress: a.progress()}
	found, err := lighten.Find(ctx, c.estimate, aims)
	var unknown *lighten.UnknownError
	if errors.As(err, &unknown) {
		hint := source.DidYouMean(unknown.Name, unknown.Known)
		if hint == "" && unknown.Kind == "resource" {
			hint = "resources are " + strings.Join(unknown.Known, ", ")
		}
		return hinted{err, hint}
	}
	if err != nil {
		return err
	}
	found.Plans = found.Plans[:min(len(found.Plans), opts.plans)]
	l := lighter(c.name, c.estimate, found)
	if opts.trade {
		if l.Trade, err = trade(ctx, c.name, c.estimate, aims); err != nil {
			return err
		}
	}
	if opts.apply > 0 {
		if err := a.apply(l, file, name, found, opts); err != nil {
			return err
		}
	}
	return a.printLighter(w, l)
}

// progress tells on a terminal what is being done, once it has taken half a
// second.
func (a *app) progress() func(string) {
	file, ok := a.stderr.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		return nil
	}
	began := time.Now()
	return func(doing string) {
		if time.Since(began) > time.Second/2 {
			fmt.Fprintln(a.stderr, printable(doing))
		}
	}
}

func lighter(file string, e *estimator.Estimate, found *lighten.Result) *Lighter {
	l := &Lighter{
		Version: lightenVersion, File: file, Verdict: e.Verdict.String(), Sentence: sentence(file, e),
		Proven: found.Proven, Tried: found.Alternatives,
	}
	if !found.Proven {
		l.Bound = found.Bound
	}
	for i := range found.Plans {
		l.Plans = append(l.Plans, planOf(file, e, &found.Plans[i], i+1))
	}
	for i := range e.Resources {
		if rests := e.Resources[i].Rests; rests != "" {
			l.Rests = append(l.Rests, rests)
		}
	}
	if hops := e.Coinciding(); len(hops) > 0 {
		l.Hops, l.Relief = causes(e.Graph, hops), e.Relief()
	}
	if found.Miss != nil {
		l.Miss = miss(file, e, found.Miss)
	}
	for i := range found.Singles {
		l.Swaps = append(l.Swaps, swap(e.Graph, &found.Singles[i]))
	}
	if len(l.Plans) == 0 {
		l.Exit = exitOver
	}
	return l
}

// planOf tells a plan.
func planOf(file string, e *estimator.Estimate, p *lighten.Plan, number int) Plan {
	cpu := p.After.Resource("cpu")
	out := Plan{
		Number: number, Loss: p.Loss, Changes: []PlanChange{}, Verdict: p.After.Verdict.String(), Sentence: sentence(file, p.After),
		Memory: int64(e.Bytes(estimator.MemoryResource) - p.After.Bytes(estimator.MemoryResource)),
		Flash:  int64(e.Bytes(estimator.FlashResource) - p.After.Bytes(estimator.FlashResource)),
		Load:   cpu.Used.Value / cpu.Limit,
	}
	for _, c := range p.Changes {
		change := PlanChange{Node: c.Node, Write: c.Write, Heard: c.Heard, Loss: c.Loss}
		for _, f := range c.Effects {
			change.Effects = append(change.Effects, effect(f))
		}
		out.Changes = append(out.Changes, change)
	}
	return out
}

func miss(file string, e *estimator.Estimate, m *lighten.Miss) *Miss {
	out := &Miss{Plan: planOf(file, e, &m.Nearest, 0), Over: []Over{}, Never: m.Never}
	for i := range m.Nearest.After.Resources {
		if r := &m.Nearest.After.Resources[i]; r.Used.High > r.Limit {
			out.Over = append(out.Over, Over{r.Name, kindNames[r.Kind].unit, r.Used.High - r.Limit})
		}
	}
	for _, s := range m.Shifts {
		out.Shifts = append(out.Shifts, Shift{s.Resource, kindNames[s.Kind].unit, s.Limit, s.Least})
	}
	return out
}

// tradePoints is about how many plans of each curve are shown.
const tradePoints = 8

func trade(ctx context.Context, file string, e *estimator.Estimate, aims lighten.Options) (*Trade, error) {
	curves, err := lighten.Curves(ctx, e, aims, tradePoints)
	if err != nil {
		return nil, err
	}
	told := func(plans []lighten.Plan) []Plan {
		list := []Plan{}
		for i := range plans {
			list = append(list, planOf(file, e, &plans[i], i+1))
		}
		return list
	}
	return &Trade{told(curves.Load), told(curves.Memory), curves.AllLoad, curves.AllMemory}, nil
}

// wholeGraph stands for a node where a setting of the whole graph changes.
const wholeGraph = "(all)"
