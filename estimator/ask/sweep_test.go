package ask_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"elbowroom/estimator/ask"
)

func TestParseAxis(t *testing.T) {
	e := estimated(t, "echo.yaml", fmt.Sprintf(echo, "100 ms"))
	for _, tt := range []struct {
		text string
		want []float64
	}{
		{"block_size=16,32,48", []float64{16, 32, 48}},
		{"echo.time=100ms..500ms/5", []float64{0.1, 0.2, 0.3, 0.4, 0.5}},
		{"sample_rate=44.1 kHz", []float64{44100}},
		// Whole counts: 1, 2.5, 4 is rounded to the nearest, and nothing stands twice.
		{"echo.taps=1..4/7", []float64{1, 2, 3, 4}},
		// Whole samples: a third of 10 ms at 48 kHz is 160 samples.
		{"echo.time=0 samples..480 samples/4", []float64{0, 160. / 48000, 320. / 48000, 480. / 48000}},
	} {
		a, err := ask.ParseAxis(e.Graph, tt.text)
		if err != nil {
			t.Errorf("'%s' is refused: %v", tt.text, err)
			continue
		}
		if !slices.EqualFunc(a.Values, tt.want, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }) {
			t.Errorf("'%s' gives %v, want %v", tt.text, a.Values, tt.want)
		}
	}
	// Notes are as long as the slowest tempo makes them, listed or from one to another:
	// at 60 beats a minute a quarter is 1 s and a half 2 s.
	slow := estimated(t, "echo.yaml", strings.Replace(fmt.Sprintf(echo, "100 ms"), "nodes:", "tempo: 60..120 bpm\nnodes:", 1))
	for _, text := range []string{"echo.time=1/4,3/8,1/2", "echo.time=1/4..1/2/3"} {
		a, err := ask.ParseAxis(slow.Graph, text)
		if want := []float64{1, 1.5, 2}; err != nil || !slices.Equal(a.Values, want) {
			t.Errorf("'%s' gives %v and %v, want %v", text, a.Values, err, want)
		}
	}
	for _, tt := range []struct{ text, want string }{
		{"echo.time", "names no values"},
		{"echo.tiem=1s..2s/3", "the graph has no number 'echo.tiem' to turn"},
		{"echo.time=1s..2s", "does not say how many values"},
		{"echo.time=1s..2s/1", "'1' is no number of values from 2 on"},
		{"echo.time=1s..2s/1000", "has 1000 values, more than the 100 that are tried"},
		{"echo.time=1 kHz", "is not a time"},
		{"echo.time=2s..1s/3", "runs backwards"},
	} {
		if _, err := ask.ParseAxis(e.Graph, tt.text); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("'%s' is answered by '%v', which does not tell of '%s'", tt.text, err, tt.want)
		}
	}
}

// Every cell is what the graph comes to that has its values written, and the
// cell of the graph as it is has its figures.
func TestSweepIsTheEstimate(t *testing.T) {
	for name, e := range good(t) {
		s, err := ask.Run(t.Context(), e, ask.UsualAxes(e.Graph)...)
		if err != nil {
			t.Fatal(err)
		}
		if want := len(s.Axes[0].Values) * len(s.Axes[1].Values); len(s.Cells) != want {
			t.Errorf("%s: %d cells, want %d", name, len(s.Cells), want)
		}
		now := 0
		for i := range s.Cells {
			c := &s.Cells[i]
			block, rate := s.Axes[0].Dial, s.Axes[1].Dial
			g, err := e.Graph.With(block.Turn(block.Text(c.At[0])), rate.Turn(rate.Text(c.At[1])))
			if (err != nil) != (c.Refusal != "") {
				t.Errorf("%s at %v: told to be refused by '%s', and the reader says %v", name, c.At, c.Refusal, err)
			}
			if err != nil {
				continue
			}
			after, err := g.Estimate()
			if err != nil {
				t.Fatal(err)
			}
			if c.Holds != holds(e, after) || c.Verdict != after.Verdict || c.Latency != ask.Latency(after) ||
				math.Abs(c.Load.High*after.CPU.Budget-after.CPU.Worst.Total().High) > 1e-6 {
				t.Errorf("%s at %v: told %+v, and it is %v", name, c.At, c, after.Verdict)
			}
			if s.IsNow(c) {
				now++
				if c.Verdict != e.Verdict || c.Latency != ask.Latency(e) || c.Decides != e.Decides().Name {
					t.Errorf("%s: the cell of the graph as it is differs from it", name)
				}
			}
		}
		if now != 1 {
			t.Errorf("%s: %d cells are the graph as it is, want 1", name, now)
		}
		for k := range s.Fitting {
			if k > 0 && s.Cells[s.Fitting[k-1]].Latency > s.Cells[s.Fitting[k]].Latency {
				t.Errorf("%s: more latency is told before less", name)
			}
		}
	}
}

// With the 10 ms rule and two blocks and about 1 ms of converters the largest
// blocks are 144, 198, 216 and 432 samples at 32, 44.1, 48 and 96 kHz
// (reference page dsp 2.10, computed): one sample more is no longer as if there
// were none.
func TestFeel(t *testing.T) {
	for _, tt := range []struct{ block, rate float64 }{{144, 32000}, {198, 44100}, {216, 48000}, {432, 96000}} {
		latency := 2*tt.block/tt.rate + 0.001
		if f := ask.FeelOf(latency); f.Most != 0.010 {
			t.Errorf("blocks of %g at %g Hz feel like up to %g s, want 10 ms", tt.block, tt.rate, f.Most)
		}
		if f := ask.FeelOf(latency + 2/tt.rate); f.Most != 0.020 {
			t.Errorf("blocks of %g at %g Hz feel like up to %g s, want 20 ms", tt.block+1, tt.rate, f.Most)
		}
	}
	if f := ask.FeelOf(1); f.Most != 0 || f.Source == "" {
		t.Errorf("a second feels like %+v, want the last", f)
	}
}

func BenchmarkSweep20x20(b *testing.B) {
	e := chain(b, 20)
	time, err := ask.ParseAxis(e.Graph, "n2.time=1ms..400ms/20")
	if err != nil {
		b.Fatal(err)
	}
	block, err := ask.ParseAxis(e.Graph, "block_size=16..96/20")
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if s, err := ask.Run(b.Context(), e, time, block); err != nil || len(s.Cells) != 400 {
			b.Fatalf("%d cells (%v), want 400", len(s.Cells), err)
		}
	}
}
