package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

func TestFMPairSidebands(t *testing.T) {
	t.Parallel()
	// Chowning 1973, from memory: sin(a + I sin b) = sum over k of J_k(I) sin(a + k
	// b), k from minus to plus infinity; below zero and beyond half the rate the
	// sidebands fold back. The Bessel functions are those of Go's library.
	for _, c := range []struct {
		turns        int
		ratio, index float64
	}{
		{441, 1, 0}, {441, 2, 1.3}, {1001, 3, 4}, {600, 1.5, 2.4048}, {999, 7, 6.1}, {64, 0.5, 20}, {1200, 0.25, 3},
	} {
		bins := partials(t, rendering{Block: "fm-pair", Params: map[string]float64{"ratio": c.ratio, "index": c.index}}, c.turns)
		want := make([]float64, len(bins))
		step := int(math.Round(float64(c.turns) * c.ratio))
		for k := -80; k <= 80; k++ {
			// A turn of the sampled circle is exactPeriod bins, and its upper half counts
			// backwards.
			bin := ((c.turns+k*step)%exactPeriod + exactPeriod) % exactPeriod
			amplitude := math.Jn(k, c.index)
			if bin > exactPeriod/2 {
				bin, amplitude = exactPeriod-bin, -amplitude
			}
			want[bin] += amplitude
		}
		for bin := 1; bin < len(bins)-1; bin++ {
			// 5.9e-7 of the polynomial, in the bend times the index, and the cut of the
			// bend to 2^-24 of a turn, 3.7e-7.
			if got := cmplx.Abs(bins[bin]); math.Abs(got-math.Abs(want[bin])) > 3e-6+1.2e-6*c.index {
				t.Fatalf("Ratio %g, index %g: bin %d holds %.7f, and the Bessel series %.7f.", c.ratio, c.index, bin, got, math.Abs(want[bin]))
			}
		}
	}
}

func TestFMFourEquation(t *testing.T) {
	t.Parallel()
	// Chowning's equation, carried on to four sines, in double precision. An error
	// in a bend is bent on by the indices below it.
	const pitch = 331.7
	params := map[string]float64{"pitch": pitch, "ratio_2": 2, "ratio_3": 0.75, "ratio_4": 7.1, "index_2": 2.2, "index_3": 1.4, "index_4": 0.9}
	step := func(ratio float64) uint32 {
		return uint32(float32(4294967296) / 48000 * (float32(ratio) * float32(pitch)))
	}
	steps := [4]uint32{step(1), step(2), step(0.75), step(7.1)}
	for route, equation := range map[string]func(a [4]float64) float64{
		"stack": func(a [4]float64) float64 {
			return math.Sin(a[0] + 2.2*math.Sin(a[1]+1.4*math.Sin(a[2]+0.9*math.Sin(a[3]))))
		},
		"fan": func(a [4]float64) float64 {
			return math.Sin(a[0] + 2.2*math.Sin(a[1]) + 1.4*math.Sin(a[2]) + 0.9*math.Sin(a[3]))
		},
		"pairs": func(a [4]float64) float64 {
			return (math.Sin(a[0]+2.2*math.Sin(a[1])) + math.Sin(a[2]+0.9*math.Sin(a[3]))) / 2
		},
	} {
		y := render(t, rendering{Block: "fm-four", Choices: map[string]string{"route": route}, Params: params, Frames: 9600})["out"][0]
		for n := range y {
			var a [4]float64
			for k, s := range steps {
				a[k] = 2 * math.Pi * float64(uint32(n)*s) / (1 << 32)
			}
			// 5.9e-7 of each polynomial and 3.7e-7 of each cut, times 2.2, 2.2 1.4 and
			// 2.2 1.4 0.9 in a stack: 8e-6.
			if want := equation(a); math.Abs(float64(y[n])-want) > 1e-5 {
				t.Fatalf("%s: sample %d is %.7f, and the equation gives %.7f.", route, n, y[n], want)
			}
		}
	}
}

func TestFMFourSidebands(t *testing.T) {
	t.Parallel()
	// Le Brun 1977, from memory: two modulators in a fan give sidebands at a + j b +
	// k c with amplitude J_j(I2) J_k(I3). The upper pairs of a stack and of two
	// pairs are those of one modulator, Chowning 1973.
	const turns = 641
	for _, c := range []struct {
		route                     string
		index_2, index_3, index_4 float64
	}{{"fan", 1.3, 2.1, 0}, {"fan", 0, 0, 3}, {"stack", 4, 0, 2}} {
		bins := partials(t, rendering{Block: "fm-four", Choices: map[string]string{"route": c.route}, Params: map[string]float64{
			"ratio_2": 2, "ratio_3": 5, "ratio_4": 3, "index_2": c.index_2, "index_3": c.index_3, "index_4": c.index_4,
		}}, turns)
		fourth := c.index_4
		if c.route == "stack" { // whose third sine bends nothing
			fourth = 0
		}
		want := make([]float64, len(bins))
		for j := -30; j <= 30; j++ {
			for k := -30; k <= 30; k++ {
				for l := -30; l <= 30; l++ {
					amplitude := math.Jn(j, c.index_2) * math.Jn(k, c.index_3) * math.Jn(l, fourth)
					if math.Abs(amplitude) < 1e-9 {
						continue
					}
					bin := (turns*(1+2*j+5*k+3*l)%exactPeriod + exactPeriod) % exactPeriod
					if bin > exactPeriod/2 {
						bin, amplitude = exactPeriod-bin, -amplitude
					}
					want[bin] += amplitude
				}
			}
		}
		for bin := 1; bin < len(bins)-1; bin++ {
			if got := cmplx.Abs(bins[bin]); math.Abs(got-math.Abs(want[bin])) > 1e-5 {
				t.Fatalf("%s: bin %d holds %.7f, and the Bessel series %.7f.", c.route, bin, got, math.Abs(want[bin]))
			}
		}
	}
}

func TestFMSixEquation(t *testing.T) {
	t.Parallel()
	// Chowning's equation, carried on to six sines, in double precision.
	const pitch = 331.7
	ratios := [6]float64{1, 2, 0.75, 7.1, 1.5, 3.2}
	index := [6]float64{0, 2.2, 1.4, 0.9, 1.7, 0.6}
	params := map[string]float64{"pitch": pitch}
	for k := 1; k < 6; k++ {
		params[fmt.Sprintf("ratio_%d", k+1)], params[fmt.Sprintf("index_%d", k+1)] = ratios[k], index[k]
	}
	for route, equation := range map[string]func(a [6]float64) float64{
		"stacks": func(a [6]float64) float64 {
			return (math.Sin(a[0]+2.2*math.Sin(a[1]+1.4*math.Sin(a[2]))) + math.Sin(a[3]+1.7*math.Sin(a[4]+0.6*math.Sin(a[5])))) / 2
		},
		"fan": func(a [6]float64) float64 {
			return math.Sin(a[0] + 2.2*math.Sin(a[1]) + 1.4*math.Sin(a[2]) + 0.9*math.Sin(a[3]) + 1.7*math.Sin(a[4]) + 0.6*math.Sin(a[5]))
		},
		"pairs": func(a [6]float64) float64 {
			return (math.Sin(a[0]+2.2*math.Sin(a[1])) + math.Sin(a[2]+0.9*math.Sin(a[3])) + math.Sin(a[4]+0.6*math.Sin(a[5]))) / 3
		},
	} {
		y := render(t, rendering{Block: "fm-six", Choices: map[string]string{"route": route}, Params: params, Frames: 9600})["out"][0]
		for n := range y {
			var a [6]float64
			for k, ratio := range ratios {
				step := uint32(float32(4294967296) / 48000 * (float32(ratio) * float32(pitch)))
				a[k] = 2 * math.Pi * float64(uint32(n)*step) / (1 << 32)
			}
			// 5.9e-7 of each polynomial and 3.7e-7 of each cut, times the indices below
			// it: at most 7.8 of them in a fan, 8e-6.
			if want := equation(a); math.Abs(float64(y[n])-want) > 1e-5 {
				t.Fatalf("%s: sample %d is %.7f, and the equation gives %.7f.", route, n, y[n], want)
			}
		}
	}
}

func TestFMSixSidebands(t *testing.T) {
	t.Parallel()
	// Three pairs at carriers a, b and c have the sidebands of three pairs, each J_k
	// of its index (Chowning 1973, from memory).
	const turns = 641
	bins := partials(t, rendering{Block: "fm-six", Choices: map[string]string{"route": "pairs"}, Params: map[string]float64{
		"ratio_2": 2, "ratio_3": 3, "ratio_4": 5, "ratio_5": 4, "ratio_6": 7, "index_2": 1.3, "index_4": 2.1, "index_6": 4,
	}}, turns)
	want := make([]float64, len(bins))
	for _, pair := range []struct {
		carrier, modulator int
		index              float64
	}{{1, 2, 1.3}, {3, 5, 2.1}, {4, 7, 4}} {
		for k := -40; k <= 40; k++ {
			bin := (turns*(pair.carrier+k*pair.modulator)%exactPeriod + exactPeriod) % exactPeriod
			amplitude := math.Jn(k, pair.index) / 3
			if bin > exactPeriod/2 {
				bin, amplitude = exactPeriod-bin, -amplitude
			}
			want[bin] += amplitude
		}
	}
	for bin := 1; bin < len(bins)-1; bin++ {
		if got := cmplx.Abs(bins[bin]); math.Abs(got-math.Abs(want[bin])) > 1e-5 {
			t.Fatalf("Bin %d holds %.7f, and the Bessel series %.7f.", bin, got, math.Abs(want[bin]))
		}
	}
}

func TestPhaseDistortionEquation(t *testing.T) {
	t.Parallel()
	// Minus the cosine of a phase in two straight pieces, in double precision
	// (Lazzarini and Timoney 2010, from memory).
	const pitch = 331.7
	increment := turnIncrement(pitch)
	for _, knee := range []float64{0.01, 0.1, 0.5, 0.75, 0.99} {
		y := render(t, rendering{Block: "phase-distortion", Frames: 9600, Params: map[string]float64{"pitch": pitch, "knee": knee}})["out"][0]
		for n := range y {
			x := float64(uint32(n)*increment) / (1 << 32)
			read := x / (2 * knee)
			if x >= knee {
				read = 0.5 + (x-knee)/(2*(1-knee))
			}
			want := -math.Cos(2 * math.Pi * read)
			// A line with a slope of 2 / knee, rounded, moves the sine by up to pi / 2
			// of three roundings of its height, which is up to 2 / (1 - knee).
			if math.Abs(float64(y[n])-want) > 1e-6+4e-7/min(knee, 1-knee) {
				t.Fatalf("Knee %g: sample %d is %.7f, and the equation gives %.7f.", knee, n, y[n], want)
			}
		}
	}
}

func TestPhaseDistortionAlias(t *testing.T) {
	t.Parallel()
	turns := oddTurns(1047)
	if got := aliasLevel(partials(t, rendering{Block: "phase-distortion", Params: map[string]float64{"knee": 0.1}}, turns), turns); math.Abs(got+55) > 1 {
		t.Errorf("Foldover at 1047 Hz and a knee of 0.1 stands at %.1f dB, and the catalog has -55 dB.", got)
	}
	// A knee of one half is a cosine: 5.9e-7 of the polynomial is -125 dB.
	if got := aliasLevel(partials(t, rendering{Block: "phase-distortion", Params: map[string]float64{"knee": 0.5}}, turns), turns); got > -120 {
		t.Errorf("A knee of one half has foldover at %.1f dB, and is a pure tone.", got)
	}
}

func TestModulationSync(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"fm-pair", "fm-four", "fm-six", "phase-distortion"} {
		free := rendering{Block: block, BlockSize: 48, Frames: 480, Params: map[string]float64{"pitch": 313}}
		synced := free
		synced.Events = map[string]map[int][]event{"sync": {5: {{0, 1}}, 6: {{0, 0}}}}
		whole, cut := render(t, free)["out"][0], render(t, synced)["out"][0]
		for i := range cut {
			if want := whole[i%240]; cut[i] != want && i >= 240 || cut[i] != whole[i] && i < 240 {
				t.Fatalf("%s: sample %d is %g, and the tone that begins again at sample 240 has %g.", block, i, cut[i], want)
			}
		}
		if whole[240] == whole[0] {
			t.Errorf("%s stands at its start at sample 240 without a sync, so that the test shows nothing.", block)
		}
	}
}

func TestFMPairStyles(t *testing.T) { checkStyles(t, "fm-pair") }

func TestPhaseDistortionStyles(t *testing.T) { checkStyles(t, "phase-distortion") }

func TestFMFourStyles(t *testing.T) { checkStyles(t, "fm-four") }

func TestFMSixStyles(t *testing.T) { checkStyles(t, "fm-six") }
