package main

import (
	"math"
	"testing"
)

// modalSum is the answer of a body to a knock: a sum of damped sines, a r^n
// sin((n + 1) w), the impulse response of two poles at r exp(+-j w) (J.O.
// Smith, Introduction to Digital Filters, by algebra). The modes are those of a
// stiff string, k f sqrt(1 + B k^2) (N.H. Fletcher and T.D. Rossing, The Physics
// of Musical Instruments, from memory), with the first at the pitch.
func modalSum(pitch, stiffness, decay, fading, tilt float64, modes, n int) float64 {
	weights, sum := 0.0, 0.0
	for k := 1; k <= modes; k++ {
		weight := math.Pow(float64(k), -tilt)
		weights += weight
		hertz := float64(k) * pitch * math.Sqrt((1+stiffness*float64(k*k))/(1+stiffness))
		if hertz < 24000 {
			seconds := decay / math.Pow(float64(k), fading)
			sum += weight * math.Pow(10, -3*float64(n)/48000/seconds) * math.Sin(2*math.Pi*hertz/48000*float64(n+1))
		}
	}
	return 0.9 * sum / weights
}

func TestModalBankIsASumOfDampedSines(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		pitch, stiffness, decay, fading, tilt float64
		modes                                 int
		approximate                           bool
	}{
		{220, 0.0005, 2, 0.7, 0.8, 16, false},
		{440, 0, 0.5, 0, 0, 4, false},
		{1200, 0.02, 8, 1.3, 1, 64, false}, // all but the first 10 lie above half the sample rate
		{523, 1, 30, 2, 0.3, 7, false},
		{330, 0.001, 3, 0.5, 0.6, 24, true},
	} {
		const frames = 1920
		got := filterKnock(t, rendering{
			Block: "modal-bank", Frames: frames, Approximate: c.approximate, Params: map[string]float64{
				"pitch": c.pitch, "stiffness": c.stiffness, "decay": c.decay, "fading": c.fading, "tilt": c.tilt, "modes": float64(c.modes),
			},
		}, 1)["out"]
		// A cosine that is rounded to 24 bits puts a mode off by up to 6e-8 / sin w
		// radians a sample; the short forms of kernel.h err by up to 6e-7.
		w := 2 * math.Pi * c.pitch / 48000
		allowed := 1e-4 + 6e-8/math.Sin(w)*frames
		if c.approximate {
			allowed *= 10
		}
		for n, y := range got {
			if want := modalSum(c.pitch, c.stiffness, c.decay, c.fading, c.tilt, c.modes, n); math.Abs(y-want) > allowed {
				t.Errorf("%d modes at %g Hz: sample %d is %.6f, and the damped sines give %.6f; %.1g apart is allowed.", c.modes, c.pitch, n, y, want, allowed)
				break
			}
		}
	}
}

func TestModalBankDecay(t *testing.T) {
	t.Parallel()
	// One second of a decay of two is a fall of 30 dB. Modes that fade with the
	// square of their number leave the first alone by then.
	got := filterKnock(t, rendering{Block: "modal-bank", Frames: 52800, Params: map[string]float64{
		"pitch": 400, "stiffness": 0, "decay": 2, "fading": 2, "tilt": 0, "modes": 4,
	}}, 1)["out"]
	highest := 0.0
	for _, v := range got[47940:48060] { // a period to the left and right of one second
		highest = max(highest, math.Abs(v))
	}
	if level := inDecibels(highest / (0.9 / 4)); math.Abs(level+30) > 0.2 {
		t.Errorf("After one second of a decay of 2 s the first mode stands at %.2f dB, and half of 60 dB is -30 dB.", level)
	}
}

func TestModalBankAboveHalfTheRate(t *testing.T) {
	t.Parallel()
	// A mode that a moved pitch pushes beyond half the sample rate falls silent and
	// stays so when the pitch comes back, until it is struck again. All others go on
	// by y[n] = b x[n] + 2 r cos w y[n-1] - r^2 y[n-2] from what they had.
	const modes, frames, decay = 8, 960, 0.5
	knock := make([]float32, frames)
	knock[0], knock[720] = 1, 1
	y := render(t, rendering{
		Block: "modal-bank", BlockSize: 48, Frames: frames, Inputs: map[string][][]float32{"in": {knock}},
		Params:  map[string]float64{"pitch": 300, "stiffness": 1, "modes": modes, "fading": 0, "tilt": 0, "decay": decay},
		Updates: map[string]map[int]map[string]float64{"pitch": {5: {"pitch": 2000}, 10: {"pitch": 300}}},
	})["out"][0]
	r := math.Pow(10, -3/(decay*48000))
	var memory [modes + 1][2]float64
	silenced := 0
	for n := range frames {
		pitch := 300.0
		if n >= 240 && n < 480 {
			pitch = 2000
		}
		want := 0.0
		for k := 1; k <= modes; k++ {
			hertz := float64(k) * pitch * math.Sqrt((1+float64(k*k))/2)
			if hertz >= 24000 {
				memory[k] = [2]float64{}
				silenced++
				continue
			}
			w := 2 * math.Pi * hertz / 48000
			here := 0.9/modes*math.Sin(w)*float64(knock[n]) + 2*r*math.Cos(w)*memory[k][0] - r*r*memory[k][1]
			memory[k] = [2]float64{here, memory[k][0]}
			want += here
		}
		if math.Abs(float64(y[n])-want) > 2e-3*max(1, math.Abs(want)) {
			t.Fatalf("Sample %d is %g, and the equation gives %g.", n, y[n], want)
		}
	}
	if silenced == 0 {
		t.Error("No mode came to lie above half the sample rate, so that the test shows nothing.")
	}
}

func TestModalBankStyles(t *testing.T) { checkStyles(t, "modal-bank") }
