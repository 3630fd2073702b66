package main

import (
	"math"
	"math/cmplx"
	"slices"
	"strconv"
	"testing"
)

// halfBand are the coefficients of an elliptic half-band filter of two chains
// of allpasses, in rising order, for a transition band of so many parts of the
// sample rate: R. Valenzuela and A. Constantinides, IEE Proceedings 130(6), 1983
// (series of theta functions, from memory).
func halfBand(allpasses int, transition float64) []float64 {
	k := math.Pow(math.Tan((1-2*transition)*math.Pi/4), 2)
	root := math.Sqrt(math.Sqrt(1 - k*k))
	e := 0.5 * (1 - root) / (1 + root)
	q := e + 2*math.Pow(e, 5) + 15*math.Pow(e, 9) + 150*math.Pow(e, 13)
	var list []float64
	for c := 1; c <= allpasses; c++ {
		angle := float64(c) * math.Pi / float64(2*allpasses+1)
		over, under := 0.0, 0.5
		sign := 1.0
		for i := range 12 {
			m := float64(i)
			over += sign * math.Pow(q, m*(m+1)) * math.Sin((2*m+1)*angle)
			if i > 0 {
				under += sign * math.Pow(q, m*m) * math.Cos(2*m*angle)
			}
			sign = -sign
		}
		w := math.Sqrt(q) * over * over / (under * under)
		x := math.Sqrt((1-w*k)*(1-w/k)) / (1 + w)
		list = append(list, (1-x)/(1+x))
	}
	slices.Sort(list)
	return list
}

// allpassChain is the response of every second allpass of a list.
func allpassChain(coefficients []float64, first int, turns float64) complex128 {
	z2 := delayed(2 * turns)
	h := complex(1, 0)
	for i := first; i < len(coefficients); i += 2 {
		a := complex(coefficients[i], 0)
		h *= (a - z2) / (1 - a*z2)
	}
	return h
}

func TestHalfBandAgreesWithAPublishedSet(t *testing.T) {
	t.Parallel()
	// O. Niemitalo's Hilbert pair of 2 x 4 allpasses (from memory), whose design
	// edge is not told: the closed form meets it at 1/2182 of the sample rate.
	published := []float64{0.4021921162426, 0.6923878, 0.8561710882420, 0.9360654322959, 0.9722909545651, 0.9882295226860, 0.9952884791278, 0.9987488452737}
	for i, a := range halfBand(8, 2.0/2182) {
		if want := published[i] * published[i]; math.Abs(a-want) > 1e-3 {
			t.Errorf("Coefficient %d of the closed form is %.6f, and the published one is %.6f.", i+1, a, want)
		}
	}
}

func TestHilbertPairResponse(t *testing.T) {
	t.Parallel()
	for choice, told := range map[string]float64{"6": 2.9, "8": 0.76, "12": 0.053} {
		allpasses, err := strconv.Atoi(choice)
		if err != nil {
			t.Fatal(err)
		}
		design := halfBand(allpasses, 2.0/2400)
		outs := filterKnock(t, rendering{Block: "hilbert-pair", Choices: map[string]string{"allpasses": choice}, Frames: 32768}, 1)
		checkResponse(t, "the cosine of "+choice, outs["cosine"], func(f float64) complex128 {
			return allpassChain(design, 0, f/48000)
		}, 2e-4, "the closed form of Valenzuela and Constantinides")
		checkResponse(t, "the sine of "+choice, outs["sine"], func(f float64) complex128 {
			return delayed(f/48000) * allpassChain(design, 1, f/48000)
		}, 2e-4, "the closed form of Valenzuela and Constantinides")
		greatest := 0.0
		const steps = 60
		for i := range steps + 1 {
			f := 20 * math.Pow(600, float64(i)/steps)
			for _, f := range []float64{f, 24000 - f} { // the band is its own mirror image about a quarter of the rate
				cosine, sine := filterAt(outs["cosine"], f/48000), filterAt(outs["sine"], f/48000)
				behind := cmplx.Phase(cosine/sine) * 180 / math.Pi
				greatest = max(greatest, math.Abs(behind-90))
				if off := max(math.Abs(inDecibels(cmplx.Abs(cosine))), math.Abs(inDecibels(cmplx.Abs(sine)))); off > 1e-3 {
					t.Errorf("With %s allpasses a level is %.4f dB off at %g Hz, and an allpass has 0 dB.", choice, off, f)
				}
			}
		}
		if greatest > told || greatest < 0.8*told {
			t.Errorf("With %s allpasses the sine strays from 90 degrees behind the cosine by up to %.4f degrees, and the catalog tells %g.", choice, greatest, told)
		}
	}
}

func TestHilbertPairStyles(t *testing.T) { checkStyles(t, "hilbert-pair") }
