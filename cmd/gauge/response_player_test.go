package main

import (
	"math"
	"testing"
)

// marsaglia is a 32-bit xorshift generator with the shifts 13, 17, 5: G. Marsaglia,
// Journal of Statistical Software 8(14), 2003. Its upper 24 bits are a number from 0
// to 1.
type marsaglia uint32

func (m *marsaglia) next() float64 {
	*m ^= *m << 13
	*m ^= *m >> 17
	*m ^= *m << 5
	return float64(*m>>8) / (1 << 24)
}

// recorded is the recording that kernels are tried with, in a format: noise, of
// another seed for each number.
func recorded(number uint32, samples int, format string) []float64 {
	seed := marsaglia(0x9e3779b9*number | 1)
	list := make([]float64, samples)
	for i := range list {
		list[i] = seed.next() - 0.5
		if format == "int16" {
			list[i] = math.Floor(32768*list[i]+0.5) / 32768
		}
	}
	return list
}

// readBetween reads a sound that goes round at a place between its samples, by the
// nearest one, a straight line, or the cubic of C. Hermite whose slopes are those
// between the neighbours, written by its four basis functions (any text on splines).
func readBetween(sound []float64, place float64, interpolation string) float64 {
	whole := int(math.Floor(place))
	at := func(n int) float64 { return sound[(whole+n+len(sound))%len(sound)] }
	f := place - float64(whole)
	switch interpolation {
	case "none":
		return at(int(math.Floor(f + 0.5)))
	case "linear":
		return (1-f)*at(0) + f*at(1)
	}
	before, after := (at(1)-at(-1))/2, (at(2)-at(0))/2
	return (1+2*f)*(1-f)*(1-f)*at(0) + f*(1-f)*(1-f)*before + f*f*(3-2*f)*at(1) + f*f*(f-1)*after
}

func played(choices map[string]string, params map[string]float64, frames int) rendering {
	return rendering{
		Block: "sample-player", Choices: choices, Params: params, Rate: 8000, Frames: frames,
		Events: map[string]map[int][]event{"trigger": {1: {{Value: 1}}}},
	}
}

func TestSamplePlayer(t *testing.T) {
	t.Parallel()
	// 50 ms at 8 kHz are 400 samples. Fractions of a speed are given in 24 bits, so
	// that a position may be off by 2^-24 of the way, and what is read between two
	// samples by as much of the step between them.
	const frames, samples, first = 2400, 400, 48
	for _, interpolation := range []string{"none", "linear", "cubic"} {
		for _, format := range lineFormats {
			for _, speed := range []float64{0, 0.28, 0.5, 1, 1.7, 2, 7.9} {
				for _, ending := range []string{"once", "round"} {
					y := render(t, played(
						map[string]string{"interpolation": interpolation, "format": format, "ending": ending},
						map[string]float64{"recording": 7, "time": 0.05, "speed": speed}, frames))["out"][0]
					sound := recorded(7, samples, format)
					rate := float64(float32(speed))
					for n, got := range y {
						// What goes round does so from the start, before any trigger.
						place, want := float64(n-first)*rate, 0.0
						if n < first && ending == "round" {
							place = float64(n) * rate
						}
						if ending == "round" || n >= first && place < samples {
							want = readBetween(sound, math.Mod(place, samples), interpolation)
						}
						if math.Abs(float64(got)-want) > 2e-6 {
							t.Errorf("At speed %g, %s, %s, %s: sample %d is %v, want %v, the recording read at %.3f.",
								speed, interpolation, format, ending, n, got, want, place)
							break
						}
					}
				}
			}
		}
	}
}

func TestSamplePlayerGivesTheSamples(t *testing.T) {
	t.Parallel()
	// At speed 1 the recording comes out as it is, bit for bit, and a trigger begins
	// it anew; from flash and from RAM alike.
	for _, memory := range []string{"flash", "ram"} {
		for _, interpolation := range []string{"none", "linear", "cubic"} {
			r := played(map[string]string{"interpolation": interpolation, "format": "float32", "memory": memory}, map[string]float64{"recording": 3, "time": 0.05, "speed": 1}, 384)
			r.Events["trigger"][5] = []event{{Value: 0}, {Value: 1}}
			y := render(t, r)["out"][0]
			sound := recorded(3, 400, "float32")
			for n, got := range y {
				want := float32(0)
				if n >= 48 {
					want = float32(sound[(n-48)%192])
				}
				if got != want {
					t.Fatalf("From %s, %s: sample %d is %v, want %v, the recording from a trigger at 48 and one at 240.", memory, interpolation, n, got, want)
				}
			}
		}
	}
}

func TestSamplePlayerStyles(t *testing.T) {
	t.Parallel()
	for _, interpolation := range []string{"none", "linear", "cubic"} {
		for _, format := range lineFormats {
			r := played(map[string]string{"interpolation": interpolation, "format": format, "ending": "round"}, map[string]float64{"time": 0.05, "speed": 1.3}, 960)
			want := render(t, r)["out"][0]
			single, late := r, r
			single.OneSample = true
			late.Params = map[string]float64{"time": 0.05, "speed": 0.5}
			late.Updates = map[string]map[int]map[string]float64{"speed": {0: {"speed": 1.3}}}
			for name, other := range map[string]rendering{"one sample a call": single, "an update of the speed": late} {
				for n, got := range render(t, other)["out"][0] {
					if got != want[n] {
						t.Fatalf("%s, %s: sample %d is %v with %s, and %v without; both compute one equation.", interpolation, format, n, got, name, want[n])
					}
				}
			}
		}
	}
}
