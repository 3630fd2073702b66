package plan

import (
	"math"
	"slices"

	"elbowroom/estimator/pack"
)

// offer evaluates a choice of one option for every node with a row for each
// copy and keeps it where it is among the best. It is false where the choice
// exceeds a limit, and where it costs more than the best, so that its limits were
// not looked at.
func (s *search) offer(options, lies []int) bool {
	f := s.flat
	m := f.m
	s.steps += int64(len(options))
	p := &s.offered
	*p = found{Plan: Plan{Use: p.Use, Choice: p.Choice, Filled: p.Filled}}
	for i, o := range options {
		o = f.base[o]
		p.Choice[i] = o - f.first[i]
		p.value += f.cost[o]
	}
	if len(s.best) == s.o.Plans && p.value > s.best[len(s.best)-1].value {
		return false
	}
	known := slices.IndexFunc(s.best, func(q found) bool { return slices.Equal(q.Choice, p.Choice) })
	if known >= 0 && f.goal.ties {
		return true // it stalls least in the end, wherever its copies lie
	}
	clear(p.Use)
	clear(p.Filled)
	clear(s.charged)
	for i, k := range p.Choice {
		option := &m.Nodes[i].Options[k]
		p.Loss += option.Loss
		p.Changes += option.Changes
		for r, u := range option.Use {
			p.Use[r] += u
		}
		for _, c := range option.Charges {
			if !s.charged[c] {
				s.charged[c] = true
				for r, u := range m.Charges[c].Use {
					p.Use[r] += u
				}
			}
		}
		for j := range f.buffers[f.first[i]+k] {
			b := &f.buffers[f.first[i]+k][j]
			for _, row := range lies[b.slot : b.slot+int(b.copies)] {
				at := slices.IndexFunc(b.places, func(p place) bool { return p.row == row })
				p.stall += int64(b.places[at].stall)
				p.Filled[row-len(f.resources)] += int64(b.bytes)
			}
		}
	}
	if p.stall > 0 {
		p.Use[m.Stalled] += p.stall
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
	if known >= 0 {
		if q := &s.best[known]; p.value < q.value {
			*q = s.copied(p, lies)
		}
		return true
	}
	s.keep(p, lies)
	return true
}

// keep puts a copy of a new plan among the best, in its order. Plans whose measures
// are equal otherwise stall least before their headroom is compared.
func (s *search) keep(p *found, lies []int) {
	full := len(s.best) == s.o.Plans
	if full && p.value > s.best[len(s.best)-1].value {
		return
	}
	if full && s.flat.goal.ties {
		// At best nothing of it stalls.
		headroom := p.Headroom
		p.Headroom = s.headroomAtBest(p)
		if s.compare(p, &s.best[len(s.best)-1]) > 0 {
			return
		}
		p.Headroom = headroom
	}
	c := s.copied(p, lies)
	for i := range s.best {
		if q := &s.best[i]; s.flat.goal.ties && q.value == c.value {
			s.settleWhereItCounts(q)
			s.settleWhereItCounts(&c)
		}
	}
	slices.SortFunc(s.best, func(a, b found) int { return s.compare(&a, &b) })
	at, _ := slices.BinarySearchFunc(s.best, &c, func(a found, b *found) int { return s.compare(&a, b) })
	s.best = slices.Insert(s.best, at, c)
	s.best = s.best[:min(len(s.best), s.o.Plans)]
}

// copied is a plan with memory of its own, and where its copies lie.
func (s *search) copied(p *found, lies []int) found {
	f := s.flat
	c := *p
	c.Choice, c.Use, c.Filled = slices.Clone(p.Choice), slices.Clone(p.Use), slices.Clone(p.Filled)
	c.Banks = make([][]int, len(c.Choice))
	for i, k := range c.Choice {
		for _, b := range f.buffers[f.first[i]+k] {
			for _, row := range lies[b.slot : b.slot+int(b.copies)] {
				c.Banks[i] = append(c.Banks[i], row-len(f.resources))
			}
		}
	}
	return c
}

// headroomAtBest is the headroom of a plan if none of its copies stalled.
func (s *search) headroomAtBest(p *found) float64 {
	if p.stall == 0 {
		return p.Headroom
	}
	m := s.flat.m
	p.Use[m.Stalled] -= p.stall
	defer func() { p.Use[m.Stalled] += p.stall }()
	return m.headroom(p.Use)
}

// settleWhereItCounts settles a plan whose headroom could be more.
func (s *search) settleWhereItCounts(p *found) {
	if s.headroomAtBest(p) > p.Headroom {
		s.settle(p)
	}
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
	if p.stall == 0 {
		return
	}
	problem := pack.Problem{}
	for _, bank := range m.Banks {
		problem.Room = append(problem.Room, bank.Capacity)
	}
	for i, k := range p.Choice {
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
			}
		}
	}
	most := math.MaxInt
	if s.o.MaxSteps > 0 {
		most = int(max(0, s.o.MaxSteps-s.steps))
	}
	r := pack.Solve(&problem, most)
	s.steps += int64(r.Steps)
	s.stopped = s.stopped || !r.Proven
	stall := int64(math.Round(r.Cost))
	if r.Bank == nil || stall >= p.stall {
		return
	}
	p.Use[m.Stalled] += stall - p.stall
	p.stall = stall
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
