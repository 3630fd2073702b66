// Package outside asks programs from outside, in tests that hold our own figures
// to theirs: an integer-programming solver, Debian's coinor-cbc, for an optimum,
// and valgrind's cachegrind for the lines that a cache fetches. Neither knows
// anything of graphs, boards or placements.
package outside

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"
)

// A Solver is the program, and the folder that it reads from and writes to.
type Solver struct{ program, dir string }

// New finds the solver. Where it is missing the test is skipped, or fails where
// ELBOWROOM_TOOLS=required asks for it.
func New(t testing.TB) *Solver {
	t.Helper()
	program, err := exec.LookPath("cbc")
	if err != nil {
		if os.Getenv("ELBOWROOM_TOOLS") == "required" {
			t.Fatal("The program cbc is missing, and ELBOWROOM_TOOLS=required asks for it.")
		}
		t.Skip("The program cbc (Debian's coinor-cbc) is missing.")
	}
	return &Solver{program, t.TempDir()}
}

var objective = regexp.MustCompile(`(?m)^(Optimal|Infeasible|Integer infeasible)[^\n]*objective value +(-?[\d.]+)`)

// Least is the least value of the objective of a model in the LP text format,
// proven without any gap, and the processor time that the program took for it;
// +Inf: nothing satisfies the model.
func (s *Solver) Least(t testing.TB, model string) (float64, time.Duration) {
	t.Helper()
	file, answer := filepath.Join(s.dir, "model.lp"), filepath.Join(s.dir, "answer.txt")
	if err := os.WriteFile(file, []byte(model), 0o644); err != nil {
		t.Fatal(err)
	}
	program := exec.Command(s.program, file, "ratio", "0", "allow", "0", "solve", "solution", answer)
	out, err := program.CombinedOutput()
	if err != nil {
		t.Fatalf("cbc: %v\n%s", err, out)
	}
	took := program.ProcessState.UserTime() + program.ProcessState.SystemTime()
	told, err := os.ReadFile(answer)
	if err != nil {
		t.Fatal(err)
	}
	m := objective.FindSubmatch(told)
	if m == nil {
		t.Fatalf("cbc says neither an optimum nor that there is none:\n%s", told)
	}
	if string(m[1]) != "Optimal" {
		return math.Inf(1), took
	}
	v, err := strconv.ParseFloat(string(m[2]), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v, took
}
