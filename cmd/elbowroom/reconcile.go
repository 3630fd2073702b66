package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator/reconcile"
)

// reconciliationVersion counts the shapes of reconcile's JSON.
const reconciliationVersion = 1

// Reconciliation is what reconcile found out. Every format prints from it.
type Reconciliation struct {
	Version   int         `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	Exit      int         `json:"exit" jsonschema:"exit status: 0 the build agrees, 1 it is over or differs, 2 wrong input"`
	File      string      `json:"file"`
	Program   string      `json:"program"`
	Board     string      `json:"board"`
	Sentence  string      `json:"sentence" jsonschema:"what was found in words with figures"`
	Banks     []BuiltBank `json:"banks"`
	Groups    []BuiltPart `json:"groups" jsonschema:"symbols by whose they are, in each bank"`
	Explained float64     `json:"explained" jsonschema:"share of the built bytes that have an owner"`
	Unnamed   int64       `json:"unnamed,omitempty" jsonschema:"bytes that the map names by their object file alone"`
	Waste     []string    `json:"waste,omitempty" jsonschema:"what takes room for nothing"`
	Wrote     string      `json:"wrote,omitempty" jsonschema:"the file with what was read of the program, for the graph to name"`
}

// BuiltBank is what was estimated and what was built of one bank.
type BuiltBank struct {
	Name      string `json:"name"`
	Estimated Figure `json:"estimated" jsonschema:"bytes; without the stack where the program has no section for it"`
	Built     int64  `json:"built" jsonschema:"bytes of the sections in it, with the padding between them"`
	Padding   int64  `json:"padding"`
	Stack     int64  `json:"stack" jsonschema:"bytes of sections for stack and heap, part of built"`
	Usable    int64  `json:"usable"`
	Room      int64  `json:"room" jsonschema:"bytes left for stack and heap that no section holds"`
	Verdict   string `json:"verdict" jsonschema:"agrees, differs or over"`
}

// BuiltPart is the symbols of one owner in one bank.
type BuiltPart struct {
	Bank      string  `json:"bank"`
	Owner     string  `json:"owner" jsonschema:"node, block, library, system or unexplained"`
	Name      string  `json:"name,omitempty"`
	Built     int64   `json:"built" jsonschema:"bytes"`
	Estimated float64 `json:"estimated,omitempty" jsonschema:"bytes of the node's data in all banks, or of code in flash"`
	Largest   string  `json:"largest" jsonschema:"its largest symbol"`
}

type reconcileOptions struct {
	overrides
	elf, mapped string
	baseline    string
	learn       string
	tolerance   string
	output      string
	force       bool
}

func (a *app) reconcileCommand() *cobra.Command {
	opts := reconcileOptions{tolerance: "10%"}
	cmd := &cobra.Command{
		Use:   "reconcile GRAPH (--elf PROGRAM | --map MAP)",
		Short: "Hold the estimate against the built program",
		Long: `Hold the estimate against the program that was built: its sections bank by bank,
its symbols by whose they are (a node or a block whose name stands in the
symbol's, the library, the system; 'symbols:' in the graph tells of others), and
what takes room for nothing: padding, tables that stand twice, printing and
double precision that slipped in.

--baseline takes a program without any node, or its map; what it takes is
written into a file that the graph can name under 'catalog:', and counted with.
--learn writes the same way what each node and block takes of the program, so
that the next estimate speaks of your code.

--map takes the map of a GNU linker in place of the program, also of one that
did not fit. It tells as much of functions and data that have a section each
(-ffunction-sections, -fdata-sections); the rest it names by the object file.

Exit status: 0 the build agrees, 1 a bank is over or differs, 2 wrong input.`,
		Example: `  $ elbowroom reconcile storm.yaml --elf storm.elf
  $ elbowroom reconcile storm.yaml --elf storm.elf --baseline empty.elf
  $ elbowroom reconcile storm.yaml --elf storm.elf --learn storm-bytes.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) != 1:
				return hinted{errors.New("reconcile needs one graph file"), "write 'elbowroom reconcile storm.yaml --elf storm.elf'"}
			case opts.elf == "" && opts.mapped == "":
				return hinted{errors.New("reconcile needs the built program"), "name the file that the linker wrote with --elf"}
			case opts.elf != "" && opts.mapped != "":
				return hinted{errors.New("--elf and --map tell of the same program"), "name the ELF file alone: it tells more"}
			case opts.mapped != "" && opts.learn != "":
				return hinted{errors.New("--learn reads sizes that a map does not tell"), "name the ELF file with --elf"}
			case opts.baseline != "" && opts.learn != "":
				return hinted{errors.New("--baseline and --learn write a file each"), "run reconcile once with either"}
			case opts.baseline == "" && opts.output != "":
				return hinted{errors.New("only with --baseline --output says where to write"), ""}
			case opts.baseline == "" && opts.learn == "" && opts.force:
				return hinted{errors.New("only with --baseline or --learn a file is written"), ""}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.answered(func(w io.Writer) error { return a.runReconcile(w, opts, args[0]) })
		},
	}
	opts.addFlags(cmd)
	f := cmd.Flags()
	f.StringVar(&opts.elf, "elf", "", "the linked program")
	f.StringVar(&opts.mapped, "map", "", "the GNU linker's map, in place of --elf")
	f.StringVar(&opts.baseline, "baseline", "", "a linked program without any node, or its map")
	f.StringVar(&opts.tolerance, "tolerance", opts.tolerance, "what a bank may be off the band of its estimate")
	f.StringVarP(&opts.output, "output", "o", "", "with --baseline, write here (system-BOARD.yaml beside the graph)")
	f.StringVar(&opts.learn, "learn", "", "write here what each node and block takes of the program")
	f.BoolVar(&opts.force, "force", false, "write over a file that is there already")
	a.formatFlag(cmd)
	return cmd
}

func (a *app) runReconcile(w io.Writer, opts reconcileOptions, name string) error {
	share, err := blocks.Parse(opts.tolerance, blocks.UnitRatio, blocks.Timebase{})
	if err != nil || share.Low != share.High || share.High < 0 {
		return hinted{fmt.Errorf("--tolerance %s: one share from 0 up is wanted", opts.tolerance), "write '5%'"}
	}
	file, err := readText(name, a.stdin)
	if err != nil {
		return err
	}
	c, err := a.estimateFile(file, name, opts.overrides)
	if err != nil {
		return err
	}
	if c.estimate == nil {
		return c.errs.Err()
	}
	if reconcile.CheckPatterns(c.estimate.Graph); c.errs.Len() > 0 {
		return c.errs.Err()
	}
	built, read := opts.elf, readProgram
	if opts.mapped != "" {
		built, read = opts.mapped, readMap
	}
	program, err := read(built)
	if err != nil {
		return err
	}
	text, wrote := "", opts.learn
	switch {
	case opts.baseline != "":
		empty, err := readEither(opts.baseline)
		if err != nil {
			return err
		}
		board := c.estimate.Graph.Board
		if wrote = opts.output; wrote == "" {
			wrote = filepath.Join(filepath.Dir(name), "system-"+board.Name+".yaml")
		}
		text = reconcile.System(board, empty)
	case opts.learn != "":
		if text, err = a.learn(file, name, opts, program); err != nil {
			return err
		}
	}
	if wrote != "" {
		if c, err = a.estimateAs(file, name, opts.overrides, false, source.NewFile(wrote, []byte(text))); err != nil {
			return err
		}
		if c.estimate == nil {
			return c.errs.Err()
		}
		if err := writeNew(wrote, text, opts.force); err != nil {
			return err
		}
	}
	r := reconciliation(c.name, built, c.estimate.Graph.Board.Name, reconcile.Compare(c.estimate, program, share.High))
	r.Wrote, r.Unnamed = wrote, int64(program.Unnamed)
	a.exit = r.Exit
	switch a.format {
	case asJSON:
		return printJSON(w, r)
	case asCSV:
		return reconciliationCSV(w, r)
	}
	return a.printDocument(w, reconciliationSections(r))
}

// learn is the file with what each node takes of a program, measured against the
// estimate without what was learned before.
func (a *app) learn(file *source.File, name string, opts reconcileOptions, program *reconcile.Program) (string, error) {
	c, err := a.estimateAs(file, name, opts.overrides, true, nil)
	if err != nil {
		return "", err
	}
	if c.estimate == nil {
		return "", c.errs.Err()
	}
	info, err := os.Stat(opts.elf)
	if err != nil {
		return "", fmt.Errorf("%s: %w", opts.elf, reason(err))
	}
	text, learned := reconcile.Learn(c.estimate, program, info.ModTime().Format(time.DateOnly))
	if learned == 0 {
		return "", hinted{fmt.Errorf("%s: no symbol of it belongs to a node", opts.elf), "name symbols as nodes are named, or write 'symbols: {NODE: PATTERN}' into the graph"}
	}
	return text, nil
}

// readProgram reads a linked program.
func readProgram(name string) (*reconcile.Program, error) {
	return readBuilt(name, reconcile.Read)
}

// readMap reads a linker's map.
func readMap(name string) (*reconcile.Program, error) {
	return readBuilt(name, mapIn)
}

// readEither reads a linked program or a linker's map, whichever a file is: only
// a map is text.
func readEither(name string) (*reconcile.Program, error) {
	return readBuilt(name, func(name string, file io.ReaderAt, size int64) (*reconcile.Program, error) {
		var head [64]byte
		n, err := file.ReadAt(head[:], 0)
		switch {
		case err != nil && !errors.Is(err, io.EOF):
			return nil, fmt.Errorf("%s: %w", name, reason(err))
		case bytes.IndexByte(head[:n], 0) >= 0:
			return reconcile.Read(name, file, size)
		}
		return mapIn(name, file, size)
	})
}

// mapIn reads a map of bounded size.
func mapIn(name string, file io.ReaderAt, size int64) (*reconcile.Program, error) {
	if size > reconcile.MaxMapBytes {
		return nil, fmt.Errorf("%s: this has %s, more than the %v that are read", name, blocks.Bytes(size).Down(), blocks.Bytes(reconcile.MaxMapBytes))
	}
	text := make([]byte, size)
	if _, err := io.ReadFull(io.NewSectionReader(file, 0, size), text); err != nil {
		return nil, fmt.Errorf("%s: %w", name, reason(err))
	}
	return reconcile.ReadMap(name, string(text))
}

// readBuilt reads a plain file that a linker wrote.
func readBuilt(name string, read func(string, io.ReaderAt, int64) (*reconcile.Program, error)) (*reconcile.Program, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s: there is no such file", name)
	case err != nil:
		return nil, fmt.Errorf("%s: %w", name, reason(err))
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s: this is no plain file", name)
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, reason(err))
	}
	defer file.Close()
	p, err := read(filepath.Base(name), file, info.Size())
	var no *reconcile.NotReadableError
	if errors.As(err, &no) {
		return nil, hinted{err, no.Hint}
	}
	return p, err
}

func reconciliation(file, program, board string, found *reconcile.Result) *Reconciliation {
	r := &Reconciliation{
		Version: reconciliationVersion, File: file, Program: program, Board: board, Explained: found.Explained, Waste: found.Waste,
		Banks: []BuiltBank{}, Groups: []BuiltPart{},
	}
	var over, differ string
	for i := range found.Banks {
		b := &found.Banks[i]
		if b.Built == 0 && b.Estimated.High <= 0 {
			continue
		}
		out := BuiltBank{
			Name: b.Name, Estimated: figure(b.Estimated), Built: int64(b.Built), Padding: int64(b.Padding), Stack: int64(b.Stack),
			Usable: int64(b.Usable), Room: int64(b.Room()), Verdict: "agrees",
		}
		words := fmt.Sprintf("%s holds %v and %v were estimated", b.Name, b.Built, blocks.Bytes(b.Estimated.Value))
		switch {
		case b.Over:
			out.Verdict = "over"
			if over == "" {
				over = fmt.Sprintf("%s holds %v, and %v are there", b.Name, b.Built, b.Usable)
			}
		case b.Differs:
			out.Verdict = "differs"
			if differ == "" {
				differ = words
			}
		}
		r.Banks = append(r.Banks, out)
	}
	for i := range found.Groups {
		g := &found.Groups[i]
		r.Groups = append(r.Groups, BuiltPart{g.Bank, string(g.Owner), g.Name, int64(g.Built), g.Estimated, g.Largest})
	}
	switch {
	case over != "":
		r.Sentence = fmt.Sprintf("%s does not fit %s: %s", program, board, over)
	case differ != "":
		r.Sentence = fmt.Sprintf("%s is not what %s lets expect: %s", program, file, differ)
	default:
		r.Sentence = fmt.Sprintf("%s agrees with %s in every bank of %s", program, file, board)
	}
	r.Sentence += fmt.Sprintf("; %s of its bytes are explained", blocks.Percent(r.Explained))
	if !found.Agrees {
		r.Exit = exitOver
	}
	return r
}

func reconciliationSections(r *Reconciliation) document {
	d := document{{text: r.Sentence + ".", tone: map[int]string{exitFits: "fits", exitOver: "over"}[r.Exit]}}
	t := &table{align: "lrrrrl", header: []string{"bank", "estimated", "at most", "built", "left", "verdict"}}
	for i := range r.Banks {
		b := &r.Banks[i]
		most := ""
		if !b.Estimated.exact() {
			most = whole(up(b.Estimated.High))
		}
		t.add(b.Name, whole(b.Estimated.Value), most, whole(float64(b.Built)), whole(float64(b.Room)), b.Verdict)
	}
	d = append(d, section{title: "Bytes bank by bank", table: t, after: "What is left is the room for stack and heap that no section holds."})
	g := &table{align: "lllrrl", header: []string{"bank", "whose", "name", "built", "estimated", "largest"}}
	for i := range r.Groups {
		if i == mostPlaces {
			break
		}
		p := &r.Groups[i]
		estimated := ""
		if p.Estimated > 0 {
			estimated = whole(p.Estimated)
		}
		g.add(p.Bank, p.Owner, p.Name, whole(float64(p.Built)), estimated, clipped(p.Largest))
	}
	s := section{title: "Bytes by whose they are", table: g}
	if more := len(r.Groups) - mostPlaces; more > 0 {
		s.after = fmt.Sprintf("There are %s more, which '--format json' has.", counted(more, "group"))
	}
	d = append(d, s)
	if r.Unnamed > 0 {
		d = append(d, section{text: fmt.Sprintf("Of %s the map tells only the object file. Compiled with -ffunction-sections and -fdata-sections it tells more, and the ELF file tells most.", amountOver(blocks.Bytes(r.Unnamed)))})
	}
	if len(r.Waste) > 0 {
		d = append(d, section{title: "What takes room for nothing", items: r.Waste})
	}
	if r.Wrote != "" {
		d = append(d, section{text: fmt.Sprintf("Wrote %s. Name it in the graph: 'catalog: %s'.", r.Wrote, filepath.Base(r.Wrote))})
	}
	return d
}

// reconciliationCSV writes banks and groups, one a row.
func reconciliationCSV(w io.Writer, r *Reconciliation) error {
	out := csv.NewWriter(w)
	exact := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	rows := [][]string{{"section", "bank", "owner", "name", "built", "estimated", "low", "high", "usable", "text"}}
	rows = append(rows, []string{"verdict", "", "", r.Program, "", "", "", "", "", r.Sentence})
	for i := range r.Banks {
		b := &r.Banks[i]
		rows = append(rows, []string{"bank", b.Name, "", "", strconv.FormatInt(b.Built, 10), exact(b.Estimated.Value), exact(b.Estimated.Low), exact(b.Estimated.High), strconv.FormatInt(b.Usable, 10), b.Verdict})
	}
	for i := range r.Groups {
		g := &r.Groups[i]
		rows = append(rows, []string{"group", g.Bank, g.Owner, g.Name, strconv.FormatInt(g.Built, 10), exact(g.Estimated), "", "", "", g.Largest})
	}
	for _, text := range r.Waste {
		rows = append(rows, []string{"waste", "", "", "", "", "", "", "", "", text})
	}
	return out.WriteAll(rows)
}
