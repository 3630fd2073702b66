package page

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// Subject is a graph that is shown: what it was estimated to be, with the words
// that every command has for it.
type Subject struct {
	File     string
	Estimate *estimator.Estimate
	Sentence string // the verdict, without its full stop
	Worth    string // what the figures are worth
	Advice          // where it does not fit
	Made     time.Time
	Version  string // of the program
}

// view is what the templates show: the pictures, each as marks to scale and as
// the rows of a table, from the same figures.
type view struct {
	Subject
	Verdict   string
	Facts     []fact
	Resources []resource
	Time      timeline
	Shelves   []shelf
	Drawing   drawing
	Wires     []wire
	Jacks     []jack
	Nodes     []node
	Dear      []dear
	Latency   latency
	Cautions  []string
	Rests     []string
	Sources   []cited
	Bands     []fact
	Live      bool // there is a server behind the pictures
}

type fact struct{ Name, Text string }

// figure is a number as people read it, with what it is exactly and the name by
// which check's JSON has it.
type figure struct {
	Key   string
	Value float64
	Text  string
}

type resource struct {
	Name, Verdict     string
	Used, Limit, Left figure
	Share, Between    string
}

// mark is a stretch of a picture, in percent of its width.
type mark struct {
	Start, Width float64
	Node         int // -1: none
	Kind         string
	Number       int    // in the table beside it; 0: it has no row
	Label        string // "": there is no room for one
	Title        string
}

type tick struct {
	At    float64
	Text  string
	Class string
}

// timeline is one block of time: the mean above the worst.
type timeline struct {
	Budget      figure
	Limit       float64 // where the block ends, in percent of the width
	Seconds     string
	Bars        []bar
	Rows        []timeRow
	Mean, Worst figure
	MeanShare   string
	WorstShare  string
	Enlarged    *bar // of what is taken; nil: it is large enough
	Scene       string
	Ticks       []tick
}

type bar struct {
	Name, Summary string
	Marks         []mark
}

type timeRow struct {
	Number      int
	Node        int
	Name, Block string
	Mean, Worst figure
	Share       string
}

type shelf struct {
	Name, Kind, Access string
	Used, Usable, Free figure
	Share              string
	Marks              []mark
	Ticks              []tick
	Rows               []shelfRow
	Others             string // what has no row of its own
	Parts              []part
	Over               bool
	Limit              float64
}

type shelfRow struct {
	Number     int
	Node       int
	Name, Part string
	At, Bytes  figure
}

type part struct {
	Name  string
	Bytes figure
}

type jack struct {
	Name      string
	Used, Has int
	Dots      []string
	Doubt     string
}

type wire struct{ From, To, Carries, Remark string }

type node struct {
	Index               int
	Name, Kernel        string
	Copies              int
	Mean, Worst, Stalls figure
	Bytes               figure
	Basis, Source       string
	Band, Lies, Note    string
	Parts               []portion
}

type portion struct{ Name, Mean, Worst string }

type dear struct {
	Title string
	Rows  []dearRow
}

type dearRow struct {
	Node              int
	Name, Block, Text string
	Width             float64 // percent of the dearest
	Share             string
}

type latency struct {
	From, To string
	Samples  figure
	Text     string
	Parts    []fact
}

type cited struct {
	Of    string
	Texts []string
}

// newView lays out what an estimate tells.
func newView(s Subject) *view {
	e := s.Estimate
	g := e.Graph
	v := &view{Subject: s, Verdict: e.Verdict.String()}
	v.Facts = []fact{
		{"board", g.Board.Name + ", " + g.Board.Title},
		{"sample rate", g.SampleRate.String()},
		{"block", fmt.Sprintf("%d samples, %v", g.BlockSize, blocks.Seconds(float64(g.BlockSize)/float64(g.SampleRate)))},
	}
	if g.CopiesCode() {
		v.Facts = append(v.Facts, fact{"code", "copied to " + g.Board.Banks[g.Run].Name + ", and runs from there"})
	}
	if g.Tempo != (blocks.Span{}) {
		v.Facts = append(v.Facts, fact{"tempo", blocks.UnitTempo.FormatSpan(g.Tempo)})
	}
	for i := range e.Resources {
		if r := &e.Resources[i]; r.Kind != estimator.JackResource {
			v.Resources = append(v.Resources, resourceRow(r))
		}
		if rests := e.Resources[i].Rests; rests != "" {
			v.Rests = append(v.Rests, rests)
		}
	}
	v.Time = timelineOf(e)
	for b := range e.Banks {
		v.Shelves = append(v.Shelves, shelfOf(e, b))
	}
	v.Drawing = draw(e)
	v.Wires = wires(e)
	v.Jacks = jacks(e)
	v.Nodes = nodes(e)
	v.Dear = dearest(e)
	v.Latency = latencyOf(e)
	for _, c := range e.Cautions {
		text := c.Text
		if c.Place != "" {
			text = c.Place + ": " + text
		}
		v.Cautions = append(v.Cautions, text)
	}
	v.Sources, v.Bands = sources(e), bands(e)
	return v
}

// count prints a number in groups of three digits.
func count(v float64) string {
	return strings.TrimSuffix(strings.TrimSuffix(blocks.Cycles(math.Round(v)).String(), "s"), " cycle")
}

func cyclesFigure(key string, v float64) figure { return figure{key, v, count(v)} }

func percent(part, whole float64) string {
	if whole == 0 {
		return "none"
	}
	return blocks.Percent(part / whole)
}

func resourceRow(r *estimator.Resource) resource {
	key := "resource." + r.Name
	out := resource{Name: r.Name, Verdict: r.Verdict.String(), Share: percent(r.Used.Value, r.Limit), Between: "exact"}
	used, limit, left := r.Used.Value, r.Limit, r.Headroom()
	if r.Kind == estimator.CPUResource {
		out.Used = figure{key + ".used", used, blocks.Cycles(math.Ceil(used)).String()}
		out.Limit = figure{key + ".limit", limit, blocks.Cycles(math.Floor(limit)).String()}
		out.Left = figure{key + ".left", left, blocks.Cycles(math.Floor(limit) - math.Ceil(used)).String()}
		if r.Used.Low != r.Used.High {
			out.Between = count(math.Floor(r.Used.Low)) + " to " + blocks.Cycles(math.Ceil(r.Used.High)).String()
		}
		return out
	}
	out.Used = figure{key + ".used", used, blocks.Bytes(used).Up()}
	out.Limit = figure{key + ".limit", limit, blocks.Bytes(limit).Down()}
	out.Left = figure{key + ".left", left, signedBytes(left)}
	if r.Used.Low != r.Used.High {
		out.Between = blocks.Bytes(r.Used.Low).Down() + " to " + blocks.Bytes(math.Ceil(r.Used.High)).Up()
	}
	return out
}

// signedBytes is an amount that may be missing.
func signedBytes(v float64) string {
	if v < 0 {
		return "-" + blocks.Bytes(-v).Up()
	}
	return blocks.Bytes(v).Down()
}

// least is the share of a picture's width, in percent, below which things stand
// together: they could not be told apart.
const least = 0.25

// labelled is how many percent of the width a letter of a label takes on a
// screen of ordinary width.
const labelled = 0.95

func (m *mark) label(text string) {
	if m.Width >= labelled*float64(len([]rune(text))+2) {
		m.Label = text
	}
}

func shelfOf(e *estimator.Estimate, b int) shelf {
	bank, use := &e.Graph.Board.Banks[b], &e.Banks[b]
	key := "shelf." + bank.Name
	free := e.Free(b)
	s := shelf{
		Name: bank.Name, Kind: string(bank.Kind), Access: access(e.Graph.Board, bank),
		Used:   figure{key + ".used", float64(use.Used), use.Used.Up()},
		Usable: figure{key + ".usable", float64(use.Usable), use.Usable.Down()},
		Free:   figure{key + ".free", float64(free), free.Down()},
		Share:  percent(float64(use.Used), float64(use.Usable)),
	}
	for p, bytes := range use.Parts {
		if bytes > 0 {
			name := estimator.Part(p).String()
			s.Parts = append(s.Parts, part{name, figure{"part." + bank.Name + "." + name, float64(bytes), count(float64(bytes)) + " B"}})
		}
	}
	end := use.Usable
	for _, r := range use.Regions {
		end = max(end, blocks.Bytes(r.End-bank.Base))
	}
	if end == 0 {
		return s
	}
	width := float64(end) / 100 // bytes a percent
	s.Limit, s.Over = float64(use.Usable)/width, end > use.Usable
	small, smallBytes := 0, blocks.Bytes(0)
	var last *mark
	for i, r := range use.Regions {
		m := mark{Start: float64(r.Start-bank.Base) / width, Width: float64(r.End-r.Start) / width, Node: r.Node, Kind: r.Part.String(), Title: r.Name + ", " + blocks.Bytes(r.End-r.Start).Up()}
		if i < mostRows {
			m.Number = i + 1
			s.Rows = append(s.Rows, shelfRow{
				m.Number, r.Node, r.Name, r.Part.String(), figure{"", float64(r.Start - bank.Base), count(float64(r.Start - bank.Base))},
				figure{fmt.Sprintf("item.%s.%d", bank.Name, i), float64(r.End - r.Start), count(float64(r.End - r.Start))},
			})
		} else {
			small, smallBytes = small+1, smallBytes+blocks.Bytes(r.End-r.Start)
		}
		if last != nil && last.Width < least && m.Width < least {
			last.Width, last.Node, last.Number, last.Kind = m.Start+m.Width-last.Start, -1, 0, "several"
			last.Title = "several small pieces"
			continue
		}
		m.label(r.Name)
		s.Marks = append(s.Marks, m)
		last = &s.Marks[len(s.Marks)-1]
	}
	if small > 0 {
		s.Others = fmt.Sprintf("%d more pieces, %s together.", small, smallBytes.Up())
	}
	for i := range 5 {
		at := use.Usable * blocks.Bytes(i) / 4
		s.Ticks = append(s.Ticks, tick{float64(at) / width, at.Down(), side(i, 4)})
	}
	return s
}

// side tells how a tick's text lies to it: within the picture.
func side(i, last int) string {
	switch i {
	case 0:
		return "first"
	case last:
		return "last"
	}
	return "inner"
}

// mostRows is how many pieces of a bank have a row of their own.
const mostRows = 200

func access(board *blocks.Board, bank *blocks.Bank) string {
	switch {
	case bank.Cached:
		return fmt.Sprintf("cached, %s to fill a line of %v", blocks.Cycles(bank.LineFill), board.Cache.Line)
	case bank.Read == 0 && bank.Write == 0:
		return "no waits"
	}
	return fmt.Sprintf("%s more to read, %s to write", blocks.Cycles(bank.Read), blocks.Cycles(bank.Write))
}

func jacks(e *estimator.Estimate) []jack {
	var list []jack
	for _, j := range e.Jacks {
		if j.Used == 0 && j.Has == 0 {
			continue
		}
		out := jack{Name: strings.ReplaceAll(j.Name, "_", " "), Used: j.Used, Has: j.Has}
		if !j.Confirmed {
			out.Doubt = "a plain default of the board class"
		}
		if most := max(j.Used, j.Has); most <= 32 {
			for i := range most {
				switch {
				case i >= j.Has:
					out.Dots = append(out.Dots, "missing")
				case i < j.Used:
					out.Dots = append(out.Dots, "used")
				default:
					out.Dots = append(out.Dots, "free")
				}
			}
		}
		list = append(list, out)
	}
	return list
}

func nodes(e *estimator.Estimate) []node {
	g := e.Graph
	lies := make([][]string, len(g.Nodes))
	for i, o := range e.Objects {
		if o.Node >= 0 {
			if bank := g.Board.Banks[e.Placement.Bank[i]].Name; !slices.Contains(lies[o.Node], bank) {
				lies[o.Node] = append(lies[o.Node], bank)
			}
		}
	}
	list := make([]node, len(g.Nodes))
	for i, n := range g.Nodes {
		c := &e.Nodes[i]
		key := "node." + n.Name
		list[i] = node{
			Index: i, Name: n.Name, Kernel: n.Use.Variant(), Copies: c.Copies,
			Mean: cyclesFigure(key+".mean", c.Mean.Value), Worst: cyclesFigure(key+".worst", c.Worst.Value), Stalls: cyclesFigure(key+".stalls", c.Stalls.Value),
			Bytes: figure{key + ".bytes", float64(c.State + c.Buffers), (c.State + c.Buffers).Up()},
			Basis: c.Basis.String(), Source: c.Source, Lies: strings.Join(lies[i], ", "), Note: n.Note,
			Band: "exact",
		}
		if c.Worst.Low != c.Worst.High {
			list[i].Band = count(math.Floor(c.Worst.Low)) + " to " + count(math.Ceil(c.Worst.High))
		}
		for _, p := range e.CycleParts(i) {
			list[i].Parts = append(list[i].Parts, portion{strings.NewReplacer(".", " ", "_", " ").Replace(p.Name), count(p.Mean.Value), count(p.Worst.Value)})
		}
	}
	return list
}

// mostDear is how many of the dearest nodes are shown.
const mostDear = 8

func dearest(e *estimator.Estimate) []dear {
	var memory float64
	for i := range e.Nodes {
		memory += float64(e.Nodes[i].State + e.Nodes[i].Buffers)
	}
	ranked := func(title string, takes func(node int) float64, text func(v float64) string, whole float64) dear {
		order := make([]int, 0, len(e.Nodes))
		for i := range e.Nodes {
			if takes(i) > 0 {
				order = append(order, i)
			}
		}
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(takes(b), takes(a)) })
		d := dear{Title: title}
		for _, i := range order[:min(len(order), mostDear)] {
			n, v := e.Graph.Nodes[i], takes(i)
			d.Rows = append(d.Rows, dearRow{i, n.Name, n.Block().Name, text(v), 100 * v / takes(order[0]), percent(v, whole)})
		}
		return d
	}
	return []dear{
		ranked("in time, of the block's cycles", func(node int) float64 { return e.Costliest(node).Value },
			func(v float64) string { return blocks.Cycles(math.Ceil(v)).String() }, e.CPU.Budget),
		ranked("in memory, of what all nodes take", func(node int) float64 { return float64(e.Nodes[node].State + e.Nodes[node].Buffers) },
			func(v float64) string { return blocks.Bytes(v).Up() }, memory),
	}
}

func latencyOf(e *estimator.Estimate) latency {
	l := latency{From: e.Latency.From, To: e.Latency.To}
	if l.To == "" {
		return l
	}
	rate := float64(e.Graph.SampleRate)
	samples := e.Latency.Samples()
	l.Samples = figure{"latency.samples", samples, count(samples)}
	l.Text = blocks.Seconds(samples / rate).String()
	for _, p := range e.Latency.Parts {
		l.Parts = append(l.Parts, fact{p.What, fmt.Sprintf("%s samples, %v", count(p.Samples), blocks.Seconds(p.Samples/rate))})
	}
	return l
}

// sources are the texts behind the figures: of the board, of its core, and of
// each block that is used.
func sources(e *estimator.Estimate) []cited {
	texts := func(list []blocks.Citation) []string {
		var out []string
		for _, c := range list {
			out = append(out, c.Text)
		}
		return out
	}
	g := e.Graph
	list := []cited{{"board " + g.Board.Name, texts(g.Board.Citations)}, {"core " + g.Core.Name, texts(g.Core.Citations)}}
	var told []string
	for _, n := range g.Nodes {
		if b := n.Block(); !slices.Contains(told, b.Name) && len(b.Citations) > 0 {
			told = append(told, b.Name)
			list = append(list, cited{"block " + b.Name, texts(b.Citations)})
		}
	}
	return slices.DeleteFunc(list, func(s cited) bool { return len(s.Texts) == 0 })
}

// bands are the edges of each kind of figure.
func bands(e *estimator.Estimate) []fact {
	core := e.Graph.Core
	edges := func(b blocks.Band) string { return fmt.Sprintf("%g to %g times the figure", b.Low, b.High) }
	list := []fact{{"cycles, counted", edges(core.ComputeBand)}, {"code, counted", edges(core.CodeBand)}}
	if core.EmulatedBand.High > 0 {
		list = append(list, fact{"cycles, emulated", edges(core.EmulatedBand)}, fact{"code, compiled", edges(core.EmulatedCodeBand)})
	}
	return append(list, fact{"stalls, modelled", edges(e.Graph.Board.StallBand)}, fact{"data bytes", "exact"})
}
