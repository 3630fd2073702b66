package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// splitOptions are the flags of split; each names two things, with a comma.
type splitOptions struct {
	overrides
	boards, write []string
}

func (a *app) splitCommand() *cobra.Command {
	var opts splitOptions
	cmd := &cobra.Command{
		Use:   "split GRAPH --boards A,B",
		Short: "Spread a graph over two boards",
		Long: `Find which nodes of a graph go on which of two boards, joined by cables from
jack to jack: of the cuts with which each board holds its side, the one with
fewest cables, and of these the one that loads the busier board least. A cable
carries one channel of audio, one control value or one gate; what it takes on
either side, the nodes at its ends and the time of the converters, is counted
in. The voices of a group stay together.

Boards are named as in a graph file. --write makes a graph file of each side.`,
		Example: `  $ elbowroom split --boards m7-300-384k,m4f-168-192k storm.yaml
  $ elbowroom split --boards m7-300-384k,m4f-168-192k --write left.yaml,right.yaml storm.yaml`,
	}
	cmd.Flags().Var(wordsOf(&opts.boards), "boards", "the two `boards`, A,B; a board may stand twice")
	cmd.Flags().Var(wordsOf(&opts.write), "write", "write each side into a `file` of its own, A.yaml,B.yaml")
	a.question(cmd, &opts.overrides, func(w io.Writer, c *checked) error {
		if err := opts.check(); err != nil {
			return err
		}
		s, err := ask.SplitOver(c.estimate, [2]string(opts.boards))
		var refused *ask.RefusedError
		if errors.As(err, &refused) {
			hint := source.DidYouMean(refused.Board, c.lib.BoardNames())
			if hint == "" {
				hint = "'elbowroom boards' lists them"
			}
			return hinted{fmt.Errorf("--boards: %w", err), hint}
		}
		if err != nil {
			return err
		}
		r := splitReport(c.name, s)
		if len(opts.write) > 0 {
			if err := a.writeSides(r, s, opts.write); err != nil {
				return err
			}
		}
		return a.tell(w, r, r.rows(), r.document())
	})
	return cmd
}

// check refuses what cannot stand together.
func (o *splitOptions) check() error {
	switch {
	case len(o.boards) == 0:
		return hinted{errors.New("split needs two boards"), "write '--boards A,B'; 'elbowroom boards' lists them"}
	case len(o.boards) != 2:
		return hinted{fmt.Errorf("--boards names %s, and a graph is split over two", counted(len(o.boards), "board")), "write '--boards A,B'"}
	case o.board.given:
		return hinted{errors.New("--board and --boards both choose boards"), "leave --board out"}
	case len(o.write) != 0 && len(o.write) != 2:
		return hinted{fmt.Errorf("--write names %s, and there are two sides", counted(len(o.write), "file")), "write '--write A.yaml,B.yaml'"}
	case len(o.write) == 2 && o.write[0] == o.write[1]:
		return hinted{errors.New("--write names the same file twice"), "write '--write A.yaml,B.yaml'"}
	case len(o.write) != 0 && (o.sampleRate.given || o.blockSize.given):
		return hinted{errors.New("--write writes what the file says, and a flag says otherwise"), "write sample rate and block size into the file first"}
	}
	return nil
}

// SplitReport is how a graph goes on two boards. Every format prints from it.
type SplitReport struct {
	Version  int           `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	File     string        `json:"file"`
	Sentence string        `json:"sentence"`
	Found    bool          `json:"found" jsonschema:"both boards hold their side; otherwise sides and cables are of the cut that misses by least"`
	Cables   int           `json:"cables"`
	Later    float64       `json:"later" jsonschema:"seconds by which what is heard comes later at most"`
	Fewest   int           `json:"fewest" jsonschema:"cables that any cut needs at least with which both boards hold their side, as far as it is proven"`
	Proven   bool          `json:"proven" jsonschema:"no cut with fewer cables holds, and none with as many loads the busier board less; where nothing was found, no cut holds"`
	Alone    []string      `json:"alone,omitempty" jsonschema:"boards that hold the whole graph"`
	Sides    []SplitSide   `json:"sides"`
	Sends    []Cable       `json:"sends"`
	Tied     []SplitReason `json:"tied,omitempty" jsonschema:"outputs that no jack carries"`
	Unfit    []SplitReason `json:"unfit,omitempty" jsonschema:"nodes and groups that neither board holds"`
	Written  []WrittenSide `json:"written,omitempty"`
}

// SplitSide is what goes on one board.
type SplitSide struct {
	Side    string    `json:"side" jsonschema:"A or B, in the order of --boards"`
	Board   string    `json:"board"`
	Nodes   []string  `json:"nodes" jsonschema:"nodes and groups"`
	Verdict string    `json:"verdict" jsonschema:"fits, tight, unsure or over"`
	Load    float64   `json:"load" jsonschema:"share of the cycles that the worst block takes at most"`
	Scarce  string    `json:"scarcest" jsonschema:"memory (all banks for data together), flash, or a bank that does not fit"`
	Share   float64   `json:"scarcest_share" jsonschema:"of it that is taken at most"`
	Left    int64     `json:"scarcest_left" jsonschema:"bytes of it that are left at least"`
	Against []Against `json:"against,omitempty" jsonschema:"what does not fit or is unsure"`
}

// Cable is an output that goes to the other board; one cable for each jack.
type Cable struct {
	Output string   `json:"output" jsonschema:"as the graph writes it"`
	From   string   `json:"from" jsonschema:"the side that it comes from, A or B"`
	To     string   `json:"to"`
	Kind   string   `json:"kind" jsonschema:"audio, control or event"`
	Jacks  int      `json:"jacks"`
	Send   string   `json:"send" jsonschema:"the node added where it leaves"`
	Return string   `json:"return" jsonschema:"the node added where it arrives"`
	Reads  []string `json:"reads" jsonschema:"what reads it there"`
	Later  float64  `json:"later" jsonschema:"seconds: of audio exactly, of others at most"`
	Loop   bool     `json:"loop" jsonschema:"it is part of a loop, which takes so much longer"`
}

// SplitReason is why an output cannot cross, or a node goes nowhere.
type SplitReason struct {
	Name string `json:"name"`
	Why  string `json:"why"`
}

// WrittenSide is a file that was written.
type WrittenSide struct {
	Side string `json:"side"`
	File string `json:"file"`
}

var sideNames = [2]string{"A", "B"}

func splitReport(file string, s *ask.Split) *SplitReport {
	rate := float64(s.Estimate.Graph.SampleRate)
	r := &SplitReport{
		Version: reportVersion, File: file, Found: s.Found, Cables: s.Jacks, Later: s.Later / rate, Fewest: s.Fewest, Proven: s.Proven,
		Sides: []SplitSide{}, Sends: []Cable{},
	}
	for k, alone := range s.Alone {
		if alone && !slices.Contains(r.Alone, s.Boards[k]) {
			r.Alone = append(r.Alone, s.Boards[k])
		}
	}
	for k, side := range s.Sides {
		e, scarce := side.After, ask.Scarcest(side.After)
		cpu := e.Resource("cpu")
		out := SplitSide{Side: sideNames[k], Board: side.Board, Nodes: side.Names, Verdict: e.Verdict.String(), Load: cpu.Share(),
			Scarce: scarce.Name, Share: scarce.Share, Left: int64(scarce.Left)}
		for _, res := range e.Resources {
			if res.Verdict > estimator.Tight {
				out.Against = append(out.Against, against(&res))
			}
		}
		r.Sides = append(r.Sides, out)
	}
	for _, send := range s.Sends {
		r.Sends = append(r.Sends, Cable{Output: send.Output, From: sideNames[send.From], To: sideNames[1-send.From], Kind: send.Kind.String(),
			Jacks: send.Jacks, Send: send.Out, Return: send.In, Reads: send.To, Later: send.Samples / rate, Loop: send.Loop})
	}
	for _, t := range s.Tied {
		r.Tied = append(r.Tied, SplitReason(t))
	}
	for _, u := range s.Unfit {
		r.Unfit = append(r.Unfit, SplitReason(u))
	}
	r.Sentence = r.sentence(s.Boards)
	return r
}

func (r *SplitReport) sentence(boards [2]string) string {
	over := fmt.Sprintf("%s and %s", boards[0], boards[1])
	switch {
	case r.Found && r.Cables == 0:
		return fmt.Sprintf("%s goes on %s without a cable between them", r.File, over)
	case r.Found && r.Later == 0:
		return fmt.Sprintf("%s goes on %s with %s, and nothing that is heard comes later", r.File, over, counted(r.Cables, "cable"))
	case r.Found:
		return fmt.Sprintf("%s goes on %s with %s, and what is heard comes at most %s later", r.File, over, counted(r.Cables, "cable"), blocks.Seconds(r.Later))
	case r.Proven:
		return fmt.Sprintf("no cut of %s lets both %s hold their side", r.File, over)
	}
	return fmt.Sprintf("no cut of %s was found that lets both %s hold their side", r.File, over)
}

// proof tells what is known of better cuts.
func (r *SplitReport) proof() string {
	switch {
	case r.Found && r.Proven:
		return "No cut that holds needs fewer cables, and none with as many loads the busier board less."
	case r.Found && r.Fewest == r.Cables:
		return "No cut that holds needs fewer cables; not all with as many were tried, and another may load the busier board less."
	case r.Found:
		return fmt.Sprintf("Not all cuts were tried: another may do with fewer cables, but not with fewer than %d.", r.Fewest)
	case r.Proven:
		return "All cuts were looked at, with as many cables as the boards have jacks for."
	}
	return fmt.Sprintf("Not all cuts were tried; one that holds needs at least %s.", counted(r.Fewest, "cable"))
}

func (r *SplitReport) rows() *table {
	t := &table{header: []string{"file", "section", "name", "side", "to", "kind", "jacks", "later", "verdict", "load", "text"}}
	t.add(r.File, "verdict", "", "", "", "", fmt.Sprint(r.Cables), plain(r.Later), fmt.Sprint(r.Found), "", r.Sentence)
	for _, s := range r.Sides {
		t.add(r.File, "board", s.Board, s.Side, "", "", "", "", s.Verdict, plain(s.Load), s.because())
		for _, n := range s.Nodes {
			t.add(r.File, "node", n, s.Side, "", "", "", "", "", "", "")
		}
	}
	for _, c := range r.Sends {
		t.add(r.File, "send", c.Output, c.From, c.To, c.Kind, fmt.Sprint(c.Jacks), plain(c.Later), "", "", c.Send+" "+c.Return)
	}
	for _, o := range r.Unfit {
		t.add(r.File, "unfit", o.Name, "", "", "", "", "", "", "", o.Why)
	}
	for _, o := range r.Tied {
		t.add(r.File, "tied", o.Name, "", "", "", "", "", "", "", o.Why)
	}
	return t
}

// because tells what does not fit a side.
func (s *SplitSide) because() string {
	c := Candidate{Against: s.Against}
	return c.because()
}

// document is the answer for people.
func (r *SplitReport) document() document {
	d := document{{text: r.Sentence + "."}}
	if !r.Found {
		d[0].text = capital(r.Sentence)
	}
	if len(r.Sides) > 0 {
		title := "What goes where"
		if !r.Found {
			title = "The cut that misses by least"
		}
		t := &table{align: "lllrrl", header: []string{"side", "board", "verdict", "worst block", "left", "of"}}
		nodes := section{}
		for i := range r.Sides {
			s := &r.Sides[i]
			t.add(s.Side, s.Board, s.Verdict, blocks.Percent(s.Load), blocks.Bytes(s.Left).Down(), s.Scarce)
			text := s.Side + ": " + strings.Join(s.Nodes, ", ")
			if why := s.because(); why != "" {
				text += "; against it: " + why
			}
			nodes.items = append(nodes.items, text)
		}
		d = append(d, section{title: title, table: t}, nodes)
	}
	if len(r.Sends) > 0 {
		d = append(d, r.cables()...)
	}
	d = append(d, section{items: r.notes()})
	return d
}

// cables are what goes from board to board.
func (r *SplitReport) cables() document {
	t := &table{align: "llrrll", header: []string{"output", "carries", "cables", "later", "leaves by", "arrives at"}}
	for _, c := range r.Sends {
		later := blocks.Seconds(c.Later).String()
		if c.Kind != blocks.Audio.String() {
			later = "≤ " + later
		}
		t.add(c.Output, carries[c.Kind], fmt.Sprint(c.Jacks), later, c.From+": "+c.Send, c.To+": "+c.Return)
	}
	return document{{title: "Cables", table: t}}
}

// carries names what a cable carries, by its kind.
var carries = map[string]string{blocks.Audio.String(): "audio", blocks.Control.String(): "voltage", blocks.Event.String(): "gate"}

// notes are what else there is to know.
func (r *SplitReport) notes() []string {
	notes := []string{r.proof()}
	for _, board := range r.Alone {
		notes = append(notes, fmt.Sprintf("%s would hold the whole graph alone.", board))
	}
	var names []string
	sum := 0.0
	for _, c := range r.Sends {
		if c.Loop {
			names = append(names, c.Output)
			sum += c.Later
		}
	}
	if len(names) > 0 {
		notes = append(notes, fmt.Sprintf("A loop is cut at %s: it takes up to %s longer round, which moves what it tunes or times.", strings.Join(names, " and "), blocks.Seconds(sum)))
	}
	for _, c := range r.Sends {
		if c.Kind == blocks.Audio.String() {
			notes = append(notes, "Audio on a cable is held within full scale; set the levels so that none is clipped.")
			break
		}
	}
	for _, o := range r.Unfit {
		notes = append(notes, fmt.Sprintf("%s goes on neither board: %s.", o.Name, o.Why))
	}
	for _, o := range r.Tied {
		notes = append(notes, fmt.Sprintf("%s stays with what reads it: %s.", o.Name, o.Why))
	}
	for _, w := range r.Written {
		notes = append(notes, fmt.Sprintf("Wrote side %s into %s.", w.Side, w.File))
	}
	return notes
}

// writeSides writes each side as a graph file. Each is read again first and must
// give what was promised; a file that is there already stays as it is.
func (a *app) writeSides(r *SplitReport, s *ask.Split, names []string) error {
	if !s.Found {
		return hinted{fmt.Errorf("--write: %s", r.Sentence), "'elbowroom lighten' finds what could be given up"}
	}
	var texts []string
	for k, name := range names {
		if _, err := os.Lstat(name); err == nil {
			return hinted{fmt.Errorf("%s is there already and stays as it is", name), "give another name"}
		} else if !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s: %w", name, reason(err))
		}
		edited, err := s.Estimate.Graph.File.Edit(s.Sides[k].Edits...)
		if err != nil {
			return err
		}
		file := source.NewFile(name, []byte(edited.Text()))
		again, err := a.estimateFile(file, name, overrides{})
		if err != nil {
			return err
		}
		if again.estimate == nil {
			return again.errs.Err()
		}
		if !alikeEstimates(again.estimate, s.Sides[k].After) {
			return fmt.Errorf("%s would not give what is promised, so nothing is written", name)
		}
		texts = append(texts, edited.Text())
	}
	for k, name := range names {
		if err := writeFile(name, []byte(texts[k]), 0o644); err != nil {
			return err
		}
		r.Written = append(r.Written, WrittenSide{sideNames[k], name})
	}
	return nil
}
