package blocks

import (
	"math"
	"testing"
)

// The reference page dsp 2.5: RMS and worst SNR of an interpolated read at
// 48 kHz, over all fractions, computed apart from this code. The page's read
// without interpolation takes the sample before, ours the nearest: as the
// fraction is at most half as large, ours has at twice the frequency what the
// page has at one.
func TestReadError(t *testing.T) {
	hertz := []float64{100, 500, 1000, 2000, 5000, 10000, 15000, 20000}
	for points, want := range map[int][][2]float64{
		1: {{42, 38}, {29, 24}, {22, 18}, {16, 12}, {9, 4}, {3, -2}, {0, -4}, {-2, -6}},
		2: {{96, 93}, {68, 65}, {56, 53}, {44, 41}, {28, 26}, {16, 14}, {10, 7}, {5, 3}},
		4: {{152, 149}, {110, 107}, {92, 89}, {73, 71}, {48, 46}, {27, 25}, {15, 12}, {7, 4}},
	} {
		for i, f := range hertz {
			if points == 1 {
				f *= 2
			}
			radians := 2 * math.Pi * f / 48000
			worst := 0.0
			for d := range 1000 {
				worst = max(worst, readError(points, radians, float64(d)/1000))
			}
			for k, got := range []float64{-10 * math.Log10(meanReadError(points, radians)), -10 * math.Log10(worst)} {
				// The page rounds to whole decibels.
				if math.Abs(got-want[i][k]) > 1 {
					t.Errorf("a read of %d points at %g Hz has %.1f dB (%d: 0 RMS, 1 worst), and dsp 2.5 has %g", points, f, got, k, want[i][k])
				}
			}
		}
	}
}

// A tone in the middle of the band, or a mean over the band: more points and a
// higher rate never do worse, and nothing is better than float32.
func TestInterpolationSNR(t *testing.T) {
	before := 0.0
	for _, rate := range []float64{8000, 24000, 48000, 96000, 768000} {
		last := 0.0
		for _, points := range []float64{1, 2, 4} {
			snr := interpolationSNR(points, rate)
			if snr < last || snr > floatSNR {
				t.Errorf("at %g Hz a read of %g points has %.1f dB after %.1f with fewer, want more and at most %d", rate, points, snr, last, floatSNR)
			}
			last = snr
		}
		if last < before {
			t.Errorf("at %g Hz a curve has %.1f dB, and at a lower rate it had %.1f", rate, last, before)
		}
		before = last
	}
	// The mean over the band lies between the levels at its ends.
	low, high := meanReadError(2, 2*math.Pi*musicFrom/48000), meanReadError(2, 2*math.Pi*musicTo/48000)
	if snr := interpolationSNR(2, 48000); snr > -10*math.Log10(low) || snr < -10*math.Log10(high) {
		t.Errorf("a straight line at 48 kHz has %.1f dB over the band, want it between %.1f and %.1f at its ends", snr, -10*math.Log10(high), -10*math.Log10(low))
	}
}

func TestInterpolationSNRInFormulas(t *testing.T) {
	scope := NewScope()
	scope.Define("rate", PerSecond)
	f, err := CompileFormula("interpolation_snr(2, rate)", scope, Plain)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := f.Eval([]float64{48000}); err != nil || got != interpolationSNR(2, 48000) {
		t.Errorf("interpolation_snr(2, 48 kHz) is %g (%v), want %g", got, err, interpolationSNR(2, 48000))
	}
	for _, text := range []string{"interpolation_snr(2)", "interpolation_snr(rate, 2)", "interpolation_snr(2, 48000)"} {
		if _, err := CompileFormula(text, scope, Plain); err == nil {
			t.Errorf("'%s' compiles, and it gives no points and a rate", text)
		}
	}
}
