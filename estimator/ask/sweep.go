package ask

import (
	"cmp"
	"context"
	"math"
	"slices"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Sweep is a graph at every setting of one or two dials.
type Sweep struct {
	Estimate *estimator.Estimate // of the graph as it is
	Axes     []Axis
	// Cells has one for each setting, the second axis running faster.
	Cells []Cell
	// Fitting are the indices of the cells that hold, the least latency first; of
	// equal latency what keeps the reserve before what is tight, and then what
	// leaves most of the scarcer of cycles and memory.
	Fitting []int
}

// Cell is what a graph comes to at one setting.
type Cell struct {
	At      []float64 // the value of each axis
	Refusal string    // why this is no graph; then all else is zero
	Holds   bool      // as FindLimits has it: nothing is worse than tight, or than unsure where it was unsure before
	Verdict estimator.Verdict
	Decides string        // the resource that decides the verdict
	Load    blocks.Figure // share of the cycles that the worst block takes
	// Latency is from input to output in seconds; 0 where there is no output.
	Latency  float64
	Scarcest Scarce
}

// Run estimates a graph at every setting of its axes. The error is that of the
// context, where it ends before all are tried.
func Run(ctx context.Context, e *estimator.Estimate, axes ...Axis) (*Sweep, error) {
	s := &Sweep{Estimate: e, Axes: axes}
	n := 1
	for _, a := range axes {
		n *= len(a.Values)
	}
	s.Cells = make([]Cell, n)
	standard := newStandard(e)
	each(n, func(i int) {
		if ctx.Err() != nil {
			return
		}
		c := &s.Cells[i]
		c.At = make([]float64, len(axes))
		edits := make([]source.Edit, len(axes))
		rest := i
		for k, a := range slices.Backward(axes) {
			c.At[k] = a.Values[rest%len(a.Values)]
			rest /= len(a.Values)
			edits[k] = a.Dial.Turn(a.Dial.Unit.Format(c.At[k]))
		}
		p := standard.try(e.Graph, edits...)
		c.Refusal, c.Holds = p.refusal, p.holds
		if p.after != nil {
			c.tell(p.after)
		}
	})
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for i := range s.Cells {
		if s.Cells[i].Holds {
			s.Fitting = append(s.Fitting, i)
		}
	}
	slices.SortStableFunc(s.Fitting, func(i, j int) int {
		a, b := &s.Cells[i], &s.Cells[j]
		return cmp.Or(cmp.Compare(a.Latency, b.Latency), cmp.Compare(a.Verdict, b.Verdict),
			cmp.Compare(max(a.Load.High, a.Scarcest.Share), max(b.Load.High, b.Scarcest.Share)), cmp.Compare(a.Load.High, b.Load.High))
	})
	return s, nil
}

// tell keeps the figures of an estimate, and lets the rest of it go.
func (c *Cell) tell(e *estimator.Estimate) {
	c.Verdict, c.Decides = e.Verdict, e.Decides().Name
	c.Load = e.CPU.Worst.Total().Times(1 / e.CPU.Budget)
	c.Latency = Latency(e)
	c.Scarcest = Scarcest(e)
}

// Scarce is the memory that there is least of.
type Scarce struct {
	Name  string  // "memory", all banks for data together; "flash"; or a bank that does not fit
	Share float64 // that is taken, at the upper edge of its band
	Left  blocks.Bytes
}

// Scarcest is the memory that there is least of: the bank that is farthest from
// fitting, or else data memory or flash, by their shares. A single bank that
// fits is not scarce, since placement fills the fast ones first.
func Scarcest(e *estimator.Estimate) Scarce {
	var over, data, flash Scarce
	var used, usable [2]float64 // of data memory and of flash
	for i := range e.Resources {
		r := &e.Resources[i]
		switch r.Kind {
		case estimator.MemoryResource:
			used[0], usable[0] = used[0]+r.Used.High, usable[0]+r.Limit
		case estimator.FlashResource:
			used[1], usable[1] = used[1]+r.Used.High, usable[1]+r.Limit
		default:
			continue
		}
		if r.Verdict > estimator.Tight && r.Share() > over.Share {
			over = Scarce{r.Name, r.Share(), blocks.Bytes(math.Floor(r.Limit - r.Used.High))}
		}
	}
	if over.Name != "" {
		return over
	}
	data = Scarce{"memory", used[0] / usable[0], blocks.Bytes(math.Floor(usable[0] - used[0]))}
	flash = Scarce{"flash", used[1] / usable[1], blocks.Bytes(math.Floor(usable[1] - used[1]))}
	if flash.Share > data.Share {
		return flash
	}
	return data
}

// Latency is from input to output in seconds; 0 where there is no output.
func Latency(e *estimator.Estimate) float64 {
	return e.Latency.Samples() / float64(e.Graph.SampleRate)
}

// IsNow tells whether the cell is the graph as it is.
func (s *Sweep) IsNow(c *Cell) bool {
	for k, a := range s.Axes {
		if !near(c.At[k], a.Dial.Now) {
			return false
		}
	}
	return true
}
