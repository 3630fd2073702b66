package blocks

import (
	"fmt"
)

// A Dimension is the exponent of each base dimension of a quantity. The zero
// value is that of a plain number: a count, a ratio, a number of samples.
type Dimension struct{ Bytes, Seconds int8 }

// The dimensions that catalog files ask for.
var (
	Plain     = Dimension{}
	InBytes   = Dimension{Bytes: 1}
	InSeconds = Dimension{Seconds: 1}
	PerSecond = Dimension{Seconds: -1}
)

// String names the dimension in words: "a plain number", "bytes", "hertz",
// "bytes per second".
func (d Dimension) String() string {
	power := func(unit string, exponent int8) string {
		if exponent == 1 {
			return unit
		}
		return fmt.Sprintf("%s^%d", unit, exponent)
	}
	switch {
	case d == Plain:
		return "a plain number"
	case d == PerSecond:
		return "hertz"
	case d.Bytes == 0:
		return power("seconds", d.Seconds)
	case d.Seconds == 0:
		return power("bytes", d.Bytes)
	case d.Seconds < 0:
		return power("bytes", d.Bytes) + " per " + power("second", -d.Seconds)
	}
	return power("bytes", d.Bytes) + " times " + power("seconds", d.Seconds)
}

// plus returns the dimension of a product of a quantity in d and one in
// e^power. It reports false if an exponent goes beyond maxFormulaPower.
func (d Dimension) plus(e Dimension, power int) (Dimension, bool) {
	bytes := int(d.Bytes) + power*int(e.Bytes)
	seconds := int(d.Seconds) + power*int(e.Seconds)
	fits := max(bytes, -bytes, seconds, -seconds) <= maxFormulaPower
	return Dimension{Bytes: int8(bytes), Seconds: int8(seconds)}, fits
}

// unitHint says how to bring a quantity in one dimension and one in another
// together, or "" if that is not plain to see.
func unitHint(a, b Dimension) string {
	if a != Plain && b != Plain {
		return ""
	}
	switch {
	case a == InBytes || b == InBytes:
		return "multiply the plain one by word, short or byte"
	case a == InSeconds || b == InSeconds:
		return "multiply the plain one by second, or the seconds by sample_rate for samples"
	case a == PerSecond || b == PerSecond:
		return "multiply the plain one by hertz"
	}
	return ""
}
