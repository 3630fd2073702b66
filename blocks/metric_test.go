package blocks

import "testing"

// Losses are worked by hand from the corners of each curve.
func TestMetricLoss(t *testing.T) {
	foldover := Metric{Name: "foldover", Curve: []CurvePoint{{-60, 0}, {-30, 3}, {0, 60}}}
	density := Metric{Name: "density", Compare: ByRatio, Curve: []CurvePoint{{0.5, 20}, {0.75, 5}, {1, 0}}}
	early := Metric{Name: "early", Compare: ByRatio, Curve: []CurvePoint{{0, 100}, {2, 0}}}
	for _, tt := range []struct {
		name          string
		metric        Metric
		before, after float64
		want          float64
	}{
		{"from corner to corner", foldover, -60, -30, 3},
		{"halfway between corners", foldover, -60, -45, 1.5},
		{"across a corner", foldover, -45, -15, 31.5 - 1.5},
		{"a gain loses nothing", foldover, -15, -45, 0},
		{"no change", foldover, -20, -20, 0},
		{"below the first corner the curve is flat", foldover, -90, -60, 0},
		{"beyond the last corner the curve is flat", foldover, -30, 40, 57},
		{"wholly beyond the last corner", foldover, 10, 40, 0},
		{"a ratio on a corner", density, 4, 3, 5},
		{"a ratio between corners", density, 8, 5, 12.5},
		{"a ratio below the first corner", density, 8, 1, 20},
		{"a ratio above 1", density, 3, 4, 0},
		{"a ratio to nothing", density, 3, 0, 20},
		{"no ratio to nothing before", density, 0, 3, 0},
		{"points at the ratio 1 are not lost", early, 10, 5, 75 - 50},
		{"no curve", Metric{}, 1, 2, 0},
	} {
		if got := tt.metric.Loss(Reading{Value: tt.before}, Reading{Value: tt.after}); !near(got, tt.want) && got != tt.want {
			t.Errorf("%s: from %g to %g %s loses %g points, want %g", tt.name, tt.before, tt.after, tt.metric.Name, got, tt.want)
		}
	}
}

// A metric that is held to a need loses by what it lacks of it, before and after.
func TestMetricLossByNeed(t *testing.T) {
	m := Metric{Compare: ByNeed, Curve: []CurvePoint{{0.5, 20}, {1, 2}, {2, 0}}}
	for _, tt := range []struct {
		name          string
		before, after Reading
		want          float64
	}{
		{"from twice the need to half of it", Reading{8, 4}, Reading{2, 4}, 20},
		{"from the need to half of it", Reading{4, 4}, Reading{2, 4}, 20 - 2},
		{"less, and yet more than twice the need", Reading{40, 4}, Reading{8, 4}, 0},
		{"as much, with a need that grew", Reading{4, 4}, Reading{4, 8}, 20 - 2},
		{"half, with half the need", Reading{4, 4}, Reading{2, 2}, 0},
		{"no need is known before", Reading{8, 0}, Reading{2, 4}, 0},
		{"no need is known after", Reading{8, 4}, Reading{2, 0}, 0},
	} {
		if got := m.Loss(tt.before, tt.after); !near(got, tt.want) && got != tt.want {
			t.Errorf("%s: from %+v to %+v %g points are lost, want %g", tt.name, tt.before, tt.after, got, tt.want)
		}
	}
}

func TestHearingFindsMetrics(t *testing.T) {
	h := Hearing{Metrics: []Metric{{Name: "slope"}, {Name: "tilt"}}, Citations: []Citation{{"house", "a choice"}}}
	if m, ok := h.Find("tilt"); !ok || m != &h.Metrics[1] {
		t.Errorf("'tilt' was found: %t, want the second metric", ok)
	}
	if m, ok := h.Find("glow"); ok || m != nil {
		t.Errorf("'glow' was found: %t, want nothing", ok)
	}
	if h.Cite("house") != "a choice" {
		t.Errorf("the source 'house' says '%s', want 'a choice'", h.Cite("house"))
	}
}
