package main

import (
	"math"
	"math/cmplx"
	"testing"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

func TestFixedTableSNR(t *testing.T) {
	t.Parallel()
	// At 65536 Hz a pitch in eighths of a hertz has a whole increment.
	const pitch = 18.375
	for k := range 8 {
		length := float64(int(64) << k)
		for interpolation, share := range map[string]float64{"none": 1, "linear": 2.0 / 3} {
			y := render(t, rendering{
				Block: "fixed-table", Choices: map[string]string{"interpolation": interpolation}, Rate: exactRate, Frames: exactRate,
				Params: map[string]float64{"pitch": pitch, "length": length - 3, "tables": 1, "wave": 64}, // rounded up
			})["out"][0]
			_, level := apartFromSine(y, pitch*(1<<16), 0.5)
			// Reference page dsp 2.4, and the rounding noise of sixteen bits 98.09 dB below
			// a full-scale sine (Bennett), here of half the height; a straight line between
			// two entries of strange errors has 2/3 of their power.
			want := -10 * math.Log10(math.Pow(10, -sineSNR[interpolation][k]/10)+share*math.Pow(10, -(98.09-6.02)/10))
			// A short sine meets too few places of a step for the law of rounding noise.
			allowed := 0.5
			if interpolation == "linear" && k >= 3 {
				allowed = 1.5
			}
			if math.Abs(-level-want) > allowed {
				t.Errorf("A table of %g entries, interpolation %s, has an SNR of %.1f dB; dsp 2.4 and the noise of sixteen bits give %.1f dB.", length, interpolation, -level, want)
			}
		}
	}
}

func TestFixedTableResidue(t *testing.T) {
	t.Parallel()
	// Reference page dsp 2.4: entries of sixteen bits hold a straight line at 85.0,
	// 94.9, 98.8 and 99.2 dB for 256 to 2048 entries, computed there for sines.
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	b, err := lib.Block("fixed-table")
	if err != nil {
		t.Fatal(err)
	}
	for length, want := range map[float64]float64{256: 85.0, 512: 94.9, 1024: 98.8, 2048: 99.2} {
		use := b.DefaultUse(48000, 48)
		use.Settings[b.ParamIndex("length")].Span = blocks.Span{Low: length, High: length}
		told, has, err := use.Metric("residual_level")
		if err != nil || !has {
			t.Fatalf("A table of %g entries has no residue: %v.", length, err)
		}
		if math.Abs(told.Value+want) > 0.7 {
			t.Errorf("The catalog tells a residue of %.1f dB for %g entries, and dsp 2.4 has -%.1f dB.", told.Value, length, want)
		}
	}
}

func TestFixedTableBands(t *testing.T) {
	t.Parallel()
	// As of the float wavetable: harmonic h of wave 1 has 0.5 / h, and a band is as
	// bright as its pitch allows.
	for _, c := range []struct {
		pitch     float64
		harmonics int
	}{{55, 16}, {1047, 16}, {1600, 8}, {4186, 4}, {7000, 2}, {12000.5, 1}, {20000, 1}} {
		turns := oddTurns(c.pitch)
		bins := partials(t, rendering{Block: "fixed-table", Params: map[string]float64{"length": 8192, "tables": 8, "wave": 1}, Choices: map[string]string{"interpolation": "linear"}}, turns)
		for k := 1; k*turns < exactPeriod/2; k++ {
			want := 0.5 / float64(k)
			if k > c.harmonics {
				want = 0
			}
			// A step of sixteen bits.
			if got := cmplx.Abs(bins[k*turns]); math.Abs(got-want) > 1.0/32768 {
				t.Errorf("At %g Hz harmonic %d has the amplitude %.6f, and the wave of %d harmonics has %.6f.", c.pitch, k, got, c.harmonics, want)
			}
		}
		// 15 harmonics are each added in steps, 12 dB more than the 92 dB of one rounding.
		if level := aliasLevel(bins, turns); level > -80 {
			t.Errorf("At %g Hz the table has foldover at %.1f dB, and its harmonics end below half the sample rate.", c.pitch, level)
		}
	}
}

func TestFixedSawAliases(t *testing.T) {
	t.Parallel()
	// Reference page dsp 2.6, column a of polyBLEP 2-pt, and the Fourier series of a
	// sawtooth, 2 / (pi k), lowered by sinc^2 where its edge is rounded.
	for _, c := range []struct{ pitch, want float64 }{{110, -42}, {440, -36}, {1047, -31}, {2093, -28}, {4186, -24}} {
		turns := oddTurns(c.pitch)
		bins := partials(t, rendering{Block: "fixed-saw"}, turns)
		if got := aliasLevel(bins, turns); math.Abs(got-c.want) > 1 {
			t.Errorf("At %g Hz the sawtooth has foldover at %.2f dB, and dsp 2.6 has %g dB.", c.pitch, got, c.want)
		}
		for k := 1; k*turns < exactPeriod/2; k++ {
			want := 2 / (math.Pi * float64(k)) * math.Pow(sinc(float64(k*turns)/exactPeriod), 2)
			if got := cmplx.Abs(bins[k*turns]); math.Abs(got-want) > 3e-5 {
				t.Errorf("At %g Hz harmonic %d has the amplitude %.6f, and its Fourier series %.6f.", c.pitch, k, got, want)
			}
		}
	}
}

func TestFixedSawResidue(t *testing.T) {
	t.Parallel()
	// Against the published parabola in double, on the same phases: what its
	// sixteen bits leave is below the catalog's bound, and not without reason.
	for _, pitch := range []float64{55.123, 440.21, 1047.3, 5000.7, 19999.1} {
		increment := uint32(float64(float32(pitch)) * (1 << 16))
		y := render(t, rendering{Block: "fixed-saw", Rate: exactRate, Frames: 2 * exactRate, Params: map[string]float64{"pitch": pitch}})["out"][0]
		step, power := float64(increment)/(1<<32), 0.0
		for n, got := range y {
			phase := float64(uint32(n)*increment) / (1 << 32)
			want := 2*phase - 1
			if after := phase / step; after < 1 {
				want -= after + after - after*after - 1
			} else if before := (phase - 1) / step; before > -1 {
				want -= before*before + before + before + 1
			}
			power += (float64(got) - want) * (float64(got) - want) / float64(len(y))
		}
		level, told := 10*math.Log10(power/0.5), 10*math.Log10(pitch/exactRate)-84.3
		if level > told || level < told-12 {
			t.Errorf("At %g Hz the sawtooth is off by %.1f dB, and three cuts to sixteen bits are told as %.1f dB at most.", pitch, level, told)
		}
	}
}

func TestFixedPhaseIncrement(t *testing.T) {
	t.Parallel()
	// A phase drifts from its pitch by less than the cut of an increment, a step of
	// 2^-32 turns a sample, and a rounding of a float, 2^-24 of it, at every rate and
	// pitch, whole numbers of hertz and others.
	for _, rate := range []float64{32000, 44100, 48000, 96000} {
		for _, pitch := range []float64{0.01, 0.7, 27.5, 440, 1234.56, 9999, 15999, 20000} {
			if pitch > 0.4999*rate {
				continue
			}
			const frames = 4800
			y := render(t, rendering{Block: "fixed-table", Rate: rate, Frames: frames, Choices: map[string]string{"interpolation": "linear"},
				Params: map[string]float64{"pitch": pitch, "length": 8192, "tables": 1, "wave": 64}})["out"][0]
			greatest := 0.0
			for n, v := range y {
				greatest = max(greatest, math.Abs(float64(v)-0.5*math.Sin(2*math.Pi*math.Mod(float64(n)*float64(float32(pitch))/rate, 1))))
			}
			allowed := math.Pi*frames*(math.Exp2(-32)+math.Exp2(-23)*pitch/rate) + 2.0/32768
			if greatest > allowed {
				t.Errorf("At %g Hz and a rate of %g Hz a sine goes astray by %.3g, more than %.3g.", pitch, rate, greatest, allowed)
			}
		}
	}
}

func TestFixedOscillatorSync(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"fixed-table", "fixed-saw"} {
		checkSync(t, block)
	}
}

func TestFixedOscillatorStyles(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"fixed-table", "fixed-saw"} {
		t.Run(block, func(t *testing.T) { checkStyles(t, block) })
	}
}
