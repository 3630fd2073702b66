package blocks

import "slices"

// Hearing maps metrics to points of loss. One point is noticed only in direct
// comparison, ten are plainly heard, a hundred is a function gone.
type Hearing struct {
	Metrics   []Metric
	Citations []Citation
}

// Metric is a quantity that can be computed and that the ear judges.
type Metric struct {
	Name, Title, Unit, About string
	LessIsBetter             bool
	Compare                  Comparison
	Curve                    []CurvePoint
	Cites                    []string
}

// Comparison is what a curve maps to points.
type Comparison uint8

// The value itself, its ratio to the value before, or its ratio to what is
// needed.
const (
	ByValue Comparison = iota
	ByRatio
	ByNeed
)

// CurvePoint is one corner of a loss curve.
type CurvePoint struct{ At, Points float64 }

// Find returns a metric by name.
func (h *Hearing) Find(name string) (*Metric, bool) {
	i := slices.IndexFunc(h.Metrics, func(m Metric) bool { return m.Name == name })
	if i < 0 {
		return nil, false
	}
	return &h.Metrics[i], true
}

// With is the hearing with the metrics of another in the place of those of the
// same names.
func (h *Hearing) With(own *Hearing) *Hearing {
	merged := &Hearing{Metrics: slices.Clone(h.Metrics), Citations: slices.Concat(own.Citations, h.Citations)}
	for i := range merged.Metrics {
		if m, ok := own.Find(merged.Metrics[i].Name); ok {
			merged.Metrics[i] = *m
		}
	}
	return merged
}

// Cite gives the text of a citation.
func (h *Hearing) Cite(key string) string { return cite(h.Citations, key) }

// Loss is the points lost when the metric goes from before to after; a gain
// loses nothing. By need, each is held to its own, and without a need nothing
// is lost.
func (m *Metric) Loss(before, after Reading) float64 {
	was, is := before.Value, after.Value
	switch m.Compare {
	case ByRatio:
		if was == 0 {
			return 0
		}
		was, is = 1, is/was
	case ByNeed:
		if before.Needed == 0 || after.Needed == 0 {
			return 0
		}
		was, is = was/before.Needed, is/after.Needed
	}
	return max(0, m.points(is)-m.points(was))
}

// points reads the curve: straight between its corners, flat beyond them.
func (m *Metric) points(x float64) float64 {
	c := m.Curve
	if len(c) == 0 {
		return 0
	}
	if x <= c[0].At {
		return c[0].Points
	}
	for i := 1; i < len(c); i++ {
		if x <= c[i].At {
			a, b := c[i-1], c[i]
			return a.Points + (b.Points-a.Points)*(x-a.At)/(b.At-a.At)
		}
	}
	return c[len(c)-1].Points
}
