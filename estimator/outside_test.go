package estimator_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// estimated reads a graph written in a test and estimates it.
func estimated(t *testing.T, text string) *estimator.Estimate {
	t.Helper()
	g, errs := read(t, source.NewFile("test.yaml", []byte(text)))
	if g == nil {
		t.Fatalf("the graph cannot be read: %v\n%s", errs.Err(), text)
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatalf("the graph cannot be estimated: %v\n%s", err, text)
	}
	return e
}

// through is a graph that plays its input on a board.
func through(t *testing.T, board, rate string, block int) *estimator.Estimate {
	t.Helper()
	return estimated(t, fmt.Sprintf(`board: %s
sample_rate: %s
block_size: %d
nodes:
  horn: {block: audio-in}
  speaker: {block: audio-out, from: horn}
`, board, rate, block))
}

// One block in and one block out take 1000 B / fs ms each: the table of the
// reference page dsp 2.10.
func TestBlockPeriods(t *testing.T) {
	rates := []struct {
		text  string
		hertz float64
	}{{"32 kHz", 32000}, {"44.1 kHz", 44100}, {"48 kHz", 48000}, {"96 kHz", 96000}}
	for _, row := range []struct {
		block int
		ms    [4]float64
	}{
		{1, [4]float64{.0313, .0227, .0208, .0104}},
		{4, [4]float64{.125, .0907, .0833, .0417}},
		{16, [4]float64{.500, .3628, .3333, .1667}},
		{32, [4]float64{1.000, .7256, .6667, .3333}},
		{48, [4]float64{1.500, 1.0884, 1.0000, .5000}},
		{64, [4]float64{2.000, 1.4512, 1.3333, .6667}},
		{128, [4]float64{4.000, 2.9025, 2.6667, 1.3333}},
		{256, [4]float64{8.000, 5.8050, 5.3333, 2.6667}},
	} {
		for i, rate := range rates {
			e := through(t, "m7-480-sdram", rate.text, row.block)
			converter := e.Graph.Board.Converter
			ms := (e.Latency.Samples() - converter.In - converter.Out) / 2 * 1000 / rate.hertz
			if math.Abs(ms-row.ms[i]) > 0.00005001 {
				t.Errorf("a block of %d at %s lasts %.5f ms, want %.4f (dsp 2.10, computed)", row.block, rate.text, ms, row.ms[i])
			}
		}
	}
}

// The usual path: 48 samples in, 48 out and 18 + 21 of converters are 135
// samples, 2.8 ms (mcus 6, converter datasheets; dsp 2.10, computed).
func TestUsualLatency(t *testing.T) {
	e := through(t, "m7-480-sdram", "48 kHz", 48)
	want := []estimator.LatencyPart{{What: "input converter", Samples: 18}, {What: "input block", Samples: 48},
		{What: "output block", Samples: 48}, {What: "output converter", Samples: 21}}
	if !slices.Equal(e.Latency.Parts, want) || e.Latency.From != "horn" || e.Latency.To != "speaker" {
		t.Errorf("the latency from %s to %s is %v, want %v", e.Latency.From, e.Latency.To, e.Latency.Parts, want)
	}
	if got := e.Latency.Samples(); got != 135 {
		t.Errorf("the usual path takes %g samples, want 135", got)
	}
	if ms := e.Latency.Samples() / 48; math.Abs(ms-2.8125) > 1e-12 {
		t.Errorf("the usual path takes %g ms, want 2.8125", ms)
	}
}

// A linear-phase filter of N taps adds (N - 1) / 2 samples, algebra (dsp 2.10).
func TestFilterLatency(t *testing.T) {
	e := estimated(t, `board: m7-480-sdram
sample_rate: 48 kHz
block_size: 48
nodes:
  horn: {block: audio-in}
  screen: {block: fir, from: horn, taps: 129, symmetry: symmetric}
  speaker: {block: audio-out, from: screen}
`)
	if got := e.Latency.Samples(); got != 135+64 {
		t.Errorf("a filter of 129 taps on the usual path takes %g samples, want 135 + 64", got)
	}
}

// Within 10 ms a player hears no delay: with two blocks and about 1 ms of
// converters up to 144, 198, 216 and 432 samples (dsp 2.10, computed).
func TestPlayableBlocks(t *testing.T) {
	late := func(e *estimator.Estimate) bool {
		return slices.ContainsFunc(e.Cautions, func(c estimator.Caution) bool { return c.Kind == "latency" })
	}
	for _, tt := range []struct {
		rate  string
		block int
	}{{"44.1 kHz", 198}, {"48 kHz", 216}, {"96 kHz", 432}} {
		if e := through(t, "m7-480-sdram", tt.rate, tt.block); late(e) {
			t.Errorf("blocks of %d at %s bring a caution about latency at %g samples, want none within 10 ms", tt.block, tt.rate, e.Latency.Samples())
		}
		if e := through(t, "m7-480-sdram", tt.rate, tt.block*5/4); !late(e) {
			t.Errorf("blocks of %d at %s bring no caution about latency at %g samples, want one beyond 10 ms", tt.block*5/4, tt.rate, e.Latency.Samples())
		}
	}
}

// budgets are cycles a sample at 44.1, 48 and 96 kHz and in a block of 48 at
// 48 kHz, by the class clock in MHz: the table of the reference page mcus 1.3.
var budgets = map[float64][4]float64{
	48:  {1088, 1000, 500, 48000},
	64:  {1451, 1333, 667, 64000},
	100: {2268, 2083, 1042, 100000},
	120: {2721, 2500, 1250, 120000},
	128: {2902, 2667, 1333, 128000},
	133: {3016, 2771, 1385, 133000},
	150: {3401, 3125, 1562, 150000},
	160: {3628, 3333, 1667, 160000},
	168: {3810, 3500, 1750, 168000},
	170: {3855, 3542, 1771, 170000},
	180: {4082, 3750, 1875, 180000},
	200: {4535, 4167, 2083, 200000},
	216: {4898, 4500, 2250, 216000},
	240: {5442, 5000, 2500, 240000},
	250: {5669, 5208, 2604, 250000},
	300: {6803, 6250, 3125, 300000},
	400: {9070, 8333, 4167, 400000},
	480: {10884, 10000, 5000, 480000},
	550: {12472, 11458, 5729, 550000},
	600: {13605, 12500, 6250, 600000},
}

func TestCycleBudgets(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range lib.BoardNames() {
		board, err := lib.Board(name)
		if err != nil {
			t.Fatal(err)
		}
		want, known := budgets[float64(board.Clock)/1e6]
		if !known {
			t.Errorf("%s runs at %v, for which mcus 1.3 has no row", name, board.Clock)
			continue
		}
		for i, c := range []struct {
			rate  string
			block int
		}{{"44.1 kHz", 1}, {"48 kHz", 1}, {"96 kHz", 1}, {"48 kHz", 48}} {
			e := through(t, name, c.rate, c.block)
			if math.Abs(e.CPU.Budget-want[i]) > 0.5 {
				t.Errorf("%s has %.2f cycles in %d samples at %s, want %.0f (mcus 1.3, derived)", name, e.CPU.Budget, c.block, c.rate, want[i])
			}
			for _, r := range e.Resources {
				if strings.Contains(r.Name, "cpu") && r.Limit > e.CPU.Budget {
					t.Errorf("%s allows %g cycles of a budget of %g", name, r.Limit, e.CPU.Budget)
				}
			}
		}
	}
}

// lineSamples is what the delay line of a graph holds at 48 kHz.
func lineSamples(t *testing.T, tempo, time string) float64 {
	t.Helper()
	e := estimated(t, fmt.Sprintf(`board: m7-480-sdram
sample_rate: 48 kHz
block_size: 48
tempo: %s
nodes:
  horn: {block: audio-in}
  echo: {block: delay, from: horn, time: %s}
  speaker: {block: audio-out, from: echo}
`, tempo, time))
	i := slices.IndexFunc(e.Objects, func(o estimator.Object) bool { return o.Name == "echo.line" })
	if i < 0 {
		t.Fatalf("a delay of %s at %s has no line", time, tempo)
	}
	return float64(e.Objects[i].Bytes) / 4
}

// Delay lines of note values hold the milliseconds of the table of dsp 5.2,
// which prints four decimals: within a hundredth of a sample at 48 kHz.
func TestNoteValuesInAGraph(t *testing.T) {
	values := []string{"1/4", "3/16", "1/8", "1/8 triplet", "1/16", "1/1"}
	for _, row := range []struct {
		tempo string
		ms    [6]float64
	}{
		{"40 bpm", [6]float64{1500, 1125, 750, 500, 375, 6000}},
		{"60 bpm", [6]float64{1000, 750, 500, 333.3333, 250, 4000}},
		{"72 bpm", [6]float64{833.3333, 625, 416.6667, 277.7778, 208.3333, 3333.3333}},
		{"90 bpm", [6]float64{666.6667, 500, 333.3333, 222.2222, 166.6667, 2666.6667}},
		{"100 bpm", [6]float64{600, 450, 300, 200, 150, 2400}},
		{"120 bpm", [6]float64{500, 375, 250, 166.6667, 125, 2000}},
		{"125 bpm", [6]float64{480, 360, 240, 160, 120, 1920}},
		{"140 bpm", [6]float64{428.5714, 321.4286, 214.2857, 142.8571, 107.1429, 1714.2857}},
		{"174 bpm", [6]float64{344.8276, 258.6207, 172.4138, 114.9425, 86.2069, 1379.3103}},
		{"240 bpm", [6]float64{250, 187.5, 125, 83.3333, 62.5, 1000}},
	} {
		for i, value := range values {
			want := math.Ceil(row.ms[i]*48 - 0.01)
			if got := lineSamples(t, row.tempo, value); got != want {
				t.Errorf("a delay of %s at %s holds %g samples, want %g for %g ms (dsp 5.2, computed)", value, row.tempo, got, want, row.ms[i])
			}
		}
	}
}

// Where the tempo ranges, a line is sized at the slowest.
func TestNoteValuesAtTheSlowestTempo(t *testing.T) {
	for _, tt := range []struct {
		tempo, time string
		want        float64
		source      string
	}{
		{"60..140 bpm", "3/8", 72000, "dsp 5.2: 3/8 at 60 bpm is 1500 ms, 72000 samples"},
		{"60 bpm", "3/8", 72000, "dsp 5.2: the same without a range"},
		{"60..240 bpm", "1/4", 48000, "dsp 5.2: a clock of 1000 ms by 1"},
		{"60..240 bpm", "1/8", 24000, "dsp 5.2: a clock of 1000 ms by 2, 500 ms"},
		{"60..240 bpm", "1/8 triplet", 16000, "dsp 5.2: a clock of 1000 ms by 3, 333.333 ms"},
		{"60..240 bpm", "1/16", 12000, "dsp 5.2: a clock of 1000 ms by 4, 250 ms"},
	} {
		if got := lineSamples(t, tt.tempo, tt.time); got != tt.want {
			t.Errorf("a delay of %s at %s holds %g samples, want %g (%s)", tt.time, tt.tempo, got, tt.want, tt.source)
		}
	}
}

// Notes in a graph have the frequencies, and at 48 kHz the periods in samples,
// of the table of dsp 5.3 (ISO 16:1975, MIDI 1.0); an oscillator's correction
// falls due once a period.
func TestNotesInAGraph(t *testing.T) {
	for _, row := range []struct {
		note          string
		hertz, period float64
	}{
		{"midi 21", 27.5, 1745.4545},
		{"midi 24", 32.703196, 1467.7465},
		{"midi 36", 65.406391, 733.8732},
		{"midi 45", 110, 436.3636},
		{"midi 60", 261.625565, 183.4683},
		{"C4", 261.625565, 183.4683},
		{"midi 69", 440, 109.0909},
		{"A4", 440, 109.0909},
		{"midi 81", 880, 54.5455},
		{"midi 96", 2093.004522, 22.9335},
		{"midi 108", 4186.009045, 11.4668},
		{"midi 127", 12543.853951, 3.8266},
	} {
		tone := func(pitch string) *estimator.Estimate {
			return estimated(t, fmt.Sprintf(`board: m7-480-sdram
sample_rate: 48 kHz
block_size: 48
nodes:
  pipe: {block: bandlimited-saw, pitch: %s}
  speaker: {block: audio-out, from: pipe}
`, pitch))
		}
		e := tone(row.note)
		n := e.Graph.Nodes[0]
		got := n.Use.Settings[n.Block().ParamIndex("pitch")].Span.High
		if math.Abs(got-row.hertz) > 5e-7 {
			t.Errorf("%s is %.6f Hz, want %.6f (dsp 5.3, computed)", row.note, got, row.hertz)
		}
		if period := 48000 / got; math.Abs(period-row.period) > 5.001e-5 {
			t.Errorf("%s has a period of %.4f samples, want %.4f (dsp 5.3, computed)", row.note, period, row.period)
		}
		// The pitch of 1 Hz has an edge every 48000 samples, so that what it
		// takes more is the work of the edges of a period, in proportion.
		slow, double := tone("1 Hz"), tone("2 Hz")
		edge := (double.Nodes[0].Mean.Value - slow.Nodes[0].Mean.Value) * 48000 / 48
		more := e.Nodes[0].Mean.Value - slow.Nodes[0].Mean.Value
		if want := edge * (48/row.period - 48.0/48000); math.Abs(more-want) > 1e-4*want {
			t.Errorf("%s takes %g cycles a block more than 1 Hz, want %g for an edge of %g every %g samples", row.note, more, want, edge, row.period)
		}
	}
}

// A volt is an octave (dsp 5.3): from A0 to the last note of the MIDI table.
func TestOctavesOfASpan(t *testing.T) {
	e := estimated(t, `board: m7-480-sdram
sample_rate: 48 kHz
block_size: 48
nodes:
  crank: {block: cv-in}
  pipe: {block: bandlimited-saw, pitch: {from: crank, span: 27.5 Hz..880 Hz, curve: exponential}}
  speaker: {block: audio-out, from: pipe}
`)
	n := e.Graph.Nodes[1]
	span := n.Use.Settings[n.Block().ParamIndex("pitch")].Span
	if volts := blocks.OctaveVolts(span); volts != 5 {
		t.Errorf("from 27.5 Hz to 880 Hz the crank turns %g V, want five octaves at one volt each", volts)
	}
}
