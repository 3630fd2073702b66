package main

import (
	"math"
	"testing"
)

func TestControlMathsOperations(t *testing.T) {
	t.Parallel()
	x, y := filterHiss(200, 3, 21), filterHiss(200, 3, 22)
	const a, b, c = -2.5, 0.7, 11.3
	for operation, of := range map[string]func(u, v float64) float64{
		"sum":     func(u, v float64) float64 { return u + v },
		"min":     math.Min,
		"max":     math.Max,
		"product": func(u, v float64) float64 { return u * v },
	} {
		got := periodic(t, rendering{
			Block: "control-maths", Choices: map[string]string{"operation": operation},
			Params: map[string]float64{"a": a, "b": b, "c": c},
			Inputs: map[string][][]float32{"x": {x}, "y": {y}},
		}, x)["out"][0]
		// Four roundings of values up to 32 are at most 4 x 9.5e-7.
		checkClose(t, "The "+operation+" of two values", got, func(n int) float64 {
			return of(a*float64(x[n]), b*float64(y[n])) + c
		}, 4e-6, "its definition")
	}
}

func TestControlMathsUpdates(t *testing.T) {
	t.Parallel()
	x, y := []float32{3, 3, 3, 3}, []float32{5, 5, 5, 5}
	got := periodic(t, rendering{
		Block: "control-maths", Inputs: map[string][][]float32{"x": {x}, "y": {y}},
		Updates: map[string]map[int]map[string]float64{
			"a": {1: {"a": 2}}, "b": {2: {"a": 2, "b": -1}}, "c": {3: {"a": 2, "b": -1, "c": 100}},
		},
	}, x)["out"][0]
	for n, want := range []float32{3 + 5, 2*3 + 5, 2*3 - 5, 2*3 - 5 + 100} {
		if got[n] != want {
			t.Errorf("After %d of the numbers have moved the sum is %g, want %g.", n, got[n], want)
		}
	}
}

func TestPitchToFrequency(t *testing.T) {
	t.Parallel()
	var pitches []float32
	for p := -8.0; p <= 8; p += 1.0 / 24 {
		pitches = append(pitches, float32(p))
	}
	for _, reference := range []float64{261.6255653, 27.5} {
		// A call of the library and a product round; the short form errs by 1.1e-7
		// (kernel.h) and rounds six times more.
		for approximate, within := range map[bool]float64{false: 2e-7, true: 6e-7} {
			got := periodic(t, rendering{
				Block: "pitch-to-frequency", Approximate: approximate, Params: map[string]float64{"reference": reference},
			}, pitches)["out"][0]
			for n, hertz := range got {
				if want := reference * math.Exp2(float64(pitches[n])); math.Abs(float64(hertz)/want-1) > within {
					t.Fatalf("At %g octaves over %g Hz the frequency is %.7g Hz (short forms: %v), and an octave is a factor of two: %.7g Hz.", pitches[n], reference, hertz, approximate, want)
				}
			}
		}
	}
}

func TestPitchToFrequencyOfNotes(t *testing.T) {
	t.Parallel()
	// One volt an octave; from middle C the notes of equal temperament (dsp 5.3,
	// MIDI 60, 69 and 48).
	got := periodic(t, rendering{
		Block:   "pitch-to-frequency",
		Updates: map[string]map[int]map[string]float64{"reference": {3: {"reference": 440}}},
	}, []float32{0, 9.0 / 12, -1, 0})["out"][0]
	for n, want := range []float64{261.6256, 440, 130.8128, 440} {
		if math.Abs(float64(got[n])-want) > 1e-3 {
			t.Errorf("Note %d comes out at %.4f Hz, want %.4f Hz.", n, got[n], want)
		}
	}
}

// walk is a random walk of so many periods at 1000 a second.
func walk(t *testing.T, speed float64, periods int) []float32 {
	t.Helper()
	return periodic(t, rendering{Block: "random-walk", Params: map[string]float64{"speed": speed}}, make([]float32, periods))["out"][0]
}

func TestRandomWalkIsItsDraws(t *testing.T) {
	t.Parallel()
	for _, speed := range []float64{0.001, 0.2, 10} {
		var seed uint32
		level, reach := 0.5, speed*math.Sqrt(3.0/1000)
		got := walk(t, speed, 3000)
		// 3000 roundings of a value below 1 add up to 1.8e-4 at most, and to some
		// 2e-6 where they fall either way.
		for n, y := range got {
			seed = 1664525*seed + 1013904223
			level += reach * float64(int32(seed)) / (1 << 31)
			switch {
			case level < 0:
				level = -level
			case level > 1:
				level = 2 - level
			}
			if math.Abs(float64(y)-level) > 2e-5 {
				t.Fatalf("At speed %g the walk is at %.7f after %d steps, and its equation at %.7f.", speed, y, n+1, level)
			}
		}
	}
}

func TestRandomWalkSpeed(t *testing.T) {
	t.Parallel()
	// Over 50 periods, long before an end is near, the squares of the ways add up
	// to speed^2 x 0.05 s; over 2000 ways the mean of squares spreads by
	// sqrt(2 / 2000), 3 %.
	const speed, span, ways = 0.1, 50, 2000
	got := walk(t, speed, span*ways+1)
	var sum float64
	for n := range ways {
		way := float64(got[(n+1)*span] - got[n*span])
		sum += way * way
	}
	if got, want := sum/ways, speed*speed*span/1000; math.Abs(got/want-1) > 0.1 {
		t.Errorf("The mean square of a way in 50 ms is %.6f, and a walk of %g in a second has %.6f.", got, speed, want)
	}
}

func TestRandomWalkFillsItsRange(t *testing.T) {
	t.Parallel()
	// Between bounds that throw back, no place is likelier than another: each
	// tenth of the range holds a tenth of the time. Across, the walk takes some
	// 0.1 s at this speed, so that 200 s are 2000 crossings.
	for _, rate := range []float64{1000, 20} {
		const periods = 200000
		got := render(t, rendering{
			Block: "random-walk", Params: map[string]float64{"speed": 3}, ControlRate: rate, BlockSize: 1, Frames: periods,
		})["out"][0]
		var tenths [10]int
		for _, y := range got {
			if y < 0 || y > 1 {
				t.Fatalf("The walk went to %g, and its bounds are 0 and 1.", y)
			}
			tenths[min(int(10*y), 9)]++
		}
		for k, n := range tenths {
			if share := float64(n) / periods; math.Abs(share-0.1) > 0.02 {
				t.Errorf("At %g periods a second the walk spends %.3f of its time in tenth %d of its range, want 0.1.", rate, share, k)
			}
		}
	}
}
