package blocks

import (
	"fmt"
	"math"
	"slices"

	"github.com/expr-lang/expr/ast"
)

// How a function of one argument treats the dimension of its argument.
type dimensionRule int

const (
	keepsDimension dimensionRule = iota
	halvesDimension
	needsPlain
)

var unaryFunctions = map[string]struct {
	call func(float64) float64
	rule dimensionRule
}{
	"ceil":     {Ceil, keepsDimension},
	"floor":    {floor, keepsDimension},
	"round":    {math.Round, keepsDimension}, // halves away from zero
	"abs":      {math.Abs, keepsDimension},
	"sqrt":     {math.Sqrt, halvesDimension},
	"log2":     {math.Log2, needsPlain},
	"log10":    {math.Log10, needsPlain},
	"exp":      {math.Exp, needsPlain},
	"pow2ceil": {pow2ceil, needsPlain},
}

// functionNames are all functions of formulas.
var functionNames = []string{
	"abs", "ceil", "exp", "floor", "interpolation_snr", "log10", "log2", "max", "min", "pow", "pow2ceil", "round", "sqrt",
}

// wholeSlack is how far, relative to its size, a number may lie from a whole
// one and still mean it. 0.017 s x 48000 Hz comes out just above 816 samples.
const wholeSlack = 1e-9

// whole returns the whole number that x means, if it means one.
func whole(x float64) (float64, bool) {
	nearest := math.Round(x)
	return nearest, math.Abs(x-nearest) <= wholeSlack*max(1, math.Abs(x))
}

// Ceil rounds up, but leaves alone what is a whole number but for the rounding of
// binary fractions; floor rounds down so.
func Ceil(x float64) float64 {
	if n, ok := whole(x); ok {
		return n
	}
	return math.Ceil(x)
}

func floor(x float64) float64 {
	if n, ok := whole(x); ok {
		return n
	}
	return math.Floor(x)
}

// pow2ceil returns the least power of two, 1 or more, that is not below x.
func pow2ceil(x float64) float64 {
	if x <= 1 {
		return 1
	}
	fraction, exponent := math.Frexp(x)
	if fraction == 0.5 || math.IsNaN(x) || math.IsInf(x, 1) {
		return x
	}
	return math.Ldexp(1, exponent)
}

func (c *formulaCompiler) call(node ast.Node, name string, arguments []ast.Node) (term, error) {
	if !slices.Contains(functionNames, name) {
		return term{}, &FormulaError{
			Text: c.text, Offset: node.Location().From,
			Reason: fmt.Sprintf("unknown function '%s'", name),
			Name:   name, Candidates: slices.Clone(functionNames),
		}
	}
	terms := make([]term, len(arguments))
	for i, a := range arguments {
		t, err := c.number(a)
		if err != nil {
			return term{}, err
		}
		terms[i] = t
	}
	switch name {
	case "min", "max":
		if len(terms) == 0 {
			return term{}, c.failAt(node, fmt.Sprintf("%s is given nothing", name), "")
		}
		return c.extreme(node, name, terms)
	case "pow":
		if len(terms) != 2 {
			return term{}, c.failAt(node, "pow is not given two values", "write pow(base, exponent)")
		}
		return c.power(node, terms[0], terms[1])
	case "interpolation_snr":
		if len(terms) != 2 || terms[0].dimension != Plain || terms[1].dimension != PerSecond {
			return term{}, c.failAt(node, "interpolation_snr is not given points and a rate", "write interpolation_snr(points, sample_rate)")
		}
		points, rate := terms[0].eval, terms[1].eval
		t := term{eval: func(v []float64) float64 { return interpolationSNR(points(v), rate(v)) }}
		return t.folded(terms...), nil
	}
	if len(terms) != 1 {
		return term{}, c.failAt(node, fmt.Sprintf("%s is not given exactly one value", name), "")
	}
	return c.unary(node, name, terms[0])
}

func (c *formulaCompiler) unary(node ast.Node, name string, x term) (term, error) {
	f := unaryFunctions[name]
	t := term{dimension: x.dimension, zero: x.zero && f.rule == keepsDimension}
	switch f.rule {
	case halvesDimension:
		if x.dimension.Bytes%2 != 0 || x.dimension.Seconds%2 != 0 {
			return term{}, c.failAt(node, fmt.Sprintf("takes the square root of %s", x.dimension), "")
		}
		t.dimension = Dimension{x.dimension.Bytes / 2, x.dimension.Seconds / 2}
	case needsPlain:
		if x.dimension != Plain {
			return term{}, c.failAt(node,
				fmt.Sprintf("%s takes a plain number and is given %s", name, x.dimension),
				"divide by a quantity of the same kind first")
		}
	}
	call, eval := f.call, x.eval
	t.eval = func(v []float64) float64 { return call(eval(v)) }
	return t.folded(x), nil
}

func (c *formulaCompiler) extreme(node ast.Node, name string, terms []term) (term, error) {
	t := terms[0]
	for _, next := range terms[1:] {
		both, ok := joined(t, next)
		if !ok {
			return term{}, c.failAt(node,
				fmt.Sprintf("%s is given %s and %s", name, t.dimension, next.dimension),
				unitHint(t.dimension, next.dimension))
		}
		pick, a, b := math.Min, t.eval, next.eval
		if name == "max" {
			pick = math.Max
		}
		both.eval = func(v []float64) float64 { return pick(a(v), b(v)) }
		t = both.folded(t, next)
	}
	return t, nil
}

// power compiles base^exponent. Only a plain base takes any exponent: that of
// a quantity must be a whole number known now, as it decides the dimension.
func (c *formulaCompiler) power(node ast.Node, base, exponent term) (term, error) {
	if exponent.dimension != Plain {
		return term{}, c.failAt(node, fmt.Sprintf("the exponent of pow is %s", exponent.dimension), "")
	}
	t := term{}
	if base.dimension != Plain {
		if !exponent.constant {
			return term{}, c.failAt(node,
				fmt.Sprintf("raises %s to a power that can change", base.dimension), "use a whole number")
		}
		times := exponent.eval(nil)
		if times != math.Trunc(times) || math.Abs(times) > maxFormulaPower {
			return term{}, c.failAt(node,
				fmt.Sprintf("raises %s to the power %g", base.dimension, times), "use a small whole number")
		}
		var fits bool
		if t.dimension, fits = Plain.plus(base.dimension, int(times)); !fits {
			return term{}, c.failAt(node, "multiplies too many units", "")
		}
	}
	b, e := base.eval, exponent.eval
	t.eval = func(v []float64) float64 { return math.Pow(b(v), e(v)) }
	return t.folded(base, exponent), nil
}
