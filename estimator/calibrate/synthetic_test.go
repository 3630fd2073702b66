package calibrate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// show is a graph of the shadow theatre with four families of blocks.
const show = `board: m4f-168-192k
sample_rate: 48 kHz
block_size: 48
nodes:
  wind:  {block: noise}
  rain:  {block: noise}
  howl:  {block: state-variable, from: wind}
  murk:  {block: state-variable, from: rain}
  echo:  {block: delay, from: howl, time: 100 ms, format: int16}
  cave:  {block: plate-reverb, from: echo, format: int16}
  out:   {block: audio-out, from: cave}
`

// graphOf reads a graph of a test, without measurements.
func graphOf(t testing.TB, text string) *estimator.Graph {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	g := estimator.Read(source.NewFile("show.yaml", []byte(text)), lib, estimator.Options{Unmeasured: true}, &errs)
	if g == nil {
		t.Fatalf("the graph cannot be read: %v", errs.Err())
	}
	return g
}

// readingsOf reads readings of a test.
func readingsOf(t testing.TB, text string, graphs ...*estimator.Graph) *Readings {
	t.Helper()
	r, err := Read("times.csv", strings.NewReader(text), graphs)
	if err != nil {
		t.Fatalf("the readings cannot be read: %v\n%s", err, text)
	}
	return r
}

// synthetic is a board whose true factors are known: readings of nodes at block
// sizes, each the estimate times the factor of its block times an error.
type synthetic struct {
	fit   *fit
	truth map[string]float64 // by block
	noise float64
}

func newSynthetic(t testing.TB, truth map[string]float64, noise float64) *synthetic {
	t.Helper()
	g := graphOf(t, show)
	var rows strings.Builder
	rows.WriteString("node,cycles,block_size\n")
	for _, node := range []string{"wind", "rain", "howl", "murk", "echo", "cave"} {
		for _, size := range []int{16, 48, 96} {
			fmt.Fprintf(&rows, "%s,1000,%d\n", node, size)
		}
	}
	f := &fit{graphs: []*estimator.Graph{g}, result: &Result{}}
	if err := f.gather(readingsOf(t, rows.String(), g)); err != nil {
		t.Fatal(err)
	}
	return &synthetic{fit: f, truth: truth, noise: noise}
}

// draw is a fit to readings drawn anew, several of each place.
func (s *synthetic) draw(dice *rand.Rand, each int) *fit {
	f := &fit{graphs: s.fit.graphs, band: s.fit.band, result: &Result{}}
	for _, p := range s.fit.points {
		drawn := *p
		drawn.sums = sums{}
		true_ := p.stalls + p.rest
		for _, t := range p.parts {
			true_ += t.cycles * s.truth[t.node.Block().Name]
		}
		for range each {
			drawn.sums.add(true_ + s.noise*p.total()*dice.NormFloat64())
		}
		f.readings += each
		f.points = append(f.points, &drawn)
	}
	return f
}

// Of 2,000 drawn boards, the intervals of about 95 % cover the factor that the
// board truly has. A share of 2,000 independent draws has a standard deviation of
// 0.5 %, three of which are allowed.
func TestIntervalsCoverTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("2,000 fits take some seconds")
	}
	const draws = 2000
	for _, tt := range []struct {
		name  string
		truth map[string]float64
		level Level
	}{
		{"a board that is slower as a whole", map[string]float64{"noise": 1.3, "state-variable": 1.3, "delay": 1.3, "plate-reverb": 1.3}, ByBoard},
		{"each family by its own", map[string]float64{"noise": 1.4, "state-variable": 0.8, "delay": 2.1, "plate-reverb": 1.1}, ByFamily},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newSynthetic(t, tt.truth, 0.05)
			dice := rand.New(rand.NewPCG(1, 8))
			covered, total, chosen := 0, 0, 0
			for range draws {
				f := s.draw(dice, 4)
				if err := f.choose(); err != nil {
					t.Fatalf("a board with known factors is refused: %v", err)
				}
				f.tell()
				if f.result.Level == tt.level {
					chosen++
				}
				for j, key := range f.best.keys {
					want, got := tt.truth[f.best.nodes[key].Block().Name], f.result.Factors[j].Interval
					if total++; got.Low <= want && want <= got.High {
						covered++
					}
				}
			}
			if share := float64(covered) / float64(total); share < 0.935 || share > 0.965 {
				t.Errorf("%.2f %% of the intervals cover the true factor, want 95 %% and at most 1.5 more or less", 100*share)
			}
			if share := float64(chosen) / draws; share < 0.95 {
				t.Errorf("%.2f %% of the draws take a factor by %v, as the board truly has them; want 95 %%", 100*share, tt.level)
			}
		})
	}
}

// A board whose kernels are called once a sample, each call by itself taking 0.7
// of what the estimate says of a call, is told from one that is slower as a
// whole, and the interval of that factor covers the truth in about 95 % of 500
// draws (a standard deviation of 1 %, three of which are allowed).
func TestCallsOfEachSampleAreTold(t *testing.T) {
	const draws, factor, calls = 500, 1.2, 0.7
	s := newSynthetic(t, map[string]float64{"noise": factor, "state-variable": factor, "delay": factor, "plate-reverb": factor}, 0.05)
	dice := rand.New(rand.NewPCG(2, 8))
	covered, told := 0, 0
	for range draws {
		f := s.draw(dice, 4)
		for _, p := range f.points {
			p.sums.mean += calls * p.calls
		}
		if err := f.choose(); err != nil {
			t.Fatalf("A board whose kernels are called once a sample is refused: %v.", err)
		}
		f.tell()
		got := f.result.Calls
		if got == nil || f.result.Level != ByBoard {
			continue
		}
		if told++; got.Interval.Low <= calls && calls <= got.Interval.High {
			covered++
		}
	}
	if told < draws*95/100 {
		t.Errorf("%d of %d draws tell one factor for the board and one for calls, as the board truly has them; want 95 %%.", told, draws)
	}
	if share := float64(covered) / float64(told); share < 0.92 || share > 0.98 {
		t.Errorf("%.2f %% of the intervals cover the true factor of calls, want 95 %% and at most 3 more or less.", 100*share)
	}
}

// What was learned of calls comes back from the measured file: each node takes its
// factor times the estimate, and the factor of calls times its own call for each
// sample after the first. A graph that says that it calls once a sample takes none.
func TestCallsAreReadFromTheFile(t *testing.T) {
	r := &Result{
		Board: "m4f-168-192k", Level: ByBoard, sizes: []int{48},
		Factors: []Factor{{Band: blocks.Figure{Value: 2, Low: 1.5, High: 2.5}}},
		Calls:   &Factor{Band: blocks.Figure{Value: 0.5, Low: 0.4, High: 0.6}},
	}
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	if catalog.Add(lib, source.NewFile("measured.yaml", []byte(r.File("times.csv"))), &errs); errs.Err() != nil {
		t.Fatalf("The file that was written cannot be read: %v.", errs.Err())
	}
	for _, tt := range []struct {
		name, lines string
		calls       float64
	}{
		{"a call a block", "", 0.5},
		{"a call a sample", "code: {calls: sample}\n", 0},
	} {
		plain := graphOf(t, show+tt.lines)
		before, err := plain.Estimate()
		if err != nil {
			t.Fatal(err)
		}
		after, err := estimator.Read(source.NewFile("show.yaml", []byte(show+tt.lines)), lib, estimator.Options{}, &errs).Estimate()
		if err != nil {
			t.Fatal(err)
		}
		for i, n := range plain.Nodes {
			again, _ := n.Again()
			if want, got := 2*before.Nodes[i].Mean.Value+tt.calls*again.Value, after.Nodes[i].Mean.Value; math.Abs(got-want) > 1e-6*want {
				t.Errorf("%s: %s takes %.1f cycles with the file, want %.1f.", tt.name, n.Name, got, want)
			}
		}
	}
}
