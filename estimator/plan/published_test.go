package plan_test

import (
	"context"
	"os"
	"testing"

	"go.yaml.in/yaml/v4"

	"elbowroom/estimator/plan"
)

// The published optima are reached: least loss is the sum of the largest values
// of the groups, less the optimum.
func TestPublishedOptima(t *testing.T) {
	text, err := os.ReadFile("../../testdata/outside/choices.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Choices []struct {
			Name    string
			Groups  int
			Limit   int64
			Optimum int64
		}
		Groups [][][]int64
	}
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Choices) < 2 {
		t.Fatalf("only %d choices were read", len(file.Choices))
	}
	for _, c := range file.Choices {
		m := &plan.Model{}
		for range file.Groups[0][0][1:] {
			m.Resources = append(m.Resources, plan.Resource{Limit: c.Limit})
		}
		var top int64
		for _, group := range file.Groups[:c.Groups] {
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
			t.Fatalf("%s: %d plans, error %v", c.Name, len(got.Plans), err)
		}
		if value := top - got.Plans[0].Loss; value != c.Optimum || !got.Proven {
			t.Errorf("%s: the search reaches %d, proven %v; the published optimum is %d", c.Name, value, got.Proven, c.Optimum)
		}
	}
}

// Items that are taken or left are nodes of two options: least loss is the
// profit of all, less the published optimum.
func TestPublishedKnapsacks(t *testing.T) {
	text, err := os.ReadFile("../../testdata/outside/items.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Items []struct {
			Name    string
			Optimum int64
			Profits []int64
			Limits  [][]int64
		}
	}
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Items) < 3 {
		t.Fatalf("only %d knapsacks were read", len(file.Items))
	}
	for _, k := range file.Items {
		m := &plan.Model{}
		for _, row := range k.Limits {
			m.Resources = append(m.Resources, plan.Resource{Limit: row[0]})
		}
		var all int64
		for i, profit := range k.Profits {
			taken := plan.Option{Use: make([]int64, len(k.Limits))}
			for r, row := range k.Limits {
				taken.Use[r] = row[1+i]
			}
			left := plan.Option{Loss: profit, Changes: 1, Use: make([]int64, len(k.Limits))}
			m.Nodes = append(m.Nodes, plan.Node{Options: []plan.Option{taken, left}})
			all += profit
		}
		got, err := plan.Solve(context.Background(), m, plan.Options{})
		if err != nil || len(got.Plans) == 0 {
			t.Fatalf("%s: %d plans, error %v", k.Name, len(got.Plans), err)
		}
		if value := all - got.Plans[0].Loss; value != k.Optimum || !got.Proven {
			t.Errorf("%s: the search reaches %d, proven %v; the published optimum is %d", k.Name, value, got.Proven, k.Optimum)
		}
	}
}
