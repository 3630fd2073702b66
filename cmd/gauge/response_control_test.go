package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// periodic is a control block rendered at 1000 control periods a second, a
// value of the port `in` for each.
func periodic(t *testing.T, r rendering, in []float32) map[string][][]float32 {
	t.Helper()
	r.ControlRate, r.Frames = 1000, len(in)*48
	if r.Inputs == nil {
		r.Inputs = map[string][][]float32{"in": {in}}
	}
	return render(t, r)
}

// checkClose demands that a control output follows a closed form.
func checkClose(t *testing.T, what string, got []float32, want func(n int) float64, tolerance float64, source string) {
	t.Helper()
	for n, y := range got {
		if math.Abs(float64(y)-want(n)) > tolerance {
			t.Fatalf("%s: value %d is %.7g, and %s gives %.7g.", what, n, y, source, want(n))
		}
	}
}

// envelopes compute one equation, in floats and in fixed point.
var envelopes = []string{"adsr", "fixed-envelope"}

func TestADSRSegments(t *testing.T) {
	t.Parallel()
	for _, block := range envelopes {
		checkSegments(t, block)
	}
}

func checkSegments(t *testing.T, block string) {
	t.Helper()
	// Periods of 1 ms. The attack passes the top in the period after 10.5 ms;
	// the gate closes before period 300.
	const top, closed = 11, 300
	for _, approximate := range []bool{false, true} {
		for _, sustain := range []float64{0, 0.4, 1} {
			got := periodic(t, rendering{
				Block: block, Approximate: approximate,
				Params: map[string]float64{"attack": 0.0105, "decay": 0.1, "sustain": sustain, "release": 0.15},
				Events: map[string]map[int][]event{"gate": {0: {{0, 1}}, closed: {{0, 0}}}},
			}, make([]float32, 700))["out"][0]
			held := got[closed-1]
			checkClose(t, fmt.Sprintf("%s with sustain %g", block, sustain), got, func(n int) float64 {
				after := float64(n + 1)
				switch {
				case after < top:
					return 1.2 * (1 - math.Exp(-math.Log(6)*after/10.5))
				case after <= closed:
					return sustain + (1-sustain)*math.Exp(-math.Log(1000)*(after-top)/100)
				}
				return float64(held) * math.Exp(-math.Log(1000)*(after-closed)/150)
			}, 2e-5, "exp(-k/(time rate)) of dsp 4.4")
			// 6.9078 time constants are -60 dB (dsp 4.4).
			if after := float64(got[closed+149]); held > 0.1 && math.Abs(after/float64(held)-1e-3) > 2e-5 {
				t.Errorf("%s: after the release time the level is %.6f of what was held, and -60 dB is 0.001.", block, after/float64(held))
			}
			if last := got[len(got)-1]; last != 0 {
				t.Errorf("%s rests at %g, and silence is 0.", block, last)
			}
		}
	}
}

func TestADSRGateOpensAgain(t *testing.T) {
	t.Parallel()
	for _, block := range envelopes {
		got := periodic(t, rendering{
			Block: block, Params: map[string]float64{"attack": 0.02, "release": 0.3},
			Events: map[string]map[int][]event{"gate": {0: {{0, 1}}, 100: {{0, 0}}, 110: {{0, 1}}}},
		}, make([]float32, 120))["out"][0]
		// One step of the attack from the level where it was: e = b + c e.
		c := math.Exp(-math.Log(6) / 20)
		if want := 1.2*(1-c) + c*float64(got[109]); math.Abs(float64(got[110])-want) > 1e-6 {
			t.Errorf("%s: the gate opens again at %g and the next level is %g; the attack takes it to %g.", block, got[109], got[110], want)
		}
	}
}

func TestLFOShapes(t *testing.T) {
	t.Parallel()
	const periods = 400 // 2.5 Hz at 1 kHz: one turn
	phase := func(n int) float64 { return math.Mod(float64(n)/periods, 1) }
	for shape, want := range map[string]func(p float64) float64{
		"triangle": func(p float64) float64 { return math.Abs(2*p - 1) },
		"saw":      func(p float64) float64 { return p },
	} {
		got := periodic(t, rendering{Block: "lfo", Choices: map[string]string{"shape": shape}, Params: map[string]float64{"frequency": 2.5}}, make([]float32, periods-2))["out"][0]
		checkClose(t, shape, got, func(n int) float64 { return want(phase(n)) }, 5e-5, "the closed form")
	}
	sine := periodic(t, rendering{Block: "lfo", Params: map[string]float64{"frequency": 2.5}}, make([]float32, 2*periods))["out"][0]
	greatest := 0.0
	for n, y := range sine {
		greatest = max(greatest, math.Abs(2*float64(y)-1-math.Sin(2*math.Pi*(phase(n)-0.5))))
	}
	// Greatest error of the corrected parabola on a sine of height 1: dsp 2.8.
	if math.Abs(greatest-0.0011) > 1e-4 {
		t.Errorf("The sway is off a sine by %.5f of its height at most, and dsp 2.8 has 0.0011.", greatest)
	}
	square := periodic(t, rendering{Block: "lfo", Choices: map[string]string{"shape": "square"}, Params: map[string]float64{"frequency": 62.5}}, make([]float32, 64))["out"][0]
	for n, y := range square { // a step of 1/16 is exact
		if want := float32(1 - n/8%2); y != want {
			t.Fatalf("Square of 62.5 Hz at 1 kHz: value %d is %g, and p < 0.5 gives %g.", n, y, want)
		}
	}
}

func TestLFORandom(t *testing.T) {
	t.Parallel()
	got := periodic(t, rendering{Block: "lfo", Choices: map[string]string{"shape": "random"}, Params: map[string]float64{"frequency": 62.5}}, make([]float32, 16*500))["out"][0]
	seed, sum := uint32(0), 0.0
	for n, y := range got {
		if n%16 == 0 {
			seed = 1664525*seed + 1013904223 // Knuth's generator, worked beside the kernel
			sum += float64(y)
		}
		if want := float32(seed>>8) / (1 << 24); y != want {
			t.Fatalf("Random of 62.5 Hz at 1 kHz: value %d is %g, and draw %d of the generator is %g.", n, y, n/16, want)
		}
	}
	// The mean of 500 even draws from 0 to 1 strays by 0.013 (1/sqrt(12 x 500)).
	if mean := sum / 500; math.Abs(mean-0.5) > 0.05 {
		t.Errorf("500 random levels have a mean of %.3f, and even ones 0.5.", mean)
	}
}

func TestLFOReset(t *testing.T) {
	t.Parallel()
	got := periodic(t, rendering{
		Block: "lfo", Choices: map[string]string{"shape": "saw"}, Params: map[string]float64{"frequency": 62.5},
		Events: map[string]map[int][]event{"reset": {5: {{0, 1}}, 9: {{0, 0}}}},
	}, make([]float32, 12))["out"][0]
	for n, want := range []float32{0, 1, 2, 3, 4, 0, 1, 2, 3, 4, 5, 6} {
		if got[n] != want/16 {
			t.Errorf("Value %d of a saw reset before value 5 is %g, and a step of 1/16 gives %g.", n, got[n], want/16)
		}
	}
}

func TestSlewSlopes(t *testing.T) {
	t.Parallel()
	goal := make([]float32, 300)
	for n := range goal {
		if n < 100 {
			goal[n] = 0.75
		} else {
			goal[n] = -0.25
		}
	}
	got := periodic(t, rendering{Block: "slew", Params: map[string]float64{"rise": 0.1, "fall": 0.05}}, goal)["out"][0]
	checkClose(t, "A rise of 100 ms and a fall of 50 ms", got, func(n int) float64 {
		if n < 100 {
			return min(0.75, float64(n+1)/100)
		}
		return max(-0.25, 0.75-float64(n-99)/50)
	}, 1e-5, "a straight line by time to change by 1")
}

// The step response of a one-pole lowpass, 1 - exp(-t/T) (textbook): 63 % after one
// time, 95 % after three.
func TestSmootherSettles(t *testing.T) {
	t.Parallel()
	goal := make([]float32, 400)
	for n := range goal {
		if n < 200 {
			goal[n] = 0.75
		} else {
			goal[n] = -0.25
		}
	}
	got := periodic(t, rendering{Block: "smoother", Params: map[string]float64{"time": 0.05}}, goal)["out"][0]
	at := func(n int) float64 { return 1 - math.Exp(-float64(n)/50) } // a control period is 1 ms
	checkClose(t, "A time of 50 ms", got, func(n int) float64 {
		if n < 200 {
			return 0.75 * at(n+1)
		}
		return 0.75*at(200) - (0.25+0.75*at(200))*at(n-199)
	}, 2e-6, "the step response of a one-pole lowpass")
	if one, three := float64(got[49])/0.75, float64(got[149])/0.75; math.Abs(one-0.632) > 0.001 || math.Abs(three-0.950) > 0.001 {
		t.Errorf("After one time %.3f of the move are made, after three %.3f, and a textbook has 0.632 and 0.950.", one, three)
	}
}

func TestControlUpdates(t *testing.T) {
	t.Parallel()
	// An update before the first period is the same as a start with its values.
	in := filterHiss(60, 1, 5)
	for _, c := range []struct {
		block  string
		params map[string]float64
		other  map[string]float64
	}{
		{"adsr", map[string]float64{"attack": 0.01, "decay": 0.02, "sustain": 0.3, "release": 0.04}, map[string]float64{"attack": 0.1, "decay": 0.2, "sustain": 0.9, "release": 0.4}},
		{"fixed-envelope", map[string]float64{"attack": 0.01, "decay": 0.02, "sustain": 0.3, "release": 0.04}, map[string]float64{"attack": 0.1, "decay": 0.2, "sustain": 0.9, "release": 0.4}},
		{"lfo", map[string]float64{"frequency": 3}, map[string]float64{"frequency": 7}},
		{"slew", map[string]float64{"rise": 0.01, "fall": 0.02}, map[string]float64{"rise": 0.1, "fall": 0.2}},
		{"smoother", map[string]float64{"time": 0.01}, map[string]float64{"time": 0.1}},
		{"envelope-follower", map[string]float64{"attack": 0.001, "release": 0.02}, map[string]float64{"attack": 0.1, "release": 0.2}},
	} {
		groups := map[string][]string{
			"adsr": {"attack", "decay", "release"}, "fixed-envelope": {"attack", "decay", "release"}, "lfo": {"step"}, "slew": {"rise", "fall"}, "smoother": {"time"}, "envelope-follower": {"attack", "release"},
		}[c.block]
		updates := map[string]map[int]map[string]float64{}
		for _, g := range groups {
			updates[g] = map[int]map[string]float64{0: c.params}
		}
		run := func(params map[string]float64, updates map[string]map[int]map[string]float64) []float32 {
			r := rendering{Block: c.block, Params: params, Updates: updates}
			if slices.Contains(envelopes, c.block) {
				r.Events = map[string]map[int][]event{"gate": {0: {{0, 1}}, 40: {{0, 0}}}}
			}
			return periodic(t, r, in)["out"][0]
		}
		want := run(c.params, nil)
		if got := run(maps.Clone(c.other), updates); !slices.Equal(got, want) {
			t.Errorf("%s updated before the first period gives %v, and started with the same values %v.", c.block, got, want)
		}
		if slices.Equal(run(c.other, nil), want) {
			t.Errorf("%s gives the same with %v and %v, so that the check above shows nothing.", c.block, c.params, c.other)
		}
	}
}

func TestEnvelopeFollowerTimes(t *testing.T) {
	t.Parallel()
	// exp(-1/(tau fs)) at 48 kHz as reference page dsp 4.4 has it.
	for tau, kept := range map[float64]float64{0.001: 0.97938218, 0.01: 0.99791884, 0.1: 0.99979169} {
		for _, detector := range []string{"peak", "rms"} {
			x := make([]float32, 400)
			for i := range 200 {
				x[i] = -0.5
			}
			got := render(t, rendering{
				Block: "envelope-follower", Choices: map[string]string{"detector": detector}, BlockSize: 1, Frames: len(x),
				Params: map[string]float64{"attack": tau, "release": tau}, Inputs: map[string][][]float32{"in": {x}},
			})["out"][0]
			checkClose(t, fmt.Sprintf("%s, %g s", detector, tau), got, func(n int) float64 {
				rise := 1 - math.Pow(kept, float64(min(n+1, 200)))
				fall := math.Pow(kept, float64(max(0, n-199)))
				if detector == "rms" {
					return 0.5 * math.Sqrt(rise*fall)
				}
				return 0.5 * rise * fall
			}, 2e-5, "the closed form with the coefficient of dsp 4.4")
		}
	}
}

func TestEnvelopeFollowerChannels(t *testing.T) {
	t.Parallel()
	// With both times far below a sample the level is what is detected.
	x := [][]float32{{0.1, -0.6}, {-0.3, 0.2}}
	for detector, want := range map[string][]float64{
		"peak": {0.3, 0.6},
		"rms":  {math.Sqrt((0.01 + 0.09) / 2), math.Sqrt((0.36 + 0.04) / 2)},
	} {
		got := render(t, rendering{
			Block: "envelope-follower", Choices: map[string]string{"detector": detector}, Channels: 2, BlockSize: 1, Rate: 8000, Frames: 2,
			Params: map[string]float64{"attack": 1e-6, "release": 1e-6}, Inputs: map[string][][]float32{"in": x},
		})["out"][0]
		checkClose(t, detector+" of two channels", got, func(n int) float64 { return want[n] }, 1e-6, "its definition")
	}
}

func TestControlOneSample(t *testing.T) {
	t.Parallel()
	// What is handed on at the end of a block is the same, bit for bit, whether
	// the samples came by the block or one at a time.
	const frames = 480
	in := [][]float32{filterHiss(frames, 0.5, 7), filterHiss(frames, 0.5, 8)}
	words := make([]float32, 2*frames)
	for i, v := range filterHiss(2*frames, 1, 9) {
		words[i] = float32(int32(v * (1 << 23)))
	}
	for _, r := range []rendering{
		{Block: "envelope-follower", Choices: map[string]string{"detector": "peak"}, Inputs: map[string][][]float32{"in": in}},
		{Block: "envelope-follower", Choices: map[string]string{"detector": "rms"}, Inputs: map[string][][]float32{"in": in}},
		{Block: "level-meter", Choices: map[string]string{"ballistics": "peak"}, Inputs: map[string][][]float32{"in": in}},
		{Block: "level-meter", Choices: map[string]string{"ballistics": "mean"}, Inputs: map[string][][]float32{"in": in}},
		{Block: "sample-and-hold", Inputs: map[string][][]float32{"in": in}, Events: map[string]map[int][]event{"clock": {1: {{5, 1}}, 6: {{40, 1}}}}},
		{Block: "track-and-hold", Inputs: map[string][][]float32{"in": in}, Events: map[string]map[int][]event{"clock": {1: {{5, 1}}, 6: {{40, 0}}}}},
		{Block: "audio-in", Inputs: map[string][][]float32{"audio_in": {words}}},
		{Block: "audio-out", Inputs: map[string][][]float32{"in": in}},
	} {
		r.Channels, r.Frames = 2, frames
		want := render(t, r)
		r.OneSample = true
		for port, channels := range render(t, r) {
			for c := range channels {
				if !slices.Equal(channels[c], want[port][c]) || slices.Max(want[port][c]) == 0 {
					t.Errorf("%s %v: channel %d of %s differs with one sample a call, or is silent.", r.Block, r.Choices, c, port)
				}
			}
		}
	}
}

func TestSampleAndHold(t *testing.T) {
	t.Parallel()
	x := make([]float32, 5*48)
	for i := range x {
		x[i] = float32(i)
	}
	got := render(t, rendering{
		Block: "sample-and-hold", Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
		Events: map[string]map[int][]event{"clock": {1: {{7, 1}}, 2: {{20, 0}}, 3: {{0, 1}, {47, 1}}}},
	})["out"][0]
	// y = x[n] at a clock: the ramp's value is the sample's number.
	if want := []float32{0, 55, 55, 191, 191}; !slices.Equal(got, want) {
		t.Errorf("Clocks at samples 55, 144 and 191 of a ramp hold %v, want %v.", got, want)
	}
}

func TestPitchQuantiserScales(t *testing.T) {
	t.Parallel()
	// The notes of the scales by any text on harmony; nearest note, and halfway
	// down as the kernel says.
	for scale, notes := range map[string][]int{
		"chromatic":  {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11},
		"major":      {0, 2, 4, 5, 7, 9, 11},
		"minor":      {0, 2, 3, 5, 7, 8, 10},
		"pentatonic": {0, 2, 4, 7, 9},
		"whole-tone": {0, 2, 4, 6, 8, 10},
	} {
		for _, approximate := range []bool{false, true} {
			var in []float32
			for semitone := -30; semitone <= 30; semitone++ {
				in = append(in, float32((float64(semitone)-0.4)/12), float32((float64(semitone)+0.4)/12))
			}
			got := periodic(t, rendering{Block: "pitch-quantiser", Choices: map[string]string{"scale": scale}, Approximate: approximate}, in)["out"][0]
			checkClose(t, scale, got, func(n int) float64 {
				semitone, best := n/2-30, -1000
				for octave := -4; octave <= 4; octave++ {
					for _, note := range notes {
						note += 12 * octave
						if d, b := math.Abs(float64(note-semitone)), math.Abs(float64(best-semitone)); d < b || d == b && note < best {
							best = note
						}
					}
				}
				return float64(best) / 12
			}, 3e-7, "the nearest note of the scale")
		}
	}
}

func TestStepSequenceOrder(t *testing.T) {
	t.Parallel()
	clocks := map[int][]event{}
	for block := range 12 {
		clocks[block] = []event{{uint32(block), 1}}
	}
	clocks[12] = []event{{3, 0}}
	got := render(t, rendering{Block: "step-sequence", Params: map[string]float64{"steps": 5}, Frames: 13 * 48, Events: map[string]map[int][]event{"clock": clocks}})
	// Five steps in turn, semitones upward, of which the fourth is silent and
	// leaves the pitch; the end of the clock closes the gate.
	pitches := []float64{0, 1, 2, 2, 4, 0, 1, 2, 2, 4, 0, 1, 1}
	checkClose(t, "Five steps", got["pitch"][0], func(n int) float64 { return pitches[n] / 12 }, 1e-7, "the row")
	var moments []float32
	for block := range 12 {
		moments = append(moments, float32(block*48+block))
	}
	moments = append(moments, 12*48+3)
	if gates := []float32{1, 1, 1, 0, 1, 1, 1, 1, 0, 1, 1, 1, 0}; !slices.Equal(got["gate"][1], gates) || !slices.Equal(got["gate"][0], moments) {
		t.Errorf("The gate moves at %v to %v, want at %v to %v.", got["gate"][0], got["gate"][1], moments, gates)
	}
}

// clocked are clocks at some samples, in blocks of 48.
func clocked(moments ...int) map[string]map[int][]event {
	list := map[int][]event{}
	for _, m := range moments {
		list[m/48] = append(list[m/48], event{uint32(m % 48), 1})
	}
	return map[string]map[int][]event{"clock": list}
}

func TestClockDivider(t *testing.T) {
	t.Parallel()
	const spacing = 4800 + 7
	var clocks []int
	for k := range 13 {
		clocks = append(clocks, 10+k*spacing)
	}
	for _, division := range []int{1, 2, 3, 4} {
		got := render(t, rendering{Block: "clock-divider", Params: map[string]float64{"division": float64(division)}, Frames: 14 * spacing, Events: clocked(clocks...)})["out"][0]
		var want []float32
		for k := 0; k < len(clocks); k += division {
			want = append(want, float32(clocks[k]))
		}
		if !slices.Equal(got, want) {
			t.Errorf("Clocks divided by %d come at %v, want %v: one in %d, the first among them.", division, got, want, division)
		}
	}
}

func TestClockFollower(t *testing.T) {
	t.Parallel()
	// A clock of 1000 ms by 1, 2, 3, 4 gives ticks 1000, 500, 333.3 and 250 ms
	// apart: common practice and arithmetic.
	const start = 100
	for _, multiply := range []int{1, 2, 3, 4} {
		out := render(t, rendering{
			Block: "clock-follower", Params: map[string]float64{"multiply": float64(multiply)}, Frames: 3*48000 + start,
			Events: clocked(start, start+48000, start+96000),
		})
		want := []float32{start}
		for k := range 2 * multiply {
			want = append(want, float32(start+48000+k*48000/multiply))
		}
		if !slices.Equal(out["ticks"][0], want) {
			t.Errorf("A clock of 1000 ms by %d ticks at samples %v, want %v.", multiply, out["ticks"][0], want)
		}
		period := out["period"][0]
		if period[0] != 0 || period[1500] != 1 {
			t.Errorf("The period is %g s after one clock and %g s after two, want 0 s and 1 s.", period[0], period[1500])
		}
	}
}

func TestClockFollowerBunches(t *testing.T) {
	t.Parallel()
	got := render(t, rendering{
		Block: "clock-follower", Params: map[string]float64{"multiply": 4}, Frames: 4800,
		Events: clocked(0, 1200, 1800),
	})["ticks"][0]
	// The third clock comes after half a period: the two ticks that are still
	// to come are sent with it, and the next are 600 / 4 samples apart.
	if want := []float32{0, 1200, 1500, 1800, 1800, 1800, 1950, 2100, 2250}; !slices.Equal(got, want) {
		t.Errorf("A clock that comes early ticks at %v, want %v.", got, want)
	}
}

func TestAudioConversion(t *testing.T) {
	t.Parallel()
	words := []float32{0, 1, -1, 0x7fffff, -0x800000, 0x7fffff00, -0x80000000, 0x123456, -0x65432100}
	in := render(t, rendering{Block: "audio-in", BlockSize: 9, Frames: 9, Inputs: map[string][][]float32{"audio_in": {words}}})["out"][0]
	for i, w := range words {
		// A word of up to 24 digits fits the float, and 2^-31 is exact.
		if want := float32(float64(w) / (1 << 31)); in[i] != want {
			t.Errorf("The word %g comes in as %g, want %g, the word by 2^-31.", w, in[i], want)
		}
	}
	back := render(t, rendering{Block: "audio-out", BlockSize: 9, Frames: 9, Inputs: map[string][][]float32{"in": {in}}})["audio_out"][0]
	if !slices.Equal(back, words) {
		t.Errorf("The words %v come back as %v; there and back nothing may change.", words, back)
	}
	const most = 0x7fffff80 // 2^31 (1 - 2^-24)
	for _, c := range []struct{ x, want float32 }{
		{1, most}, {2, most}, {float32(math.Inf(1)), most}, {-1, -1 << 31}, {-3, -1 << 31}, {float32(math.Inf(-1)), -1 << 31},
		{0.75 / (1 << 31), 1}, {0.25 / (1 << 31), 0}, {-0.75 / (1 << 31), -1}, {-0.25 / (1 << 31), 0},
	} {
		for _, double := range []bool{false, true} {
			got := render(t, rendering{Block: "audio-out", BlockSize: 1, Frames: 1, Double: double, Inputs: map[string][][]float32{"in": {{c.x}}}})["audio_out"][0][0]
			if got != c.want {
				t.Errorf("%g goes out as %g, want %g: held within full scale and rounded.", c.x, got, c.want)
			}
		}
	}
}

func TestAudioChannelsTakeTurns(t *testing.T) {
	t.Parallel()
	words := []float32{1 << 30, -1 << 30, 1 << 29, -1 << 29}
	in := render(t, rendering{Block: "audio-in", Channels: 2, BlockSize: 2, Frames: 2, Inputs: map[string][][]float32{"audio_in": {words}}})["out"]
	if !slices.Equal(in[0], []float32{0.5, 0.25}) || !slices.Equal(in[1], []float32{-0.5, -0.25}) {
		t.Errorf("Interleaved words come in as %v; the left ones are 0.5 and 0.25, the right ones their opposites.", in)
	}
	out := render(t, rendering{Block: "audio-out", Channels: 2, BlockSize: 2, Frames: 2, Inputs: map[string][][]float32{"in": in}})["audio_out"][0]
	if !slices.Equal(out, words) {
		t.Errorf("Two channels go out as %v, want %v.", out, words)
	}
}

func TestKnobSmooths(t *testing.T) {
	t.Parallel()
	turned := slices.Repeat([]float32{4095}, 100)
	got := periodic(t, rendering{Block: "knob", Params: map[string]float64{"smoothing": 0.02}, Inputs: map[string][][]float32{"knob": {turned}}}, turned)["out"][0]
	checkClose(t, "A knob turned up", got, func(n int) float64 { return 1 - math.Exp(-float64(n+1)/20) }, 1e-6, "1 - exp(-t/smoothing)")
}

func TestControlVoltages(t *testing.T) {
	t.Parallel()
	words := []float32{0, 819, 2048, 4095}
	in := periodic(t, rendering{Block: "cv-in", Inputs: map[string][][]float32{"cv_in": {words}}}, words)["out"][0]
	// 12 bits over 5 V, one for a volt: 5/4096 a step, as the catalog says of it.
	checkClose(t, "A control voltage", in, func(n int) float64 { return float64(words[n]) * 5 / 4096 }, 1e-6, "5 V over 4096 steps")
	out := periodic(t, rendering{Block: "cv-out"}, append(slices.Clone(in), -1, 5, 100))["cv_out"][0]
	if want := append(slices.Clone(words), 0, 4095, 4095); !slices.Equal(out, want) {
		t.Errorf("Voltages sent out as words are %v, want %v: back, and held at the ends.", out, want)
	}
}

func TestLight(t *testing.T) {
	t.Parallel()
	got := periodic(t, rendering{Block: "led"}, []float32{-1, 0, 0.25, 0.5, 1, 7})["led"][0]
	// 4095 v^2, rounded: 255.94 and 1023.75.
	if want := []float32{0, 0, 256, 1024, 4095, 4095}; !slices.Equal(got, want) {
		t.Errorf("Brightness is %v, want %v, the square of the value.", got, want)
	}
}

func TestGates(t *testing.T) {
	t.Parallel()
	port := []float32{0, 1, 1, 3, 2, 1, 0, 0}
	got := render(t, rendering{Block: "gate-in", Frames: 48 * len(port), Inputs: map[string][][]float32{"gate_in": {port}}})["out"]
	// Edges of the lowest bit, at the beginning of the block.
	if moments, values := []float32{48, 4 * 48, 5 * 48, 6 * 48}, []float32{1, 0, 1, 0}; !slices.Equal(got[0], moments) || !slices.Equal(got[1], values) {
		t.Errorf("The port %v gives events at %v of %v, want at %v of %v.", port, got[0], got[1], moments, values)
	}
	for length, want := range map[float64][]float32{
		0.003:  {0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 0, 0},
		0.0001: {0, 1, 0, 0, 0, 0, 1, 1, 0, 0, 0, 0}, // a pulse has one control period at least
	} {
		pulses := periodic(t, rendering{
			Block: "gate-out", Params: map[string]float64{"length": length},
			Events: map[string]map[int][]event{"in": {1: {{0, 1}}, 2: {{0, 0}}, 6: {{0, 1}}, 7: {{0, 1}}}},
		}, make([]float32, len(want)))["gate_out"][0]
		if !slices.Equal(pulses, want) {
			t.Errorf("Pulses of %g s at 1000 periods a second are %v, want %v.", length, pulses, want)
		}
	}
}

func TestButtonBounce(t *testing.T) {
	t.Parallel()
	var port []float32
	hold := func(periods int, level float32) { port = append(port, slices.Repeat([]float32{level}, periods)...) }
	hold(10, 0)
	hold(3, 1) // bounces
	hold(1, 0)
	hold(20, 1) // pressed from period 14
	hold(2, 0)  // a shake
	hold(10, 1)
	hold(20, 0) // released from period 46
	got := render(t, rendering{Block: "button", Frames: 48 * len(port), Inputs: map[string][][]float32{"button": {port}}})["out"]
	if moments, values := []float32{(14 + 7) * 48, (46 + 7) * 48}, []float32{1, 0}; !slices.Equal(got[0], moments) || !slices.Equal(got[1], values) {
		t.Errorf("The button gives events at %v of %v, want at %v of %v, after eight periods at rest.", got[0], got[1], moments, values)
	}
}

func TestTicksFitTheirList(t *testing.T) {
	t.Parallel()
	// Clocks of at most one a block that come as unevenly as they can: every clock has
	// all its ticks (common practice), so that what is left of one and all of the next
	// fall into one block, and no more.
	moments := []int{0, 480, 527, 528, 624, 671, 672, 767, 768, 1200, 1247, 1248, 1343}
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"clock-follower", "clock-multiplier"} {
		b, err := lib.Block(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, multiply := range []float64{1, 4, 24} {
			u := &blocks.Use{Block: b, Settings: b.Defaults(48000), Channels: 1, SampleRate: 48000, BlockSize: 48, EventRates: map[string]blocks.Hertz{"clock": 1000}}
			for i, p := range b.Params {
				if p.Name == "multiply" {
					u.Settings[i].Span = blocks.Span{Low: multiply, High: multiply}
				}
			}
			port, _ := b.Output("ticks")
			room, err := u.MostEvents(port)
			if err != nil {
				t.Fatal(err)
			}
			in := map[int]int{}
			fullest := 0
			for _, at := range render(t, rendering{Block: name, Params: map[string]float64{"multiply": multiply}, Frames: 2400, Events: clocked(moments...)})["ticks"][0] {
				in[int(at)/48]++
				fullest = max(fullest, in[int(at)/48])
			}
			if fullest > room {
				t.Errorf("%s by %g: %d ticks fall into one block, and its list holds %d.", name, multiply, fullest, room)
			}
			if multiply > 1 && fullest <= int(multiply) {
				t.Errorf("%s by %g: at most %d ticks fall into one block, so that the test shows nothing.", name, multiply, fullest)
			}
		}
	}
}
