package plan_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"elbowroom/estimator/plan"
)

// attempt is one choice with one placement, whether it fits or not.
type attempt struct {
	loss        int64
	use, filled []int64
}

// every calls do with every choice in every placement that the buffers allow:
// an independent reading of the model's description. What it is given is only
// lent.
func every(m *plan.Model, do func(a *attempt)) {
	a := &attempt{use: make([]int64, len(m.Resources)), filled: make([]int64, len(m.Banks))}
	charged := make([]int, len(m.Charges))
	add := func(use []int64, sign int64) {
		for r, u := range use {
			a.use[r] += sign * u
		}
	}
	var node func(i int)
	var lay func(i int, copies []plan.Buffer)
	node = func(i int) {
		if i == len(m.Nodes) {
			do(a)
			return
		}
		for _, o := range m.Nodes[i].Options {
			add(o.Use, 1)
			a.loss += o.Loss
			for _, c := range o.Charges {
				if charged[c]++; charged[c] == 1 {
					add(m.Charges[c].Use, 1)
				}
			}
			var copies []plan.Buffer
			for _, b := range o.Buffers {
				copies = append(copies, slices.Repeat([]plan.Buffer{b}, b.Copies)...)
			}
			lay(i, copies)
			for _, c := range o.Charges {
				if charged[c]--; charged[c] == 0 {
					add(m.Charges[c].Use, -1)
				}
			}
			a.loss -= o.Loss
			add(o.Use, -1)
		}
	}
	lay = func(i int, copies []plan.Buffer) {
		if len(copies) == 0 {
			node(i + 1)
			return
		}
		for _, p := range copies[0].Banks {
			a.filled[p.Bank] += copies[0].Bytes
			if p.Stall > 0 {
				a.use[m.Stalled] += p.Stall
			}
			lay(i, copies[1:])
			if p.Stall > 0 {
				a.use[m.Stalled] -= p.Stall
			}
			a.filled[p.Bank] -= copies[0].Bytes
		}
	}
	node(0)
}

// over is by how much each limit is exceeded, resources before banks.
func (a *attempt) over(m *plan.Model) []int64 {
	var over []int64
	for r, u := range a.use {
		over = append(over, max(0, u-m.Resources[r].Limit))
	}
	for b, f := range a.filled {
		over = append(over, max(0, f-m.Banks[b].Capacity))
	}
	return over
}

// small is a model of up to 8 nodes that can be gone through entirely, tighter
// than fits most of the time.
func small(seed uint64) *plan.Model {
	nodes := 1 + int(seed%8)
	options := 2
	if nodes < 6 {
		options = 3
	}
	m := generate(seed, nodes, options, 1+int(seed%3), 2, int(seed%4))
	for r := range m.Resources {
		m.Resources[r].Limit = m.Resources[r].Limit * int64(6+seed%5) / 10
	}
	return m
}

// What one limit alone would have to be is what trying everything finds.
func TestShifts(t *testing.T) {
	outcomes := map[plan.Outcome]int{}
	for seed := range uint64(96) {
		m := small(seed)
		least := make([]int64, len(m.Resources)+len(m.Banks))
		for i := range least {
			least[i] = math.MaxInt64
		}
		every(m, func(a *attempt) {
			over := a.over(m)
			for i := range over {
				others := slices.Concat(over[:i], over[i+1:])
				if len(others) == 0 || slices.Max(others) == 0 {
					least[i] = min(least[i], slices.Concat(a.use, a.filled)[i])
				}
			}
		})
		shifts, err := plan.Shifts(context.Background(), m, plan.Options{})
		if err != nil || len(shifts) != len(least) {
			t.Fatalf("model %d: %d shifts for %d limits, error %v", seed, len(shifts), len(least), err)
		}
		for i, s := range shifts {
			outcomes[s.Outcome]++
			switch {
			case least[i] == math.MaxInt64 && s.Outcome != plan.Never:
				t.Errorf("model %d: limit %d alone is never enough, and the outcome is %d with the limit %d", seed, i, s.Outcome, s.Limit)
			case least[i] < math.MaxInt64 && (s.Outcome != plan.Enough || s.Limit != least[i] || s.Bound != least[i]):
				t.Errorf("model %d: limit %d would have to be %d, and the outcome is %d with the limit %d and the bound %d", seed, i, least[i], s.Outcome, s.Limit, s.Bound)
			}
			if i < len(m.Resources) {
				limit, ok, err := plan.Move(context.Background(), m, i, plan.Options{})
				if err != nil || ok != (s.Outcome == plan.Enough) || limit != s.Limit {
					t.Errorf("model %d: Move says %d, %v, %v of limit %d, and Shifts %d", seed, limit, ok, err, i, s.Limit)
				}
			}
		}
	}
	if outcomes[plan.Never] < 20 || outcomes[plan.Enough] < 20 {
		t.Errorf("of the outcomes %v one is too rare to say anything of it", outcomes)
	}
}

// Where the steps run out, that is not told as impossible.
func TestShiftWithoutSteps(t *testing.T) {
	m := generate(5, 8, 3, 3, 3, 3)
	shifts, err := plan.Shifts(context.Background(), m, plan.Options{MaxSteps: 1})
	if err != nil {
		t.Fatal(err)
	}
	full, err := plan.Shifts(context.Background(), m, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range shifts {
		if s.Outcome != plan.Unknown || s.Bound > full[i].Bound {
			t.Errorf("limit %d: with one step the outcome is %d and the bound %d; in full it is %d", i, s.Outcome, s.Bound, full[i].Bound)
		}
	}
}

// The nearest miss exceeds the limits by as little as anything does.
func TestNearest(t *testing.T) {
	missing := 0
	for seed := range uint64(96) {
		m := small(seed)
		if seed%2 == 0 {
			for r := range m.Resources {
				m.Resources[r].Limit /= 2
			}
			for b := range m.Banks {
				m.Banks[b].Capacity /= 3
			}
		}
		least := math.Inf(1)
		every(m, func(a *attempt) {
			sum := 0.0
			for i, over := range a.over(m) {
				limit := int64(0)
				if i < len(m.Resources) {
					limit = m.Resources[i].Limit
				} else {
					limit = m.Banks[i-len(m.Resources)].Capacity
				}
				sum += float64(over) / float64(max(limit, 1))
			}
			least = min(least, sum)
		})
		miss, ok, err := plan.Nearest(context.Background(), m, plan.Options{})
		if err != nil || ok != !math.IsInf(least, 1) {
			t.Fatalf("model %d: found %v, error %v; trying everything comes to %g", seed, ok, err, least)
		}
		if !ok {
			continue
		}
		if !miss.Proven || math.Abs(miss.Overshoot-least) > 2e-6 || miss.Bound > least+1e-9 {
			t.Errorf("model %d: the miss is %g, proven %v, its bound %g; the least is %g", seed, miss.Overshoot, miss.Proven, miss.Bound, least)
		}
		for r, over := range miss.Over {
			if over != max(0, miss.Use[r]-m.Resources[r].Limit) {
				t.Errorf("model %d: resource %d is over by %d, and %d is used of %d", seed, r, over, miss.Use[r], m.Resources[r].Limit)
			}
		}
		if least > 0 {
			missing++
		}
	}
	if missing < 30 {
		t.Errorf("only %d of the models miss at all", missing)
	}
}

// A curve is all the points that nothing beats in both loss and use.
func TestTrade(t *testing.T) {
	points := 0
	for seed := range uint64(48) {
		m := small(seed)
		for r := range m.Resources {
			m.Resources[r].Limit *= 2
		}
		for _, axis := range []int{0, plan.Bytes} {
			best := map[int64]int64{} // least loss at each use
			every(m, func(a *attempt) {
				if slices.Max(a.over(m)) > 0 {
					return
				}
				use := int64(0)
				if axis == plan.Bytes {
					for _, f := range a.filled {
						use += f
					}
				} else {
					use = a.use[axis]
				}
				if loss, known := best[use]; !known || a.loss < loss {
					best[use] = a.loss
				}
			})
			var want [][2]int64
			for use, loss := range best {
				beaten := false
				for u, l := range best {
					beaten = beaten || u <= use && l <= loss && (u < use || l < loss)
				}
				if !beaten {
					want = append(want, [2]int64{loss, use})
				}
			}
			slices.SortFunc(want, func(a, b [2]int64) int { return slices.Compare(a[:], b[:]) })
			curve, err := plan.Trade(context.Background(), m, axis, 0, plan.Options{})
			if err != nil {
				t.Fatal(err)
			}
			var got [][2]int64
			for _, p := range curve.Points {
				got = append(got, [2]int64{p.Loss, p.Axis})
				if err := held(m, &p.Plan); err != nil || !p.Proven {
					t.Errorf("model %d, axis %d: a point is proven %v, error %v", seed, axis, p.Proven, err)
				}
			}
			if !slices.Equal(got, want) || !curve.Whole {
				t.Errorf("model %d, axis %d: the curve is %v, whole %v, and trying everything gives %v", seed, axis, got, curve.Whole, want)
			}
			points += len(want)
			some, err := plan.Trade(context.Background(), m, axis, 3, plan.Options{})
			if err != nil || len(some.Points) > 5 {
				t.Errorf("model %d, axis %d: of about 3 points %d came, error %v", seed, axis, len(some.Points), err)
			}
			for _, p := range some.Points {
				if !slices.Contains(want, [2]int64{p.Loss, p.Axis}) {
					t.Errorf("model %d, axis %d: the point of loss %d and use %d is not on the curve %v", seed, axis, p.Loss, p.Axis, want)
				}
			}
		}
	}
	if points < 90 {
		t.Errorf("the curves have only %d points together", points)
	}
}
