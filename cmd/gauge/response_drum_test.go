package main

import (
	"math"
	"testing"
)

// struck is a drum that is struck at the start.
func struck(block string, choices map[string]string, frames int, params map[string]float64) rendering {
	return rendering{
		Block: block, Choices: choices, Frames: frames, Params: params,
		Events: map[string]map[int][]event{"trigger": {0: {{0, 1}}}},
	}
}

// falling is a level n samples after a stroke, at 48 kHz: 60 dB down after its
// time, and over at -100 dB.
func falling(n int, seconds float64) float64 {
	if level := math.Pow(10, -3*float64(n)/(48000*seconds)); level >= 1e-5 {
		return level
	}
	return 0
}

func TestKickDrumEquation(t *testing.T) {
	t.Parallel()
	// A parabola is 8 p (1 - 2 |p|) for p from -1/2 to 1/2 of a turn (reference page
	// dsp 2.8); a polynomial of degree 5 misses the sine by 6.8e-5 at most.
	waves := map[string]func(turns float64) float64{
		"polynomial": func(turns float64) float64 { return math.Sin(2 * math.Pi * turns) },
		"parabola": func(turns float64) float64 {
			p := turns - math.Round(turns)
			return 8 * p * (1 - 2*math.Abs(p))
		},
	}
	for sine, wave := range waves {
		for _, c := range []struct{ pitch, bend, glide, decay float64 }{{50, 3.5, 0.07, 0.5}, {200, 0, 0.05, 0.05}, {61.7, 9, 0.3, 0.1}} {
			y := render(t, struck("kick-drum", map[string]string{"sine": sine}, 9600, map[string]float64{
				"pitch": c.pitch, "bend": c.bend, "glide": c.glide, "decay": c.decay,
			}))["out"][0]
			turns := 0.0
			for n := range y {
				// Factors and steps in single precision are off by up to 6e-8 of
				// themselves, which over 4800 samples of a fall or 100 turns is 3e-4,
				// and the polynomial adds its 6.8e-5.
				if want := falling(n, c.decay) * wave(turns); math.Abs(float64(y[n])-want) > 4e-4 {
					t.Errorf("A kick drum by the %s at %g Hz, bend %g: sample %d is %.6f, and the equation gives %.6f.", sine, c.pitch, c.bend, n, y[n], want)
					break
				}
				turns += c.pitch * (1 + c.bend*falling(n, c.glide)) / 48000
			}
		}
	}
}

func TestSnareDrumEquation(t *testing.T) {
	t.Parallel()
	noise := whiteNoise(9600)
	for _, filter := range []string{"bandpass", "none"} {
		for _, c := range []struct{ pitch, ring, snares, decay, centre, q float64 }{
			{185, 0.15, 0.6, 0.25, 2500, 0.6}, {330, 0.05, 0.25, 0.5, 5000, 3}, {1000, 1, 1, 0.05, 900, 0.3},
		} {
			y := render(t, struck("snare-drum", map[string]string{"filter": filter}, 9600, map[string]float64{
				"pitch": c.pitch, "ring": c.ring, "snares": c.snares, "decay": c.decay, "centre": c.centre, "q": c.q,
			}))["out"][0]
			rattle := noise
			if filter == "bandpass" {
				// R. Bristow-Johnson's cookbook, bandpass with a peak of 0 dB, in direct form I.
				w := 2 * math.Pi * c.centre / 48000
				alpha := math.Sin(w) / (2 * c.q)
				rattle = secondOrder(noise, [3]float64{alpha, 0, -alpha}, [3]float64{1 + alpha, -2 * math.Cos(w), 1 - alpha})
			}
			for n := range y {
				want := c.snares*falling(n, c.decay)*rattle[n] + (1-c.snares)*falling(n, c.ring)*math.Sin(2*math.Pi*c.pitch*float64(n)/48000)
				if math.Abs(float64(y[n])-want) > 4e-4 { // as for the kick drum
					t.Errorf("A snare drum with filter %s at %g Hz: sample %d is %.6f, and the equation gives %.6f.", filter, c.pitch, n, y[n], want)
					break
				}
			}
		}
	}
}

// secondOrder is a filter of two poles, b over a, in direct form I.
func secondOrder(x []float64, b, a [3]float64) []float64 {
	y := make([]float64, len(x))
	at := func(v []float64, n int) float64 {
		if n < 0 {
			return 0
		}
		return v[n]
	}
	for n := range y {
		y[n] = (b[0]*x[n] + b[1]*at(x, n-1) + b[2]*at(x, n-2) - a[1]*at(y, n-1) - a[2]*at(y, n-2)) / a[0]
	}
	return y
}

func TestHatEquation(t *testing.T) {
	t.Parallel()
	roots := []float64{1, 2, 3, 5, 7, 11}
	for _, squares := range []int{1, 2, 4, 6} {
		for _, c := range []struct{ pitch, cutoff, decay float64 }{{390, 6000, 0.12}, {40, 200, 1}, {1999, 8000, 0.03}} {
			// Struck once the highpass has forgotten its start.
			const silence = 4800
			r := struck("hat", nil, silence+4800, map[string]float64{
				"pitch": c.pitch, "squares": float64(squares), "cutoff": c.cutoff, "decay": c.decay,
			})
			r.Events = map[string]map[int][]event{"trigger": {silence / 48: {{0, 1}}}}
			y := render(t, r)["out"][0]
			x := make([]float64, len(y))
			for k := range squares {
				// Steps are whole numbers of 2^-32 turns of what single precision gives.
				step := uint32(float32(4294967296.0/48000*float64(float32(c.pitch))) * float32(math.Sqrt(roots[k])))
				for n, phase := 0, uint32(0); n < len(x); n, phase = n+1, phase+step {
					x[n] += float64(int(phase>>31)*2 - 1)
				}
			}
			w := 2 * math.Pi * c.cutoff / 48000
			cosine, alpha := math.Cos(w), math.Sin(w)*math.Sqrt2/2
			want := secondOrder(x, [3]float64{(1 + cosine) / 2, -1 - cosine, (1 + cosine) / 2}, [3]float64{1 + alpha, -2 * cosine, 1 - alpha})
			for n := range y {
				level := 0.0
				if n >= silence {
					level = falling(n-silence, c.decay)
				}
				if math.Abs(float64(y[n])-0.9/float64(squares)*level*want[n]) > 1e-3 {
					t.Errorf("A hat of %d squares at %g Hz through %g Hz: sample %d is %.6f, and the equation gives %.6f.", squares, c.pitch, c.cutoff, n, y[n], 0.9/float64(squares)*level*want[n])
					break
				}
			}
		}
	}
}

func TestDrumsAreSilentUntilStruck(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"kick-drum", "snare-drum", "hat"} {
		silent := struck(block, nil, 480, nil)
		silent.Events = nil
		released := silent
		released.Events = map[string]map[int][]event{"trigger": {0: {{0, 0}}}}
		for name, r := range map[string]rendering{"without a trigger": silent, "after a falling gate": released} {
			for i, v := range render(t, r)["out"][0] {
				if v != 0 {
					t.Errorf("Sample %d of the %s %s is %g, and it has not been struck.", i, block, name, v)
					break
				}
			}
		}
		// One sample a call and whole blocks go the same way while it sounds.
		single := struck(block, nil, 4800, nil)
		single.OneSample = true
		whole, one := render(t, struck(block, nil, 4800, nil))["out"][0], render(t, single)["out"][0]
		heard := false
		for i := range whole {
			heard = heard || whole[i] != 0
			if whole[i] != one[i] {
				t.Errorf("Sample %d of the %s is %g with one sample a call, and %g in blocks.", i, block, one[i], whole[i])
				break
			}
		}
		if !heard {
			t.Errorf("The %s is silent after a trigger.", block)
		}
	}
}

func TestDrumStyles(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"kick-drum", "snare-drum", "hat"} {
		checkStyles(t, block)
	}
}
