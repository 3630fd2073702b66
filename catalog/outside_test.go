package catalog

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"go.yaml.in/yaml/v4"

	"elbowroom/blocks"
)

// outsideRow is a figure, or several, that someone else published or that was
// counted apart from the catalog: what one block at given settings must need.
type outsideRow struct {
	Block      string
	Settings   map[string]string
	SampleRate string            `yaml:"sample_rate"` // default 48 kHz
	Channels   int               // default 1
	EventRates map[string]string `yaml:"event_rates"`
	Source     string
	Basis      string // opened, transcribed, excerpt, counted, computed, memory

	// Operations a sample; work at edges and at moves of parameters is apart.
	Multiplies *float64
	Additions  *float64
	Integer    float64            `yaml:"integer_additions"` // of the additions
	Calls      map[string]float64 // of library functions
	Edge       *struct{ Multiplies, Additions, Divides float64 }

	Bytes         *float64  // of all buffers
	Samples       *float64  // that all buffers hold
	Lengths       []float64 // in samples, buffer by buffer
	Reads, Writes *float64  // accesses a sample
	StateWords    *float64  `yaml:"state_words"` // that one more channel keeps
	TableWords    *float64  `yaml:"table_words"` // of all tables
	Latency       *float64  // samples

	// Formula names a formula of the block's file by its path, Want its value,
	// with a unit where it has one. Tolerance is in the unit of Want.
	Formula   string
	Want      string
	Tolerance float64
}

type outsideFile struct {
	Rounding float64 // of every Want in the file, as a share of it
	Rows     []outsideRow
}

func readOutside(t *testing.T, file string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "outside", file))
	if err != nil {
		t.Fatal(err)
	}
	if err := yaml.Load(text, into, yaml.WithKnownFields()); err != nil {
		t.Fatalf("%s cannot be read: %v", file, err)
	}
}

func open(t *testing.T) *blocks.Library {
	t.Helper()
	lib, err := Open()
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

// use is the block of a row with its settings.
func (r *outsideRow) use(lib *blocks.Library) (*blocks.Use, error) {
	block, err := lib.Block(r.Block)
	if err != nil {
		return nil, err
	}
	rate, err := frequency(r.SampleRate, 48000)
	if err != nil {
		return nil, err
	}
	u := &blocks.Use{
		Block: block, Settings: block.Defaults(rate), Channels: max(r.Channels, 1), SampleRate: rate, BlockSize: 1,
		EventRates: map[string]blocks.Hertz{}, MeanTicks: 1, MostTicks: 1,
	}
	for name, text := range r.Settings {
		i := block.ParamIndex(name)
		if i < 0 {
			return nil, fmt.Errorf("%s has no parameter '%s'", r.Block, name)
		}
		if u.Settings[i], err = block.Params[i].Read(text, rate); err != nil {
			return nil, err
		}
	}
	for name, text := range r.EventRates {
		if u.EventRates[name], err = frequency(text, 0); err != nil {
			return nil, err
		}
	}
	return u, nil
}

func frequency(text string, def blocks.Hertz) (blocks.Hertz, error) {
	if text == "" {
		return def, nil
	}
	span, err := blocks.Parse(text, blocks.UnitFrequency, blocks.Timebase{})
	return blocks.Hertz(span.High), err
}

// counting is a core on which only one class of operations costs a cycle, so
// that cycles are how often the class is used.
func counting(class blocks.Class) *blocks.Core {
	c := &blocks.Core{ComputeBand: blocks.Band{Low: 1, High: 1}, CodeBand: blocks.Band{Low: 1, High: 1}}
	c.Weights[class] = blocks.Weight{Cycles: 1, Worst: 1}
	return c
}

// often is how often a class stands in some counts of the used block.
func often(u *blocks.Use, counts []blocks.Count, class blocks.Class) (float64, error) {
	alone, block := *u, *u.Block
	block.Operations = blocks.Operations{Sample: counts}
	alone.Block, alone.BlockSize = &block, 1
	d, err := alone.Demand(counting(class))
	if err != nil {
		return 0, err
	}
	return d.Mean.Value, nil
}

// Every row of the published figures is what the catalog says.
func TestPublishedFigures(t *testing.T) {
	lib := open(t)
	for _, file := range []string{"reverbs.yaml", "delays.yaml", "filters.yaml", "oscillators.yaml", "control.yaml"} {
		var f outsideFile
		readOutside(t, file, &f)
		if len(f.Rows) == 0 {
			t.Errorf("%s holds no rows", file)
		}
		for i, r := range f.Rows {
			what := fmt.Sprintf("%s row %d, %s with %s", file, i+1, r.Block, settingsText(r.Settings))
			if r.Source == "" || r.Basis == "" {
				t.Errorf("%s names no source or no basis", what)
			}
			if checked := r.check(t, lib, what, f.Rounding); checked == 0 {
				t.Errorf("%s checks nothing", what)
			}
		}
	}
}

func settingsText(settings map[string]string) string {
	var words []string
	for _, name := range slices.Sorted(maps.Keys(settings)) {
		words = append(words, name+" "+settings[name])
	}
	if words == nil {
		return "its defaults"
	}
	return strings.Join(words, ", ")
}

// check compares all that a row says and returns how many figures that are.
func (r *outsideRow) check(t *testing.T, lib *blocks.Library, what string, rounding float64) (checked int) {
	u, err := r.use(lib)
	if err != nil {
		t.Errorf("%s cannot be set up: %v", what, err)
		return 1
	}
	d, err := u.Demand(counting(blocks.OpMul))
	if err != nil {
		t.Errorf("%s gives no demand: %v", what, err)
		return 1
	}
	same := func(figure string, got, want, tolerance float64) {
		checked++
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s: %s is %g, want %g (%s; %s)", what, figure, got, want, r.Source, r.Basis)
		}
	}
	exact := func(figure string, got float64, want *float64) {
		if want != nil {
			same(figure, got, *want, 0)
		}
	}
	count := func(counts []blocks.Count, class blocks.Class) float64 {
		n, err := often(u, counts, class)
		if err != nil {
			t.Errorf("%s: the count of %v gives no figure: %v", what, class, err)
		}
		return n
	}
	sample := u.Block.Operations.Sample
	exact("multiplies a sample", count(sample, blocks.OpMul), r.Multiplies)
	if r.Additions != nil {
		same("float additions a sample", count(sample, blocks.OpAdd), *r.Additions-r.Integer, 0)
		if steps := count(sample, blocks.OpInt); steps < r.Integer {
			t.Errorf("%s: integer operations a sample are %g, fewer than the %g additions of the phase (%s)", what, steps, r.Integer, r.Source)
		}
	}
	for name, want := range r.Calls {
		class, ok := blocks.ParseClass(name)
		if !ok {
			t.Errorf("%s names a function '%s' that there is not", what, name)
		}
		same("calls of "+name+" a sample", count(sample, class), want, 0)
	}
	if r.Edge != nil {
		edges := 0
		for _, work := range u.Block.Operations.Recurring {
			if count(work.Counts, blocks.OpMul) == 0 {
				continue // the wrap of the phase
			}
			edges++
			same("multiplies at the edge "+work.Name, count(work.Counts, blocks.OpMul), r.Edge.Multiplies, 0)
			same("additions at the edge "+work.Name, count(work.Counts, blocks.OpAdd), r.Edge.Additions, 0)
			same("divides at the edge "+work.Name, count(work.Counts, blocks.OpDiv), r.Edge.Divides, 0)
		}
		if edges == 0 {
			t.Errorf("%s has no work at its edges (%s)", what, r.Source)
		}
	}

	var bytes, samples, reads, writes float64
	var lengths []float64
	for _, b := range d.Buffers {
		held := float64(b.Bytes) / float64(b.Element)
		bytes, samples, lengths = bytes+float64(b.Bytes), samples+held, append(lengths, held)
		reads, writes = reads+b.Reads, writes+b.Writes
	}
	exact("bytes of all buffers", bytes, r.Bytes)
	exact("samples in all buffers", samples, r.Samples)
	exact("words read from buffers a sample", reads, r.Reads)
	exact("words written to buffers a sample", writes, r.Writes)
	if r.Lengths != nil {
		checked++
		if !slices.Equal(lengths, r.Lengths) {
			t.Errorf("%s: lengths are %v, want %v (%s; %s)", what, lengths, r.Lengths, r.Source, r.Basis)
		}
	}
	if r.StateWords != nil {
		more := *u
		more.Channels++
		wider, err := more.Demand(counting(blocks.OpMul))
		if err != nil {
			t.Errorf("%s gives no demand with a channel more: %v", what, err)
			return checked
		}
		same("words that a channel keeps", float64(memory(wider)-memory(d))/4, *r.StateWords, 0)
	}
	var tables float64
	for _, table := range d.Tables {
		tables += float64(table.Bytes) / 4
	}
	exact("words of tables", tables, r.TableWords)
	exact("latency in samples", d.Latency, r.Latency)
	if r.Formula != "" {
		got, err := formulaAt(u, d, r.Formula)
		want, bad := strconv.ParseFloat(strings.TrimSuffix(r.Want, " Hz"), 64)
		if err != nil || bad != nil {
			t.Errorf("%s: %s cannot be compared with '%s': %v, %v", what, r.Formula, r.Want, err, bad)
			return checked
		}
		tolerance := r.Tolerance + rounding*math.Abs(want)
		if want == 0 {
			tolerance += rounding
		}
		same(r.Formula, got, want, tolerance)
	}
	return checked
}

// memory is the bytes of RAM of a demand, without its tables.
func memory(d *blocks.Demand) blocks.Bytes {
	sum := d.State
	for _, b := range d.Buffers {
		sum += b.Bytes
	}
	return sum
}

// formulaAt evaluates one formula of a block, named by its path in the file.
func formulaAt(u *blocks.Use, d *blocks.Demand, path string) (float64, error) {
	words := strings.Split(path, ".")
	switch {
	case path == "gain":
		return d.Gain, nil
	case path == "loop_gain":
		return d.LoopGain, nil
	case words[0] == "metrics" && len(words) == 2:
		r, ok, err := u.Metric(words[1])
		if !ok {
			return 0, fmt.Errorf("%s has no metric '%s'", u.Block.Name, words[1])
		}
		return r.Value, err
	case words[0] == "outputs" && len(words) == 3 && words[2] == "rate":
		port, ok := u.Block.Output(words[1])
		if !ok {
			return 0, fmt.Errorf("%s has no output '%s'", u.Block.Name, words[1])
		}
		rate, err := u.EventRate(port)
		return float64(rate), err
	}
	return 0, fmt.Errorf("no formula stands at '%s'", path)
}

// Every kernel that was measured on silicon lies inside the band around the
// cycles that the core's file gives for its operations.
func TestMeasuredKernels(t *testing.T) {
	lib := open(t)
	var f struct {
		Kernels []struct {
			Core, Kernel  string
			Terms         map[string]float64
			Published     float64
			Source, Basis string
		}
	}
	readOutside(t, "kernels.yaml", &f)
	if len(f.Kernels) == 0 {
		t.Fatal("kernels.yaml holds no kernels")
	}
	for _, k := range f.Kernels {
		core, err := lib.Core(k.Core)
		if err != nil {
			t.Errorf("%s: %v", k.Kernel, err)
			continue
		}
		var work []blocks.Work
		for name, times := range k.Terms {
			class, ok := blocks.ParseClass(name)
			if !ok {
				t.Errorf("%s on %s counts '%s', which is no class of operations", k.Kernel, k.Core, name)
			}
			work = append(work, blocks.Work{Class: class, Times: times})
		}
		counted, _, _ := core.Price(blocks.Style{}, work...)
		if counted.Value <= 0 || k.Published < counted.Low || k.Published > counted.High {
			t.Errorf("%s on %s was measured at %g cycles, counted are %g in a band from %g to %g (%s; %s)",
				k.Kernel, k.Core, k.Published, counted.Value, counted.Low, counted.High, k.Source, k.Basis)
		}
	}
}

// Integer work goes on each core as CoreMark has it: where no kernel was measured,
// this is all that silicon says of a core's weights.
func TestIntegerWorkAgainstCoreMark(t *testing.T) {
	lib := open(t)
	var f struct {
		Mix    map[string]float64
		Factor float64
		Cores  []struct {
			Core          string
			PerMegahertz  float64 `yaml:"per_megahertz"`
			Scale         bool
			Source, Basis string
		}
	}
	readOutside(t, "coremark.yaml", &f)
	var work []blocks.Work
	for name, times := range f.Mix {
		class, ok := blocks.ParseClass(name)
		if !ok {
			t.Fatalf("the mix counts '%s', which is no class of operations", name)
		}
		work = append(work, blocks.Work{Class: class, Times: times})
	}
	// What a score of one would take: the geometric mean over the cores that set the scale.
	products := make([]float64, len(f.Cores))
	var logs, scales float64
	for i, c := range f.Cores {
		core, err := lib.Core(c.Core)
		if err != nil {
			t.Fatal(err)
		}
		mix, _, _ := core.Price(blocks.Style{}, work...)
		products[i] = mix.Value * c.PerMegahertz
		if c.Scale {
			logs, scales = logs+math.Log(products[i]), scales+1
		}
	}
	scale := math.Exp(logs / scales)
	for i, c := range f.Cores {
		if by := products[i] / scale; !(by < f.Factor && by > 1/f.Factor) {
			t.Errorf("%s is %.2f times as slow at integer work as its CoreMark of %g a megahertz says, want within %g either way (%s; %s)",
				c.Core, by, c.PerMegahertz, f.Factor, c.Source, c.Basis)
		}
	}
}

// Every board has the clock, and every bank the size, the address and the
// reach of DMA, that the vendors' documents print.
func TestVendorsMemoryMaps(t *testing.T) {
	lib := open(t)
	var f struct {
		Boards []struct {
			Board  string
			Clock  float64
			Source string
			Banks  []struct {
				Bank  string
				Base  *uint64
				Bytes blocks.Bytes // 0: a choice of the board
				DMA   *bool
			}
		}
	}
	readOutside(t, "boards.yaml", &f)
	mapped := map[string]bool{}
	for _, want := range f.Boards {
		board, err := lib.Board(want.Board)
		if err != nil {
			t.Errorf("boards.yaml: %v", err)
			continue
		}
		if float64(board.Clock) != want.Clock {
			t.Errorf("%s runs at %v, want %v (%s)", want.Board, board.Clock, blocks.Hertz(want.Clock), want.Source)
		}
		for _, w := range want.Banks {
			i := board.BankIndex(w.Bank)
			if i < 0 {
				t.Errorf("%s has no bank '%s' (%s)", want.Board, w.Bank, want.Source)
				continue
			}
			mapped[want.Board+" "+w.Bank] = true
			bank := board.Banks[i]
			if w.Bytes > 0 && bank.Nominal != w.Bytes {
				t.Errorf("%s of %s has %d bytes, want %d (%s)", w.Bank, want.Board, bank.Nominal, w.Bytes, want.Source)
			}
			if w.Base != nil && bank.Base != *w.Base {
				t.Errorf("%s of %s begins at %#x, want %#x (%s)", w.Bank, want.Board, bank.Base, *w.Base, want.Source)
			}
			if w.DMA != nil && bank.DMA != *w.DMA {
				t.Errorf("DMA reaches %s of %s: %t, want %t (%s)", w.Bank, want.Board, bank.DMA, *w.DMA, want.Source)
			}
		}
	}
	for _, name := range lib.BoardNames() {
		board, err := lib.Board(name)
		if err != nil {
			t.Errorf("board %s cannot be read: %v", name, err)
			continue
		}
		for _, bank := range board.Banks {
			if !bank.Kind.Constant() && !mapped[name+" "+bank.Name] {
				t.Errorf("no row of boards.yaml says how large %s of %s is", bank.Name, name)
			}
		}
	}
}
