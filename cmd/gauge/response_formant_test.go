package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// menVowels are formants of heed, hid, head, had, hod, hawed, hood, who'd, hud
// and heard in hertz and decibels: G.E. Peterson and H.L. Barney, JASA 24(2),
// 1952, table II, averages of men (from memory).
var menVowels = []struct{ hertz, level [3]float64 }{
	{[3]float64{270, 2290, 3010}, [3]float64{-4, -24, -28}},
	{[3]float64{390, 1990, 2550}, [3]float64{-3, -23, -27}},
	{[3]float64{530, 1840, 2480}, [3]float64{-2, -17, -24}},
	{[3]float64{660, 1720, 2410}, [3]float64{-1, -12, -22}},
	{[3]float64{730, 1090, 2440}, [3]float64{-1, -5, -28}},
	{[3]float64{570, 840, 2410}, [3]float64{0, -7, -34}},
	{[3]float64{440, 1020, 2240}, [3]float64{-1, -12, -34}},
	{[3]float64{300, 870, 2240}, [3]float64{-3, -19, -43}},
	{[3]float64{640, 1190, 2390}, [3]float64{-1, -10, -27}},
	{[3]float64{490, 1350, 1690}, [3]float64{-5, -15, -20}},
}

// formantsAt are five formants at a place between vowels; bandwidths and what
// lies above the third are those of D.H. Klatt, JASA 67(3), 1980 (from memory),
// the levels of these two our own.
func formantsAt(vowel float64) (hertz, level, bandwidth []float64) {
	at := min(int(vowel), len(menVowels)-2)
	rest := vowel - float64(at)
	for k := range 3 {
		a, b := menVowels[at], menVowels[at+1]
		hertz = append(hertz, a.hertz[k]+rest*(b.hertz[k]-a.hertz[k]))
		level = append(level, a.level[k]+rest*(b.level[k]-a.level[k]))
	}
	return append(hertz, 3300, 3750), append(level, -38, -44), []float64{50, 70, 110, 250, 200}
}

func formantKnock(t *testing.T, vowel float64, formants int, approximate bool) []float64 {
	t.Helper()
	return filterKnock(t, rendering{
		Block: "formant-filter", Frames: 16384, Approximate: approximate,
		Params: map[string]float64{"vowel": vowel, "formants": float64(formants)},
	}, 1)["out"]
}

func TestFormantResponse(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		vowel       float64
		formants    int
		approximate bool
	}{{0, 3, false}, {3, 4, false}, {4.5, 5, false}, {7.25, 5, false}, {9, 3, false}, {8.4, 4, true}} {
		hertz, level, bandwidth := formantsAt(c.vowel)
		checkResponse(t, fmt.Sprintf("%d formants at vowel %g", c.formants, c.vowel), formantKnock(t, c.vowel, c.formants, c.approximate),
			func(f float64) complex128 {
				sum, sign := complex(0, 0), 1.0
				for k := range c.formants {
					s := warped(f, hertz[k], 48000)
					bent := s * complex(bandwidth[k]/hertz[k], 0)
					sum += complex(sign*hertz[k]/hertz[0]*math.Pow(10, level[k]/20), 0) * bent / (s*s + bent + 1)
					sign = -sign
				}
				return sum
			}, 1e-3, "the sum of analogue bandpasses, warped,")
	}
}

func TestFormantPeaks(t *testing.T) {
	t.Parallel()
	// A peak of the response lies at every formant of the table. Neighbours pull
	// at it by less than half its bandwidth, and at its height by less than 3 dB:
	// both bounds are our own.
	for vowel := range menVowels {
		h := formantKnock(t, float64(vowel), 5, false)
		hertz, level, bandwidth := formantsAt(float64(vowel))
		for k := range 3 {
			best, at := 0.0, 0.0
			for f := hertz[k] - bandwidth[k]; f <= hertz[k]+bandwidth[k]; f += bandwidth[k] / 50 {
				if high := cmplx.Abs(filterAt(h, f/48000)); high > best {
					best, at = high, f
				}
			}
			if math.Abs(at-hertz[k]) > bandwidth[k]/2 {
				t.Errorf("Vowel %d: formant %d peaks at %.0f Hz, and the table has %.0f Hz.", vowel, k+1, at, hertz[k])
			}
			if want := level[k] + inDecibels(hertz[k]/hertz[0]); math.Abs(inDecibels(best)-want) > 3 {
				t.Errorf("Vowel %d: formant %d is %.1f dB high, and the table and a fall of 6 dB an octave give %.1f dB.", vowel, k+1, inDecibels(best), want)
			}
		}
	}
}

func TestFormantGain(t *testing.T) {
	t.Parallel()
	// The catalog's greatest gain holds over all vowels and what lies between.
	const told = 1.05
	greatest := 0.0
	for vowel := 0.0; vowel <= 9; vowel += 0.25 {
		h := formantKnock(t, vowel, 5, false)[:4096]
		hertz, _, bandwidth := formantsAt(vowel)
		for k := range hertz {
			for part := -1.0; part <= 1; part += 0.25 {
				greatest = max(greatest, cmplx.Abs(filterAt(h, (hertz[k]+part*bandwidth[k])/48000)))
			}
		}
	}
	if greatest > told || greatest < 0.9*told {
		t.Errorf("The greatest gain over all vowels is %.3f, and the catalog tells %g.", greatest, told)
	}
}

func TestFormantStyles(t *testing.T) { checkStyles(t, "formant-filter") }
