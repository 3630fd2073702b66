package estimator

import (
	"errors"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// Limits of what is read. They are far beyond any board here and keep every
// later sum within whole numbers.
const (
	MaxBlockSize  = 8192
	MinSampleRate = 1000
	MaxSampleRate = 768000
	MaxVoices     = 1024
	maxCopies     = 16384 // of all nodes, voices counted: what 256 MiB can hold of the largest
	maxChannels   = 64
)

// Options change what a graph file says.
type Options struct {
	// Load reads a file that the graph names into the library: the path as it
	// stands in the graph. It returns the board's name where the file holds one
	// and "" otherwise; it records its own mistakes. Without it a graph that
	// names files is refused. It is asked again for a changed graph, and answers
	// the same.
	Load func(path source.Value) (board string)
	// Unmeasured leaves out what was measured, to be measured against.
	Unmeasured bool
	// Board, SampleRate and BlockSize replace the file's; not given: they don't.
	Board, SampleRate, BlockSize source.Value
}

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

// Read reads a graph file. On any mistake it returns no graph; all mistakes
// that could be found are in errs.
func Read(file *source.File, lib *blocks.Library, opts Options, errs *source.Errors) *Graph {
	root := source.Parse(file, errs)
	if !root.Given() {
		return nil
	}
	return readGraph(root, lib, opts, errs)
}

func readGraph(root source.Value, lib *blocks.Library, opts Options, errs *source.Errors) *Graph {
	before := errs.Len()
	r := &graphReader{
		g:      &Graph{File: root.File(), library: lib, opts: opts, root: root, Reserve: Reserve{CPU: 0.20, Memory: 0.05, Flash: 0.05}},
		lib:    lib,
		opts:   opts,
		errs:   errs,
		limits: map[*blocks.Param]paramLimits{},
		outer:  scope{nodes: map[string]int{}, groups: map[string]int{}},
	}
	r.top(root)
	if errs.Len() > before {
		return nil
	}
	return r.g
}

type paramLimits struct{ limits, def blocks.Span }

// scope is the names that a source may use.
type scope struct {
	nodes, groups map[string]int
	within        *scope
}

type graphReader struct {
	g       *Graph
	lib     *blocks.Library
	opts    Options
	errs    *source.Errors
	base    blocks.Timebase
	style   blocks.Style
	limits  map[*blocks.Param]paramLimits
	outer   scope
	pending []pendingNode

	// incomplete is set where a catalog file could not be read: a name that is
	// not known then is no second mistake.
	incomplete bool
}

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

func (r *graphReader) top(v source.Value) {
	before := r.errs.Len()
	o := v.Object("the graph")
	g := r.g
	for _, path := range o.Take("catalog").OneOrMore() {
		path.Text("the path of a catalog file")
		if path.IsText() {
			_, ok := r.load(path)
			r.incomplete = r.incomplete || !ok
		}
	}
	r.lib.Prepare(v.Below("block"))
	r.board(o.Take("board"), o)
	r.rates(o)
	if tempo, ok := r.base.ReadSpan(o.Take("tempo"), blocks.UnitTempo); ok {
		g.Tempo = tempo
	} else if o.Has("tempo") {
		g.Tempo = blocks.Span{Low: 60, High: 60} // so that note values are not mistakes too
	}
	r.base = blocks.Timebase{SampleRate: g.SampleRate, Tempo: g.Tempo}
	r.reserve(o.Take("reserve"))
	r.style = r.code(o.Take("code"), blocks.Style{}, r.run)

	nodes, voices, scenes := o.Need("nodes"), o.Take("voices"), o.Take("scenes")
	r.nodes(nodes, &r.outer, -1)
	r.voices(voices)
	r.scenes(scenes)
	r.symbols(o.Take("symbols"))
	r.regions(o.Take("regions"))
	o.Done("key")
	if copies := g.copies(); copies > maxCopies {
		o.At().Fail("", "the nodes and their voices are %d copies, more than the %d that are read", copies, maxCopies)
		return
	}
	for _, p := range r.pending {
		r.connect(p)
	}
	if r.errs.Len() == before {
		r.spread()
	}
}

// load reads a file that the graph names, and tells whether it could be read.
func (r *graphReader) load(path source.Value) (board string, ok bool) {
	if r.opts.Load == nil {
		path.Fail("", "other files are not read here")
		return "", false
	}
	before := r.errs.Len()
	board = r.opts.Load(path)
	return board, r.errs.Len() == before
}

func (r *graphReader) board(v source.Value, o *source.Object) {
	if r.opts.Board.Given() {
		v = r.opts.Board
	} else if !v.Given() {
		if !o.Has("board") {
			o.Need("board")
		}
		return
	}
	name := v.Text("the name of a board")
	if !v.IsText() {
		return
	}
	if strings.ContainsAny(name, `/\`) || strings.HasSuffix(name, ".yaml") {
		loaded, ok := r.load(v)
		if !ok {
			return
		}
		if loaded == "" {
			v.Fail("a board file begins with 'board: NAME'", "the file holds no board")
			return
		}
		name = loaded
	}
	board, err := r.lib.Board(name)
	var unknown *blocks.UnknownError
	if errors.As(err, &unknown) {
		if chip := r.boardOfChip(name); chip != nil {
			board, err = chip, nil
		}
	}
	if err != nil {
		hint := ""
		if unknown != nil {
			if r.incomplete {
				return
			}
			if hint = source.DidYouMean(name, r.lib.BoardNames()); hint == "" {
				hint = "'elbowroom boards' lists them, 'elbowroom boards --chip MARKING' finds one by its chip"
			}
		}
		v.Fail(hint, "%v", err)
		return
	}
	core, err := r.lib.Core(board.Core)
	if err != nil {
		v.Fail("", "%v", err)
		return
	}
	r.g.Board, r.g.Core, r.g.Run = board, core, board.Layouts[0].Bank
	if !r.opts.Unmeasured {
		r.g.measure(r.lib)
	}
}

// boardOfChip finds the board class that lists a chip's marking, or nil.
func (r *graphReader) boardOfChip(marking string) *blocks.Board {
	boards, _ := BoardsOfChip(r.lib, marking)
	if len(boards) == 0 {
		return nil
	}
	return boards[0]
}

// BoardsOfChip finds the board classes that list a chip: a marking that begins
// with what the class lists, in any case. Where several do, the longest first.
func BoardsOfChip(lib *blocks.Library, marking string) ([]*blocks.Board, error) {
	type match struct {
		board  *blocks.Board
		length int
	}
	var found []match
	for _, name := range lib.BoardNames() {
		b, err := lib.Board(name)
		if err != nil {
			return nil, err
		}
		longest := 0
		for _, c := range b.Chips {
			if len(c.Marking) > longest && len(marking) >= len(c.Marking) && strings.EqualFold(marking[:len(c.Marking)], c.Marking) {
				longest = len(c.Marking)
			}
		}
		if longest > 0 {
			found = append(found, match{b, longest})
		}
	}
	slices.SortStableFunc(found, func(a, b match) int { return b.length - a.length })
	boards := make([]*blocks.Board, len(found))
	for i, m := range found {
		boards[i] = m.board
	}
	return boards, nil
}

func (r *graphReader) rates(o *source.Object) {
	g := r.g
	g.SampleRate, g.BlockSize = 48000, 48 // so that reading goes on after a mistake
	rate, size := o.Take("sample_rate"), o.Take("block_size")
	if r.opts.SampleRate.Given() {
		rate = r.opts.SampleRate
	} else if !rate.Given() && !o.Has("sample_rate") {
		o.Need("sample_rate")
	}
	if r.opts.BlockSize.Given() {
		size = r.opts.BlockSize
	} else if !size.Given() && !o.Has("block_size") {
		o.Need("block_size")
	}
	fastest := blocks.Hertz(MaxSampleRate) // of control
	if v, ok := r.base.ReadValue(rate, blocks.UnitFrequency); ok {
		if v < MinSampleRate || v > MaxSampleRate {
			rate.Fail("", "a sample rate lies between %v and %v", blocks.Hertz(MinSampleRate), blocks.Hertz(MaxSampleRate))
		} else {
			g.SampleRate, fastest = blocks.Hertz(v), blocks.Hertz(v)
		}
	}
	if v, ok := r.base.ReadValue(size, blocks.UnitCount); ok {
		if v < 1 || v > MaxBlockSize {
			size.Fail("", "a block has from 1 to %d samples", MaxBlockSize)
		} else {
			g.BlockSize = int(v)
		}
	}
	if v := o.Take("control_rate"); v.Given() {
		if rate, ok := r.base.ReadValue(v, blocks.UnitFrequency); ok {
			if rate <= 0 || rate > float64(fastest) {
				v.Fail("", "a control rate is above 0 Hz and at most the sample rate, %v", fastest)
			} else {
				g.ControlRate = blocks.Hertz(rate)
			}
		}
	}
}

func (r *graphReader) reserve(v source.Value) {
	o := v.Object("reserve")
	for name, share := range map[string]*float64{"cpu": &r.g.Reserve.CPU, "memory": &r.g.Reserve.Memory, "flash": &r.g.Reserve.Flash} {
		rv := o.Take(name)
		if x, ok := r.base.ReadValue(rv, blocks.UnitRatio); ok {
			if x < 0 || x >= 1 {
				rv.Fail("write it like '20%'", "a reserve is at least 0 %% and below 100 %%")
			} else {
				*share = x
			}
		}
	}
	o.Done("resource")
}

// code reads how code is written, with what is said of where it runs left to run.
func (r *graphReader) code(v source.Value, style blocks.Style, run func(source.Value)) blocks.Style {
	o := v.Object("code")
	pick := func(key, first, second string, now bool) bool {
		kv := o.Take(key)
		if !kv.Given() {
			return now
		}
		switch text := kv.Text(first + " or " + second); text {
		case first:
			return false
		case second:
			return true
		default:
			if kv.IsText() {
				kv.Fail(source.DidYouMean(text, []string{first, second}), "expected %s or %s, found '%s'", first, second, text)
			}
			return now
		}
	}
	style.PerSample = pick("calls", "block", "sample", style.PerSample)
	style.SizeOptimised = pick("optimise", "O2", "Os", style.SizeOptimised)
	if pick("maths", "library", "approximate", style.Maths == blocks.ApproximateMaths) {
		style.Maths = blocks.ApproximateMaths
	} else {
		style.Maths = blocks.LibraryMaths
	}
	run(o.Take("run"))
	o.Done("key")
	return style
}

// run reads which of the board's layouts the graph takes.
func (r *graphReader) run(v source.Value) {
	board := r.g.Board
	name := v.Text("the name of a bank")
	if board == nil || !v.IsText() {
		return
	}
	for _, l := range board.Layouts {
		if board.Banks[l.Bank].Name == name {
			r.g.Run = l.Bank
			return
		}
	}
	names := board.LayoutNames()
	hint := "it runs from " + strings.Join(names, ", ")
	if nearest := source.DidYouMean(name, names); nearest != "" {
		hint = nearest + " " + hint
	}
	v.Fail(hint, "code of %s does not run from '%s'", board.Name, name)
}

func (r *graphReader) nodes(v source.Value, sc *scope, group int) {
	if !v.Given() {
		return
	}
	members := v.Object("nodes").Rest()
	if v.IsMapping() && len(members) == 0 {
		v.Fail("", "there are no nodes")
	}
	for _, m := range members {
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
	o := m.Value.Object("'" + m.Name + "'")
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
				hint = source.DidYouMean(name, append(r.lib.BlockNames(), ownCode))
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
		n.Place.Fail("", "the DMA of %s reaches no bank that could hold '%s'", r.g.Board.Name, dma[0])
	}
	if !v.Given() {
		return
	}
	bank := func(v source.Value, buffers []string) string {
		name := v.Text("the name of a bank")
		i := r.g.Board.BankIndex(name)
		if v.IsText() && i < 0 {
			v.Fail(source.DidYouMean(name, r.g.Board.BankNames()), "%s has no bank '%s'", r.g.Board.Name, name)
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

func (r *graphReader) voices(v source.Value) {
	for _, m := range v.Object("voices").Rest() {
		if !isNodeName(m.Name) {
			r.misnamed(m, "a group")
		}
		if _, taken := r.outer.nodes[m.Name]; taken {
			m.Key.Fail("", "a node is named '%s' already", m.Name)
			continue
		}
		o := m.Value.Object("'" + m.Name + "'")
		g := &Group{Name: m.Name, Place: m.Key, Count: 1, Out: -1}
		index := len(r.g.Groups)
		r.g.Groups = append(r.g.Groups, g)
		r.outer.groups[m.Name] = index
		count := o.Need("count")
		if c, ok := r.base.ReadValue(count, blocks.UnitCount); ok {
			if c < 1 || c > MaxVoices {
				count.Fail("", "a group has from 1 to %d voices", MaxVoices)
			} else {
				g.Count = int(c)
			}
		}
		sc := &scope{nodes: map[string]int{}, groups: map[string]int{}, within: &r.outer}
		r.nodes(o.Need("nodes"), sc, index)
		out := o.Need("out")
		if name := out.Text("the name of a node"); out.IsText() {
			i, ok := sc.nodes[name]
			if !ok && len(g.Nodes) == 0 {
				// that there are none was told
			} else if !ok {
				out.Fail(source.DidYouMean(name, keys(sc.nodes)), "the group has no node '%s'", name)
			} else if b := r.g.Nodes[i].Use.Block; b != nil && (len(b.Outputs) == 0 || b.Outputs[0].Kind != blocks.Audio) {
				out.Fail("", "'%s' gives no audio", name)
			} else {
				g.Out = i
			}
		}
		o.Done("key")
	}
}

func (r *graphReader) scenes(v source.Value) {
	for _, m := range v.Object("scenes").Rest() {
		if m.Name == "overlay" {
			r.g.Overlay = m.Value.Truth()
			continue
		}
		scene := Scene{Name: m.Name}
		for _, nv := range m.Value.Items("a list of nodes") {
			name := nv.Text("the name of a node")
			if !nv.IsText() {
				continue
			}
			twice := false
			if i, ok := r.outer.nodes[name]; ok {
				twice = slices.Contains(scene.Nodes, i)
				scene.Nodes = append(scene.Nodes, i)
			} else if i, ok := r.outer.groups[name]; ok {
				twice = slices.Contains(scene.Groups, i)
				scene.Groups = append(scene.Groups, i)
			} else {
				r.unknownNode(nv, name, &r.outer)
			}
			if twice {
				nv.Fail("", "'%s' stands twice in the scene", name)
			}
		}
		r.g.Scenes = append(r.g.Scenes, scene)
	}
	if v.IsMapping() && len(r.g.Scenes) < 2 {
		v.Fail("", "scenes are at least two: parts that never sound together")
	}
}

// symbols reads whose the symbols of the built program are. Whether the owners
// are nodes is not asked here: a graph from which nodes were taken stays one.
func (r *graphReader) symbols(v source.Value) {
	for _, m := range v.Object("symbols").Rest() {
		for _, pattern := range m.Value.OneOrMore() {
			text := pattern.Text("the name of a symbol, in which * stands for anything")
			if _, err := path.Match(text, ""); err != nil {
				pattern.Fail("write 'echo_*'", "'%s' is no pattern of names", text)
			}
			r.g.Symbols = append(r.g.Symbols, SymbolPattern{Place: m.Key, Owner: m.Name, Pattern: text})
		}
	}
}

// regions reads which banks the regions of a linker script are. Whether the board
// has them is not asked here: a graph may be asked about on another board.
func (r *graphReader) regions(v source.Value) {
	for _, m := range v.Object("regions").Rest() {
		r.g.Regions = append(r.g.Regions, ScriptRegion{Place: m.Value, Name: m.Name, Bank: m.Value.Text("the name of a bank")})
	}
}

func keys(m map[string]int) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	return names
}
