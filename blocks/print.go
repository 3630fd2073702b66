package blocks

import (
	"math"
	"strconv"
	"strings"
)

const (
	kibibyte = 1 << 10
	mebibyte = 1 << 20
)

// String returns the exact amount: '812 B', '64 KiB', '1.50 MiB'. What is no
// whole number of quarters of a KiB is told in bytes, '134 401 B'. Parse reads
// it back.
func (b Bytes) String() string {
	sign, n := b.magnitude()
	switch {
	case n >= mebibyte && n%(mebibyte/4) == 0:
		return sign + quarters(n, mebibyte) + " MiB"
	case n >= kibibyte && n%(kibibyte/4) == 0:
		return sign + quarters(n, kibibyte) + " KiB"
	}
	return sign + group(strconv.FormatUint(n, 10)) + " B"
}

// quarters prints n in the unit, of which it is a whole number of quarters.
func quarters(n, unit uint64) string {
	whole := group(strconv.FormatUint(n/unit, 10))
	return whole + [...]string{"", ".25", ".50", ".75"}[n%unit/(unit/4)]
}

// Up returns the amount to three significant figures, rounded up, for what is
// used: beside a limit printed by Down, an amount over the limit never looks
// equal to it. Under 1 KiB it is exact in bytes. Digits before the point are
// never dropped, and under 100 only an exact amount stands without decimals:
// '64 KiB' is exact, '64.0 KiB' is not.
func (b Bytes) Up() string { return b.rounded(true) }

// Down returns the amount to three significant figures, rounded down, for what
// there is. See Up.
func (b Bytes) Down() string { return b.rounded(false) }

func (b Bytes) rounded(up bool) string {
	sign, n := b.magnitude()
	if sign != "" {
		up = !up
	}
	if n < kibibyte {
		return sign + group(strconv.FormatUint(n, 10)) + " B"
	}
	unit, name := uint64(kibibyte), " KiB"
	// The last KiB below 1 MiB rounds up into it.
	if n >= mebibyte || up && n > mebibyte-kibibyte {
		unit, name = mebibyte, " MiB"
	}
	if n%unit == 0 {
		return sign + group(strconv.FormatUint(n/unit, 10)) + name
	}
	decimals := 0
	scale := uint64(1)
	for n/unit*scale < 100 && decimals < 2 {
		decimals++
		scale *= 10
	}
	figures := n / unit * scale
	rest := n % unit * scale
	figures += rest / unit
	if up && rest%unit != 0 {
		figures++
	}
	if decimals > 0 && figures == 1000 { // 9.999 has become 10.00: one figure too many
		figures, decimals, scale = figures/10, decimals-1, scale/10
	}
	text := group(strconv.FormatUint(figures/scale, 10))
	if decimals > 0 {
		fraction := strconv.FormatUint(scale+figures%scale, 10)
		text += "." + fraction[1:] // without the leading 1 that kept its zeros
	}
	return sign + text + name
}

// magnitude splits off the sign; unlike a negation it holds for the least value.
func (b Bytes) magnitude() (sign string, n uint64) {
	if b < 0 {
		return "-", -uint64(b)
	}
	return "", uint64(b)
}

// String returns '48 000 cycles': whole from 100 on, three significant figures
// below.
func (c Cycles) String() string {
	text := significant(float64(c), 3)
	if text == "1" {
		return "1 cycle"
	}
	return text + " cycles"
}

// String returns '440 Hz', '44.1 kHz' or '480 MHz' to five significant
// figures, which the usual sample rates need.
func (f Hertz) String() string {
	return scaled(float64(f), 5, []step{{1, " Hz"}, {1e3, " kHz"}, {1e6, " MHz"}})
}

// String returns '20.8 µs', '350 ms' or '1.2 s' to three significant figures;
// digits before the point are never dropped.
func (s Seconds) String() string {
	if s == 0 {
		return "0 s"
	}
	return scaled(float64(s), 3, []step{{1e-6, " µs"}, {1e-3, " ms"}, {1, " s"}})
}

// Format prints a value of this kind exactly, in its base unit: '0.35 s',
// '44100 Hz', '0.7'. Two values print alike only if they are equal, so that it
// may stand in a key, and Parse reads it back.
func (u Unit) Format(value float64) string {
	text := strconv.FormatFloat(value, 'g', -1, 64)
	if int(u) < len(kinds) && len(kinds[u].scales) > 0 && kinds[u].scales[0].word != "" {
		text += " " + kinds[u].scales[0].word
	}
	return text
}

// Rounded prints a value of this kind for people, rounded: '20.8 µs', '44.1 kHz',
// '48 000'.
func (u Unit) Rounded(value float64) string {
	switch u {
	case UnitTime:
		return Seconds(value).String()
	case UnitFrequency:
		return Hertz(value).String()
	case UnitBytes:
		return Bytes(value).String()
	case UnitCount:
		return significant(math.Round(value), 3)
	}
	return u.Format(value)
}

// step is one unit of a ladder, least first.
type step struct {
	size float64
	name string
}

// scaled prints x in the first unit that needs no more than three digits
// before the point. It judges x as printed, so that 999.6 ms becomes '1 s' and
// not '1000 ms'.
func scaled(x float64, figures int, ladder []step) string {
	unit := ladder[0]
	for _, next := range ladder[1:] {
		printed := strconv.FormatFloat(math.Abs(x/unit.size), 'e', figures-1, 64)
		if rounded, _ := strconv.ParseFloat(printed, 64); rounded < 1000 {
			break
		}
		unit = next
	}
	return significant(x/unit.size, figures) + unit.name
}

// Percent returns a share of one as '62.4 %': one decimal, and below 1 % two
// significant figures. Only a share of exactly one prints as '100 %': what is
// less stays at '99.9 %' at most, and what is more shows at least '100.1 %'.
func Percent(share float64) string {
	if share < 0 {
		return "-" + Percent(-share)
	}
	switch share {
	case 0:
		return "0 %"
	case 1:
		return "100 %"
	}
	if small := significant(share*100, 2); share < 0.01 && small != "1" {
		return small + " %"
	}
	text := strconv.FormatFloat(share*100, 'f', 1, 64)
	if text == "100.0" {
		text = "99.9"
		if share > 1 {
			text = "100.1"
		}
	}
	return text + " %"
}

// significant prints x to so many significant figures, without zeros at the
// end and with the digits before the point in groups of three. It drops no
// digit before the point.
func significant(x float64, figures int) string {
	const leastPlain = -6 // below this power of ten it would be mostly zeros
	if x < 0 {
		return "-" + significant(-x, figures)
	}
	mantissa, power, found := strings.Cut(strconv.FormatFloat(x, 'e', figures-1, 64), "e")
	if !found {
		return mantissa // NaN or an infinity
	}
	exponent, _ := strconv.Atoi(power) // FormatFloat wrote it
	if exponent < leastPlain {
		return strconv.FormatFloat(x, 'g', figures, 64)
	}
	text := strconv.FormatFloat(x, 'f', max(0, figures-1-exponent), 64)
	whole, fraction, _ := strings.Cut(text, ".")
	if fraction = strings.TrimRight(fraction, "0"); fraction != "" {
		fraction = "." + fraction
	}
	return group(whole) + fraction
}

// group puts a space between groups of three digits.
func group(digits string) string {
	var b strings.Builder
	for i, d := range digits {
		if i > 0 && (len(digits)-i)%3 == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(d)
	}
	return b.String()
}
