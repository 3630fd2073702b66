package plan_test

import (
	"context"
	"testing"

	"elbowroom/estimator/plan"
)

// One option from each of ten groups under five limits of 50: S. Khan, K. Li,
// E. Manning, M. Akbar, "Solving the Knapsack Problem for Adaptive Multimedia
// Systems", Studia Informatica Universalis 2(1) 157-178, 2002, instance I02;
// I01 is its first five groups under limits of 25. Each option is its value,
// then five uses.
var khan = [][][6]int64{
	{{7, 1, 3, 1, 1, 6}, {17, 1, 4, 9, 9, 3}, {25, 4, 3, 9, 8, 2}, {35, 4, 5, 8, 0, 6}, {36, 6, 8, 3, 0, 7}},
	{{9, 0, 0, 4, 4, 2}, {10, 0, 0, 1, 8, 7}, {10, 1, 1, 6, 0, 6}, {39, 9, 1, 2, 2, 4}, {44, 8, 7, 0, 8, 2}},
	{{15, 2, 0, 5, 5, 5}, {19, 2, 3, 2, 6, 2}, {20, 3, 1, 6, 4, 7}, {44, 6, 7, 5, 6, 9}, {50, 9, 5, 9, 2, 2}},
	{{5, 0, 1, 3, 8, 0}, {25, 2, 2, 7, 0, 8}, {32, 5, 5, 6, 1, 9}, {37, 6, 3, 6, 9, 1}, {37, 7, 9, 7, 2, 3}},
	{{24, 4, 0, 7, 0, 2}, {30, 4, 8, 9, 0, 0}, {32, 5, 2, 7, 2, 0}, {43, 5, 5, 9, 5, 2}, {44, 9, 2, 2, 2, 3}},
	{{17, 1, 6, 0, 4, 0}, {22, 5, 1, 2, 7, 0}, {31, 5, 2, 7, 9, 9}, {36, 5, 3, 6, 1, 8}, {41, 5, 7, 9, 9, 6}},
	{{15, 0, 2, 6, 5, 5}, {23, 1, 3, 7, 2, 5}, {25, 2, 2, 6, 1, 9}, {25, 2, 8, 2, 3, 2}, {27, 6, 3, 4, 9, 4}},
	{{25, 0, 9, 5, 0, 2}, {27, 6, 5, 2, 2, 8}, {34, 8, 2, 5, 9, 4}, {36, 8, 5, 4, 2, 2}, {42, 6, 2, 9, 0, 3}},
	{{24, 5, 3, 4, 2, 9}, {28, 5, 9, 2, 2, 9}, {33, 3, 4, 9, 7, 7}, {38, 5, 7, 7, 4, 6}, {44, 7, 7, 6, 0, 8}},
	{{13, 0, 5, 4, 5, 1}, {35, 5, 9, 4, 0, 6}, {38, 8, 8, 2, 1, 0}, {40, 5, 4, 8, 0, 1}, {42, 9, 4, 8, 7, 8}},
}

// The published optima are reached: least loss is the sum of the largest values
// of the groups, less the optimum.
func TestPublishedOptima(t *testing.T) {
	for _, c := range []struct {
		name    string
		groups  int
		limit   int64
		optimum int64
	}{{"I01", 5, 25, 173}, {"I02", 10, 50, 364}} {
		m := &plan.Model{}
		for range 5 {
			m.Resources = append(m.Resources, plan.Resource{Limit: c.limit})
		}
		var top int64
		for _, group := range khan[:c.groups] {
			var most int64
			for _, o := range group {
				most = max(most, o[0])
			}
			top += most
			var n plan.Node
			for _, o := range group {
				n.Options = append(n.Options, plan.Option{Loss: most - o[0], Use: o[1:]})
			}
			m.Nodes = append(m.Nodes, n)
		}
		got, err := plan.Solve(context.Background(), m, plan.Options{})
		if err != nil || len(got.Plans) == 0 {
			t.Fatalf("%s: %d plans, error %v", c.name, len(got.Plans), err)
		}
		if value := top - got.Plans[0].Loss; value != c.optimum || !got.Proven {
			t.Errorf("%s: the search reaches %d, proven %v; the published optimum is %d", c.name, value, got.Proven, c.optimum)
		}
	}
}
