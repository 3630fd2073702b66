package plan

import (
	"math"

	"elbowroom/estimator/pack"
)

// place finds banks for all copies of the full choice, with least stall. It
// returns the bank of each copy in the order of nodes, buffers and copies, and
// false where no placement was found. A placement that is not proven stops the
// search, since nothing that follows from it would be.
func (s *search) place() (banks []int, stall int64, ok bool) {
	p := pack.Problem{Room: make([]int64, len(s.m.Banks))}
	for b, bank := range s.m.Banks {
		p.Room[b] = bank.Capacity
	}
	for i, k := range s.choice {
		for _, b := range s.m.Nodes[i].Options[k].Buffers {
			cost := make([]float64, len(s.m.Banks))
			for at := range cost {
				cost[at] = math.Inf(1)
			}
			for _, place := range b.Banks {
				cost[place.Bank] = min(cost[place.Bank], float64(place.Stall))
			}
			for range b.Copies {
				p.Items = append(p.Items, pack.Item{Bytes: b.Bytes, Cost: cost})
			}
		}
	}
	if len(p.Items) == 0 {
		return nil, 0, true
	}
	most := math.MaxInt
	if s.o.MaxSteps > 0 {
		most = int(s.o.MaxSteps - s.steps)
	}
	r := pack.Solve(&p, most)
	s.steps += int64(r.Steps)
	s.stopped = s.stopped || !r.Proven
	if r.Bank == nil {
		return nil, 0, false
	}
	return r.Bank, int64(math.Round(r.Cost)), true
}
