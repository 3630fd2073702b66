package main

import (
	"math"
	"math/cmplx"
	"strconv"
	"testing"
)

// halfBandResponse is the lowpass of two chains of allpasses (a + z^-2) / (1 + a
// z^-2), which take the coefficients in turn, half their sum.
func halfBandResponse(coefficients []float64, turns float64) complex128 {
	z2 := delayed(2 * turns)
	chains := [2]complex128{1, delayed(turns)}
	for i, a := range coefficients {
		a := complex(a, 0)
		chains[i%2] *= (a + z2) / (1 + a*z2)
	}
	return (chains[0] + chains[1]) / 2
}

func TestHalfBandLowpass(t *testing.T) {
	t.Parallel()
	for choice, told := range map[string]float64{"4": 53.6, "6": 80.1, "8": 106.6} {
		allpasses, err := strconv.Atoi(choice)
		if err != nil {
			t.Fatal(err)
		}
		design := halfBand(allpasses, 0.05)
		r := rendering{Block: "half-band", Choices: map[string]string{"allpasses": choice}, Frames: 4096}
		checkResponse(t, choice+" allpasses", filterKnock(t, r, 1)["out"], func(f float64) complex128 {
			return halfBandResponse(design, f/48000)
		}, 1e-6, "the closed form of Valenzuela and Constantinides")
		// The double-precision kernel keeps its memories in single precision, whose
		// rounding is what is left far down.
		r.Double = true
		h := filterKnock(t, r, 1)["out"]
		passed, stopped := 0.0, 0.0
		for i := range 401 {
			pass, stop := cmplx.Abs(filterAt(h, 0.225*float64(i)/400)), cmplx.Abs(filterAt(h, 0.275+0.225*float64(i)/400))
			passed, stopped = max(passed, math.Abs(inDecibels(pass))), max(stopped, stop)
		}
		if got := -inDecibels(stopped); math.Abs(got-told) > 0.3 {
			t.Errorf("With %s allpasses %.2f dB are stopped from 0.275 of the sample rate on, and the catalog tells %g.", choice, got, told)
		}
		// The powers of the two halves of the spectrum add up to the whole (algebra).
		if ripple := -10 * math.Log10(1-math.Pow(10, -told/10)); passed > 1.2*ripple+1e-5 {
			t.Errorf("With %s allpasses the level strays by %.7f dB up to 0.225 of the sample rate, and what is stopped leaves %.7f.", choice, passed, ripple)
		}
	}
}

func TestHalfBandAgreesWithThePublishedFour(t *testing.T) {
	t.Parallel()
	// D. Waugh's set of four for 53 dB and a transition of 0.05, 2002 (from memory).
	published := []float64{0.12073211751675449, 0.3903621872345006, 0.6632020224193995, 0.890786832653497}
	for i, a := range halfBand(4, 0.05) {
		if math.Abs(a-published[i]) > 1e-9 {
			t.Errorf("Coefficient %d of the closed form is %.12f, and the published one is %.12f.", i+1, a, published[i])
		}
	}
}

func TestHalfBandStyles(t *testing.T) { checkStyles(t, "half-band") }
