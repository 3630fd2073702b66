package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

func TestOscillatorStyles(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"sine", "naive-saw", "naive-pulse", "bandlimited-saw", "bandlimited-pulse", "naive-triangle", "bandlimited-triangle", "wavetable", "noise"} {
		t.Run(block, func(t *testing.T) { checkStyles(t, block) })
	}
}

// turnIncrement is the 32-bit step of a phase at 48 kHz as single precision
// works it out.
func turnIncrement(pitch float64) uint32 {
	return uint32(float32(4294967296) / 48000 * float32(pitch))
}

func TestSineIncrement(t *testing.T) {
	t.Parallel()
	// Reference page dsp 4.1: 440 Hz at 48 kHz is an increment of 39370534.
	if got := turnIncrement(440); math.Abs(float64(got)/39370534-1) > 1e-7 {
		t.Errorf("The increment of 440 Hz is %d, and dsp 4.1 has 39370534.", got)
	}
}

// apartFromSine is the greatest error of a rendered sine and the level of all
// its error below the sine in decibels.
func apartFromSine(y []float32, increment uint32, amplitude float64) (greatest, level float64) {
	var apart, sound float64
	for n, v := range y {
		want := amplitude * math.Sin(2*math.Pi*float64(uint32(n)*increment)/(1<<32))
		d := float64(v) - want
		greatest = max(greatest, math.Abs(d))
		apart += d * d
		sound += want * want
	}
	return greatest, 10 * math.Log10(apart/sound)
}

func TestSineMethods(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name        string
		r           rendering
		greatest    float64
		least, most float64 // of the level
		source      string
	}{
		{"library", rendering{Choices: map[string]string{"method": "library"}}, 4.6e-7, -146, -138,
			"about -146 dB for 24 bits, dsp 2.3; an argument of up to half a turn, its two factors and their product rounded to 24 bits, may be off by 4.6e-7"},
		{"polynomial", rendering{Choices: map[string]string{"method": "polynomial"}}, 7.2e-7, -126, -124,
			"dsp 2.8: 5.9e-7 and -125 dB; rounding to 24 bits adds a little"},
		{"library, short form", rendering{Choices: map[string]string{"method": "library"}, Approximate: true}, 10.5e-7, -126, -123.5,
			"dsp 2.8 for the polynomial of degree 7, and the rounded argument"},
		{"library, double precision", rendering{Choices: map[string]string{"method": "library"}, Double: true}, 3e-8, -156, -146,
			"a rounding of the result to 24 bits, half of 2^-24 at the most; about -146 dB or better, dsp 2.3"},
	} {
		pitch := 997.0
		c.r.Block, c.r.Frames, c.r.Params = "sine", 48000, map[string]float64{"pitch": pitch}
		increment := turnIncrement(pitch)
		if c.r.Double {
			increment = uint32(4294967296.0 / 48000 * pitch)
		}
		greatest, level := apartFromSine(render(t, c.r)["out"][0], increment, 1)
		if greatest > c.greatest || level < c.least || level > c.most {
			t.Errorf("%s: the sine is off by up to %.3g and by %.1f dB, and expected are up to %.2g and %g to %g dB (%s).",
				c.name, greatest, level, c.greatest, c.least, c.most, c.source)
		}
	}
}

// sineSNR holds the columns of reference page dsp 2.4 for exact entries, in
// decibels, from 64 entries on by doublings: nearest entry, straight line and
// four-point Hermite curve.
var sineSNR = map[string][]float64{
	"none":   {31.0, 37.0, 43.0, 49.0, 55.0, 61.1, 67.1, 73.1},
	"linear": {61.1, 73.2, 85.2, 97.2, 109.3, 121.3, 133.4, 145.4},
	"cubic":  {99.2, 117.3, 135.4, 153.5, 171.5, 189.6, 207.6, 225.7},
}

// checkTableSNR compares with a column of dsp 2.4. Beyond 130 dB the rounding
// of entries and of arithmetic to 24 bits, about 146 dB (dsp 2.3), comes in.
func checkTableSNR(t *testing.T, what string, y []float32, increment uint32, amplitude, want float64) {
	t.Helper()
	_, level := apartFromSine(y, increment, amplitude)
	if want < 130 && math.Abs(-level-want) > 0.15 {
		t.Errorf("%s has an SNR of %.1f dB, and dsp 2.4 has %.1f dB.", what, -level, want)
	}
	if least := min(want, 146) - 3; want >= 130 && -level < least {
		t.Errorf("%s has an SNR of %.1f dB, and the %.1f dB of dsp 2.4 with a rounding to 24 bits leave at least %.1f dB.", what, -level, want, least)
	}
}

func TestTableSNR(t *testing.T) {
	t.Parallel()
	const pitch = 13.37
	for k := range 8 {
		length := float64(int(64) << k)
		y := render(t, rendering{
			Block: "sine", Choices: map[string]string{"method": "table"}, Frames: 96000,
			Params: map[string]float64{"pitch": pitch, "length": length - 3}, // rounded up
		})["out"][0]
		checkTableSNR(t, fmt.Sprintf("A sine table of %g entries", length), y, turnIncrement(pitch), 1, sineSNR["linear"][k])
		for interpolation, column := range sineSNR {
			y := render(t, rendering{
				Block: "wavetable", Choices: map[string]string{"interpolation": interpolation}, Frames: 96000,
				Params: map[string]float64{"pitch": pitch, "length": length, "tables": 1, "wave": 64},
			})["out"][0]
			checkTableSNR(t, fmt.Sprintf("A wavetable of %g entries, interpolation %s,", length, interpolation), y, turnIncrement(pitch), 0.5, column[k])
		}
	}
}

// A period of exactPeriod samples holds a whole number of turns, and so the
// bins of its transform hold one partial each.
const exactPeriod = 1 << 15

// exactRate makes phases exact in binary: pitches are turns * 2 Hz.
const exactRate = 2 * exactPeriod

// oddTurns is the odd number of turns in exactPeriod samples nearest to a pitch
// at 48 kHz: the turns and the period share no factor, so that what folds back
// falls between the harmonics.
func oddTurns(pitch float64) int {
	return 2*int(math.Round((pitch/48000*exactPeriod-1)/2)) + 1
}

// partials are the amplitudes of the partials of an oscillator, by bin of a
// period of exactPeriod samples.
func partials(t *testing.T, r rendering, turns int) []complex128 {
	t.Helper()
	r.Rate, r.BlockSize, r.Frames = exactRate, 64, 2*exactPeriod
	if r.Params == nil {
		r.Params = map[string]float64{}
	}
	r.Params["pitch"] = float64(turns) * exactRate / exactPeriod
	y := render(t, r)["out"][0][exactPeriod:] // once round, so that start and end are like any other place
	x := make([]float64, exactPeriod)
	for i := range x {
		x[i] = float64(y[i])
	}
	bins := fourier.NewFFT(exactPeriod).Coefficients(nil, x)
	for i := range bins {
		bins[i] *= 2.0 / exactPeriod
	}
	return bins
}

// aliasLevel is the energy of all that is no harmonic, against the harmonics,
// in decibels. What stands still is neither.
func aliasLevel(bins []complex128, turns int) float64 {
	var harmonics, alias float64
	for k := 1; k < len(bins); k++ {
		e := math.Pow(cmplx.Abs(bins[k]), 2)
		if k%turns == 0 {
			harmonics += e
		} else {
			alias += e
		}
	}
	return 10 * math.Log10(alias/harmonics)
}

func TestSawtoothAliases(t *testing.T) {
	t.Parallel()
	// Reference page dsp 2.6, column a of naive and polyBLEP 2-pt.
	for _, c := range []struct {
		pitch, naive, rounded float64
	}{{110, -26, -42}, {440, -20, -36}, {1047, -16, -31}, {2093, -13, -28}, {4186, -9, -24}} {
		turns := oddTurns(c.pitch)
		for block, want := range map[string]float64{"naive-saw": c.naive, "bandlimited-saw": c.rounded} {
			got := aliasLevel(partials(t, rendering{Block: block}, turns), turns)
			if math.Abs(got-want) > 1 {
				t.Errorf("%s at %g Hz has foldover at %.1f dB, and dsp 2.6 has %g dB.", block, c.pitch, got, want)
			}
		}
	}
}

// sinc is sin(pi x) / (pi x).
func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// pulseSeries is the amplitude of harmonic k of a pulse from -1 to 1, its
// Fourier series. Rounding by two samples of a parabola puts a triangle over two
// samples in place of each step's slope, so that the harmonics fall by sinc^2.
func pulseSeries(k int, width, turnsPerSample float64, rounded bool) float64 {
	a := 4 / (math.Pi * float64(k)) * math.Abs(math.Sin(math.Pi*float64(k)*width))
	if rounded {
		a *= math.Pow(sinc(float64(k)*turnsPerSample), 2)
	}
	return a
}

func TestPulseAliases(t *testing.T) {
	t.Parallel()
	// All harmonics of the series beyond half the sample rate fold back, and
	// their energies add, for no two come to lie on one frequency.
	for _, pitch := range []float64{110, 1047, 4186} {
		turns := oddTurns(pitch)
		for _, width := range []float64{0.5, 0.3125, 0.125} {
			for block, rounded := range map[string]bool{"naive-pulse": false, "bandlimited-pulse": true} {
				got := aliasLevel(partials(t, rendering{Block: block, Params: map[string]float64{"width": width}}, turns), turns)
				var harmonics, alias float64
				for k := 1; k < 200000; k++ {
					e := math.Pow(pulseSeries(k, width, float64(turns)/exactPeriod, rounded), 2)
					if k*turns < exactPeriod/2 {
						harmonics += e
					} else {
						alias += e
					}
				}
				if want := 10 * math.Log10(alias/harmonics); math.Abs(got-want) > 0.1 {
					t.Errorf("%s at %g Hz and width %g has foldover at %.2f dB, and its Fourier series %.2f dB.", block, pitch, width, got, want)
				}
			}
		}
	}
	// The catalog lets the sawtooth's level at 1047 Hz stand in for a pulse.
	for block, want := range map[string]float64{"naive-pulse": -16, "bandlimited-pulse": -31} {
		turns := oddTurns(1047)
		if got := aliasLevel(partials(t, rendering{Block: block}, turns), turns); math.Abs(got-want) > 1.5 {
			t.Errorf("%s at 1047 Hz and half width has foldover at %.2f dB, and the sawtooth of dsp 2.6 that stands in for it %g dB.", block, got, want)
		}
	}
}

func TestSawtoothAndPulseHarmonics(t *testing.T) {
	t.Parallel()
	// Fourier series of a sawtooth, 2 / (pi k), and of a pulse, with 2 width - 1
	// at rest; rounding lowers 15 kHz by 2.9 dB (dsp 2.6).
	turns := oddTurns(440)
	const width = 0.3125
	for _, c := range []struct {
		block          string
		rounded, pulse bool
	}{{"naive-saw", false, false}, {"bandlimited-saw", true, false}, {"naive-pulse", false, true}, {"bandlimited-pulse", true, true}} {
		r, rest := rendering{Block: c.block}, 0.0
		if c.pulse {
			r.Params, rest = map[string]float64{"width": width}, 2*width-1
		}
		bins := partials(t, r, turns)
		for k := 1; k*turns < exactPeriod/2; k++ {
			want := 2 / (math.Pi * float64(k))
			if c.rounded {
				want *= math.Pow(sinc(float64(k*turns)/exactPeriod), 2)
			}
			if c.pulse {
				want = pulseSeries(k, width, float64(turns)/exactPeriod, c.rounded)
			}
			if got := cmplx.Abs(bins[k*turns]); math.Abs(got-want) > 2e-5/float64(k) {
				t.Errorf("%s: harmonic %d has the amplitude %.6f, and its Fourier series %.6f.", c.block, k, got, want)
			}
		}
		if got := real(bins[0]) / 2; math.Abs(got-rest) > 2.0/exactPeriod {
			t.Errorf("%s: the mean is %.5f, and that of the Fourier series %.5f.", c.block, got, rest)
		}
	}
	if droop := inDecibels(math.Pow(sinc(15000.0/48000), 2)); math.Abs(droop+2.9) > 0.05 {
		t.Errorf("The rounding lowers 15 kHz at 48 kHz by %.2f dB, and dsp 2.6 has 2.9 dB.", -droop)
	}
}

func TestOscillatorSync(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"sine", "naive-saw", "naive-pulse", "bandlimited-saw", "bandlimited-pulse", "naive-triangle", "bandlimited-triangle", "wavetable"} {
		checkSync(t, block)
	}
}

// checkSync demands that a sync sets the phase to 0 before its block, so that
// the wave begins as it did at the start; a falling gate, value 0, does nothing.
func checkSync(t *testing.T, block string) {
	t.Helper()
	free := rendering{Block: block, BlockSize: 48, Frames: 480}
	synced, released := free, free
	synced.Events = map[string]map[int][]event{"sync": {5: {{0, 1}}}}
	released.Events = map[string]map[int][]event{"sync": {5: {{0, 0}}}}
	whole, cut, gone := render(t, free)["out"][0], render(t, synced)["out"][0], render(t, released)["out"][0]
	for i := range cut {
		want := whole[i]
		if i >= 240 {
			want = whole[i-240]
		}
		if cut[i] != want {
			t.Errorf("%s: sample %d, with a sync before sample 240, is %g, and the wave from its start has %g.", block, i, cut[i], want)
			break
		}
		if gone[i] != whole[i] {
			t.Errorf("%s: sample %d is %g after a falling gate, and %g without.", block, i, gone[i], whole[i])
			break
		}
	}
	if whole[240] == whole[0] {
		t.Errorf("%s: the wave stands at its start at sample 240 without a sync, so that the test shows nothing.", block)
	}
}

func TestWavetableBands(t *testing.T) {
	t.Parallel()
	// Wave 1 is a sawtooth: harmonic h has 0.5 / h. A set of 8 tables holds
	// 16 harmonics in its first four, then 8, 4, 2 and 1, and a band is as
	// bright as its pitch allows: the brightest table whose top lies below half
	// the sample rate at the octave's upper end.
	for _, c := range []struct {
		pitch     float64
		harmonics int
	}{{55, 16}, {440, 16}, {1047, 16}, {1600, 8}, {2093, 8}, {4186, 4}, {7000, 2}, {12000.5, 1}, {20000, 1}} {
		turns := oddTurns(c.pitch)
		bins := partials(t, rendering{Block: "wavetable", Params: map[string]float64{"length": 8192, "tables": 8, "wave": 1}, Choices: map[string]string{"interpolation": "cubic"}}, turns)
		for k := 1; k*turns < exactPeriod/2; k++ {
			want := 0.5 / float64(k)
			if k > c.harmonics {
				want = 0
			}
			if got := cmplx.Abs(bins[k*turns]); math.Abs(got-want) > 1e-5 {
				t.Errorf("At %g Hz harmonic %d has the amplitude %.6f, and the wave of %d harmonics has %.6f.", c.pitch, k, got, c.harmonics, want)
			}
		}
		if level := aliasLevel(bins, turns); level > -90 {
			t.Errorf("At %g Hz the wavetable has foldover at %.1f dB, and its harmonics end below half the sample rate.", c.pitch, level)
		}
	}
}

func TestWhiteNoiseSequence(t *testing.T) {
	t.Parallel()
	// First numbers of s = 1664525 s + 1013904223 from 0, as printed in Press
	// and others, Numerical Recipes in C, 2nd edition, page 284 (from memory);
	// two channels take turns.
	printed := []uint32{0x3C6EF35F, 0x47502932, 0xD1CCF6E9, 0xAAF95334, 0x6252E503, 0x9F2EC686, 0x57FE6C2D, 0xA3D95FA8, 0x81FDBEE7, 0x94F0AF1A}
	out := render(t, rendering{Block: "noise", Channels: 2, BlockSize: 5, Frames: 5})["out"]
	for i, s := range printed {
		if got, want := out[i%2][i/2], float32(int32(s))/(1<<31); got != want {
			t.Errorf("Number %d of white noise is %v, and %08X scaled to 1 is %v.", i, got, s, want)
		}
	}
}

// whiteNoise is the sequence that underlies every colour.
func whiteNoise(frames int) []float64 {
	x, s := make([]float64, frames), uint32(0)
	for i := range x {
		s = 1664525*s + 1013904223
		x[i] = float64(int32(s)) / (1 << 31)
	}
	return x
}

func TestWhiteNoiseSpectrum(t *testing.T) {
	t.Parallel()
	// Independent numbers even between -1 and 1 have a variance of 1/3 and the
	// same density at all frequencies; the mean of n bins strays by 4.3 dB over
	// the root of n, of which four times are allowed.
	const frames = 1 << 18
	y := render(t, rendering{Block: "noise", BlockSize: 512, Frames: frames})["out"][0]
	x := make([]float64, frames)
	for i := range x {
		x[i] = float64(y[i])
	}
	bins := fourier.NewFFT(frames).Coefficients(nil, x)
	for low := 256; low < frames/2; low *= 2 {
		sum := 0.0
		for _, b := range bins[low : 2*low] {
			sum += math.Pow(cmplx.Abs(b), 2)
		}
		got := 10 * math.Log10(sum/float64(low)/frames*3)
		if allowed := 4 * 4.35 / math.Sqrt(float64(low)); math.Abs(got) > allowed {
			t.Errorf("In the octave from %.0f Hz white noise lies %.2f dB off a density of 1/3, and chance allows %.2f dB.",
				float64(low)*48000/frames, got, allowed)
		}
	}
}

// noiseFilter is the frequency response, by bins of a window, of the filter
// that colours white noise: the mean cross spectrum of white noise and its
// coloured form over the mean spectrum of the white noise.
func noiseFilter(t *testing.T, colour string, rate float64, window int) []complex128 {
	t.Helper()
	const windows = 60
	y := render(t, rendering{Block: "noise", Choices: map[string]string{"colour": colour}, Rate: rate, BlockSize: 512, Frames: windows * window})["out"][0]
	white := whiteNoise(windows * window)
	fft := fourier.NewFFT(window)
	crossed, own := make([]complex128, window/2+1), make([]float64, window/2+1)
	from, to := make([]float64, window), make([]float64, window)
	for at := 0; at+window <= len(white); at += window / 2 {
		for i := range from {
			hann := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(window))
			from[i], to[i] = hann*white[at+i], hann*float64(y[at+i])
		}
		a, b := fft.Coefficients(nil, from), fft.Coefficients(nil, to)
		for k := range a {
			crossed[k] += b[k] * cmplx.Conj(a[k])
			own[k] += real(a[k] * cmplx.Conj(a[k]))
		}
	}
	for k := range crossed {
		crossed[k] /= complex(own[k], 0)
	}
	return crossed
}

func TestPinkNoiseSlope(t *testing.T) {
	t.Parallel()
	const rate, window = 44100, 1 << 15
	h := noiseFilter(t, "pink", rate, window)
	// Against a straight fall of 10 log10(2) dB an octave: within 0.05 dB
	// above 9.2 Hz at 44.1 kHz says Kellet, and dsp 2.8 computes 0.03 dB to
	// either side from 20 Hz to 20 kHz.
	var offs []float64
	for f := 20.0; f < 20000; f *= math.Pow(2, 1.0/3) {
		k := int(math.Round(f / rate * window))
		offs = append(offs, inDecibels(cmplx.Abs(h[k]))+10*math.Log10(float64(k)*rate/window/1000))
	}
	low, high := offs[0], offs[0]
	for _, off := range offs {
		low, high = min(low, off), max(high, off)
	}
	if spread := (high - low) / 2; spread > 0.05 {
		t.Errorf("Pink noise strays by %.3f dB to either side of 3 dB an octave from 20 Hz to 20 kHz, and Kellet's filter by 0.05 dB.", spread)
	}
}

func TestBrownNoiseSlope(t *testing.T) {
	t.Parallel()
	const rate, window = 48000, 1 << 14
	h := noiseFilter(t, "brown", rate, window)
	// The leaky integrator of the kernel, and 6.02 dB an octave far above its
	// corner of 20 Hz: algebra.
	for _, f := range []float64{20, 100, 500, 1000, 2000, 10000} {
		k := int(math.Round(f / rate * window))
		want := 0.03125 / cmplx.Abs(1-0.99738*delayed(float64(k)/window))
		if off := inDecibels(cmplx.Abs(h[k]) / want); math.Abs(off) > 0.05 {
			t.Errorf("At %g Hz brown noise lies %.3f dB off a leaky integrator, q / (1 - p / z).", f, off)
		}
	}
	at := func(f float64) float64 { return inDecibels(cmplx.Abs(h[int(math.Round(f/rate*window))])) }
	if fall := at(500) - at(1000); math.Abs(fall-20*math.Log10(2)) > 0.1 {
		t.Errorf("Brown noise falls by %.2f dB from 500 to 1000 Hz, and an integrator by 6.02 dB.", fall)
	}
}
