package plan_test

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"elbowroom/estimator/plan"
)

// generate makes a model of nodes x options with banks, in which the first
// binding resources are cut to a share between the least and the usual use.
func generate(seed uint64, nodes, options, resources, binding, banks int) *plan.Model {
	rnd := rand.New(rand.NewPCG(seed, 1))
	m := &plan.Model{}
	for r := range resources {
		m.Resources = append(m.Resources, plan.Resource{Name: fmt.Sprint("resource", r)})
	}
	uses := func(top int) []int64 {
		u := make([]int64, resources)
		for r := range u {
			u[r] = int64(rnd.IntN(top))
		}
		return u
	}
	for c := range nodes/2 + 1 {
		m.Charges = append(m.Charges, plan.Charge{Name: fmt.Sprint("charge", c), Use: uses(40)})
	}
	var bytes int64
	for n := range nodes {
		node := plan.Node{Name: fmt.Sprint("node", n)}
		placed := banks > 0 && rnd.IntN(3) == 0
		for k := range options {
			o := plan.Option{Name: fmt.Sprint("option", k), Use: uses(100)}
			if k > 0 {
				o.Loss, o.Changes = int64(rnd.IntN(60)), 1+rnd.IntN(2)
			}
			if rnd.IntN(3) == 0 {
				o.Charges = append(o.Charges, rnd.IntN(len(m.Charges)))
			}
			if placed {
				b := plan.Buffer{Name: "line", Bytes: int64(4 + 4*rnd.IntN(20)), Copies: 1 + rnd.IntN(2)}
				for at := range banks {
					if rnd.IntN(4) > 0 {
						b.Banks = append(b.Banks, plan.Place{Bank: at, Stall: int64(at * rnd.IntN(10))})
					}
				}
				if k == 0 {
					bytes += b.Bytes * int64(b.Copies)
				}
				o.Buffers = append(o.Buffers, b)
			}
			node.Options = append(node.Options, o)
		}
		m.Nodes = append(m.Nodes, node)
	}
	for r := range m.Resources {
		var usual, least int64
		for _, n := range m.Nodes {
			one := n.Options[0].Use[r]
			usual += one
			for _, o := range n.Options {
				one = min(one, o.Use[r])
			}
			least += one
		}
		for _, c := range m.Charges {
			usual += c.Use[r]
		}
		m.Resources[r].Limit = 2 * usual
		if r < binding {
			m.Resources[r].Limit = least + (usual-least)*62/100
		}
		if rnd.IntN(4) == 0 {
			m.Resources[r].Whole = m.Resources[r].Limit + int64(rnd.IntN(200))
		}
		m.Resources[r].Counted = rnd.IntN(5) == 0
	}
	for b := range banks {
		m.Banks = append(m.Banks, plan.Bank{Name: fmt.Sprint("bank", b), Capacity: bytes/int64(banks) + 8})
	}
	return m
}

// brute tries every choice with every placement and returns the best plans: an
// independent reading of the model's description.
func brute(m *plan.Model, plans int) []plan.Plan {
	var found []plan.Plan
	choice := make([]int, len(m.Nodes))
	var each func(i int)
	each = func(i int) {
		if i < len(m.Nodes) {
			for k := range m.Nodes[i].Options {
				choice[i] = k
				each(i + 1)
			}
			return
		}
		p := plan.Plan{Choice: slices.Clone(choice), Use: make([]int64, len(m.Resources)), Headroom: 1}
		charges := map[int]bool{}
		var copies []plan.Buffer
		for i, k := range choice {
			o := m.Nodes[i].Options[k]
			p.Loss += o.Loss
			p.Changes += o.Changes
			for r, u := range o.Use {
				p.Use[r] += u
			}
			for _, c := range o.Charges {
				charges[c] = true
			}
			for _, b := range o.Buffers {
				copies = append(copies, slices.Repeat([]plan.Buffer{b}, b.Copies)...)
			}
		}
		for c := range charges {
			for r, u := range m.Charges[c].Use {
				p.Use[r] += u
			}
		}
		stall := leastStall(m, copies, make([]int64, len(m.Banks)))
		if stall < 0 {
			return
		}
		if stall > 0 {
			p.Use[m.Stalled] += stall
		}
		for r, u := range p.Use {
			res := &m.Resources[r]
			if u > res.Limit {
				return
			}
			whole := res.Limit
			if res.Whole > 0 {
				whole = res.Whole
			}
			if !res.Counted {
				p.Headroom = min(p.Headroom, float64(res.Limit-u)/float64(max(whole, 1)))
			}
		}
		found = append(found, p)
	}
	each(0)
	slices.SortFunc(found, func(a, b plan.Plan) int {
		return cmp.Or(cmp.Compare(a.Loss, b.Loss), cmp.Compare(a.Changes, b.Changes),
			cmp.Compare(b.Headroom, a.Headroom), slices.Compare(a.Choice, b.Choice))
	})
	return found[:min(len(found), plans)]
}

// leastStall tries every bank for every copy; -1 where none fit.
func leastStall(m *plan.Model, copies []plan.Buffer, filled []int64) int64 {
	if len(copies) == 0 {
		return 0
	}
	least := int64(-1)
	for _, p := range copies[0].Banks {
		if filled[p.Bank]+copies[0].Bytes > m.Banks[p.Bank].Capacity {
			continue
		}
		filled[p.Bank] += copies[0].Bytes
		rest := leastStall(m, copies[1:], filled)
		filled[p.Bank] -= copies[0].Bytes
		if rest >= 0 && (least < 0 || rest+p.Stall < least) {
			least = rest + p.Stall
		}
	}
	return least
}

// Every model of up to 8 nodes gets the very plans that trying everything gets.
func TestSmallModelsAgainstTryingEverything(t *testing.T) {
	fitting := 0
	for seed := range uint64(200) {
		nodes := 1 + int(seed%8)
		options := 2 + int(seed%2)
		m := generate(seed, nodes, options, 1+int(seed%4), int(seed%5), int(seed%4))
		want := brute(m, 3)
		got, err := plan.Solve(context.Background(), m, plan.Options{Plans: 3})
		if err != nil {
			t.Fatalf("model %d: %v", seed, err)
		}
		if !got.Proven {
			t.Errorf("model %d: a search without bound on its steps is not proven", seed)
		}
		same := slices.EqualFunc(got.Plans, want, func(g, w plan.Plan) bool {
			return slices.Equal(g.Choice, w.Choice) && g.Loss == w.Loss && g.Changes == w.Changes &&
				slices.Equal(g.Use, w.Use) && g.Headroom == w.Headroom
		})
		if !same {
			t.Errorf("model %d of %d nodes: the search gives\n%+v\nand trying everything gives\n%+v", seed, nodes, got.Plans, want)
		}
		if len(want) > 0 {
			fitting++
		}
	}
	if fitting < 50 {
		t.Errorf("only %d of 200 generated models can fit: the comparison says little", fitting)
	}
}

// A search stopped early says so, and its bound is not above the optimum.
func TestStoppedEarly(t *testing.T) {
	m := generate(7, 8, 3, 2, 2, 2)
	full, err := plan.Solve(context.Background(), m, plan.Options{})
	if err != nil || len(full.Plans) == 0 {
		t.Fatalf("the full search: %d plans, error %v; one plan was expected", len(full.Plans), err)
	}
	for steps := int64(1); steps < full.Steps; steps *= 2 {
		got, err := plan.Solve(context.Background(), m, plan.Options{MaxSteps: steps})
		if err != nil {
			t.Fatal(err)
		}
		if got.Proven || got.Steps >= full.Steps {
			t.Errorf("with at most %d steps it took %d of %d, proven %v", steps, got.Steps, full.Steps, got.Proven)
		}
		if got.Bound > full.Plans[0].Loss {
			t.Errorf("with at most %d steps the bound is %d, above the least loss %d", steps, got.Bound, full.Plans[0].Loss)
		}
	}
}

// A cancelled search returns the context's error.
func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := plan.Solve(ctx, generate(7, 8, 3, 2, 2, 2), plan.Options{})
	if err != context.Canceled {
		t.Errorf("a cancelled search returns the error %v, not context.Canceled", err)
	}
}
