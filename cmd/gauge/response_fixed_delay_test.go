package main

import (
	"fmt"
	"math"
	"testing"
)

// fixedDelay is a rendering of the fixed-point delay line, its time in samples.
func fixedDelay(format, interpolation string, samples, taps, feedback float64, x []float32) rendering {
	return rendering{
		Block: "fixed-delay", Choices: map[string]string{"format": format, "interpolation": interpolation}, Frames: len(x),
		Params: map[string]float64{"time": samples / 48000, "taps": taps, "feedback": feedback}, Inputs: map[string][][]float32{"in": {x}},
	}
}

func TestFixedDelayEchoes(t *testing.T) {
	t.Parallel()
	for format, bits := range fixedWords {
		for interpolation, weights := range interpolationWeights {
			if interpolation == "cubic" {
				continue // which the fixed-point line has not
			}
			for _, c := range []struct {
				samples, taps, feedback float64
				want                    map[float64]float64 // by place between samples
			}{
				{1, 1, 0, map[float64]float64{1: 0.5}},
				{100, 1, 0, map[float64]float64{100: 0.5}},
				{147, 1, -0.5, map[float64]float64{147: 0.5, 294: -0.25, 441: 0.125}},
				{120, 4, 0, map[float64]float64{30: 0.125, 60: 0.125, 90: 0.125, 120: 0.125}},
				{200, 2, 0.5, map[float64]float64{100: 0.25, 200: 0.25, 300: 0.125, 400: 0.125, 500: 0.0625}},
				{20.25, 1, 0, map[float64]float64{20.25: 0.5}},
				{20.875, 1, 0, map[float64]float64{20.875: 0.5}},
				{61.5, 3, 0, map[float64]float64{20.5: 0.5 / 3, 41: 0.5 / 3, 61.5: 0.5 / 3}},
			} {
				x := make([]float32, 528)
				x[0] = 0.5
				want := map[int]float64{}
				for place, size := range c.want {
					whole, fraction := math.Modf(place)
					for k, w := range weights(fraction) {
						if at := int(whole) + k - 1; w != 0 && at < len(x) {
							want[at] += size * w
						}
					}
				}
				got := render(t, fixedDelay(format, interpolation, c.samples, c.taps, c.feedback, x))["out"][0][:len(x)]
				// Half a step a pass, and the share of a fraction that a float's rounding of
				// the time leaves.
				checkEchoes(t, fmt.Sprintf("%s, %s, %v", format, interpolation, c), got, want, 2*math.Exp2(-bits)+1e-5,
					"w[n] = x[n] + feedback w[n - M], taps of 1/K at k M / K, weights of the nearest sample and the straight line")
			}
		}
	}
}

func TestFixedDelayNoise(t *testing.T) {
	t.Parallel()
	for format := range fixedWords {
		for _, g := range []float64{0, 0.7, -0.9} {
			const samples = 37
			x := filterHiss(48000, 1-math.Abs(g), 3)
			y := render(t, fixedDelay(format, "none", samples, 1, g, x))["out"][0][:len(x)]
			want, noise := make([]float64, len(x)), 0.0
			for i := samples; i < len(x); i++ {
				want[i] = float64(x[i-samples]) + float64(float32(g))*want[i-samples]
				noise += (float64(y[i]) - want[i]) * (float64(y[i]) - want[i]) / float64(len(x)-samples)
			}
			snr := 10 * math.Log10(0.5/noise)
			// Bennett's 6.0206 N + 1.7609 dB for 16 bits, and the noise gain of a loop,
			// 1 / (1 - g^2) (reference page dsp 2.3); 146 dB of the wires.
			told := 98.09 + 10*math.Log10(1-g*g)
			if format == "q15" && math.Abs(snr-told) > 0.3 || format == "q31" && snr < 146 {
				t.Errorf("Under a feedback of %g in %s a full-scale sine stands %.2f dB over the error; rounding noise in a loop gives %.2f dB for sixteen bits.", g, format, snr, told)
			}
		}
	}
}

func TestFixedDelayEnds(t *testing.T) {
	t.Parallel()
	// The dead band of rounding to the nearest: at most 0.5 / (1 - g) steps stay
	// (L.B. Jackson, An Analysis of Limit Cycles Due to Multiplication Rounding in
	// Recursive Digital Filters, 1969, from memory). Here 0.9 leaves 5 of them.
	x := make([]float32, 9600)
	x[0] = 0.5
	y := render(t, fixedDelay("q15", "none", 10, 1, 0.9, x))["out"][0]
	loudest := 0.0
	for _, v := range y[9000:9600] {
		loudest = max(loudest, math.Abs(float64(v)))
	}
	if steps := loudest * 32768; steps > 5 || steps < 1 {
		t.Errorf("A loop of 0.9 ends in %g steps of q15, and the dead band is 5.", steps)
	}
	for format, bits := range fixedWords {
		for i := range x {
			x[i] = 3 * float32(1-i%20/10*2)
		}
		y := render(t, fixedDelay(format, "linear", 10.5, 3, 1, x))["out"][0]
		for i, v := range y {
			if math.Abs(float64(v)) > 1 {
				t.Fatalf("A loop of 1 under a wave of 3 in %s gives %g at sample %d, and is held at 1.", format, v, i)
			}
		}
		// Equal signs meet at full scale in a loop of whole length.
		y = render(t, fixedDelay(format, "none", 20, 1, 1, x))["out"][0]
		for i := 40; i < 400; i++ {
			if off := math.Abs(float64(y[i]) - float64(x[i])/3); off > math.Exp2(-bits)+1e-9 {
				t.Fatalf("Under %g in %s a loop of 1 gives %g at sample %d, and is held at full scale.", x[i], format, y[i], i)
			}
		}
	}
}

func TestFixedDelayUpdate(t *testing.T) {
	t.Parallel()
	// An update to 40 samples before block 1 reads what block 0 wrote 40 samples
	// before.
	x := filterHiss(96, 0.5, 5)
	for format, bits := range fixedWords {
		for _, interpolation := range []string{"none", "linear"} {
			r := fixedDelay(format, interpolation, 90, 1, 0, x)
			r.Updates = map[string]map[int]map[string]float64{"position": {1: {"time": 40.0 / 48000}}}
			got := render(t, r)["out"][0]
			for n := 48; n < 96; n++ {
				if math.Abs(float64(got[n]-x[n-40])) > math.Exp2(-bits)+1e-5 {
					t.Errorf("After a change to 40 samples (%s, %s) sample %d is %v; 40 samples before it went in %v.", format, interpolation, n, got[n], x[n-40])
					break
				}
			}
		}
	}
}

func TestFixedDelayStyles(t *testing.T) {
	t.Parallel()
	for _, taps := range []float64{1, 3} {
		checkLineStyles(t, "fixed-delay", 48000, map[string]float64{"time": 0.002, "feedback": 0.5, "taps": taps}, nil)
	}
}
