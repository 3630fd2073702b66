package pack_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"go.yaml.in/yaml/v4"

	"elbowroom/estimator/outside"
	"elbowroom/estimator/pack"
)

// The published optima of knapsacks come out, each read as a placement.
func TestPublishedKnapsacks(t *testing.T) {
	text, err := os.ReadFile("../../testdata/outside/knapsacks.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Knapsacks []struct {
			Name             string
			Sacks            []int64
			Optimum          float64
			Weights, Profits []int64
		}
	}
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Knapsacks) < 8 {
		t.Fatalf("only %d knapsacks were read", len(file.Knapsacks))
	}
	for _, k := range file.Knapsacks {
		p := &pack.Problem{Room: append(k.Sacks, math.MaxInt32)}
		var all float64
		for i, w := range k.Weights {
			cost := make([]float64, len(p.Room))
			cost[len(k.Sacks)] = float64(k.Profits[i])
			p.Items = append(p.Items, pack.Item{Bytes: w, Cost: cost})
			all += float64(k.Profits[i])
		}
		r := pack.Solve(p, plenty)
		if got := all - r.Cost; got != k.Optimum || !r.Proven {
			t.Errorf("%s: the sacks hold a profit of %g, proven %v, and the published optimum is %g", k.Name, got, r.Proven, k.Optimum)
		}
	}
}

// random is a problem with whole costs, so that two solvers can agree exactly:
// sizes over three orders of magnitude, some items alike, some barred from some
// banks, rooms from scarce to ample, and every third problem with a cache
// before two of the banks.
func random(seed uint64) *pack.Problem {
	r := rand.New(rand.NewPCG(seed, 5))
	banks := 2 + r.IntN(4)
	p := &pack.Problem{}
	total := int64(0)
	for range 8 + r.IntN(18) {
		item := pack.Item{Bytes: int64(40 * math.Pow(1000, r.Float64())), Align: []int64{1, 8, 32}[r.IntN(3)]}
		busy := 1 + r.IntN(40)
		for b := range banks {
			cost := float64(busy*b*b*5 + r.IntN(10)*b)
			if r.IntN(12) == 0 {
				cost = math.Inf(1)
			}
			item.Cost = append(item.Cost, cost)
		}
		for range 1 + r.IntN(2) {
			p.Items = append(p.Items, item)
			total += size(&item)
		}
	}
	for range banks {
		p.Room = append(p.Room, int64(float64(total)*(0.1+r.Float64()*0.9)*2.6/float64(banks)))
	}
	if seed%3 == 0 {
		p.Shared = []pack.Shared{{Banks: []int{0, 1}, Room: (p.Room[0] + p.Room[1]) / 2}}
		if seed%2 == 0 {
			p.Shared[0].Takes = make([]int64, len(p.Items))
			for i := range p.Items {
				p.Shared[0].Takes[i] = r.Int64N(size(&p.Items[i]))
			}
		}
	}
	return p
}

// Problems of all sorts have the same optimum by an integer-programming solver
// from outside, Debian's coinor-cbc, which knows nothing of placements.
func TestOutsideSolver(t *testing.T) {
	solver := outside.New(t)
	problems := 200
	if testing.Short() {
		problems = 20
	}
	placed := 0
	for seed := range uint64(problems) {
		p := random(seed)
		want := least(t, solver, p)
		r := pack.Solve(p, 20*plenty)
		if !r.Proven || math.IsInf(r.Cost, 1) != math.IsInf(want, 1) || math.Abs(r.Cost-want) > 1e-6 {
			t.Errorf("problem %d: %g, proven %v after %d steps, and the outside solver comes to %g", seed, r.Cost, r.Proven, r.Steps, want)
		}
		if r.Bank != nil {
			placed++
			if err := held(p, &r); err != nil {
				t.Errorf("problem %d: %v", seed, err)
			}
		}
	}
	if placed < problems*2/3 || placed == problems {
		t.Errorf("of %d problems %d have a placement: too few or too many to say anything of both", problems, placed)
	}
}

// least is the least cost by the outside solver; +Inf: there is no placement.
func least(t *testing.T, solver *outside.Solver, p *pack.Problem) float64 {
	t.Helper()
	var costs, ones, binaries strings.Builder
	lines := make([]strings.Builder, len(p.Room)+len(p.Shared))
	for i := range p.Items {
		item := &p.Items[i]
		fmt.Fprintf(&ones, " one%d:", i)
		some := false
		for b, c := range item.Cost {
			if math.IsInf(c, 1) {
				continue
			}
			some = true
			fmt.Fprintf(&costs, " + %g x%d_%d", c, i, b)
			fmt.Fprintf(&ones, " + x%d_%d", i, b)
			fmt.Fprintf(&binaries, " x%d_%d", i, b)
			for _, r := range taken(p, b) {
				fmt.Fprintf(&lines[r], " + %d x%d_%d", takes(p, i, r), i, b)
			}
		}
		if !some {
			return math.Inf(1) // a row without a term is no row
		}
		ones.WriteString(" = 1\n")
	}
	var text strings.Builder
	fmt.Fprintf(&text, "Minimize\n obj:%s\nSubject To\n%s", costs.String(), ones.String())
	for r, room := range rooms(p) {
		if lines[r].Len() > 0 {
			fmt.Fprintf(&text, " room%d:%s <= %d\n", r, lines[r].String(), room)
		}
	}
	fmt.Fprintf(&text, "Binary\n%s\nEnd\n", binaries.String())
	v, _ := solver.Least(t, text.String())
	return v
}
