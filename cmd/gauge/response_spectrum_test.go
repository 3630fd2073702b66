package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// The transform of the kernels against gonum's, forwards, and back to the samples.
func TestTransformIsGonums(t *testing.T) {
	t.Parallel()
	needTools(t, "cc")
	folder := t.TempDir()
	source, program := filepath.Join(folder, "transform.c"), filepath.Join(folder, "transform")
	if err := os.WriteFile(source, []byte(`
#include <stdio.h>
#include <stdlib.h>
#include "fourier.h"
int main(int argc, char **argv) {
  const uint32_t points = (uint32_t)atoi(argv[argc - 1]);
  float *x = malloc(points * 4), *turns = malloc(points * 4);
  if (fread(x, 4, points, stdin) != points) return 2;
  fourier_fill(turns, points);
  fourier_forward(x, turns, points);
  fwrite(x, 4, points, stdout);
  fourier_inverse(x, turns, points);
  fwrite(x, 4, points, stdout);
  return 0;
}`), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("cc", "-std=c11", "-O1", "-Wall", "-Wextra", "-Werror", "-I"+kernelFolder, source, "-o", program, "-lm").CombinedOutput(); err != nil {
		t.Fatalf("The transform does not compile for the host:\n%s", out)
	}
	for _, points := range []int{8, 256, 512, 2048, 4096} {
		x := filterHiss(points, 1, uint64(points))
		var in bytes.Buffer
		_ = binary.Write(&in, binary.LittleEndian, x)
		run := exec.Command(program, fmt.Sprint(points))
		run.Stdin = &in
		out, err := run.Output()
		if err != nil || len(out) != 8*points {
			t.Fatalf("The transform of %d samples gave %d bytes: %v.", points, len(out), err)
		}
		got := make([]float32, 2*points)
		_ = binary.Read(bytes.NewReader(out), binary.LittleEndian, got)
		want := fourier.NewFFT(points).Coefficients(nil, doubles(x))
		// Rounding grows with the root of the passes: 1e-6 of the largest bins.
		within := 1e-6 * math.Sqrt(float64(points)) * 3
		for k, w := range want {
			bin := complex(float64(got[2*k%points]), 0)
			switch {
			case k == points/2:
				bin = complex(float64(got[1]), 0)
			case k > 0:
				bin = complex(float64(got[2*k]), float64(got[2*k+1]))
			}
			if cmplx.Abs(bin-w) > within {
				t.Fatalf("Bin %d of %d samples is %v, by gonum %v.", k, points, bin, w)
			}
		}
		for i := range x {
			if back := float64(got[points+i]) / float64(points/2); math.Abs(back-float64(x[i])) > 2e-6 {
				t.Fatalf("Sample %d of %d comes back as %v, was %v.", i, points, back, x[i])
			}
		}
	}
}

func doubles(x []float32) []float64 {
	list := make([]float64, len(x))
	for i, v := range x {
		list[i] = float64(v)
	}
	return list
}

// framed is the equation of overlapping frames in double precision by gonum's
// transform: change works on the bins of a frame, of which the number is told.
func framed(x []float32, points, overlap int, change func(frame int, bins []complex128)) []float64 {
	hop := points / overlap
	window := make([]float64, points)
	for i := range window {
		window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / float64(points))
	}
	transform := fourier.NewFFT(points)
	y := make([]float64, len(x)+2*points)
	frame := make([]float64, points)
	for number, end := 0, hop; end <= len(x); number, end = number+1, end+hop {
		for i := range frame {
			frame[i] = 0
			if at := end - points + i; at >= 0 {
				frame[i] = float64(x[at]) * window[i]
			}
		}
		bins := transform.Coefficients(nil, frame)
		change(number, bins)
		// What is transformed back is multiplied by the number of samples.
		for i, v := range transform.Sequence(nil, bins) {
			y[end+i] += v * window[i] / float64(points) * 2 / float64(overlap)
		}
	}
	return y[:len(x)]
}

var spectralFrames = []struct {
	frame, overlap   string
	points, overlaps int
}{{"512", "2", 512, 2}, {"512", "4", 512, 4}, {"1024", "4", 1024, 4}, {"4096", "2", 4096, 2}}

// spectral renders a block that works on frames, on two channels.
func spectral(t *testing.T, r rendering, frame, overlap string) [][]float32 {
	t.Helper()
	r.Choices = map[string]string{"frame": frame, "overlap": overlap}
	return render(t, r)["out"]
}

// Frames of which nothing is changed give the sound again, a frame late: the
// squares of the window add up (J. Allen and L. Rabiner, 1977).
func TestSpectralFrameGivesTheSoundAgain(t *testing.T) {
	t.Parallel()
	for _, f := range spectralFrames {
		frames := 3*f.points + 100
		in := [][]float32{filterHiss(frames, 0.5, 71), filterHiss(frames, 0.5, 72)}
		for _, size := range []int{48, 31} {
			out := spectral(t, rendering{Block: "spectral-frame", Channels: 2, Frames: frames, BlockSize: size, Inputs: map[string][][]float32{"in": in}}, f.frame, f.overlap)
			for channel := range in {
				for n := f.points; n < frames; n++ {
					got, want := out[channel][n], in[channel][n-f.points]
					if math.Abs(float64(got-want)) > 2e-6 {
						t.Fatalf("frame %s, overlap %s, blocks of %d: sample %d is %v, want %v, a frame late.", f.frame, f.overlap, size, n, got, want)
					}
				}
			}
		}
	}
}

// The gate against its equation, by gonum's transform.
func TestSpectralGateEquation(t *testing.T) {
	t.Parallel()
	const threshold, closed, release = -30.0, -40.0, 0.05
	for _, f := range spectralFrames {
		frames := 6 * f.points
		x := filterHiss(frames, 0.01, 73)
		for n := range x { // a tone that comes and goes over the hiss
			if n > f.points && n < 4*f.points {
				x[n] += float32(0.3 * math.Sin(2*math.Pi*1234.5*float64(n)/48000))
			}
		}
		out := spectral(t, rendering{
			Block: "spectral-gate", Frames: frames, Inputs: map[string][][]float32{"in": {x}},
			Params: map[string]float64{"threshold": threshold, "closed": closed, "release": release},
		}, f.frame, f.overlap)[0]
		level := float64(f.points) / math.Pi * math.Pow(10, threshold/20)
		least := math.Pow(10, closed/20)
		fall := math.Exp(-float64(f.points/f.overlaps) / (release * 48000))
		gains := make([]float64, f.points/2+1)
		for k := range gains {
			gains[k] = least
		}
		near := false // a bin at the threshold may open in one precision alone
		want := framed(x, f.points, f.overlaps, func(_ int, bins []complex128) {
			// The kernel keeps the bin of half the sample rate with that of zero.
			both := math.Hypot(real(bins[0]), real(bins[f.points/2]))
			for k := range bins[:f.points/2] {
				size := cmplx.Abs(bins[k])
				if k == 0 {
					size = both
				}
				near = near || math.Abs(size/level-1) < 1e-5
				if gains[k] = least + fall*(gains[k]-least); size > level {
					gains[k] = 1
				}
				bins[k] *= complex(gains[k], 0)
			}
			bins[f.points/2] *= complex(gains[0], 0)
		})
		if near {
			t.Fatalf("frame %s, overlap %s: a bin lies at the threshold; take another seed.", f.frame, f.overlap)
		}
		for n, w := range want {
			if got := float64(out[n]); math.Abs(got-w) > 3e-6 {
				t.Fatalf("frame %s, overlap %s: sample %d is %v, by the equation %v.", f.frame, f.overlap, n, got, w)
			}
		}
	}
}

// A tone in the middle of a bin and a decibel under the threshold is held down to what
// a closed bin lets through. One a decibel above opens its bin alone, which gives
// 2/pi of it back as an even tone, of which the windows leave 4/pi in the mean: 8/pi^2
// in all. One 10 dB above opens the bins beside it too, where a window of half a sine leaves a third of it, 9.5 dB
// less (F. Harris, Proceedings of the IEEE 66(1), 1978, from memory).
func TestSpectralGateThreshold(t *testing.T) {
	t.Parallel()
	const points, bin = 1024, 64
	for _, tt := range []struct{ level, want, within float64 }{{-31, -40, 0.1}, {-29, 20 * math.Log10(8/(math.Pi*math.Pi)), 0.1}, {-20, 0, 0.4}} {
		x := make([]float32, 20*points)
		size := math.Pow(10, tt.level/20)
		for n := range x {
			x[n] = float32(size * math.Sin(2*math.Pi*bin/points*float64(n)))
		}
		out := spectral(t, rendering{
			Block: "spectral-gate", Frames: len(x), Inputs: map[string][][]float32{"in": {x}},
			Params: map[string]float64{"threshold": -30, "closed": -40, "release": 0.01},
		}, "1024", "2")[0]
		heard := doubles(out[12*points : 16*points])
		got := 20 * math.Log10(2*cmplx.Abs(fourier.NewFFT(len(heard)).Coefficients(nil, heard)[bin*4])/float64(len(heard))/size)
		if math.Abs(got-tt.want) > tt.within {
			t.Errorf("A tone of %g dB comes out %.2f dB louder with the threshold at -30 dB, want %g dB.", tt.level, got, tt.want)
		}
	}
}

// What is frozen goes on as it was: by the equation, and a tone as the same tone.
func TestSpectralFreezeEquation(t *testing.T) {
	t.Parallel()
	for _, f := range spectralFrames {
		// Blocks of 48 divide neither frames nor hops.
		open, shut := 5*f.points/48, 11*f.points/48
		frames := 14 * f.points
		x := filterHiss(frames, 0.2, 74)
		for n := range x {
			x[n] += float32(0.4 * math.Sin(2*math.Pi*440*float64(n)/48000))
		}
		out := spectral(t, rendering{
			Block: "spectral-freeze", Frames: frames, Inputs: map[string][][]float32{"in": {x}},
			Events: map[string]map[int][]event{"hold": {open: {{0, 1}}, shut: {{0, 0}}}},
		}, f.frame, f.overlap)[0]
		hop := f.points / f.overlaps
		var kept, turned []complex128
		begun := false
		want := framed(x, f.points, f.overlaps, func(frame int, bins []complex128) {
			// A frame ends with the sample before (frame + 1) hop; the gate moves before the
			// first sample of its block.
			ends := (frame + 1) * hop
			held := ends > open*48 && ends <= shut*48
			switch {
			case begun && held:
				for k := range bins {
					kept[k] *= turned[k]
				}
				copy(bins, kept)
				return
			case held:
				turned = make([]complex128, len(bins))
				for k := range bins {
					turned[k] = 1
					if r := bins[k] * cmplx.Conj(kept[k]); k > 0 && k < len(bins)-1 && cmplx.Abs(r) > 0 {
						turned[k] = r / complex(cmplx.Abs(r), 0)
					}
				}
			}
			begun = held
			kept = append(kept[:0], bins...)
		})
		for n, w := range want {
			// A quiet bin turns by what rounding leaves of it; noise has few.
			if got := float64(out[n]); math.Abs(got-w) > 1e-4 {
				t.Fatalf("frame %s, overlap %s: sample %d is %v, by the equation %v.", f.frame, f.overlap, n, got, w)
			}
		}
	}
}

func TestSpectralFreezeHoldsATone(t *testing.T) {
	t.Parallel()
	const points, pitch = 2048, 441.3
	frames := 40 * points
	x := make([]float32, frames)
	for n := range x[:8*points] {
		x[n] = float32(0.5 * math.Sin(2*math.Pi*pitch*float64(n)/48000))
	}
	out := spectral(t, rendering{
		Block: "spectral-freeze", Frames: frames, Inputs: map[string][][]float32{"in": {x}},
		Events: map[string]map[int][]event{"hold": {5 * points / 48: {{0, 1}}}},
	}, "2048", "4")[0]
	// Long after the tone has ended: its size and pitch from two stretches.
	tone := func(from int) complex128 {
		var sum complex128
		for n := range 8 * points {
			window := 1 - math.Cos(2*math.Pi*float64(n)/(8*points))
			sum += complex(float64(out[from+n])*window, 0) * cmplx.Exp(complex(0, -2*math.Pi*pitch*float64(from+n)/48000))
		}
		return sum / (8 * points) * 2
	}
	first, later := tone(16*points), tone(30*points)
	if got := cmplx.Abs(later); math.Abs(got-0.5) > 0.01 {
		t.Errorf("The frozen tone sounds on with %.4f, want 0.5.", got)
	}
	drift := cmplx.Phase(later/first) / (2 * math.Pi) / (14 * points / 48000.0)
	if math.Abs(drift) > 0.01 {
		t.Errorf("The frozen tone is off its pitch by %.4f Hz, want none.", drift)
	}
}

// By samples and by blocks spectra are the same to the bit.
func TestSpectralStyles(t *testing.T) {
	t.Parallel()
	in := [][]float32{filterHiss(3000, 0.2, 75), filterHiss(3000, 0.2, 76)}
	for _, block := range []string{"spectral-frame", "spectral-gate", "spectral-freeze"} {
		for _, double := range []bool{false, true} {
			r := rendering{Block: block, Channels: 2, Frames: 3000, Double: double, Inputs: map[string][][]float32{"in": in}}
			if block == "spectral-freeze" {
				r.Events = map[string]map[int][]event{"hold": {20: {{0, 1}}, 40: {{0, 0}}}}
			}
			want := spectral(t, r, "512", "4")
			r.OneSample = true
			for channel, y := range spectral(t, r, "512", "4") {
				for n, got := range y {
					if got != want[channel][n] {
						t.Fatalf("%s: sample %d of channel %d is %v by single samples and %v by blocks; both compute one equation.", block, n, channel, got, want[channel][n])
					}
				}
			}
		}
	}
}
