package calibrate

import (
	"errors"
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

func graphsOf(g *estimator.Graph) []*estimator.Graph { return []*estimator.Graph{g} }

// estimatedAt is what the estimate says of a node at a block size.
func estimatedAt(t *testing.T, g *estimator.Graph, node string, size int) float64 {
	t.Helper()
	f := &fit{graphs: graphsOf(g), result: &Result{}}
	if err := f.gather(readingsOf(t, fmt.Sprintf("node,cycles,block_size\n%s,1,%d\n", node, size), g)); err != nil {
		t.Fatal(err)
	}
	return f.points[0].total()
}

// rowsOf are readings of nodes at sizes, each the estimate times a factor, with a
// small spread.
func rowsOf(t *testing.T, g *estimator.Graph, sizes []int, factor map[string]float64) string {
	t.Helper()
	text := "node,cycles,block_size\n"
	for node, k := range factor {
		for _, size := range sizes {
			for i := range 6 {
				text += fmt.Sprintf("%s,%.2f,%d\n", node, estimatedAt(t, g, node, size)*k*(1+0.002*float64(i%3-1)), size)
			}
		}
	}
	return text
}

func TestFitRefuses(t *testing.T) {
	g := graphOf(t, show)
	cave := estimatedAt(t, g, "cave", 48)
	for _, tt := range []struct{ name, text, want, hint string }{
		{"too few", "node,cycles,block_size\ncave,9000,48\ncave,9010,48\n", "a factor with an interval needs at least 4 readings, and here are 2", "several times"},
		{"no variation", "node,cycles,block_size\n" + strings.Repeat("cave,900,48\necho,900,48\nwind,900,96\n", 4), "all readings are 900 cycles", "start the counter"},
		{"microseconds", fmt.Sprintf("node,cycles,block_size\n"+strings.Repeat("cave,%g,48\n", 4), cave/168, cave/168, cave/167, cave/168), "the unit cannot be right", "name the column 'microseconds'"},
		{"cycles", fmt.Sprintf("node,us,block_size\n"+strings.Repeat("cave,%g,48\n", 4), cave, cave, cave+1, cave), "the unit cannot be right", "name the column 'cycles'"},
		{"another board", fmt.Sprintf("node,cycles,block_size\n"+strings.Repeat("cave,%g,48\n", 4), cave*7000, cave*7000, cave*7001, cave*7000), "the unit cannot be right", "see whether"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Fit(graphsOf(g), readingsOf(t, tt.text, g))
			var refused *RefusedError
			if !errors.As(err, &refused) || !strings.Contains(refused.Why, tt.want) || !strings.Contains(refused.Hint, tt.hint) {
				t.Errorf("the readings should be refused with %q and the hint %q, and give %v", tt.want, tt.hint, err)
			}
		})
	}
}

// Factors that were planted come back, and what was not timed gets the mean of
// the others in the band that one more is to be expected in.
func TestFitFindsFactors(t *testing.T) {
	g := graphOf(t, show)
	planted := map[string]float64{"wind": 1.4, "howl": 0.8, "echo": 2.1, "cave": 1.1}
	r, err := Fit(graphsOf(g), readingsOf(t, rowsOf(t, g, []int{16, 48, 96}, planted), g))
	if err != nil {
		t.Fatal(err)
	}
	if r.Level != ByFamily || len(r.Factors) != 4 {
		t.Fatalf("4 families that differ give %d factors by %v, want 4 by family", len(r.Factors), r.Level)
	}
	families := map[string]string{"oscillator": "wind", "filter": "howl", "delay": "echo", "reverb": "cave"}
	for _, f := range r.Factors {
		if want := planted[families[f.Key]]; math.Abs(f.Interval.Value-want) > 0.05*want {
			t.Errorf("the factor of %s comes out at %.3f, planted %.3f", f.Key, f.Interval.Value, want)
		}
	}
	if r.Held == nil || r.Held.After > r.Held.Before/2 {
		t.Errorf("on readings kept out the error goes from %+v, want it to fall by half at least", r.Held)
	}
	if want := (1.4 + 0.8 + 2.1 + 1.1) / 4; r.Rest == nil || math.Abs(r.Rest.Interval.Value-want) > 0.05 {
		t.Errorf("what was not timed gets %+v, want the mean %.3f", r.Rest, want)
	}
}

// The whole block of time alone gives one factor for the board; parts of it that
// always come together are not told apart.
func TestFitWholeBlock(t *testing.T) {
	g := graphOf(t, show)
	r, err := Fit(graphsOf(g), readingsOf(t, rowsOf(t, g, []int{16, 48, 96, 192}, map[string]float64{wholeGraph: 1.3}), g))
	if err != nil {
		t.Fatal(err)
	}
	if r.Level != ByBoard || len(r.Factors) != 1 {
		t.Fatalf("%d factors by %v, want one for the board", len(r.Factors), r.Level)
	}
	// System cycles are no compute, so that the factor of compute is a little more.
	if v := r.Factors[0].Interval.Value; v < 1.3 || v > 1.4 {
		t.Errorf("the whole block takes 1.3 times the estimate, and the factor is %.3f", v)
	}
	if !slices.ContainsFunc(r.Trials, func(t Trial) bool { return t.Level == ByNode && t.Refused != "" }) {
		t.Errorf("seven nodes are told apart by the block's whole time: %+v", r.Trials)
	}
}

func TestFitCautions(t *testing.T) {
	g := graphOf(t, show)
	wind := estimatedAt(t, g, "wind", 48)
	cautions := func(text string) string {
		r, err := Fit(graphsOf(g), readingsOf(t, text, g))
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(r.Cautions, "\n")
	}
	var warm, broken strings.Builder
	warm.WriteString("node,cycles,block_size,run\n")
	broken.WriteString("node,cycles,block_size\n")
	for run := range 3 {
		for i := range 20 {
			v := wind * (1 + 0.001*float64(i%5))
			if i == 0 {
				v *= 2
			}
			fmt.Fprintf(&warm, "wind,%g,48,%d\n", v, run)
			v = wind * (1 + 0.001*float64(i%5))
			if i == 7 {
				v *= 4
			}
			fmt.Fprintf(&broken, "wind,%g,48\n", v)
		}
	}
	for _, tt := range []struct{ name, text, want string }{
		{"one size", warm.String(), "only blocks of 48 were timed"},
		{"another size", rowsOf(t, g, []int{96}, map[string]float64{"wind": 1, "cave": 1}), "no block of 48 was timed"},
		{"warm-up", warm.String(), "the caches were cold"},
		{"interrupts", broken.String(), "an interrupt fell into them"},
		{"far off", rowsOf(t, g, []int{48, 96}, map[string]float64{"wind": 8}), "is far from 1"},
		{"outlier", rowsOf(t, g, []int{16, 24, 32, 48, 64, 96}, map[string]float64{"wind": 1}) + strings.Repeat(fmt.Sprintf("wind,%g,128\n", 1.6*estimatedAt(t, g, "wind", 128)), 3), "wind at blocks of 128 lies off all others"},
	} {
		if got := cautions(tt.text); !strings.Contains(got, tt.want) {
			t.Errorf("%s: the cautions should hold %q and are:\n%s", tt.name, tt.want, got)
		}
	}
}

// What is written reads back, and a graph that names it is answered with it: the
// basis is measured, and the band is the file's.
func TestFileReadsBack(t *testing.T) {
	g := graphOf(t, show)
	planted := map[string]float64{"wind": 1.4, "howl": 0.8, "echo": 2.1, "cave": 1.1}
	r, err := Fit(graphsOf(g), readingsOf(t, rowsOf(t, g, []int{16, 48, 96}, planted), g))
	if err != nil {
		t.Fatal(err)
	}
	text := r.File("times.csv")
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	load := func(path source.Value) string {
		return catalog.Add(lib, source.NewFile("measured.yaml", []byte(text)), &errs)
	}
	again := estimator.Read(source.NewFile("show.yaml", []byte("catalog: measured.yaml\n"+show)), lib, estimator.Options{Load: load}, &errs)
	if again == nil {
		t.Fatalf("a graph with the written file cannot be read: %v\n%s", errs.Err(), text)
	}
	before, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	after, err := again.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	i := again.Node("howl")
	n := after.Nodes[i]
	if n.Basis != blocks.Measured || !strings.HasPrefix(n.Source, "times.csv: 72 readings") {
		t.Errorf("howl has the basis %v and the source %q, want measured from times.csv", n.Basis, n.Source)
	}
	was := before.Nodes[i]
	if ratio := n.Mean.Value / was.Mean.Value; math.Abs(ratio-0.8) > 0.02 {
		t.Errorf("howl was measured at 0.8 times its estimate, and is answered with %.3f times", ratio)
	}
	if width, wasWidth := (n.Mean.High-n.Mean.Low)/n.Mean.Value, (was.Mean.High-was.Mean.Low)/was.Mean.Value; width >= wasWidth {
		t.Errorf("the band of howl is %.3f of it, no narrower than %.3f before", width, wasWidth)
	}
}
