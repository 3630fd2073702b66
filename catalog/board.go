package catalog

import (
	"errors"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// readBoard reads a board's file. A user's own may say `like: NAME` and give
// only what differs from that board: what it gives counts as confirmed.
func readBoard(v source.Value, lib *blocks.Library) *blocks.Board {
	o := v.Object("the board")
	b := &blocks.Board{}
	base := o.Take("like")
	if base.Given() {
		if b = likeBoard(base, lib); b == nil {
			return &blocks.Board{}
		}
	}
	need := o.Need
	var r *reader
	if base.Given() {
		need = o.Take
		r = &reader{named: map[string]bool{}, citations: b.Citations}
		if o.Has("sources") {
			own := newReader(o)
			r.citations = append(slices.Clone(b.Citations), own.citations...)
		}
		// A board of one's own needs no citation: its maker is the source.
		r.citations = append(r.citations, blocks.Citation{Key: ownBoard, Text: "stated in " + v.File().Name})
		// Words about the other need not be true of this one.
		b.Title, b.About = "a board like "+b.Name, ""
	} else {
		r = newReader(o)
	}
	b.Name = word(o.Need("board"), hyphenated, aName)
	r.own = base.Given()
	b.Citations = r.citations
	if t := need("title"); t.Given() {
		b.Title = t.Text("a title")
	}
	if a := need("about"); a.Given() {
		b.About = strings.Join(strings.Fields(a.Text("two sentences")), " ")
	}
	if c := need("core"); c.Given() {
		b.Core = c.Text("a core")
		if names := lib.CoreNames(); !slices.Contains(names, b.Core) {
			c.Fail(source.DidYouMean(b.Core, names), "there is no core named '%s'", b.Core)
		}
	}
	if c := need("clock"); c.Given() {
		b.Clock = blocks.Hertz(positive(c, blocks.UnitFrequency, "a clock"))
	}
	for _, item := range need("chips").Items("a list of chips") {
		co := item.Object("the chip")
		b.Chips = append(b.Chips, blocks.Chip{Marking: co.Need("marking").Text("a marking"), Cites: r.cites(co)})
		co.Done("key")
	}
	for _, m := range need("banks").Object("banks").Rest() {
		r.bank(b, m)
	}
	if c := o.Take("cache"); c.Given() {
		b.Cache = r.cache(c)
	}
	if c := o.Take("code_cache"); c.Given() {
		b.CodeCache = r.cache(c)
	}
	if a := need("align"); a.Given() {
		align, ok := nominal.ReadValue(a, blocks.UnitBytes)
		b.Align = blocks.Bytes(align)
		if ok && (b.Align < 4 || b.Align&(b.Align-1) != 0) {
			a.Fail("", "an alignment is a power of two from 4 B up")
		}
	}
	if s := need("stall_band"); s.Given() {
		b.StallBand = r.band(s)
	}
	r.system(b, need("system"))
	r.jacks(b, need("jacks"))
	if c := need("converter"); c.Given() {
		co := c.Object("the converter")
		half := func(key string, before float64, of func(*blocks.Codec) float64) (samples float64, cites []string) {
			if r.own && !co.Has(key) {
				return before, nil
			}
			return r.groupDelay(co.Need(key), lib, key, of)
		}
		in, inCites := half("in", b.Converter.In, func(c *blocks.Codec) float64 { return c.In })
		out, outCites := half("out", b.Converter.Out, func(c *blocks.Codec) float64 { return c.Out })
		bits := b.Converter.Bits
		if !r.own || co.Has("bits") {
			bits = int(one(co.Need("bits"), blocks.UnitCount))
		}
		b.Converter = blocks.Converter{In: in, Out: out, Bits: bits, Cites: r.cites(co)}
		b.Converter.Confirmed = r.confirmed(b.Converter.Cites)
		for _, key := range append(inCites, outCites...) {
			if !slices.Contains(b.Converter.Cites, key) {
				b.Converter.Cites = append(b.Converter.Cites, key)
			}
		}
		b.Citations = r.citations
		co.Done("key")
	}
	r.layouts(b, o.Take("layout"))
	for i := range b.Banks {
		if b.Banks[i].Cached && b.Cache.Bytes == 0 && !o.Has("cache") {
			o.Key("banks").Fail("state 'cache'", "the bank '%s' is cached, but the board has no cache", b.Banks[i].Name)
			break
		}
	}
	unknown := func(bank blocks.Bank) bool { return !slices.Contains(blocks.BankKinds(), bank.Kind) }
	if len(b.Banks) > 0 && b.CodeBank() < 0 && !slices.ContainsFunc(b.Banks, unknown) {
		o.Key("banks").Fail("", "the board has no bank of kind flash or qspi to hold the code")
	}
	if !r.own {
		r.done(o)
	}
	o.Lists("'elbowroom help board' tells the keys of a board")
	o.Done("key")
	return b
}

// ownBoard is the key of the citation of what a user states of a board.
const ownBoard = "own-board"

// likeBoard is a copy of the board that another is like, or nil where there is
// no such board.
func likeBoard(v source.Value, lib *blocks.Library) *blocks.Board {
	name := v.Text("a board")
	if !v.IsText() {
		return nil
	}
	found, err := lib.BoardOrChip(name)
	if err != nil {
		var unknown *blocks.UnknownError
		if errors.As(err, &unknown) {
			v.Fail(source.DidYouMean(name, lib.BoardNames()), "%v", err)
		} else {
			v.Fail("", "%v", err)
		}
		return nil
	}
	b := *found
	b.Banks = slices.Clone(b.Banks)
	b.Jacks = slices.Clone(b.Jacks)
	b.System = slices.Clone(b.System)
	return &b
}

// groupDelay reads how many samples late sound passes one half of a converter:
// a number, or the name of a codec, whose citations come with it.
func (r *reader) groupDelay(v source.Value, lib *blocks.Library, half string, of func(*blocks.Codec) float64) (samples float64, cites []string) {
	if !v.IsText() {
		return one(v, blocks.UnitRatio), nil
	}
	name := v.Text("a number of samples or a codec")
	if _, err := strconv.ParseFloat(name, 64); err == nil {
		return one(v, blocks.UnitRatio), nil
	}
	codec, err := lib.Codec(name)
	var unknown *blocks.UnknownError
	switch {
	case errors.As(err, &unknown):
		v.Fail(source.DidYouMean(name, lib.CodecNames()), "'%s' is neither a number of samples nor a codec", name)
		return 0, nil
	case err != nil:
		v.Fail("", "%v", err)
		return 0, nil
	case of(codec) == 0:
		v.Fail("give it in samples", "no group delay %s of %s is known", half, codec.Name)
		return 0, nil
	}
	for _, key := range codec.Cites {
		own := codec.Name + "-" + key
		if !slices.ContainsFunc(r.citations, func(c blocks.Citation) bool { return c.Key == own }) {
			r.citations = append(slices.Clone(r.citations), blocks.Citation{Key: own, Text: codec.Title + ": " + codec.Cite(key)})
		}
		cites = append(cites, own)
	}
	return of(codec), cites
}

// readCodec reads a converter chip's file.
func readCodec(v source.Value) *blocks.Codec {
	o := v.Object("the codec")
	r := newReader(o)
	c := &blocks.Codec{
		Name: word(o.Need("codec"), hyphenated, aName), Title: o.Need("title").Text("a title"), Citations: r.citations,
	}
	if in := o.Take("in"); in.Given() {
		c.In = positive(in, blocks.UnitRatio, "a group delay")
	}
	if out := o.Take("out"); out.Given() {
		c.Out = positive(out, blocks.UnitRatio, "a group delay")
	}
	if c.In == 0 && c.Out == 0 {
		o.Need("in")
	}
	c.Cites = r.cites(o)
	r.done(o)
	o.Done("key")
	return c
}

// cache reads a cache.
func (r *reader) cache(v source.Value) blocks.Cache {
	o := v.Object("the cache")
	c := blocks.Cache{
		Bytes: blocks.Bytes(positive(o.Need("bytes"), blocks.UnitBytes, "a cache")),
		Line:  blocks.Bytes(positive(o.Need("line"), blocks.UnitBytes, "a cache line")),
		Ways:  int(positive(o.Need("ways"), blocks.UnitCount, "the number of ways")),
	}
	if a := o.Take("write_allocate"); a.Given() {
		c.WriteAround = !a.Truth()
	}
	if m := o.Take("maintenance"); m.Given() {
		c.Maintenance = one(m, blocks.UnitCycles)
	}
	c.Cites = r.cites(o)
	o.Done("key")
	return c
}

// bank reads a bank. On a board of the user's own, one that the board it is like
// has too is that bank but for what is given.
func (r *reader) bank(b *blocks.Board, m source.Member) {
	o := m.Value.Object("the bank '" + m.Name + "'")
	bank := blocks.Bank{Name: word(m.Key, underscore, anIdentifer)}
	need := o.Need
	at := b.BankIndex(bank.Name)
	if r.own && at >= 0 {
		bank, need = b.Banks[at], o.Take
	}
	if v := need("kind"); v.IsText() {
		bank.Kind = blocks.BankKind(v.Text("a kind of bank"))
		if !slices.Contains(blocks.BankKinds(), bank.Kind) {
			v.Fail("kinds are tcm, sram, sdram, psram, flash, qspi", "there is no kind of bank '%s'", bank.Kind)
		}
	}
	if v := need("base"); v.IsText() {
		base, err := strconv.ParseUint(v.Text("an address"), 0, 40)
		if err != nil {
			v.Fail("write it like 0x20000000", "'%s' is no address", v.Text("an address"))
		}
		bank.Base = base
	}
	if v := need("nominal"); v.Given() {
		bank.Nominal = blocks.Bytes(positive(v, blocks.UnitBytes, "the size of a bank"))
	}
	if taken := o.Take("taken"); taken.Given() {
		bank.Taken = nil
		for _, t := range taken.Object("taken").Rest() {
			to := t.Value.Object("what is taken")
			bank.Taken = append(bank.Taken, blocks.Taken{
				What: t.Name, Bytes: blocks.Bytes(one(to.Need("bytes"), blocks.UnitBytes)), Cites: r.cites(to),
			})
			to.Done("key")
		}
	}
	if bank.Nominal > 0 && bank.Usable() <= 0 {
		m.Key.Fail("", "nothing is left of the bank '%s'", m.Name)
	}
	truth := func(key string, is *bool) {
		if v := o.Take(key); v.Given() {
			*is = v.Truth()
		}
	}
	truth("dma", &bank.DMA)
	truth("cached", &bank.Cached)
	cycles := func(key string, are *float64) {
		if v := o.Take(key); v.Given() {
			*are = one(v, blocks.UnitCycles)
		}
	}
	cycles("read", &bank.Read)
	cycles("write", &bank.Write)
	cycles("line_fill", &bank.LineFill)
	cycles("write_back", &bank.WriteBack)
	if f := o.Take("fetch"); f.Given() {
		bank.Fetch = one(f, blocks.UnitRatio)
	}
	bank.Cites = slices.Concat(bank.Cites, r.cites(o))
	o.Lists("'elbowroom help board' tells the keys of a bank")
	o.Done("key")
	if at >= 0 {
		b.Banks[at] = bank
	} else {
		b.Banks = append(b.Banks, bank)
	}
}

// layouts reads which banks code may run from. They take the place of those of the
// board that a user's is like; a board that states none runs its code where it lies.
func (r *reader) layouts(b *blocks.Board, v source.Value) {
	if !v.Given() {
		if code := b.CodeBank(); len(b.Layouts) == 0 && code >= 0 {
			b.Layouts = []blocks.Layout{{Bank: code, Cites: b.Banks[code].Cites}}
		}
		return
	}
	if v.IsMapping() && len(v.Keys()) == 0 {
		v.Fail("write it like 'layout: {flash: {source: ...}}'", "the layout names no bank that code runs from")
	}
	b.Layouts = nil
	for _, m := range v.Object("layout").Rest() {
		o := m.Value.Object("the layout '" + m.Name + "'")
		l := blocks.Layout{Bank: b.BankIndex(m.Name), Cites: r.cites(o)}
		o.Done("key")
		if l.Bank < 0 {
			m.Key.Fail(source.DidYouMean(m.Name, b.BankNames()), "the board has no bank '%s'", m.Name)
			continue
		}
		b.Layouts = append(b.Layouts, l)
	}
}

// system reads what the run time takes; rows of a name that is there already
// take its place.
func (r *reader) system(b *blocks.Board, v source.Value) {
	for _, m := range v.Object("system").Rest() {
		o := m.Value.Object("the row '" + m.Name + "'")
		if m.Name == "block" {
			b.SystemCycles = blocks.Weight{Cycles: one(o.Need("cycles"), blocks.UnitCycles)}
			b.SystemCycles.Worst = b.SystemCycles.Cycles
			if worst := o.Take("worst"); worst.Given() {
				b.SystemCycles.Worst = one(worst, blocks.UnitCycles)
			}
			b.SystemCycles.Cites = r.cites(o)
			o.Done("key")
			continue
		}
		row := blocks.SystemBytes{What: m.Name, Bytes: blocks.Bytes(one(o.Need("bytes"), blocks.UnitBytes))}
		if bank := o.Need("bank"); bank.IsText() {
			name := bank.Text("a bank")
			row.Bank = b.BankIndex(name)
			if row.Bank < 0 {
				bank.Fail(source.DidYouMean(name, b.BankNames()), "the board has no bank '%s'", name)
				continue
			}
		}
		row.Cites = r.cites(o)
		row.Confirmed = r.confirmed(row.Cites)
		o.Done("key")
		if i := slices.IndexFunc(b.System, func(s blocks.SystemBytes) bool { return s.What == row.What }); i >= 0 {
			b.System[i] = row
		} else {
			b.System = append(b.System, row)
		}
	}
}

// jacks reads how many jacks and controls the board has.
func (r *reader) jacks(b *blocks.Board, v source.Value) {
	if !v.Given() {
		return
	}
	o := v.Object("jacks")
	var jacks []blocks.Jack
	for _, name := range blocks.JackNames() {
		if count := o.Take(name); count.Given() {
			jacks = append(jacks, blocks.Jack{Name: name, Count: int(one(count, blocks.UnitCount))})
		}
	}
	confirmed := r.confirmed(r.cites(o))
	o.Done("jack")
	for _, jack := range jacks {
		jack.Confirmed = confirmed
		if i := slices.IndexFunc(b.Jacks, func(j blocks.Jack) bool { return j.Name == jack.Name }); i >= 0 {
			b.Jacks[i] = jack
		} else {
			b.Jacks = append(b.Jacks, jack)
		}
	}
}
