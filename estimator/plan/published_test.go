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
