package main

import (
	"maps"
	"math"
	"testing"
)

// granularPlayer is what the granular player computes, in double precision. Times
// are in samples.
type granularPlayer struct {
	grain, density                float64 // samples, grains a sample
	place, scatter, speed, spread float64
	grains                        int
}

func (g granularPlayer) run(sound []float64, frames int) []float64 {
	seed := marsaglia(0x2545f491)
	type grain struct{ from, speed, age float64 }
	begin := func() grain {
		from := math.Floor((g.place + g.scatter*seed.next()) * float64(len(sound)))
		return grain{from: from, speed: g.speed * (1 + g.spread*(2*seed.next()-1))}
	}
	cycle := max(g.grain, math.Floor(float64(g.grains)/g.density))
	list := make([]grain, g.grains)
	for n := range list {
		// Those that are on their way at the start have gone as far as their age says
		// through the window, and begin to move then.
		list[n] = begin()
		list[n].age = math.Floor(float64(n) * cycle / float64(g.grains))
		list[n].from -= list[n].speed * list[n].age
	}
	scale := 1 / math.Sqrt(1+0.375*float64(g.grains)*g.grain/cycle)
	y := make([]float64, frames)
	for n := range y {
		for i := range list {
			one := &list[i]
			if one.age < g.grain {
				place := math.Mod(one.from+one.speed*one.age, float64(len(sound)))
				if place < 0 {
					place += float64(len(sound))
				}
				hann := (1 - math.Cos(2*math.Pi*one.age/g.grain)) / 2
				y[n] += scale * hann * readBetween(sound, place, "linear")
			}
			if one.age++; one.age == cycle {
				*one = begin()
			}
		}
	}
	return y
}

func TestGranularPlayer(t *testing.T) {
	// The window's polynomial is off by up to 1.4e-5, and a speed of a float by 2^-24
	// of the way, both for each grain; one that is drawn is worked out in floats too.
	const frames, rate, samples = 2400, 8000.0, 1600
	for _, c := range []granularPlayer{
		{160, 0.01, 0.3, 0.2, 1, 0, 1},
		{480, 0.02, 1, 1, 1.9, 0.9, 4},
		{800, 0.1, 0, 1, 0.5, 0.3, 16},
		{40, 0.002, 0.9, 0.5, 3.7, 0.5, 3},
	} {
		for _, format := range lineFormats {
			for _, memory := range []string{"flash", "ram"} {
				y := render(t, rendering{
					Block: "granular-player", Choices: map[string]string{"format": format, "memory": memory}, Rate: rate, Frames: frames,
					Params: map[string]float64{
						"recording": 5, "time": samples / rate, "grain": (c.grain + 0.01) / rate, "density": c.density * rate * 0.99999,
						"place": c.place, "scatter": c.scatter, "speed": c.speed, "spread": c.spread, "grains": float64(c.grains),
					},
				})["out"][0]
				for n, want := range c.run(recorded(5, samples, format), frames) {
					if got := float64(y[n]); math.Abs(got-want) > 2e-3 {
						t.Errorf("%+v, %s in %s: sample %d is %v, want %v, the equation in double precision.", c, format, memory, n, got, want)
						break
					}
				}
			}
		}
	}
}

func TestGranularPlayerKeepsThePower(t *testing.T) {
	// Grains of noise from different places are not alike, so that their powers add
	// up: the mean square of a raised cosine is 3/8 (algebra), of G grains 3/8 G, and
	// the sum is scaled by one more. The recording is even between -1/2 and 1/2, of a
	// mean square of 1/12.
	for grains, want := range map[float64]float64{1: 10 * math.Log10(0.375/1.375), 4: 10 * math.Log10(1.5/2.5), 16: 10 * math.Log10(6./7)} {
		y := render(t, rendering{Block: "granular-player", Frames: 96000, BlockSize: 480, Params: map[string]float64{
			"density": 1000, "grain": 0.02, "scatter": 1, "speed": 1, "spread": 0, "grains": grains}})["out"]
		if level := 10 * math.Log10(energy(y, 0, 96000)/96000*12); math.Abs(level-want) > 0.5 {
			t.Errorf("%v grains of noise are %.2f dB from the noise, want %.2f dB.", grains, level, want)
		}
	}
}

func TestGranularPlayerStyles(t *testing.T) {
	// An update counts from the next grain on, which here begins within 80 samples.
	params := map[string]float64{"time": 0.05, "grain": 0.01, "density": 90, "place": 0.2, "scatter": 0.6, "speed": 1.2, "spread": 0.3, "grains": 1}
	updates := map[string]map[string]float64{"density": {"density": 55}, "place": {"place": 0.7, "scatter": 0.1}, "speed": {"speed": 0.4, "spread": 0.8}}
	for _, format := range lineFormats {
		r := rendering{Block: "granular-player", Choices: map[string]string{"format": format}, Rate: 8000, Frames: 960, Params: params}
		want := render(t, r)["out"][0]
		single := r
		single.OneSample = true
		same := func(what string, other rendering, from int) {
			t.Helper()
			for n, got := range render(t, other)["out"][0] {
				if n >= from && got != want[n] {
					t.Fatalf("%s: sample %d is %v with %s, and %v without; both compute one equation.", format, n, got, what, want[n])
				}
			}
		}
		same("one sample a call", single, 0)
		for name, before := range updates {
			late := r
			late.Params = maps.Clone(params)
			maps.Copy(late.Params, before)
			late.Updates = map[string]map[int]map[string]float64{name: {0: params}}
			same("an update of the "+name, late, 96)
		}
	}
}
