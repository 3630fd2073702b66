package plan

import (
	"context"
	"slices"
	"sort"
)

// Move returns the smallest limit of resource r with which something fits, all
// other limits as they are; false where no limit of r alone is enough, or where
// a search of o.MaxSteps steps could not tell. It may be below the limit now.
func Move(ctx context.Context, m *Model, r int, o Options) (int64, bool, error) {
	if err := m.Check(); err != nil {
		return 0, false, err
	}
	moved := *m
	moved.Resources = slices.Clone(m.Resources)
	// No choice uses less than low, nor more than high.
	var low, high int64
	for _, n := range m.Nodes {
		least, most := n.Options[0].Use[r], n.Options[0].Use[r]
		for _, option := range n.Options {
			least = min(least, option.Use[r])
			use := option.Use[r]
			for _, b := range option.Buffers {
				var stall int64
				for _, p := range b.Banks {
					stall = max(stall, p.Stall)
				}
				if r == m.Stalled {
					use += stall * int64(b.Copies)
				}
			}
			most = max(most, use)
		}
		low, high = low+least, high+most
	}
	for _, c := range m.Charges {
		high += c.Use[r]
	}
	var failed error
	known := true
	fits := func(limit int64) bool {
		moved.Resources[r].Limit = limit
		found, err := Solve(ctx, &moved, Options{MaxSteps: o.MaxSteps, Progress: o.Progress})
		if err != nil {
			failed = err
		}
		if len(found.Plans) == 0 && !found.Proven {
			known = false
		}
		return len(found.Plans) > 0
	}
	if !fits(high) || failed != nil {
		return 0, false, failed
	}
	above := sort.Search(int(high-low), func(up int) bool { return fits(low + int64(up)) })
	return low + int64(above), known && failed == nil, failed
}
