package outside

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var summary = regexp.MustCompile(`(?m)^summary: (.*)$`)

// LinesPerBlock is the lines of a data cache that a program of the host fetches
// for each of the blocks that its only argument tells it to run, in valgrind's
// cachegrind: what twice as many blocks fetch more, so that the start cancels
// out. Geometry is the bytes, the ways and the bytes of a line, with commas.
func LinesPerBlock(t testing.TB, geometry, program string, run int) float64 {
	t.Helper()
	return (fetched(t, geometry, program, 2*run) - fetched(t, geometry, program, run)) / float64(run)
}

// fetched is the lines that a program fetches in all.
func fetched(t testing.TB, geometry, program string, run int) float64 {
	t.Helper()
	told := filepath.Join(t.TempDir(), "told")
	valgrind := exec.Command("valgrind", "--tool=cachegrind", "--cache-sim=yes",
		"--D1="+geometry, "--cachegrind-out-file="+told, program, strconv.Itoa(run))
	if out, err := valgrind.CombinedOutput(); err != nil {
		t.Fatalf("valgrind: %v\n%s", err, out)
	}
	text, err := os.ReadFile(told)
	if err != nil {
		t.Fatal(err)
	}
	m := summary.FindSubmatch(text)
	if m == nil {
		t.Fatal("cachegrind told no summary")
	}
	// Ir I1mr ILmr Dr D1mr DLmr Dw D1mw DLmw
	counts := strings.Fields(string(m[1]))
	if len(counts) != 9 {
		t.Fatalf("cachegrind told %d counts in place of 9", len(counts))
	}
	var sum float64
	for _, i := range []int{4, 7} {
		v, err := strconv.ParseFloat(counts[i], 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += v
	}
	return sum
}
