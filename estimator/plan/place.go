package plan

import (
	"math"
	"slices"

	"elbowroom/estimator/pack"
)

// offer evaluates a choice of one option for every node with a row for each
// copy, keeps it where it is among the best, and tells whether it holds the
// limits.
func (s *search) offer(options, lies []int) bool {
	f := s.flat
	m := f.m
	p := found{Plan: Plan{Use: make([]int64, len(m.Resources)), Choice: make([]int, len(options)),
		Banks: make([][]int, len(m.Nodes)), Filled: make([]int64, len(m.Banks))}}
	charged := make([]bool, len(m.Charges))
	for i, o := range options {
		o = f.base[o]
		k := o - f.first[i]
		option := &m.Nodes[i].Options[k]
		p.Choice[i] = k
		p.Loss += option.Loss
		p.Changes += option.Changes
		p.value += f.cost[o]
		for r, u := range option.Use {
			p.Use[r] += u
		}
		for _, c := range option.Charges {
			if !charged[c] {
				charged[c] = true
				for r, u := range m.Charges[c].Use {
					p.Use[r] += u
				}
			}
		}
		for j := range f.buffers[o] {
			b := &f.buffers[o][j]
			for _, row := range lies[b.slot : b.slot+int(b.copies)] {
				at := slices.IndexFunc(b.places, func(p place) bool { return p.row == row })
				if stall := int64(b.places[at].stall); stall > 0 {
					p.Use[m.Stalled] += stall
				}
				bank := row - len(f.resources)
				p.Filled[bank] += int64(b.bytes)
				p.Banks[i] = append(p.Banks[i], bank)
			}
		}
	}
	for row, limit := range f.limit {
		var use int64
		if row < len(f.resources) {
			use = p.Use[f.resources[row]]
		} else {
			use = p.Filled[row-len(f.resources)]
		}
		if over := float64(use) - limit; over > 0 {
			if math.IsInf(f.soft[row], 1) {
				return false
			}
			p.value += f.soft[row] * over
		}
	}
	p.Headroom = m.headroom(p.Use)
	s.keep(&p)
	return true
}

// keep puts a plan among the best, in its order. Plans whose measures are equal
// otherwise stall least before their headroom is compared.
func (s *search) keep(p *found) {
	if len(s.best) == s.o.Plans && p.value > s.best[len(s.best)-1].value {
		return
	}
	for i := range s.best {
		q := &s.best[i]
		if slices.Equal(q.Choice, p.Choice) {
			if !s.flat.goal.ties && p.value < q.value {
				*q = *p
			}
			return
		}
		if s.flat.goal.ties && q.value == p.value {
			s.settle(q)
			s.settle(p)
		}
	}
	slices.SortFunc(s.best, func(a, b found) int { return s.compare(&a, &b) })
	at, _ := slices.BinarySearchFunc(s.best, p, func(a found, b *found) int { return s.compare(&a, b) })
	s.best = slices.Insert(s.best, at, *p)
	s.best = s.best[:min(len(s.best), s.o.Plans)]
}

// compare is the order of plans to the goal.
func (s *search) compare(a, b *found) int {
	if s.flat.goal.ties || a.value == b.value {
		return compare(&a.Plan, &b.Plan)
	}
	if a.value < b.value {
		return -1
	}
	return 1
}

// settle places the copies of a plan anew, with least stall. Where that is not
// proven within the steps the search is not.
func (s *search) settle(p *found) {
	m := s.flat.m
	if p.exact {
		return
	}
	p.exact = true
	problem := pack.Problem{}
	for _, bank := range m.Banks {
		problem.Room = append(problem.Room, bank.Capacity)
	}
	var now int64
	for i, k := range p.Choice {
		banks := p.Banks[i]
		for _, b := range m.Nodes[i].Options[k].Buffers {
			cost := make([]float64, len(m.Banks))
			for at := range cost {
				cost[at] = math.Inf(1)
			}
			for _, place := range b.Banks {
				cost[place.Bank] = min(cost[place.Bank], float64(place.Stall))
			}
			for range b.Copies {
				problem.Items = append(problem.Items, pack.Item{Bytes: b.Bytes, Cost: cost})
				now += int64(cost[banks[0]])
				banks = banks[1:]
			}
		}
	}
	if now == 0 {
		return
	}
	most := math.MaxInt
	if s.o.MaxSteps > 0 {
		most = int(max(0, s.o.MaxSteps-s.steps))
	}
	r := pack.Solve(&problem, most)
	s.steps += int64(r.Steps)
	s.stopped = s.stopped || !r.Proven
	stall := int64(math.Round(r.Cost))
	if r.Bank == nil || stall >= now {
		return
	}
	p.Use[m.Stalled] += stall - now
	p.Headroom = m.headroom(p.Use)
	clear(p.Filled)
	banks := r.Bank
	for i, k := range p.Choice {
		at := 0
		for _, b := range m.Nodes[i].Options[k].Buffers {
			for range b.Copies {
				p.Banks[i][at] = banks[0]
				p.Filled[banks[0]] += b.Bytes
				banks = banks[1:]
				at++
			}
		}
	}
}
