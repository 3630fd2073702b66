package estimator

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// connect finds what feeds the inputs and moves the parameters of a node.
func (r *graphReader) connect(p pendingNode) {
	n := r.g.Nodes[p.node]
	b := n.Block()
	tried := make([]bool, len(b.Inputs)) // something is given, right or wrong
	for _, i := range p.misplaced {
		tried[i] = true
	}
	if p.from.IsMapping() {
		for _, m := range p.from.Object("from").Rest() {
			i := slices.IndexFunc(b.Inputs, func(in blocks.Port) bool { return in.Name == m.Name })
			if i < 0 {
				names := portNames(b.Inputs)
				hint := source.DidYouMean(m.Name, names)
				if hint == "" && len(names) > 0 {
					hint = listed("input", names)
				}
				m.Key.Fail(hint, "%s has no input '%s'", b.Name, m.Name)
				for i := range tried {
					tried[i] = true // it may have been meant for any
				}
				continue
			}
			tried[i] = true
			r.feed(p, i, m.Value)
		}
	} else if p.from.Given() {
		if len(b.Inputs) == 0 {
			p.from.Fail("", "%s has no input", b.Name)
		} else {
			tried[0] = true
			r.feed(p, 0, p.from)
		}
	}
	for i, in := range n.Inputs {
		if len(in.Sources) == 0 && !in.Port.Optional && !tried[i] {
			hint := "write 'from: NODE'"
			if i > 0 {
				hint = fmt.Sprintf("write 'from: {%s: NODE}'", in.Port.Name)
			}
			n.Place.Fail(hint, "nothing feeds the input '%s' of '%s'", in.Port.Name, n.Name)
		}
	}
	for _, mv := range p.moves {
		r.drive(p, mv)
	}
}

// listed names the ports there are.
func listed(what string, names []string) string {
	if len(names) == 1 {
		return "its " + what + " is " + names[0]
	}
	return "its " + what + "s are " + strings.Join(names, ", ")
}

func portNames(ports []blocks.Port) []string {
	names := make([]string, len(ports))
	for i, p := range ports {
		names[i] = p.Name
	}
	return names
}

// feed ties one or more sources to an input.
func (r *graphReader) feed(p pendingNode, input int, v source.Value) {
	n := r.g.Nodes[p.node]
	in := &n.Inputs[input]
	if v.IsList() && len(v.OneOrMore()) == 0 {
		v.Fail("", "an empty list feeds nothing")
	}
	fed := map[Source]bool{}
	for _, s := range in.Sources {
		fed[plain(s)] = true
	}
	for _, sv := range v.OneOrMore() {
		s, ok := r.source(sv, p.scope, n)
		if !ok {
			continue
		}
		if problem, hint := kindProblem(r.g.port(s).Kind, in.Port.Kind); problem != "" {
			if other := r.outputOf(s, in.Port.Kind); other != "" {
				hint = fmt.Sprintf("write '%s', which carries %s", other, kindCarried(in.Port.Kind))
			}
			sv.Fail(hint, "%s", problem)
			continue
		}
		if fed[plain(s)] {
			sv.Fail("use a gain of 2", "'%s' feeds this input already", sv.Text(""))
			continue
		}
		if s.Node == p.node && n.Block().Shortest == nil {
			sv.Fail(throughDelay, "'%s' feeds itself, and %s has no delay to close the loop", n.Name, n.Block().Name)
			continue
		}
		in.Sources, fed[plain(s)] = append(in.Sources, s), true
	}
}

// outputOf is another output of the same node, as a file names it, that carries
// a kind; "" where there is none, or it lies inside a group.
func (r *graphReader) outputOf(s Source, kind blocks.Kind) string {
	if s.Group >= 0 {
		return ""
	}
	node, _, _ := strings.Cut(s.Place.Text(""), ".")
	for _, out := range r.g.Nodes[s.Node].Block().Outputs {
		if out.Kind == kind {
			return node + "." + out.Name
		}
	}
	return ""
}

func kindCarried(k blocks.Kind) string {
	if k == blocks.Event {
		return "events"
	}
	return k.String()
}

const throughDelay = "lead the loop through a delay of at least a block"

// kindProblem says why a wire of one kind cannot feed an input of another.
func kindProblem(from, to blocks.Kind) (problem, hint string) {
	switch {
	case from == to, from == blocks.Control && to == blocks.Audio:
		return "", ""
	case from == blocks.Audio && to == blocks.Control:
		return "audio cannot feed a control input", "put an envelope-follower or a sample-and-hold between"
	case from == blocks.Event && to == blocks.Audio:
		return "events cannot feed an audio input", "let the event start an adsr and move a gain with it"
	case from == blocks.Event && to == blocks.Control:
		return "events cannot feed a control input", "put an adsr or a sample-and-hold between"
	default:
		return from.String() + " cannot feed an event input", "events come from gate-in, button, step-sequence, clock-divider and their like"
	}
}

// source finds what a name in the file stands for: NODE, NODE.PORT, and either
// with .left, .right or .1, .2 ... for one channel.
func (r *graphReader) source(v source.Value, sc *scope, reader *Node) (Source, bool) {
	text := v.Text("the name of a node")
	if !v.IsText() {
		return Source{}, false
	}
	words := strings.Split(text, ".")
	if r.isNode(text, sc) {
		words = []string{text} // a dot in a node's name is a mistake that was told
	}
	s := Source{Group: -1, Channel: -1, Place: v}
	if !r.sourceNode(words[0], &s, sc, reader, v) {
		return Source{}, false
	}
	n := r.g.Nodes[s.Node]
	if n.Use.Block == nil {
		return Source{}, false // its own mistake was told
	}
	outputs := n.Block().Outputs
	rest := words[1:]
	if len(rest) > 0 && s.Group < 0 {
		if i := slices.IndexFunc(outputs, func(p blocks.Port) bool { return p.Name == rest[0] }); i >= 0 {
			s.Port, rest = i, rest[1:]
		}
	}
	if len(outputs) == 0 {
		v.Fail("", "%s has no output", n.Block().Name)
		return Source{}, false
	}
	if len(rest) > 0 {
		if s.Group >= 0 && r.inGroup(s.Group, rest[0]) {
			v.Fail(fmt.Sprintf("'%s' alone is the sum of its voices", words[0]), "the nodes inside '%s' cannot be named from outside", words[0])
			return Source{}, false
		}
		channel, ok := channelWord(rest[0])
		if !ok || len(rest) > 1 {
			names := portNames(outputs)
			hint := source.DidYouMean(rest[0], append(names, "left", "right"))
			if hint == "" {
				hint = listed("output", names) + "; channels are .left, .right, .1, .2 and so on"
			}
			v.Fail(hint, "'%s' has no output or channel '%s'", words[0], strings.Join(rest, "."))
			return Source{}, false
		}
		s.Channel = channel
	}
	return s, true
}

func (r *graphReader) sourceNode(name string, s *Source, sc *scope, reader *Node, v source.Value) bool {
	for at := sc; at != nil; at = at.within {
		if i, ok := at.nodes[name]; ok {
			s.Node = i
			return true
		}
		if i, ok := at.groups[name]; ok {
			if reader.Group == i {
				v.Fail("", "a voice of '%s' cannot be fed by the sum of all voices", name)
				return false
			}
			s.Group, s.Node = i, r.g.Groups[i].Out
			return s.Node >= 0
		}
	}
	r.unknownNode(v, name, sc)
	return false
}

// unknownNode records a name that no node or group in the scope has.
func (r *graphReader) unknownNode(v source.Value, name string, sc *scope) {
	node, _, _ := strings.Cut(name, ".")
	for k, group := range r.g.Groups {
		if r.inGroup(k, name) || node == group.Name {
			v.Fail(fmt.Sprintf("write '%s', the sum of its voices", group.Name), "the nodes inside '%s' cannot be named from outside", group.Name)
			return
		}
	}
	var known []string
	for at := sc; at != nil; at = at.within {
		known = append(append(known, keys(at.nodes)...), keys(at.groups)...)
	}
	hint := source.DidYouMean(name, known)
	if hint == "" && slices.Contains(r.lib.BlockNames(), node) {
		hint = fmt.Sprintf("that is a block; a node is made of it by '%s: {block: %s}' in a line of its own", node, node)
	}
	v.Fail(hint, "there is no node '%s'", name)
}

// inGroup tells whether a group has a node of that name.
func (r *graphReader) inGroup(group int, name string) bool {
	full := r.g.Groups[group].Name + "." + name
	return slices.ContainsFunc(r.g.Groups[group].Nodes, func(i int) bool { return r.g.Nodes[i].Name == full })
}

// isNode tells whether a node that a scope reaches has this very name.
func (r *graphReader) isNode(name string, sc *scope) bool {
	for ; sc != nil; sc = sc.within {
		if _, ok := sc.nodes[name]; ok {
			return true
		}
	}
	return false
}

func channelWord(word string) (int, bool) {
	switch word {
	case "left":
		return 0, true
	case "right":
		return 1, true
	}
	n, err := strconv.Atoi(word)
	return n - 1, err == nil && n >= 1 && n <= maxChannels
}

// drive ties a moved parameter to what moves it.
func (r *graphReader) drive(p pendingNode, mv pendingMove) {
	n := r.g.Nodes[p.node]
	param := &n.Block().Params[mv.param]
	s, ok := r.source(mv.from, p.scope, n)
	if !ok {
		return
	}
	if s.Node == p.node {
		mv.from.Fail(throughDelay, "'%s' moves itself", n.Name)
		return
	}
	motion := blocks.ByControl
	switch r.g.port(s).Kind {
	case blocks.Audio:
		motion = blocks.ByAudio
	case blocks.Event:
		mv.from.Fail("let the event start an adsr, or step a step-sequence, and move it with that", "events cannot move '%s'", param.Name)
		return
	}
	if motion > param.Moved {
		mv.from.Fail("put an envelope-follower or a sample-and-hold between", "'%s' of %s cannot follow audio, only control", param.Name, n.Block().Name)
		return
	}
	n.Use.Settings[mv.param].Moved = motion
	n.Drives = append(n.Drives, Drive{Param: mv.param, Source: s, Curve: mv.curve})
}

// spread works out what follows from the wires: channels, event rates, and
// whether every wire has as many channels as its input can take.
func (r *graphReader) spread() {
	channels := &spreader{g: r.g, done: make([]uint8, len(r.g.Nodes))}
	for i := range r.g.Nodes {
		channels.channels(i)
	}
	for _, n := range r.g.Nodes {
		for _, in := range n.Inputs {
			for _, s := range in.Sources {
				r.checkChannels(n, in, s)
			}
		}
		for _, d := range n.Drives {
			r.checkChannels(n, moverInput, d.Source)
		}
	}
	rates := &spreader{g: r.g, done: make([]uint8, len(r.g.Nodes))}
	for i := range r.g.Nodes {
		if err := rates.events(i); err != nil {
			r.g.Nodes[i].Place.Fail("", "%v", err)
			return
		}
	}
	r.selfLoops()
}

// moverInput is what a moved parameter takes: one channel.
var moverInput = Input{Port: &blocks.Port{Kind: blocks.Audio, Channels: 1}}

func (r *graphReader) checkChannels(n *Node, in Input, s Source) {
	if problem, hint := r.g.misfit(n, in, s); problem != "" {
		s.Place.Fail(hint, "%s", problem)
	}
}

// misfit says why a source has not the channels that an input can take; ""
// where it has.
func (g *Graph) misfit(n *Node, in Input, s Source) (problem, hint string) {
	whole := g.Nodes[s.Node].outChannels(s.Port)
	name := g.sourceName(s)
	if s.Channel >= whole {
		return fmt.Sprintf("'%s' has %s, so there is no channel %d", name, channelCount(whole), s.Channel+1), ""
	}
	have, want := g.Channels(s), in.Port.Channels
	_, said := n.Given["channels"]
	if want == blocks.SameChannels || want == blocks.AnyChannels && said {
		want = n.Use.Channels
	}
	if want == blocks.AnyChannels || have == want || have == 1 {
		return "", ""
	}
	hint = fmt.Sprintf("put a mix between, or take one channel: '%s.left'", s.Place.Text(""))
	if in.Port.Channels == blocks.AnyChannels {
		hint = fmt.Sprintf("leave 'channels' out: %s takes as many as come", n.Block().Name)
	}
	return fmt.Sprintf("'%s' has %s, and what it feeds takes %s", name, channelCount(have), channelCount(want)), hint
}

func channelCount(n int) string {
	if n == 1 {
		return "one channel"
	}
	return fmt.Sprintf("%d channels", n)
}

// sourceName is a source as a file names it, without the channel.
func (g *Graph) sourceName(s Source) string {
	if s.Group >= 0 {
		return g.Groups[s.Group].Name
	}
	n := g.Nodes[s.Node]
	if s.Port > 0 {
		return n.Name + "." + n.Block().Outputs[s.Port].Name
	}
	return n.Name
}

// selfLoops refuses a node that feeds itself with less than a block of delay.
func (r *graphReader) selfLoops() {
	for i, n := range r.g.Nodes {
		for _, in := range n.Inputs {
			for _, s := range in.Sources {
				if s.Node != i {
					continue
				}
				d, err := n.Use.Demand(r.g.Core)
				if err != nil {
					n.Place.Fail("", "%v", err)
					return
				}
				if !r.g.outlasts(d.Shortest) {
					s.Place.Fail(fmt.Sprintf("make its shortest time at least %d samples, or the blocks smaller", r.g.BlockSize),
						"'%s' feeds itself after %s samples, less than a block of %d", n.Name, belowBlock(d.Shortest), r.g.BlockSize)
				}
			}
		}
	}
}

// outlasts tells whether a delay in samples is at least a block. The slack is
// for rounding: 1001 samples at 8 kHz come to 1000.9999999999999 after they
// went through seconds.
func (g *Graph) outlasts(samples float64) bool {
	return samples >= float64(g.BlockSize)-1e-6
}

// belowBlock prints samples that are too few, never rounded up to enough.
func belowBlock(samples float64) string {
	return strconv.FormatFloat(math.Floor(samples*100)/100, 'f', -1, 64)
}

// spreader walks the graph upstream, each node once; a node met again on the
// way, in a loop, counts as what it is so far.
type spreader struct {
	g    *Graph
	done []uint8
}

// channels settles how many channels a node has: given, or those of the widest
// wire of its main input.
func (s *spreader) channels(i int) {
	if s.done[i] != 0 {
		return
	}
	s.done[i] = 1
	n := s.g.Nodes[i]
	if _, given := n.Given["channels"]; !given {
		for _, in := range n.Inputs {
			if in.Port.Kind != blocks.Audio {
				continue
			}
			widest := 1
			for _, src := range in.Sources {
				s.channels(src.Node)
				widest = max(widest, s.g.Channels(src))
			}
			n.Use.Channels = widest
			if in.Port.Channels > 0 {
				n.Use.Channels = in.Port.Channels
			}
			break
		}
	}
}

// events settles the greatest rate on each event input of a node.
func (s *spreader) events(i int) error {
	if s.done[i] != 0 {
		return nil
	}
	s.done[i] = 1
	n := s.g.Nodes[i]
	for _, in := range n.Inputs {
		if in.Port.Kind != blocks.Event {
			continue
		}
		var sum blocks.Hertz
		for _, src := range in.Sources {
			if err := s.events(src.Node); err != nil {
				return err
			}
			from := s.g.Nodes[src.Node]
			rate, err := from.Use.EventRate(s.g.port(src))
			if err != nil {
				return err
			}
			sum += rate
		}
		n.Use.EventRates[in.Port.Name] = min(sum, n.Use.SampleRate)
	}
	return nil
}
