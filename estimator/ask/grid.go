package ask

import (
	"math"
	"strconv"

	"elbowroom/blocks"
)

// grid is the values a dial can be set to, one natural step apart: 1 of a
// count, a byte or a cycle, one sample of a time, and else the fourth
// significant figure. Steps are counted from zero.
type grid struct {
	unit blocks.Unit
	rate blocks.Hertz // of times
}

// A decade has so many steps where a step is the fourth significant figure.
const (
	figures   = 4
	decade    = 9000
	leastStep = 1000
	// leastPower is where values end and zero begins: 1e-12, less than any
	// parameter of the catalog tells apart.
	leastPower = -12
)

// slack forgives what rounding leaves of a value that lies on a step.
const slack = 1e-9

func (d *Dial) grid() grid { return grid{d.Unit, d.rate} }

// ends are the lowest and the highest step of a dial's range. The two ends of a
// span do not meet.
func (d *Dial) ends() (low, high int) {
	g := d.grid()
	low, high = g.ceil(d.Range.Low), g.floor(d.Range.High)
	if d.End == Far && g.value(low) <= d.other {
		low++
	}
	if d.End == Near && g.value(high) >= d.other {
		high--
	}
	return low, high
}

// value is the value at a step.
func (g grid) value(step int) float64 {
	switch g.unit {
	case blocks.UnitCount, blocks.UnitBytes, blocks.UnitCycles:
		return float64(step)
	case blocks.UnitTime:
		return float64(step) / float64(g.rate)
	}
	if step == 0 {
		return 0
	}
	if step < 0 {
		return -g.value(-step)
	}
	power, mantissa := (step-1)/decade+leastPower, (step-1)%decade+leastStep
	// Read as decimals, so that the value is the one its text stands for.
	v, _ := strconv.ParseFloat(strconv.Itoa(mantissa)+"e"+strconv.Itoa(power-figures+1), 64)
	return v
}

// floor and ceil are the nearest steps at or below, and at or above, a value.
func (g grid) floor(v float64) int {
	switch g.unit {
	case blocks.UnitCount, blocks.UnitBytes, blocks.UnitCycles:
		return int(math.Floor(v + slack))
	case blocks.UnitTime:
		samples := v * float64(g.rate)
		return int(math.Floor(samples + slack*math.Max(1, samples)))
	}
	if v < 0 {
		return -g.ceil(-v)
	}
	return g.step(v, math.Floor, slack)
}

func (g grid) ceil(v float64) int {
	switch g.unit {
	case blocks.UnitCount, blocks.UnitBytes, blocks.UnitCycles:
		return int(math.Ceil(v - slack))
	case blocks.UnitTime:
		samples := v * float64(g.rate)
		return int(math.Ceil(samples - slack*math.Max(1, samples)))
	}
	if v < 0 {
		return -g.floor(-v)
	}
	return g.step(v, math.Ceil, -slack)
}

// step rounds a value that is not negative to four figures.
func (g grid) step(v float64, round func(float64) float64, forgive float64) int {
	power := int(math.Floor(math.Log10(v)))
	if v == 0 || power < leastPower {
		return 0
	}
	mantissa := v / math.Pow10(power-figures+1)
	return (power-leastPower)*decade + int(round(mantissa*(1+forgive))) - leastStep + 1
}
