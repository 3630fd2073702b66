package estimator

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// isNodeName tells whether a text is letters, digits and hyphens that start with
// a letter.
func isNodeName(text string) bool {
	for i, c := range []byte(text) {
		letter := 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z'
		if !letter && (i == 0 || c != '-' && (c < '0' || c > '9')) {
			return false
		}
	}
	return text != ""
}

type paramLimits struct{ limits, def blocks.Span }

// pendingNode is a node whose block and parameters are read, and whose wires
// wait until all names are known.
type pendingNode struct {
	node  int
	scope *scope
	from  source.Value
	moves []pendingMove

	misplaced []int // inputs that are written as if they were parameters
}

type pendingMove struct {
	param int
	from  source.Value
	curve Curve
}

func (r *graphReader) nodes(v source.Value, sc *scope, group int) {
	if !v.Given() {
		return
	}
	o := v.Object("nodes")
	for _, m := range o.Members() {
		r.named[m.Name] = true
	}
	if v.IsMapping() && len(v.Keys()) == 0 {
		v.Fail("", "there are no nodes")
	}
	for _, m := range o.Rest() {
		if !isNodeName(m.Name) {
			r.misnamed(m, "a node")
		}
		name := m.Name
		if group >= 0 {
			name = r.g.Groups[group].Name + "." + name
		}
		n := &Node{Name: name, Place: m.Key, Group: group, Importance: 1}
		sc.nodes[m.Name] = len(r.g.Nodes)
		r.g.Nodes = append(r.g.Nodes, n)
		if group >= 0 {
			r.g.Groups[group].Nodes = append(r.g.Groups[group].Nodes, len(r.g.Nodes)-1)
		}
		r.node(n, len(r.g.Nodes)-1, m, sc)
	}
}

// misnamed records a name that is no word. What it names is read on, so that
// its other mistakes are told too.
func (r *graphReader) misnamed(m source.Member, what string) {
	hint := ""
	notInName := regexp.MustCompile(`[^A-Za-z0-9]+`)
	if better := strings.Trim(notInName.ReplaceAllString(m.Name, "-"), "-"); isNodeName(better) {
		hint = "did you mean '" + better + "'?"
	}
	m.Key.Fail(hint, "the name of %s is a word of letters, digits and hyphens that starts with a letter", what)
}

func (r *graphReader) node(n *Node, index int, m source.Member, sc *scope) {
	if m.Value.IsText() {
		m.Value.Fail("write '"+m.Name+": {block: "+m.Value.Text("")+"}'", "expected what '%s' is made of, found the value '%s'", m.Name, m.Value.Text(""))
		return
	}
	o := m.Value.Object("'" + m.Name + "'")
	if key := r.blockKey(o); key.Given() {
		key.Fail("did you mean 'block'?", "'%s' has no key '%s'", m.Name, key.Text(""))
		return
	}
	bv := o.Need("block")
	name := bv.Text("the name of a block")
	p := pendingNode{node: index, scope: sc, from: o.Take("from")}
	n.Use = blocks.Use{
		SampleRate: r.g.SampleRate, BlockSize: r.g.BlockSize, Channels: 1,
		EventRates: map[string]blocks.Hertz{},
	}
	n.Use.MeanTicks, n.Use.MostTicks = r.g.ticks()
	channels := o.Take("channels")
	if ch, ok := r.base.ReadValue(channels, blocks.UnitCount); ok {
		if ch < 1 || ch > maxChannels {
			channels.Fail("", "a wire carries from 1 to %d channels", maxChannels)
		} else {
			n.Use.Channels = int(ch)
			n.Given = map[string]string{"channels": strconv.Itoa(int(ch))}
		}
	}
	n.Keep, n.Optional = o.Take("keep").Truth(), o.Take("optional").Truth()
	importance := o.Take("importance")
	if v, ok := r.base.ReadValue(importance, blocks.UnitRatio); ok {
		if v < 0 || v > 5 {
			importance.Fail("", "importance goes from 0 to 5")
		}
		n.Importance = v
	}
	n.Note = o.Take("note").Text("a note")
	n.Use.Style = r.code(o.Take("code"), r.style, func(run source.Value) {
		if run.Given() {
			run.Fail("write 'run' under the 'code' of the graph", "where code runs is chosen for the whole graph")
		}
	})
	if pv := o.Take("precision"); pv.Given() {
		switch text := pv.Text("single or double"); text {
		case "single":
		case "double":
			n.Use.Style.Double = true
		default:
			if pv.IsText() {
				pv.Fail("", "expected single or double, found '%s'", text)
			}
		}
	}
	banks := o.Take("bank")
	if !bv.IsText() {
		return
	}
	if name == ownCode {
		r.ownCode(n, o)
	} else {
		b, err := r.lib.Block(name)
		if err != nil {
			var unknown *blocks.UnknownError
			hint := ""
			if errors.As(err, &unknown) && unknown.Name == name {
				if r.incomplete {
					return
				}
				hint = r.lib.BlockHint(name, ownCode)
			}
			bv.Fail(hint, "%v", err)
			return
		}
		n.Use.Block = b
		p.moves = r.params(n, o)
	}
	o.Call(name)
	if !takesChannels(n.Block()) {
		channels.Fail("", "the channels of %s are fixed", name)
	}
	r.pins(n, banks)
	n.Inputs = make([]Input, len(n.Block().Inputs))
	for i := range n.Inputs {
		n.Inputs[i].Port = &n.Block().Inputs[i]
	}
	what := "parameter"
	if name == ownCode {
		what = "key"
	} else {
		o.Lists(parameterHint(n.Block()))
	}
	for i, in := range n.Block().Inputs {
		if o.Has(in.Name) && !o.Took(in.Name) {
			o.Take(in.Name)
			p.misplaced = append(p.misplaced, i)
			o.Key(in.Name).Fail(fmt.Sprintf("write 'from: {%s: NODE}'", in.Name), "'%s' is an input of %s, and inputs are fed through 'from'", in.Name, name)
		}
	}
	o.Done(what)
	r.pending = append(r.pending, p)
}

// parameterHint says which parameters a block has, where they are few, and what
// tells of them.
func parameterHint(b *blocks.Block) string {
	const few = 12
	tells := "'elbowroom blocks " + b.Name + "' tells of them"
	switch n := len(b.Params); {
	case n == 0:
		return "it has none"
	case n > few:
		return tells
	}
	names := make([]string, len(b.Params))
	for i := range b.Params {
		names[i] = b.Params[i].Name
	}
	return "it has " + strings.Join(names, ", ") + "; " + tells
}

// blockKey is the key under which a node that has no 'block' names one; not
// given where there is none.
func (r *graphReader) blockKey(o *source.Object) source.Value {
	if o.Has("block") {
		return source.Value{}
	}
	for _, m := range o.Members() {
		if m.Name != "from" && m.Value.IsText() && slices.Contains(r.lib.BlockNames(), m.Value.Text("")) {
			return m.Key
		}
	}
	return source.Value{}
}

// takesChannels tells whether a block has a wire whose channels a node may set.
func takesChannels(b *blocks.Block) bool {
	free := func(p blocks.Port) bool {
		return p.Kind == blocks.Audio && p.Channels <= 0 && p.Channels != blocks.CountedChannels
	}
	return slices.ContainsFunc(b.Inputs, free) || slices.ContainsFunc(b.Outputs, free)
}

func (r *graphReader) pins(n *Node, v source.Value) {
	if r.g.Board == nil {
		return
	}
	var reached, dma []string // banks of data that DMA reaches, buffers that it must reach
	for _, b := range r.g.Board.Banks {
		if b.DMA && !b.Kind.Constant() {
			reached = append(reached, b.Name)
		}
	}
	for _, b := range n.Block().Buffers {
		if b.DMA {
			dma = append(dma, b.Name)
		}
	}
	if len(dma) > 0 && len(reached) == 0 {
		n.Place.Fail("its board file says 'dma: true' of the banks that DMA reaches", "the DMA of %s reaches no bank, and one must hold '%s' of '%s'", r.g.Board.Name, dma[0], n.Name)
	}
	if !v.Given() {
		return
	}
	bank := func(v source.Value, buffers []string) string {
		name := v.Text("the name of a bank")
		i := r.g.Board.BankIndex(name)
		if v.IsText() && i < 0 {
			hint := source.DidYouMean(name, r.g.Board.BankNames())
			if hint == "" {
				hint = "its banks are " + strings.Join(r.g.Board.BankNames(), ", ")
			}
			v.Fail(hint, "%s has no bank '%s'", r.g.Board.Name, name)
		} else if i >= 0 && r.g.Board.Banks[i].Kind.Constant() {
			v.Fail("", "a buffer cannot lie in '%s': it holds only what does not change", name)
		} else if i >= 0 && len(reached) > 0 && !r.g.Board.Banks[i].DMA {
			for _, b := range buffers {
				if slices.Contains(dma, b) {
					v.Fail("it reaches "+strings.Join(reached, ", "), "the DMA of %s does not reach '%s', where '%s' would lie", r.g.Board.Name, name, b)
				}
			}
		}
		return name
	}
	if !v.IsMapping() {
		n.Pin = bank(v, dma)
		return
	}
	n.Pins = map[string]string{}
	known := make([]string, 0, len(n.Block().Buffers))
	for _, b := range n.Block().Buffers {
		known = append(known, b.Name)
	}
	if n.Use.Own != nil {
		for _, b := range n.Use.Own.Buffers {
			known = append(known, b.Name)
		}
	}
	for _, m := range v.Object("bank").Rest() {
		if !slices.Contains(known, m.Name) {
			m.Key.Fail(source.DidYouMean(m.Name, known), "%s has no buffer '%s'", n.Block().Name, m.Name)
		}
		n.Pins[m.Name] = bank(m.Value, []string{m.Name})
	}
}

// limitsOf is a parameter's range and default at the graph's sample rate.
func (r *graphReader) limitsOf(p *blocks.Param) paramLimits {
	l, ok := r.limits[p]
	if !ok {
		l.limits, l.def = p.At(r.g.SampleRate)
		r.limits[p] = l
	}
	return l
}

// params reads the parameters of a node; those that are moved wait for names.
func (r *graphReader) params(n *Node, o *source.Object) []pendingMove {
	var moves []pendingMove
	b := n.Block()
	n.Use.Settings = make([]blocks.Setting, len(b.Params))
	if n.Given == nil {
		n.Given = map[string]string{}
	}
	for i := range b.Params {
		p := &b.Params[i]
		set := &n.Use.Settings[i]
		v := o.Take(p.Name)
		if p.Categorical() {
			set.Choice = r.choice(p, v, n)
			continue
		}
		l := r.limitsOf(p)
		switch {
		case v.IsMapping():
			if mv, ok := r.move(n, p, i, v, l); ok {
				moves = append(moves, mv)
			}
		case r.isMoverAlone(v, p.Unit):
			r.moverAlone(p, v)
			set.Span = l.def
		case v.Given():
			span, ok := r.base.ReadSpan(v, p.Unit)
			if !ok {
				set.Span = l.def
				continue
			}
			set.Span = span
			n.Given[p.Name] = v.Text("")
			ranges := span.Low != span.High && strings.Contains(v.Text(""), "..")
			switch {
			case ranges && p.Moved == blocks.Fixed:
				v.Fail("", "'%s' is one value, and this is a range", p.Name)
			case ranges:
				v.Fail(fmt.Sprintf("write '%s: {from: NODE, span: %s}'", p.Name, v.Text("")),
					"'%s' is one value, unless something moves it", p.Name)
			default:
				r.within(span, p, l, v)
			}
		case p.Needed:
			if !o.Has(p.Name) {
				o.Key("block").Fail("", "%s needs '%s'", b.Name, p.Name)
			}
			set.Span = blocks.Span{Low: l.limits.High, High: l.limits.High}
		default:
			set.Span = l.def
			if p.Name == "rate" && len(b.Outputs) > 0 && b.Outputs[0].Kind == blocks.Event {
				n.Defaults = append(n.Defaults, p.Name)
			}
		}
	}
	return moves
}

// isMoverAlone tells whether a value names a node and is no quantity.
func (r *graphReader) isMoverAlone(v source.Value, unit blocks.Unit) bool {
	if !v.IsText() {
		return false
	}
	name, _, _ := strings.Cut(v.Text(""), ".")
	if !r.named[name] {
		return false
	}
	_, err := blocks.Parse(v.Text(""), unit, r.base)
	return err != nil
}

// moverAlone records that a node was named in place of a number: what it should
// move, and over which span.
func (r *graphReader) moverAlone(p *blocks.Param, v source.Value) {
	hint := ""
	if p.Moved != blocks.Fixed {
		hint = fmt.Sprintf("write '%s: {from: %s, span: LOW..HIGH}'", p.Name, v.Text(""))
	}
	v.Fail(hint, "'%s' is a node, and '%s' a number", v.Text(""), p.Name)
}

func (r *graphReader) choice(p *blocks.Param, v source.Value, n *Node) int {
	if !v.Given() {
		return p.DefaultChoice()
	}
	words := make([]string, len(p.Choices))
	for i, c := range p.Choices {
		words[i] = c.Name
	}
	text := v.Text("one of " + strings.Join(words, ", "))
	if i := slices.Index(words, text); i >= 0 {
		n.Given[p.Name] = text
		return i
	}
	if v.IsText() {
		hint := source.DidYouMean(text, words)
		if hint == "" {
			hint = "it is one of " + strings.Join(words, ", ")
		}
		v.Fail(hint, "'%s' is no choice of '%s'", text, p.Name)
	}
	return p.DefaultChoice()
}

// within checks a span against the range that the block allows. Only a
// rounding error may lie outside.
func (r *graphReader) within(s blocks.Span, p *blocks.Param, l paramLimits, v source.Value) {
	slack := 1e-9 * max(math.Abs(l.limits.Low), math.Abs(l.limits.High))
	if s.Low < l.limits.Low-slack || s.High > l.limits.High+slack {
		v.Fail("", "'%s' lies outside %s, the range of '%s'", v.Text(""), p.RangeText, p.Name)
	}
}

func (r *graphReader) move(n *Node, p *blocks.Param, i int, v source.Value, l paramLimits) (pendingMove, bool) {
	n.Use.Settings[i].Span = l.def
	if p.Moved == blocks.Fixed {
		v.Fail("", "nothing may move '%s' of %s", p.Name, n.Block().Name)
		return pendingMove{}, false
	}
	o := v.Object("'" + p.Name + "'")
	mv := pendingMove{param: i, from: o.Need("from")}
	span := o.Need("span")
	s, ok := r.base.ReadSpan(span, p.Unit)
	if ok {
		if s.Low == s.High {
			span.Fail("write it like LOW..HIGH", "a span is a range, and this is one value")
		} else {
			r.within(s, p, l, span)
		}
		n.Use.Settings[i].Span = s
		n.Given[p.Name] = span.Text("")
	}
	if cv := o.Take("curve"); cv.Given() {
		switch text := cv.Text("linear or exponential"); text {
		case "linear":
		case "exponential":
			mv.curve = Exponential
			if ok && s.Low <= 0 {
				cv.Fail("", "an exponential curve needs a span above zero")
			}
		default:
			if cv.IsText() {
				cv.Fail(source.DidYouMean(text, []string{"linear", "exponential"}), "expected linear or exponential, found '%s'", text)
			}
		}
	}
	o.Done("key")
	return mv, mv.from.Given()
}

func keys(m map[string]int) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	return names
}
