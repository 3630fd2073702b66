package pack_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"elbowroom/estimator/pack"
)

// plenty is more steps than any of the small problems takes.
const plenty = 1_000_000

func size(i *pack.Item) int64 {
	align := max(i.Align, 1)
	return (i.Bytes + align - 1) / align * align
}

// taken lists the rooms that an item in a bank takes from: the bank's, then
// those that it shares, which stand behind the banks.
func taken(p *pack.Problem, bank int) []int {
	rooms := []int{bank}
	for i, s := range p.Shared {
		if slices.Contains(s.Banks, bank) {
			rooms = append(rooms, len(p.Room)+i)
		}
	}
	return rooms
}

// takes is what an item takes of a room.
func takes(p *pack.Problem, item, room int) int64 {
	if shared := room - len(p.Room); shared >= 0 && p.Shared[shared].Takes != nil {
		return p.Shared[shared].Takes[item]
	}
	return size(&p.Items[item])
}

func rooms(p *pack.Problem) []int64 {
	all := slices.Clone(p.Room)
	for _, s := range p.Shared {
		all = append(all, s.Room)
	}
	return all
}

// exhaust is the cost of the best of all placements; +Inf: there is none.
func exhaust(p *pack.Problem) float64 {
	left := rooms(p)
	best := math.Inf(1)
	var try func(i int, cost float64)
	try = func(i int, cost float64) {
		if i == len(p.Items) {
			best = min(best, cost)
			return
		}
		item := &p.Items[i]
		for b, c := range item.Cost {
			fits := !math.IsInf(c, 1)
			for _, r := range taken(p, b) {
				fits = fits && left[r] >= takes(p, i, r)
			}
			if !fits {
				continue
			}
			for _, r := range taken(p, b) {
				left[r] -= takes(p, i, r)
			}
			try(i+1, cost+c)
			for _, r := range taken(p, b) {
				left[r] += takes(p, i, r)
			}
		}
	}
	try(0, 0)
	return best
}

// held finds anything wrong with a placement: what it says of itself, and
// whether an address map of it can be drawn.
func held(p *pack.Problem, r *pack.Result) error {
	if len(r.Bank) != len(p.Items) {
		return fmt.Errorf("%d banks are named for %d items", len(r.Bank), len(p.Items))
	}
	left := rooms(p)
	cost := 0.0
	for i, b := range r.Bank {
		if math.IsInf(p.Items[i].Cost[b], 1) {
			return fmt.Errorf("item %d lies in bank %d, where it may not", i, b)
		}
		for _, room := range taken(p, b) {
			left[room] -= takes(p, i, room)
		}
		cost += p.Items[i].Cost[b]
	}
	for i, l := range left {
		if l < 0 {
			return fmt.Errorf("room %d of %v is overfull by %d bytes", i, rooms(p), -l)
		}
	}
	if !alike(cost, r.Cost) {
		return fmt.Errorf("the placement costs %g, and %g is told", cost, r.Cost)
	}
	if r.Bound > r.Cost+1e-9*r.Cost {
		return fmt.Errorf("every placement is told to cost at least %g, and this one costs %g", r.Bound, r.Cost)
	}
	// From the coarsest alignment to the finest, each begins where it must.
	for b := range p.Room {
		var here []*pack.Item
		for i := range p.Items {
			if r.Bank[i] == b {
				here = append(here, &p.Items[i])
			}
		}
		slices.SortStableFunc(here, func(a, b *pack.Item) int { return int(b.Align - a.Align) })
		end := int64(0)
		for _, item := range here {
			align := max(item.Align, 1)
			end = (end+align-1)/align*align + item.Bytes
		}
		if end > p.Room[b] {
			return fmt.Errorf("the address map of bank %d ends after %d bytes, and there are %d", b, end, p.Room[b])
		}
	}
	return nil
}

func alike(a, b float64) bool { return math.Abs(a-b) <= 1e-9*max(1, math.Abs(a), math.Abs(b)) }

// drawProblem draws a problem small enough to try every placement: with items
// that are alike, banks that some may not use, and now and then a shared room.
func drawProblem(t *rapid.T) *pack.Problem {
	banks := rapid.IntRange(1, 4).Draw(t, "banks")
	p := &pack.Problem{}
	total := int64(0)
	for range rapid.IntRange(0, 6).Draw(t, "items") {
		item := pack.Item{Bytes: rapid.Int64Range(1, 60).Draw(t, "bytes"), Align: rapid.SampledFrom([]int64{0, 1, 4, 8}).Draw(t, "align")}
		for range banks {
			c := float64(rapid.IntRange(0, 12).Draw(t, "cost"))
			if c == 12 {
				c = math.Inf(1)
			}
			item.Cost = append(item.Cost, c)
		}
		for range rapid.SampledFrom([]int{1, 1, 1, 2}).Draw(t, "alike") {
			p.Items = append(p.Items, item)
			total += size(&item)
		}
	}
	for range banks {
		p.Room = append(p.Room, rapid.Int64Range(0, total).Draw(t, "room"))
	}
	if rapid.Bool().Draw(t, "shares") {
		banks := rapid.SliceOfNDistinct(rapid.IntRange(0, banks-1), 1, banks, rapid.ID).Draw(t, "sharing")
		shared := pack.Shared{Banks: banks, Room: rapid.Int64Range(0, total).Draw(t, "shared room")}
		if rapid.Bool().Draw(t, "its own measure") {
			shared.Takes = make([]int64, len(p.Items))
			for i := range shared.Takes {
				shared.Takes[i] = rapid.Int64Range(0, 40).Draw(t, "takes")
			}
		}
		p.Shared = []pack.Shared{shared}
	}
	return p
}

// The best of all placements is found, and where there is none it says so.
func TestSolveAgainstExhaustion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		want := exhaust(p)
		r := pack.Solve(p, plenty)
		if !r.Proven {
			t.Fatalf("nothing is proven after %d steps", r.Steps)
		}
		if math.IsInf(want, 1) {
			if r.Bank != nil || !math.IsInf(r.Cost, 1) || !math.IsInf(r.Bound, 1) {
				t.Fatalf("there is no placement, and %v at %g, bound %g, is given", r.Bank, r.Cost, r.Bound)
			}
			return
		}
		if !alike(r.Cost, want) {
			t.Fatalf("the best placement costs %g, and %g is given", want, r.Cost)
		}
		if err := held(p, &r); err != nil {
			t.Fatal(err)
		}
	})
}

// However few the steps, what is said holds: a placement is one, its bound is
// one, nothing is proven that is not so, and saying it again says the same.
func TestFewSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		want := exhaust(p)
		steps := rapid.IntRange(0, 200).Draw(t, "steps")
		r := pack.Solve(p, steps)
		if again := pack.Solve(p, steps); !reflect.DeepEqual(r, again) {
			t.Fatalf("%d steps give %+v and then %+v", steps, r, again)
		}
		if r.Bound > want && !alike(r.Bound, want) {
			t.Fatalf("%d steps give the bound %g, and there is a placement for %g", steps, r.Bound, want)
		}
		if r.Bank == nil {
			if r.Proven && !math.IsInf(want, 1) {
				t.Fatalf("%d steps find it proven that there is no placement, and there is one for %g", steps, want)
			}
			return
		}
		if r.Proven && !alike(r.Cost, want) {
			t.Fatalf("%d steps find %g proven, and there is a placement for %g", steps, r.Cost, want)
		}
		if err := held(p, &r); err != nil {
			t.Fatal(err)
		}
	})
}

// An item lies in the first bank that costs it as much and has room.
func TestTies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		r := pack.Solve(p, plenty)
		left := rooms(p)
		for i, b := range r.Bank {
			for _, room := range taken(p, b) {
				left[room] -= takes(p, i, room)
			}
		}
		for i, b := range r.Bank {
			for earlier := range b {
				fits := p.Items[i].Cost[earlier] == p.Items[i].Cost[b]
				for _, room := range taken(p, earlier) {
					has := left[room]
					if slices.Contains(taken(p, b), room) {
						has += takes(p, i, room)
					}
					fits = fits && has >= takes(p, i, room)
				}
				if fits {
					t.Fatalf("item %d lies in bank %d, and bank %d costs it as much and has room", i, b, earlier)
				}
			}
		}
	})
}

// Sixteen voices of four lines each, all alike, over two banks that hold them
// only just: tried one for another they would be 10^18 placements and more.
func TestAlikeItems(t *testing.T) {
	p := &pack.Problem{Room: []int64{40 * 1000, 24*1000 + 999}}
	for i := range 64 {
		p.Items = append(p.Items, pack.Item{Bytes: 1000, Cost: []float64{1, float64(2 + i%4)}})
	}
	r := pack.Solve(p, 10_000)
	// The 24 that lie in the second bank are of those that cost 2 and 3 there:
	// 40 x 1 + 16 x 2 + 8 x 3 = 96.
	if r.Cost != 96 || !r.Proven {
		t.Errorf("the 64 lines lie at %g, proven %v, after %d steps, and by hand they cost 96", r.Cost, r.Proven, r.Steps)
	}
}
