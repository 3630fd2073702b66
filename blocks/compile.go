package blocks

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
)

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
	if t, ok := c.single(); ok {
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

// single reads a formula that is one unsigned decimal number or the name of a
// variable, as most counts of operations are. The parser takes sixty times
// longer.
func (c *formulaCompiler) single() (term, bool) {
	if slot, d, ok := c.scope.Lookup(c.text); ok {
		return c.variable(slot, d), true
	}
	if c.text == "" || len(c.text) > maxFormulaBytes || !isDigit(c.text[0]) {
		return term{}, false
	}
	for i := range len(c.text) {
		if !isDigit(c.text[i]) && c.text[i] != '.' {
			return term{}, false
		}
	}
	value, err := strconv.ParseFloat(c.text, 64)
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
	return c.variable(slot, d), nil
}

func (c *formulaCompiler) variable(slot int, d Dimension) term {
	if !slices.Contains(c.slots, slot) {
		c.slots = append(c.slots, slot)
	}
	return term{eval: func(v []float64) float64 { return v[slot] }, dimension: d}
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

func isDigit(b byte) bool { return '0' <= b && b <= '9' }

func isWordByte(b byte) bool {
	return b == '_' || isDigit(b) || 'a' <= b && b <= 'z' || 'A' <= b && b <= 'Z'
}
