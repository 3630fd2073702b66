package main

import (
	"math"
	"math/cmplx"
	"testing"
)

// vocoderOrders are the choices of the order, with the width by which each of its
// bandpasses is wider than a band: two alike in a row are 3 dB down where each is
// 1.5 dB down (algebra).
var vocoderOrders = []struct {
	order    string
	passes   int
	widening float64
}{{"2", 1, 1}, {"4", 2, 1 / math.Sqrt(math.Sqrt2-1)}}

// vocoderBands are the analogue bandpasses, warped, of which the vocoder is made.
func vocoderBands(bands int, lowest, highest float64, passes int, widening float64) (centres []float64, bandpass func(k int, f float64) complex128) {
	step := math.Pow(highest/lowest, 1/float64(bands-1))
	for k := range bands {
		centres = append(centres, lowest*math.Pow(step, float64(k)))
	}
	width := (math.Sqrt(step) - 1/math.Sqrt(step)) * widening
	return centres, func(k int, f float64) complex128 {
		s := warped(f, centres[k], 48000)
		damped := s * complex(width, 0)
		return cmplx.Pow(damped/(s*s+damped+1), complex(float64(passes), 0))
	}
}

func TestVocoderBySines(t *testing.T) {
	t.Parallel()
	// A sine of the voice makes every envelope as high as its band lets through,
	// times 2/pi, the mean size of a sine that the samples meet everywhere; a sine of the carrier then comes out by
	// the sum of the bands at its frequency, each by its envelope. Tones lie on bins
	// of the window that is looked at, 0.5 s, and apart from each other.
	const frames, first, rate = 48000, 24000, 48000.0
	for _, o := range vocoderOrders {
		for _, c := range []struct {
			bands           int
			lowest, highest float64
		}{{8, 200, 3800}, {16, 120, 7000}, {24, 100, 10000}} {
			centres, bandpass := vocoderBands(c.bands, c.lowest, c.highest, o.passes, o.widening)
			for _, k := range []int{0, 1, c.bands / 2, c.bands - 1} {
				voice := 2 * math.Round(centres[k]/2)
				for _, to := range []int{k, (k + 1) % c.bands} {
					tone := 2*math.Round(centres[to]/2) + 6
					x, carrier := make([]float32, frames), make([]float32, frames)
					for n := range x {
						x[n] = float32(0.8 * math.Sin(2*math.Pi*voice*float64(n)/rate))
						carrier[n] = float32(0.5 * math.Sin(2*math.Pi*tone*float64(n)/rate))
					}
					y := render(t, rendering{
						Block: "vocoder", Choices: map[string]string{"order": o.order}, Frames: frames, BlockSize: 480,
						Params: map[string]float64{"bands": float64(c.bands), "lowest": c.lowest, "highest": c.highest, "smoothing": 0.05},
						Inputs: map[string][][]float32{"in": {x}, "carrier": {carrier}},
					})["out"][0]
					got, want := complex(0, 0), complex(0, 0)
					for n := first; n < frames; n++ {
						got += complex(float64(y[n])*2/(frames-first), 0) * cmplx.Rect(1, -2*math.Pi*(tone*float64(n)/rate-0.25))
					}
					for band := range c.bands {
						want += complex(0.8*2/math.Pi*cmplx.Abs(bandpass(band, voice))*0.5, 0) * bandpass(band, tone)
					}
					if cmplx.Abs(got-want) > 0.01*cmplx.Abs(want) {
						t.Errorf("%d bands of order %s: a voice of %.0f Hz and a carrier of %.0f Hz give %.5f, want %.5f, the sum over the bands.",
							c.bands, o.order, voice, tone, got, want)
					}
				}
			}
		}
	}
}

func TestVocoderEnvelopes(t *testing.T) {
	t.Parallel()
	// When a voice ends, what it let through of the carrier falls by e in each time
	// constant (algebra of a one-pole lowpass). By then the bands have rung out.
	const stop, rate = 24000, 48000.0
	for _, smoothing := range []float64{0.02, 0.05} {
		x, carrier := make([]float32, 2*stop), make([]float32, 2*stop)
		for n := range x {
			carrier[n] = float32(math.Sin(2 * math.Pi * 1000 * float64(n) / rate))
			if n < stop {
				x[n] = carrier[n]
			}
		}
		y := render(t, rendering{
			Block: "vocoder", Frames: 2 * stop, BlockSize: 480, Params: map[string]float64{"smoothing": smoothing},
			Inputs: map[string][][]float32{"in": {x}, "carrier": {carrier}},
		})["out"]
		part := int(smoothing * rate)
		from := stop + 2*part
		fall := 10 * math.Log10(energy(y, from, from+part)/energy(y, from+part, from+2*part))
		if want := 20 * math.Log10(math.E); math.Abs(fall-want) > 0.1 {
			t.Errorf("With a time constant of %g s the carrier falls by %.2f dB in it, want %.2f dB.", smoothing, fall, want)
		}
	}
}

func TestVocoderGain(t *testing.T) {
	t.Parallel()
	// The catalog's greatest gain, for a carrier within full scale, holds over sines
	// that voice and carrier share, which is where most bands agree.
	const told = 1
	greatest := 0.0
	for _, o := range vocoderOrders {
		for _, bands := range []int{8, 16, 24} {
			centres, bandpass := vocoderBands(bands, 120, 7000, o.passes, o.widening)
			for f := centres[0]; f < centres[bands-1]; f *= 1.01 {
				sum := complex(0, 0)
				for k := range bands {
					sum += complex(2/math.Pi*cmplx.Abs(bandpass(k, f)), 0) * bandpass(k, f)
				}
				greatest = max(greatest, cmplx.Abs(sum))
			}
		}
	}
	if greatest > told || greatest < 0.7*told {
		t.Errorf("The greatest gain for sines is %.3f, and the catalog tells %d.", greatest, told)
	}
}

func TestVocoderStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "vocoder", 48000, map[string]float64{"smoothing": 0.002}, map[string]float64{"smoothing": 0.02})
}
