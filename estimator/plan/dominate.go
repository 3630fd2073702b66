package plan

import "slices"

// dominated is whether as many options of a node as plans are wanted are at
// least as good as one of them in every way, so that no best plan needs it:
// each takes its place in a plan that comes before.
func (s *search) dominated(o int) bool {
	f := s.flat
	i := f.node[o]
	better := 0
	for d := f.first[i]; d < f.first[i+1]; d++ {
		if d != o && f.dominates(d, o) {
			better++
		}
	}
	return better >= s.o.Plans
}

// dominates is whether option a costs and takes no more than option b.
func (f *flat) dominates(a, b int) bool {
	if f.cost[a] > f.cost[b] || f.cost[a] == f.cost[b] && a > b {
		return false
	}
	x, y := f.option(a), f.option(b)
	for r, u := range x.Use {
		if u > y.Use[r] {
			return false
		}
	}
	for _, l := range f.links[a] {
		if !slices.Contains(f.links[b], l) {
			return false
		}
	}
	if len(f.buffers[a]) == 0 {
		return true
	}
	if len(f.buffers[a]) != len(f.buffers[b]) {
		return false
	}
	for j := range f.buffers[a] {
		x, y := &f.buffers[a][j], &f.buffers[b][j]
		if x.bytes > y.bytes || x.copies > y.copies {
			return false
		}
		for _, p := range y.places {
			if !slices.ContainsFunc(x.places, func(q place) bool { return q.row == p.row && q.stall <= p.stall }) {
				return false
			}
		}
	}
	return true
}
