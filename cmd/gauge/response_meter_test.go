package main

import (
	"math"
	"testing"
)

// metered is what a level meter shows, sample by sample.
func metered(t *testing.T, ballistics string, x []float32) []float32 {
	t.Helper()
	return render(t, rendering{
		Block: "level-meter", Choices: map[string]string{"ballistics": ballistics}, BlockSize: 1, Frames: len(x),
		Inputs: map[string][][]float32{"in": {x}},
	})["out"][0]
}

// burst is a sine of 5 kHz for a while and then silence.
func burst(sounding, samples int) []float32 {
	x := make([]float32, samples)
	for i := range sounding {
		x[i] = float32(0.5 * math.Sin(2*math.Pi*5000/48000*float64(i)))
	}
	return x
}

func TestLevelMeterBursts(t *testing.T) {
	t.Parallel()
	// IEC 60268-10, type I, from memory: what bursts of 5 kHz show against a
	// steady tone, and by how much they may be off.
	steady := float64(metered(t, "peak", burst(9600, 9600))[9599])
	if got := inDecibels(steady / 0.5); math.Abs(got) > 0.5 {
		t.Errorf("A steady sine shows %.2f dB against its peak.", got)
	}
	for _, c := range []struct{ ms, want, band float64 }{{10, -1, 0.5}, {5, -2, 1}, {3, -4, 1}, {0.4, -15, 4}} {
		highest := float32(0)
		for _, v := range metered(t, "peak", burst(int(c.ms*48), 960)) {
			highest = max(highest, v)
		}
		if got := inDecibels(float64(highest) / steady); math.Abs(got-c.want) > c.band {
			t.Errorf("A burst of %g ms shows %.2f dB, and the norm has %g +-%g dB.", c.ms, got, c.want, c.band)
		}
	}
	// 20 dB in 1.7 s.
	y := metered(t, "peak", burst(4800, 4800+81600))
	if got := inDecibels(float64(y[4800+81599]) / float64(y[4799])); math.Abs(got+20) > 0.1 {
		t.Errorf("In 1.7 s the peak sinks by %.2f dB, and the norm has 20 dB.", -got)
	}
}

func TestLevelMeterNeedle(t *testing.T) {
	t.Parallel()
	// IEC 60268-17, from memory: 99 % in 300 ms, passed by 1 to 1.5 %.
	y := metered(t, "mean", burst(48000, 48000))
	reached, highest := -1, 0.0
	end := float64(y[47999])
	for i, v := range y {
		if reached < 0 && float64(v) >= 0.99*end {
			reached = i
		}
		highest = max(highest, float64(v))
	}
	if ms := float64(reached) / 48; math.Abs(ms-300) > 10 {
		t.Errorf("The needle takes %.1f ms to 99 %%, and the norm has 300 ms.", ms)
	}
	if over := 100 * (highest/end - 1); over < 1 || over > 1.5 {
		t.Errorf("The needle passes its place by %.2f %%, and the norm has 1 to 1.5 %%.", over)
	}
	// The mean of a rectified sine is 2 / pi of its peak; 5 kHz has 48 places in its
	// turns at 48 kHz, whose mean is 0.1 % less.
	if math.Abs(end/0.5-1) > 0.004 {
		t.Errorf("A sine of 0.5 shows %.4f.", end)
	}
}

func TestLevelMeterSilence(t *testing.T) {
	t.Parallel()
	// A long silence ends at -120 dB, the swing that stands in for it, and no lower.
	for ballistics, want := range map[string]float64{"peak": 1e-6, "mean": math.Pi / 2 * 1e-6} {
		y := metered(t, ballistics, burst(480, 720000))
		if got := float64(y[719999]); math.Abs(got/want-1) > 0.01 {
			t.Errorf("%s: 15 s of silence show %.4g, want %.4g.", ballistics, got, want)
		}
	}
}

func TestLevelMeterTakesTheLoudest(t *testing.T) {
	t.Parallel()
	loud, soft := steadySound(-6, 48000), steadySound(-30, 48000)
	for _, ballistics := range []string{"peak", "mean"} {
		r := rendering{
			Block: "level-meter", Choices: map[string]string{"ballistics": ballistics}, Frames: 48000, Channels: 2,
			Inputs: map[string][][]float32{"in": {soft, loud}},
		}
		both := render(t, r)["out"][0]
		r.Channels, r.Inputs = 1, map[string][][]float32{"in": {loud}}
		alone := render(t, r)["out"][0]
		if last := len(alone) - 1; both[last] != alone[last] || alone[last] < 0.4 {
			t.Errorf("%s: beside a softer channel %g is shown, and alone %g.", ballistics, both[last], alone[last])
		}
	}
}
