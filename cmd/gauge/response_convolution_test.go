package main

import (
	"math"
	"testing"
)

// recordedRoom is what the kernel's table stands for: noise by the linear
// congruential generator of W. Press et al., Numerical Recipes, chapter 7 (from
// memory), that falls by 60 dB, in 16 bits.
func recordedRoom(length int, room uint32) []float64 {
	h := make([]float64, length)
	seed := 2*room + 1
	for i := range h {
		seed = seed*1664525 + 1013904223
		noise := float32(int32(seed)) * (1.0 / 2147483648)
		fallen := float32(math.Exp(float64(-6.9077553 * float32(i) / float32(length))))
		h[i] = float64(int16(8192*noise*fallen)) / 32768
	}
	return h
}

// Convolution against the plain sum over the response, one partition late.
func TestConvolutionIsThePlainSum(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		partition string
		size      int
		response  float64
	}{{"128", 128, 0.02}, {"128", 128, 0.01}, {"256", 256, 0.0301}, {"1024", 1024, 0.03}} {
		length := int(math.Ceil(c.response*48000 - 1e-6))
		h := recordedRoom(length, 3)
		const frames = 5000
		in := [][]float32{filterHiss(frames, 0.5, 81), filterHiss(frames, 0.5, 82)}
		for _, size := range []int{48, 200} {
			out := render(t, rendering{
				Block: "convolution-reverb", Choices: map[string]string{"partition": c.partition}, Channels: 2, Frames: frames, BlockSize: size,
				Params: map[string]float64{"response": c.response, "room": 3}, Inputs: map[string][][]float32{"in": in},
			})["out"]
			for channel := range in {
				for n := range frames {
					want := 0.0
					for k := 0; k < length && n-c.size-k >= 0; k++ {
						want += h[k] * float64(in[channel][n-c.size-k])
					}
					// A word of the table may round the other way in another library's exponential.
					if got := float64(out[channel][n]); math.Abs(got-want) > 4e-5 {
						t.Fatalf("partition %s, response %g s, blocks of %d: sample %d is %v, the plain sum %v.", c.partition, c.response, size, n, got, want)
					}
				}
			}
		}
	}
}

func TestConvolutionStyles(t *testing.T) {
	t.Parallel()
	in := [][]float32{filterHiss(2000, 0.2, 83), filterHiss(2000, 0.2, 84)}
	r := rendering{
		Block: "convolution-reverb", Choices: map[string]string{"partition": "128"}, Channels: 2, Frames: 2000,
		Params: map[string]float64{"response": 0.02}, Inputs: map[string][][]float32{"in": in},
	}
	want := render(t, r)["out"]
	r.OneSample = true
	for channel, y := range render(t, r)["out"] {
		for n, got := range y {
			if got != want[channel][n] {
				t.Fatalf("Sample %d of channel %d is %v by single samples and %v by blocks; both compute one equation.", n, channel, got, want[channel][n])
			}
		}
	}
}
