// Package chance draws graphs at random from the whole catalog, for tests that
// hold laws which must be true of any graph.
package chance

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"pgregory.net/rapid"

	"elbowroom/blocks"
)

// node is a node on its way into the text of a random graph.
type node struct {
	name  string
	block *blocks.Block
	group int // -1: none
}

// Graph draws the text of a graph that is legal but for what its wires and pins
// make of it: some draw does not read. Nodes are called n0, n1 and so on, in the
// order of the file, and groups of voices g0 and g1.
func Graph(t *rapid.T, lib *blocks.Library) string {
	text, _ := draw(t, lib)
	return text
}

// Grown draws a graph, and the same with a node more, which hears some of the
// others and which none of them hears.
func Grown(t *rapid.T, lib *blocks.Library) (graph, grown string) {
	grown, last := draw(t, lib)
	return strings.Replace(grown, last, "", 1), grown
}

// draw draws a graph, and tells the line of a node that nothing hears.
func draw(t *rapid.T, lib *blocks.Library) (graph, unheard string) {
	chance := func(percent int, what string) bool { return rapid.IntRange(1, 100).Draw(t, what) <= percent }
	board, err := lib.Board(rapid.SampledFrom(lib.BoardNames()).Draw(t, "board"))
	if err != nil {
		t.Fatalf("the catalog holds a board that does not read: %v", err)
	}
	rate := rapid.SampledFrom([]blocks.Hertz{16000, 24000, 44100, 48000, 96000}).Draw(t, "rate")
	var text strings.Builder
	fmt.Fprintf(&text, "board: %s\nsample_rate: %g Hz\nblock_size: %d\n", board.Name, float64(rate), rapid.SampledFrom([]int{1, 7, 16, 48, 64, 256}).Draw(t, "block"))
	if chance(30, "run") {
		fmt.Fprintf(&text, "code: {run: %s}\n", rapid.SampledFrom(board.LayoutNames()).Draw(t, "bank of code"))
	}
	if chance(20, "control") {
		fmt.Fprintf(&text, "control_rate: %d Hz\n", rapid.IntRange(1, 4000).Draw(t, "control rate"))
	}

	// Three nodes see to it that there is a source of every kind.
	var nodes []node
	add := func(block string, group int) {
		b, err := lib.Block(block)
		if err != nil {
			t.Fatalf("the catalog holds a block that does not read: %v", err)
		}
		nodes = append(nodes, node{fmt.Sprintf("n%d", len(nodes)), b, group})
	}
	add("noise", -1)
	add("knob", -1)
	add("gate-in", -1)
	for range rapid.IntRange(0, 12).Draw(t, "nodes") {
		add(rapid.SampledFrom(lib.BlockNames()).Draw(t, "block"), -1)
	}
	groups := rapid.IntRange(0, 2).Draw(t, "groups")
	for k := range groups {
		add(rapid.SampledFrom([]string{"noise", "sine", "bandlimited-saw"}).Draw(t, "out"), k)
		for range rapid.IntRange(0, 4).Draw(t, "voice nodes") {
			add(rapid.SampledFrom(lib.BlockNames()).Draw(t, "block"), k)
		}
	}

	line := func(indent string, all []node, i int) string {
		return fmt.Sprintf("%s%s: {%s}\n", indent, all[i].name, strings.Join(drawNode(t, chance, all, i, groups, board, rate), ", "))
	}
	write := func(indent string, group int) {
		for i, n := range nodes {
			if n.group == group {
				text.WriteString(line(indent, nodes, i))
			}
		}
	}
	text.WriteString("nodes:\n")
	write("  ", -1)
	more := len(nodes)
	add(rapid.SampledFrom(lib.BlockNames()).Draw(t, "unheard block"), -1)
	unheard = line("  ", nodes, more)
	text.WriteString(unheard)
	nodes = nodes[:more]
	if groups > 0 {
		text.WriteString("voices:\n")
	}
	for k := range groups {
		fmt.Fprintf(&text, "  g%d:\n    count: %d\n    nodes:\n", k, rapid.IntRange(1, 5).Draw(t, "count"))
		write("      ", k)
		last := slices.IndexFunc(nodes, func(n node) bool { return n.group == k })
		for i, n := range nodes {
			if n.group == k && len(n.block.Outputs) > 0 && n.block.Outputs[0].Kind == blocks.Audio {
				last = i
			}
		}
		fmt.Fprintf(&text, "    out: %s\n", nodes[last].name)
	}
	if chance(30, "scenes") {
		fmt.Fprintf(&text, "scenes:\n  overlay: %v\n", chance(50, "overlay"))
		for _, scene := range []string{"calm", "storm"} {
			in := []string{nodes[0].name}
			for _, n := range nodes[1:] {
				if n.group < 0 && chance(40, "in scene") {
					in = append(in, n.name)
				}
			}
			if groups > 0 && chance(40, "group in scene") {
				in = append(in, "g0")
			}
			fmt.Fprintf(&text, "  %s: [%s]\n", scene, strings.Join(in, ", "))
		}
	}
	return text.String(), unheard
}

// drawNode draws the entries of one node.
func drawNode(t *rapid.T, chance func(int, string) bool, nodes []node, i, groups int, board *blocks.Board, rate blocks.Hertz) []string {
	n := nodes[i]
	entries := []string{"block: " + n.block.Name}
	var feeds []string
	for _, in := range n.block.Inputs {
		if in.Optional && chance(50, "leave open") {
			continue
		}
		var from []string
		for range rapid.SampledFrom([]int{1, 1, 1, 2, 3}).Draw(t, "sources") {
			if s := drawSource(t, chance, nodes, i, groups, in.Kind, in.Kind == blocks.Audio && in.Channels == 1, n.block.Shortest != nil); !slices.Contains(from, s) {
				from = append(from, s)
			}
		}
		feeds = append(feeds, fmt.Sprintf("%s: [%s]", in.Name, strings.Join(from, ", ")))
	}
	if len(feeds) > 0 {
		entries = append(entries, "from: {"+strings.Join(feeds, ", ")+"}")
	}
	for j := range n.block.Params {
		p := &n.block.Params[j]
		switch {
		case p.Moved >= blocks.ByControl && chance(25, "move"):
			kind := blocks.Control
			if p.Moved == blocks.ByAudio && chance(30, "by audio") {
				kind = blocks.Audio
			}
			ends := rapid.SliceOfNDistinct(rapid.SampledFrom(shares), 2, 2, rapid.ID).Draw(t, "ends of the span")
			low, high := valueAt(p, rate, min(ends[0], ends[1])), valueAt(p, rate, max(ends[0], ends[1]))
			if low == high {
				continue // a count too small for two shares to differ
			}
			curve := "linear"
			if low > 0 && chance(40, "curve") {
				curve = "exponential"
			}
			entries = append(entries, fmt.Sprintf("%s: {from: %s, span: %s..%s, curve: %s}", p.Name,
				drawSource(t, chance, nodes, i, groups, kind, kind == blocks.Audio, false), inUnit(p.Unit, low), inUnit(p.Unit, high), curve))
		case !p.Needed && chance(50, "default"):
		case p.Categorical():
			entries = append(entries, fmt.Sprintf("%s: %q", p.Name, rapid.SampledFrom(p.Choices).Draw(t, p.Name).Name))
		default:
			entries = append(entries, p.Name+": "+inUnit(p.Unit, valueAt(p, rate, rapid.SampledFrom(shares).Draw(t, p.Name))))
		}
	}
	if n.block.Name == "noise" || n.block.Name == "audio-in" {
		entries = append(entries, fmt.Sprintf("channels: %d", rapid.IntRange(1, 2).Draw(t, "channels")))
	}
	if chance(10, "double") {
		entries = append(entries, "precision: double")
	}
	if chance(20, "code") {
		entries = append(entries, fmt.Sprintf("code: {calls: %s, optimise: %s, maths: %s}", rapid.SampledFrom([]string{"block", "sample"}).Draw(t, "calls"),
			rapid.SampledFrom([]string{"O2", "Os"}).Draw(t, "optimise"), rapid.SampledFrom([]string{"library", "approximate"}).Draw(t, "maths")))
	}
	if chance(15, "pin") {
		if bank := rapid.SampledFrom(board.Banks).Draw(t, "bank"); !bank.Kind.Constant() {
			entries = append(entries, "bank: "+bank.Name)
		}
	}
	return entries
}

// drawSource draws a source of a kind: mostly a node that stands before the
// reader in the file, sometimes one after it, or itself where it may, which
// makes a loop.
func drawSource(t *rapid.T, chance func(int, string) bool, nodes []node, reader, groups int, kind blocks.Kind, single, itself bool) string {
	anywhere := chance(15, "anywhere")
	var fitting []string
	for i, n := range nodes {
		if n.group >= 0 && n.group != nodes[reader].group || i >= reader && i > 2 && !anywhere || i == reader && !itself {
			continue
		}
		for j, out := range n.block.Outputs {
			if out.Kind != kind {
				continue
			}
			name := n.name
			if j > 0 {
				name += "." + out.Name
			}
			if single {
				name += ".1"
			}
			fitting = append(fitting, name)
		}
	}
	for k := range groups {
		if kind == blocks.Audio && k != nodes[reader].group && (nodes[reader].group < 0 || anywhere) {
			name := fmt.Sprintf("g%d", k)
			if single {
				name += ".1"
			}
			fitting = append(fitting, name)
		}
	}
	return rapid.SampledFrom(fitting).Draw(t, "source")
}

// shares of a parameter's range that are tried: small ones, since they are
// what people set, and both ends.
var shares = []float64{0, 0.0001, 0.001, 0.01, 0.1, 0.5, 1}

// valueAt is the value of a numeric parameter at a share of its range.
func valueAt(p *blocks.Param, rate blocks.Hertz, share float64) float64 {
	limits, _ := p.At(rate)
	v := limits.Low + share*(limits.High-limits.Low)
	if p.Unit == blocks.UnitCount {
		return math.Round(v)
	}
	return v
}

// inUnit writes a value as a graph file would.
func inUnit(unit blocks.Unit, v float64) string {
	words := map[blocks.Unit]string{
		blocks.UnitTime: " s", blocks.UnitFrequency: " Hz", blocks.UnitDecibels: " dB", blocks.UnitVolts: " V",
		blocks.UnitSemitones: " semitones", blocks.UnitBytes: " B", blocks.UnitTempo: " bpm",
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + words[unit]
}
