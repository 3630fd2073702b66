package main

import (
	"fmt"
	"math"
	"testing"
)

func TestMultiTapDelayEchoes(t *testing.T) {
	t.Parallel()
	for _, format := range lineFormats {
		for _, c := range []struct {
			samples, taps, bounce, decay float64
		}{{480, 6, 0.8, 0.7}, {480, 2, 1, 1.5}, {960, 8, 2, 0.5}, {48, 5, 0.5, 0.9}, {992, 16, 1.1, 0.8}} {
			row := func(ratio float64, terms int) float64 {
				sum := 0.0
				for k := range terms {
					sum += math.Pow(ratio, float64(k))
				}
				return sum
			}
			want := map[int]float64{}
			for k := range int(c.taps) {
				place := int(max(1, math.Round(c.samples*row(c.bounce, k+1)/row(c.bounce, int(c.taps)))))
				want[place] += 0.5 * math.Pow(c.decay, float64(k)) / row(c.decay, int(c.taps))
			}
			what := fmt.Sprintf("%v taps over %v samples, bounce %v, decay %v, %s", c.taps, c.samples, c.bounce, c.decay, format)
			for _, approximate := range []bool{false, true} {
				out := knock(t, rendering{
					Block: "multi-tap-delay", Choices: map[string]string{"format": format}, Channels: 2, Frames: 1056, Approximate: approximate,
					Params: map[string]float64{"time": c.samples / 48000, "taps": c.taps, "bounce": c.bounce, "decay": c.decay},
				}, 0.5)["out"]
				checkEchoes(t, what, out[0], want, roundingOf(format), "d^(k-1) over the sum of all, gaps in the same way")
				checkEchoes(t, what+", silent channel", out[1], nil, 0, "channels do not touch")
			}
		}
	}
}

func TestMultiTapDelayStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "multi-tap-delay", 48000, map[string]float64{"time": 0.004, "taps": 5, "bounce": 0.8, "decay": 0.7}, map[string]float64{"decay": 1.1})
}
