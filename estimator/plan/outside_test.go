package plan_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"elbowroom/estimator/outside"
	"elbowroom/estimator/plan"
)

// Generated models of all sizes have the same least loss by an
// integer-programming solver from outside: 300 of them where ELBOWROOM_PLANS=all
// asks for it, or else a sample.
func TestOutsideSolver(t *testing.T) {
	solver := outside.New(t)
	every := 8
	if os.Getenv("ELBOWROOM_PLANS") == "all" {
		every = 1
	} else if testing.Short() {
		every = 30
	}
	const models = 300
	tried, fitting := 0, 0
	for seed := 0; seed < models; seed += every {
		m := varied(uint64(seed))
		want, took := solver.Least(t, program(m, nil))
		got, err := plan.Solve(context.Background(), m, plan.Options{})
		if err != nil {
			t.Fatalf("model %d: %v", seed, err)
		}
		loss := math.Inf(1)
		if len(got.Plans) > 0 {
			loss = float64(got.Plans[0].Loss)
			fitting++
			if err := held(m, &got.Plans[0]); err != nil {
				t.Errorf("model %d: %v", seed, err)
			}
		}
		if !got.Proven || loss != want {
			t.Errorf("model %d of %d nodes: the search loses %g, proven %v, and the outside solver %g", seed, len(m.Nodes), loss, got.Proven, want)
		}
		tried++
		t.Logf("model %d: %d nodes, %d banks, loss %g; %d steps, outside %v", seed, len(m.Nodes), len(m.Banks), want, got.Steps, took)
	}
	if fitting < tried/2 || fitting == tried {
		t.Errorf("%d of %d models can fit: too few or too many to say anything of both", fitting, tried)
	}
}

// varied is a model of 12 to 60 nodes with 2 to 8 options each, 1 to 6 binding
// resources of up to 7, charges, and up to 4 banks. The more resources bind the
// fewer nodes there are, since with many of both every solver takes hours.
func varied(seed uint64) *plan.Model {
	rnd := rand.New(rand.NewPCG(seed, 3))
	binding := 1 + rnd.IntN(6)
	most := []int{60, 60, 50, 40, 30, 24}[binding-1]
	s := shape{nodes: 12 + rnd.IntN(most-11), options: 2 + rnd.IntN(7), resources: binding + rnd.IntN(2), binding: binding,
		banks: rnd.IntN(5), room: 0.4 + 0.6*rnd.Float64(), related: rnd.IntN(2) == 0}
	return s.model(seed)
}

// held finds anything wrong with what a plan says of itself.
func held(m *plan.Model, p *plan.Plan) error {
	use, filled := make([]int64, len(m.Resources)), make([]int64, len(m.Banks))
	charged := map[int]bool{}
	for i, k := range p.Choice {
		o := &m.Nodes[i].Options[k]
		for r, u := range o.Use {
			use[r] += u
		}
		for _, c := range o.Charges {
			if !charged[c] {
				charged[c] = true
				for r, u := range m.Charges[c].Use {
					use[r] += u
				}
			}
		}
		banks := p.Banks[i]
		for _, b := range o.Buffers {
			for range b.Copies {
				at := banks[0]
				banks = banks[1:]
				filled[at] += b.Bytes
				stall := int64(-1)
				for _, place := range b.Banks {
					if place.Bank == at && (stall < 0 || place.Stall < stall) {
						stall = place.Stall
					}
				}
				if stall < 0 {
					return fmt.Errorf("node %d: a copy of %s lies in bank %d, where it may not lie", i, b.Name, at)
				}
				if stall > 0 {
					use[m.Stalled] += stall
				}
			}
		}
		if len(banks) > 0 {
			return fmt.Errorf("node %d: %d more banks are named than there are copies", i, len(banks))
		}
	}
	for r, u := range use {
		if u != p.Use[r] || u > m.Resources[r].Limit {
			return fmt.Errorf("resource %d: %d is used, the plan says %d, the limit is %d", r, u, p.Use[r], m.Resources[r].Limit)
		}
	}
	for b, f := range filled {
		if f != p.Filled[b] || f > m.Banks[b].Capacity {
			return fmt.Errorf("bank %d: %d bytes lie in it, the plan says %d, it holds %d", b, f, p.Filled[b], m.Banks[b].Capacity)
		}
	}
	return nil
}

// program writes a model as a mixed integer program in the LP text format. x is
// whether an option is chosen, y how many copies of one of its buffers lie in a
// bank, z whether a charge is due: as tight as we know to say it, one row for
// each node that may need the charge.
func program(m *plan.Model, chosen []int) string {
	var loss, rows, bounds, whole strings.Builder
	uses := make([]strings.Builder, len(m.Resources))
	fills := make([]strings.Builder, len(m.Banks))
	for i, n := range m.Nodes {
		var one strings.Builder
		needs := map[int][]string{}
		for k, o := range n.Options {
			x := fmt.Sprintf("x%d_%d", i, k)
			fmt.Fprintf(&loss, " + %d %s\n", o.Loss, x)
			fmt.Fprintf(&one, " + %s", x)
			fmt.Fprintf(&whole, " %s\n", x)
			fmt.Fprintf(&bounds, " %s <= 1\n", x)
			for r, u := range o.Use {
				term(&uses[r], u, x)
			}
			once := map[int]bool{}
			for _, c := range o.Charges {
				if !once[c] {
					once[c] = true
					needs[c] = append(needs[c], x)
				}
			}
			for j, b := range o.Buffers {
				fmt.Fprintf(&rows, " placed%d_%d_%d: - %d %s", i, k, j, b.Copies, x)
				for at, place := range b.Banks {
					y := fmt.Sprintf("y%d_%d_%d_%d", i, k, j, at)
					fmt.Fprintf(&rows, " + %s", y)
					fmt.Fprintf(&whole, " %s\n", y)
					fmt.Fprintf(&bounds, " %s <= %d\n", y, b.Copies)
					term(&fills[place.Bank], b.Bytes, y)
					if place.Stall > 0 {
						term(&uses[m.Stalled], place.Stall, y)
					}
				}
				rows.WriteString(" = 0\n")
			}
		}
		fmt.Fprintf(&rows, " one%d:%s = 1\n", i, one.String())
		if chosen != nil {
			fmt.Fprintf(&rows, " chosen%d: x%d_%d = 1\n", i, i, chosen[i])
		}
		for c := range m.Charges {
			if len(needs[c]) > 0 {
				fmt.Fprintf(&rows, " due%d_%d: z%d - %s >= 0\n", c, i, c, strings.Join(needs[c], " - "))
			}
		}
	}
	for c, charge := range m.Charges {
		fmt.Fprintf(&bounds, " z%d <= 1\n", c)
		for r, u := range charge.Use {
			term(&uses[r], u, fmt.Sprint("z", c))
		}
	}
	for r := range uses {
		if uses[r].Len() > 0 {
			fmt.Fprintf(&rows, " use%d:%s <= %d\n", r, uses[r].String(), m.Resources[r].Limit)
		}
	}
	for b := range fills {
		if fills[b].Len() > 0 {
			fmt.Fprintf(&rows, " fill%d:%s <= %d\n", b, fills[b].String(), m.Banks[b].Capacity)
		}
	}
	return fmt.Sprintf("Minimize\n obj:%s\nSubject To\n%sBounds\n%sGeneral\n%sEnd\n", loss.String(), rows.String(), bounds.String(), whole.String())
}

func term(row *strings.Builder, factor int64, variable string) {
	if factor != 0 {
		fmt.Fprintf(row, " %+d %s\n", factor, variable)
	}
}
