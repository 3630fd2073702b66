package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// delaysOptions are the flags of delays.
type delaysOptions struct {
	overrides
	node, tempo, clock      string
	plot                    string
	times, notes, divisions []string
	formats, channels       []string
}

func (a *app) delaysCommand() *cobra.Command {
	opts := delaysOptions{formats: []string{"float32", "int16"}, channels: []string{"1"}}
	cmd := &cobra.Command{
		Use:   "delays [GRAPH]",
		Short: "Tell what delays take and how long they can be",
		Long: `Tell what a delay takes of the memory: its bytes, what stays free of each bank
that it could lie in, how long the processor waits for it there; and the longest
delay that each bank still holds, to the sample, with the slowest tempo at which
a note fits into it.

Without GRAPH the board named by --board is empty. With GRAPH the delay comes
beside all that is there, or takes the place of the one that --node names.
Lengths are --times, or --notes at the slowest tempo, or --divisions of a clock,
which is one beat at the slowest tempo unless --clock says how long it is at
most. --sample-rate, --sample-format and --channels take several.`,
		Example: `  $ elbowroom delays --board m7-480-sdram --notes 1/8,1/4,3/8 --tempo 60..140
  $ elbowroom delays storm.yaml --node echo --times 350ms,1s`,
	}
	opts.addFlags(cmd)
	f := cmd.Flags()
	f.Lookup("sample-rate").Usage = "take these sample rates (44.1 kHz,48 kHz) instead of the graph's"
	f.StringVar(&opts.node, "node", "", "change this `delay` of the graph")
	f.Var(wordsOf(&opts.times), "times", "`lengths`: 100ms,1s")
	f.Var(wordsOf(&opts.notes), "notes", "`note values`: 1/8,1/4,3/8")
	f.Var(wordsOf(&opts.divisions), "divisions", "`numbers` that a clock is divided by: 1,2,3,4")
	f.StringVar(&opts.tempo, "tempo", "", "`beats` a minute, one or a range (60..140), instead of the graph's")
	f.StringVar(&opts.clock, "clock", "", "longest `period` of the clock that --divisions divides")
	f.Var(wordsOf(&opts.formats), "sample-format", "`how` a sample is kept")
	f.Var(wordsOf(&opts.channels), "channels", "`numbers` of channels of the delay")
	a.formatFlag(cmd)
	cmd.Args = cobra.MaximumNArgs(1)
	drawing := plotFlag(cmd)
	watch := watchFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		opts.plot = *drawing
		return a.answer(cmd, *watch, args, func(w io.Writer) error { return a.runDelays(cmd.Context(), w, opts, args) })
	}
	return cmd
}

// emptyBoard is a graph of nothing: what comes in costs nothing.
const emptyBoard = `sample_rate: 48 kHz
block_size: 48
nodes: {nothing: {block: own-code, outputs: {out: audio}}}
`

func (a *app) runDelays(ctx context.Context, w io.Writer, opts delaysOptions, args []string) error {
	rates := strings.Split(opts.sampleRate.text, ",")
	opts.sampleRate.text = rates[0]
	var c *checked
	var err error
	switch {
	case len(args) > 0:
		c, err = a.estimate(args[0], opts.overrides)
	case opts.board.given:
		c, err = a.estimateFile(source.NewFile("the empty board", []byte(emptyBoard)), standardInput, opts.overrides)
	default:
		err = hinted{errors.New("delays needs a graph file or a board"), "'elbowroom delays --board NAME' asks about an empty board"}
	}
	if err != nil {
		return err
	}
	if c.estimate == nil {
		return c.errs.Err()
	}
	q, err := opts.question(c.estimate.Graph, rates)
	if err != nil {
		return err
	}
	answer, err := ask.Delays(ctx, c.estimate, q)
	if err != nil {
		return hinted{err, hintOf(err)}
	}
	name := c.name
	if len(args) == 0 {
		name = ""
	}
	r := delaysReport(name, q, answer)
	if err := plot(opts.plot, r.picture()); err != nil {
		return err
	}
	return a.tell(w, r, r.rows(), r.document())
}

// Lengths that are asked about where none are: common practice, slapback to long
// echo, and the notes of a bar.
var (
	usualTimes = []string{"100 ms", "250 ms", "500 ms", "1 s", "2 s"}
	usualNotes = []string{"1/16", "1/8", "1/4", "3/8", "1/2", "1/1"}
)

// question reads what the flags ask about.
func (o *delaysOptions) question(g *estimator.Graph, rates []string) (ask.DelayQuestion, error) {
	q := ask.DelayQuestion{Node: o.node, Tempo: g.Tempo, Notes: o.notes}
	refused := func(flag string, err error) (ask.DelayQuestion, error) {
		return q, hinted{fmt.Errorf("--%s: %w", flag, err), hintOf(err)}
	}
	base := blocks.Timebase{SampleRate: g.SampleRate}
	if o.tempo != "" {
		text := o.tempo
		if !strings.Contains(text, "bpm") {
			text += " bpm"
		}
		tempo, err := blocks.Parse(text, blocks.UnitTempo, base)
		if err != nil {
			return refused("tempo", err)
		}
		q.Tempo = tempo
	}
	times, notes := o.times, o.notes
	if len(times)+len(notes)+len(o.divisions) == 0 {
		if times = usualTimes; q.Tempo.Low > 0 {
			times, notes = nil, usualNotes
		}
	}
	for _, text := range times {
		span, err := blocks.Parse(text, blocks.UnitTime, base)
		if err != nil {
			return refused("times", err)
		}
		q.Lengths = append(q.Lengths, ask.Length{Text: text, Seconds: span.High})
	}
	if len(notes)+len(o.divisions) > 0 && q.Tempo.Low == 0 && (len(notes) > 0 || o.clock == "") {
		return q, hinted{errors.New("beats have no length: no tempo is given"), "write '--tempo 60..140'"}
	}
	lengths, err := ask.Notes(notes, q.Tempo)
	if err != nil {
		return refused("notes", err)
	}
	q.Lengths = append(q.Lengths, lengths...)
	if q.Notes == nil && q.Tempo.Low > 0 {
		q.Notes = []string{"1/4", "1/1"}
	}
	if len(o.divisions) > 0 {
		lengths, err := o.divide(q.Tempo)
		if err != nil {
			return refused("divisions", err)
		}
		q.Lengths = append(q.Lengths, lengths...)
	}
	for _, rate := range rates {
		hertz := float64(g.SampleRate)
		if rate != "" {
			span, err := blocks.Parse(rate, blocks.UnitFrequency, base)
			if err != nil {
				return refused("sample-rate", err)
			}
			hertz = span.High
		}
		for _, channels := range o.channels {
			n, err := strconv.Atoi(channels)
			if err != nil || n < 1 {
				return refused("channels", fmt.Errorf("'%s' is no number of channels", channels))
			}
			for _, format := range o.formats {
				q.Lines = append(q.Lines, ask.Line{Format: format, Channels: n, Rate: blocks.Hertz(hertz)})
			}
		}
	}
	return q, nil
}

// divide reads the divisions of the clock.
func (o *delaysOptions) divide(tempo blocks.Span) ([]ask.Length, error) {
	period := 0.0
	if o.clock != "" {
		span, err := blocks.Parse(o.clock, blocks.UnitTime, blocks.Timebase{Tempo: tempo})
		if err != nil {
			return nil, err
		}
		period = span.High
	} else {
		beat, err := ask.Notes([]string{"1/4"}, tempo)
		if err != nil {
			return nil, err
		}
		period = beat[0].Seconds
	}
	var by []int
	for _, text := range o.divisions {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			return nil, fmt.Errorf("'%s' is no number to divide a clock by", text)
		}
		by = append(by, n)
	}
	return ask.Divisions(period, by), nil
}

// DelaysReport is what delays found out. Every format prints from it.
type DelaysReport struct {
	Version  int       `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	File     string    `json:"file,omitempty" jsonschema:"left out of an empty board"`
	Board    string    `json:"board"`
	Node     string    `json:"node,omitempty" jsonschema:"the delay of the graph that changes; left out of one more beside all that is there"`
	Sentence string    `json:"sentence"`
	Tempo    []float64 `json:"tempo,omitempty" jsonschema:"beats a minute, slowest and fastest"`
	Lengths  []Held    `json:"lengths"`
	Longest  []Longest `json:"longest"`

	banks, notes []string
}

// Kept is how a delay is kept.
type Kept struct {
	Format   string  `json:"format" jsonschema:"of a sample"`
	Channels int     `json:"channels"`
	Rate     float64 `json:"sample_rate" jsonschema:"hertz"`
}

// Held is what a delay of one length takes.
type Held struct {
	Kept
	Length  string  `json:"length"`
	Seconds float64 `json:"seconds"`
	Samples int     `json:"samples" jsonschema:"a channel"`
	Bytes   int64   `json:"bytes" jsonschema:"of the whole line"`
	Banks   []Room  `json:"banks"`
	Refusal string  `json:"refusal,omitempty" jsonschema:"why there is no such delay"`
}

// Room is what a delay does to a bank that it lies in.
type Room struct {
	Bank      string `json:"bank"`
	Fits      bool   `json:"fits"`
	Left      int64  `json:"left" jsonschema:"bytes that stay free of the bank; below zero what is missing"`
	Stalls    Figure `json:"stalls" jsonschema:"cycles a block that the delay waits for memory; modelled"`
	StoppedBy string `json:"stopped_by,omitempty" jsonschema:"the resource that does not fit"`
}

// Longest is the longest delay that a bank still holds.
type Longest struct {
	Kept
	Bank      string   `json:"bank"`
	Samples   int      `json:"samples" jsonschema:"0: not even a block"`
	Seconds   float64  `json:"seconds"`
	Bytes     int64    `json:"bytes"`
	Beats     float64  `json:"beats,omitempty" jsonschema:"at the slowest tempo"`
	Tempos    []AtNote `json:"tempos,omitempty"`
	StoppedBy string   `json:"stopped_by" jsonschema:"the resource that one sample more does not fit, 'range' or 'refused'"`
	Refusal   string   `json:"refusal,omitempty"`
}

// AtNote is the slowest tempo at which a note value fits.
type AtNote struct {
	Note  string  `json:"note"`
	Tempo float64 `json:"slowest_tempo" jsonschema:"beats a minute; 0: at none"`
}

func kept(l ask.Line) Kept { return Kept{l.Format, l.Channels, float64(l.Rate)} }

func delaysReport(file string, q ask.DelayQuestion, a *ask.DelayAnswer) *DelaysReport {
	r := &DelaysReport{
		Version: reportVersion, File: file, Board: a.Estimate.Graph.Board.Name, Node: q.Node,
		Lengths: []Held{}, Longest: []Longest{}, banks: a.Banks, notes: q.Notes,
	}
	if q.Tempo.Low > 0 {
		r.Tempo = []float64{q.Tempo.Low, q.Tempo.High}
	}
	for _, h := range a.Held {
		out := Held{Kept: kept(h.Line), Length: h.Text, Seconds: h.Seconds, Samples: h.Samples, Bytes: int64(h.Bytes), Banks: []Room{}, Refusal: h.Refusal}
		for i, room := range h.Rooms {
			rm := Room{Bank: a.Banks[i], Fits: room.Fits, Left: int64(room.Left), Stalls: figure(room.Stalls)}
			if room.Stop != nil {
				rm.StoppedBy = room.Stop.Name
			}
			out.Banks = append(out.Banks, rm)
		}
		r.Lengths = append(r.Lengths, out)
	}
	for _, l := range a.Longest {
		out := Longest{Kept: kept(l.Line), Bank: l.Bank, Samples: l.Samples, Seconds: l.Seconds, Bytes: int64(l.Bytes), Beats: l.Beats}
		for i, tempo := range l.Tempos {
			out.Tempos = append(out.Tempos, AtNote{q.Notes[i], tempo})
		}
		out.StoppedBy, out.Refusal = stoppedBy(l.Stop)
		r.Longest = append(r.Longest, out)
	}
	r.Sentence = r.most()
	return r
}

// most tells the longest delay of all.
func (r *DelaysReport) most() string {
	longest := slices.MaxFunc(r.Longest, func(a, b Longest) int { return int(a.Seconds*1e6) - int(b.Seconds*1e6) })
	none := longest.Samples == 0
	var beside string
	switch {
	case r.Node != "" && none:
		return fmt.Sprintf("for %s of %s no length fits %s", r.Node, r.File, r.Board)
	case r.Node != "":
		beside = fmt.Sprintf("%s can hold for %s of %s", r.Board, r.Node, r.File)
	case r.File != "" && none:
		return fmt.Sprintf("beside %s no delay of any length fits %s", r.File, r.Board)
	case r.File != "":
		beside = fmt.Sprintf("%s still holds beside %s", r.Board, r.File)
	case none:
		return "no delay of any length fits " + r.Board + ", even empty"
	default:
		beside = r.Board + " holds empty"
	}
	return fmt.Sprintf("the longest delay that %s is %s of %s in %s", beside, blocks.Seconds(longest.Seconds), r.line(longest.Kept), longest.Bank)
}

// line names how a delay is kept.
func (r *DelaysReport) line(k Kept) string {
	return fmt.Sprintf("%s, %s at %s", k.Format, counted(k.Channels, "channel"), blocks.Hertz(k.Rate))
}

func (r *DelaysReport) rows() *table {
	t := &table{header: []string{
		"file", "section", "length", "format", "channels", "sample_rate", "seconds", "samples", "bytes", "bank", "fits", "left", "stalls", "stopped_by", "refusal", "beats",
	}}
	for _, note := range r.notes {
		t.header = append(t.header, "slowest_tempo "+note)
	}
	add := func(cells ...string) {
		t.add(append(cells, make([]string, len(t.header)-len(cells))...)...)
	}
	for _, h := range r.Lengths {
		if h.Refusal != "" {
			add(r.File, "length", h.Length, h.Format, fmt.Sprint(h.Channels), plain(h.Rate), plain(h.Seconds), "", "", "", "false", "", "", stoppedByRefusal, h.Refusal)
		}
		for _, b := range h.Banks {
			add(r.File, "length", h.Length, h.Format, fmt.Sprint(h.Channels), plain(h.Rate), plain(h.Seconds), fmt.Sprint(h.Samples), fmt.Sprint(h.Bytes),
				b.Bank, fmt.Sprint(b.Fits), fmt.Sprint(b.Left), plain(b.Stalls.Value), b.StoppedBy)
		}
	}
	for _, l := range r.Longest {
		cells := []string{r.File, "longest", "", l.Format, fmt.Sprint(l.Channels), plain(l.Rate), plain(l.Seconds), fmt.Sprint(l.Samples), fmt.Sprint(l.Bytes),
			l.Bank, fmt.Sprint(l.Samples > 0), "", "", l.StoppedBy, l.Refusal, plain(l.Beats)}
		for _, n := range l.Tempos {
			cells = append(cells, plain(n.Tempo))
		}
		add(cells...)
	}
	return t
}

// document is the answer for people.
func (r *DelaysReport) document() document {
	d := document{{text: capital(r.Sentence)}}
	first := r.Longest[0].Kept
	several := slices.ContainsFunc(r.Longest, func(l Longest) bool { return l.Channels != first.Channels || l.Rate != first.Rate })
	// What all rows share stands in the title.
	shared := fmt.Sprintf("%s at %s", counted(first.Channels, "channel"), blocks.Hertz(first.Rate))
	if several {
		shared = "by sample rate and channels"
	}
	keep := func(k Kept) []string {
		if several {
			return []string{k.Format, fmt.Sprint(k.Channels), blocks.Hertz(k.Rate).String()}
		}
		return []string{k.Format}
	}
	align, header := "l", []string{"kept as"}
	if several {
		align, header = "lrr", []string{"kept as", "ch", "rate"}
	}
	left := &table{align: "lr" + align + "r", header: append(append([]string{"length", "time"}, header...), "bytes")}
	var free, waits [][]string
	var refused []string
	waiting := false
	for _, h := range r.Lengths {
		row := append(append([]string{h.Length, blocks.Seconds(h.Seconds).String()}, keep(h.Kept)...), whole(float64(h.Bytes)))
		if h.Refusal != "" {
			row[len(row)-1] = stoppedByRefusal
			if !slices.Contains(refused, h.Refusal) {
				refused = append(refused, h.Refusal)
			}
		}
		left.add(row...)
		f, w := make([]string, len(r.banks)), make([]string, len(r.banks))
		for i, b := range h.Banks {
			f[i], w[i] = blocks.Bytes(b.Left).Down(), whole(up(b.Stalls.Value)+0)
			if !b.Fits && b.Left >= 0 {
				f[i] = "no: " + b.StoppedBy
			}
			waiting = waiting || b.Fits && b.Stalls.Value > 0
			if !b.Fits {
				w[i] = ""
			}
		}
		free, waits = append(free, f), append(waits, w)
	}
	d = append(d, sideBySide("Left of each bank with it there, below zero what is missing; "+shared, left, r.banks, free)...)
	if len(refused) > 0 {
		d[len(d)-1].after = "Refused: " + strings.Join(refused, "; ")
	}
	if waiting {
		d = append(d, sideBySide("Cycles of a block that it waits for memory there (modelled)", &table{align: left.align, header: left.header, rows: left.rows}, r.banks, waits)...)
	}
	longest := &table{align: "l" + align + "rr", header: append(append([]string{"bank"}, header...), "longest", "samples")}
	var headers []string
	if r.Tempo != nil {
		headers = append(headers, fmt.Sprintf("beats at %g", r.Tempo[0]))
	}
	for _, note := range r.notes {
		headers = append(headers, note+" from")
	}
	headers = append(headers, "ends at")
	var ends [][]string
	for _, l := range r.Longest {
		row, more := append([]string{l.Bank}, keep(l.Kept)...), []string{}
		if l.Samples == 0 {
			row = append(row, "none", "")
		} else {
			row = append(row, blocks.Seconds(l.Seconds).String(), whole(float64(l.Samples)))
		}
		if r.Tempo != nil {
			more = append(more, fmt.Sprintf("%.4g", l.Beats))
		}
		for i := range r.notes {
			more = append(more, bpm(l.Tempos[i].Tempo))
		}
		longest.add(row...)
		ends = append(ends, append(more, l.StoppedBy))
	}
	parts := sideBySide("The longest that each bank holds; "+shared, longest, headers, ends)
	if len(r.notes) > 0 {
		parts[len(parts)-1].after = "A note fits from that tempo on, in beats a minute."
	}
	return append(d, parts...)
}

// bpm is a tempo rounded up; none where nothing fits at any.
func bpm(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
