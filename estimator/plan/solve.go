package plan

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Options of a search.
type Options struct {
	// Plans is how many of the best plans are wanted; 0 is one.
	Plans int
	// MaxSteps bounds the search, to the end of the placement it stands in; 0
	// is without bound. A step is one option tried at one node, or one look at
	// the copies of a kind.
	MaxSteps int64
	// Progress, where set, is told the steps now and then.
	Progress func(steps int64)
}

// A Result holds the best distinct plans found, best first. None means that
// nothing fits, if Proven.
type Result struct {
	Plans []Plan
	// Proven is whether the search was finished: no better plan exists than
	// those given, nor any further one if they are fewer than asked for.
	Proven bool
	// Bound in thousandths of a point: no plan beyond those given loses less.
	// Gap is how far below the best plan it lies, 0 if proven.
	Bound, Gap int64
	Steps      int64
}

// progressEvery is the number of steps between two looks at the context and
// two calls of Progress.
const progressEvery = 1 << 14

// Solve finds the best plans. It is deterministic: the same model and options
// give the same result. The error is that of the model, or of ctx, and then the
// result holds what was found so far.
func Solve(ctx context.Context, m *Model, o Options) (Result, error) {
	if err := m.Check(); err != nil {
		return Result{}, err
	}
	s := newSearch(ctx, m, o)
	s.node(0)
	return s.result()
}

// search is one depth-first search over the nodes in turn.
type search struct {
	ctx     context.Context
	m       *Model
	o       Options
	dual    *dual
	order   [][]int   // options of each node, by priced loss
	loss    []int64   // least loss of the nodes from i on
	changes []int     // fewest changes of the nodes from i on
	use     [][]int64 // least use of the nodes from i on, by resource
	choice  []int
	charged []int // chosen options that need each charge
	now     Plan  // sums over the nodes chosen so far, without stalls
	best    []Plan
	steps   int64
	stopped bool
	err     error
}

func newSearch(ctx context.Context, m *Model, o Options) *search {
	o.Plans = max(o.Plans, 1)
	n := len(m.Nodes)
	s := &search{ctx: ctx, m: m, o: o, order: make([][]int, n), loss: make([]int64, n+1),
		changes: make([]int, n+1), use: make([][]int64, n+1), choice: make([]int, n),
		charged: make([]int, len(m.Charges)), dual: newDual(m)}
	s.now.Use = make([]int64, len(m.Resources))
	s.use[n] = make([]int64, len(m.Resources))
	for i := n - 1; i >= 0; i-- {
		options := m.Nodes[i].Options
		leastLoss, fewest := int64(math.MaxInt64), math.MaxInt
		for k, o := range options {
			s.order[i] = append(s.order[i], k)
			leastLoss, fewest = min(leastLoss, o.Loss), min(fewest, o.Changes)
		}
		slices.SortStableFunc(s.order[i], func(a, b int) int {
			return cmp.Compare(priced(s.dual.price, &options[a]), priced(s.dual.price, &options[b]))
		})
		s.loss[i], s.changes[i] = s.loss[i+1]+leastLoss, s.changes[i+1]+fewest
		s.use[i] = make([]int64, len(m.Resources))
		for r := range s.use[i] {
			least := options[0].Use[r]
			for _, o := range options {
				least = min(least, o.Use[r])
			}
			s.use[i][r] = s.use[i+1][r] + least
		}
	}
	return s
}

// step counts one and tells whether to go on.
func (s *search) step() bool {
	if s.stopped {
		return false
	}
	if s.o.MaxSteps > 0 && s.steps >= s.o.MaxSteps {
		s.stopped = true
		return false
	}
	if s.steps%progressEvery == 0 {
		if s.err = s.ctx.Err(); s.err != nil {
			s.stopped = true
			return false
		}
		if s.o.Progress != nil {
			s.o.Progress(s.steps)
		}
	}
	s.steps++
	return true
}

// node tries every option of node i on top of what is chosen before it.
func (s *search) node(i int) {
	if s.hopeless(i) {
		return
	}
	if i == len(s.m.Nodes) {
		s.leaf()
		return
	}
	for _, k := range s.order[i] {
		if !s.step() {
			return
		}
		s.choice[i] = k
		s.add(&s.m.Nodes[i].Options[k], 1)
		s.node(i + 1)
		s.add(&s.m.Nodes[i].Options[k], -1)
	}
}

// add puts an option into the sums (sign 1) or takes it out (sign -1).
func (s *search) add(o *Option, sign int64) {
	s.now.Loss += sign * o.Loss
	s.now.Changes += int(sign) * o.Changes
	for r, u := range o.Use {
		s.now.Use[r] += sign * u
	}
	for _, c := range o.Charges {
		before := s.charged[c]
		s.charged[c] += int(sign)
		if before == 0 || s.charged[c] == 0 {
			for r, u := range s.m.Charges[c].Use {
				s.now.Use[r] += sign * u
			}
		}
	}
}

// hopeless is whether no completion from node i on fits, or none could be
// among the best.
func (s *search) hopeless(i int) bool {
	loss := max(s.now.Loss+s.loss[i], s.dual.bound(i, s.now.Loss, s.now.Use))
	bound := Plan{Loss: loss, Changes: s.now.Changes + s.changes[i], Headroom: 1}
	for r, u := range s.now.Use {
		least, limit := u+s.use[i][r], s.m.Resources[r].Limit
		if least > limit {
			return true
		}
		bound.Headroom = min(bound.Headroom, float64(limit-least)/float64(max(limit, 1)))
	}
	return len(s.best) == s.o.Plans && measures(&bound, &s.best[len(s.best)-1]) > 0
}

// leaf places the buffers of a full choice and keeps it if it fits.
func (s *search) leaf() {
	banks, stall, ok := s.place()
	if !ok {
		return
	}
	p := s.now
	p.Choice, p.Use = slices.Clone(s.choice), slices.Clone(s.now.Use)
	if stall > 0 {
		p.Use[s.m.Stalled] += stall
		if p.Use[s.m.Stalled] > s.m.Resources[s.m.Stalled].Limit {
			return
		}
	}
	p.Headroom = s.m.headroom(p.Use)
	p.Banks, p.Filled = make([][]int, len(s.m.Nodes)), make([]int64, len(s.m.Banks))
	for i, k := range s.choice {
		for _, b := range s.m.Nodes[i].Options[k].Buffers {
			for range b.Copies {
				p.Banks[i] = append(p.Banks[i], banks[0])
				p.Filled[banks[0]] += b.Bytes
				banks = banks[1:]
			}
		}
	}
	at, _ := slices.BinarySearchFunc(s.best, &p, func(a Plan, b *Plan) int { return compare(&a, b) })
	s.best = slices.Insert(s.best, at, p)
	s.best = s.best[:min(len(s.best), s.o.Plans)]
}

// measures compares two plans by what is measured of them; below 0 where a is
// better.
func measures(a, b *Plan) int {
	return cmp.Or(cmp.Compare(a.Loss, b.Loss), cmp.Compare(a.Changes, b.Changes), cmp.Compare(b.Headroom, a.Headroom))
}

// compare is the order of plans.
func compare(a, b *Plan) int {
	return cmp.Or(measures(a, b), slices.Compare(a.Choice, b.Choice))
}

func (s *search) result() (Result, error) {
	r := Result{Plans: s.best, Proven: !s.stopped, Steps: s.steps, Bound: max(s.loss[0], s.dual.bound(0, 0, make([]int64, len(s.m.Resources))))}
	if len(s.best) > 0 {
		if r.Proven {
			r.Bound = s.best[len(s.best)-1].Loss
		}
		r.Gap = max(0, s.best[0].Loss-r.Bound)
	}
	return r, s.err
}
