package plan_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"elbowroom/estimator/plan"
)

// shape is what sort of model to make.
type shape struct {
	nodes, options, resources, banks int
	// binding resources are cut: to a little over half of what lies between the
	// least and the usual use. The others have room for twice the usual.
	binding int
	// room of all banks together, as a share of the buffers of the graph as it
	// stands, besides a far bank that holds everything where there are two or
	// more.
	room float64
	// related options are as a catalog has them: the lighter in one resource the
	// lighter in most others, the heavier the loss, and buffers shrink with them.
	// If not, every figure is drawn by itself.
	related bool
}

// model is the model of a shape and a seed. Resource 0 is the one that stalls
// are added to.
func (s shape) model(seed uint64) *plan.Model {
	rnd := rand.New(rand.NewPCG(seed, 1))
	m := &plan.Model{}
	for r := range s.resources {
		m.Resources = append(m.Resources, plan.Resource{Name: fmt.Sprint("resource", r)})
	}
	for c := range s.nodes/3 + 1 {
		charge := plan.Charge{Name: fmt.Sprint("charge", c), Use: make([]int64, s.resources)}
		// Code is due in one resource only: flash.
		if s.resources > 1 {
			charge.Use[1] = int64(rnd.IntN(600))
		} else if !s.related {
			charge.Use[0] = int64(rnd.IntN(100))
		}
		m.Charges = append(m.Charges, charge)
	}
	var bytes int64
	for n := range s.nodes {
		node := plan.Node{Name: fmt.Sprint("node", n)}
		size := math.Pow(20, rnd.Float64()) // how heavy the node is
		placed, ear := s.banks > 0 && rnd.IntN(3) == 0, 0.5+rnd.Float64()
		line := int64(256 * math.Pow(256, rnd.Float64()))
		copies := 1 + rnd.IntN(8)/6
		own := make([]int, s.options) // charge of each option
		for k := range own {
			own[k] = rnd.IntN(len(m.Charges))
		}
		for k := range s.options {
			share := math.Pow(0.75, float64(k)) // of the weight that is left
			o := plan.Option{Name: fmt.Sprint("option", k)}
			for range s.resources {
				if s.related {
					o.Use = append(o.Use, int64(100*size*share*(0.8+0.4*rnd.Float64())))
				} else {
					o.Use = append(o.Use, int64(rnd.IntN(1000)))
				}
			}
			if k > 0 {
				o.Changes = 1
				o.Loss = int64(rnd.IntN(60_000))
				if s.related {
					o.Loss = int64(20_000 * ear * (1 - share) * math.Sqrt(size) * (0.7 + 0.6*rnd.Float64()))
				}
			}
			if rnd.IntN(2) == 0 {
				o.Charges = append(o.Charges, own[k])
			}
			if placed {
				b := plan.Buffer{Name: "line", Bytes: line, Copies: copies}
				if s.related {
					b.Bytes = max(4, int64(float64(line)*share)/4*4)
				} else {
					b.Bytes = int64(256 * math.Pow(256, rnd.Float64()))
				}
				slow := int64(20 + rnd.IntN(100))
				for at := range s.banks {
					if at == 0 || at == s.banks-1 || rnd.IntN(6) > 0 {
						b.Banks = append(b.Banks, plan.Place{Bank: at, Stall: int64(at*at) * slow})
					}
				}
				if k == 0 {
					bytes += b.Bytes * int64(b.Copies)
				}
				o.Buffers = append(o.Buffers, b)
			}
			node.Options = append(node.Options, o)
		}
		m.Nodes = append(m.Nodes, node)
	}
	for b := range s.banks {
		room := s.room * float64(bytes) / float64(max(s.banks-1, 1))
		if b > 0 && b == s.banks-1 {
			room = float64(bytes)
		}
		m.Banks = append(m.Banks, plan.Bank{Name: fmt.Sprint("bank", b), Capacity: int64(room)})
	}
	for r := range m.Resources {
		usual, least := bounds(m, r)
		m.Resources[r].Limit = 2 * usual
		if r < s.binding {
			m.Resources[r].Limit = least + (usual-least)*58/100
		}
	}
	return m
}

// bounds is what the graph as it stands uses of a resource without stalls, and
// what is the least that any choice uses without charges.
func bounds(m *plan.Model, r int) (usual, least int64) {
	charged := map[int]bool{}
	for _, n := range m.Nodes {
		one := n.Options[0].Use[r]
		usual += one
		for _, o := range n.Options {
			one = min(one, o.Use[r])
		}
		least += one
		for _, c := range n.Options[0].Charges {
			if !charged[c] {
				charged[c] = true
				usual += m.Charges[c].Use[r]
			}
		}
	}
	return usual, least
}
