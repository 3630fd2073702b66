package ask

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// Axis is a dial and the values it is turned to.
type Axis struct {
	Dial   *Dial
	Values []float64 // in the unit's base
}

// mostValues bounds an axis: two of them are then at most ten thousand graphs.
const mostValues = 100

// AxisError tells what is wrong with an axis that a person wrote.
type AxisError struct{ Message, Hint string }

func (e *AxisError) Error() string { return e.Message }

// exampleAxis is how an axis is written.
const exampleAxis = "write it like 'echo.time=100ms..2s/20' or 'block_size=16,32,48'"

// ParseAxis reads an axis: a number of the graph and its values, evenly spaced
// over a range ('echo.time=100ms..2s/20') or listed ('block_size=16,32,48').
// Values are rounded to what a file would say: whole counts, whole samples, four
// figures. A note value is taken at the slowest tempo.
func ParseAxis(g *estimator.Graph, text string) (Axis, error) {
	name, values, found := strings.Cut(text, "=")
	if !found {
		return Axis{}, &AxisError{fmt.Sprintf("'%s' names no values", text), exampleAxis}
	}
	d, err := Find(g, strings.TrimSpace(name))
	if err != nil {
		return Axis{}, err
	}
	a := Axis{Dial: d}
	base := blocks.Timebase{SampleRate: g.SampleRate, Tempo: blocks.Span{Low: g.Tempo.Low, High: g.Tempo.Low}}
	if !strings.Contains(values, "..") {
		for text := range strings.SplitSeq(values, ",") {
			span, err := blocks.Parse(text, d.Unit, base)
			if err != nil {
				return Axis{}, err
			}
			a.add(span.High)
		}
		return a, a.tooMany(text)
	}
	at := strings.LastIndex(values, "/")
	if at < strings.Index(values, "..") {
		return Axis{}, &AxisError{fmt.Sprintf("'%s' does not say how many values", text), exampleAxis}
	}
	n, err := strconv.Atoi(strings.TrimSpace(values[at+1:]))
	if err != nil || n < 2 {
		return Axis{}, &AxisError{fmt.Sprintf("'%s' is no number of values from 2 on", strings.TrimSpace(values[at+1:])), exampleAxis}
	}
	if n > mostValues {
		return Axis{}, a.tooMany(text, n)
	}
	span, err := blocks.Parse(values[:at], d.Unit, base)
	if err != nil {
		return Axis{}, err
	}
	grid := d.grid()
	for i := range n {
		v := span.Low + (span.High-span.Low)*float64(i)/float64(n-1)
		below, above := grid.value(grid.floor(v)), grid.value(grid.ceil(v))
		if above-v < v-below {
			below = above
		}
		a.add(below)
	}
	return a, nil
}

func (a *Axis) add(v float64) {
	if !slices.Contains(a.Values, v) {
		a.Values = append(a.Values, v)
	}
}

func (a *Axis) tooMany(text string, asked ...int) error {
	n := max(len(a.Values), slices.Max(append(asked, 0)))
	if n <= mostValues {
		return nil
	}
	return &AxisError{fmt.Sprintf("'%s' has %d values, more than the %d that are tried", text, n, mostValues), "take fewer, and look closer where it is interesting"}
}

// Usual values of sample rate, in hertz, and block size (common practice in
// embedded audio), beside which the graph's own stand.
var (
	usualRates  = []float64{32000, 44100, 48000, 96000}
	usualBlocks = []float64{1, 4, 8, 16, 24, 32, 48, 64, 96, 128, 256}
)

// UsualAxes are the block sizes and sample rates that are common, and the
// graph's own.
func UsualAxes(g *estimator.Graph) []Axis {
	var axes []Axis
	for _, usual := range []struct {
		name   string
		values []float64
	}{{BlockSize, usualBlocks}, {SampleRate, usualRates}} {
		for _, d := range Dials(g) {
			if d.Name == usual.name {
				a := Axis{Dial: d, Values: slices.Clone(usual.values)}
				a.add(d.Now)
				slices.Sort(a.Values)
				axes = append(axes, a)
			}
		}
	}
	return axes
}

// near tells whether two values of an axis are the same but for rounding.
func near(a, b float64) bool { return math.Abs(a-b) <= slack*math.Max(math.Abs(a), math.Abs(b)) }
