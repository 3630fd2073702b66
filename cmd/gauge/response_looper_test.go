package main

import (
	"math"
	"testing"
)

// looperTakes is a performance in blocks of 48 samples: a loop of three blocks, a
// layer of three that begins one block after the start of its second turn, a rest,
// and the loop again.
var looperTakes = map[string]map[int][]event{
	"record":  {2: {{0, 1}}, 5: {{0, 0}}},
	"overdub": {0: {{0, 1}}, 9: {{0, 1}}, 12: {{0, 0}}},
	"play":    {15: {{0, 0}}, 18: {{0, 1}}},
}

func TestLooperPlaysWhatItHeard(t *testing.T) {
	t.Parallel()
	const frames = 24 * 48
	for _, format := range lineFormats {
		for _, decay := range []float64{1, 0.6} {
			in := [][]float32{filterHiss(frames, 0.2, 51), filterHiss(frames, 0.2, 52)}
			out := render(t, rendering{
				Block: "looper", Choices: map[string]string{"format": format}, Channels: 2, Frames: frames, Events: looperTakes,
				Params: map[string]float64{"time": 1, "decay": decay}, Inputs: map[string][][]float32{"in": in},
			})["out"]
			for channel := range out {
				// Of the layer, the blocks that lie over the first to third of the loop.
				heard := func(block, i int) float64 { return float64(in[channel][block*48+i]) }
				for n := range frames {
					block, i, want := n/48, n%48, 0.0
					switch {
					case block >= 5 && block < 15:
						at := (block - 5) % 3
						want = heard(2+at, i)
						if laid := []int{11, 9, 10}[at]; block > laid {
							want = decay*want + heard(laid, i)
						}
					case block >= 18:
						at := (block - 18) % 3
						want = decay*heard(2+at, i) + heard([]int{11, 9, 10}[at], i)
					}
					if got := float64(out[channel][n]); math.Abs(got-want) > roundingOf(format) {
						t.Errorf("looper, %s, decay %g: sample %d of channel %d is %v, want %v, what was recorded three blocks a turn.", format, decay, n, channel, got, want)
						break
					}
				}
			}
		}
	}
}

func TestLooperFullLinePlays(t *testing.T) {
	t.Parallel()
	// 100 ms are 4800 samples, and the gate never closes.
	in := filterHiss(14400, 0.3, 53)
	out := render(t, rendering{
		Block: "looper", Frames: len(in), Params: map[string]float64{"time": 0.1, "decay": 1},
		Events: map[string]map[int][]event{"record": {0: {{0, 1}}}}, Inputs: map[string][][]float32{"in": {in}}, BlockSize: 31,
	})["out"][0]
	for n, got := range out[:len(in)] {
		want := float32(0)
		if n >= 4800 {
			want = in[n%4800]
		}
		if got != want {
			t.Fatalf("Sample %d of a looper that was never told to stop is %v, want %v: a full line plays from its start.", n, got, want)
		}
	}
}

func TestLooperStyles(t *testing.T) {
	t.Parallel()
	in := [][]float32{filterHiss(24*48, 0.2, 54), filterHiss(24*48, 0.2, 55)}
	for _, format := range lineFormats {
		r := rendering{
			Block: "looper", Choices: map[string]string{"format": format}, Channels: 2, Frames: 24 * 48, Events: looperTakes,
			Params: map[string]float64{"time": 0.1, "decay": 0.7}, Inputs: map[string][][]float32{"in": in},
		}
		want := render(t, r)["out"]
		r.OneSample = true
		for channel, y := range render(t, r)["out"] {
			for n, got := range y {
				if got != want[channel][n] {
					t.Fatalf("%s: sample %d of channel %d is %v by single samples and %v by blocks; both compute one equation.", format, n, channel, got, want[channel][n])
				}
			}
		}
	}
}
