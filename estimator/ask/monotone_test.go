package ask_test

import (
	"slices"
	"testing"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

// Longer is never lighter, more of something neither, nor a higher sample rate:
// where the placements before and after are both proven to be the best, the
// verdict is never better after. The one exception is what a clock is divided
// by, since more of that is less for what follows it.
func TestMoreNeverFitsBetter(t *testing.T) {
	checked, worse, unproven := 0, 0, 0
	for name, e := range good(t) {
		for _, d := range ask.Dials(e.Graph) {
			more := d.Unit == blocks.UnitTime || d.Unit == blocks.UnitCount || d.Name == ask.SampleRate
			if !more || d.Name == ask.BlockSize || d.End == ask.Near || blockOf(e.Graph, d) == "clock-divider" {
				continue
			}
			var before *estimator.Estimate
			var was string
			for _, text := range around(d) {
				after := turned(t, e, d, text)
				if after == nil {
					continue
				}
				if after.Placement.Gap > 0 {
					unproven++
					continue
				}
				if before != nil {
					checked++
					if after.Verdict > before.Verdict {
						worse++
					}
					if after.Verdict < before.Verdict {
						t.Errorf("%s: with %v at %s the verdict is %v because of %s, and with %s %v because of %s", name, d, text, after.Verdict, after.Decides().Name, was, before.Verdict, before.Decides().Name)
					}
				}
				before, was = after, text
			}
		}
	}
	if checked < 500 || worse < 20 || unproven > checked/10 {
		t.Errorf("%d steps were looked at, %d to a worse verdict, and %d placements are not proven: too little to show anything", checked, worse, unproven)
	}
}

// around are values of a dial from a sixteenth of what it is to sixteen times
// as much, as far as its range goes.
func around(d *ask.Dial) []string {
	var list []string
	for _, factor := range []float64{1.0 / 16, 1.0 / 4, 1.0 / 2, 1, 1.5, 2, 3, 5, 8, 16} {
		v := d.Now * factor
		if d.Unit == blocks.UnitCount {
			v = float64(int(v))
		}
		if text := d.Text(v); v >= d.Range.Low && v <= d.Range.High && !slices.Contains(list, text) {
			list = append(list, text)
		}
	}
	return list
}

// blockOf is the block of the node that a dial belongs to; "": none.
func blockOf(g *estimator.Graph, d *ask.Dial) string {
	for _, n := range g.Nodes {
		if len(d.Name) > len(n.Name) && d.Name[:len(n.Name)+1] == n.Name+"." {
			return n.Block().Name
		}
	}
	return ""
}
