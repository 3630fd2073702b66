package page

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/rogpeppe/go-internal/diff"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// Program is what the page asks of the command that serves it.
type Program struct {
	// Read reads the text of the file that is open.
	Read func() (*source.File, error)
	// Estimate estimates a text of that file. The error has the mistakes.
	Estimate func(*source.File) (*estimator.Estimate, error)
	// Subject has the words for an estimate.
	Subject func(*estimator.Estimate) Subject
	// Plans looks for what would make it fit.
	Plans func(context.Context, *estimator.Estimate) (*Advice, error)
	// Compare tells what differs between two estimates.
	Compare func(before, after *estimator.Estimate) []Table
	// Charts draws delays, of a node where it is one, and the size of the block.
	Charts func(ctx context.Context, e *estimator.Estimate, node string) ([]Chart, error)
	// Formulas tells what is written of a block; nil: nothing.
	Formulas func(*blocks.Block) []Formula
	// Save puts a text in the place of the one that the file holds.
	Save func(before, after *source.File) error
	// Boards are the names that a graph may name.
	Boards []string
}

// Formula is one thing that is known of a block, as the catalog writes it.
type Formula struct{ Of, Text string }

// desk is the graph as it lies before the person: the file as it was read, and
// what was changed since. It is safe for use by several goroutines.
type desk struct {
	program Program

	mu      sync.Mutex
	file    *source.File
	steps   []step // the first is the file as it stands
	at      int    // the step that is shown
	version int    // grows with every change of what is shown
	broken  string // what is wrong with the file as it is now; then the last good one is shown
	wrong   string // why the last change could not be made
	told    string // what was done last
	advice  Advice
	diff    string // what saving would write, where it was asked for
	open    string // the node whose numbers and wires lie open; "": none
	bench   bench

	drawn  int // grows with every answer that came after what is shown
	bounds bounds
	draws  bool // charts are wanted
	charts charts
	asked  asked
	sought sought
}

// asked is what is being worked out beside what goes on.
type asked struct {
	about question
	stop  context.CancelFunc // nil: nothing is
}

// sought is what lighter plans are being looked for.
type sought struct {
	of   *estimator.Estimate
	stop context.CancelFunc // nil: nothing is
}

// question is what is shown and takes longer to work out than a change may.
type question struct {
	of   *estimator.Estimate
	node string
	draw bool
}

// asks is what is to be worked out now.
func (d *desk) asks() question {
	if len(d.steps) == 0 {
		return question{}
	}
	return question{d.shown(), d.open, d.draws}
}

// settle gives up what is being worked out, or looked for, where it is no longer
// wanted.
func (d *desk) settle() {
	if d.asked.stop != nil && d.asked.about != d.asks() {
		d.asked.stop()
	}
	if d.sought.stop != nil && d.sought.of != d.shown() {
		d.sought.stop()
	}
}

// charts are those of one estimate.
type charts struct {
	of   *estimator.Estimate
	node string
	list []Chart
	err  error
}

// step is one change and what came of it.
type step struct {
	what     string // "echo.time: 350 ms"
	dial     string // of several turns of one dial only the last is kept
	estimate *estimator.Estimate
}

// mostSteps is how many changes can be undone.
const mostSteps = 200

// refresh reads the file again. Where it changed, what was not saved is made in
// it anew; where that cannot be, the old state stays and the reason is told.
func (d *desk) refresh() {
	file, err := d.program.Read()
	switch {
	case err != nil:
		d.breaks(err)
		return
	case d.file != nil && file.Text() == d.file.Text():
		if d.broken != "" {
			d.broken, d.version = "", d.version+1
		}
		return
	}
	e, err := d.program.Estimate(file)
	if err != nil {
		d.breaks(err)
		return
	}
	if d.unsaved() == 0 {
		d.lay(file, e, "")
		return
	}
	changed, err := e.Graph.With(d.edits()...)
	var again *estimator.Estimate
	if err == nil {
		again, err = changed.Estimate()
	}
	if err != nil {
		d.breaks(fmt.Errorf("the file was changed, and what is not saved here cannot be made in it: %w", err))
		return
	}
	d.lay(file, e, "the file was changed; what is not saved here was kept")
	d.push(step{what: "all that was not saved before the file changed", estimate: again})
}

func (d *desk) breaks(err error) {
	if text := err.Error(); d.broken != text {
		d.broken, d.version = text, d.version+1
	}
}

// lay begins anew with a file.
func (d *desk) lay(file *source.File, e *estimator.Estimate, told string) {
	d.file, d.steps, d.at = file, []step{{estimate: e}}, 0
	d.broken = ""
	d.changed(told)
}

// changed forgets what held for the state before.
func (d *desk) changed(told string) {
	d.version++
	d.wrong, d.told, d.advice, d.diff = "", told, Advice{}, ""
	d.bench.Fresh = nil // it could name what is no longer there
}

func (d *desk) shown() *estimator.Estimate { return d.steps[d.at].estimate }

// unsaved is how many changes the file does not have.
func (d *desk) unsaved() int { return d.at }

// edits are the changes of the file that lead to what is shown.
func (d *desk) edits() []source.Edit {
	return d.shown().Graph.Edits[len(d.steps[0].estimate.Graph.Edits):]
}

// push adds a step after the one that is shown.
func (d *desk) push(s step) {
	d.steps = append(d.steps[:d.at+1], s)
	if len(d.steps) > mostSteps+1 {
		d.steps = slices.Delete(d.steps, 1, 2)
	}
	d.at = len(d.steps) - 1
}

// change makes edits in what is shown. What cannot be made is told, and nothing
// changes.
func (d *desk) change(what, dial string, edits ...source.Edit) {
	from := d.at
	if dial != "" && d.at > 0 && d.at == len(d.steps)-1 && d.steps[d.at].dial == dial {
		from-- // the same dial is turned on
	}
	g, err := d.steps[from].estimate.Graph.With(edits...)
	var e *estimator.Estimate
	if err == nil {
		e, err = g.Estimate()
	}
	if err != nil {
		d.version++
		d.wrong, d.told = err.Error(), ""
		return
	}
	d.at = from
	d.push(step{what, dial, e})
	d.changed(what)
}

// seen names all that is shown.
func (d *desk) seen() int { return d.version + d.drawn }

// draw has charts drawn, or no longer.
func (d *desk) draw() {
	d.draws = !d.draws
	d.version++
}

// go back or forth by a number of steps.
func (d *desk) move(by int) {
	to := d.at + by
	if to < 0 || to >= len(d.steps) {
		return
	}
	told := "made again: " + d.steps[max(d.at, to)].what
	if by < 0 {
		told = "undone: " + d.steps[d.at].what
	}
	d.at = to
	d.changed(told)
}

// errStale tells that something else is shown by now.
var errStale = errors.New("the graph was changed meanwhile, so nothing was done; look again")

// edited is the file with the changes, and how it differs.
func (d *desk) edited() (*source.File, string, error) {
	edited, err := d.file.Edit(d.edits()...)
	if err != nil {
		return nil, "", err
	}
	return edited, string(diff.Diff(d.file.Name, []byte(d.file.Text()), d.file.Name+" as shown", []byte(edited.Text()))), nil
}

// preview shows what saving would write.
func (d *desk) preview() {
	if d.unsaved() == 0 {
		return
	}
	_, text, err := d.edited()
	if err != nil {
		d.wrong = err.Error()
	} else {
		d.diff = text
	}
	d.version++
}

// save writes what was shown to be written, and nothing else: the difference
// must be of this version.
func (d *desk) save(version int) {
	if d.unsaved() == 0 {
		return
	}
	edited, text, err := d.edited()
	if err == nil && (version != d.version || d.diff != text) {
		err = errStale
	}
	var again *estimator.Estimate
	if err == nil {
		again, err = d.program.Estimate(edited)
	}
	if err == nil && again.Verdict != d.shown().Verdict {
		err = errors.New("the file would not give what is shown, so nothing is written")
	}
	if err == nil {
		err = d.program.Save(d.file, edited)
	}
	if err != nil {
		d.version++
		d.wrong = err.Error()
		return
	}
	d.lay(edited, again, "saved into "+edited.Name)
}

// drop gives up all that is not saved.
func (d *desk) drop() {
	if d.unsaved() > 0 {
		d.at = 0
		d.changed("back to the file as it is saved")
	}
}

// try makes a plan of those that are shown.
func (d *desk) try(number int) {
	p := d.advice.plan(number)
	if p == nil {
		d.version++
		d.wrong = errStale.Error()
		return
	}
	d.change(p.Title, "", p.Edits...)
}

// control is something that can be set.
type control struct {
	ID, Name, Title string
	Node            int
	Text            string // as the file has it
	Choices         []string
	Slider          bool
	At              int    // where the slider stands
	Range           string // in words
	Bound           bound  // how far it can be turned, where that is known
}

// sliderSteps is how finely a slider moves.
const sliderSteps = 200

// controls are those of the whole graph, and then all nodes with those of the
// node that lies open.
func (d *desk) controls() (whole []control, each []nodeControls) {
	e := d.shown()
	g := e.Graph
	whole = append(whole, control{ID: "board", Name: "board", Title: "board", Node: -1, Text: g.Board.Name, Choices: d.program.Boards})
	if !slices.Contains(d.program.Boards, g.Board.Name) {
		whole[0].Choices = append([]string{g.Board.Name}, d.program.Boards...)
	}
	if names := g.Board.LayoutNames(); len(names) > 1 {
		whole = append(whole, control{ID: "run", Name: "run", Title: "code runs from", Node: -1, Text: g.Board.Banks[g.Run].Name, Choices: names})
	}
	opened := d.opened()
	each = make([]nodeControls, len(g.Nodes))
	for i, n := range g.Nodes {
		each[i] = nodeControls{Node: i, Name: n.Name, Block: n.Block().Title, Open: i == opened}
		if i != opened {
			continue // its controls come when it is opened
		}
		for p := range n.Block().Params {
			if param := &n.Block().Params[p]; param.Categorical() {
				id := "choice." + n.Name + "." + param.Name
				each[i].Controls = append(each[i].Controls, control{
					ID: id, Name: id, Title: param.Name, Node: i,
					Text: param.Choices[n.Use.Settings[p].Choice].Name, Choices: choiceNames(param),
				})
			}
		}
	}
	for _, dial := range ask.Dials(g) {
		c := control{ID: dialID(dial), Name: dialID(dial), Title: dial.String(), Node: -1, Text: dial.Given(), Range: dial.Unit.Rounded(dial.Range.Low) + " to " + dial.Unit.Rounded(dial.Range.High)}
		owner := owner(g, dial.Name)
		if owner >= 0 && owner != opened {
			continue
		}
		if owner >= 0 {
			n := g.Nodes[owner]
			c.Node, c.Title = owner, strings.TrimPrefix(c.Title, n.Name+".")
		}
		if dial.Range.High > dial.Range.Low {
			c.Slider, c.At = true, int(math.Round(place(dial, dial.Now)))
		}
		if d.bounds.of == e {
			of := ""
			if owner >= 0 {
				of = d.open
			}
			c.Bound = d.bounds.each[of][c.ID]
		}
		if owner >= 0 {
			each[owner].Controls = append(each[owner].Controls, c)
		} else {
			c.Title = strings.ReplaceAll(c.Title, "_", " ")
			whole = append(whole, c)
		}
	}
	return whole, each
}

type nodeControls struct {
	Node        int
	Name, Block string
	Open        bool
	Controls    []control // where it is open
}

func choiceNames(p *blocks.Param) []string {
	names := make([]string, len(p.Choices))
	for i, c := range p.Choices {
		names[i] = c.Name
	}
	return names
}

// dialID names a dial in a form: its end stands before its name.
func dialID(d *ask.Dial) string { return fmt.Sprintf("dial.%d.%s", d.End, d.Name) }

// owner is the node that a dial belongs to; -1: it is of the graph or of a
// group of voices.
func owner(g *estimator.Graph, dial string) int {
	at := strings.LastIndexByte(dial, '.')
	if at < 0 {
		return -1
	}
	return g.Node(dial[:at])
}

// bent tells whether a slider moves in equal ratios: over a range of more than
// two decades that has no zero.
func bent(s blocks.Span) bool { return s.Low > 0 && s.High/s.Low > 100 }

// valueAt is the value at a place of a dial's slider, to three figures.
func valueAt(d *ask.Dial, at int) string {
	share := float64(min(max(at, 0), sliderSteps)) / sliderSteps
	v := d.Range.Low + share*(d.Range.High-d.Range.Low)
	if bent(d.Range) {
		v = d.Range.Low * math.Pow(d.Range.High/d.Range.Low, share)
	}
	if d.Unit == blocks.UnitCount {
		v = math.Round(v)
	} else if rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64); err == nil {
		v = min(max(rounded, d.Range.Low), d.Range.High)
	}
	return d.Unit.Format(v)
}

// set sets a control to a text, or to a place of its slider.
func (d *desk) set(name, text string, slider bool) {
	g := d.shown().Graph
	kind, rest, _ := strings.Cut(name, ".")
	if _, dial, found := strings.Cut(rest, "."); kind == "dial" && found {
		if i := owner(g, dial); i >= 0 {
			d.open = g.Nodes[i].Name
		}
	}
	switch {
	case name == "board" && (text == g.Board.Name || slices.Contains(d.program.Boards, text)): // and no path, which would name a file
		d.change("board: "+text, "board", source.Edit{Path: []string{"board"}, Text: text})
		return
	case name == "run" && slices.Contains(g.Board.LayoutNames(), text):
		d.change("code: {run: "+text+"}", "run", source.Edit{Path: []string{"code", "run"}, Text: text})
		return
	case kind == "choice":
		at := strings.LastIndexByte(rest, '.')
		if node := owner(g, rest); node >= 0 {
			n := g.Nodes[node]
			d.open = n.Name
			if param, known := n.Block().Param(rest[at+1:]); known && param.Categorical() {
				d.change(rest+": "+text, name, source.Edit{Path: g.Path(n, param.Name), Text: text})
				return
			}
		}
	case kind == "dial":
		for _, dial := range ask.Dials(g) {
			if dialID(dial) == name {
				if slider {
					at, err := strconv.Atoi(text)
					if err != nil {
						break
					}
					text = valueAt(dial, at)
				}
				d.change(dial.String()+": "+text, name, dial.Turn(text))
				return
			}
		}
	}
	d.version++
	d.wrong = "there is no such control; " + errStale.Error()
}
