package main

import (
	"math"
	"testing"
)

// blownPipe is the equation of the blown pipe in double precision. Its reed and its
// open end are those of its sources.
func blownPipe(frames int, rate, pitch, breath, hiss, damping float64) []float64 {
	loop := rate/(2*pitch) - damping - 0.1
	period := int(loop)
	fraction := loop - float64(period) + 0.1
	a := (1 - fraction) / (1 + fraction)
	w, u, noise := make([]float64, frames), make([]float64, frames), whiteNoise(frames)
	at := func(x []float64, n int) float64 {
		if n < 0 {
			return 0
		}
		return x[n]
	}
	level := 0.0
	for n := range w {
		u[n] = a*(at(w, n-period)-at(u, n-1)) + at(w, n-period-1)
		b := -0.95 * ((1-damping)*u[n] + damping*at(u, n-1))
		level += (1 - math.Exp(-1/(0.005*rate))) * (breath - level)
		p := level * (1 + hiss*noise[n])
		d := b - p
		w[n] = p + d*max(-1, min(1, 0.7-0.3*d))
	}
	return w
}

func blown(frames int, params map[string]float64) rendering {
	return rendering{Block: "blown-pipe", Params: params, Frames: frames}
}

func TestBlownPipe(t *testing.T) {
	t.Parallel()
	// A nonlinear loop magnifies roundings while it begins to speak; once it has, it
	// holds to its course.
	const frames = 9600
	for _, c := range []struct{ pitch, lowest, breath, hiss, damping float64 }{
		{147, 73, 0.75, 0.05, 0.5}, {73, 73, 1, 0, 0.2}, {440, 100, 0.6, 0.5, 0.95}, {1999, 300, 0.9, 0.01, 0.05}, {220, 110, 0.3, 0.3, 0.4},
	} {
		y := render(t, blown(frames, map[string]float64{"pitch": c.pitch, "lowest": c.lowest, "breath": c.breath, "hiss": c.hiss, "damping": c.damping}))["out"][0]
		for n, want := range blownPipe(frames, 48000, c.pitch, c.breath, c.hiss, c.damping) {
			if math.Abs(float64(y[n])-want) > 1e-3 {
				t.Errorf("%+v: sample %d is %v, want %v, the equation in double precision.", c, n, y[n], want)
				break
			}
		}
	}
}

func TestBlownPipeSpeaks(t *testing.T) {
	t.Parallel()
	// Closed by the reed and open at the far end, a pipe of a quarter of a wave: its
	// partials are the odd ones (any text on acoustics). Its pitch is within 2 cents,
	// its swing steady within 1 % from one half second to the next, and never above
	// the breath.
	for _, format := range lineFormats {
		for _, pitch := range []float64{65.41, 146.83, 311.13, 659.26, 1318.5} {
			for _, breath := range []float64{0.65, 0.8, 1} {
				r := blown(96000, map[string]float64{"pitch": pitch, "lowest": 50, "breath": breath, "hiss": 0, "damping": 0.5})
				r.BlockSize, r.Choices = 480, map[string]string{"format": format}
				y := render(t, r)["out"][0]
				mean, most := 0.0, 0.0
				for n, v := range y {
					most = max(most, math.Abs(float64(v)))
					if n >= 48000 {
						mean += float64(v) / 48000
					}
				}
				var crossings []float64
				power := [2]float64{}
				for n := 48000; n < 96000; n++ {
					before, here := float64(y[n-1])-mean, float64(y[n])-mean
					power[(n-48000)/24000] += here * here
					if before < 0 && here >= 0 {
						crossings = append(crossings, float64(n)-here/(here-before))
					}
				}
				if len(crossings) < 2 {
					t.Errorf("%s, %g Hz, breath %g: the pipe does not speak.", format, pitch, breath)
					continue
				}
				last := len(crossings) - 1
				frequency := 48000 * float64(last) / (crossings[last] - crossings[0])
				if cents := 1200 * math.Log2(frequency/pitch); math.Abs(cents) > 2 {
					t.Errorf("%s, breath %g: %g Hz sound %.2f cents off.", format, breath, pitch, cents)
				}
				if swing := math.Sqrt(power[1] / power[0]); math.Abs(swing-1) > 0.01 {
					t.Errorf("%s, %g Hz, breath %g: the swing of one half second is %.4f times that of the one before, want 1.", format, pitch, breath, swing)
				}
				if level := math.Sqrt(power[1] / 24000); level < 0.3*breath || most > breath {
					t.Errorf("%s, %g Hz, breath %g: a level of %.3f and a peak of %.3f, want at least 0.3 times the breath and at most the breath.", format, pitch, breath, level, most)
				}
				odd, even := 0.0, 0.0
				for k := 1; k <= 4; k++ {
					re, im := 0.0, 0.0
					for n := 48000; n < 96000; n++ {
						hann := 1 - math.Cos(2*math.Pi*float64(n)/48000)
						turn := 2 * math.Pi * float64(k) * frequency * float64(n) / 48000
						re += hann * float64(y[n]) * math.Cos(turn)
						im += hann * float64(y[n]) * math.Sin(turn)
					}
					if k%2 == 1 {
						odd += math.Hypot(re, im)
					} else {
						even += math.Hypot(re, im)
					}
				}
				if level := inDecibels(even / odd); level > -20 {
					t.Errorf("%s, %g Hz, breath %g: the even partials lie %.1f dB from the odd ones, want below -20 dB.", format, pitch, breath, level)
				}
			}
		}
	}
}

func TestBlownPipeNeedsBreath(t *testing.T) {
	t.Parallel()
	// The reed stands still where what one turn of the pipe gives back is less than
	// what it took: with w = p + d r(d) and b = -0.95 w, that is below
	// 0.95 (0.7 - 0.6 d) = 1, d = -0.588. At rest b = -0.95 (p + d r), b = d + p, which
	// a breath of 0.552 solves (algebra).
	for breath, speaks := range map[float64]bool{0.3: false, 0.53: false, 0.57: true, 0.7: true} {
		r := blown(240000, map[string]float64{"pitch": 220, "breath": breath, "hiss": 0})
		r.BlockSize = 480
		y := render(t, r)["out"]
		for _, part := range y {
			mean := 0.0
			for _, v := range part[216000:] {
				mean += float64(v) / 24000
			}
			for n := range part {
				part[n] -= float32(mean)
			}
		}
		if level := math.Sqrt(energy(y, 216000, 240000) / 24000); level > 0.05 != speaks {
			t.Errorf("A breath of %g gives a level of %.4f; the reed's threshold is 0.552.", breath, level)
		}
	}
}

func TestBlownPipeStyles(t *testing.T) {
	t.Parallel()
	checkLineStyles(t, "blown-pipe", 48000,
		map[string]float64{"pitch": 220, "lowest": 60, "breath": 0.8, "hiss": 0.1, "damping": 0.4},
		map[string]float64{"pitch": 440, "breath": 0.2, "hiss": 0.4, "damping": 0.7})
}
