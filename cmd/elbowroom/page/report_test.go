package page_test

import (
	"bytes"
	"html"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/cmd/elbowroom/page"
	"elbowroom/estimator"
)

// hall is a graph of the shadow theatre: voices, a loop, a moved parameter.
const hall = `# The hall behind the screen.
board: m7-216-512k
sample_rate: 48 kHz
block_size: 48   # a millisecond
nodes:
  crank: {block: knob}
  wind:  {block: noise, colour: pink}   # all night long
  howl:  {block: state-variable, from: [wind, echo], cutoff: {from: crank, span: 200 Hz..4 kHz}}
  echo:  {block: delay, from: howl, time: 200 ms, feedback: 0}
  out:   {block: audio-out, from: howl}
`

func estimate(t testing.TB, text string) *estimator.Estimate {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	g := estimator.Read(source.NewFile("hall.yaml", []byte(text)), lib, estimator.Options{}, &errs)
	if g == nil {
		t.Fatalf("the graph of the test is wrong: %v", errs.Err())
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func report(t testing.TB, s page.Subject) string {
	t.Helper()
	var b bytes.Buffer
	if err := page.Report(&b, s); err != nil {
		t.Fatalf("the report cannot be written: %v", err)
	}
	return b.String()
}

func subject(e *estimator.Estimate) page.Subject {
	return page.Subject{
		File: "hall.yaml", Estimate: e, Sentence: "hall.yaml <fits> & sings", Worth: "what it is worth", Version: "of a test",
		Made: time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC),
		Advice: page.Advice{Groups: []page.Group{{Title: "Plans", Plans: []page.Plan{
			{Title: "Plan 1", Changes: []page.Change{{Node: "echo", Write: "time: 100 ms", Heard: "shorter"}}, Then: "it fits"},
		}}}},
	}
}

// TestReportStandsAlone holds the report to asking for nothing: no address, no
// file, nothing inline but what its policy names by hash.
func TestReportStandsAlone(t *testing.T) {
	text := report(t, subject(estimate(t, hall)))
	for _, asks := range []string{" src=", " href=", "url(", "@import", "http://", "https://", " style=", " onclick=", "<link"} {
		if where := strings.Index(strings.SplitN(text, `<section class="sources"`, 2)[0], asks); where >= 0 {
			t.Errorf("the report holds %q, which could ask for something or run: %.80s", asks, text[where:])
		}
	}
	for _, want := range []string{
		"default-src &#39;none&#39;", "hall.yaml &lt;fits&gt; &amp; sings.", "25 November 2026, 20:00", "of a test", "write <code>time: 100 ms</code>",
		"closes a loop", "control to cutoff",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not hold %q", want)
		}
	}
}

// TestBarsAddUp holds the shares of the mean and the worst block to their loads,
// and the marks of a picture to its width.
func TestBarsAddUp(t *testing.T) {
	text := report(t, subject(estimate(t, hall)))
	_, rest, _ := strings.Cut(text, "Cycles of a block, stalls counted")
	table, _, _ := strings.Cut(rest, "</table>")
	var sums [2]float64
	rows := regexp.MustCompile(`<data value="([^"]*)"`).FindAllStringSubmatch(table, -1)
	figures := make([]float64, len(rows))
	for i, m := range rows {
		v, err := strconv.ParseFloat(html.UnescapeString(m[1]), 64)
		if err != nil {
			t.Fatalf("the figure %q is no number", m[1])
		}
		figures[i] = v
	}
	last := len(figures) - 2
	if last < 2*5 {
		t.Fatalf("the table of the block has %d figures, want those of five nodes and the sum", len(figures))
	}
	for i, v := range figures[:last] {
		sums[i%2] += v
	}
	for i, name := range []string{"mean", "worst"} {
		if want := figures[last+i]; sums[i] < want-1e-6*want || sums[i] > want+1e-6*want {
			t.Errorf("the shares of the %s block add up to %g cycles, want its load, %g", name, sums[i], want)
		}
	}
}
