package main

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// besideTheTone is the level of what is no sine of a pitch in a signal, against
// the sine, and the sine's amplitude. Amplitude and pitch may creep on a straight
// line, which takes the rounding of the pitch out.
func besideTheTone(t *testing.T, y []float32, radians float64) (level, amplitude float64) {
	t.Helper()
	basis, signal := mat.NewDense(len(y), 4, nil), mat.NewVecDense(len(y), nil)
	for n, v := range y {
		sine, cosine := math.Sincos(radians * float64(n))
		along := float64(n) / float64(len(y))
		basis.SetRow(n, []float64{sine, cosine, along * sine, along * cosine})
		signal.SetVec(n, float64(v))
	}
	var fit, tone mat.VecDense
	if err := fit.SolveVec(basis, signal); err != nil {
		t.Fatal(err)
	}
	tone.MulVec(basis, &fit)
	signal.SubVec(signal, &tone)
	return 20 * math.Log10(signal.Norm(2)/tone.Norm(2)), math.Hypot(fit.AtVec(0), fit.AtVec(1))
}

func TestCoupledSineIsATone(t *testing.T) {
	t.Parallel()
	// Gordon and Smith 1985, from memory: the sequence is sin(n 2 asin(e / 2)), and
	// its matrix has the determinant 1, so that the amplitude stays.
	const frames = 4096
	worst := math.Inf(-1)
	for _, pitch := range []float64{47, 110.3, 313, 440, 997, 3001, 9001} {
		y := render(t, rendering{Block: "coupled-sine", Frames: 48000*20 + frames, Params: map[string]float64{"pitch": pitch}})["out"][0]
		for n := range frames {
			// The factor is rounded to 24 bits, which tells in the phase, and every state,
			// whose errors add up by chance.
			phase := 2 * math.Pi * pitch / 48000 * float64(n)
			if want := math.Sin(phase); math.Abs(float64(y[n])-want) > 2e-5+2e-7*phase {
				t.Fatalf("%g Hz: sample %d is %.7f, and the sine is %.7f.", pitch, n, y[n], math.Sin(phase))
			}
		}
		for _, from := range []int{0, 48000 * 20} {
			level, amplitude := besideTheTone(t, y[from:from+frames], 2*math.Pi*pitch/48000)
			worst = max(worst, level)
			if math.Abs(amplitude-1) > 1e-4 {
				t.Errorf("%g Hz has an amplitude of %.6f from sample %d on, and begins with 1.", pitch, amplitude, from)
			}
		}
	}
	if math.Abs(worst+125) > 2 {
		t.Errorf("What is beside the tone stands at %.1f dB at most, and the catalog has -125 dB.", worst)
	}
}

func TestCoupledSineMovesSmoothly(t *testing.T) {
	t.Parallel()
	// A pitch that moves every block leaves a sine whose phase is the sum of all
	// steps, each block's last step being its own.
	const block = 48
	pitches := []float64{220, 2200, 55, 9000, 440}
	updates := map[int]map[string]float64{}
	for i := 1; i < 40; i++ {
		updates[i] = map[string]float64{"pitch": pitches[i%len(pitches)]}
	}
	for _, approximate := range []bool{false, true} {
		y := render(t, rendering{Block: "coupled-sine", Approximate: approximate, BlockSize: block, Frames: 40 * block,
			Params: map[string]float64{"pitch": pitches[0]}, Updates: map[string]map[int]map[string]float64{"pitch": updates}})["out"][0]
		phase := 0.0
		for n, got := range y {
			// The short form of a sine is off by 5.9e-7, of a small one by 3.4e-6 of it.
			if want := math.Sin(phase); math.Abs(float64(got)-want) > 2e-5+4e-6*phase {
				t.Fatalf("Sample %d is %.6f, and the sine of all steps before is %.6f.", n, got, want)
			}
			phase += 2 * math.Pi * pitches[n/block%len(pitches)] / 48000
		}
	}
}

func TestCoupledSineSync(t *testing.T) {
	t.Parallel()
	free := rendering{Block: "coupled-sine", BlockSize: 48, Frames: 480, Params: map[string]float64{"pitch": 313}}
	synced := free
	synced.Events = map[string]map[int][]event{"sync": {5: {{0, 1}}, 6: {{0, 0}}}}
	whole, cut := render(t, free)["out"][0], render(t, synced)["out"][0]
	for i := range cut {
		if want := whole[i%240]; cut[i] != want && i >= 240 || cut[i] != whole[i] && i < 240 {
			t.Fatalf("Sample %d is %g, and the tone that begins again at sample 240 has %g.", i, cut[i], want)
		}
	}
	if whole[240] == whole[0] {
		t.Error("The tone stands at its start at sample 240 without a sync, so that the test shows nothing.")
	}
}

func TestCoupledSineStyles(t *testing.T) { checkStyles(t, "coupled-sine") }
