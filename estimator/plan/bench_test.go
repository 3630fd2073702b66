//go:build unix

package plan_test

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"syscall"
	"testing"
	"time"

	"elbowroom/estimator/outside"
	"elbowroom/estimator/plan"
)

// BenchmarkSolve prints rows of a table: twenty models each of 60 nodes, 6
// options and 4 banks, solved here and by the integer-programming solver from
// outside in turn, which must come to the same loss, proven; where the search
// loses less, the program from outside must own that its plan is one. Told is
// processor time, of the program from outside with its start, and how many bytes
// a search asked for at most. Options are related as those of a catalog are, or each
// figure is drawn by itself.
func BenchmarkSolve(b *testing.B) {
	solver := outside.New(b)
	fmt.Println("\n| options | binding resources | median | worst | median of cbc | worst of cbc | models won | refuted | memory |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, options := range []string{"related", "unrelated"} {
		for binding := 1; binding <= 4; binding++ {
			b.Run(fmt.Sprintf("%s/%d", options, binding), func(b *testing.B) {
				for b.Loop() {
					r := race(b, solver, shape{nodes: 60, options: 6, resources: 4, binding: binding, banks: 4, room: 0.7, related: options == "related"})
					fmt.Printf("| %s | %d | %v | %v | %v | %v | %d of %d | %d | %.0f MiB |\n", options,
						binding, middle(r.ours), slices.Max(r.ours), middle(r.theirs), slices.Max(r.theirs), r.won, len(r.ours), r.refuted, float64(r.memory)/(1<<20))
				}
			})
		}
	}
}

// times are what both took for the same models.
type times struct {
	ours, theirs []time.Duration
	won, refuted int
	memory       uint64
}

func race(b *testing.B, solver *outside.Solver, s shape) times {
	var t times
	for seed := range uint64(20) {
		m := s.model(seed)
		runtime.GC()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := processor(b)
		r, err := plan.Solve(context.Background(), m, plan.Options{})
		took := processor(b) - start
		runtime.ReadMemStats(&after)
		if err != nil {
			b.Fatal(err)
		}
		loss, theirs := solver.Least(b, program(m, nil))
		switch {
		case len(r.Plans) > 0 && float64(r.Plans[0].Loss) < loss:
			// What one calls proven is refuted by the other: the solver computes in
			// fractions with a tolerance. It must own that the plan is one.
			if owned, _ := solver.Least(b, program(m, r.Plans[0].Choice)); owned != float64(r.Plans[0].Loss) {
				b.Errorf("model %d: the search loses %d, the outside solver %g, and %g with the same options", seed, r.Plans[0].Loss, loss, owned)
			}
			t.refuted++
		case len(r.Plans) > 0 && float64(r.Plans[0].Loss) != loss:
			b.Errorf("model %d: the search loses %d, and the outside solver %g", seed, r.Plans[0].Loss, loss)
		case (len(r.Plans) == 0) != (math.IsInf(loss, 1)) || !r.Proven:
			b.Errorf("model %d: the search finds %d plans, proven %v, and the outside solver loses %g", seed, len(r.Plans), r.Proven, loss)
		}
		if took <= theirs {
			t.won++
		}
		t.ours, t.theirs = append(t.ours, took.Round(time.Millisecond)), append(t.theirs, theirs.Round(time.Millisecond))
		t.memory = max(t.memory, after.TotalAlloc-before.TotalAlloc)
	}
	return t
}

// processor is the time that this process has computed for.
func processor(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func middle(list []time.Duration) time.Duration {
	sorted := slices.Sorted(slices.Values(list))
	return sorted[len(sorted)/2]
}
