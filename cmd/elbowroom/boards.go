package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
)

// boardsOptions are the flags of boards.
type boardsOptions struct {
	chip, graph string
	plans       bool
}

func (a *app) boardsCommand() *cobra.Command {
	var opts boardsOptions
	cmd := &cobra.Command{
		Use:   "boards [NAME|FILE]",
		Short: "Show the boards",
		Long: `List the board classes; with --chip those that a chip belongs to; with --for
those that hold a graph, the most headroom first, and what rules out the others,
with --plans also the least that must be given up on each of these. A graph that
names a bank for its code or buffers is tried without where a board has no such
bank, and the keys to take out are told. With a NAME, or the path of a board
file of your own, everything that is known of one, and of its core, with the
source of every figure. The counts of jacks are plain defaults: a board file of
your own says 'like: NAME' and what differs.`,
		Example: `  $ elbowroom boards --chip STM32H743VIT6
  $ elbowroom boards --for storm.yaml
  $ elbowroom boards m7-480-sdram
  $ elbowroom boards my-box.yaml`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: completeBoards,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opts.check(args); err != nil {
				return err
			}
			return a.answered(func(w io.Writer) error {
				if opts.graph != "" {
					return a.boardsFor(cmd.Context(), w, opts)
				}
				return a.runBoards(w, opts, args)
			})
		},
	}
	cmd.Flags().StringVar(&opts.chip, "chip", "", "list the boards that a chip of this `marking` belongs to")
	cmd.Flags().StringVar(&opts.graph, "for", "", "tell which boards hold this `graph`")
	cmd.Flags().BoolVar(&opts.plans, "plans", false, "with --for, find what must be given up on the boards that do not hold it; takes seconds")
	a.formatFlag(cmd)
	return cmd
}

// BoardLine is one board in the list of all.
type BoardLine struct {
	Name  string   `json:"name"`
	Core  string   `json:"core"`
	Clock float64  `json:"clock"`
	Data  int64    `json:"data_memory"`
	Flash int64    `json:"flash"`
	Chips []string `json:"chips"`
}

func (a *app) runBoards(w io.Writer, opts boardsOptions, args []string) error {
	lib, err := catalog.Open()
	if err != nil {
		return err
	}
	if len(args) == 1 {
		name := args[0]
		if blocks.IsBoardFile(name) {
			if name, err = a.addBoard(lib, name); err != nil {
				return err
			}
		}
		return a.showBoard(w, lib, name)
	}
	var list []*blocks.Board
	if opts.chip != "" {
		if list, err = lib.BoardsOfChip(opts.chip); err != nil {
			return err
		}
		if len(list) == 0 {
			return unknownChip(lib, opts.chip)
		}
	} else {
		for _, name := range lib.BoardNames() {
			b, err := lib.Board(name)
			if err != nil {
				return err
			}
			list = append(list, b)
		}
	}
	lines := make([]BoardLine, len(list))
	for i, b := range list {
		lines[i] = boardLine(b)
	}
	if a.format == asJSON {
		return printJSON(w, struct {
			Version int         `json:"version"`
			Boards  []BoardLine `json:"boards"`
		}{reportVersion, lines})
	}
	t := &table{align: "llrrrl", header: []string{"board", "core", "clock", "data", "flash", "chips"}}
	for _, l := range lines {
		if a.format == asCSV {
			t.add(l.Name, l.Core, strconv.FormatFloat(l.Clock, 'f', -1, 64), strconv.FormatInt(l.Data, 10), strconv.FormatInt(l.Flash, 10), strings.Join(l.Chips, " "))
			continue
		}
		t.add(l.Name, l.Core, blocks.Hertz(l.Clock).String(), blocks.Bytes(l.Data).Down(), blocks.Bytes(l.Flash).Down(), firstFew(l.Chips, 24))
	}
	return a.printTable(w, t, fmt.Sprintf("%s. 'elbowroom boards NAME' tells all about one.", counted(len(lines), "board")))
}

// addBoard reads a board file of the user's own into a library, and returns the
// board's name.
func (a *app) addBoard(lib *blocks.Library, path string) (string, error) {
	file, err := readText(path, a.stdin)
	if err != nil {
		return "", err
	}
	var errs source.Errors
	name := catalog.Add(lib, file, &errs)
	if err := errs.Err(); err != nil {
		return "", err
	}
	if name == "" {
		return "", hinted{fmt.Errorf("%s: the file holds no board", path), "a board file begins with 'board: NAME'"}
	}
	return name, nil
}

func boardLine(b *blocks.Board) BoardLine {
	l := BoardLine{Name: b.Name, Core: b.Core, Clock: float64(b.Clock), Chips: []string{}}
	for i := range b.Banks {
		if bank := &b.Banks[i]; bank.Kind.Constant() {
			l.Flash += int64(bank.Usable())
		} else {
			l.Data += int64(bank.Usable())
		}
	}
	for _, c := range b.Chips {
		l.Chips = append(l.Chips, c.Marking)
	}
	return l
}

// firstFew lists as many words as a width holds, and how many more there are.
func firstFew(words []string, width int) string {
	text := ""
	for i, word := range words {
		if i > 0 && len(text)+len(word) > width {
			return fmt.Sprintf("%s and %d more", text, len(words)-i)
		}
		if i > 0 {
			text += ", "
		}
		text += word
	}
	return text
}

// unknownChip tells which listed chips are near a marking.
func unknownChip(lib *blocks.Library, marking string) error {
	byLength := map[int][]string{}
	for _, name := range lib.BoardNames() {
		b, err := lib.Board(name)
		if err != nil {
			return err
		}
		for _, c := range b.Chips {
			byLength[len(c.Marking)] = append(byLength[len(c.Marking)], c.Marking)
		}
	}
	// A listed marking leaves out the package and the grade.
	var near []string
	for _, markings := range byLength {
		for _, m := range markings {
			if len(m) > len(marking) && strings.EqualFold(m[:len(marking)], marking) {
				near = append(near, m)
			}
		}
	}
	if len(near) > 0 {
		slices.Sort(near)
		return hinted{fmt.Errorf("no board lists the chip '%s'", marking), "give more of the marking: chips that begin so are " + strings.Join(near, ", ")}
	}
	for length, markings := range byLength {
		if chip := source.Nearest(marking[:min(len(marking), length)], markings); chip != "" {
			near = append(near, chip)
		}
	}
	hint := "'elbowroom boards' lists the chips; a board file of your own can describe any"
	if len(near) > 0 {
		slices.Sort(near)
		hint = "near it lies " + strings.Join(near, " or ")
	}
	return hinted{fmt.Errorf("no board lists the chip '%s'", marking), hint}
}

// showBoard prints everything that is known of a board and its core.
func (a *app) showBoard(w io.Writer, lib *blocks.Library, name string) error {
	b, err := lib.Board(name)
	var unknown *blocks.UnknownError
	if errors.As(err, &unknown) {
		hint := source.DidYouMean(name, lib.BoardNames())
		if hint == "" {
			hint = "'elbowroom boards' lists them, 'elbowroom boards --chip " + name + "' looks for a chip"
		}
		return hinted{err, hint}
	} else if err != nil {
		return err
	}
	core, err := lib.Core(b.Core)
	if err != nil {
		return err
	}
	s := boardSheet(b)
	s.core(core)
	for _, c := range b.Citations {
		s.fact(nil, "sources of the board", c.Key, "", c.Text)
	}
	for _, c := range core.Citations {
		s.fact(nil, "sources of the core", c.Key, "", c.Text)
	}
	return a.printSheet(w, s)
}

func boardSheet(b *blocks.Board) *Sheet {
	s := &Sheet{Version: reportVersion, Kind: "board", Name: b.Name, Title: b.Title, About: b.About}
	s.fact(nil, "what it is", "core", "", b.Core)
	s.fact(nil, "what it is", "clock", "", b.Clock.String())
	for _, c := range b.Chips {
		s.fact(c.Cites, "what it is", "chip", "", c.Marking)
	}
	for i := range b.Banks {
		s.bank(&b.Banks[i])
	}
	s.fact(nil, "memory", "buffers", "begin at multiples of", b.Align.String())
	for i, l := range b.Layouts {
		what := "code may run from"
		if i == 0 {
			what = "code runs from"
		}
		s.fact(l.Cites, "memory", "layout", what, b.Banks[l.Bank].Name)
	}
	dataCache := "data cache"
	if code := b.Banks[b.CodeBank()]; code.Cached && b.CodeCache.Bytes == 0 {
		dataCache = "cache of data and code"
	}
	s.cache(dataCache, &b.Cache)
	s.cache("code cache", &b.CodeCache)
	s.fact(b.StallBand.Cites, "memory", "stalls", "lie within", times(b.StallBand))
	for _, row := range b.System {
		s.fact(row.Cites, "what the system takes", row.What, "", row.Bytes.String())
		s.fact(row.Cites, "what the system takes", row.What, "of", b.Banks[row.Bank].Name)
		s.fact(row.Cites, "what the system takes", row.What, "", standsBy(row.Confirmed))
	}
	s.weight("what the system takes", "each block", b.SystemCycles)
	for _, j := range b.Jacks {
		s.fact(nil, "jacks and controls", j.Name, "", strconv.Itoa(j.Count))
		s.fact(nil, "jacks and controls", j.Name, "", standsBy(j.Confirmed))
	}
	c := b.Converter
	s.fact(c.Cites, "converters", "audio", "samples in", number(c.In))
	s.fact(c.Cites, "converters", "audio", "samples out", number(c.Out))
	s.fact(c.Cites, "converters", "controls", "bits", strconv.Itoa(c.Bits))
	s.fact(c.Cites, "converters", "controls", "", standsBy(c.Confirmed))
	return s
}

func (s *Sheet) cache(name string, c *blocks.Cache) {
	if c.Bytes == 0 {
		return
	}
	s.fact(c.Cites, "memory", name, "", c.Bytes.String())
	s.fact(c.Cites, "memory", name, "lines of", c.Line.String())
	s.fact(c.Cites, "memory", name, "ways", strconv.Itoa(c.Ways))
	if c.WriteAround {
		s.fact(c.Cites, "memory", name, "", "fetches nothing on a write")
	}
	if c.Maintenance > 0 {
		s.fact(c.Cites, "memory", name, "cycles a line of a DMA buffer", number(c.Maintenance))
	}
}

func (s *Sheet) bank(b *blocks.Bank) {
	const section = "memory"
	s.fact(b.Cites, section, b.Name, "", string(b.Kind))
	s.fact(b.Cites, section, b.Name, "at", fmt.Sprintf("0x%08X", b.Base))
	s.fact(b.Cites, section, b.Name, "nominal", b.Nominal.String())
	s.fact(b.Cites, section, b.Name, "usable", b.Usable().String())
	reaches := "does not reach it"
	if b.DMA {
		reaches = "reaches it"
	}
	s.fact(b.Cites, section, b.Name, "the audio DMA", reaches)
	if b.Cached {
		s.fact(b.Cites, section, b.Name, "cached, cycles to fill a line", number(b.LineFill))
		s.fact(b.Cites, section, b.Name, "to write one back", number(b.WriteBack))
	} else {
		s.fact(b.Cites, section, b.Name, "not cached, cycles more to read", number(b.Read))
		s.fact(b.Cites, section, b.Name, "to write", number(b.Write))
	}
	if b.Fetch > 0 {
		s.fact(b.Cites, section, b.Name, "fetching code adds to compute", blocks.Percent(b.Fetch))
	}
	for _, t := range b.Taken {
		s.fact(t.Cites, section, b.Name, strings.ReplaceAll(t.What, "_", " ")+" takes", t.Bytes.String())
	}
}

// standsBy tells whether somebody confirmed a figure of a board.
func standsBy(confirmed bool) string {
	if confirmed {
		return "stated"
	}
	return "a plain default"
}

// core adds what an operation costs on a core.
func (s *Sheet) core(c *blocks.Core) {
	section := "core " + c.Name
	s.fact(nil, section, c.Title, "", c.About)
	s.fact(nil, section, "float in hardware", "", c.Float.String())
	s.fact(c.ComputeBand.Cites, section, "compute", "lies within", times(c.ComputeBand))
	s.fact(c.CodeBand.Cites, section, "code", "lies within", times(c.CodeBand))
	s.fact(c.SizeOptimised.Cites, section, "compiled for size", "cycles times", number(c.SizeOptimised.Cycles))
	s.fact(c.SizeOptimised.Cites, section, "compiled for size", "code times", number(c.SizeOptimised.Code))
	s.weight(section, "interrupt", c.Interrupt)
	s.weight(section, "one kernel call", c.Call)
	s.weight(section, "more a sample where called by the sample", c.PerSample)
	operations := "one operation on " + c.Name
	for _, class := range blocks.Classes() {
		s.weight(operations, class.String(), c.Weights[class])
	}
	for _, class := range blocks.Classes() {
		if c.HasDouble[class] {
			s.weight(operations, class.String()+" in double", c.Double[class])
		}
	}
	for _, name := range sortedKeys(c.Routines) {
		r := c.Routines[name]
		s.fact(r.Cites, "library routines", name, "flash", r.Flash.String())
		s.fact(r.Cites, "library routines", name, "stack", r.Stack.String())
		s.fact(r.Cites, "library routines", name, "calls", strings.Join(r.Needs, ", "))
	}
}

// weight adds what one thing costs in cycles and code.
func (s *Sheet) weight(section, name string, w blocks.Weight) {
	s.fact(w.Cites, section, name, "cycles", number(w.Cycles))
	if w.Worst > w.Cycles {
		s.fact(w.Cites, section, name, "at worst", number(w.Worst))
	}
	if w.Approximate > 0 {
		s.fact(w.Cites, section, name, "approximate", number(w.Approximate))
	}
	if w.Code > 0 {
		s.fact(w.Cites, section, name, "code", w.Code.String())
	}
	s.fact(w.Cites, section, name, "calls", strings.Join(w.Library, ", "))
}

func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K { return slices.Sorted(maps.Keys(m)) }
