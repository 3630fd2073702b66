package ask_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync/atomic"
	"testing"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
	"elbowroom/estimator/estimatortest"
)

// turned is the graph with one dial turned as its file would have it, estimated
// from nothing; nil: the reader refuses it.
func turned(t *testing.T, e *estimator.Estimate, d *ask.Dial, text string) *estimator.Estimate {
	t.Helper()
	g, err := e.Graph.With(d.Turn(text))
	if err != nil {
		return nil
	}
	after, err := g.Estimate()
	if err != nil {
		return nil
	}
	return after
}

// holds tells whether a graph stands as well as an edge promises: every
// resource fits or is tight, or is unsure where it was unsure before.
func holds(before, after *estimator.Estimate) bool {
	if after == nil {
		return false
	}
	unsure := map[string]bool{}
	for _, r := range before.Resources {
		unsure[r.Name] = r.Verdict == estimator.Unsure
	}
	for _, r := range after.Resources {
		if r.Verdict > estimator.Tight && !(r.Verdict == estimator.Unsure && unsure[r.Name]) {
			return false
		}
	}
	return true
}

// Every edge of every good graph is one: its value holds, and one step past it
// does not. Where no step past is told, the range of the parameter ends, and
// the reader refuses the next value. What is told to cost nothing has the same
// figures at both ends of its range.
func TestEdgesAreEdges(t *testing.T) {
	edges, free := 0, 0
	for name, e := range good(t) {
		l := limitsOf(t, e, nil)
		for _, limit := range l.Limits {
			d := limit.Dial
			what := fmt.Sprintf("%s: %v at %s", name, d, limit.Text)
			edges++
			if limit.Value != d.Now && !holds(e, turned(t, e, d, limit.Text)) {
				t.Errorf("%s does not hold", what)
			}
			past := limit.Past
			if past == "" {
				past = beyond(d, limit.Up)
			}
			stands := holds(e, turned(t, e, d, past))
			if past == d.Text(d.Now) {
				stands = holds(e, e)
			}
			if stands {
				t.Errorf("%s is told to be the edge (%s is past it), and %s holds too", what, limit.Past, past)
			}
		}
		for _, d := range l.Free {
			free++
			for _, v := range []float64{d.Range.Low, d.Range.High} {
				after := turned(t, e, d, d.Unit.Format(v))
				if after == nil {
					continue // the two ends of a span may not meet
				}
				for i, r := range e.Resources {
					if r.Used != after.Resources[i].Used {
						t.Errorf("%s: %v is told to cost nothing, and at %s %s takes %g, before %g",
							name, d, d.Text(v), r.Name, after.Resources[i].Used, r.Used)
					}
				}
			}
		}
	}
	if edges < 90 || free < 30 {
		t.Errorf("%d edges and %d parameters that cost nothing are too few to show anything", edges, free)
	}
	t.Logf("%d edges, %d parameters that cost nothing", edges, free)
}

// beyond is the first value past the end of a dial's range: 0.1 % of it is more
// than a step of four figures.
func beyond(d *ask.Dial, up bool) string {
	end, by := d.Range.Low, -1.0
	if up {
		end, by = d.Range.High, 1
	}
	switch d.Unit {
	case blocks.UnitCount:
		return fmt.Sprint(int(end + by))
	case blocks.UnitTime:
		return d.Unit.Format(end + by*1e-3)
	}
	return d.Unit.Format(end + by*math.Max(math.Abs(end), 1e-3)*1e-3)
}

func limitsOf(t testing.TB, e *estimator.Estimate, wanted func(*ask.Dial) bool) *ask.Limits {
	t.Helper()
	l, err := ask.FindLimits(t.Context(), e, wanted)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func limitOf(t *testing.T, e *estimator.Estimate, name string, up bool) ask.Limit {
	t.Helper()
	l := limitsOf(t, e, func(d *ask.Dial) bool { return d.Name == name })
	for _, limit := range l.Limits {
		if limit.Up == up {
			return limit
		}
	}
	t.Fatalf("%s has no limit (up: %t), only %v", name, up, l.Limits)
	return ask.Limit{}
}

const echo = `board: m4f-100-128k
sample_rate: 48 kHz
block_size: 48
nodes:
  in: {block: audio-in}
  echo: {block: delay, from: in, time: %s}
  out: {block: audio-out, from: echo}
`

// An echo on a board whose data lies in one bank of 128 KiB ends where the line
// fills what the rest leaves: 4 B a sample x 48000 Hz are 192 B a millisecond.
// The edge counted by hand is what is free now over 4 B, on from now, less what
// alignment costs.
func TestLimitOfEcho(t *testing.T) {
	e := estimated(t, "echo.yaml", fmt.Sprintf(echo, "100 ms"))
	limit := limitOf(t, e, "echo.time", true)
	var sram *estimator.BankUse
	for i := range e.Banks {
		if e.Graph.Board.Banks[i].Name == "sram" {
			sram = &e.Banks[i]
		}
	}
	free := float64(sram.Usable - sram.Used)
	samples := math.Round(limit.Value * 48000)
	if counted := 4800 + free/4; samples > counted || samples < counted-16 {
		t.Errorf("the longest echo has %g samples, want within 64 B of %g: 100 ms and %g B free over 4 B", samples, counted, free)
	}
	if limit.Text != fmt.Sprintf("%.0f samples", samples) || limit.Past != fmt.Sprintf("%.0f samples", samples+1) {
		t.Errorf("the edge is written '%s' and one step past '%s', want %.0f samples and one more", limit.Text, limit.Past, samples)
	}
	if limit.Stop.Resource == nil || limit.Stop.Resource.Name != "sram" {
		t.Errorf("one sample more is stopped by %+v, want sram", limit.Stop)
	}
	if want := 192000.0; math.Abs(limit.Slope.Memory-want) > want/1000 {
		t.Errorf("a second of echo costs %g bytes, want %g: 4 B x 48000 Hz", limit.Slope.Memory, want)
	}
}

// A graph that is over is told which one turn makes it fit: an echo of 2 s by
// its time alone, by the same edge as above, and by a lower sample rate.
func TestLimitsOfAGraphThatIsOver(t *testing.T) {
	e := estimated(t, "echo.yaml", fmt.Sprintf(echo, "2 s"))
	if e.Verdict != estimator.Over {
		t.Fatalf("384000 bytes of 131072 are %v, want over", e.Verdict)
	}
	fits := estimated(t, "echo.yaml", fmt.Sprintf(echo, "100 ms"))
	if down, up := limitOf(t, e, "echo.time", false), limitOf(t, fits, "echo.time", true); down.Text != up.Text {
		t.Errorf("2 s must come down to %s, and 100 ms may go up to %s: the edge is one", down.Text, up.Text)
	}
	if rate := limitOf(t, e, ask.SampleRate, false); rate.Value > 48000/3 {
		t.Errorf("at %g Hz 2 s of float32 are said to fit 128 KiB, and they take %g B", rate.Value, 8*rate.Value)
	}
}

// What a reader refuses stops a dial as well as a resource: an echo in a loop
// may not become shorter than a block.
func TestLimitByRefusal(t *testing.T) {
	e := estimated(t, "loop.yaml", strings.Replace(fmt.Sprintf(echo, "100 ms"), "from: in, time", "from: [in, echo], time", 1))
	limit := limitOf(t, e, "echo.time", false)
	if limit.Text != "48 samples" || !strings.Contains(limit.Stop.Refusal, "less than a block of 48") {
		t.Errorf("an echo that feeds itself may come down to %s until '%s', want 48 samples, a block", limit.Text, limit.Stop.Refusal)
	}
}

// A count is stopped at a whole number: voices, each with a line of its own.
func TestLimitOfVoices(t *testing.T) {
	e := estimated(t, "choir.yaml", `board: m4f-100-128k
sample_rate: 48 kHz
block_size: 48
nodes:
  in: {block: audio-in}
  out: {block: audio-out, from: choir}
voices:
  choir:
    count: 2
    nodes:
      line: {block: delay, from: in, time: 50 ms}
    out: line
`)
	limit := limitOf(t, e, "choir.count", true)
	// 50 ms x 48000 Hz x 4 B = 9600 B a voice; 128 KiB less a few KiB hold 13.
	if limit.Value != 13 || limit.Past != "14" {
		t.Errorf("%g voices of 9600 B are said to fit 128 KiB, want 13", limit.Value)
	}
}

// chain is a graph of so many nodes in a row.
func chain(t testing.TB, nodes int) *estimator.Estimate {
	return estimated(t, "chain.yaml", chained(nodes))
}

// chained is the text of that graph.
func chained(nodes int) string {
	kinds := []string{"one-pole", "gain", "delay, time: 10 ms", "state-variable", "soft-clip", "biquad"}
	var text strings.Builder
	text.WriteString("board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  n0: {block: noise}\n")
	for i := 1; i < nodes-1; i++ {
		fmt.Fprintf(&text, "  n%d: {block: %s, from: n%d}\n", i, kinds[i%len(kinds)], i-1)
	}
	fmt.Fprintf(&text, "  speaker: {block: audio-out, from: n%d}\n", nodes-2)
	return text.String()
}

// ending is a context that ends when it is asked for the tenth time.
type ending struct {
	context.Context
	asked *atomic.Int64
}

func (c ending) Err() error {
	if c.asked.Add(1) < 10 {
		return nil
	}
	return context.Canceled
}

// What is given up on its way answers nothing, not half of it, and tries no more
// graphs than it had begun: less than a quarter of all.
func TestQuestionsAreGivenUp(t *testing.T) {
	// Naming a catalog file lets the graphs be counted.
	b := estimatortest.New(t)
	named := func(nodes int) *estimator.Estimate {
		return b.Estimate(t, "../../testdata/graphs/good/chain.yaml", "catalog: ../../boards/lantern-box.yaml\n"+chained(nodes))
	}
	e, long := named(30), named(60)
	var axes []ask.Axis
	for _, text := range []string{"n2.time=1ms..400ms/20", "block_size=16..96/20"} {
		axis, err := ask.ParseAxis(e.Graph, text)
		if err != nil {
			t.Fatal(err)
		}
		axes = append(axes, axis)
	}
	lengths := make([]ask.Length, 100)
	for i := range lengths {
		lengths[i].Seconds = float64(i+1) / 100
	}
	for name, ask := range map[string]func(context.Context) (answered bool, err error){
		"limits": func(ctx context.Context) (bool, error) {
			l, err := ask.FindLimits(ctx, long, nil)
			return l != nil, err
		},
		"a sweep": func(ctx context.Context) (bool, error) {
			s, err := ask.Run(ctx, e, axes...)
			return s != nil, err
		},
		"lengths of delays": func(ctx context.Context) (bool, error) {
			a, err := ask.Delays(ctx, e, ask.DelayQuestion{Lengths: lengths, Lines: []ask.Line{{"float32", 1, 48000}}})
			return a != nil, err
		},
		"longest delays": func(ctx context.Context) (bool, error) {
			a, err := ask.Delays(ctx, e, ask.DelayQuestion{Lines: []ask.Line{{"float32", 1, 48000}, {"int16", 1, 48000}, {"float32", 2, 48000}, {"int16", 2, 48000}}})
			return a != nil, err
		},
	} {
		graphs := func(ctx context.Context) (answered bool, n int, err error) {
			before := b.Asked()
			answered, err = ask(ctx)
			return answered, b.Asked() - before, err
		}
		_, all, err := graphs(t.Context())
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		answered, begun, err := graphs(ending{t.Context(), new(atomic.Int64)})
		if answered || !errors.Is(err, context.Canceled) {
			t.Errorf("%s: what is given up answers (%v), want nothing and %v", name, err, context.Canceled)
		}
		if begun == 0 || begun > all/4 {
			t.Errorf("%s: what is given up tries %d graphs, of %d in all", name, begun, all)
		}
	}
}

func BenchmarkLimits60(b *testing.B) {
	e := chain(b, 60)
	for b.Loop() {
		if l := limitsOf(b, e, nil); len(l.Limits) == 0 {
			b.Fatal("no limits found")
		}
	}
}
