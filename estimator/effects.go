package estimator

import (
	"elbowroom/blocks"
)

// Metrics that follow from the use of a block, and that no block's entry gives.
const (
	widthMetric    = "width"
	mathsMetric    = "maths_error"
	presenceMetric = "presence"
	voicesMetric   = "voices"
	bandMetric     = "bandwidth"
	latencyMetric  = "latency"
	stepsMetric    = "control_rate"
)

// usableBand is the share of the sample rate below which a converter's filter
// lets through: common practice, reference page dsp 2.10.
const usableBand = 0.45

// effects compares what two forms of a node give the ear.
func effects(h *blocks.Hearing, before, after *Node) ([]Effect, error) {
	var list []Effect
	for i := range h.Metrics {
		m := &h.Metrics[i]
		was, has, err := before.metric(m.Name)
		if err != nil {
			return nil, err
		}
		is, still, err := after.metric(m.Name)
		if err != nil {
			return nil, err
		}
		if has && still && was != is {
			list = append(list, Effect{m, was, is, m.Loss(was, is)})
		}
	}
	return list, nil
}

// metric is a metric of a node, and whether it has it.
func (n *Node) metric(name string) (blocks.Reading, bool, error) {
	switch name {
	case widthMetric:
		out, ok := n.Block().Output("")
		if !ok || out.Kind != blocks.Audio {
			return blocks.Reading{}, false, nil
		}
		return blocks.Reading{Value: float64(n.outChannels(0))}, true, nil
	case stepsMetric:
		out, ok := n.Block().Output("")
		switch {
		case !ok || out.Kind == blocks.Event:
			return blocks.Reading{}, false, nil
		case out.Kind == blocks.Audio:
			return blocks.Reading{Value: float64(n.Use.SampleRate)}, true, nil
		}
		return blocks.Reading{Value: n.Use.MeanTicks * float64(n.Use.SampleRate) / float64(n.Use.BlockSize)}, true, nil
	case mathsMetric:
		value, calls := n.Use.MathsError()
		return blocks.Reading{Value: value}, calls, nil
	}
	return n.Use.Metric(name)
}

// leftOut is what the ear loses with a node that is gone.
func leftOut(h *blocks.Hearing) []Effect {
	return compare(h, presenceMetric, 1, 0)
}

// WholeEffects compares what the settings of two graphs of one file give the
// ear, the nodes left aside: voices, bandwidth, steps of control, latency.
func WholeEffects(before, after *Estimate) ([]Effect, error) {
	h, err := before.Graph.library.Hearing()
	if err != nil {
		return nil, err
	}
	var list []Effect
	for i, g := range before.Graph.Groups {
		if i < len(after.Graph.Groups) && after.Graph.Groups[i].Count != g.Count {
			list = append(list, compare(h, voicesMetric, float64(g.Count), float64(after.Graph.Groups[i].Count))...)
		}
	}
	kilohertz := func(e *Estimate) float64 { return usableBand * float64(e.Graph.SampleRate) / 1000 }
	milliseconds := func(e *Estimate) float64 { return 1000 * e.Latency.Samples() / float64(e.Graph.SampleRate) }
	steps := func(e *Estimate) float64 {
		mean, _ := e.Graph.ticks()
		return mean * float64(e.Graph.SampleRate) / float64(e.Graph.BlockSize)
	}
	list = append(list, compare(h, bandMetric, kilohertz(before), kilohertz(after))...)
	list = append(list, compare(h, stepsMetric, steps(before), steps(after))...)
	return append(list, compare(h, latencyMetric, milliseconds(before), milliseconds(after))...), nil
}

// compare is one metric before and after; nothing where it stays as it was.
func compare(h *blocks.Hearing, name string, before, after float64) []Effect {
	m, ok := h.Find(name)
	if !ok || before == after {
		return nil
	}
	was, is := blocks.Reading{Value: before}, blocks.Reading{Value: after}
	return []Effect{{m, was, is, m.Loss(was, is)}}
}
