package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

func (a *app) sweepCommand() *cobra.Command {
	var opts overrides
	var over []string
	cmd := &cobra.Command{
		Use:   "sweep GRAPH",
		Short: "Try a grid of settings",
		Long: `Try a graph at every setting of sample rate and block size, or of one or two
other numbers, and tell for each the load of the worst block, the latency, the
scarcest memory and the verdict; and of those that fit the one with least
latency, with what a player notices of it.

--over names a number of the graph and its values: a range with how many, evenly
spaced, or a list. Of a parameter that moves it turns the far end of the span.`,
		Example: `  $ elbowroom sweep storm.yaml
  $ elbowroom sweep --over echo.time=100ms..2s/20 --over block_size=16,48 storm.yaml`,
	}
	cmd.Flags().Var(each(&over), "over", "try `NUMBER=VALUES`; once or twice, in place of sample rate and block size")
	drawing := plotFlag(cmd)
	a.question(cmd, &opts, func(w io.Writer, c *checked) error {
		axes, err := axesOf(c.estimate.Graph, over)
		if err != nil {
			return err
		}
		found, err := ask.Run(cmd.Context(), c.estimate, axes...)
		if err != nil {
			return err
		}
		r := sweepReport(c.name, found)
		if err := plot(*drawing, r.picture()); err != nil {
			return err
		}
		return a.tell(w, r, r.rows(), r.document())
	})
	return cmd
}

// axesOf reads what --over says.
func axesOf(g *estimator.Graph, over []string) ([]ask.Axis, error) {
	switch {
	case len(over) == 0:
		return ask.UsualAxes(g), nil
	case len(over) > 2:
		return nil, hinted{fmt.Errorf("--over stands %d times, and a grid has two sides", len(over)), "hold one of them still, and ask again"}
	}
	var axes []ask.Axis
	for _, text := range over {
		a, err := ask.ParseAxis(g, text)
		if err != nil {
			return nil, hinted{fmt.Errorf("--over: %w", err), hintOf(err)}
		}
		if len(axes) > 0 && axes[0].Dial.Name == a.Dial.Name {
			return nil, hinted{fmt.Errorf("--over names %s twice", a.Dial.Name), "list its values once, with commas"}
		}
		axes = append(axes, a)
	}
	return axes, nil
}

// hintOf is what to do about a mistake in what was asked for; "": it says itself.
func hintOf(err error) string {
	var unknown *ask.UnknownError
	var axis *ask.AxisError
	var quantity *blocks.QuantityError
	switch {
	case errors.As(err, &unknown):
		return unknown.Hint
	case errors.As(err, &axis):
		return axis.Hint
	case errors.As(err, &quantity):
		return quantity.Hint()
	}
	return ""
}

// SweepReport is what sweep found out. Every format prints from it.
type SweepReport struct {
	Version  int       `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	File     string    `json:"file"`
	Board    string    `json:"board"`
	Verdict  string    `json:"verdict" jsonschema:"of the graph as it is"`
	Sentence string    `json:"sentence" jsonschema:"the setting with least latency that fits, in words"`
	From     string    `json:"from,omitempty" jsonschema:"where the latency begins; left out where the graph has no audio output"`
	To       string    `json:"to,omitempty"`
	Axes     []Axis    `json:"axes"`
	Settings []Setting `json:"settings" jsonschema:"every setting, the last axis running fastest"`
	Fitting  []int     `json:"fitting" jsonschema:"indices of the settings that fit, the least latency first"`

	units []blocks.Unit
}

// Axis is a number of the graph and the values it was tried at.
type Axis struct {
	Parameter string    `json:"parameter"`
	Unit      string    `json:"unit" jsonschema:"of the values: s, Hz, or none"`
	Values    []float64 `json:"values"`
}

// Setting is what the graph comes to at one setting.
type Setting struct {
	At       []float64 `json:"at" jsonschema:"the value of each axis"`
	Now      bool      `json:"now" jsonschema:"the graph as it is"`
	Refusal  string    `json:"refusal,omitempty" jsonschema:"why this is no graph; then all else is left out"`
	Verdict  string    `json:"verdict,omitempty" jsonschema:"fits, tight, unsure or over"`
	Decides  string    `json:"decides,omitempty" jsonschema:"the resource that decides the verdict"`
	Fits     bool      `json:"fits" jsonschema:"nothing is worse than tight, or than unsure where it was unsure before"`
	Load     *Figure   `json:"load,omitempty" jsonschema:"share of the cycles that the worst block takes"`
	Latency  float64   `json:"latency,omitempty" jsonschema:"seconds"`
	Feels    string    `json:"feels,omitempty" jsonschema:"what a player notices of the latency"`
	Scarcest string    `json:"scarcest,omitempty" jsonschema:"memory (all banks for data together), flash, or a bank that does not fit"`
	Share    float64   `json:"scarcest_share,omitempty" jsonschema:"of it that is taken at most"`
	Left     int64     `json:"scarcest_left,omitempty" jsonschema:"bytes of it that are left at least"`
}

func sweepReport(file string, s *ask.Sweep) *SweepReport {
	e := s.Estimate
	r := &SweepReport{
		Version: reportVersion, File: file, Board: e.Graph.Board.Name, Verdict: e.Verdict.String(),
		From: e.Latency.From, To: e.Latency.To, Fitting: slices.Clone(s.Fitting),
	}
	if r.Fitting == nil {
		r.Fitting = []int{}
	}
	for _, a := range s.Axes {
		r.Axes = append(r.Axes, Axis{a.Dial.Name, unitWord(a.Dial.Unit), a.Values})
		r.units = append(r.units, a.Dial.Unit)
	}
	for i := range s.Cells {
		c := &s.Cells[i]
		r.Settings = append(r.Settings, setting(c, s.IsNow(c)))
	}
	r.Sentence = r.best()
	return r
}

func setting(c *ask.Cell, now bool) Setting {
	out := Setting{At: c.At, Now: now, Refusal: c.Refusal, Fits: c.Holds}
	if c.Refusal != "" {
		return out
	}
	load := figure(c.Load)
	out.Verdict, out.Decides, out.Load = c.Verdict.String(), c.Decides, &load
	if c.Latency > 0 {
		out.Latency, out.Feels = c.Latency, ask.FeelOf(c.Latency).Text
	}
	out.Scarcest, out.Share, out.Left = c.Scarcest.Name, c.Scarcest.Share, int64(c.Scarcest.Left)
	return out
}

// best tells the setting with least latency that fits.
func (r *SweepReport) best() string {
	if len(r.Fitting) == 0 {
		return fmt.Sprintf("none of these %d settings of %s fits %s", len(r.Settings), r.File, r.Board)
	}
	s := &r.Settings[r.Fitting[0]]
	text := fmt.Sprintf("of %d settings of %s on %s %d fit", len(r.Settings), r.File, r.Board, len(r.Fitting))
	switch last := &r.Settings[r.Fitting[len(r.Fitting)-1]]; {
	case r.To == "":
		return fmt.Sprintf("%s; the lightest has %s: %s", text, r.at(s), s.room())
	case s.Latency == last.Latency:
		return fmt.Sprintf("%s, all with %s from %s to %s (%s); the lightest has %s: %s",
			text, blocks.Seconds(s.Latency), r.From, r.To, s.Feels, r.at(s), s.room())
	}
	return fmt.Sprintf("%s; the one with least latency has %s: %s from %s to %s; %s; %s",
		text, r.at(s), blocks.Seconds(s.Latency), r.From, r.To, s.room(), s.Feels)
}

// at names the values of a setting.
func (r *SweepReport) at(s *Setting) string {
	var words []string
	for k, v := range s.At {
		words = append(words, r.Axes[k].Parameter+" "+r.units[k].Rounded(v))
	}
	return strings.Join(words, " and ")
}

// room tells what a setting takes.
func (s *Setting) room() string {
	return fmt.Sprintf("the worst block takes at most %s of the cycles, and %s of %s is left",
		blocks.Percent(s.Load.High), blocks.Bytes(s.Left).Down(), s.Scarcest)
}

// standing is the verdict, and what decides it where it does not simply fit.
func (s *Setting) standing() string {
	if s.Verdict == estimator.Fits.String() {
		return s.Verdict
	}
	return s.Verdict + " " + s.Decides
}

func (r *SweepReport) rows() *table {
	t := &table{header: []string{"file"}}
	for _, a := range r.Axes {
		name := a.Parameter
		if a.Unit != "" {
			name += " (" + a.Unit + ")"
		}
		t.header = append(t.header, name)
	}
	t.header = append(t.header, "now", "verdict", "decides", "fits", "load", "load_low", "load_high", "latency_s", "feels", "scarcest", "scarcest_share", "scarcest_left", "refusal")
	for i := range r.Settings {
		s := &r.Settings[i]
		row := []string{r.File}
		for _, v := range s.At {
			row = append(row, plain(v))
		}
		var load [3]string
		if s.Load != nil {
			load = [3]string{plain(s.Load.Value), plain(s.Load.Low), plain(s.Load.High)}
		}
		t.add(append(row, fmt.Sprint(s.Now), s.Verdict, s.Decides, fmt.Sprint(s.Fits), load[0], load[1], load[2],
			plain(s.Latency), s.Feels, s.Scarcest, plain(s.Share), fmt.Sprint(s.Left), s.Refusal)...)
	}
	return t
}

// mostFitting is how many of the settings that fit are listed.
const mostFitting = 6

// document is the answer for people.
func (r *SweepReport) document() document {
	d := document{{text: capital(r.Sentence)}}
	if len(r.Axes) == 1 {
		return append(d, section{table: r.list(r.Settings)}, r.notices())
	}
	if len(r.Fitting) > 0 {
		var fitting []Setting
		for _, i := range r.Fitting[:min(len(r.Fitting), mostFitting)] {
			fitting = append(fitting, r.Settings[i])
		}
		d = append(d, section{title: "Settings that fit, the least latency first", table: r.list(fitting)})
	}
	d = append(d, r.grids("Verdict, and what decides it", (*Setting).standing)...)
	d = append(d, r.grids("Worst block, at most, in shares of its cycles", func(s *Setting) string { return blocks.Percent(s.Load.High) })...)
	if r.To != "" {
		d = append(d, r.grids(fmt.Sprintf("Latency from %s to %s", r.From, r.To), func(s *Setting) string { return blocks.Seconds(s.Latency).String() })...)
	}
	d = append(d, r.grids("Scarcest memory, at most", func(s *Setting) string { return s.Scarcest + " " + blocks.Percent(s.Share) })...)
	return append(d, r.notices())
}

// list has a row for each setting.
func (r *SweepReport) list(settings []Setting) *table {
	t := &table{}
	for _, a := range r.Axes {
		t.align += "r"
		t.header = append(t.header, a.Parameter)
	}
	t.align += "rrrl"
	t.header = append(t.header, "worst block", "latency", "scarcest", "verdict")
	for i := range settings {
		s := &settings[i]
		var row []string
		for k, v := range s.At {
			row = append(row, r.units[k].Rounded(v))
		}
		if s.Refusal != "" {
			t.add(append(row, "", "", "", stoppedByRefusal)...)
			continue
		}
		latency := ""
		if r.To != "" {
			latency = blocks.Seconds(s.Latency).String()
		}
		t.add(append(row, blocks.Percent(s.Load.High), latency, s.Scarcest+" "+blocks.Percent(s.Share), s.standing())...)
	}
	return t
}

// grids are a quantity over both axes, the longer one downwards, as many
// columns side by side as a terminal holds.
func (r *SweepReport) grids(title string, quantity func(*Setting) string) document {
	down, across := 0, 1
	if len(r.Axes[across].Values) > len(r.Axes[down].Values) {
		down, across = across, down
	}
	cell := func(i, j int) string {
		at := i*len(r.Axes[1].Values) + j
		if down == 1 {
			at = j*len(r.Axes[1].Values) + i
		}
		if s := &r.Settings[at]; s.Refusal == "" {
			return quantity(s)
		}
		return stoppedByRefusal
	}
	rows, columns := r.Axes[down].Values, r.Axes[across].Values
	fixed := &table{align: "r", header: []string{r.Axes[down].Parameter + " \\ " + r.Axes[across].Parameter}}
	var headers []string
	for _, v := range columns {
		headers = append(headers, r.units[across].Rounded(v))
	}
	cells := make([][]string, len(rows))
	for i, v := range rows {
		fixed.add(r.units[down].Rounded(v))
		for j := range columns {
			cells[i] = append(cells[i], cell(i, j))
		}
	}
	return sideBySide(title, fixed, headers, cells)
}

// notices tells what a player notices of the latencies in the sweep, with who
// found it, and what was refused.
func (r *SweepReport) notices() section {
	s := section{title: "What a player notices"}
	var told []string
	for i := range r.Settings {
		if r.To == "" || r.Settings[i].Refusal != "" {
			continue
		}
		f := ask.FeelOf(r.Settings[i].Latency)
		up := "above that"
		if f.Most > 0 {
			up = "up to " + blocks.Seconds(f.Most).String()
		}
		if text := fmt.Sprintf("%s %s (%s)", up, f.Text, f.Source); !slices.Contains(told, text) {
			told = append(told, text)
		}
	}
	s.items = told
	if len(told) == 0 {
		s.title = ""
	}
	var refused []string
	for i := range r.Settings {
		if text := r.Settings[i].Refusal; text != "" && !slices.Contains(refused, text) {
			refused = append(refused, text)
		}
	}
	if len(refused) > 0 {
		s.after = "Refused: " + strings.Join(refused[:min(len(refused), 3)], "; ")
	}
	return s
}
