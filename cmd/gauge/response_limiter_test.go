package main

import (
	"fmt"
	"math"
	"testing"
)

func TestLimiterPassesNothing(t *testing.T) {
	t.Parallel()
	// By its definition no sample passes the threshold, whatever comes in.
	const frames = 9600
	wild := filterHiss(frames, 1, 61)
	for i := range wild {
		wild[i] *= float32(math.Pow(10, 2*math.Sin(float64(i)/700))) // from 0.01 to 100 of full scale
	}
	one := make([]float32, frames)
	for i := 0; i < frames; i += 977 {
		one[i] = 5
	}
	for _, lookAhead := range []float64{0.0001, 0.00201, 0.01} {
		for _, threshold := range []float64{-40, -1, 0} {
			for _, blockSize := range []int{31, 48} {
				for name, x := range map[string][]float32{"hiss": wild, "a row of single peaks": one} {
					y := render(t, rendering{
						Block: "limiter", BlockSize: blockSize, Channels: 2, Frames: frames, Inputs: map[string][][]float32{"in": {x, filterHiss(frames, 0.3, 62)}},
						Params: map[string]float64{"look_ahead": lookAhead, "threshold": threshold, "release": 0.001},
					})["out"]
					top, most := math.Pow(10, threshold/20), 0.0
					for c := range y {
						for _, v := range y[c] {
							most = max(most, math.Abs(float64(v)))
						}
					}
					if most > top {
						t.Errorf("%s, %g s, %g dB: a sample of %.9g passes the threshold of %.9g.", name, lookAhead, threshold, most, top)
					}
					if most < 0.9*top {
						t.Errorf("%s, %g s, %g dB: nothing comes near the threshold of %.6g, the highest is %.6g.", name, lookAhead, threshold, top, most)
					}
				}
			}
		}
	}
}

func TestLimiterIsTransparentBelow(t *testing.T) {
	t.Parallel()
	// Below the threshold there is nothing but the delay of the look-ahead, that
	// the catalog tells as latency, and a gain of 1 in single precision.
	x := filterHiss(4800, 0.49, 63)
	for _, lookAhead := range []int{5, 96, 333} {
		y := render(t, rendering{
			Block: "limiter", Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
			Params: map[string]float64{"look_ahead": float64(lookAhead) / 48000, "threshold": -6},
		})["out"][0]
		for i := range x {
			want := float32(0)
			if i >= lookAhead {
				want = x[i-lookAhead]
			}
			if math.Abs(float64(y[i]-want)) > 1.2e-7*math.Abs(float64(want)) {
				t.Fatalf("With %d samples of look-ahead sample %d is %.9g, and went in as %.9g.", lookAhead, i, y[i], want)
			}
		}
	}
}

func TestLimiterLines(t *testing.T) {
	t.Parallel()
	// From soft to loud the mean of a step is a straight line over the window,
	// which ends as the first loud sample comes out; behind the last, 20 dB come
	// back in the release, a straight line in decibels, from one to two windows
	// on. Closed forms of a mean of W steps and of a mean of a geometric row.
	const ahead, window = 96, 97
	const loud, soft = 14.0, -20.0
	x := append(append(steadySound(soft, 1000), steadySound(loud, 2000)...), steadySound(soft, 6000)...)
	for _, approximate := range []bool{false, true} {
		y := render(t, rendering{
			Block: "limiter", Frames: len(x), Approximate: approximate, Inputs: map[string][][]float32{"in": {x}},
			Params: map[string]float64{"look_ahead": ahead / 48000.0, "threshold": -6, "release": 0.1},
		})["out"][0]
		gain := func(i int) float64 { return float64(y[i]) / float64(x[i-ahead]) }
		for i := 990; i < 1000+ahead; i++ {
			down := max(0, float64(i-999)/window)
			// Steps of 2^-20 cut, and the roundings of single precision.
			if got, want := gain(i), 1-down*(1-0.1); math.Abs(got-want) > 3e-6+3e-3*down*0.1 {
				t.Fatalf("Sample %d has a gain of %.7f, and the straight line %.7f (short forms: %v).", i, got, want, approximate)
			}
		}
		checkGain(t, "As the first loud sample comes out", gain(1000+ahead), -6-loud)
		checkGain(t, "As the last loud sample comes out", gain(2999+ahead), -6-loud)
		// 4800 samples for 20 dB, a factor of 1.00048 a sample, which single precision
		// and the short form give to 1e-7: 2e-4 of the way, 3e-3 dB behind 15 dB.
		from := 3000 + 3*window
		for i := from; i < from+3600; i += 100 {
			if got, want := inDecibels(gain(i))-inDecibels(gain(from)), float64(i-from)/240; math.Abs(got-want) > 4e-3 {
				t.Fatalf("%d samples on the way back the gain has risen by %.4f dB, and the line by %.4f dB (short forms: %v).", i-from, got, want, approximate)
			}
		}
		// The first h that no longer sees the loud samples lies one to two windows
		// behind the last of them, and the middle of the mean half a window on.
		if behind := (inDecibels(gain(from))+6+loud)*240 - float64(from-2999); behind > -1.4*window || behind < -2.6*window {
			t.Errorf("The way back begins %.1f samples behind the last loud one, and expected are 1.5 to 2.5 windows of %d.", -behind, window)
		}
	}
}

func TestLimiterUpdates(t *testing.T) {
	t.Parallel()
	x := steadySound(0, 14400)
	with := func(threshold, release float64) map[string]float64 {
		return map[string]float64{"look_ahead": 0.001, "threshold": threshold, "release": release}
	}
	y := render(t, rendering{
		Block: "limiter", Params: with(-10, 0.1), Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
		Updates: map[string]map[int]map[string]float64{
			"threshold": {100: with(-20, 0.1), 200: with(0, 0.1)},
			"release":   {200: with(0, 1)},
		},
	})["out"][0]
	for sample, want := range map[int]float64{4799: -10, 9599: -20, 14399: -18} {
		// From sample 9600 on 4800 samples at 20 dB a second are 2 dB; half a
		// window of 49 samples is 0.01 dB.
		if got := inDecibels(float64(y[sample]) / float64(x[sample])); math.Abs(got-want) > 0.02 {
			t.Errorf("Sample %d comes out at %.3f dB, want %g dB.", sample, got, want)
		}
	}
}

func TestLimiterLinksChannels(t *testing.T) {
	t.Parallel()
	loud, soft := steadySound(6, 4800), steadySound(-20, 4800)
	y := render(t, rendering{Block: "limiter", Channels: 2, Frames: 4800, Inputs: map[string][][]float32{"in": {soft, loud}}})["out"]
	for c, x := range [][]float32{soft, loud} {
		checkGain(t, fmt.Sprintf("Channel %d beside another", c), float64(y[c][4799])/float64(x[4799]), -7)
	}
}

func TestLimiterStyles(t *testing.T) { checkStyles(t, "limiter") }
