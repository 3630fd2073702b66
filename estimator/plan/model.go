// Package plan finds what is the least to give up: for every node of a graph
// one of its alternatives, so that all limits hold and the loss is least. It
// knows nothing of audio; whoever builds the model does.
//
// Solve finds the best plans. Where nothing fits, Nearest finds the choice that
// misses by least, and Shifts what each limit alone would have to be. Trade
// finds how loss goes against one resource.
//
// All of them are the same search. Limits are what ties the nodes together; give
// every unit of every limit a price, forget the limits, and each node chooses for
// itself. What that costs, less what the limits are worth, no choice within the
// limits can undercut: it is the bound of Lagrangian relaxation (M. L. Fisher,
// Management Science 27, 1981; from memory). A charge that many nodes may need is
// shared out among them, and buffers go where they are cheapest, so that both
// have their part in the bound. Prices climb by subgradients: what is asked for
// beyond its limit gets dearer. At the root that takes some hundred rounds, and
// below a few, from the prices above. The same bound with losses left out tells
// at the root, most times, that nothing fits.
//
// The search is depth first. At every state it takes out each option that the
// bound rules out or that no limit leaves room for, then tries the option that
// prices came to most at the node where they hesitated most, with the places of
// its buffers; then it goes on without that option. An option that is no better
// than another of its node in any way is dropped beforehand, as for
// multiple-choice knapsacks (P. Sinha and A. Zoltners, Operations Research 27,
// 1979; from memory). The first plans come from the cheapest choices, made to fit
// and improved by single swaps and pairs of them. They are seldom among the best,
// and what is not ruled out by a good plan is many times as much; so the search
// goes down in dives, each for plans up to a cost a little above what is proven
// to be needed, and the next one farther where none was found.
//
// Work is counted in steps and never in time, so that the same model has the
// same answer.
package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// A Model is a choice of exactly one option for every node under limits that
// all nodes share.
type Model struct {
	Resources []Resource
	Banks     []Bank // at most 64
	Charges   []Charge
	Nodes     []Node
	// Stalled is the index of the resource that stalls of placed buffers are
	// added to, in its unit. It matters only where a buffer stalls.
	Stalled int
}

// A Resource adds up over the options chosen: cycles of the worst block, bytes
// of flash, jacks. Its use may reach Limit and no more.
type Resource struct {
	Name  string
	Limit int64
	// Whole is what its headroom is a share of, where Limit leaves a part out; 0:
	// Limit.
	Whole int64
	// Counted is whether it counts pieces, as jacks: nobody wants headroom of it.
	Counted bool
}

// whole is what its headroom is a share of.
func (r *Resource) whole() float64 { return float64(max(cmp.Or(r.Whole, r.Limit), 1)) }

// A Bank holds the buffers placed in it, up to Capacity bytes.
type Bank struct {
	Name     string
	Capacity int64
}

// A Charge is due once over the whole graph if any chosen option needs it: the
// code of a kernel, a library symbol, a table. Use is by resource, never
// negative.
type Charge struct {
	Name string
	Use  []int64
}

// A Node offers options that exclude each other; one of them is chosen. What
// is fixed in the graph is a node with a single option.
type Node struct {
	Name    string
	Options []Option
}

// An Option is one way to do a node's work.
type Option struct {
	Name string
	// Loss in thousandths of a point, 0 or more: whole, so that ties are exact.
	Loss int64
	// Changes to the graph that the option takes; 0 is as it stands.
	Changes int
	// Use is by resource; it may be negative.
	Use []int64
	// Charges are indices into Model.Charges.
	Charges []int
	Buffers []Buffer
}

// A Buffer is placed in Copies copies, each of them whole in one bank. Bytes,
// at least 1, are as the bank counts them, alignment included.
type Buffer struct {
	Name   string
	Bytes  int64
	Copies int
	// Banks that may hold a copy.
	Banks []Place
}

// A Place is a bank that may hold a copy, and what each copy in it adds to the
// stalled resource, 0 or more.
type Place struct {
	Bank  int
	Stall int64
}

// A Plan is one choice. Plans are ordered by least loss, then fewest changes,
// then most headroom, then the lower option at the first node that differs.
type Plan struct {
	// Choice is the chosen option of each node.
	Choice []int
	// Banks is, for each node, the bank of each copy of each buffer in turn.
	// Of all placements it is one with least stall, if the result is proven.
	Banks [][]int
	// Loss in thousandths of a point.
	Loss    int64
	Changes int
	// Use is by resource, charges and stalls included; Filled is by bank, in
	// bytes.
	Use, Filled []int64
	// Headroom is the smallest share that a resource has left. Banks have no part
	// in it, nor what is counted in pieces.
	Headroom float64
}

// mostBanks is what the placement of buffers takes.
const mostBanks = 64

// Check returns an error where the model contradicts its own description.
func (m *Model) Check() error {
	if len(m.Banks) > mostBanks {
		return fmt.Errorf("there are %d banks, and at most %d are placed in", len(m.Banks), mostBanks)
	}
	for _, c := range m.Charges {
		if len(c.Use) != len(m.Resources) {
			return fmt.Errorf("charge %s states %d uses for %d resources", c.Name, len(c.Use), len(m.Resources))
		}
		if slices.ContainsFunc(c.Use, func(u int64) bool { return u < 0 }) {
			return fmt.Errorf("charge %s has a negative use", c.Name)
		}
	}
	for _, n := range m.Nodes {
		if len(n.Options) == 0 {
			return fmt.Errorf("node %s has no option", n.Name)
		}
		for _, o := range n.Options {
			if err := m.checkOption(&o); err != nil {
				return fmt.Errorf("node %s, option %s: %w", n.Name, o.Name, err)
			}
		}
	}
	return nil
}

func (m *Model) checkOption(o *Option) error {
	if len(o.Use) != len(m.Resources) {
		return fmt.Errorf("it states %d uses for %d resources", len(o.Use), len(m.Resources))
	}
	if o.Loss < 0 || o.Changes < 0 {
		return fmt.Errorf("its loss is %d and its changes are %d, and neither may be negative", o.Loss, o.Changes)
	}
	for _, c := range o.Charges {
		if c < 0 || c >= len(m.Charges) {
			return fmt.Errorf("charge %d does not exist, there are %d", c, len(m.Charges))
		}
	}
	for _, b := range o.Buffers {
		if b.Bytes < 1 || b.Copies < 0 {
			return fmt.Errorf("buffer %s has %d bytes in %d copies", b.Name, b.Bytes, b.Copies)
		}
		for _, p := range b.Banks {
			if p.Bank < 0 || p.Bank >= len(m.Banks) {
				return fmt.Errorf("buffer %s: bank %d does not exist, there are %d", b.Name, p.Bank, len(m.Banks))
			}
			if p.Stall < 0 {
				return fmt.Errorf("buffer %s: stall %d is negative", b.Name, p.Stall)
			}
			if p.Stall > 0 && (m.Stalled < 0 || m.Stalled >= len(m.Resources)) {
				return fmt.Errorf("buffer %s stalls, and resource %d to add it to does not exist", b.Name, m.Stalled)
			}
		}
	}
	return nil
}

// headroom is the smallest share that a resource has left; below 0 where a limit
// is exceeded, 1 where there is none.
func (m *Model) headroom(use []int64) float64 {
	least := 1.0
	for i, u := range use {
		if r := &m.Resources[i]; !r.Counted {
			least = min(least, float64(r.Limit-u)/r.whole())
		}
	}
	return least
}

// reach is no more than the least that any choice uses of a resource, and no
// less than the most.
func (m *Model) reach(r int) (least, most int64) {
	for _, n := range m.Nodes {
		low, high := int64(math.MaxInt64), int64(math.MinInt64)
		for _, o := range n.Options {
			use := o.Use[r]
			low = min(low, use)
			if r == m.Stalled {
				for _, b := range o.Buffers {
					var stall int64
					for _, p := range b.Banks {
						stall = max(stall, p.Stall)
					}
					use += stall * int64(b.Copies)
				}
			}
			high = max(high, use)
		}
		least, most = least+low, most+high
	}
	for _, c := range m.Charges {
		most += c.Use[r]
	}
	return least, most
}

// bytes is no less than what the copies of any choice fill.
func (m *Model) bytes() int64 {
	var sum int64
	for _, n := range m.Nodes {
		var most int64
		for _, o := range n.Options {
			most = max(most, o.bytes())
		}
		sum += most
	}
	return sum
}

// bytes is what the copies of an option fill.
func (o *Option) bytes() int64 {
	var sum int64
	for _, b := range o.Buffers {
		sum += b.Bytes * int64(b.Copies)
	}
	return sum
}
