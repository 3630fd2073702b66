package plan_test

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"testing"
	"time"

	"elbowroom/estimator/outside"
	"elbowroom/estimator/plan"
)

// Twenty models of 60 nodes, 6 options and 4 banks, each solved here and by the
// integer-programming solver from outside in turn; the medians of the times of
// one are told, what both came to is the same, and how much memory was asked
// for at most.
func BenchmarkSolve(b *testing.B) {
	for _, related := range []bool{true, false} {
		for binding := 1; binding <= 4; binding++ {
			name := map[bool]string{true: "related", false: "unrelated"}[related]
			b.Run(fmt.Sprintf("%s/%d", name, binding), func(b *testing.B) {
				solver := outside.New(b)
				for b.Loop() {
					var ours, theirs []time.Duration
					var memory uint64
					for seed := range uint64(20) {
						m := shape{nodes: 60, options: 6, resources: 4, binding: binding, banks: 4, room: 0.7, related: related}.model(seed)
						var before, after runtime.MemStats
						runtime.GC()
						runtime.ReadMemStats(&before)
						start := time.Now()
						r, err := plan.Solve(context.Background(), m, plan.Options{MaxSteps: 2_000_000_000})
						ours = append(ours, time.Since(start))
						runtime.ReadMemStats(&after)
						memory = max(memory, after.TotalAlloc-before.TotalAlloc)
						if err != nil {
							b.Fatal(err)
						}
						loss, took := solver.Least(b, program(m))
						theirs = append(theirs, took)
						got := -1.0
						if len(r.Plans) > 0 {
							got = float64(r.Plans[0].Loss)
						}
						if !r.Proven || got != loss {
							b.Errorf("model %d: the search loses %g, proven %v with a bound of %d, and the outside solver %g", seed, got, r.Proven, r.Bound, loss)
						}
						b.Logf("model %d: loss %g, %v, %d steps; outside %v", seed, got, ours[seed], r.Steps, took)
					}
					slices.Sort(ours)
					slices.Sort(theirs)
					ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
					b.ReportMetric(ms(ours[10]), "ms/median")
					b.ReportMetric(ms(ours[19]), "ms/most")
					b.ReportMetric(ms(theirs[10]), "ms/outside-median")
					b.ReportMetric(ms(theirs[19]), "ms/outside-most")
					b.ReportMetric(float64(memory)/(1<<20), "MiB/most")
				}
			})
		}
	}
}
