package plan

import (
	"cmp"
	"math"
	"slices"
)

// goal is what a search makes least: the cost of the options chosen, and what
// limits that may be exceeded are exceeded by.
type goal struct {
	cost func(o *Option) float64
	// soft is, by resource and then by bank, what a unit beyond the limit costs;
	// 0: the limit holds, as all do where there is no soft.
	soft []float64
	// grain is what all values are multiples of; 0: of nothing.
	grain float64
	// ties is whether among equal values the headroom is asked for too.
	ties bool
}

// beyond is what a unit beyond a limit costs, +Inf where it holds.
func (g *goal) beyond(limit int) float64 {
	if g.soft == nil || g.soft[limit] == 0 {
		return math.Inf(1)
	}
	return g.soft[limit]
}

// flat is a model laid out for the search: options of all nodes in one row,
// limits of resources and then of banks in another. Resources that no choice
// could use up are left out. What an option uses of a bank is settled by where
// its buffers go.
type flat struct {
	m         *Model
	goal      goal
	resources []int       // of the rows before the banks
	stalled   int         // row that stalls are added to; -1: nothing that matters stalls
	first     []int       // option 0 of each node, and the number of all
	node      []int       // of each option
	base      []int       // option without the places that an option with them stands for
	modes     [][]int     // of each option without places, those with them; nil: too many
	cost      []float64   // of each option
	uses      [][]float64 // of each option, by row
	take      [][]float64 // of each option, by row: its use and that of copies with one place; no banks where it has no such copies
	loose     [][]buffer  // of each option: those with several places
	floor     [][]float64 // of each option, by row: its use with the least stall
	wait      []float64   // of each option: its least stall
	links     [][]int     // of each option
	charge    []int       // of each link: one for each node and charge that it may need
	buffers   [][]buffer  // of each option
	limit     []float64   // of each row
	soft      []float64   // of each row: what a unit beyond the limit costs, +Inf where it holds
	hard      []float64   // of each row: the limit, +Inf where it need not hold
	unit      []float64   // of each row: how far choices spread its use
	due       [][]float64 // use of each charge
	most      float64     // more than any choice costs
	slots     int         // copies of all options
}

// buffer is copies that may lie in the same places. Once its option is chosen
// each copy is decided like a node, with an option for each place.
type buffer struct {
	bytes, copies float64
	places        []place
	slot          int // of the first copy, among the copies of all options
	option        int // for the first place, among all options
}

// place is where a copy may lie: the row of a bank.
type place struct {
	row   int
	stall float64
}

func newFlat(m *Model, g goal) *flat {
	f := &flat{m: m, goal: g}
	f.stalled = -1
	for r, res := range m.Resources {
		if _, most := m.reach(r); most > res.Limit || !math.IsInf(g.beyond(r), 1) {
			if r == m.Stalled {
				f.stalled = len(f.resources)
			}
			f.resources = append(f.resources, r)
		}
	}
	links := map[[2]int]int{}
	banks := len(f.resources)
	for i := range m.Nodes {
		f.first = append(f.first, len(f.node))
		dearest := 0.0
		for k := range m.Nodes[i].Options {
			o := &m.Nodes[i].Options[k]
			f.base = append(f.base, len(f.node))
			f.node = append(f.node, i)
			f.cost = append(f.cost, g.cost(o))
			dearest = max(dearest, g.cost(o))
			use := make([]float64, len(f.resources))
			for row, r := range f.resources {
				use[row] = float64(o.Use[r])
			}
			f.uses = append(f.uses, use)
			var needs []int
			for _, c := range o.Charges {
				l, known := links[[2]int{i, c}]
				if !known {
					l = len(f.charge)
					links[[2]int{i, c}] = l
					f.charge = append(f.charge, c)
				}
				if !slices.Contains(needs, l) {
					needs = append(needs, l)
				}
			}
			f.links = append(f.links, needs)
			var buffers []buffer
			for _, b := range o.Buffers {
				if b.Copies == 0 {
					continue
				}
				flat := buffer{bytes: float64(b.Bytes), copies: float64(b.Copies)}
				for _, p := range b.Banks {
					if b.Bytes <= m.Banks[p.Bank].Capacity || !math.IsInf(g.beyond(len(m.Resources)+p.Bank), 1) {
						flat.places = append(flat.places, place{row: banks + p.Bank, stall: float64(p.Stall)})
					}
				}
				flat.slot = f.slots
				f.slots += b.Copies
				buffers = append(buffers, flat)
			}
			f.buffers = append(f.buffers, buffers)
		}
		f.most += dearest
	}
	f.first = append(f.first, len(f.node))
	f.layPlaces()
	f.layModes()
	f.takes()
	f.floors()
	for _, r := range f.resources {
		f.limit, f.soft = append(f.limit, float64(m.Resources[r].Limit)), append(f.soft, g.beyond(r))
	}
	for b, bank := range m.Banks {
		f.limit, f.soft = append(f.limit, float64(bank.Capacity)), append(f.soft, g.beyond(len(m.Resources)+b))
	}
	f.hard = slices.Clone(f.limit)
	for row, soft := range f.soft {
		if !math.IsInf(soft, 1) {
			f.hard[row] = math.Inf(1)
		}
	}
	for _, c := range m.Charges {
		due := make([]float64, len(f.resources))
		for row, r := range f.resources {
			due[row] = float64(c.Use[r])
		}
		f.due = append(f.due, due)
	}
	f.unit = f.spread()
	f.most += f.farthest() + 1
	return f
}

// option is the model's option of an index.
func (f *flat) option(o int) *Option {
	i := f.node[o]
	return &f.m.Nodes[i].Options[o-f.first[i]]
}

// layPlaces appends an option for each place of each buffer, which has the cost
// of a copy there.
func (f *flat) layPlaces() {
	for o := range f.first[len(f.first)-1] {
		for j := range f.buffers[o] {
			b := &f.buffers[o][j]
			b.option = len(f.node)
			for _, p := range b.places {
				f.add(o, []buffer{{bytes: b.bytes, copies: 1, places: []place{p}}})
				last := len(f.node) - 1
				f.cost[last], f.uses[last], f.links[last] = 0, nil, nil
			}
		}
	}
}

// add appends an option that stands for another with its buffers in given
// places.
func (f *flat) add(o int, buffers []buffer) {
	f.node = append(f.node, f.node[o])
	f.base = append(f.base, o)
	f.cost = append(f.cost, f.cost[o])
	f.uses = append(f.uses, f.uses[o])
	f.links = append(f.links, f.links[o])
	f.buffers = append(f.buffers, buffers)
}

// mostModes is how many ways to place its copies an option may have for each to
// be an option of its own: house judgement. Of others the copies are placed
// once they are chosen.
const mostModes = 16

// layModes appends an option for each way to place the copies of an option, so
// that what the bound rules out is not the option alone but each place of it.
func (f *flat) layModes() {
	options := f.first[len(f.first)-1]
	f.modes = make([][]int, options)
	for o := range options {
		ways := [][]buffer{nil}
		for _, b := range f.buffers[o] {
			for c := range int(b.copies) {
				var longer [][]buffer
				for _, way := range ways {
					for at, p := range b.places {
						// Copies of a buffer are alike: each lies where the one
						// before lies, or further on.
						if c > 0 && at < way[len(way)-1].option {
							continue
						}
						one := buffer{bytes: b.bytes, copies: 1, places: []place{p}, slot: b.slot + c, option: at}
						longer = append(longer, append(slices.Clone(way), one))
					}
				}
				if ways = longer; len(ways) > mostModes {
					break
				}
			}
			if len(ways) > mostModes {
				break
			}
		}
		if len(f.buffers[o]) == 0 || len(ways) > mostModes {
			continue
		}
		for _, way := range ways {
			f.modes[o] = append(f.modes[o], len(f.node))
			f.add(o, way)
		}
	}
}

// takes adds up what every option uses wherever its other copies lie.
func (f *flat) takes() {
	rows := len(f.resources) + len(f.m.Banks)
	for o, use := range f.uses {
		take := append(make([]float64, 0, rows), use...)
		take = take[:len(f.resources)]
		var loose []buffer
		for _, b := range f.buffers[o] {
			if len(b.places) != 1 {
				loose = append(loose, b)
				continue
			}
			take = take[:rows]
			take[b.places[0].row] += b.bytes * b.copies
			if f.stalled >= 0 {
				take[f.stalled] += b.places[0].stall * b.copies
			}
		}
		f.take, f.loose = append(f.take, take), append(f.loose, loose)
	}
}

// floors finds the least use of every option.
func (f *flat) floors() {
	for o, use := range f.uses {
		floor, wait := make([]float64, len(f.resources)), 0.0
		copy(floor, use)
		for _, b := range f.buffers[o] {
			if f.stalled >= 0 && len(b.places) > 0 {
				wait += b.copies * slices.MinFunc(b.places, func(p, q place) int { return cmp.Compare(p.stall, q.stall) }).stall
			}
		}
		if f.stalled >= 0 {
			floor[f.stalled] += wait
		}
		f.floor, f.wait = append(f.floor, floor), append(f.wait, wait)
	}
}

// spread is, for each row, the root of the sum of squares of how far the
// options of a node lie apart: the scale on which a price of the row works.
func (f *flat) spread() []float64 {
	unit := make([]float64, len(f.limit))
	banks := len(f.resources)
	for i := range f.m.Nodes {
		for r := range unit {
			least, most := math.Inf(1), math.Inf(-1)
			for o := f.first[i]; o < f.first[i+1]; o++ {
				low, high := 0.0, 0.0
				if r < banks {
					low, high = f.uses[o][r], f.uses[o][r]
				}
				for _, b := range f.buffers[o] {
					for _, p := range b.places {
						if p.row == r {
							high += b.bytes * b.copies
						}
						if r == f.stalled {
							high = max(high, low+p.stall*b.copies)
						}
					}
				}
				least, most = min(least, low), max(most, high)
			}
			unit[r] += (most - least) * (most - least)
		}
	}
	for r := range unit {
		unit[r] = max(1, math.Sqrt(unit[r]))
	}
	return unit
}

// farthest is more than what any choice exceeds soft limits by costs.
func (f *flat) farthest() float64 {
	sum := 0.0
	for row, soft := range f.soft {
		if math.IsInf(soft, 1) {
			continue
		}
		var most int64
		if row < len(f.resources) {
			_, most = f.m.reach(f.resources[row])
		} else {
			most = f.m.bytes()
		}
		sum += soft * max(0, float64(most)-f.limit[row])
	}
	return sum
}
