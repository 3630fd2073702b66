package plan_test

import (
	"context"
	"testing"

	"elbowroom/estimator/plan"
)

// With the limit that Move names something fits, and with one less nothing
// does: by trying everything.
func TestMove(t *testing.T) {
	for seed := range uint64(40) {
		m := generate(seed, 1+int(seed%5), 3, 2, 2, int(seed%3))
		m.Resources[0].Limit = 0
		limit, ok, err := plan.Move(context.Background(), m, 0, plan.Options{})
		if err != nil {
			t.Fatalf("model %d: %v", seed, err)
		}
		if !ok {
			m.Resources[0].Limit = 1 << 40
			if len(brute(m, 1)) > 0 {
				t.Errorf("model %d: Move says that no limit is enough, and a large one is", seed)
			}
			continue
		}
		m.Resources[0].Limit = limit
		if len(brute(m, 1)) == 0 {
			t.Errorf("model %d: nothing fits at the limit %d that Move names", seed, limit)
		}
		m.Resources[0].Limit = limit - 1
		if len(brute(m, 1)) > 0 {
			t.Errorf("model %d: something fits already at %d, below the %d that Move names", seed, limit-1, limit)
		}
	}
}
