package blocks

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Limits on a formula, house judgement: far above what anyone writes by hand.
// The parser is recursive and a stack overflow cannot be recovered from, so
// length and nesting are checked before it runs.
const (
	maxFormulaBytes  = 4 << 10
	maxFormulaDepth  = 50
	maxFormulaNodes  = 500
	maxFormulaPower  = 100     // largest exponent of a dimension
	maxFormulaResult = 1 << 53 // beyond it a float64 no longer holds every whole number
)

// formulaUnits are the constants of every formula, in bytes, seconds and hertz.
var formulaUnits = map[string]struct {
	value     float64
	dimension Dimension
}{
	"word":   {4, InBytes},
	"short":  {2, InBytes},
	"byte":   {1, InBytes},
	"second": {1, InSeconds},
	"hertz":  {1, PerSecond},
}

// formulaWords have a meaning in the grammar, ours or the parser's.
var formulaWords = []string{
	"if", "else", "and", "or", "not", "in", "let", "true", "false", "nil",
	"matches", "contains", "startsWith", "endsWith",
}

// A Scope holds the variables that a formula may read. The units word, short,
// byte, second and hertz are part of every scope and take no slot.
type Scope struct {
	slots     map[string]int
	variables []variable
}

type variable struct {
	name      string
	dimension Dimension
}

// NewScope returns a scope without variables.
func NewScope() *Scope {
	return &Scope{slots: make(map[string]int)}
}

// CheckName tells why name cannot be defined in s: it is not a word of
// letters, digits and underscores, it belongs to the grammar, it is a unit or
// a function, or it is defined already. It returns nil if Define may be called.
func (s *Scope) CheckName(name string) error {
	word := name != "" && !isDigit(name[0])
	for i := range len(name) {
		word = word && isWordByte(name[i])
	}
	if !word {
		return fmt.Errorf("'%s' is not a name: letters, digits and underscores, a letter first", name)
	}
	if slices.Contains(formulaWords, name) || slices.Contains(functionNames, name) {
		return fmt.Errorf("'%s' has a meaning of its own in formulas", name)
	}
	if _, ok := formulaUnits[name]; ok {
		return fmt.Errorf("'%s' is a unit of formulas", name)
	}
	if _, ok := s.slots[name]; ok {
		return fmt.Errorf("'%s' is defined twice", name)
	}
	return nil
}

// Define adds a variable and returns its slot: its index in the values given
// to [Formula.Eval]. Slots count up from 0. It panics on a name that
// [Scope.CheckName] refuses.
func (s *Scope) Define(name string, d Dimension) (slot int) {
	if err := s.CheckName(name); err != nil {
		panic(err)
	}
	slot = len(s.variables)
	s.slots[name] = slot
	s.variables = append(s.variables, variable{name, d})
	return slot
}

// Lookup returns slot and dimension of a variable. Units are not variables.
func (s *Scope) Lookup(name string) (slot int, d Dimension, ok bool) {
	slot, ok = s.slots[name]
	if !ok {
		return 0, Plain, false
	}
	return slot, s.variables[slot].dimension, true
}

// Has tells whether a formula may read name: a variable or a unit.
func (s *Scope) Has(name string) bool {
	_, unit := formulaUnits[name]
	_, variable := s.slots[name]
	return unit || variable
}

// Len returns the number of variables, which is the length of the values that
// [Formula.Eval] needs.
func (s *Scope) Len() int { return len(s.variables) }

// Names returns every name that a formula may read, units included, sorted.
func (s *Scope) Names() []string {
	names := make([]string, 0, len(s.variables)+len(formulaUnits))
	for _, v := range s.variables {
		names = append(names, v.name)
	}
	for name := range formulaUnits {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// A FormulaError tells why a formula cannot be read or has no usable value.
type FormulaError struct {
	Text       string   // the formula
	Offset     int      // byte in Text where the trouble is, or -1
	Reason     string   // what is wrong
	Hint       string   // what to write instead, or ""
	Name       string   // the unknown name, or ""
	Candidates []string // with Name: the names that could have been meant
}

func (e *FormulaError) Error() string {
	const shown = 200
	text := e.Text
	if len(text) > shown {
		text = strings.ToValidUTF8(text[:shown], "") + "..."
	}
	message := fmt.Sprintf("%s in '%s'", e.Reason, text)
	if e.Hint != "" {
		message += ": " + e.Hint
	}
	return message
}

// A Formula is an expression of a catalog file, compiled to closures over the
// values of its scope. It holds no state: several goroutines may share it.
type Formula struct {
	text  string
	uses  []string
	slots []int
	eval  number
}

type (
	number    func(values []float64) float64
	condition func(values []float64) bool
)

// CompileFormula reads an expression whose variables are those of scope and
// whose value must have the dimension want. A comparison as the whole formula
// is a plain number, 1 or 0. Every error is a [*FormulaError].
//
// The parser is that of expr-lang/expr, the rest is not: the library's own type
// check walks the middle operand of a < b < c twice, so that nested chains
// keep it busy for ever, and its machine is twenty times slower than closures.
func CompileFormula(text string, scope *Scope, want Dimension) (*Formula, error) {
	c := &formulaCompiler{text: text, scope: scope}
	result, err := c.formula(want)
	if err != nil {
		return nil, err
	}
	if !result.zero && result.dimension != want {
		return nil, &FormulaError{
			Text: text, Offset: -1,
			Reason: fmt.Sprintf("the value is %s, not %s", result.dimension, want),
			Hint:   unitHint(result.dimension, want),
		}
	}
	f := &Formula{text: text, eval: result.eval, slots: c.slots}
	for _, slot := range c.slots {
		f.uses = append(f.uses, scope.variables[slot].name)
	}
	slices.Sort(f.uses)
	return f, nil
}

// Text returns the formula as it was written.
func (f *Formula) Text() string { return f.text }

// Uses returns the names of the variables that f reads, sorted. Units are not
// among them.
func (f *Formula) Uses() []string { return slices.Clone(f.uses) }

// Reads tells whether f reads the variable in slot.
func (f *Formula) Reads(slot int) bool { return slices.Contains(f.slots, slot) }

// Eval returns the value of f in base units (bytes, seconds, hertz) for one
// value per slot of its scope. A value that is not a number, infinite,
// negative or above 2^53 is a [*FormulaError].
func (f *Formula) Eval(values []float64) (float64, error) {
	v := f.eval(values)
	if v >= 0 && v <= maxFormulaResult {
		return v + 0, nil // + 0 makes a negative zero positive
	}
	e := &FormulaError{Text: f.text, Offset: -1}
	switch {
	case math.IsNaN(v):
		e.Reason = "has no value"
		e.Hint = "it divides nothing by nothing or takes a root or logarithm of a negative number"
	case math.IsInf(v, 0):
		e.Reason = "comes out infinite"
		e.Hint = "it divides by zero or takes the logarithm of zero"
	case v < 0:
		e.Reason = fmt.Sprintf("comes out negative (%g)", v)
	default:
		e.Reason = fmt.Sprintf("comes out beyond 2^53 (%g)", v)
	}
	return 0, e
}

// EvalSigned is [Formula.Eval] for values that may be negative, such as
// decibels.
func (f *Formula) EvalSigned(values []float64) (float64, error) {
	v := f.eval(values)
	if v < 0 && v >= -maxFormulaResult {
		return v, nil
	}
	return f.Eval(values)
}
