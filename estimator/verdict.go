package estimator

import (
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// Verdict is how a resource stands, the better the smaller.
type Verdict uint8

// Verdicts. With its band, a need fits where its upper edge lies within the
// limit less the reserve, is tight where that edge lies within the limit, is
// over where its lower edge lies beyond it, and is unsure in between.
const (
	Fits Verdict = iota
	Tight
	Unsure
	Over
)

var verdictNames = [...]string{Fits: "fits", Tight: "tight", Unsure: "unsure", Over: "over"}

// String is the word used in output.
func (v Verdict) String() string { return verdictNames[v] }

// Resource is one thing the board has so much of.
type Resource struct {
	Name    string // a bank, "cpu", or a jack
	Kind    ResourceKind
	Index   int // of a bank or a jack
	Used    blocks.Figure
	Limit   float64
	Reserve float64 // share of the limit that was asked to stay free
	Verdict Verdict
	// Rests says what unconfirmed default decides, with the line to write; "":
	// none does.
	Rests string
}

// ResourceKind is what a resource counts.
type ResourceKind uint8

// Bytes of a bank, bytes of the bank that holds code, cycles of the worst
// block, jacks.
const (
	MemoryResource ResourceKind = iota
	FlashResource
	CPUResource
	JackResource
)

// Headroom is what is left of the limit by the figure itself.
func (r *Resource) Headroom() float64 { return r.Limit - r.Used.Value }

// weigh compares a need with a limit.
func weigh(need blocks.Figure, limit, reserve float64) Verdict {
	switch {
	case need.High <= limit*(1-reserve):
		return Fits
	case need.High <= limit:
		return Tight
	case need.Low <= limit:
		return Unsure
	}
	return Over
}

// JackCount is how many of a jack the graph takes.
type JackCount struct {
	Name      string
	Used, Has int
	Confirmed bool
}

func (e *Estimate) jacks() {
	g := e.Graph
	count := map[string]int{}
	for _, n := range g.Nodes {
		for jack, k := range n.demand.Jacks {
			count[jack] += k * g.Copies(n)
		}
	}
	for _, name := range blocks.JackNames() {
		jack := g.Board.Jack(name)
		if count[name] > 0 || jack.Count > 0 {
			e.Jacks = append(e.Jacks, JackCount{name, count[name], jack.Count, jack.Confirmed})
		}
	}
}

// judge weighs every resource; the graph's verdict is the worst of them.
func (e *Estimate) judge() {
	g := e.Graph
	for b := range e.Banks {
		use, bank := &e.Banks[b], &g.Board.Banks[b]
		r := Resource{Name: bank.Name, Kind: MemoryResource, Index: b, Used: use.Figure, Limit: float64(use.Usable), Reserve: g.Reserve.Memory}
		if bank.Kind.Constant() {
			r.Kind, r.Reserve = FlashResource, g.Reserve.Flash
		}
		r.Verdict = weigh(r.Used, r.Limit, r.Reserve)
		e.restsOnSystem(&r)
		e.Resources = append(e.Resources, r)
	}
	cpu := Resource{Name: "cpu", Kind: CPUResource, Used: e.CPU.Worst.Total(), Limit: e.CPU.Budget, Reserve: g.Reserve.CPU}
	cpu.Verdict = weigh(cpu.Used, cpu.Limit, cpu.Reserve)
	e.Resources = append(e.Resources, cpu)
	for i, j := range e.Jacks {
		r := Resource{Name: j.Name, Kind: JackResource, Index: i, Used: blocks.Exactly(float64(j.Used)), Limit: float64(j.Has)}
		r.Verdict = weigh(r.Used, r.Limit, 0)
		if r.Verdict == Over && !j.Confirmed {
			r.Verdict = Unsure
			r.Rests = fmt.Sprintf("the %s of %s is a plain default: in a board file of your own write 'like: %s' and 'jacks: {%s: %d}'",
				counted(j.Name, j.Has), g.Board.Name, g.Board.Name, j.Name, j.Used)
		}
		e.Resources = append(e.Resources, r)
	}
	for _, r := range e.Resources {
		e.Verdict = max(e.Verdict, r.Verdict)
	}
}

// counted is a jack's name with its number in words for people.
func counted(jack string, n int) string {
	return fmt.Sprintf("number of %s (%d)", strings.ReplaceAll(jack, "_", "-"), n)
}

// restsOnSystem turns over into unsure where it is only over because of what a
// default nobody confirmed says that the system takes.
func (e *Estimate) restsOnSystem(r *Resource) {
	g := e.Graph
	var guessed blocks.Bytes
	var rows []string
	for _, row := range g.Board.System {
		if row.Bank == r.Index && !row.Confirmed {
			guessed += row.Bytes
			rows = append(rows, row.What)
		}
	}
	if r.Verdict != Over || r.Used.Low-float64(guessed) > r.Limit {
		return
	}
	r.Verdict = Unsure
	slices.Sort(rows)
	r.Rests = fmt.Sprintf("what the system takes of %s (%v) is a plain default: in a board file of your own write 'like: %s' and, under 'system', '%s: {bank: %s, bytes: ...}'",
		r.Name, guessed, g.Board.Name, rows[0], r.Name)
}

// Share is the share of the limit that is taken at the upper edge of the
// figure: above 1, more than there is.
func (r *Resource) Share() float64 {
	if r.Used.High == 0 {
		return 0
	}
	return r.Used.High / r.Limit
}

// Decides is the resource that decides the verdict: of those that stand worst,
// the one that is taken most by its share. Where all fits no jack decides, as
// jacks are there to be taken.
func (e *Estimate) Decides() *Resource {
	var most *Resource
	for i := range e.Resources {
		r := &e.Resources[i]
		if r.Verdict != e.Verdict || e.Verdict == Fits && r.Kind == JackResource {
			continue
		}
		if most == nil || r.Share() > most.Share() {
			most = r
		}
	}
	return most
}
