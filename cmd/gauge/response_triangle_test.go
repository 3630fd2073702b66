package main

import (
	"math"
	"math/cmplx"
	"testing"
)

// triangleSeries is the amplitude of harmonic k of a triangle from -1 to 1, its
// Fourier series. Rounding puts a window of straight sides, two samples long,
// over each corner, so that the harmonics fall by sinc^2.
func triangleSeries(k int, turnsPerSample float64, rounded bool) float64 {
	if k%2 == 0 {
		return 0
	}
	a := 8 / math.Pow(math.Pi*float64(k), 2)
	if rounded {
		a *= math.Pow(sinc(float64(k)*turnsPerSample), 2)
	}
	return a
}

func TestTriangleHarmonics(t *testing.T) {
	t.Parallel()
	// What folds back from the series comes to lie on no harmonic. A sample of
	// single precision is rounded by up to 6e-8, its corner by the phase's step.
	for _, pitch := range []float64{110, 440, 4186} {
		turns := oddTurns(pitch)
		for block, rounded := range map[string]bool{"naive-triangle": false, "bandlimited-triangle": true} {
			bins := partials(t, rendering{Block: block}, turns)
			for k := 1; k*turns < exactPeriod/2; k++ {
				want := triangleSeries(k, float64(turns)/exactPeriod, rounded)
				if got := cmplx.Abs(bins[k*turns]); math.Abs(got-want) > 1e-6 {
					t.Errorf("%s at %g Hz: harmonic %d has the amplitude %.7f, and its Fourier series %.7f.", block, pitch, k, got, want)
				}
			}
			if rest := cmplx.Abs(bins[0]) / 2; rest > 1e-6 {
				t.Errorf("%s at %g Hz stands %.7f off the middle, and a triangle's mean is 0.", block, pitch, rest)
			}
		}
	}
}

func TestTriangleAliases(t *testing.T) {
	t.Parallel()
	// The levels of the Fourier series, and at 1047 Hz those of the catalog.
	catalogued := map[string]float64{"naive-triangle": -48, "bandlimited-triangle": -60}
	for _, pitch := range []float64{440, 1047, 4186} {
		turns := oddTurns(pitch)
		for block, rounded := range map[string]bool{"naive-triangle": false, "bandlimited-triangle": true} {
			got := aliasLevel(partials(t, rendering{Block: block}, turns), turns)
			var harmonics, alias float64
			for k := 1; k < 200000; k += 2 {
				e := math.Pow(triangleSeries(k, float64(turns)/exactPeriod, rounded), 2)
				if k*turns < exactPeriod/2 {
					harmonics += e
				} else {
					alias += e
				}
			}
			if want := 10 * math.Log10(alias/harmonics); math.Abs(got-want) > 0.1 {
				t.Errorf("%s at %g Hz has foldover at %.2f dB, and its Fourier series %.2f dB.", block, pitch, got, want)
			}
			if want := catalogued[block]; pitch == 1047 && math.Abs(got-want) > 1 {
				t.Errorf("%s at 1047 Hz has foldover at %.2f dB, and the catalog %g dB.", block, got, want)
			}
		}
	}
}
