package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
)

// blocksOptions are the flags of blocks.
type blocksOptions struct{ core, role, sort string }

func (a *app) blocksCommand() *cobra.Command {
	var opts blocksOptions
	cmd := &cobra.Command{
		Use:   "blocks [NAME]",
		Short: "Show the building blocks",
		Long: `List the building blocks by family; with a word of the trade (a family, a role,
'sequencer', 'vca') only those that it stands for; with the name of a block
everything that is known of it: what it does, its ports and parameters, its
memory and operations as formulas, what it gives the ear, its lighter stand-ins,
and the sources of all that. With --core it tells what each takes there at its
defaults, so that they can be compared.`,
		Example: `  $ elbowroom blocks reverb
  $ elbowroom blocks delay --core m7
  $ elbowroom blocks --role reverb --core m7 --sort cycles`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: completeBlocks,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.answered(func(w io.Writer) error { return a.runBlocks(w, opts, args) })
		},
	}
	cmd.Flags().StringVar(&opts.core, "core", "", "tell what a block takes at its defaults on this `core`")
	cmd.Flags().StringVar(&opts.role, "role", "", "only blocks of this `role`")
	cmd.Flags().StringVar(&opts.sort, "sort", "", "with --core, the least first `by` "+strings.Join(blockOrders, ", "))
	_ = cmd.RegisterFlagCompletionFunc("core", completeCores)
	_ = cmd.RegisterFlagCompletionFunc("sort", cobra.FixedCompletions(blockOrders, cobra.ShellCompDirectiveNoFileComp))
	a.formatFlag(cmd)
	return cmd
}

// BlockLine is one block in the list of all.
type BlockLine struct {
	Family string `json:"family"`
	Name   string `json:"name"`
	Role   string `json:"role"`
	Title  string `json:"title"`
	*BlockCost
}

func (a *app) runBlocks(w io.Writer, opts blocksOptions, args []string) error {
	lib, err := catalog.Open()
	if err != nil {
		return err
	}
	if len(args) == 1 && slices.Contains(lib.BlockNames(), args[0]) {
		return a.showBlock(w, lib, args[0], opts.core)
	}
	if opts.sort != "" && (opts.core == "" || !slices.Contains(blockOrders, opts.sort)) {
		return hinted{errors.New("--sort goes by what blocks take on a core"), "write '--core m7 --sort cycles'; orders are " + strings.Join(blockOrders, ", ")}
	}
	var lines []BlockLine
	names := lib.BlockNames()
	if len(args) == 1 {
		names = lib.Meant(args[0])
	}
	for _, name := range names {
		b, err := lib.Block(name)
		if err != nil {
			return err
		}
		if opts.role == "" || b.Role == opts.role {
			lines = append(lines, BlockLine{b.Family, b.Name, b.Role, b.Title, nil})
		}
	}
	if len(names) == 0 {
		return hinted{fmt.Errorf("there is no block named '%s'", args[0]), lib.BlockHint(args[0])}
	}
	if len(lines) == 0 {
		return noSuchRole(lib, opts.role)
	}
	slices.SortStableFunc(lines, func(a, b BlockLine) int { return strings.Compare(a.Family, b.Family) })
	if opts.core != "" {
		return a.compareBlocks(w, lib, lines, opts)
	}
	if a.format == asJSON {
		return printJSON(w, struct {
			Version int         `json:"version"`
			Blocks  []BlockLine `json:"blocks"`
		}{reportVersion, lines})
	}
	t := &table{align: "llll", header: []string{"family", "block", "role", "title"}}
	family := ""
	for _, l := range lines {
		if a.format != asTable {
			t.add(l.Family, l.Name, l.Role, l.Title)
			continue
		}
		title := wrap(l.Title, titleWidth)
		shown := l.Family
		if l.Family == family {
			shown = ""
		}
		family = l.Family
		t.add(shown, l.Name, l.Role, title[0])
		for _, more := range title[1:] {
			t.add("", "", "", more)
		}
	}
	return a.printTable(w, t, fmt.Sprintf("%s. 'elbowroom blocks NAME' tells all about one.", counted(len(lines), "block")))
}

// titleWidth is what the other columns leave of a line for the title.
const titleWidth = 23

// printTable prints a list of things as a table, with a remark for people.
func (a *app) printTable(w io.Writer, t *table, remark string) error {
	if a.format == asCSV {
		return t.csv(w)
	}
	return a.printDocument(w, document{{table: t, after: remark}})
}

// showBlock prints everything that is known of a block.
func (a *app) showBlock(w io.Writer, lib *blocks.Library, name, core string) error {
	b, err := lib.Block(name)
	if err != nil {
		return err
	}
	s := blockSheet(b)
	for _, name := range lib.CoreNames() {
		if core == "" || core == name {
			s.emulated(name, b, core != "")
		}
	}
	if core != "" {
		c, err := coreNamed(lib, core)
		if err != nil {
			return err
		}
		if err := s.cost(b, c); err != nil {
			return err
		}
	}
	for _, c := range b.Citations {
		s.fact(nil, "sources", c.Key, "", c.Text)
	}
	return a.printSheet(w, s)
}

// coreNamed is a core of the catalog; the error has the nearest name.
func coreNamed(lib *blocks.Library, name string) (*blocks.Core, error) {
	c, err := lib.Core(name)
	var unknown *blocks.UnknownError
	if errors.As(err, &unknown) {
		hint := source.DidYouMean(name, lib.CoreNames())
		if hint == "" {
			hint = "cores are " + strings.Join(lib.CoreNames(), ", ")
		}
		return nil, hinted{err, hint}
	}
	return c, err
}

// blockSheet gathers what is known of a block, its sources left out.
func blockSheet(b *blocks.Block) *Sheet {
	s := &Sheet{Version: reportVersion, Kind: "block", Name: b.Name, Title: b.Title, About: b.About}
	s.fact(nil, "what it is", "family", "", b.Family)
	s.fact(nil, "what it is", "role", "", b.Role)
	if len(b.Called) > 0 {
		s.fact(nil, "what it is", "called", "", strings.Join(b.Called, ", "))
	}
	s.fact(nil, "what it is", "equation", "", b.Equation)
	for i := range b.Inputs {
		s.port("inputs", &b.Inputs[i])
	}
	for i := range b.Outputs {
		s.port("outputs", &b.Outputs[i])
	}
	if b.InPlace {
		s.fact(nil, "outputs", b.Outputs[0].Name, "", "may lie where "+b.Inputs[0].Name+" lies")
	}
	for i := range b.Params {
		s.param(&b.Params[i])
	}
	s.formula(b.StateCites, "memory", "state", "bytes", b.State)
	s.formula(b.StateCites, "memory", "stack", "bytes", b.Stack)
	for i := range b.Buffers {
		s.buffer(&b.Buffers[i])
	}
	for i := range b.Tables {
		t := &b.Tables[i]
		s.formula(t.Cites, "memory", "table "+t.Name, "bytes", t.Bytes)
		s.fact(t.Cites, "memory", "table "+t.Name, "shared as", t.Key)
		s.formula(t.Cites, "memory", "table "+t.Name, "when", t.When)
		lies := "flash, as constants"
		if t.Copied {
			lies = "RAM, filled at the start"
		}
		s.fact(t.Cites, "memory", "table "+t.Name, "lies in", lies)
		s.turn(t.Cites, "table "+t.Name, t.Due)
	}
	s.operations(b)
	s.formula(nil, "in a graph", "latency", "samples", b.Latency)
	s.formula(nil, "in a graph", "closes a loop", "after samples", b.Shortest)
	s.formula(nil, "in a graph", "gain of its own loop", "", b.LoopGain)
	s.formula(nil, "in a graph", "greatest gain", "", b.Gain)
	for _, j := range b.Jacks {
		s.formula(nil, "in a graph", "takes "+j.Jack, "", j.Count)
	}
	for _, m := range b.Metrics {
		s.formula(m.Cites, "what the ear gets", m.Metric, "", m.Value)
	}
	for i := range b.Substitutes {
		s.substitute(&b.Substitutes[i])
	}
	for i := range b.Parts {
		p := &b.Parts[i]
		s.fact(nil, "parts", p.Name, "", p.Block)
		s.formula(nil, "parts", p.Name, "times", p.Count)
	}
	return s
}

func (s *Sheet) formula(sources []string, section, name, item string, f *blocks.Formula) {
	if f != nil {
		s.fact(sources, section, name, item, f.Text())
	}
}

func (s *Sheet) port(section string, p *blocks.Port) {
	s.fact(nil, section, p.Name, "", p.Kind.String())
	if p.Kind == blocks.Audio {
		channels := "as many channels as the node"
		switch {
		case p.Channels == blocks.AnyChannels:
			channels = "any number of channels"
		case p.Channels > 0:
			channels = counted(p.Channels, "channel")
		case p.Channels == blocks.CountedChannels:
			channels = "as many channels as " + p.Counted + " says"
		}
		s.fact(nil, section, p.Name, "", channels)
	}
	if p.Optional {
		s.fact(nil, section, p.Name, "", "may stay open")
	}
	s.formula(nil, section, p.Name, "greatest rate", p.Rate)
	s.formula(nil, section, p.Name, "most in a block", p.Most)
}

func (s *Sheet) param(p *blocks.Param) {
	const section = "parameters"
	if p.Categorical() {
		words := make([]string, len(p.Choices))
		for i, c := range p.Choices {
			words[i] = c.Name
		}
		s.fact(nil, section, p.Name, "", "one of "+strings.Join(words, ", "))
	} else {
		s.fact(nil, section, p.Name, "", p.Unit.String())
		s.fact(nil, section, p.Name, "range", p.RangeText)
	}
	if p.Needed {
		s.fact(nil, section, p.Name, "", "must be given")
	} else {
		s.fact(nil, section, p.Name, "default", p.DefaultText)
	}
	switch p.Moved {
	case blocks.ByControl:
		s.fact(nil, section, p.Name, "moved by", "control")
	case blocks.ByAudio:
		s.fact(nil, section, p.Name, "moved by", "control or audio")
	}
	s.fact(nil, section, p.Name, "", p.About)
}

func (s *Sheet) buffer(b *blocks.Buffer) {
	const section = "memory"
	name := "buffer " + b.Name
	s.formula(b.Cites, section, name, "bytes", b.Bytes)
	if b.Each != nil {
		values := make([]string, len(b.Each))
		for i, v := range b.Each {
			values[i] = strconv.FormatFloat(v, 'g', -1, 64)
		}
		s.fact(b.Cites, section, name, "each of", strings.Join(values, ", "))
	}
	s.formula(b.Cites, section, name, "when", b.When)
	s.formula(b.Cites, section, name, "reads a sample", b.Reads)
	s.formula(b.Cites, section, name, "writes a sample", b.Writes)
	s.formula(b.Cites, section, name, "access of", b.Element)
	s.fact(b.Cites, section, name, "walked as", b.Pattern.String())
	s.formula(b.Cites, section, name, "at so many places", b.Heads)
	s.turn(b.Cites, name, b.Due)
	if b.DMA {
		s.fact(b.Cites, section, name, "", "the audio DMA must reach it")
	}
}

// turn tells what touches memory that is not touched as samples come.
func (s *Sheet) turn(cites []string, name, due string) {
	if due != "" {
		s.fact(cites, "memory", name, "touched all at once", "when "+due+" falls due")
	}
}

func (s *Sheet) operations(b *blocks.Block) {
	ops := &b.Operations
	term := func(name string, counts []blocks.Count) {
		for _, c := range counts {
			s.formula(ops.Cites, "operations", name, c.Class.String(), c.Times)
		}
	}
	call := "each block"
	if b.Processes() != blocks.Audio {
		call = "each control period"
	}
	term(call, ops.Call)
	term("each sample", ops.Sample)
	term("more, on the costliest data", ops.Costliest)
	for _, in := range b.Inputs {
		term("each event on "+in.Name, ops.Events[in.Name])
	}
	for _, r := range ops.Recurring {
		name := "recurring " + r.Name
		s.formula(ops.Cites, "operations", name, "every samples", r.Every)
		s.formula(ops.Cites, "operations", name, "from sample", r.Offset)
		term(name, r.Counts)
	}
	for _, u := range ops.Updates {
		term("when "+strings.Join(u.When, " or ")+" is moved", u.Counts)
	}
	s.formula(ops.Cites, "operations", "static instructions", "", b.Instructions)
}

func (s *Sheet) substitute(sub *blocks.Substitute) {
	const section = "lighter stand-ins"
	var change []string
	if sub.Block != "" {
		change = append(change, "block: "+sub.Block)
	}
	for _, key := range sortedKeys(sub.Set) {
		change = append(change, key+": "+sub.Set[key])
	}
	for _, key := range sortedKeys(sub.Scale) {
		change = append(change, key+" times "+strconv.FormatFloat(sub.Scale[key], 'g', -1, 64))
	}
	for _, key := range sortedKeys(sub.Carry) {
		change = append(change, key+" from "+sub.Carry[key])
	}
	s.fact(nil, section, strings.Join(change, ", "), "", sub.Heard)
}

// Rate and block size at which a block is priced when no graph says.
const (
	customaryRate  = blocks.Hertz(48000)
	customaryBlock = 48
)

// cost adds what the block takes on a core at its defaults.
func (s *Sheet) cost(b *blocks.Block, c *blocks.Core) error {
	d, err := b.DefaultUse(customaryRate, customaryBlock).Demand(c)
	if err != nil {
		return err
	}
	section := fmt.Sprintf("at its defaults on %s, %v, blocks of %d samples, one channel, no events", c.Name, customaryRate, customaryBlock)
	edges := func(f blocks.Figure) string {
		return fmt.Sprintf("%s (%s)", whole(f.Value), between(figure(f)))
	}
	s.fact(nil, section, "cycles", "mean", edges(d.Mean))
	s.fact(nil, section, "cycles", "worst", edges(d.Worst))
	for _, h := range d.Hops {
		s.fact(nil, section, "cycles", "and every "+number(h.Every)+" samples", edges(h.Cycles))
	}
	s.fact(nil, section, "basis", "", d.Basis.String())
	s.fact(nil, section, "source", "", d.Source)
	s.fact(nil, section, "bytes", "state", d.State.String())
	for _, buf := range d.Buffers {
		s.fact(nil, section, "bytes", "buffer "+buf.Name, buf.Bytes.String())
	}
	for _, t := range d.Tables {
		s.fact(nil, section, "bytes", "table "+t.Key, t.Bytes.String())
	}
	for _, code := range d.Code {
		s.fact(nil, section, "bytes", "code "+code.Key, edges(code.Bytes))
	}
	for _, r := range d.Routines {
		s.fact(nil, section, "bytes", "library "+r, c.Routines[r].Flash.String())
	}
	for _, l := range d.Library {
		s.fact(nil, section, "bytes", "library "+l.Name, l.Flash.String())
	}
	for i := range b.Params {
		if p := &b.Params[i]; p.Needed {
			s.fact(nil, section, "taken", p.Name, "the top of its range, as it has no default")
		}
	}
	return nil
}
