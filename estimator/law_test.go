package estimator_test

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/chance"
	"elbowroom/estimator/estimatortest"
)

// Laws that hold for any graph, tried on graphs drawn at random from the whole
// catalog. They follow from what the figures mean and rest on no source.

// try reads and estimates a text; nil: it does not read, or its parameters meet
// so that a formula has no figure.
func try(b *estimatortest.Bench, text string) *estimator.Estimate {
	g, _ := readOn(b, "random.yaml", text, "", "")
	if g == nil {
		return nil
	}
	e, err := g.Estimate()
	if err != nil {
		return nil
	}
	return e
}

// law checks a property of random graphs, of which it must see at least a few.
// The property tells whether it applied.
func law(t *testing.T, property func(t *rapid.T, b *estimatortest.Bench) bool) {
	t.Helper()
	b := estimatortest.New(t)
	tried, applied := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		tried++
		if property(t, b) {
			applied++
		}
	})
	if !t.Failed() && applied*5 < tried {
		t.Errorf("of %d draws %d said anything: too few", tried, applied)
	}
}

// demands are the bytes that a graph needs, by what they are, wherever they lie.
func demands(e *estimator.Estimate) map[string]float64 {
	d := map[string]float64{}
	for _, o := range e.Objects {
		d[o.Part.String()] += float64(o.Bytes)
	}
	flash := e.Banks[e.Graph.Board.CodeBank()]
	d["code in flash"] = float64(flash.Parts[estimator.PartCode])
	d["library in flash"] = float64(flash.Parts[estimator.PartLibrary])
	d["mean compute"], d["worst compute"], d["bound compute"] = e.CPU.Mean.Compute.Value, e.CPU.Worst.Compute.Value, e.CPU.Bound.Compute.Value
	for _, j := range e.Jacks {
		d[j.Name] = float64(j.Used)
	}
	return d
}

// Before placement, a node more never makes a demand smaller.
func TestANodeMoreNeverTakesLess(t *testing.T) {
	law(t, func(t *rapid.T, b *estimatortest.Bench) bool {
		text, grown := chance.Grown(t, b.Library)
		e, more := try(b, text), try(b, grown)
		if e == nil || more == nil {
			return false
		}
		then := demands(more)
		for what, bytes := range demands(e) {
			if then[what] < bytes*(1-1e-9) {
				t.Errorf("with a node more %s falls from %.1f to %.1f:\n%s", what, bytes, then[what], grown)
			}
		}
		return true
	})
}

// countOf is how many voices a group of a random graph has.
var countOf = regexp.MustCompile(`(?m)^    count: (\d+)$`)

// n voices take n times the state and the buffers of one, and the same code.
func TestVoicesShareTheirCode(t *testing.T) {
	law(t, func(t *rapid.T, b *estimatortest.Bench) bool {
		text := chance.Graph(t, b.Library)
		if !countOf.MatchString(text) {
			return false
		}
		n := rapid.IntRange(2, 9).Draw(t, "voices")
		one, many := try(b, countOf.ReplaceAllString(text, "    count: 1")), try(b, countOf.ReplaceAllString(text, fmt.Sprintf("    count: %d", n)))
		if one == nil || many == nil {
			return false
		}
		for i := range one.Nodes {
			a, z := one.Nodes[i], many.Nodes[i]
			times := blocks.Bytes(1)
			if one.Graph.Nodes[i].Group >= 0 {
				times = blocks.Bytes(n)
			}
			if z.State != times*a.State || z.Buffers != times*a.Buffers {
				t.Errorf("%s takes %d B of state and %d B of buffers in one voice, and %d and %d in %d:\n%s", one.Graph.Nodes[i].Name, a.State, a.Buffers, z.State, z.Buffers, n, text)
			}
			if z.Code != a.Code || z.Kernel != a.Kernel {
				t.Errorf("%s has the kernel %s of %d B in one voice, and %s of %d B in %d:\n%s", one.Graph.Nodes[i].Name, a.Code, a.Kernel, z.Code, z.Kernel, n, text)
			}
		}
		return true
	})
}

// Where the placement is proven, a larger bank or a faster clock never makes a
// verdict worse. Scenes are left out: a placement waits least for memory over all
// of them together, which need not be least in the worst.
func TestMoreBoardIsNeverWorse(t *testing.T) {
	law(t, func(t *rapid.T, b *estimatortest.Bench) bool {
		text, _, _ := strings.Cut(chance.Graph(t, b.Library), "scenes:")
		e := try(b, text)
		if e == nil || e.Placement.Gap > 0 {
			return false
		}
		g, _ := readOn(b, "random.yaml", text, "", "")
		board := *g.Board
		board.Banks = slices.Clone(board.Banks)
		what := "a faster clock"
		if k := rapid.IntRange(-1, len(board.Banks)-1).Draw(t, "what grows"); k < 0 {
			board.Clock *= blocks.Hertz(rapid.SampledFrom([]float64{1.01, 1.5, 4}).Draw(t, "by"))
		} else {
			board.Banks[k].Nominal += board.Align * blocks.Bytes(rapid.SampledFrom([]int{1, 64, 4096}).Draw(t, "by"))
			what = "more of " + board.Banks[k].Name
		}
		g.Board = &board
		more, err := g.Estimate()
		if err != nil {
			t.Fatalf("with %s the graph cannot be estimated: %v\n%s", what, err, text)
		}
		if more.Placement.Gap > 0 {
			return false
		}
		if more.Verdict > e.Verdict {
			t.Errorf("with %s a graph that %v then %v:\n%s", what, e.Verdict, more.Verdict, text)
		}
		return true
	})
}

// nodeName is the name of a node of a random graph.
var nodeName = regexp.MustCompile(`\bn(\d+)\b`)

// Names, and the order in which nodes stand in the file, change no figure. What
// is left out: loops, which are opened or cut where they lead back in the file,
// and orders and placements that are not proven, since a search that stops early
// may stop elsewhere.
func TestNamesAndOrderChangeNothing(t *testing.T) {
	law(t, func(t *rapid.T, b *estimatortest.Bench) bool {
		text := chance.Graph(t, b.Library)
		e := try(b, text)
		if e == nil || len(e.Schedule.Cuts)+len(e.Schedule.Split) > 0 || e.Placement.Gap > 0 || e.Schedule.Slots > e.Schedule.Least {
			return false
		}
		other := try(b, nodeName.ReplaceAllString(shuffled(t, text), "mask-$1"))
		if other == nil {
			t.Fatalf("with other names, in another order, the graph does not read:\n%s", text)
		}
		if other.Verdict != e.Verdict {
			t.Errorf("a graph %v, and with other names, in another order, %v:\n%s", e.Verdict, other.Verdict, text)
		}
		for i, r := range e.Resources {
			if o := other.Resources[i]; !alikeFigures(o.Used, r.Used) {
				t.Errorf("of %s %v are used, and with other names, in another order, %v:\n%s", r.Name, r.Used, o.Used, text)
			}
		}
		if !alike(other.CPU.Mean.Total().Value, e.CPU.Mean.Total().Value) {
			t.Errorf("the mean block takes %.2f cycles, and with other names, in another order, %.2f:\n%s", e.CPU.Mean.Total().Value, other.CPU.Mean.Total().Value, text)
		}
		return true
	})
}

func alikeFigures(a, b blocks.Figure) bool {
	return alike(a.Value, b.Value) && alike(a.Low, b.Low) && alike(a.High, b.High) || math.IsInf(a.High, 1) && math.IsInf(b.High, 1)
}

// shuffled puts the nodes of each part of a text into another order.
func shuffled(t *rapid.T, text string) string {
	lines := strings.Split(text, "\n")
	isNode := regexp.MustCompile(`^ +n\d+: \{`)
	for from := 0; from < len(lines); from++ {
		to := from
		for to < len(lines) && isNode.MatchString(lines[to]) {
			to++
		}
		if to > from {
			copy(lines[from:to], rapid.Permutation(lines[from:to]).Draw(t, "order"))
			from = to
		}
	}
	return strings.Join(lines, "\n")
}

// The line ends of another system change nothing.
func TestLineEndsChangeNothing(t *testing.T) {
	for path, text := range graphs(t, "good") {
		b := estimatortest.New(t)
		g, errs := readOn(b, path, string(text), "", "")
		other, errs2 := readOn(b, path, strings.ReplaceAll(string(text), "\n", "\r\n"), "", "")
		if g == nil || other == nil {
			t.Fatalf("%s does not read both ways: %v, %v", path, errs.Err(), errs2.Err())
		}
		if got, want := figures(estimate(t, other)), figures(estimate(t, g)); got != want {
			t.Errorf("%s answers with other line ends\n%s\nwant\n%s", path, got, want)
		}
	}
}

// Tables that two nodes read when their work falls due belong to neither, and what
// fetching them adds to the worst block is told all the same.
func TestWhatIsSharedIsACause(t *testing.T) {
	b := estimatortest.New(t)
	e := try(b, "board: m0plus-133-264k\nsample_rate: 16 kHz\nblock_size: 1\nnodes:\n  wind: {block: noise}\n"+
		"  frame: {block: spectral-frame, from: wind, precision: double}\n  gate: {block: spectral-gate, from: wind, precision: double}\n")
	if e == nil {
		t.Fatal("the graph does not read")
	}
	checkParts(t, e)
	i := slices.IndexFunc(e.WorstCauses(), func(c estimator.Cause) bool { return c.Kind == estimator.CauseStalls && c.Node < 0 })
	if i < 0 || e.WorstCauses()[i].Cycles <= 0 {
		t.Errorf("of the causes %+v none is a wait of what both nodes read", e.WorstCauses())
	}
}
