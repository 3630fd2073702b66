package blocks

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
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

// A term is a compiled part of a formula.
type term struct {
	eval      number
	dimension Dimension
	zero      bool // a literal 0, which fits any dimension
	constant  bool // eval needs no values
}

func constantTerm(value float64, d Dimension) term {
	return term{eval: func([]float64) float64 { return value }, dimension: d, constant: true}
}

// folded returns t, evaluated now if all terms it is made of are constant.
func (t term) folded(from ...term) term {
	for _, f := range from {
		if !f.constant {
			return t
		}
	}
	value := t.eval(nil)
	t.eval = func([]float64) float64 { return value }
	t.constant = true
	return t
}

// formulaCompiler walks the tree of one formula. The walk makes the closures,
// checks dimensions and notes which variables are read.
type formulaCompiler struct {
	text  string
	scope *Scope
	slots []int
}

func (c *formulaCompiler) fail(offset int, reason, hint string) error {
	return &FormulaError{Text: c.text, Offset: offset, Reason: reason, Hint: hint}
}

// failAt fails at the place of node. Formulas are ASCII, so the parser's
// count of runes is one of bytes.
func (c *formulaCompiler) failAt(node ast.Node, reason, hint string) error {
	return c.fail(node.Location().From, reason, hint)
}

func (c *formulaCompiler) formula(want Dimension) (term, error) {
	if t, ok := literalFormula(c.text); ok {
		return t, nil
	}
	if err := c.scan(); err != nil {
		return term{}, err
	}
	tree, err := parser.ParseWithConfig(c.text, &conf.Config{MaxNodes: maxFormulaNodes})
	if err != nil {
		return term{}, c.parseError(err)
	}
	if !isCondition(tree.Node) {
		return c.number(tree.Node)
	}
	if want != Plain {
		return term{}, c.failAt(tree.Node, fmt.Sprintf("the value is a comparison, not %s", want), "")
	}
	cond, err := c.condition(tree.Node)
	if err != nil {
		return term{}, err
	}
	return term{eval: func(v []float64) float64 {
		if cond(v) {
			return 1
		}
		return 0
	}}, nil
}

// literalFormula reads a formula that is one unsigned decimal number, as
// most counts of operations are. The parser takes sixty times longer.
func literalFormula(text string) (term, bool) {
	if text == "" || len(text) > maxFormulaBytes || !isDigit(text[0]) {
		return term{}, false
	}
	for i := range len(text) {
		if !isDigit(text[i]) && text[i] != '.' {
			return term{}, false
		}
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return term{}, false
	}
	t := constantTerm(value, Plain)
	t.zero = value == 0
	return t, true
}

// foreign are signs that the parser knows and formulas do not have.
var foreign = []struct{ sign, hint string }{
	{"**", "use pow(base, exponent)"},
	{"^", "use pow(base, exponent)"},
	{"%", "write 20% as 0.2, and the remainder of a / b as a - b * floor(a / b)"},
	{"//", "formulas have no comments"},
	{"/*", "formulas have no comments"},
	{"#", "formulas have no comments"},
	{"?", "use if condition { a } else { b }"},
	{":", "use if condition { a } else { b }"},
	{";", "a formula is one expression"},
	{"[", "formulas have no lists"},
	{"]", "formulas have no lists"},
	{"'", "formulas have no text"},
	{`"`, "formulas have no text"},
	{"`", "formulas have no text"},
	{"..", "formulas have no ranges"},
}

// scan refuses what the parser must not or need not see.
func (c *formulaCompiler) scan() error {
	if len(c.text) > maxFormulaBytes {
		return c.fail(-1, fmt.Sprintf("the formula is longer than %d bytes", maxFormulaBytes), "")
	}
	if strings.TrimSpace(c.text) == "" {
		return c.fail(-1, "there is no formula", "")
	}
	depth := 0
	for i, r := range c.text {
		for _, f := range foreign {
			if strings.HasPrefix(c.text[i:], f.sign) {
				return c.fail(i, fmt.Sprintf("'%s' is not part of formulas", f.sign), f.hint)
			}
		}
		switch {
		case r == '(' || r == '{':
			depth++
			if depth > maxFormulaDepth {
				return c.fail(i, fmt.Sprintf("more than %d brackets are open", maxFormulaDepth), "")
			}
		case r == ')' || r == '}':
			depth--
		case r == '|' && !strings.HasPrefix(c.text[i:], "||") && !strings.HasSuffix(c.text[:i], "|"):
			// The parser turns a pipe into a call that looks like any other.
			return c.fail(i, "'|' is not part of formulas", "write a call, as in max(a, b)")
		case r >= 0x80 || !isWordByte(byte(r)) && !strings.ContainsRune(" \t\r\n+-*/<>=!&|,.", r):
			return c.fail(i, fmt.Sprintf("%q is not part of formulas", r), "")
		}
	}
	return nil
}

var tooManyTerms = fmt.Sprintf("the formula has more than %d terms", maxFormulaNodes)

// parseError puts the parser's complaint into our words.
func (c *formulaCompiler) parseError(err error) error {
	var at *file.Error
	if !errors.As(err, &at) {
		return c.fail(-1, err.Error(), "")
	}
	reason, hint := at.Message, ""
	if strings.Contains(reason, "maximum allowed nodes") {
		reason = tooManyTerms
	}
	if token, ok := strings.CutPrefix(reason, "unexpected token "); ok {
		if token == "EOF" {
			return c.fail(len(c.text), "the formula ends too early", "")
		}
		if _, quoted, ok := strings.Cut(token, "("); ok {
			token = strings.Trim(strings.TrimSuffix(quoted, ")"), `"`)
		}
		reason = fmt.Sprintf("'%s' is not expected here", token)
		if token == "=" {
			hint = "write == to compare"
		}
	}
	return c.fail(at.From, reason, hint)
}

// isCondition tells by its outermost operator that node is true or false.
func isCondition(node ast.Node) bool {
	switch n := node.(type) {
	case *ast.UnaryNode:
		return n.Operator == "not" || n.Operator == "!"
	case *ast.BinaryNode:
		switch n.Operator {
		case "and", "&&", "or", "||", "==", "!=", "<", ">", "<=", ">=":
			return true
		}
	}
	return false
}

func (c *formulaCompiler) condition(node ast.Node) (condition, error) {
	if !isCondition(node) {
		return nil, c.failAt(node, "a number stands where a comparison is due", "compare it, as in a > 0")
	}
	if n, ok := node.(*ast.UnaryNode); ok {
		inner, err := c.condition(n.Node)
		if err != nil {
			return nil, err
		}
		return func(v []float64) bool { return !inner(v) }, nil
	}
	n := node.(*ast.BinaryNode)
	switch n.Operator {
	case "and", "&&", "or", "||":
		return c.logic(n)
	}
	return c.comparison(n)
}

func (c *formulaCompiler) logic(n *ast.BinaryNode) (condition, error) {
	if isChain(n) {
		return nil, c.failAt(n, "two comparisons share an operand", "write a < b and b < c")
	}
	l, err := c.condition(n.Left)
	if err != nil {
		return nil, err
	}
	r, err := c.condition(n.Right)
	if err != nil {
		return nil, err
	}
	if n.Operator == "and" || n.Operator == "&&" {
		return func(v []float64) bool { return l(v) && r(v) }, nil
	}
	return func(v []float64) bool { return l(v) || r(v) }, nil
}

// isChain tells whether the parser made n from a < b < c, where both
// comparisons hold the very same operand. Such a tree is not a tree: walking
// it takes time that doubles with each level of nesting.
func isChain(n *ast.BinaryNode) bool {
	left := n.Left
	if l, ok := left.(*ast.BinaryNode); ok && l.Operator == "&&" {
		left = l.Right
	}
	l, ok := left.(*ast.BinaryNode)
	if !ok {
		return false
	}
	r, ok := n.Right.(*ast.BinaryNode)
	return ok && l.Right == r.Left
}

func (c *formulaCompiler) comparison(n *ast.BinaryNode) (condition, error) {
	left, err := c.number(n.Left)
	if err != nil {
		return nil, err
	}
	right, err := c.number(n.Right)
	if err != nil {
		return nil, err
	}
	if _, ok := joined(left, right); !ok {
		return nil, c.failAt(n,
			fmt.Sprintf("compares %s with %s", left.dimension, right.dimension),
			unitHint(left.dimension, right.dimension))
	}
	l, r := left.eval, right.eval
	switch n.Operator {
	case "==":
		return func(v []float64) bool { return l(v) == r(v) }, nil
	case "!=":
		return func(v []float64) bool { return l(v) != r(v) }, nil
	case "<":
		return func(v []float64) bool { return l(v) < r(v) }, nil
	case ">":
		return func(v []float64) bool { return l(v) > r(v) }, nil
	case "<=":
		return func(v []float64) bool { return l(v) <= r(v) }, nil
	}
	return func(v []float64) bool { return l(v) >= r(v) }, nil
}

func (c *formulaCompiler) number(node ast.Node) (term, error) {
	if isCondition(node) {
		return term{}, c.failAt(node, "a comparison stands where a number is due",
			"use if condition { a } else { b }, and brackets after not")
	}
	switch n := node.(type) {
	case *ast.IntegerNode:
		t := constantTerm(float64(n.Value), Plain)
		t.zero = n.Value == 0
		return t, nil
	case *ast.FloatNode:
		t := constantTerm(n.Value, Plain)
		t.zero = n.Value == 0
		return t, nil
	case *ast.IdentifierNode:
		return c.name(n)
	case *ast.UnaryNode:
		if n.Operator == "-" {
			t, err := c.number(n.Node)
			if err != nil {
				return term{}, err
			}
			x := t.eval
			t.eval = func(v []float64) float64 { return -x(v) }
			return t.folded(t), nil
		}
	case *ast.BinaryNode:
		return c.arithmetic(n)
	case *ast.ConditionalNode:
		return c.choice(n)
	case *ast.CallNode:
		if callee, ok := n.Callee.(*ast.IdentifierNode); ok {
			return c.call(n, callee.Value, n.Arguments)
		}
	case *ast.BuiltinNode:
		// The parser knows some of our functions by name, and has others
		// that we do not; the name decides either way.
		return c.call(n, n.Name, n.Arguments)
	}
	return term{}, c.failAt(node, "this is not part of formulas",
		"they have numbers, names, + - * /, comparisons, if and functions")
}

func (c *formulaCompiler) name(n *ast.IdentifierNode) (term, error) {
	if unit, ok := formulaUnits[n.Value]; ok {
		return constantTerm(unit.value, unit.dimension), nil
	}
	slot, d, ok := c.scope.Lookup(n.Value)
	if !ok {
		return term{}, &FormulaError{
			Text: c.text, Offset: n.Location().From,
			Reason: fmt.Sprintf("unknown name '%s'", n.Value),
			Name:   n.Value, Candidates: c.scope.Names(),
		}
	}
	if !slices.Contains(c.slots, slot) {
		c.slots = append(c.slots, slot)
	}
	return term{eval: func(v []float64) float64 { return v[slot] }, dimension: d}, nil
}

func (c *formulaCompiler) arithmetic(n *ast.BinaryNode) (term, error) {
	left, err := c.number(n.Left)
	if err != nil {
		return term{}, err
	}
	right, err := c.number(n.Right)
	if err != nil {
		return term{}, err
	}
	t, fits := term{}, true
	switch n.Operator {
	case "+", "-":
		if t, fits = joined(left, right); !fits {
			reason := fmt.Sprintf("adds %s to %s", right.dimension, left.dimension)
			if n.Operator == "-" {
				reason = fmt.Sprintf("subtracts %s from %s", right.dimension, left.dimension)
			}
			return term{}, c.failAt(n, reason, unitHint(left.dimension, right.dimension))
		}
	case "*":
		t.dimension, fits = left.dimension.plus(right.dimension, 1)
	case "/":
		t.dimension, fits = left.dimension.plus(right.dimension, -1)
	default:
		return term{}, c.failAt(n, fmt.Sprintf("'%s' is not part of formulas", n.Operator), "")
	}
	if !fits {
		return term{}, c.failAt(n, "multiplies too many units", "")
	}
	l, r := left.eval, right.eval
	switch n.Operator {
	case "+":
		t.eval = func(v []float64) float64 { return l(v) + r(v) }
	case "-":
		t.eval = func(v []float64) float64 { return l(v) - r(v) }
	case "*":
		t.eval = func(v []float64) float64 { return l(v) * r(v) }
	case "/":
		t.eval = func(v []float64) float64 { return l(v) / r(v) }
	}
	return t.folded(left, right), nil
}

func (c *formulaCompiler) choice(n *ast.ConditionalNode) (term, error) {
	cond, err := c.condition(n.Cond)
	if err != nil {
		return term{}, err
	}
	yes, err := c.number(n.Exp1)
	if err != nil {
		return term{}, err
	}
	no, err := c.number(n.Exp2)
	if err != nil {
		return term{}, err
	}
	t, ok := joined(yes, no)
	if !ok {
		return term{}, c.failAt(n.Exp2,
			fmt.Sprintf("gives %s or else %s", yes.dimension, no.dimension),
			unitHint(yes.dimension, no.dimension))
	}
	y, o := yes.eval, no.eval
	t.eval = func(v []float64) float64 {
		if cond(v) {
			return y(v)
		}
		return o(v)
	}
	return t, nil
}

// joined returns the dimension of a sum, a choice or a greatest value of a
// and b, and whether the two can be brought together at all.
func joined(a, b term) (term, bool) {
	switch {
	case a.zero:
		return term{dimension: b.dimension, zero: b.zero}, true
	case b.zero:
		return term{dimension: a.dimension}, true
	}
	return term{dimension: a.dimension}, a.dimension == b.dimension
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

func isDigit(b byte) bool { return '0' <= b && b <= '9' }

func isWordByte(b byte) bool {
	return b == '_' || isDigit(b) || 'a' <= b && b <= 'z' || 'A' <= b && b <= 'Z'
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
