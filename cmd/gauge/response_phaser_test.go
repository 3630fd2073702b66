package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// phaserStages are the choices of the phaser and how many allpasses they mean.
var phaserStages = map[string]int{"4": 4, "6": 6, "8": 8, "12": 12}

func TestPhaserResponse(t *testing.T) {
	t.Parallel()
	for choice, stages := range phaserStages {
		for _, c := range []struct {
			corner, feedback, mix float64
			approximate           bool
			share                 float64
		}{
			{800, 0, 0.5, false, 1e-4},
			{800, 0.3, 0.5, false, 1e-4},
			{3000, -0.8, 1, false, 1e-3},
			{200, 0.7, 0.25, false, 1e-3},
			// The short tangent of kernel.h errs by up to 1e-6 of the sine and of the cosine.
			{5000, 0.3, 0.5, true, 1e-3},
		} {
			h := filterKnock(t, rendering{
				Block: "phaser", Choices: map[string]string{"stages": choice}, Frames: 32768, Approximate: c.approximate,
				Params: map[string]float64{"corner": c.corner, "feedback": c.feedback, "mix": c.mix},
			}, 1)["out"]
			checkResponse(t, fmt.Sprintf("%s stages at %g Hz, feedback %g, mix %g", choice, c.corner, c.feedback, c.mix), h,
				func(f float64) complex128 {
					s := warped(f, c.corner, 48000)
					chain := cmplx.Pow((1-s)/(1+s), complex(float64(stages), 0))
					wet := chain / (1 - complex(c.feedback, 0)*delayed(f/48000)*chain)
					return complex(1-c.mix, 0) + complex(c.mix, 0)*wet
				}, c.share, "the analogue allpass, warped, in its loop")
		}
	}
}

func TestPhaserNotches(t *testing.T) {
	t.Parallel()
	// Without feedback and with equal shares the response vanishes where N
	// stages turn the phase by an odd number of half turns: 2 N atan(w) = pi,
	// 3 pi, ..., w the warped frequency over the warped corner.
	const corner = 1000.0
	for choice, stages := range phaserStages {
		h := filterKnock(t, rendering{
			Block: "phaser", Choices: map[string]string{"stages": choice}, Frames: 8192,
			Params: map[string]float64{"corner": corner, "feedback": 0, "mix": 0.5},
		}, 1)["out"]
		wide := math.Tan(math.Pi * corner / 48000)
		for k := range stages / 2 {
			w := math.Tan(math.Pi * (2*float64(k) + 1) / (2 * float64(stages)))
			turns := math.Atan(w*wide) / math.Pi
			if depth := cmplx.Abs(filterAt(h, turns)); depth > 1e-4 {
				t.Errorf("With %s stages notch %d at %.0f Hz leaves %.2g of the sound, and algebra leaves nothing.", choice, k+1, turns*48000, depth)
			}
		}
		// Between two notches, and at both ends, dry and filtered agree.
		for k := range stages/2 + 1 {
			turns := 0.5
			if 2*k < stages {
				turns = math.Atan(math.Tan(math.Pi*float64(k)/float64(stages))*wide) / math.Pi
			}
			if top := cmplx.Abs(filterAt(h, turns)); math.Abs(top-1) > 1e-4 {
				t.Errorf("With %s stages the response between the notches, at %.0f Hz, is %.5f, and algebra gives 1.", choice, turns*48000, top)
			}
		}
	}
}

func TestPhaserStyles(t *testing.T) { checkStyles(t, "phaser") }

func TestAllpassChainResponse(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		stages, corner float64
		approximate    bool
	}{{1, 800, false}, {8, 800, false}, {7, 60, false}, {64, 3000, false}, {12, 9000, true}} {
		h := filterKnock(t, rendering{Block: "allpass-chain", Frames: 65536, Approximate: c.approximate,
			Params: map[string]float64{"stages": c.stages, "corner": c.corner}}, 1)["out"]
		checkResponse(t, fmt.Sprintf("%g stages at %g Hz", c.stages, c.corner), h, func(f float64) complex128 {
			s := warped(f, c.corner, 48000)
			return cmplx.Pow((1-s)/(1+s), complex(c.stages, 0))
		}, 3e-4, "the analogue allpass, warped")
		// An allpass keeps all power (Parseval), and delays what is slow by (1 - a) /
		// (1 + a) samples a stage, 1 / tan(pi corner / sample rate) by algebra.
		power, centre, sum := 0.0, 0.0, 0.0
		for n, v := range h {
			power += v * v
			centre += float64(n) * v
			sum += v
		}
		if math.Abs(power-1) > 1e-3 {
			t.Errorf("%g stages at %g Hz give %.5f of the power, and allpasses give all of it.", c.stages, c.corner, power)
		}
		if got, want := centre/sum, c.stages/math.Tan(math.Pi*c.corner/48000); math.Abs(got/want-1) > 3e-3 {
			t.Errorf("%g stages at %g Hz delay slow swings by %.3f samples, and algebra gives %.3f.", c.stages, c.corner, got, want)
		}
	}
}

func TestAllpassChainStyles(t *testing.T) { checkStyles(t, "allpass-chain") }
