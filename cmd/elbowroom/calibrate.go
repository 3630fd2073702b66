package main

import (
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/calibrate"
)

// calibrationVersion counts the shapes of calibrate's JSON.
const calibrationVersion = 1

// readingsFormat tells how to time nodes on a board and write the readings.
//
//go:embed readings.txt
var readingsFormat string

// Calibration is what calibrate found out. Every format prints from it.
type Calibration struct {
	Version  int               `json:"version" jsonschema:"shape of this output; grows when a field changes its meaning or goes"`
	Exit     int               `json:"exit" jsonschema:"exit status: 0 there are factors, 2 wrong input"`
	Board    string            `json:"board"`
	Sentence string            `json:"sentence" jsonschema:"what was learned in words with figures"`
	Readings int               `json:"readings" jsonschema:"rows that were used"`
	LeftOut  int               `json:"left_out" jsonschema:"rows of a warm-up"`
	Level    string            `json:"level" jsonschema:"what shares a factor: board, family, block or node"`
	Factors  []MeasuredFactor  `json:"factors"`
	RSquared float64           `json:"r_squared" jsonschema:"share of what the readings differ by that the fit explains"`
	Sigma    float64           `json:"sigma" jsonschema:"standard deviation of a reading, as a share of the estimate"`
	Freedom  int               `json:"degrees_of_freedom" jsonschema:"of the intervals"`
	Held     *HeldOut          `json:"held_out,omitempty" jsonschema:"left out where there are too few places to keep some out"`
	Places   []MeasuredPlace   `json:"places" jsonschema:"nodes at a block size, with the mean of their readings"`
	Tried    []CalibrationTest `json:"tried" jsonschema:"the sets of factors that were compared"`
	Cautions []string          `json:"cautions,omitempty"`
	Wrote    string            `json:"wrote,omitempty" jsonschema:"the file with the factors"`
}

// MeasuredFactor is what an estimate is to be multiplied by.
type MeasuredFactor struct {
	Of       string  `json:"of" jsonschema:"board, family, block, node, stalls, calls: what a call is estimated to take, once more for each sample; or others: what was not timed"`
	Name     string  `json:"name,omitempty"`
	Value    float64 `json:"value"`
	Low      float64 `json:"low" jsonschema:"of the interval with 95 % confidence"`
	High     float64 `json:"high"`
	BandLow  float64 `json:"band_low" jsonschema:"of the band in which 95 % of readings are to be expected"`
	BandHigh float64 `json:"band_high"`
	Readings int     `json:"readings"`
}

// HeldOut is how far predictions are off readings that were kept out of the fit.
type HeldOut struct {
	Places      int     `json:"places"`
	Before      float64 `json:"before" jsonschema:"mean error of the estimate, as a share of the reading"`
	After       float64 `json:"after" jsonschema:"the same with the factors of the other places"`
	WorstBefore float64 `json:"worst_before"`
	WorstAfter  float64 `json:"worst_after"`
}

// MeasuredPlace is a node at a block size.
type MeasuredPlace struct {
	Graph      string  `json:"graph"`
	Node       string  `json:"node"`
	BlockSize  int     `json:"block_size"`
	Conditions string  `json:"conditions,omitempty"`
	Readings   int     `json:"readings"`
	Read       float64 `json:"read" jsonschema:"cycles a block, the mean"`
	Estimated  float64 `json:"estimated"`
	Fitted     float64 `json:"fitted"`
	Residual   float64 `json:"residual" jsonschema:"read less fitted"`
	Outlier    bool    `json:"outlier,omitempty"`
}

// CalibrationTest is a set of factors that was compared.
type CalibrationTest struct {
	Level     string   `json:"level"`
	Stalls    bool     `json:"stalls" jsonschema:"whether waiting for memory has a factor of its own"`
	Calls     bool     `json:"calls" jsonschema:"whether calls of each sample have a factor"`
	Factors   int      `json:"factors"`
	Criterion *float64 `json:"criterion,omitempty" jsonschema:"Akaike's with the correction for few readings: the lower the better"`
	Refused   string   `json:"refused,omitempty" jsonschema:"why it cannot be taken"`
}

type calibrateOptions struct {
	from    string
	output  string
	force   bool
	explain bool
}

func (a *app) calibrateCommand() *cobra.Command {
	var opts calibrateOptions
	cmd := &cobra.Command{
		Use:   "calibrate GRAPH... --from TIMES",
		Short: "Learn from cycles that were measured on the board",
		Long: `Learn from cycles that were measured on the board: by least squares one factor
for the board, or one for each family of blocks, block or node, and one each for
waiting for memory and for kernels that are called once a sample, as many as the
readings can bear. The factors go into a file that the graphs can name under
'catalog:'; 'check' then answers with them, in a narrower band. Some readings
are kept out of the fit, in turn, to tell the honest error before and after.

--explain prints what the file of readings holds, and C code that makes it.

Exit status: 0 there are factors, 2 wrong input.`,
		Example: `  $ elbowroom calibrate --explain
  $ elbowroom calibrate storm.yaml --from times.csv
  $ elbowroom calibrate shows/*.yaml --from times.csv -o my-board.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case opts.explain && len(args) == 0:
				return nil
			case len(args) == 0:
				return hinted{errors.New("calibrate needs the graph that was timed"), "write 'elbowroom calibrate storm.yaml --from times.csv'"}
			case opts.from == "" && !opts.explain:
				return hinted{errors.New("calibrate needs the readings"), "name them with --from; 'elbowroom calibrate --explain' prints how to make them"}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.answered(func(w io.Writer) error {
				if opts.explain {
					_, err := io.WriteString(w, readingsFormat)
					return err
				}
				return a.runCalibrate(w, opts, args)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&opts.from, "from", "", "the readings: comma-separated values, - for standard input")
	f.StringVarP(&opts.output, "output", "o", "", "write the factors here (measured-BOARD.yaml beside the graph)")
	f.BoolVar(&opts.force, "force", false, "write over a file that is there already")
	f.BoolVar(&opts.explain, "explain", false, "print what the readings hold, and C code that makes them")
	a.formatFlag(cmd)
	return cmd
}

func (a *app) runCalibrate(w io.Writer, opts calibrateOptions, names []string) error {
	var graphs []*estimator.Graph
	for _, name := range names {
		if name == standardInput && opts.from == standardInput {
			return errors.New("the graph and the readings cannot both come from standard input")
		}
		file, err := readText(name, a.stdin)
		if err != nil {
			return err
		}
		c, err := a.estimateAs(file, name, overrides{}, true, nil)
		if err != nil {
			return err
		}
		if c.estimate == nil {
			return c.errs.Err()
		}
		graphs = append(graphs, c.estimate.Graph)
	}
	readings, err := a.readings(opts.from, graphs)
	if err != nil {
		return err
	}
	found, err := calibrate.Fit(graphs, readings)
	var refused *calibrate.RefusedError
	if errors.As(err, &refused) {
		return hinted{fmt.Errorf("%s: %w", opts.from, err), refused.Hint}
	}
	if err != nil {
		return err
	}
	c := calibration(found, graphs)
	if c.Wrote = opts.output; c.Wrote == "" {
		c.Wrote = filepath.Join(filepath.Dir(names[0]), "measured-"+found.Board+".yaml")
	}
	if err := writeNew(c.Wrote, found.File(filepath.Base(opts.from)), opts.force); err != nil {
		return err
	}
	switch a.format {
	case asJSON:
		return printJSON(w, c)
	case asCSV:
		return calibrationCSV(w, c)
	}
	return a.printDocument(w, calibrationSections(c))
}

// readings reads the readings from a file of any length.
func (a *app) readings(name string, graphs []*estimator.Graph) (*calibrate.Readings, error) {
	if name == standardInput {
		return calibrate.Read(standardInputName, a.stdin, graphs)
	}
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, hinted{fmt.Errorf("%s: there is no such file", name), "'elbowroom calibrate --explain' prints how to make one"}
	case err != nil:
		return nil, fmt.Errorf("%s: %w", name, reason(err))
	case !info.Mode().IsRegular():
		return nil, hinted{fmt.Errorf("%s: this is no plain file", name), "to read from a pipe, name '-' and lead it to standard input"}
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, reason(err))
	}
	defer file.Close()
	readings, err := calibrate.Read(name, file, graphs)
	var path *fs.PathError
	if errors.As(err, &path) {
		return nil, fmt.Errorf("%s: %w", name, path.Err)
	}
	return readings, err
}

// writeNew writes a file as a whole. One that is there stays as it is, unless
// forced or the same.
func writeNew(name, text string, force bool) error {
	info, err := os.Lstat(name)
	switch {
	case err == nil && !info.Mode().IsRegular():
		return fmt.Errorf("%s is no plain file, so nothing is written", name)
	case err == nil && !force:
		if was, err := os.ReadFile(name); err == nil && string(was) == text {
			return nil
		}
		return hinted{fmt.Errorf("%s is there already and stays as it is", name), "give another name with --output, or --force"}
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: %w", name, reason(err))
	}
	return writeFile(name, []byte(text), 0o644)
}

func calibration(r *calibrate.Result, graphs []*estimator.Graph) *Calibration {
	c := &Calibration{
		Version: calibrationVersion, Board: r.Board, Readings: r.Readings, LeftOut: r.LeftOut, Level: r.Level.String(),
		RSquared: r.RSquared, Sigma: r.Sigma, Freedom: r.Freedom, Cautions: r.Cautions,
	}
	add := func(of string, f *calibrate.Factor) {
		c.Factors = append(c.Factors, MeasuredFactor{
			Of: of, Name: f.Key, Value: f.Interval.Value, Low: f.Interval.Low, High: f.Interval.High,
			BandLow: f.Band.Low, BandHigh: f.Band.High, Readings: f.Readings,
		})
	}
	for i := range r.Factors {
		of := r.Level.String()
		if r.Factors[i].Block != "" {
			of = calibrate.ByNode.String()
		}
		add(of, &r.Factors[i])
	}
	if r.Stalls != nil {
		add("stalls", r.Stalls)
	}
	if r.Calls != nil {
		add("calls", r.Calls)
	}
	if r.Rest != nil {
		add("others", r.Rest)
	}
	if h := r.Held; h != nil {
		c.Held = &HeldOut{h.Points, h.Before, h.After, h.WorstBefore, h.WorstNow}
	}
	for i := range r.Points {
		p := &r.Points[i]
		c.Places = append(c.Places, MeasuredPlace{
			Graph: graphs[p.Graph].File.Name, Node: p.Name, BlockSize: p.BlockSize, Conditions: p.Conditions, Readings: p.Readings,
			Read: p.Read, Estimated: p.Estimated, Fitted: p.Fitted, Residual: p.Read - p.Fitted, Outlier: p.Outlier,
		})
	}
	for i := range r.Trials {
		t := &r.Trials[i]
		test := CalibrationTest{Level: t.Level.String(), Stalls: t.Terms.Stalls, Calls: t.Terms.Calls, Factors: t.Factors, Refused: t.Refused}
		if !math.IsInf(t.Criterion, 0) {
			test.Criterion = &t.Criterion
		}
		c.Tried = append(c.Tried, test)
	}
	c.Sentence = c.sentence()
	return c
}

func (c *Calibration) sentence() string {
	shares := map[string]string{"board": "one factor for all nodes", "family": "a factor for each family of blocks", "block": "a factor for each block", "node": "a factor for each node"}
	text := fmt.Sprintf("%s of %s tell %s", counted(c.Readings, "reading"), c.Board, shares[c.Level])
	if slices.ContainsFunc(c.Factors, func(f MeasuredFactor) bool { return f.Of == "calls" }) {
		text += " and one for calls of each sample"
	}
	if c.Held == nil {
		return text + "; too few places were timed to keep some out and tell the error honestly"
	}
	return fmt.Sprintf("%s: on readings kept out of the fit the mean error goes from %s to %s, the largest from %s to %s",
		text, blocks.Percent(c.Held.Before), blocks.Percent(c.Held.After), blocks.Percent(c.Held.WorstBefore), blocks.Percent(c.Held.WorstAfter))
}

// factorName is a factor for people.
func (f *MeasuredFactor) factorName() string {
	switch f.Of {
	case "board":
		return "all nodes"
	case "others":
		return "what was not timed"
	case "stalls":
		return "waiting for memory"
	case "calls":
		return "a call, for each further sample"
	}
	return f.Of + " " + f.Name
}

func calibrationSections(c *Calibration) document {
	d := document{{text: c.Sentence + "."}}
	t := &table{align: "lrllr", header: []string{"cycles of", "times", "95 % interval", "a reading lies in", "readings"}}
	for i := range c.Factors {
		f := &c.Factors[i]
		readings := ""
		if f.Readings > 0 {
			readings = whole(float64(f.Readings))
		}
		t.add(f.factorName(), fmt.Sprintf("%.3f", f.Value), fmt.Sprintf("%.3f..%.3f", f.Low, f.High), fmt.Sprintf("%.3f..%.3f", f.BandLow, f.BandHigh), readings)
	}
	d = append(d, section{
		title: "What the estimate is to be multiplied by", table: t,
		after: fmt.Sprintf("R squared %.4f; a reading spreads by %s of the estimate; %d degrees of freedom.", c.RSquared, blocks.Percent(c.Sigma), c.Freedom),
	})
	p := &table{align: "lrrrrrl", header: []string{"node", "block size", "readings", "read", "estimated", "fitted", "off"}}
	for i := range c.Places {
		if i == mostPlaces {
			break
		}
		m := &c.Places[i]
		off := fmt.Sprintf("%+.1f %%", 100*m.Residual/m.Fitted)
		if m.Outlier {
			off += ", outlier"
		}
		p.add(m.Node, whole(float64(m.BlockSize)), whole(float64(m.Readings)), whole(m.Read), whole(m.Estimated), whole(m.Fitted), off)
	}
	places := section{title: "Cycles a block", table: p}
	if more := len(c.Places) - mostPlaces; more > 0 {
		places.after = fmt.Sprintf("There are %s more, which '--format json' has.", counted(more, "place"))
	}
	d = append(d, places)
	r := &table{align: "lrrl", header: []string{"a factor for each", "factors", "criterion", "why not"}}
	for i := range c.Tried {
		tried := &c.Tried[i]
		name, criterion, why := tried.Level, "", tried.Refused
		if tried.Stalls {
			name += ", and stalls"
		}
		if tried.Calls {
			name += ", and calls"
		}
		if tried.Criterion != nil {
			criterion = fmt.Sprintf("%.1f", *tried.Criterion)
		}
		lines := append(wrap(clipped(why), reasonWidth), "")
		r.add(name, strconv.Itoa(tried.Factors), criterion, lines[0])
		for _, more := range lines[1 : len(lines)-1] {
			r.add("", "", "", more)
		}
	}
	d = append(d, section{title: "Factors that were tried: the fewest without a rival 10 points better", table: r})
	if len(c.Cautions) > 0 {
		d = append(d, section{title: "Beware", items: c.Cautions})
	}
	return append(d, section{text: fmt.Sprintf("Wrote %s. Name it in the graph: 'catalog: %s'.", c.Wrote, filepath.Base(c.Wrote))})
}

// reasonWidth is what the other columns leave of a line for why factors were not
// taken.
const reasonWidth = 22

// mostPlaces is how many places a table shows.
const mostPlaces = 30

// clipped shortens a reason to a cell of a table.
func clipped(text string) string {
	if head, _, more := strings.Cut(text, ","); more {
		text = head
	}
	if runes := []rune(text); len(runes) > 40 {
		return string(runes[:37]) + "..."
	}
	return text
}

// calibrationCSV writes the factors and the places, one a row.
func calibrationCSV(w io.Writer, c *Calibration) error {
	out := csv.NewWriter(w)
	exact := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	rows := [][]string{{"section", "name", "block_size", "readings", "value", "low", "high", "band_low", "band_high", "text"}}
	rows = append(rows, []string{"verdict", c.Board, "", strconv.Itoa(c.Readings), "", "", "", "", "", c.Sentence})
	for i := range c.Factors {
		f := &c.Factors[i]
		rows = append(rows, []string{"factor of " + f.Of, f.Name, "", strconv.Itoa(f.Readings), exact(f.Value), exact(f.Low), exact(f.High), exact(f.BandLow), exact(f.BandHigh), ""})
	}
	for i := range c.Places {
		p := &c.Places[i]
		for _, v := range []struct {
			section string
			value   float64
		}{{"read", p.Read}, {"estimated", p.Estimated}, {"fitted", p.Fitted}} {
			rows = append(rows, []string{v.section, p.Node, strconv.Itoa(p.BlockSize), strconv.Itoa(p.Readings), exact(v.value), "", "", "", "", p.Conditions})
		}
	}
	for _, text := range c.Cautions {
		rows = append(rows, []string{"caution", "", "", "", "", "", "", "", "", text})
	}
	return out.WriteAll(rows)
}
