package plan

import (
	"math"
	"slices"
)

// place finds banks for all copies of the full choice, with least stall. It
// returns the bank of each copy in the order of nodes, buffers and copies, and
// false where no placement was found.
func (s *search) place() (banks []int, stall int64, ok bool) {
	var copies []Buffer
	for i, k := range s.choice {
		for _, b := range s.m.Nodes[i].Options[k].Buffers {
			for range b.Copies {
				copies = append(copies, b)
			}
		}
	}
	// The largest first: they leave the fewest ways.
	order := make([]int, len(copies))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(copies[b].Bytes - copies[a].Bytes) })
	least := make([]int64, len(copies)+1) // least stall of the copies from i on
	for i := len(copies) - 1; i >= 0; i-- {
		one := int64(math.MaxInt64)
		for _, p := range copies[order[i]].Banks {
			one = min(one, p.Stall)
		}
		if one == math.MaxInt64 {
			return nil, 0, false
		}
		least[i] = least[i+1] + one
	}
	free := make([]int64, len(s.m.Banks))
	for b, bank := range s.m.Banks {
		free[b] = bank.Capacity
	}
	now, best := make([]int, len(copies)), int64(math.MaxInt64)
	var put func(i int, stalled int64)
	put = func(i int, stalled int64) {
		if stalled+least[i] >= best {
			return
		}
		if i == len(copies) {
			best, banks = stalled, slices.Clone(now)
			return
		}
		b := copies[order[i]]
		for _, p := range b.Banks {
			if b.Bytes > free[p.Bank] {
				continue
			}
			if !s.step() {
				return
			}
			free[p.Bank] -= b.Bytes
			now[order[i]] = p.Bank
			put(i+1, stalled+p.Stall)
			free[p.Bank] += b.Bytes
		}
	}
	put(0, 0)
	return banks, best, best < math.MaxInt64
}
