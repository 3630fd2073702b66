package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

func TestSpringReverbResponse(t *testing.T) {
	t.Parallel()
	// The transfer function of the loop, with stretched allpasses of V. Valimaki, J.
	// Parker and J. Abel, J. Audio Eng. Soc. 58(7/8), 2010.
	for _, c := range []struct{ rate, decay, time, transition, sections float64 }{
		{48000, 0.3, 0.04, 4000, 24}, {48000, 0.5, 0.02, 2000, 4}, {44100, 0.4, 0.0306, 3244, 100}, {32000, 0.3, 0.1, 6000, 7},
	} {
		stretch, loop := math.Round(c.rate/(2*c.transition)), math.Round(c.time*c.rate)
		const frames = 1 << 16
		h := knock(t, rendering{Block: "spring-reverb", Rate: c.rate, Frames: frames, BlockSize: 64, Params: map[string]float64{
			"decay": c.decay, "time": c.time, "transition": c.transition, "sections": c.sections}}, 1)["out"][0]
		wide := make([]float64, frames)
		for n := range wide {
			wide[n] = float64(h[n])
		}
		got := fourier.NewFFT(frames).Coefficients(nil, wide)
		way := loop + c.sections*stretch*0.4/1.6
		feedback := -math.Pow(10, -3*way/c.rate/c.decay)
		smoothing := 1 - math.Exp(-2*math.Pi*c.transition/c.rate)
		for k := 0; k < frames/2; k += 37 {
			z := cmplx.Rect(1, 2*math.Pi*float64(k)/frames)
			late := cmplx.Pow(z, complex(-stretch, 0))
			chain := cmplx.Pow((0.6+late)/(1+0.6*late), complex(c.sections, 0)) * complex(smoothing, 0) / (1 - complex(1-smoothing, 0)/z)
			want := chain / (1 - complex(feedback, 0)*chain*cmplx.Pow(z, complex(-loop, 0)))
			if cmplx.Abs(got[k]-want) > 0.002 {
				t.Errorf("%v: the response at %.1f Hz is %.4f, want %.4f, the transfer function.", c, float64(k)*c.rate/frames, got[k], want)
				break
			}
		}
	}
}

func TestSpringReverbChirp(t *testing.T) {
	t.Parallel()
	// One pass of the row delays a tone by the group delay of its allpasses, N K
	// (1 - a^2) / (1 + 2 a cos(K w) + a^2) samples (algebra): the longest at the
	// transition, where K w is pi, sixteen times as long as at zero frequency. A burst
	// of a tone says when it comes.
	const sections, stretch = 50, 6
	for _, frequency := range []float64{500, 1500, 2500, 3000} {
		x := make([]float32, 4096)
		centre, spread := 1200.0, 250.0
		for n := range x {
			off := (float64(n) - centre) / spread
			x[n] = float32(math.Exp(-0.5*off*off) * math.Sin(2*math.Pi*frequency*float64(n)/48000))
		}
		y := render(t, rendering{Block: "spring-reverb", Frames: len(x), BlockSize: 64, Params: map[string]float64{
			"decay": 0.3, "time": 0.1, "transition": 4000, "sections": sections}, Inputs: map[string][][]float32{"in": {x}}})["out"][0]
		sum, moment := 0.0, 0.0
		for n, v := range y {
			sum += float64(v) * float64(v)
			moment += float64(n) * float64(v) * float64(v)
		}
		angle := 2 * math.Pi * frequency / 48000
		pole := math.Exp(-2 * math.Pi * 4000 / 48000)
		want := sections * stretch * (1 - 0.36) / (1 + 1.2*math.Cos(stretch*angle) + 0.36)
		want += pole * (math.Cos(angle) - pole) / (1 - 2*pole*math.Cos(angle) + pole*pole) // of the lowpass
		if got := moment/sum - centre; math.Abs(got-want) > 0.03*want {
			t.Errorf("A burst of %v Hz comes %.1f samples later, want %.1f, the group delay.", frequency, got, want)
		}
	}
}

func TestSpringReverbStyles(t *testing.T) {
	t.Parallel()
	in := [][]float32{filterHiss(960, 0.2, 81), filterHiss(960, 0.2, 82)}
	r := rendering{Block: "spring-reverb", Rate: 8000, Channels: 2, Frames: 960, Params: map[string]float64{"decay": 0.5, "time": 0.02, "transition": 2000, "sections": 9}, Inputs: map[string][][]float32{"in": in}}
	want := fmt.Sprint(render(t, r)["out"])
	single, small := r, r
	single.OneSample, small.BlockSize = true, 15
	for what, other := range map[string]rendering{"one sample a call": single, "blocks of 15": small} {
		if got := fmt.Sprint(render(t, other)["out"]); got != want {
			t.Errorf("The spring sounds different by %s; all compute one equation.", what)
		}
	}
	late := r
	late.Params = map[string]float64{"decay": 2, "time": 0.02, "transition": 2000, "sections": 9}
	late.Updates = map[string]map[int]map[string]float64{"feedback": {0: {"decay": 0.5}}}
	if got := fmt.Sprint(render(t, late)["out"]); got != want {
		t.Error("The spring sounds different where its decay is set by an update.")
	}
}
