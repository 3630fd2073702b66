package main

import (
	"math"
	"slices"
	"testing"
)

// integratedCurves are curves with their antiderivatives, in pieces as calculus
// gives them, and their alias energy in decibels as the catalog has it.
var integratedCurves = map[string]struct {
	curve, area func(v float64) float64
	alias       float64
}{
	"hard": {
		func(v float64) float64 { return max(-1, min(1, v)) },
		func(v float64) float64 {
			if math.Abs(v) > 1 {
				return math.Abs(v) - 0.5
			}
			return v * v / 2
		}, -51,
	},
	"cubic": {
		func(v float64) float64 { v = max(-1.5, min(1.5, v)); return v - 4*v*v*v/27 },
		func(v float64) float64 {
			// At 1.5 the area is 9/8 - 3/16, and beyond it the curve is 1.
			if math.Abs(v) > 1.5 {
				return 9.0/8 - 3.0/16 + math.Abs(v) - 1.5
			}
			return v*v/2 - math.Pow(v, 4)/27
		}, -78,
	},
}

func integrated(curve string, drive float64, x []float32) rendering {
	return rendering{
		Block: "integrated-clip", Choices: map[string]string{"curve": curve}, Frames: len(x),
		Params: map[string]float64{"drive": drive}, Inputs: map[string][][]float32{"in": {x}},
	}
}

func TestIntegratedClipEquation(t *testing.T) {
	t.Parallel()
	// The mean of the curve over the way, by its closed form in double precision
	// (Parker, Zavalishin and Le Bivic 2016, from memory). Areas in single
	// precision are off by 6e-8 of 1 + F, against steps of 0.001 (1 + F) and more;
	// the middle of a shorter step, at drive 40 up to 0.04, lies within an eighth
	// of the step from the mean.
	x := append(filterHiss(2400, 1, 71), make([]float32, 2400)...)
	for i := 2400; i < 4800; i++ {
		x[i] = float32(1.2 * math.Sin(float64(i)/300) * math.Sin(float64(i)*float64(i)/1e6))
	}
	for name, c := range integratedCurves {
		for _, drive := range []float64{0, 0.7, 2, 40} {
			fell, last := 0, 0.0
			for i, got := range render(t, integrated(name, drive, x))["out"][0] {
				v := drive * float64(x[i])
				step, want := v-last, c.curve(v)
				band := 3e-4
				if math.Abs(step) <= 0.001*(1+c.area(v)) {
					fell++
				}
				if step != 0 {
					want = (c.area(v) - c.area(last)) / step
				}
				if math.Abs(float64(got)-want) > band {
					t.Fatalf("%s at drive %g: sample %d is %.7f, and the mean of the curve %.7f.", name, drive, i, got, want)
				}
				last = v
			}
			if fell < 5 {
				t.Errorf("%s at drive %g: only %d steps are short, too few to show that the middle is read.", name, drive, fell)
			}
		}
	}
}

func TestIntegratedClipStandsAtItsCurve(t *testing.T) {
	t.Parallel()
	// What stands still comes out on the curve itself, also far beyond full scale.
	for name, c := range integratedCurves {
		for _, level := range []float32{-1, -0.6, 0.3, 0.9, 1} {
			for _, drive := range []float64{1, 1.4, 100} {
				x := make([]float32, 96)
				for i := range x {
					x[i] = level
				}
				got, want := float64(render(t, integrated(name, drive, x))["out"][0][95]), c.curve(drive*float64(level))
				if math.Abs(got-want) > 3e-7 {
					t.Errorf("%s: a steady %g at drive %g comes out at %.8f, want %.8f.", name, level, drive, got, want)
				}
			}
		}
	}
}

func TestIntegratedClipAlias(t *testing.T) {
	t.Parallel()
	for name, c := range integratedCurves {
		if got := clipAlias(t, integrated(name, 2, clipTone())); math.Abs(got-c.alias) > 1 {
			t.Errorf("%s: the alias of 1245 Hz at drive 2 stands at %.1f dB, and the catalog has %g dB.", name, got, c.alias)
		}
	}
}

func TestIntegratedClipStyles(t *testing.T) {
	t.Parallel()
	// One sample a call gives the bits of whole blocks, and so does a drive that
	// audio moves, which is the same as a signal that was driven before.
	x := [][]float32{filterHiss(336, 1, 72), filterHiss(336, 1, 73)}
	moving, driven := make([]float32, 336), [][]float32{make([]float32, 336), make([]float32, 336)}
	for i := range moving {
		moving[i] = 0.5 + float32(i)/100
		for c := range driven {
			driven[c][i] = moving[i] * x[c][i]
		}
	}
	for name := range integratedCurves {
		set := integrated(name, 1, x[0])
		set.Channels, set.Inputs = 2, map[string][][]float32{"in": driven}
		want := render(t, set)["out"]
		moved := set
		moved.Inputs, moved.Moved = map[string][][]float32{"in": x}, map[string][]float32{"drive": moving}
		for what, r := range map[string]rendering{"one sample a call": set, "a drive moved by audio": moved, "both": moved} {
			if what != "a drive moved by audio" {
				r.BlockSize, r.OneSample = 7, true
			}
			for c, got := range render(t, r)["out"] {
				if !slices.Equal(got, want[c]) {
					t.Errorf("%s: channel %d differs with %s.", name, c, what)
				}
			}
		}
	}
}
