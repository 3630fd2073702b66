package plan

import "math"

// dualRounds is how often the prices are adjusted: house judgement, they
// hardly move any more after that.
const dualRounds = 400

// dual is a lower bound on loss that prices each resource instead of limiting
// it: with prices of 0 or more, the least of loss plus priced use over all
// choices, less the priced limits, is never above the least loss that fits.
// Charges and stalls only add to use, so leaving them out keeps it below.
type dual struct {
	price []float64
	rest  []float64 // least priced loss of the nodes from i on
	limit float64   // priced limits
	slack float64   // more than rounding can amount to
}

// newDual climbs towards the best prices by subgradients: the price of what is
// used beyond its limit rises, that of what is left over falls.
func newDual(m *Model) *dual {
	d := &dual{price: make([]float64, len(m.Resources)), rest: make([]float64, len(m.Nodes)+1)}
	price, excess := make([]float64, len(m.Resources)), make([]float64, len(m.Resources))
	best, scale := math.Inf(-1), 1.0
	var spread float64
	for _, n := range m.Nodes {
		var most int64
		for _, o := range n.Options {
			most = max(most, o.Loss)
		}
		spread += float64(most)
	}
	for range dualRounds {
		var value float64
		for r, res := range m.Resources {
			value -= price[r] * float64(res.Limit)
			excess[r] = -float64(res.Limit)
		}
		for i := range m.Nodes {
			least, at := math.Inf(1), 0
			for k := range m.Nodes[i].Options {
				if v := priced(price, &m.Nodes[i].Options[k]); v < least {
					least, at = v, k
				}
			}
			value += least
			for r, u := range m.Nodes[i].Options[at].Use {
				excess[r] += float64(u)
			}
		}
		if value > best {
			best = value
			copy(d.price, price)
		} else {
			scale *= 0.97
		}
		for r, res := range m.Resources {
			unit := float64(max(res.Limit, 1))
			price[r] = max(0, price[r]+scale*spread*excess[r]/(unit*unit))
		}
	}
	for i := len(m.Nodes) - 1; i >= 0; i-- {
		least := math.Inf(1)
		for k := range m.Nodes[i].Options {
			v := priced(d.price, &m.Nodes[i].Options[k])
			least = min(least, v)
			d.slack += math.Abs(v) * 1e-9
		}
		d.rest[i] = d.rest[i+1] + least
	}
	for r, res := range m.Resources {
		d.limit += d.price[r] * float64(res.Limit)
	}
	d.slack += math.Abs(d.limit)*1e-9 + 1e-6
	return d
}

// priced is the loss of an option and what its use costs at the prices.
func priced(price []float64, o *Option) float64 {
	v := float64(o.Loss)
	for r, u := range o.Use {
		v += price[r] * float64(u)
	}
	return v
}

// bound is the least whole loss of any completion from node i on, given loss
// and use so far.
func (d *dual) bound(i int, loss int64, use []int64) int64 {
	v := float64(loss) + d.rest[i] - d.limit
	for r, u := range use {
		v += d.price[r] * float64(u)
	}
	return int64(math.Ceil(v - d.slack))
}
