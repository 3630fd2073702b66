package catalog

import (
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// readHearing reads how metrics become points of loss.
func readHearing(v source.Value) *blocks.Hearing {
	o := v.Object("the file")
	r := newReader(o)
	h := &blocks.Hearing{Citations: r.citations}
	for _, m := range o.Need("metrics").Object("metrics").Rest() {
		mo := m.Value.Object("the metric '" + m.Name + "'")
		metric := blocks.Metric{
			Name:         word(m.Key, underscore, anIdentifer),
			Title:        mo.Need("title").Text("a title"),
			Unit:         mo.Take("unit").Text("a unit"),
			About:        strings.Join(strings.Fields(mo.Take("about").Text("what it is")), " "),
			LessIsBetter: pick(mo.Need("better"), "more", "less") == "less",
			Compare:      comparisons[pick(mo.Need("compare"), "value", "ratio", "need")],
		}
		for _, pv := range mo.Need("curve").Items("a list of points") {
			po := pv.Object("the point")
			metric.Curve = append(metric.Curve, blocks.CurvePoint{
				At: one(po.Need("at"), blocks.UnitRatio), Points: one(po.Need("points"), blocks.UnitRatio),
			})
			po.Done("key")
			if n := len(metric.Curve); n > 1 && metric.Curve[n-1].At <= metric.Curve[n-2].At {
				pv.Fail("", "the points of a curve go up from left to right")
			}
		}
		metric.Cites = r.cites(mo)
		mo.Done("key")
		h.Metrics = append(h.Metrics, metric)
	}
	r.done(o)
	o.Done("key")
	return h
}

var comparisons = map[string]blocks.Comparison{"value": blocks.ByValue, "ratio": blocks.ByRatio, "need": blocks.ByNeed}
