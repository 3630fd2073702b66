package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// Published lengths at 44.1 kHz or 48 kHz, samples, typed from the tables that
// the catalog cites and not computed by its formulas.
var (
	// Customary realisation of M.R. Schroeder, J. Audio Eng. Soc. 10(3), 1962:
	// four combs and two allpasses.
	schroederLengths = map[float64][]int{
		44100: {1310, 1636, 1813, 1927, 220, 75},
		48000: {1426, 1781, 1973, 2098, 240, 82},
	}
	// Public-domain reverberator, June 2000: eight combs and four allpasses a side.
	eightCombLengths = [2][]int{
		{1116, 1188, 1277, 1356, 1422, 1491, 1557, 1617, 556, 441, 341, 225},
		{1139, 1211, 1300, 1379, 1445, 1514, 1580, 1640, 579, 464, 364, 248},
	}
	// J.A. Moorer, Computer Music Journal 3(2), 1979: six combs and an allpass;
	// poles at 25 and at 50 kHz; early taps in milliseconds with their gains.
	moorerLengths = map[float64][]int{
		44100: {2205, 2470, 2690, 2999, 3175, 3440, 265},
		48000: {2400, 2688, 2928, 3264, 3456, 3744, 288},
	}
	moorerPoles = [2][]float64{{0.24, 0.26, 0.28, 0.29, 0.30, 0.32}, {0.46, 0.48, 0.50, 0.52, 0.53, 0.55}}
	moorerEarly = map[string][][2]float64{
		"none": nil,
		"7":    {{0, 1}, {19.9, 1.02}, {35.4, .818}, {38.9, .635}, {41.4, .719}, {69.9, .267}, {79.6, .242}},
		"19": {{0, 1}, {4.3, .841}, {21.5, .504}, {22.5, .491}, {26.8, .379}, {27.0, .380}, {29.8, .346}, {45.8, .289}, {48.5, .272},
			{57.2, .192}, {58.7, .193}, {59.5, .217}, {61.2, .181}, {70.7, .180}, {70.8, .181}, {72.6, .176}, {74.1, .142}, {75.3, .167}, {79.7, .134}},
	}
	// Primes spread from 20 to 60 ms at 48 kHz.
	networkLengths = map[string][]int{
		"4":  {967, 1399, 1997, 2887},
		"8":  {967, 1123, 1319, 1543, 1801, 2111, 2467, 2887},
		"16": {967, 1033, 1117, 1201, 1289, 1399, 1489, 1607, 1733, 1861, 1997, 2153, 2311, 2503, 2677, 2887},
	}
)

// schroederGain is the gain of a line of M samples for a decay, 1962.
func schroederGain(samples int, rate, decay float64) float64 {
	return math.Pow(10, -3*float64(samples)/(rate*decay))
}

// allpassAt is the transfer function of v[n] = x[n] + g v[n - M],
// y[n] = v[n - M] - h v[n], where back holds z^-M.
func allpassAt(back complex128, g, h float64) complex128 {
	return (back - complex(h, 0)) / (1 - complex(g, 0)*back)
}

// offCircle are places z outside the unit circle, where the transform of an
// impulse response converges fast and can be cut after a quarter of a second.
var offCircle = []complex128{
	complex(1.001, 0), cmplx.Rect(1.001, 0.01), cmplx.Rect(1.0012, 0.1), cmplx.Rect(1.001, 0.5), cmplx.Rect(1.0015, 1.5), cmplx.Rect(1.001, 2.9), complex(-1.001, 0),
}

const transformFrames = 24000

func transform(h []float32, z complex128) complex128 {
	sum, power := complex(0, 0), complex(1, 0)
	for _, v := range h {
		sum += complex(float64(v), 0) * power
		power /= z
	}
	return sum
}

func power(z complex128, n int) complex128 { return cmplx.Pow(z, complex(float64(n), 0)) }

// checkTransform holds an impulse response against a transfer function.
func checkTransform(t *testing.T, what string, h []float32, want func(z complex128) complex128, source string) {
	t.Helper()
	for _, z := range offCircle {
		got, w := transform(h, z), want(z)
		if cmplx.Abs(got-w) > 2e-4*math.Max(cmplx.Abs(w), 0.01) {
			t.Errorf("%s: at z = %.4f the transform of the impulse response is %.6f, and the equation with the lengths of %s gives %.6f.", what, z, got, source, w)
		}
	}
}

func TestFourCombReverbResponse(t *testing.T) {
	t.Parallel()
	for rate, lengths := range schroederLengths {
		for _, decay := range []float64{0.5, 1, 4} {
			h := knock(t, rendering{Block: "four-comb-reverb", Rate: rate, Frames: transformFrames, Params: map[string]float64{"decay": decay}}, 1)["out"][0]
			what := fmt.Sprintf("four combs at %v Hz, decay %v s", rate, decay)
			checkTransform(t, what, h, func(z complex128) complex128 {
				sum := complex(0, 0)
				for _, m := range lengths[:4] {
					back := power(z, -m)
					sum += back / (1 - complex(schroederGain(m, rate, decay), 0)*back)
				}
				return sum * allpassAt(power(z, -lengths[4]), 0.7, 0.7) * allpassAt(power(z, -lengths[5]), 0.7, 0.7)
			}, "the customary realisation of Schroeder 1962")
			// The first echo comes after the shortest comb, through -0.7 twice.
			if first := firstEcho(h); first != lengths[0] || math.Abs(float64(h[first])-0.49) > 1e-6 {
				t.Errorf("%s: the first echo comes at sample %d with %v; the shortest comb is %d samples long and the allpasses pass 0.7 x 0.7.", what, first, h[first], lengths[0])
			}
		}
	}
}

// firstEcho is the place of the first sample that is not 0.
func firstEcho(h []float32) int {
	for n, v := range h {
		if v != 0 {
			return n
		}
	}
	return -1
}

func TestEightCombReverbResponse(t *testing.T) {
	t.Parallel()
	const rate, decay = 44100, 1.2
	for _, damping := range []float64{0, 0.5, 1} {
		out := knock(t, rendering{Block: "eight-comb-reverb", Rate: rate, Frames: transformFrames, Params: map[string]float64{"decay": decay, "damping": damping}}, 1)["out"]
		for side, lengths := range eightCombLengths {
			what := fmt.Sprintf("eight combs, side %d, damping %v", side, damping)
			checkTransform(t, what, out[side], func(z complex128) complex128 {
				pole, gain := complex(0.4*damping, 0), complex(math.Pow(10, -3*0.03125/decay), 0)
				sum := complex(0, 0)
				for _, m := range lengths[:8] {
					back := power(z, -m)
					sum += 0.015 * back / (1 - gain*(1-pole)/(1-pole/z)*back)
				}
				for _, m := range lengths[8:] {
					sum *= (1.5*power(z, -m) - 1) / (1 - 0.5*power(z, -m)) // not quite an allpass
				}
				return sum
			}, "the public-domain reverberator of 2000")
			if first := firstEcho(out[side]); first != lengths[0] || math.Abs(float64(out[side][first])-0.015) > 1e-7 {
				t.Errorf("%s: the first echo comes at sample %d with %v; the shortest comb is %d samples long and the input gain is 0.015.", what, first, out[side][first], lengths[0])
			}
		}
	}
}

func TestCombBankReverbResponse(t *testing.T) {
	t.Parallel()
	for rate, lengths := range moorerLengths {
		for early, taps := range moorerEarly {
			const decay = 2
			h := knock(t, rendering{Block: "comb-bank-reverb", Choices: map[string]string{"early": early}, Rate: rate, Frames: transformFrames, Params: map[string]float64{"decay": decay}}, 1)["out"][0]
			what := fmt.Sprintf("comb bank at %v Hz with early reflections %s", rate, early)
			checkTransform(t, what, h, func(z complex128) complex128 {
				direct := complex(1, 0)
				for k, tap := range taps {
					if k > 0 {
						direct += complex(tap[1], 0) * power(z, -int(math.Round(tap[0]*rate/1000)))
					}
				}
				sum := complex(0, 0)
				for i, m := range lengths[:6] {
					pole := complex(moorerPoles[0][i]+(rate-25000)/25000*(moorerPoles[1][i]-moorerPoles[0][i]), 0)
					sum += power(z, -m) / (1 - (1-0.366/decay)*(1-pole)/(1-pole/z)*power(z, -m))
				}
				sum *= allpassAt(power(z, -lengths[6]), 0.7, 0.7)
				if taps != nil {
					sum++
				}
				return direct * sum
			}, "Moorer 1979")
			for _, tap := range taps {
				// Before the first comb, 50 ms, there are the taps alone.
				if at := int(math.Round(tap[0] * rate / 1000)); tap[0] < 50 && math.Abs(float64(h[at])-tap[1]) > 1e-6 {
					t.Errorf("%s: sample %d is %v; Moorer's tap at %v ms has gain %v.", what, at, h[at], tap[0], tap[1])
				}
			}
		}
	}
}

func TestEarlyReflections(t *testing.T) {
	t.Parallel()
	// Tap positions at 48 and 44.1 kHz, computed for the reference page dsp 1.4,
	// with J.A. Moorer's gains; the direct sound, the first of 19, is left out.
	places := map[float64][]int{
		48000: {206, 1032, 1080, 1286, 1296, 1430, 2198, 2328, 2746, 2818, 2856, 2938, 3394, 3398, 3485, 3557, 3614, 3826},
		44100: {190, 948, 992, 1182, 1191, 1314, 2020, 2139, 2523, 2589, 2624, 2699, 3118, 3122, 3202, 3268, 3321, 3515},
	}
	for rate, all := range places {
		for _, reflections := range []string{"6", "18"} {
			for _, format := range lineFormats {
				want := map[int]float64{}
				for k, tap := range moorerEarly[map[string]string{"6": "7", "18": "19"}[reflections]][1:] {
					at := int(math.Round(tap[0] * rate / 1000))
					if reflections == "18" {
						at = all[k]
					}
					want[at] = 0.5 * tap[1]
				}
				h := knock(t, rendering{Block: "early-reflections", Choices: map[string]string{"reflections": reflections, "format": format}, Rate: rate, Frames: 4320}, 0.5)["out"][0]
				checkEchoes(t, fmt.Sprintf("%s reflections at %v Hz, %s", reflections, rate, format), h, want, roundingOf(format), "Moorer 1979, Table 3")
			}
		}
	}
}

// nested is an allpass of gain g at z round a line of so many milliseconds with
// others in it.
func nested(z complex128, rate, g, milliseconds float64, inner ...complex128) complex128 {
	back := lateBy(z, rate, milliseconds)
	for _, h := range inner {
		back *= h
	}
	return allpassAt(back, g, g)
}

// lateBy is a delay, to the nearest sample.
func lateBy(z complex128, rate, milliseconds float64) complex128 {
	return power(z, -int(math.Round(milliseconds*rate/1000)))
}

func TestNestedAllpassReverbResponse(t *testing.T) {
	t.Parallel()
	// W.G. Gardner, The Virtual Acoustic Room, 1992, Fig. 4.11, in the notation
	// of the reference page dsp 1.7: 35(.3){22(.4), 8.3(.6)} has a line of its own
	// of 35 - 22 - 8.3 ms. Taps by where plain delays are split, from memory.
	rooms := map[string]struct {
		corner, round float64
		response      func(z complex128, rate float64, gain, lowpass complex128) complex128
	}{
		"small": {4200, 0.125, func(z complex128, rate float64, gain, lowpass complex128) complex128 {
			near := lateBy(z, rate, 24) * nested(z, rate, 0.3, 35-22-8.3, nested(z, rate, 0.4, 22), nested(z, rate, 0.6, 8.3))
			far := near * nested(z, rate, 0.1, 66-30, nested(z, rate, 0.4, 30))
			return (0.5*near + 0.5*far) / (1 - gain*lowpass*far)
		}},
		"medium": {2500, 0.299 / 2, func(z complex128, rate float64, gain, lowpass complex128) complex128 {
			first := nested(z, rate, 0.3, 35-8.3-22, nested(z, rate, 0.7, 8.3), nested(z, rate, 0.5, 22))
			between := lateBy(z, rate, 5) * nested(z, rate, 0.5, 30) * lateBy(z, rate, 67)
			last := nested(z, rate, 0.3, 39-9.8, nested(z, rate, 0.6, 9.8))
			there, back := gain*between*lateBy(z, rate, 15), gain*lowpass*lateBy(z, rate, 108)
			near := first * (1 + back*last) / (1 - first*there*last*back)
			return 0.5*near + 0.5*between*near + 0.5*last*(1+there*near)
		}},
		"large": {2600, 0.282, func(z complex128, rate float64, gain, lowpass complex128) complex128 {
			near := nested(z, rate, 0.3, 8) * nested(z, rate, 0.3, 12) * lateBy(z, rate, 4)
			middle := near * lateBy(z, rate, 17) * nested(z, rate, 0.5, 87-62, nested(z, rate, 0.25, 62)) * lateBy(z, rate, 31)
			far := middle * lateBy(z, rate, 3) * nested(z, rate, 0.5, 120-76-30, nested(z, rate, 0.25, 76), nested(z, rate, 0.25, 30))
			return (0.34*near + 0.14*middle + 0.14*far) / (1 - gain*lowpass*far)
		}},
	}
	for name, room := range rooms {
		for _, rate := range []float64{44100, 48000} {
			for _, decay := range []float64{0.6, 3} {
				h := knock(t, rendering{Block: "nested-allpass-reverb", Choices: map[string]string{"room": name}, Rate: rate, Frames: transformFrames, Params: map[string]float64{"decay": decay}}, 1)["out"][0]
				pole := complex(math.Exp(-2*math.Pi*room.corner/rate), 0)
				checkTransform(t, fmt.Sprintf("the %s room at %v Hz, decay %v s", name, rate, decay), h, func(z complex128) complex128 {
					return room.response(z, rate, complex(math.Pow(10, -3*room.round/decay), 0), (1-pole)/(1-pole/z))
				}, "Gardner 1992")
			}
		}
	}
}

// echoDensity is the normalised echo density around a sample, at 48 kHz under a
// Hann window of 20 ms: the share of samples beyond one standard
// deviation against that of Gaussian noise, erfc(1 / sqrt 2) (J. Abel and P.
// Huang, AES 121st Convention, 2006).
func echoDensity(h []float32, middle int) float64 {
	const half = 480
	weigh := func(n int) float64 { return 0.5 + 0.5*math.Cos(math.Pi*float64(n)/half) }
	weight, power := 0.0, 0.0
	for n := -half; n < half; n++ {
		v := float64(h[middle+n])
		weight += weigh(n)
		power += weigh(n) * v * v
	}
	beyond := 0.0
	for n := -half; n < half; n++ {
		if math.Abs(float64(h[middle+n])) > math.Sqrt(power/weight) {
			beyond += weigh(n)
		}
	}
	return beyond / weight / math.Erfc(math.Sqrt2/2)
}

func TestEchoDensities(t *testing.T) {
	t.Parallel()
	// Metrics of the catalog against the kernels, by the published measure.
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, block := range []string{"four-comb-reverb", "comb-bank-reverb", "early-reflections", "nested-allpass-reverb", "network-reverb", "spring-reverb"} {
		b, err := lib.Block(block)
		if err != nil {
			t.Fatal(err)
		}
		k, err := openKernel(kernelFolder, b)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range k.variants() {
			params := map[string]float64{}
			if _, has := b.Param("decay"); has {
				params["decay"] = 2
			}
			if _, has := b.Param("damping"); has {
				params["damping"] = 0
			}
			if v.choices["format"] != "float32" {
				continue
			}
			use := b.DefaultUse(48000, 48)
			use.Settings = k.defaults(v)
			want, has, err := use.Metric("echo_density")
			if err != nil || !has {
				t.Fatalf("%s %v has no echo density: %v.", block, v.choices, err)
			}
			h := knock(t, rendering{Block: block, Choices: v.choices, Frames: 6000, Params: params}, 1)["out"][0]
			if got := echoDensity(h, 4800); math.Abs(got-want.Value) > 0.05 {
				t.Errorf("%s %v has an echo density of %.2f, and the catalog says %.2f.", block, v.choices, got, want.Value)
			}
		}
	}
}

func TestPlateEchoDensity(t *testing.T) {
	t.Parallel()
	// The catalog reads the density of other sizes from that of the design, 100
	// ms / size after the start. The measure wavers from place to place by more
	// than those differ, so that it is taken in the mean over 80 to 120 ms and
	// both sides.
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	b, err := lib.Block("plate-reverb")
	if err != nil {
		t.Fatal(err)
	}
	for _, size := range []float64{0.25, 0.35, 0.5, 0.6, 0.75, 0.85, 1, 1.2, 1.5} {
		use := b.DefaultUse(48000, 48)
		use.Settings[b.ParamIndex("size")].Span = blocks.Span{Low: size, High: size}
		want, has, err := use.Metric("echo_density")
		if err != nil || !has {
			t.Fatalf("The plate of size %v has no echo density: %v.", size, err)
		}
		sum, places := 0.0, 0
		for _, h := range knock(t, rendering{Block: "plate-reverb", Frames: 7200, Params: map[string]float64{"size": size, "decay": 2, "damping": 0}}, 1)["out"] {
			for middle := 3840; middle <= 5760; middle += 96 {
				sum += echoDensity(h, middle)
				places++
			}
		}
		if got := sum / float64(places); math.Abs(got-want.Value) > 0.1 {
			t.Errorf("A plate of size %v has an echo density of %.2f, and the catalog says %.2f.", size, got, want.Value)
		} else {
			t.Logf("size %v: %.2f, by the catalog %.2f", size, got, want.Value)
		}
	}
}

// feedbackMatrix is Householder's or Hadamard's matrix of n lines, J.O. Smith,
// Physical Audio Signal Processing, chapter 3.
func feedbackMatrix(kind string, n int) *mat.Dense {
	a := mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			switch {
			case kind == "hadamard": // the sign is the parity of the common bits
				sign := 1.0
				for common := i & j; common != 0; common &= common - 1 {
					sign = -sign
				}
				a.Set(i, j, sign/math.Sqrt(float64(n)))
			case i == j:
				a.Set(i, j, 1-2/float64(n))
			default:
				a.Set(i, j, -2/float64(n))
			}
		}
	}
	return a
}

// networkOutputs are the transfer functions of the network to the left and to
// the right: q = D (u + A q), D diagonal, solved as a real system of twice the size.
func networkOutputs(z complex128, a *mat.Dense, lengths []int, rate, decay, damping float64) (left, right complex128) {
	n := len(lengths)
	system, input := mat.NewDense(2*n, 2*n, nil), mat.NewVecDense(2*n, nil)
	for i, m := range lengths {
		line := complex(schroederGain(m, rate, decay)*(1-damping), 0) * power(z, -m) / (1 - complex(damping, 0)/z)
		for j := range n {
			entry := -line * complex(a.At(i, j), 0)
			if i == j {
				entry++
			}
			system.Set(i, j, real(entry))
			system.Set(i, n+j, -imag(entry))
			system.Set(n+i, j, imag(entry))
			system.Set(n+i, n+j, real(entry))
		}
		input.SetVec(i, real(line))
		input.SetVec(n+i, imag(line))
	}
	var q mat.VecDense
	if err := q.SolveVec(system, input); err != nil {
		panic(err)
	}
	var half [2]complex128
	for i := range n {
		// Signs in turn, the last of each half positive.
		half[i/(n/2)] = complex(q.AtVec(i), q.AtVec(n+i)) - half[i/(n/2)]
	}
	return half[0] + half[1], half[0] - half[1]
}

func TestNetworkReverbResponse(t *testing.T) {
	t.Parallel()
	for lines, lengths := range networkLengths {
		for _, kind := range []string{"householder", "hadamard"} {
			a := feedbackMatrix(kind, len(lengths))
			for _, c := range []struct{ decay, damping float64 }{{2, 0.2}, {0.5, 0}, {8, 0.7}} {
				out := knock(t, rendering{
					Block: "network-reverb", Choices: map[string]string{"lines": lines, "matrix": kind}, Frames: transformFrames,
					Params: map[string]float64{"decay": c.decay, "damping": c.damping},
				}, 1)["out"]
				scale := complex(1, 0)
				if kind == "hadamard" { // folded into the line gains
					scale = complex(1/math.Sqrt(float64(len(lengths))), 0)
				}
				for side := range 2 {
					checkTransform(t, fmt.Sprintf("network of %s lines, %s, decay %v s, damping %v, side %d", lines, kind, c.decay, c.damping, side), out[side], func(z complex128) complex128 {
						left, right := networkOutputs(z, a, lengths, 48000, c.decay, c.damping)
						return scale * []complex128{left, right}[side]
					}, "the spread primes, solved as a linear system,")
				}
			}
		}
	}
}

func TestNetworkReverbLosesNothing(t *testing.T) {
	t.Parallel()
	for lines, lengths := range networkLengths {
		for _, kind := range []string{"householder", "hadamard"} {
			var product mat.Dense
			a := feedbackMatrix(kind, len(lengths))
			product.Mul(a.T(), a)
			for i := range lengths {
				for j := range lengths {
					if want := map[bool]float64{true: 1, false: 0}[i == j]; math.Abs(product.At(i, j)-want) > 1e-12 {
						t.Fatalf("The %s matrix of %s lines is not orthogonal.", kind, lines)
					}
				}
			}
			// For an endless decay every second must hold the same energy, up
			// to the chance of where the sums of the outputs stand.
			out := knock(t, rendering{
				Block: "network-reverb", Choices: map[string]string{"lines": lines, "matrix": kind}, BlockSize: 480, Frames: 20 * 48000,
				Params: map[string]float64{"decay": 1e9, "damping": 0},
			}, 1)["out"]
			early, late := energy(out, 2*48000, 8*48000), energy(out, 14*48000, 20*48000)
			if change := 10 * math.Log10(late/early); math.Abs(change) > 0.5 {
				t.Errorf("A network of %s lines (%s) with an endless decay changes by %.2f dB in 12 s; an orthogonal matrix loses nothing.", lines, kind, change)
			}
		}
	}
}

// energy of all channels from one sample to another.
func energy(channels [][]float32, from, to int) float64 {
	sum := 0.0
	for _, x := range channels {
		for _, v := range x[from:to] {
			sum += float64(v) * float64(v)
		}
	}
	return sum
}

// decayTime is the reverberation time of an impulse response, from the slope of
// its energy decay between -5 and -35 dB by backward integration (M.R.
// Schroeder, New Method of Measuring Reverberation Time, J. Acoust. Soc. Am.
// 37(3), 1965; from memory).
func decayTime(h []float32, rate float64) float64 {
	remaining := make([]float64, len(h)+1)
	for n := len(h) - 1; n >= 0; n-- {
		remaining[n] = remaining[n+1] + float64(h[n])*float64(h[n])
	}
	var at, level []float64
	for n := 0; n < len(h); n += 48 {
		db := 10 * math.Log10(remaining[n]/remaining[0])
		if db <= -5 && db >= -35 {
			at, level = append(at, float64(n)/rate), append(level, db)
		}
	}
	_, slope := stat.LinearRegression(at, level, nil, false)
	return -60 / slope
}

func TestReverbDecay(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name        string
		r           rendering
		decay       float64
		least, most float64 // as shares of the decay
		source      string
	}{
		{"four combs, 1 s", rendering{Block: "four-comb-reverb"}, 1, 0.99, 1.01, "every comb has the gain for the decay"},
		{"four combs, 3 s", rendering{Block: "four-comb-reverb"}, 3, 0.99, 1.01, "every comb has the gain for the decay"},
		{"four combs, 1 s, int16", rendering{Block: "four-comb-reverb", Choices: map[string]string{"format": "int16"}}, 1, 0.98, 1.02, "the same, less what sixteen bits lose"},
		{"eight combs, 1.2 s", rendering{Block: "eight-comb-reverb", Params: map[string]float64{"damping": 0}}, 1.2, 0.81, 1.17, "one gain for combs of 25.3 to 36.7 ms is that of 31.25 ms"},
		{"eight combs, 5 s", rendering{Block: "eight-comb-reverb", Params: map[string]float64{"damping": 0}}, 5, 0.81, 1.17, "one gain for combs of 25.3 to 36.7 ms is that of 31.25 ms"},
		// Moorer gives one gain for combs of 50 to 78 ms: at zero frequency they
		// fall in 0.85 to 1.33 of 2 s (g = 0.817) and 0.91 to 1.42 of 5 s (g = 0.927).
		{"comb bank, 2 s", rendering{Block: "comb-bank-reverb"}, 2, 0.85, 1.33, "g = 1 - 0.366 / T, Moorer 1979"},
		{"comb bank, 5 s", rendering{Block: "comb-bank-reverb"}, 5, 0.91, 1.42, "g = 1 - 0.366 / T, Moorer 1979"},
		{"network of 4, Householder, 2 s", rendering{Block: "network-reverb", Choices: map[string]string{"lines": "4", "matrix": "householder"}, Params: map[string]float64{"damping": 0}}, 2, 0.98, 1.02, "a lossless matrix with the gain for the decay on every line"},
		{"network of 8, Hadamard, 2 s", rendering{Block: "network-reverb", Params: map[string]float64{"damping": 0}}, 2, 0.98, 1.02, "a lossless matrix with the gain for the decay on every line"},
		{"network of 16, Hadamard, 0.8 s", rendering{Block: "network-reverb", Choices: map[string]string{"lines": "16"}, Params: map[string]float64{"damping": 0}}, 0.8, 0.98, 1.02, "a lossless matrix with the gain for the decay on every line"},
		{"network of 16, Householder, 2 s", rendering{Block: "network-reverb", Choices: map[string]string{"lines": "16", "matrix": "householder"}, Params: map[string]float64{"damping": 0}}, 2, 0.98, 1.02, "a lossless matrix with the gain for the decay on every line"},
		// The way round is that of all tones in the mean, of which the lowpass makes treble fall sooner.
		{"small room, 1 s", rendering{Block: "nested-allpass-reverb", Choices: map[string]string{"room": "small"}}, 1, 0.9, 1.1, "gain of the mean way round, 125 ms"},
		{"medium room, 2 s", rendering{Block: "nested-allpass-reverb"}, 2, 0.7, 1.1, "gain of the mean way round, 299 ms"},
		{"large room, 3 s", rendering{Block: "nested-allpass-reverb", Choices: map[string]string{"room": "large"}}, 3, 0.9, 1.1, "gain of the mean way round, 282 ms"},
		{"plate, 1.8 s", rendering{Block: "plate-reverb", Params: map[string]float64{"damping": 0, "bandwidth": 1}}, 1.8, 0.9, 1, "-3 x 0.7254 / log10(decay gain^4), an upper bound"},
		{"plate, 4 s", rendering{Block: "plate-reverb", Params: map[string]float64{"damping": 0, "bandwidth": 1}}, 4, 0.9, 1, "-3 x 0.7254 / log10(decay gain^4), an upper bound"},
		{"plate of a quarter, 1.8 s", rendering{Block: "plate-reverb", Params: map[string]float64{"damping": 0, "bandwidth": 1, "size": 0.25}}, 1.8, 0.9, 1, "-3 x 0.7254 x size / log10(decay gain^4), an upper bound"},
		{"plate of one and a half, 4 s", rendering{Block: "plate-reverb", Params: map[string]float64{"damping": 0, "bandwidth": 1, "size": 1.5}}, 4, 0.9, 1, "-3 x 0.7254 x size / log10(decay gain^4), an upper bound"},
	} {
		t.Run(c.name, func(t *testing.T) {
			params := map[string]float64{"decay": c.decay}
			for name, v := range c.r.Params {
				params[name] = v
			}
			c.r.Params, c.r.BlockSize, c.r.Frames = params, 480, int(1.5*c.decay*48000)
			for side, h := range knock(t, c.r, 0.9)["out"] {
				if got := decayTime(h, 48000) / c.decay; got < c.least || got > c.most {
					t.Errorf("Side %d falls by 60 dB in %.3f of the decay asked for, outside %v to %v (%s).", side, got, c.least, c.most, c.source)
				}
			}
		})
	}
}

func TestPlateReverbTaps(t *testing.T) {
	t.Parallel()
	// J. Dattorro 1997 at 48 kHz: nothing comes back to the first delays before
	// 1071 samples, 1084 less the excursion of 13. Until then the left output is
	// -0.6 x 0.7 of the diffused input at its tap 429, the right one at 569.
	diffusers, gains := []int{229, 173, 611, 447}, []float64{0.75, 0.75, 0.625, 0.625}
	diffused := make([]float64, 1600)
	diffused[0] = 1
	for k, m := range diffusers {
		memory := make([]float64, len(diffused))
		for n, x := range diffused {
			back := 0.0
			if n >= m {
				back = memory[n-m]
			}
			memory[n] = x - gains[k]*back
			diffused[n] = back + gains[k]*memory[n]
		}
	}
	for _, interpolation := range []string{"none", "linear", "cubic"} {
		for _, predelay := range []int{0, 480} {
			out := knock(t, rendering{
				Block: "plate-reverb", Choices: map[string]string{"interpolation": interpolation}, Frames: 2400,
				Params: map[string]float64{"bandwidth": 1, "predelay": float64(predelay) / 48000},
			}, 1)["out"]
			for side, tap := range []int{429, 569} {
				for n := range predelay + tap + 1071 {
					want := 0.0
					if n >= predelay+tap {
						want = -0.6 * 0.7 * diffused[n-predelay-tap]
					}
					if math.Abs(float64(out[side][n])-want) > 1e-6 {
						t.Errorf("Side %d of the plate (%s, predelay of %d samples): sample %d is %v; Dattorro's first tap at %d gives %v.", side, interpolation, predelay, n, out[side][n], tap, want)
						break
					}
				}
			}
		}
	}
}

func TestPlateReverbResponse(t *testing.T) {
	t.Parallel()
	// The moving allpasses stand still within a block, so that in one long block
	// the plate is linear and time-invariant, solved here as two unknowns.
	// Lengths and taps are J. Dattorro's, 1997, at his rate and rounded at 48 kHz.
	// A size and a rate make those of their product.
	design := &plateLines{
		[]int{142, 107, 379, 277}, [2]int{672, 908}, [2]int{4453, 4217}, [2]int{1800, 2656}, [2]int{3720, 3163},
		[2][7]int{{266, 2974, 1913, 1996, 1990, 187, 1066}, {353, 3627, 1228, 2673, 2111, 335, 121}},
	}
	usual := &plateLines{
		[]int{229, 173, 611, 447}, [2]int{1084, 1464}, [2]int{7182, 6801}, [2]int{2903, 4284}, [2]int{6000, 5101},
		[2][7]int{{429, 4797, 3085, 3219, 3210, 302, 1719}, {569, 5850, 1981, 4311, 3405, 540, 195}},
	}
	for _, c := range []struct {
		rate, size float64
		lines      *plateLines
	}{
		{48000, 1, usual},
		{32000, 1.5, usual},
		{29761, 1, design},
		{48000, 29761.0 / 48000, design},
		{96000, 29761.0 / 96000, design},
	} {
		for interpolation := range interpolationWeights {
			for _, decay := range []float64{0.6, 1.8, 10} {
				checkPlate(t, c.lines, c.rate, c.size, decay, interpolation)
			}
		}
	}
}

// plateLines are the lengths of a plate's lines and where its outputs tap them,
// in samples: its halves' from left to right, without the excursion.
type plateLines struct {
	diffusers                      []int
	moving, first, allpass, second [2]int
	taps                           [2][7]int
}

// checkPlate holds the plate to the transfer function of its figure.
func checkPlate(t *testing.T, lines *plateLines, rate, size, decay float64, interpolation string) {
	t.Helper()
	gains, weights := []float64{-0.75, -0.75, -0.625, -0.625}, interpolationWeights[interpolation]
	const frames, damping, bandwidth = 7200, 0.1, 0.8
	// A sine and a cosine of 1 Hz and 8 samples at 29761 Hz after one step of
	// the coupled form, which is as long as the block. No size changes them.
	turn, excursion := 2*math.Pi*frames/rate, 8*rate/29761
	shift := [2]float64{turn * excursion, excursion * (1 - turn*turn)}
	out := knock(t, rendering{
		Block: "plate-reverb", Rate: rate, Choices: map[string]string{"interpolation": interpolation}, BlockSize: frames, Frames: frames,
		Params: map[string]float64{"decay": decay, "damping": damping, "bandwidth": bandwidth, "size": size},
	}, 1)["out"]
	gain := math.Pow(10, -3*0.7254*size/(4*decay))
	diffusion := -math.Min(0.5, math.Max(0.25, gain+0.15))
	for _, z := range []complex128{complex(1.002, 0), cmplx.Rect(1.002, 0.003), cmplx.Rect(1.0025, 0.05), cmplx.Rect(1.002, 1), complex(-1.003, 0)} {
		back := func(n int) complex128 { return power(z, -n) }
		x := bandwidth / (1 - (1-bandwidth)/z)
		for k, m := range lines.diffusers {
			x *= allpassAt(back(m), gains[k], gains[k])
		}
		// Of each half, for one unit that enters it: what comes out of the
		// moving allpass, what enters the second, its memory, what leaves it.
		var moved, into, memory, left [2]complex128
		for h := range 2 {
			whole, f := math.Modf(float64(lines.moving[h]) + shift[h])
			late := complex(0, 0)
			for k, w := range weights(f) {
				late += complex(w, 0) * back(int(whole)-1+k)
			}
			moved[h] = allpassAt(late, 0.7, 0.7)
			into[h] = moved[h] * back(lines.first[h]) * (1 - damping) / (1 - damping/z) * complex(gain, 0)
			memory[h] = into[h] / (1 - complex(diffusion, 0)*back(lines.allpass[h]))
			left[h] = into[h] * allpassAt(back(lines.allpass[h]), diffusion, diffusion)
		}
		// Each half takes the input and what left the other's second delay.
		var in [2]complex128
		crossed := func(h int) complex128 { return complex(gain, 0) * left[h] * back(lines.second[h]) }
		for h := range 2 {
			in[h] = x * (1 + crossed(1-h)) / (1 - crossed(0)*crossed(1))
		}
		for side := range 2 {
			own, other, tap := side, 1-side, lines.taps[side]
			want := 0.6 * (in[other]*(moved[other]*(back(tap[0])+back(tap[1]))-memory[other]*back(tap[2])+left[other]*back(tap[3])) -
				in[own]*(moved[own]*back(tap[4])+memory[own]*back(tap[5])+left[own]*back(tap[6])))
			if got := transform(out[side], z); cmplx.Abs(got-want) > 1e-5 {
				t.Errorf("Side %d of the plate (%v Hz, size %.3f, %s, decay %v s): at z = %.4f the transform of the impulse response is %.6f, and the figure with Dattorro's lengths and taps gives %.6f.", side, rate, size, interpolation, decay, z, got, want)
			}
		}
	}
}

func TestPlateReverbMoves(t *testing.T) {
	t.Parallel()
	// One sample a call turns the slow sine every sample in place of every
	// block. What has not passed a moving delay, before sample 569 + 1071, is
	// the same bit for bit, and the energy of the tail stays.
	r := rendering{Block: "plate-reverb", Frames: 48000}
	blocks := knock(t, r, 1)["out"]
	r.OneSample = true
	single := knock(t, r, 1)["out"]
	for side, tap := range []int{429, 569} {
		for n := range tap + 1071 {
			if blocks[side][n] != single[side][n] {
				t.Fatalf("Sample %d of side %d of the plate is %v in blocks and %v one at a time; nothing has moved yet.", n, side, blocks[side][n], single[side][n])
			}
		}
	}
	if change := 10 * math.Log10(energy(single, 0, 48000)/energy(blocks, 0, 48000)); math.Abs(change) > 0.5 {
		t.Errorf("The plate one sample at a time has %.2f dB of the energy that it has in blocks; only the steps of the slow sine differ.", change)
	}
}

func TestReverbSidesDiffer(t *testing.T) {
	t.Parallel()
	for _, block := range []string{"eight-comb-reverb", "network-reverb", "plate-reverb"} {
		out := knock(t, rendering{Block: block, BlockSize: 480, Frames: 48000}, 1)["out"]
		left, right, both := energy(out[:1], 0, 48000), energy(out[1:], 0, 48000), 0.0
		for n := range out[0] {
			both += float64(out[0][n]) * float64(out[1][n])
		}
		if likeness := math.Abs(both) / math.Sqrt(left*right); likeness > 0.3 {
			t.Errorf("The sides of %s are alike by %.2f; two reverberators for two ears must not be.", block, likeness)
		}
		if balance := 10 * math.Log10(left/right); math.Abs(balance) > 1.5 {
			t.Errorf("The left side of %s is %.2f dB louder than the right.", block, balance)
		}
	}
}

func TestReverbInputs(t *testing.T) {
	t.Parallel()
	// Channels are averaged, or in the eight-comb reverberator added.
	x, y := filterHiss(480, 0.5, 1), filterHiss(480, 0.5, 2)
	mean := make([]float32, len(x))
	for n := range mean {
		mean[n] = (x[n] + y[n]) / 2
	}
	for _, block := range []string{"four-comb-reverb", "eight-comb-reverb", "comb-bank-reverb", "early-reflections", "nested-allpass-reverb", "network-reverb", "plate-reverb"} {
		scale := float32(1)
		if block == "eight-comb-reverb" {
			scale = 2
		}
		two := render(t, rendering{Block: block, Channels: 2, Frames: 4800, Inputs: map[string][][]float32{"in": {x, y}}})["out"]
		one := render(t, rendering{Block: block, Channels: 1, Frames: 4800, Inputs: map[string][][]float32{"in": {mean}}})["out"]
		for side := range one {
			for n := range one[side] {
				if math.Abs(float64(two[side][n]-scale*one[side][n])) > 1e-5 {
					t.Fatalf("%s: sample %d of side %d is %v for two channels and %v for their mean; the sum must be %v times it.", block, n, side, two[side][n], one[side][n], scale)
				}
			}
		}
	}
}

func TestReverbStyles(t *testing.T) {
	t.Parallel()
	// At 8 kHz the lines are short enough for the noise to come round.
	for block, start := range map[string]map[string]float64{
		"four-comb-reverb": {"decay": 3}, "eight-comb-reverb": {"decay": 3, "damping": 0.9}, "comb-bank-reverb": {"decay": 3}, "early-reflections": {}, "nested-allpass-reverb": {"decay": 3},
		"network-reverb": {"decay": 3, "damping": 0.9},
	} {
		params := map[string]float64{}
		for name := range start {
			params[name] = 0.6
		}
		t.Run(block, func(t *testing.T) { checkLineStyles(t, block, 8000, params, start) })
	}
}

func TestReverbFormats(t *testing.T) {
	t.Parallel()
	// Sixteen bits in the lines change the tail by their rounding alone, 101 dB
	// below 1 (a twelfth of a step squared). Loops raise it by 10 log10(1 / (1 -
	// g^2)). Most of all in the eight-comb reverberator: 5 dB in a loop, 9 dB for
	// eight combs, and 3.7 dB in each of four smearers of energy 1 + 1 / (1 -
	// 0.25), which gives -72 dB.
	for _, block := range []string{"four-comb-reverb", "eight-comb-reverb", "comb-bank-reverb", "early-reflections", "nested-allpass-reverb", "network-reverb", "plate-reverb"} {
		in := map[string][][]float32{"in": {filterHiss(4800, 0.02, 3)}}
		wide := render(t, rendering{Block: block, BlockSize: 480, Frames: 24000, Inputs: in})["out"]
		short := render(t, rendering{Block: block, Choices: map[string]string{"format": "int16"}, BlockSize: 480, Frames: 24000, Inputs: in})["out"]
		difference := make([][]float32, len(wide))
		for side := range wide {
			for n := range wide[side] {
				difference[side] = append(difference[side], wide[side][n]-short[side][n])
			}
		}
		if level := 10 * math.Log10(energy(difference, 0, 24000)/float64(len(wide)*24000)); level > -71 || level < -120 {
			t.Errorf("Sixteen bits change %s by %.1f dB of full scale; rounding at -101 dB, raised by the loops, gives -72 dB at most.", block, level)
		}
	}
}
