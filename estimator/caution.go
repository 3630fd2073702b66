package estimator

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// Caution is something a figure does not tell: a doubt about it, or a danger.
type Caution struct {
	Kind  string // a short word that stays the same: "loop-gain", "double", ...
	Node  string // "": the whole graph
	Place string // file:line:column; "": none
	Text  string
}

// Thresholds of cautions. The latency is where Wessel and Wright (Computer Music
// Journal 26(3), 2002) put the limit for playing; that a trained ear objects to
// steps of pitch from about 5 cents is common practice (from memory); the share
// of events is house judgement.
const (
	playableLatency = 0.010 // seconds
	heardStep       = 5     // cents
	eventShare      = 0.05  // of the budget
)

// caution gathers what the user should know beside the figures.
func (e *Estimate) caution() {
	e.cautionHomeless()
	e.cautionElsewhere()
	e.cautionGap()
	e.cautionOrder()
	e.cautionLoops()
	e.cautionCuts()
	e.cautionDouble()
	e.cautionSum()
	e.cautionUnheard()
	e.cautionLevels()
	e.cautionEvents()
	e.cautionPitch()
	e.cautionBanks()
	e.cautionDefaults()
	g := e.Graph
	e.cautionCode()
	e.cautionMeasured()
	if g.Overlay {
		e.warn("overlay", nil, "scenes share buffers: what still rings is lost when the scene changes")
	}
	if seconds := e.Latency.Samples() / float64(g.SampleRate); seconds > playableLatency {
		e.warn("latency", nil, "%v from %s to %s is more than the %v that feel immediate when playing",
			blocks.Seconds(seconds), e.Latency.From, e.Latency.To, blocks.Seconds(playableLatency))
	}
}

func (e *Estimate) warn(kind string, n *Node, format string, args ...any) {
	c := Caution{Kind: kind, Text: fmt.Sprintf(format, args...)}
	if n != nil {
		c.Node, c.Place = n.Name, n.Place.Where()
	}
	e.Cautions = append(e.Cautions, c)
}

const loudness = "keep the volume down and headphones off the ears, and put a limiter last"

// cautionLoops warns of loops that may not die away: inside a block, and drawn
// in the graph.
func (e *Estimate) cautionLoops() {
	g := e.Graph
	for _, n := range g.Nodes {
		if n.demand.LoopGain >= 1 {
			e.warn("loop-gain", n, "the loop inside %s can reach a gain of %.3g: it can grow without end; %s", n.Name, n.demand.LoopGain, loudness)
		}
	}
	var closing []Cut
	for _, i := range e.Schedule.Split {
		closing = append(closing, Cut{Source{Node: i, Group: -1}, i})
	}
	closing = append(closing, e.Schedule.Cuts...)
	for _, c := range closing {
		from := g.Nodes[c.From.Node]
		if gain := e.aroundLoop(c); gain >= 1 {
			e.warn("loop-gain", from, "the loop through %s can reach a gain of %.3g: it can grow without end; %s", from.Name, gain, loudness)
		}
	}
}

// aroundLoop is the greatest gain from a node's output back to where its loop
// closes. Paths side by side add up, as they do when they are in phase.
func (e *Estimate) aroundLoop(c Cut) float64 {
	g := e.Graph
	reach := make([]float64, len(g.Nodes))
	start := c.To
	reach[start] = g.Nodes[start].demand.Gain
	back := 0.0
	for _, step := range e.Schedule.Steps {
		i := step.Node
		n := g.Nodes[i]
		var sum float64
		for _, in := range n.Inputs {
			for _, src := range in.Sources {
				if in.Port.Kind == blocks.Audio && src.Node != i {
					sum += reach[src.Node] * e.voicesIn(src)
				} else if src.Node == i && i == start && step.Half != ReadHalf {
					back += reach[start]
				}
			}
		}
		switch {
		case i != start && step.Half != WriteHalf:
			reach[i] = sum * n.demand.Gain
		case i == start && step.Half == WriteHalf:
			back += sum
		}
	}
	if c.From.Node != c.To {
		return reach[c.From.Node]
	}
	return back
}

// voicesIn is how many signals a source adds up.
func (e *Estimate) voicesIn(s Source) float64 {
	if s.Group >= 0 {
		return float64(e.Graph.Groups[s.Group].Count)
	}
	return 1
}

func (e *Estimate) cautionCuts() {
	g := e.Graph
	for _, c := range e.Schedule.Cuts {
		to := g.Nodes[c.To]
		name := g.sourceName(c.From)
		if g.port(c.From).Kind != blocks.Audio {
			e.warn("cut", to, "the loop from %s to %s is cut here: %s hears the control period before", name, to.Name, to.Name)
			continue
		}
		e.warn("cut", to, "no delay of at least a block closes the loop from %s to %s, so it is cut here: %s hears %s a block late (%d samples, %v), and %v are kept for it",
			name, to.Name, to.Name, name, g.BlockSize, blocks.Seconds(float64(g.BlockSize)/float64(g.SampleRate)),
			blocks.Bytes(4*g.BlockSize*g.Channels(c.From)*g.Copies(g.Nodes[c.From.Node])))
	}
}

func (e *Estimate) cautionDouble() {
	core := e.Graph.Core
	if core.Float == blocks.FloatDouble {
		return
	}
	for _, n := range e.Graph.Nodes {
		if n.Use.Style.Double {
			e.warn("double", n, "%s computes in double precision, which the %s does in software; write 1.0f for 1.0 and sinf for sin", n.Name, core.Title)
		}
	}
}

// taming are roles that keep a sum within full scale.
var taming = []string{"clip", "limiter"}

// cautionSum warns where several signals add up at the output with nothing
// that keeps the sum within full scale.
func (e *Estimate) cautionSum() {
	g := e.Graph
	for _, n := range g.Nodes {
		if n.demand.Jacks["audio_out"] == 0 {
			continue
		}
		for _, in := range n.Inputs {
			if sum := e.untamed(in, map[int]bool{}); sum > 1 {
				e.warn("sum", n, "%d signals add up before %s and nothing clips or limits them: the sum can pass full scale; %s", sum, n.Name, loudness)
			}
		}
	}
}

// untamed counts the signals that add up at an input, back to what tames them
// or makes them. A node passes on as many as reach its main input.
func (e *Estimate) untamed(in Input, seen map[int]bool) int {
	sum := 0
	for _, src := range in.Sources {
		n := e.Graph.Nodes[src.Node]
		if slices.Contains(taming, n.Block().Role) {
			sum++
			continue
		}
		inner := 1
		if len(n.Inputs) > 0 && n.Inputs[0].Port.Kind == blocks.Audio && !seen[src.Node] {
			seen[src.Node] = true
			inner = max(1, e.untamed(n.Inputs[0], seen))
		}
		sum += inner * int(e.voicesIn(src))
	}
	return sum
}

// cautionEvents warns where several nodes that answer to events weigh on the
// worst block together.
func (e *Estimate) cautionEvents() {
	g := e.Graph
	type burst struct {
		node   int
		cycles float64
	}
	var bursts []burst
	var total float64
	for i, n := range g.Nodes {
		if len(n.Use.EventRates) == 0 {
			continue
		}
		if extra := e.Nodes[i].Worst.Value - e.Nodes[i].Mean.Value; extra > 0 {
			bursts = append(bursts, burst{i, extra})
			total += extra
		}
	}
	if len(bursts) < 2 || total < eventShare*e.CPU.Budget {
		return
	}
	slices.SortStableFunc(bursts, func(a, b burst) int { return int(b.cycles - a.cycles) })
	var names []string
	for _, b := range bursts[:min(len(bursts), 4)] {
		names = append(names, g.Nodes[b.node].Name)
	}
	e.warn("events", g.Nodes[bursts[0].node], "%s can all be struck in one block: together %s more than in the mean, %s of the budget",
		strings.Join(names, ", "), blocks.Cycles(total), blocks.Percent(total/e.CPU.Budget))
}

// cautionPitch warns where a pitch follows a control voltage in steps that are
// heard: the octaves of its span over the steps of the converter.
func (e *Estimate) cautionPitch() {
	g := e.Graph
	bits := g.Board.Converter.Bits
	for _, n := range g.Nodes {
		for _, d := range n.Drives {
			p := &n.Block().Params[d.Param]
			span := n.Use.Settings[d.Param].Span
			from := g.Nodes[d.Source.Node]
			if bits == 0 || p.Name != "pitch" || from.demand.Jacks["cv_in"] == 0 || span.Low <= 0 {
				continue
			}
			octaves := blocks.OctaveVolts(span)
			step := 1200 * octaves / math.Exp2(float64(bits))
			if d.Curve == Linear {
				// Equal steps in hertz are widest, in cents, at the low end.
				step = 1200 * math.Log2(1+(span.High/span.Low-1)/math.Exp2(float64(bits)))
			}
			if step > heardStep {
				e.warn("pitch", n, "%s follows %s in steps of up to %.1f cents (%d bits over %.1f octaves), which a trained ear hears",
					n.Name, from.Name, step, bits, octaves)
			}
		}
	}
}

// cautionBanks tells where a bank is too small only because something else
// has taken its part of it.
func (e *Estimate) cautionBanks() {
	for _, r := range e.Resources {
		if r.Kind != MemoryResource && r.Kind != FlashResource {
			continue
		}
		bank := &e.Graph.Board.Banks[r.Index]
		if r.Verdict < Unsure || r.Used.Value > float64(bank.Nominal) || len(bank.Taken) == 0 {
			continue
		}
		var taken []string
		for _, t := range bank.Taken {
			taken = append(taken, fmt.Sprintf("%s takes %v", strings.ReplaceAll(t.What, "_", " "), t.Bytes))
		}
		e.warn("nominal", nil, "%s has %v in the datasheet, but %s", bank.Name, bank.Nominal, strings.Join(taken, ", "))
	}
}

// cautionHomeless tells what found no bank, how much is short where it comes
// nearest, and what else lies there.
func (e *Estimate) cautionHomeless() {
	g := e.Graph
	for _, k := range e.Placement.Homeless {
		o := &e.Objects[k]
		at := e.Placement.Bank[k]
		bank := &g.Board.Banks[at]
		var n *Node
		name := o.Name
		switch {
		case o.Node >= 0:
			n = g.Nodes[o.Node]
		case o.Part == PartStack:
			_, deepest := e.stack()
			n = g.Nodes[deepest]
			name = "the stack, deepest in " + n.Name + ","
		}
		var end blocks.Bytes
		var beside []Region
		for _, r := range e.Banks[at].Regions {
			if r.Name == o.Name && r.Part == o.Part {
				end = blocks.Bytes(r.End - bank.Base)
				break
			}
			beside = append(beside, r)
		}
		if o.Part == PartCode {
			name = "the code" + e.mostOfCode()
		}
		takes := fmt.Sprintf("%s takes %v and finds no room: of the banks that may hold it, %s comes nearest", name, o.Bytes.Up(), bank.Name)
		if o.Pin >= 0 {
			takes = fmt.Sprintf("%s takes %v and is pinned to %s", name, o.Bytes.Up(), bank.Name)
		}
		if o.Part == PartCode {
			takes = fmt.Sprintf("%s takes %v and runs from %s", name, o.Bytes.Up(), bank.Name)
		}
		short := end - bank.Usable()
		e.warn("room", n, "%s, which has %v, %v too little%s", takes, bank.Usable().Down(), short.Up(), besides(beside))
	}
}

// mostOfCode names the largest of what is copied to where code runs.
func (e *Estimate) mostOfCode() string {
	const most = 3
	var names []string
	for _, p := range e.CopiedCode() {
		if len(names) < most {
			names = append(names, fmt.Sprintf("%s (%v)", p.Name, p.Copied.Up()))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return ", most of it " + strings.Join(names, ", ") + ","
}

// cautionGap tells how much less another placement could at most wait, where
// the one that was found is not proven to wait least.
func (e *Estimate) cautionGap() {
	if e.Placement.Gap == 0 {
		return
	}
	less := e.Placement.Gap * e.waits()
	e.warn("placement", nil, "the buffers are not proven to lie where they wait least: another placement could wait up to %v a block less, %s of the budget; 'bank:' pins a buffer where you want it",
		blocks.Cycles(math.Ceil(less)), blocks.Percent(less/e.CPU.Budget))
}

// cautionOrder tells how many block buffers less another order of the nodes
// could at most need, where the one that was found is not proven to need fewest.
func (e *Estimate) cautionOrder() {
	if more := e.Schedule.Slots - e.Schedule.Least; more > 0 {
		const word = 4
		e.warn("order", nil, "the nodes are not proven to run in the order that needs the least memory for wires: another could need up to %v less",
			blocks.Bytes(more*e.Graph.BlockSize*word).Up())
	}
}

// cautionCode warns where code is copied to no use, where it does not stay in its
// cache, and where a cold
// cache in front of serial flash alone could break a block.
func (e *Estimate) cautionCode() {
	g := e.Graph
	bank := &g.Board.Banks[g.Run]
	if g.CopiesCode() {
		lies := g.CodeBank()
		if here, there := e.codeWaits(g.Run), e.codeWaits(lies); here >= there+1 {
			e.warn("copy", nil, "code is copied to %s, where it waits about %v a block, and would wait %v in %s, where it lies: 'code: {run: %s}' spares the room as well",
				bank.Name, blocks.Cycles(math.Ceil(here)), blocks.Cycles(math.Ceil(there)), g.Board.Banks[lies].Name, g.Board.Banks[lies].Name)
		}
	}
	code := e.codeStalls()
	switch size := e.Constants.Code.Up(); {
	case code.Mean > 0:
		e.warn("code-cache", nil, "%v of code do not stay in the cache in front of %s from one block to the next: fetching them again costs about %v a block, %s of the budget; %smake less of it",
			size, bank.Name, blocks.Cycles(math.Ceil(code.Mean)), blocks.Percent(code.Mean/e.CPU.Budget), e.copyCode("write '%s', which copies it to where there is room for it, or "))
	case bank.Kind == blocks.QSPI:
		e.warn("serial-flash", nil, "code runs from serial flash through a cache, which holds the %v of this graph: a block after something else ran there waits about %v more, %s of the budget%s",
			size, blocks.Cycles(math.Ceil(code.Cold)), blocks.Percent(code.Cold/e.CPU.Budget), e.copyCode("; '%s' would copy it to where there is room for it"))
	}
}

// copyCode puts into words what to write so that code is copied to RAM without a
// cache that has room for it and where it waits less than now, the caches cold; "":
// there is none.
func (e *Estimate) copyCode(words string) string {
	g := e.Graph
	var bytes blocks.Bytes
	for i := range e.code {
		bytes += e.code[i].runs()
	}
	for _, l := range g.Board.Layouts {
		bank := &g.Board.Banks[l.Bank]
		if l.Bank == g.Run || bank.Kind.Constant() || bank.Cached || e.Free(l.Bank) < bytes {
			continue
		}
		if e.CPU.Mean.Compute.Value*bank.Fetch < e.codeStalls().Cold {
			return fmt.Sprintf(words, "code: {run: "+bank.Name+"}")
		}
	}
	return ""
}

// besides names the largest of what lies in a bank.
func besides(regions []Region) string {
	const most = 3
	size := func(r Region) blocks.Bytes { return blocks.Bytes(r.End - r.Start) }
	largest := slices.Clone(regions)
	slices.SortStableFunc(largest, func(a, b Region) int { return cmp.Compare(size(b), size(a)) })
	var names []string
	var rest blocks.Bytes
	for i, r := range largest {
		if i < most {
			names = append(names, fmt.Sprintf("%s (%v)", r.Name, size(r).Up()))
		} else {
			rest += size(r)
		}
	}
	if len(names) == 0 {
		return ""
	}
	if rest > 0 {
		names = append(names, fmt.Sprintf("%v more", rest.Up()))
	}
	return " beside " + strings.Join(names, ", ")
}

// cautionDefaults tells which rates nobody confirmed.
func (e *Estimate) cautionDefaults() {
	for _, n := range e.Graph.Nodes {
		for _, name := range n.Defaults {
			for i, p := range n.Block().Params {
				if p.Name == name {
					e.warn("default", n, "the greatest rate of %s is taken to be %s, a plain default: write '%s: ...' if events can come faster",
						n.Name, p.Unit.Format(n.Use.Settings[i].Span.High), name)
				}
			}
		}
	}
}
