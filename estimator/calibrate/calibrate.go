// Package calibrate learns from cycles that were measured on a board by how much
// the estimate of its graphs is off.
//
// Read reads the readings, Fit finds the factors by least squares, and
// Result.File writes them as a file that a graph can name. Fit takes one factor
// for the board, or one for each family of blocks, block or node, and one each
// for waiting for memory and for calls that are made once a sample, as many as
// the readings can bear by Akaike's corrected criterion.
package calibrate

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Level is what shares a factor, the coarsest first.
type Level uint8

// Levels.
const (
	ByBoard Level = iota
	ByFamily
	ByBlock
	ByNode
)

var levelNames = [...]string{ByBoard: "board", ByFamily: "family", ByBlock: "block", ByNode: "node"}

// String is the word used in output.
func (l Level) String() string { return levelNames[l] }

// Bounds of what is believed, all house judgement.
const (
	fewestReadings = 4    // for a factor
	absurd         = 30.0 // times the estimate, either way: no compiler explains that
	unlikely       = 5.0  // times the estimate: told
	leastShare     = 0.02 // of some reading, from which stalls and calls may have a factor
	confidence     = 0.95
	// noSupport is the difference of criteria that leaves the worse of two models
	// without support (Burnham and Anderson, Model Selection and Multimodel
	// Inference, 2002, from memory): by less, the fewer factors are kept.
	noSupport = 10
)

// Factor is what the estimated cycles of a key are to be multiplied by.
type Factor struct {
	Key      string        // family, block or node; "" of the board, of stalls and of calls
	Block    string        // of a node
	Interval blocks.Figure // of the factor, with 95 % confidence
	Band     blocks.Figure // in which a reading is to be expected with 95 %
	Readings int           // rows that tell of it
}

// Point is what the readings of one spot come to, and what is said of them.
type Point struct {
	*Spot
	Name      string // of the node, or (all)
	Readings  int
	Read      float64 // mean cycles
	Estimated float64
	Fitted    float64
	Outlier   bool
}

// Terms are what may have a factor beside compute.
type Terms struct {
	Stalls bool // waiting for memory
	Calls  bool // what a call takes, once more for each sample after the first
}

// Trial is a set of factors that was tried.
type Trial struct {
	Level     Level
	Terms     Terms
	Factors   int
	Criterion float64 // Akaike's, corrected: the lower the better
	Refused   string  // why it cannot be taken; "": it can
}

// Held is how far predictions are off readings that were kept out of the fit.
type Held struct {
	Points                 int
	Before, After          float64 // mean of the shares of the reading
	WorstBefore, WorstNow  float64
	rootMeanSquareOfFactor float64
}

// Result is what the readings tell.
type Result struct {
	Board    string
	Readings int
	LeftOut  int // warm-up, by the word of the file or by their looks
	Level    Level
	Factors  []Factor
	Stalls   *Factor
	Calls    *Factor // of what calls of each sample would take; nil: none was seen
	Rest     *Factor // for what was not timed; nil: the estimate stays
	RSquared float64
	Sigma    float64 // standard deviation of a reading, as a share of the estimate
	Freedom  int     // degrees of freedom of the intervals
	Points   []Point
	Trials   []Trial
	Held     *Held // nil: too few places to keep some out
	Cautions []string

	sizes []int
}

// RefusedError tells why readings give no factor.
type RefusedError struct{ Why, Hint string }

func (e *RefusedError) Error() string { return e.Why }

// part is the cycles of one node in a reading.
type part struct {
	node   *estimator.Node
	cycles float64
	own    bool // the user states them
}

// point is a spot with what the estimate says of it.
type point struct {
	spot   *Spot
	name   string
	sums   sums
	parts  []part
	stalls float64
	calls  float64 // what a call a sample would take beyond what is estimated
	rest   float64 // what no factor touches
	varies bool    // its cycles differ from block to block by themselves
}

// where names the place for people.
func (p *point) where() string { return fmt.Sprintf("%s at blocks of %d", p.name, p.spot.BlockSize) }

// total is what is estimated.
func (p *point) total() float64 {
	sum := p.stalls + p.rest
	for _, t := range p.parts {
		sum += t.cycles
	}
	return sum
}

// Fit finds the factors. Graphs are those of the readings, all on one board, and
// estimated without what was measured before. Readings that tell nothing are a
// *RefusedError.
func Fit(graphs []*estimator.Graph, readings *Readings) (*Result, error) {
	board := graphs[0].Board
	f := &fit{graphs: graphs, result: &Result{Board: board.Name, LeftOut: readings.WarmedUp}}
	for _, g := range graphs {
		if g.Board.Name != board.Name {
			return nil, &RefusedError{fmt.Sprintf("%s is for %s and %s for %s: a factor is of one board", graphs[0].File.Name, board.Name, g.File.Name, g.Board.Name), ""}
		}
	}
	if err := f.gather(readings); err != nil {
		return nil, err
	}
	if err := f.sane(readings.Timed); err != nil {
		return nil, err
	}
	if err := f.choose(); err != nil {
		return nil, err
	}
	f.hold()
	f.tell()
	f.caution()
	return f.result, nil
}

// fit is the work of Fit.
type fit struct {
	graphs   []*estimator.Graph
	points   []*point
	readings int
	band     blocks.Band // of the estimate of what was timed
	cold     []string    // places whose first readings were left out
	best     *solution
	result   *Result
}

// gather estimates what was timed.
func (f *fit) gather(readings *Readings) error {
	type at struct{ graph, size int }
	estimates := map[at]*estimator.Estimate{}
	f.band = blocks.Band{Low: 1, High: 1}
	own := map[*estimator.Node]bool{}
	for _, s := range readings.Spots {
		key := at{s.Graph, s.BlockSize}
		e := estimates[key]
		if e == nil {
			g := f.graphs[s.Graph]
			var err error
			if s.BlockSize != g.BlockSize {
				if g, err = g.With(source.Edit{Path: []string{"block_size"}, Text: fmt.Sprint(s.BlockSize)}); err != nil {
					return err
				}
			}
			if e, err = g.Estimate(); err != nil {
				return err
			}
			estimates[key] = e
		}
		p := f.point(e, s)
		for _, t := range p.parts {
			if t.own && s.Node >= 0 {
				own[f.graphs[s.Graph].Nodes[s.Node]] = true
			}
		}
		f.points = append(f.points, p)
		f.readings += p.sums.n
	}
	// What the user states is only doubted where it was timed by itself.
	for _, p := range f.points {
		p.parts = slices.DeleteFunc(p.parts, func(t part) bool {
			timed := false
			for n := range own {
				timed = timed || n.Name == t.node.Name
			}
			if t.own && !timed {
				p.rest += t.cycles
				return true
			}
			return false
		})
	}
	slices.SortStableFunc(f.points, func(a, b *point) int {
		return cmp.Or(cmp.Compare(a.spot.Graph, b.spot.Graph), cmp.Compare(a.spot.Node, b.spot.Node), cmp.Compare(a.spot.BlockSize, b.spot.BlockSize))
	})
	for _, p := range f.points {
		if !slices.Contains(f.result.sizes, p.spot.BlockSize) {
			f.result.sizes = append(f.result.sizes, p.spot.BlockSize)
		}
	}
	slices.Sort(f.result.sizes)
	f.result.Readings = f.readings
	return nil
}

// point says what an estimate says of a spot.
func (f *fit) point(e *estimator.Estimate, s *Spot) *point {
	p := &point{spot: s, name: wholeGraph}
	g := e.Graph
	fetch := g.Board.Banks[g.Run].Fetch
	add := func(i int) {
		c := &e.Nodes[i]
		if c.Mean.Value == 0 {
			return
		}
		t := part{node: g.Nodes[i], cycles: c.Mean.Value, own: c.Basis == blocks.Stated}
		again, _ := g.Nodes[i].Again()
		p.calls += again.Value * float64(c.Copies)
		stalls := c.Stalls.Value
		if !t.own {
			// What a reading says of compute holds the fetching of code too.
			stalls -= t.cycles * fetch
			f.band.Low, f.band.High = min(f.band.Low, c.Mean.Low/c.Mean.Value), max(f.band.High, c.Mean.High/c.Mean.Value)
		}
		p.parts, p.stalls = append(p.parts, t), p.stalls+max(stalls, 0)
		p.varies = p.varies || c.Worst.Value > 1.2*c.Mean.Value || len(g.Nodes[i].Use.EventRates) > 0
	}
	if s.Node < 0 {
		for i := range g.Nodes {
			add(i)
		}
		load := e.CPU.Mean
		p.rest, p.stalls = load.System.Value, max(load.Stalls.Value-fetch*load.Compute.Value, 0)
	} else {
		add(s.Node)
		p.name = g.Nodes[s.Node].Name
	}
	p.sums = s.sums.with(s.first)
	// The first readings are left out where they are plainly slower than the rest.
	if rest := s.sums; rest.n >= 4 {
		spread := math.Sqrt(rest.m2 / float64(rest.n-1))
		if s.first.mean > 1.2*rest.mean && s.first.mean > rest.mean+4*spread {
			p.sums = rest
			f.result.LeftOut += s.first.n
			f.cold = append(f.cold, p.where())
		}
	}
	return p
}

func (f *fit) warn(format string, args ...any) {
	f.result.Cautions = append(f.result.Cautions, fmt.Sprintf(format, args...))
}

// sane refuses readings that cannot be what they are said to be.
func (f *fit) sane(timed bool) error {
	if f.readings < fewestReadings {
		return &RefusedError{
			fmt.Sprintf("a factor with an interval needs at least %d readings, and here are %d", fewestReadings, f.readings),
			"time each node several times, at two block sizes",
		}
	}
	least, most, same := math.Inf(1), 0.0, true
	var ratios []float64
	for _, p := range f.points {
		total := p.total()
		if total == 0 {
			return &RefusedError{fmt.Sprintf("%s takes no cycles by the estimate, so a reading of it tells nothing", p.name), "leave it out of the readings"}
		}
		least, most = min(least, total), max(most, total)
		same = same && p.sums.m2 == 0 && p.sums.mean == f.points[0].sums.mean
		ratios = append(ratios, p.sums.mean/total)
	}
	if same && most > 1.2*least {
		return &RefusedError{
			fmt.Sprintf("all readings are %g cycles, though what was timed differs %.3g times by the estimate: the counter does not run, or always the same was read", f.points[0].sums.mean, most/least),
			"'elbowroom calibrate --explain' prints how to start the counter",
		}
	}
	slices.Sort(ratios)
	ratio := ratios[len(ratios)/2]
	if ratio <= absurd && ratio >= 1/absurd {
		return nil
	}
	megahertz := float64(f.graphs[0].Board.Clock) / 1e6
	near := func(v float64) bool { return v > 1/absurd && v < absurd }
	hint := "see whether the readings are of this graph, board and clock"
	switch {
	case !timed && near(ratio*megahertz):
		hint = "they look like microseconds: name the column 'microseconds'"
	case timed && near(ratio/megahertz):
		hint = "they look like cycles: name the column 'cycles'"
	}
	return &RefusedError{fmt.Sprintf("the readings are %.3g times the estimate, which no compiler explains: the unit cannot be right", ratio), hint}
}
