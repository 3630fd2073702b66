package main

import (
	"slices"
	"testing"
)

func TestSiliconBand(t *testing.T) {
	many := make([]float64, 0, 20)
	for i := range 20 {
		many = append(many, 0.8+0.03*float64(i)) // 0.80, 0.83, ..., 1.37
	}
	for _, c := range []struct {
		name      string
		ratios    []float64
		authors   int
		low, high float64
	}{
		// House judgement, as the comments of siliconBand and the floors say.
		{"one row of one author", []float64{1.02}, 1, 0.75, 1.25},
		{"few rows that agree, of three authors", []float64{0.97, 1, 1.03}, 3, 0.9, 1.1},
		{"few rows that do not", []float64{0.7, 1, 1.4}, 3, 0.7, 1.4},
		{"twenty rows, of which one at each end is left outside", many, 3, 0.83, 1.34},
	} {
		low, high := siliconBand(c.ratios, c.authors)
		if low != c.low || high != c.high {
			t.Errorf("%s: the band is %g to %g; by the rule it is %g to %g.", c.name, low, high, c.low, c.high)
		}
	}
}

// A slope is taken between two sizes and less that of the bare loop.
func TestRowsArePredicted(t *testing.T) {
	cycles := map[siliconCall]float64{{"mul", 0}: 20, {"mul", 100}: 16020, {"bare", 0}: 10, {"bare", 100}: 1010, {"ordered", 32}: 1234}
	for _, c := range []struct {
		row  siliconRow
		want float64 // by hand: (16020 - 20) / 100 - (1010 - 10) / 100
	}{
		{siliconRow{Timed: "calls.mul", Sizes: []int{0, 100}, Less: "calls.bare"}, 150},
		{siliconRow{Timed: "calls.mul", Sizes: []int{0, 100}}, 160},
		{siliconRow{Timed: "fourier.ordered", Sizes: []int{32}}, 1234},
	} {
		if got := c.row.predicted(cycles); got != c.want {
			t.Errorf("The row of %s says %g cycles; by hand it is %g.", c.row.Timed, got, c.want)
		}
	}
}

func TestSiliconRowsNameWhatIsThere(t *testing.T) {
	s, err := readSilicon()
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Rows) < 60 {
		t.Errorf("There are %d rows; the published ones are more than 60.", len(s.Rows))
	}
	used := map[string]bool{}
	for _, r := range s.Rows {
		used[r.Source] = true
		if _, ok := findCore(r.Core); !ok || r.Published <= 0 || len(r.Sizes) < 1 || len(r.Sizes) > 2 {
			t.Errorf("The row '%s' of %s has no known core, no cycles or no sizes.", r.Kernel, r.Core)
		}
	}
	for _, name := range sorted(s.Sources) {
		if !used[name] {
			t.Errorf("The source '%s' is of no row.", name)
		}
	}
}

// The transform that is timed is one: against the sum of its definition.
func TestTimedTransformIsOne(t *testing.T) {
	needTools(t, "cc")
	folder := t.TempDir()
	program := folder + "/fourier"
	text := `
#include <stdio.h>
int main(void) {
  static number before[MOST];
  for (uint32_t n = 32; n <= MOST; n *= 2) {
    if (n == 128) n = 256;
    prepare(n);
    for (uint32_t i = 0; i < n; i++) before[i] = x[i];
    timed_ordered(n);
    double most = 0;
    for (uint32_t k = 0; k < n; k += n / 32) {
      double re = 0, im = 0;
      for (uint32_t i = 0; i < n; i++) {
        double at = -6.283185307179586 * (double)((uint64_t)k * i % n) / n;
        re += before[i].re * cos(at) - before[i].im * sin(at);
        im += before[i].re * sin(at) + before[i].im * cos(at);
      }
      most = fmax(most, hypot(re - x[k].re, im - x[k].im));
    }
    if (most > 1e-6 * n) { printf("%u: %g off\n", (unsigned)n, most); return 1; }
  }
  return 0;
}
`
	source, err := siliconFiles.ReadFile("silicon/fourier.c")
	if err != nil {
		t.Fatal(err)
	}
	if out, err := call(string(source)+text, "cc", "-x", "c", "-std=c11", "-O1", "-o", program, "-", "-lm"); err != nil {
		t.Fatalf("The transform does not compile for the host: %v\n%s", err, out)
	}
	if out, err := call("", program); err != nil {
		t.Errorf("The transform differs from its definition: %v\n%s", err, out)
	}
	if got := functions([]siliconCall{{"b", 1}, {"a", 1}, {"b", 2}}); !slices.Equal(got, []string{"a", "b"}) {
		t.Errorf("The functions called are %v; each comes once, in order.", got)
	}
}
