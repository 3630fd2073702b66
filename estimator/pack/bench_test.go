package pack_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"elbowroom/estimator/pack"
)

// shelves is a problem as boards pose it: buffers of 64 bytes to 128 KiB, each
// with so many accesses by a line, a word or at random, over banks from one
// that costs nothing to one far away, which together hold a quarter more than
// there is, so that every fast bank is short.
func shelves(seed uint64, items, banks int) *pack.Problem {
	r := rand.New(rand.NewPCG(seed, 1))
	waits := []float64{0, 20, 42, 60, 118}
	shares := []float64{0.15, 0.25, 0.2, 0.2, 0.5}
	p := &pack.Problem{}
	total := int64(0)
	for range items {
		item := pack.Item{Bytes: int64(64 * math.Pow(2048, r.Float64())), Align: 32}
		accesses := float64(1+r.IntN(8)+r.IntN(4)) * []float64{0.125, 0.25, 1}[r.IntN(3)]
		for b := range banks {
			item.Cost = append(item.Cost, accesses*waits[b]*48*(0.9+0.2*r.Float64()))
		}
		p.Items = append(p.Items, item)
		total += size(&item)
	}
	for b := range banks {
		p.Room = append(p.Room, int64(float64(total)*shares[b]))
	}
	return p
}

// Each of 21 problems is solved in turn; the median of the times of one is
// told, the worst gap, and how many are proven.
func BenchmarkSolve(b *testing.B) {
	for _, size := range []struct{ items, steps int }{{20, plenty}, {60, 2 * plenty}, {1000, 2 * plenty}} {
		b.Run(fmt.Sprintf("%d", size.items), func(b *testing.B) {
			const problems = 21
			var times []time.Duration
			gap, proven := 0.0, 0
			for i := 0; b.Loop(); i++ {
				p := shelves(uint64(i%problems), size.items, 5)
				start := time.Now()
				r := pack.Solve(p, size.steps)
				times = append(times, time.Since(start))
				if i < problems {
					gap = max(gap, r.Gap())
					if r.Proven {
						proven++
					}
				}
			}
			slices.Sort(times)
			b.ReportMetric(float64(times[len(times)/2].Microseconds())/1000, "ms/median")
			b.ReportMetric(float64(times[len(times)-1].Microseconds())/1000, "ms/most")
			b.ReportMetric(gap*100, "%gap")
			b.ReportMetric(float64(proven), "proven")
		})
	}
}
