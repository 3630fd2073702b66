package plan

import "math"

// root is the state in which nothing is decided.
func (s *search) root() *state {
	st := s.flat.newState()
	for i := range s.flat.m.Nodes {
		from := len(st.alive)
		for o := s.flat.first[i]; o < s.flat.first[i+1]; o++ {
			if !s.flat.placeable(o) || s.dominated(o) {
				continue
			}
			if modes := s.flat.modes[o]; modes != nil {
				st.alive = append(st.alive, modes...)
			} else {
				st.alive = append(st.alive, o)
			}
		}
		st.groups = append(st.groups, group{node: i, from: from, to: len(st.alive)})
	}
	return st
}

// run searches the whole model.
func (s *search) run() {
	st := s.root()
	s.stack = []*state{st}
	if !s.tighten(st) {
		return
	}
	if !s.start(st) {
		if s.stopped {
			s.open = min(s.open, st.bound)
		}
		return
	}
	if len(s.best) > 0 || s.flat.goal.soft != nil || !s.forbidden() {
		s.deepen(st)
	}
}

// forbidden is whether some weights of the limits prove already that no choice
// holds them all: what every choice exceeds them by, so weighed, is more than
// nothing.
func (s *search) forbidden() bool {
	m := s.flat.m
	g := goal{cost: func(*Option) float64 { return 0 }}
	for _, r := range m.Resources {
		g.soft = append(g.soft, 1/float64(max(r.Limit, 1)))
	}
	for _, b := range m.Banks {
		g.soft = append(g.soft, 1/float64(max(b.Capacity, 1)))
	}
	o := s.o
	if o.MaxSteps > 0 {
		o.MaxSteps = max(1, o.MaxSteps-s.steps)
	}
	over := newSearch(s.ctx, m, o, g)
	st := over.root()
	over.climb(st, rootClimb, nil)
	s.steps += over.steps
	return st.bound > over.rounding()
}

// How far beyond the bound the first dive looks, as a share of the way to the
// plan known or to the dearest choice, and how much farther each does than the
// one before. All are house judgement, from the benchmarks.
const (
	nearPlan  = 0.2
	nearMost  = 0.01
	fartherBy = 1.6
)

// deepen searches below the root in dives, each for plans up to a cost. Good
// plans are hard to come by, and without one little is ruled out; a dive rules
// out as much as if the plan were known, and if it finds none, none is there.
// The last dive, the costly one, then hardly goes beyond what must be searched
// to prove the best plan.
func (s *search) deepen(root *state) {
	reach := nearMost * (s.flat.most - root.bound)
	if len(s.best) == s.o.Plans {
		reach = nearPlan * (s.worth() - root.bound)
	}
	reach = max(reach, s.flat.goal.grain)
	proven := root.bound
	first := s.flat.newState()
	first.copyFrom(root)
	for {
		s.cutoff = first.bound + reach
		if last := s.worth(); s.cutoff >= last {
			s.cutoff = math.Inf(1)
		}
		root.copyFrom(first)
		s.descend(0)
		switch {
		case s.stopped:
			s.open = max(proven, min(s.open, s.cutoff))
			return
		case s.worth() <= s.cutoff:
			return
		}
		proven = s.cutoff
		reach *= fartherBy
	}
}

// worth is the value that a plan must not exceed to be among the best.
func (s *search) worth() float64 {
	if len(s.best) < s.o.Plans {
		return s.flat.most
	}
	return s.best[len(s.best)-1].value
}
