// Package lighten finds what is the least to give up so that a graph fits.
//
// Find gathers what could stand in for every node, tries each on the whole
// graph, and puts them into a model whose sums never exceed what the estimator
// would say. The planner solves the model exactly; every plan it offers, in
// order of what is heard, is then made in the graph and estimated in full, and
// only one that fits there is told. Settings of the whole graph (block size,
// sample rate, how code is compiled and where it runs, voices) are enumerated around that.
package lighten

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Options of a search.
type Options struct {
	Plans int    // how many are wanted; 0: one
	Wants []Want // beyond fitting
	// Keep and Allow name nodes or groups, by full name, that must stay as they
	// are, or that may change although the file keeps them.
	Keep, Allow []string
	// Steps bounds the search in the model; 0: the usual bound.
	Steps int64
	// Progress, where set, is told now and then what is being done.
	Progress func(doing string)
}

// Want is a limit below the board's own: a share of it, or an amount in the
// resource's unit.
type Want struct {
	Resource string // "cpu", "flash", or a bank
	Share    float64
	Amount   float64 // counts where Share is 0
}

// limit is what a resource may take at most.
func (o *Options) limit(r *estimator.Resource) float64 {
	limit := r.Limit
	for _, w := range o.Wants {
		if w.Resource == r.Name || w.Resource == "flash" && r.Kind == estimator.FlashResource {
			if w.Share > 0 {
				limit = min(limit, w.Share*r.Limit)
			} else {
				limit = min(limit, w.Amount)
			}
		}
	}
	return limit
}

// meets tells whether an estimate keeps to all limits, its whole band counted.
func (o *Options) meets(e *estimator.Estimate) bool {
	for i := range e.Resources {
		if r := &e.Resources[i]; r.Used.High > o.limit(r) {
			return false
		}
	}
	return e.Verdict <= estimator.Tight
}

// Change is one thing that a plan changes.
type Change struct {
	Node    string // "" for a setting of the whole graph
	Write   string // what to write: "format: int16"
	Heard   string
	Effects []estimator.Effect
	Loss    float64 // points
	Moves   int     // how many substitutes and values it is made of
}

// Plan is a set of changes with which the graph fits, confirmed by a full
// estimate.
type Plan struct {
	Changes []Change
	Loss    float64 // points
	After   *estimator.Estimate
}

// moves is how many substitutes and values the plan is made of.
func (p *Plan) moves() int {
	sum := 0
	for _, c := range p.Changes {
		sum += c.Moves
	}
	return sum
}

// Result is what was found.
type Result struct {
	Plans []Plan // the least loss first
	// Proven is whether no plan loses less than the first, or none fits. Otherwise
	// none loses less than Bound, in points.
	Proven  bool
	Bound   float64
	Singles []estimator.Swap // that help alone, most relief for the least loss first
	// Miss is told where nothing fits.
	Miss *Miss
	// Alternatives is how many were tried, Confirmed how many plans were
	// estimated in full.
	Alternatives, Confirmed int
}

const (
	deepest = 3  // substitutes on top of each other
	mostOf  = 24 // alternatives of one node
	// modelSteps bounds the planner for each setting of the whole graph.
	modelSteps = 20_000_000
	// mostConfirmed bounds the full estimates for each setting of the whole
	// graph: plans of the model that do not fit after all.
	mostConfirmed = 512
	// mostFurther bounds them where there is a plan and further ones are looked
	// for.
	mostFurther = 64
	thousandth  = 1000 // of a point: the planner's unit
	// rounding is what the planner's units can make of the loss of a plan, in
	// points, far below what is heard.
	rounding = 0.01
)

// Find finds the plans that lose least. Where the graph meets all limits as it
// stands the one plan changes nothing. It is deterministic: bounded by steps,
// never by the clock. The error is that of ctx, or of a catalog file.
func Find(ctx context.Context, e *estimator.Estimate, o Options) (*Result, error) {
	o.Plans = max(o.Plans, 1)
	if o.Progress == nil {
		o.Progress = func(string) {}
	}
	if err := o.check(e); err != nil {
		return nil, err
	}
	r := &Result{Proven: true}
	if o.meets(e) {
		r.Plans = []Plan{{After: e}}
		return r, nil
	}
	whole, err := settings(e, &o)
	if err != nil {
		return nil, err
	}
	for _, s := range whole {
		if len(r.Plans) >= o.Plans && s.loss >= r.Plans[o.Plans-1].Loss {
			continue // whatever else it gives up, it is no better
		}
		o.Progress(s.doing())
		if err := s.search(ctx, &o, r); err != nil {
			return nil, err
		}
		if len(s.changes) == 0 {
			r.Singles = s.singles(&o)
		}
	}
	if len(r.Plans) == 0 {
		asItStands := whole[slices.IndexFunc(whole, func(s *setting) bool { return len(s.changes) == 0 })]
		o.Progress("looking for what comes nearest")
		if r.Miss, err = asItStands.miss(ctx, &o); err != nil {
			return nil, err
		}
	}
	if len(r.Plans) > 0 && r.Bound >= r.Plans[0].Loss-rounding {
		r.Proven = true // what was passed over is no better
	}
	return r, nil
}

// check refuses names that nothing has.
func (o *Options) check(e *estimator.Estimate) error {
	var names []string
	for _, n := range e.Graph.Nodes {
		names = append(names, n.Name)
	}
	for _, g := range e.Graph.Groups {
		names = append(names, g.Name)
	}
	for _, name := range slices.Concat(o.Keep, o.Allow) {
		if !slices.Contains(names, name) {
			return &UnknownError{"node", name, names}
		}
	}
	resources := []string{"flash"}
	for _, r := range e.Resources {
		if r.Kind != estimator.JackResource && r.Name != "flash" {
			resources = append(resources, r.Name)
		}
	}
	for _, w := range o.Wants {
		if !slices.Contains(resources, w.Resource) {
			return &UnknownError{"resource", w.Resource, resources}
		}
	}
	return nil
}

// UnknownError tells of a name that the graph or its board has not.
type UnknownError struct {
	Kind, Name string
	Known      []string
}

func (e *UnknownError) Error() string { return fmt.Sprintf("there is no %s '%s'", e.Kind, e.Name) }

// free tells whether a node may change.
func (o *Options) free(g *estimator.Graph, n *estimator.Node) bool {
	names := []string{n.Name}
	if n.Group >= 0 {
		names = append(names, g.Groups[n.Group].Name)
	}
	named := func(list []string) bool {
		return slices.ContainsFunc(names, func(name string) bool { return slices.Contains(list, name) })
	}
	return !named(o.Keep) && (!n.Keep || named(o.Allow))
}

// setting is the graph under other settings of the whole: the search for plans
// begins there.
type setting struct {
	changes []Change
	loss    float64
	after   *estimator.Estimate
	swaps   [][]estimator.Swap // by node
}

func (s *setting) doing() string {
	if len(s.changes) == 0 {
		return "trying what could stand in for each node"
	}
	var words []string
	for _, c := range s.changes {
		words = append(words, c.Write)
	}
	return "trying " + strings.Join(words, ", ")
}

// choice is one change of a setting of the whole graph.
type choice struct {
	edit  source.Edit
	write string
	heard string
}

// settings are the ways to set the whole graph, what is heard least first. The
// graph as it stands is one.
func settings(e *estimator.Estimate, o *Options) ([]*setting, error) {
	all := [][]choice{blockSizes(e), sampleRates(e), controlRates(e), codeStyles(e), layouts(e)}
	for _, group := range e.Graph.Groups {
		all = append(all, voices(e, o, group))
	}
	list := []*setting{{after: e}}
	for _, choices := range all {
		var more []*setting
		for _, s := range list {
			for _, c := range choices {
				t, err := s.with(c, o)
				if err != nil {
					return nil, err
				}
				if t != nil {
					more = append(more, t)
				}
			}
		}
		list = append(list, more...)
	}
	slices.SortStableFunc(list, func(a, b *setting) int {
		return cmp.Or(cmp.Compare(a.loss, b.loss), cmp.Compare(len(a.changes), len(b.changes)))
	})
	return list, nil
}

// with is a setting with one choice more; nil where the reader refuses it, or
// where it relieves nothing of what is over.
func (s *setting) with(c choice, o *Options) (*setting, error) {
	g, err := s.after.Graph.With(c.edit)
	if err != nil {
		return nil, nil
	}
	after, err := g.Estimate()
	if err != nil {
		return nil, nil
	}
	effects, err := estimator.WholeEffects(s.after, after)
	if err != nil {
		return nil, err
	}
	change := Change{Write: c.write, Heard: c.heard, Effects: effects, Moves: 1}
	for _, f := range effects {
		change.Loss += f.Points
	}
	if estimator.Relief(s.after, after, o.limit) <= 0 {
		return nil, nil
	}
	return &setting{changes: append(slices.Clip(s.changes), change), loss: s.loss + change.Loss, after: after}, nil
}

func blockSizes(e *estimator.Estimate) []choice {
	var list []choice
	for _, times := range []int{2, 4} {
		text := strconv.Itoa(e.Graph.BlockSize * times)
		list = append(list, choice{source.Edit{Path: []string{"block_size"}, Text: text}, "block_size: " + text, "everything comes later"})
	}
	return list
}

// usualRates are sample rates that converters run at.
var usualRates = []blocks.Hertz{96000, 48000, 44100, 32000}

func sampleRates(e *estimator.Estimate) []choice {
	var list []choice
	for _, rate := range usualRates {
		if rate < e.Graph.SampleRate {
			text := rate.String()
			list = append(list, choice{source.Edit{Path: []string{"sample_rate"}, Text: text}, "sample_rate: " + text, "less treble"})
		}
	}
	return list
}

// controlRates are a half and a quarter of a control rate that is given, never
// less than once a block.
func controlRates(e *estimator.Estimate) []choice {
	var list []choice
	once := e.Graph.SampleRate / blocks.Hertz(e.Graph.BlockSize)
	for _, part := range []blocks.Hertz{2, 4} {
		if rate := e.Graph.ControlRate / part; rate >= once {
			text := rate.String()
			list = append(list, choice{source.Edit{Path: []string{"control_rate"}, Text: text}, "control_rate: " + text, "what moves goes in coarser steps"})
		}
	}
	return list
}

func codeStyles(e *estimator.Estimate) []choice {
	return []choice{{source.Edit{Path: []string{"code", "optimise"}, Text: "Os"}, "code: {optimise: Os}", "nothing"}}
}

// layouts are the other banks that code could run from.
func layouts(e *estimator.Estimate) []choice {
	var list []choice
	g := e.Graph
	for _, l := range g.Board.Layouts {
		if name := g.Board.Banks[l.Bank].Name; l.Bank != g.Run {
			list = append(list, choice{source.Edit{Path: []string{"code", "run"}, Text: name}, "code: {run: " + name + "}", "nothing"})
		}
	}
	return list
}

// voices are the numbers of voices that a group could have, three of them.
func voices(e *estimator.Estimate, o *Options, group *estimator.Group) []choice {
	for _, i := range group.Nodes {
		if !o.free(e.Graph, e.Graph.Nodes[i]) {
			return nil
		}
	}
	var list []choice
	for _, count := range []int{group.Count - 1, group.Count * 3 / 4, group.Count / 2} {
		text := strconv.Itoa(count)
		if count < 1 || slices.ContainsFunc(list, func(c choice) bool { return c.edit.Text == text }) {
			continue
		}
		list = append(list, choice{
			source.Edit{Path: []string{"voices", group.Name, "count"}, Text: text},
			group.Name + ": count: " + text, "fewer voices sound together",
		})
	}
	return list
}

// gather tries the alternatives of every node that may change, on all
// processors.
func (s *setting) gather(ctx context.Context, o *Options) error {
	g := s.after.Graph
	s.swaps = make([][]estimator.Swap, len(g.Nodes))
	var failed error
	var mu sync.Mutex
	var wait sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, n := range g.Nodes {
		if !o.free(g, n) || ctx.Err() != nil {
			continue
		}
		wait.Add(1)
		free <- struct{}{}
		go func() {
			defer wait.Done()
			swaps, err := s.after.Alternatives(i, deepest, mostOf)
			mu.Lock()
			defer mu.Unlock()
			if err != nil && failed == nil {
				failed = err
			}
			s.swaps[i] = swaps
			<-free
		}()
	}
	wait.Wait()
	return cmp.Or(ctx.Err(), failed)
}

// singles are the swaps that help alone, without those that help no more than
// another of the node and are heard no less.
func (s *setting) singles(o *Options) []estimator.Swap {
	var list []estimator.Swap
	least := estimator.LeastHelp * s.after.Excess(o.limit)
	for _, swaps := range s.swaps {
		for _, w := range swaps {
			if w.Relief = estimator.Relief(s.after, w.After, o.limit); w.Relief > 0 && w.Relief >= least {
				list = append(list, w)
			}
		}
	}
	estimator.Rank(list)
	var best []estimator.Swap
	for _, w := range list {
		if !slices.ContainsFunc(best, func(b estimator.Swap) bool { return b.Loss <= w.Loss && b.Relief >= w.Relief && b.Node == w.Node }) {
			best = append(best, w)
		}
	}
	return best
}
