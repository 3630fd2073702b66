package ask

import "elbowroom/estimator"

// Cuts calls f with both sides of every cut of a graph over two boards that can
// be made, the one that it has no bounds for too.
func Cuts(e *estimator.Estimate, boards [2]string, f func(sides [2]Side, holds bool)) error {
	c, err := newCutter(e, boards)
	if err != nil {
		return err
	}
	for n := 1; n < 1<<len(c.units)-1; n++ {
		side := make([]int8, len(c.units))
		for u := range side {
			side[u] = int8(n >> u & 1)
		}
		possible := true
		for i := range c.signals {
			possible = possible && (c.signals[i].tied == "" || c.signals[i].cables(side) == 0)
		}
		if !possible {
			continue
		}
		if d := c.divide(cut{side: side}); d != nil {
			f(d.sides, d.holds)
		}
	}
	return nil
}
