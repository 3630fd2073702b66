package main

import (
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// drawn runs a command that draws into a file and returns the file's text and
// the answer as JSON.
func drawn(t *testing.T, kind string, args ...string) (picture, answer string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "plot"+kind)
	var out, complaints strings.Builder
	code := run(context.Background(), strings.NewReader(""), &out, &complaints, append(args, "--format", "json", "--plot", path))
	if code != exitFits || complaints.Len() > 0 {
		t.Fatalf("'elbowroom %s' exits with %d and complains %q", strings.Join(args, " "), code, complaints.String())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text), out.String()
}

// A picture is well-formed, needs nothing from elsewhere, and has a mark for
// every figure of the answer.
func TestPicturesAreWhole(t *testing.T) {
	graph := filepath.Join(goodGraphs, "puppet-king.yaml")
	foreign := regexp.MustCompile(`(?i)<(script|link|img|iframe|object|image|use)\b|@import|url\(|https?://`)
	marks := regexp.MustCompile(`<circle |<path transform`)
	for _, kind := range []string{".svg", ".html"} {
		for _, args := range [][]string{{"sweep", graph}, {"sweep", graph, "--over", "throne.time=100ms..2s/5"}, {"delays", graph}} {
			what := strings.Join(args[:1], " ") + " as " + kind
			text, answer := drawn(t, kind, args...)
			decoder := xml.NewDecoder(strings.NewReader(strings.Replace(text, "<!DOCTYPE html>\n", "", 1)))
			decoder.Strict = kind == ".svg"
			decoder.AutoClose, decoder.Entity = xml.HTMLAutoClose, xml.HTMLEntity
			for {
				if _, err := decoder.Token(); errors.Is(err, io.EOF) {
					break
				} else if err != nil {
					t.Fatalf("%s is not well-formed: %v", what, err)
				}
			}
			if found := foreign.FindAllString(strings.ReplaceAll(text, "http://www.w3.org/2000/svg", ""), 3); len(found) > 0 {
				t.Errorf("%s needs something from elsewhere: %q", what, found)
			}
			want := 0
			if args[0] == "sweep" {
				var r SweepReport
				if err := json.Unmarshal([]byte(answer), &r); err != nil {
					t.Fatal(err)
				}
				want = 3 * len(r.Settings) // load, latency and memory
			} else {
				var r DelaysReport
				if err := json.Unmarshal([]byte(answer), &r); err != nil {
					t.Fatal(err)
				}
				want = len(r.Lengths) + len(r.Longest)
			}
			if got := len(marks.FindAllString(text, -1)); got != want {
				t.Errorf("%s has %d marks, want %d, one for each figure", what, got, want)
			}
		}
	}
}

// The marks of a sweep lie where its figures put them.
func TestPictureHasTheFigures(t *testing.T) {
	text, answer := drawn(t, ".svg", "sweep", filepath.Join(goodGraphs, "puppet-king.yaml"), "--over", "block_size=16,32,64")
	var r SweepReport
	if err := json.Unmarshal([]byte(answer), &r); err != nil {
		t.Fatal(err)
	}
	load := strings.Split(text, "<g ")[1]
	points := regexp.MustCompile(`<circle cx="([\d.]+)" cy="([\d.]+)"|<path transform="translate\(([\d.]+) ([\d.]+)\)"`).FindAllStringSubmatch(load, -1)
	if len(points) != len(r.Settings) {
		t.Fatalf("%d marks for %d settings", len(points), len(r.Settings))
	}
	number := func(texts ...string) float64 {
		v, err := strconv.ParseFloat(strings.Join(texts, ""), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	// Both scales are straight here: what lies between two points in the figures
	// lies between them in the picture, in the same ratio.
	x := func(i int) float64 { return number(points[i][1], points[i][3]) }
	y := func(i int) float64 { return number(points[i][2], points[i][4]) }
	if got, want := (x(1)-x(0))/(x(2)-x(0)), (32.-16)/(64-16); math.Abs(got-want) > 0.01 {
		t.Errorf("32 lies at %.3f of the way from 16 to 64, want %.3f", got, want)
	}
	a, b, c := r.Settings[0].Load.High, r.Settings[1].Load.High, r.Settings[2].Load.High
	if got, want := (y(1)-y(0))/(y(2)-y(0)), (b-a)/(c-a); math.Abs(got-want) > 0.02 {
		t.Errorf("a load of %g lies at %.3f of the way from %g to %g, want %.3f", b, got, a, c, want)
	}
}

// Ticks are round, few, and within the scale.
func TestTicks(t *testing.T) {
	for _, tt := range []struct {
		scale scale
		want  string
	}{
		{scale{low: 0, high: 1}, "[0 0.2 0.4 0.6 0.8 1]"},
		{scale{low: 0, high: 7.2}, "[0 1 2 3 4 5 6 7]"},
		{scale{low: 100, high: 700}, "[100 200 300 400 500 600 700]"},
		{scale{low: 1, high: 256, log: true}, "[1 2 5 10 20 50 100 200]"},
		{scale{low: 0.1, high: 60, log: true}, "[0.1 0.3 1 3 10 30]"},
		{scale{low: 3 * 1024, high: 3 << 20, log: true, binary: true}, "[4096 16384 65536 262144 1.048576e+06]"},
	} {
		got := tt.scale.ticks()
		for i, v := range got {
			got[i], _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
		}
		if fmt.Sprint(got) != tt.want {
			t.Errorf("between %g and %g (log: %t) the ticks are %v, want %s", tt.scale.low, tt.scale.high, tt.scale.log, got, tt.want)
		}
	}
}

func TestPlotRefusesOtherKinds(t *testing.T) {
	var out, complaints strings.Builder
	code := run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"sweep", filepath.Join(goodGraphs, "puppet-king.yaml"), "--over", "block_size=16", "--plot", "plot.png"})
	if code != exitWrong || !strings.Contains(complaints.String(), "end it with .svg or .html") || out.Len() > 0 {
		t.Errorf("drawing into a .png exits with %d, prints %q and complains %q", code, out.String(), complaints.String())
	}
}
