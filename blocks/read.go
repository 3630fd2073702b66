package blocks

import (
	"errors"

	"elbowroom/blocks/source"
)

// ReadSpan reads a quantity that may range from a file. It is not ok where none
// is given, which is no mistake, or where it could not be read, which is.
func (base Timebase) ReadSpan(v source.Value, unit Unit) (span Span, ok bool) {
	text := v.Text("a quantity")
	if !v.IsText() {
		return Span{}, false
	}
	span, err := Parse(text, unit, base)
	if err != nil {
		var refused *QuantityError
		errors.As(err, &refused)
		v.Fail(refused.Hint(), "%s", refused.Message)
	}
	return span, err == nil
}

// ReadValue reads a quantity that is one value, in the unit's base.
func (base Timebase) ReadValue(v source.Value, unit Unit) (value float64, ok bool) {
	span, ok := base.ReadSpan(v, unit)
	if ok && span.Low != span.High {
		v.Fail("", "expected one value, found a range")
		return 0, false
	}
	return span.High, ok
}
