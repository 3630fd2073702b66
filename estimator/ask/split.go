package ask

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Split is a graph on two boards that are joined by cables between their jacks.
type Split struct {
	Estimate *estimator.Estimate // of the graph as it is
	Boards   [2]string
	Alone    [2]bool // the board holds the whole graph
	// Found tells that there is a cut with which both boards hold their side;
	// otherwise what follows is the cut that misses by least, and Sides is empty
	// where there is none that could be estimated.
	Found bool
	Sides []Side // one for each board
	Sends []Send
	Jacks int // cables: one for each channel, control value or gate
	// Later is by how many samples what is heard comes later, at most, on the way
	// to any output.
	Later float64
	// Fewest is how many cables any cut needs with which both boards hold their
	// side. Proven tells that no cut needs fewer than this one, and that none of
	// as many has less load on the board that is loaded more.
	Fewest int
	Proven bool
	// Tied are outputs that no jack can carry, Unfit nodes and groups that no
	// board holds, each with the reason.
	Tied, Unfit []Reason
}

// Side is what goes on one board.
type Side struct {
	Board string
	Names []string // nodes and groups of the graph
	After *estimator.Estimate
	// Edits make the side's own graph file of the graph's.
	Edits []source.Edit
}

// Send is an output that goes by cable to the other board.
type Send struct {
	Output  string // as the graph writes it
	From    int    // index of the side that it comes from
	Kind    blocks.Kind
	Jacks   int
	Out, In string   // the nodes that are added on either side
	To      []string // what reads it on the other board
	// Samples is how much later it arrives: exactly what blocks and converters
	// take of audio, at most a control period of others.
	Samples float64
	Loop    bool // it is part of a loop, which takes so much longer
}

// Reason tells why something is as it is.
type Reason struct{ Name, Why string }

// RefusedError tells that a graph cannot be read for a board.
type RefusedError struct{ Board, Why string }

func (e *RefusedError) Error() string { return fmt.Sprintf("board %s: %s", e.Board, e.Why) }

// SplitOver finds the cut of a graph over two boards, named as a graph file
// names them: of those with which both boards hold their side, with all that the
// cables need counted in, the one with fewest cables, and of these the one whose
// board with more load has least. Each board gets something; voices of a group
// stay together. It is exact within bounds on steps, and deterministic.
func SplitOver(e *estimator.Estimate, boards [2]string) (*Split, error) {
	s := &Split{Estimate: e, Boards: boards}
	c, err := newCutter(e, boards)
	if err != nil {
		return nil, err
	}
	for k := range boards {
		s.Alone[k] = c.boards[k].alone
	}
	for _, signal := range c.signals {
		if signal.tied != "" {
			s.Tied = append(s.Tied, Reason{signal.name, signal.tied})
		}
	}
	for i := range c.units {
		if why := c.unfit(&c.units[i]); why != "" {
			s.Unfit = append(s.Unfit, Reason{c.units[i].name, why})
		}
	}
	s.search(c)
	return s, nil
}

// Bounds on the work for each number of cables.
const (
	cutSteps = 2_000_000 // assignments looked at
	mostCuts = 50_000    // cuts kept
	cutNodes = 6000      // nodes in the cuts that are estimated in full
	together = 16        // cuts estimated between two looks at the best
)

// search goes through the numbers of cables from none on until a cut holds.
func (s *Split) search(c *cutter) {
	s.Proven = true
	nearest := math.Inf(1)
	for level := 0; level <= c.mostJacks(); level++ {
		cuts, whole := c.cuts(level)
		most := max(together, cutNodes/len(c.graph.Nodes))
		slices.SortStableFunc(cuts, func(a, b cut) int { return cmp.Compare(a.load, b.load) })
		best := math.Inf(1)
		for from := 0; from < len(cuts); from += together {
			chunk := cuts[from:min(from+together, len(cuts))]
			if chunk[0].load >= best {
				break // none of the rest has less load
			}
			if from >= most {
				whole = false
				break
			}
			made := make([]*divided, len(chunk))
			each(len(chunk), func(i int) { made[i] = c.divide(chunk[i]) })
			for _, d := range made {
				switch {
				case d == nil:
				case d.holds && d.load < best:
					best = d.load
					s.take(c, d, level)
				case !d.holds && !s.Found && d.miss < nearest:
					nearest = d.miss
					s.take(c, d, level)
				}
			}
		}
		if s.Proven && !s.Found && whole {
			s.Fewest = level + 1
		}
		s.Proven = s.Proven && whole
		if s.Found {
			return
		}
	}
}

// take keeps a cut that was made.
func (s *Split) take(c *cutter, d *divided, jacks int) {
	s.Found = d.holds
	s.Sides, s.Sends, s.Jacks = d.sides[:], d.sends, jacks
	s.Later = c.later(d)
}

// divided is a cut, made and estimated.
type divided struct {
	cut
	sides [2]Side
	sends []Send
	holds bool
	load  float64 // of the board that is loaded more, at most
	miss  float64 // how far resources reach beyond their limits, in shares of them
}

// divide makes a cut and estimates both sides; nil: the reader refuses one.
func (c *cutter) divide(at cut) *divided {
	d := &divided{cut: at, holds: true}
	d.sides, d.sends = c.make(at)
	for k := range d.sides {
		g, err := c.graph.With(d.sides[k].Edits...)
		if err != nil {
			return nil
		}
		after, err := g.Estimate()
		if err != nil {
			return nil
		}
		d.sides[k].After = after
		d.holds = d.holds && after.Verdict <= estimator.Tight
		for i := range after.Resources {
			r := &after.Resources[i]
			if r.Kind == estimator.CPUResource {
				d.load = max(d.load, r.Share())
			}
			if r.Verdict > estimator.Tight {
				d.miss += r.Used.High/max(r.Limit, 1) - 1
			}
		}
	}
	return d
}

// later is by how many samples more than before an output comes at most. Loops
// are followed once.
func (c *cutter) later(d *divided) float64 {
	late := make([]float64, len(c.graph.Nodes))
	most := 0.0
	for _, step := range c.steps {
		n := c.graph.Nodes[step.Node]
		from := func(src estimator.Source) {
			l := late[src.Node]
			if here, there := d.side[c.unitOf[src.Node]], d.side[c.unitOf[step.Node]]; here != there {
				l += c.delay(int(here), c.graph.Nodes[src.Node].Block().Outputs[src.Port].Kind)
			}
			late[step.Node] = max(late[step.Node], l)
		}
		for _, in := range n.Inputs {
			for _, src := range in.Sources {
				from(src)
			}
		}
		for _, drive := range n.Drives {
			from(drive.Source)
		}
		if len(n.Block().Outputs) == 0 {
			most = max(most, late[step.Node])
		}
	}
	return most
}

// delay is what a cable from a side costs in samples: of audio a block before
// either converter and the converters themselves, else at most the time between
// two looks at the jack.
func (c *cutter) delay(from int, kind blocks.Kind) float64 {
	g := c.graph
	if kind == blocks.Audio {
		return c.boards[from].board.Converter.Out + c.boards[1-from].board.Converter.In + 2*float64(g.BlockSize)
	}
	if g.ControlRate > 0 {
		return math.Max(float64(g.BlockSize), float64(g.SampleRate)/float64(g.ControlRate))
	}
	return float64(g.BlockSize)
}
