package blocks

import "slices"

// shortFormError is the greatest error of the short form of a function that
// blocks/kernels/kernel.h holds under MATHS_APPROXIMATE, in decibels below 1, of
// powers below their own value: measured against the C library's in double
// precision over the arguments that kernels use (a test of cmd/gauge holds them
// to it). What is not listed is exact.
var shortFormError = map[Class]float64{
	OpSin:   -126,
	OpCos:   -122,
	OpTan:   -92, // up to 0.45 of a half turn
	OpTanh:  -81,
	OpExp:   -133,
	OpExp2:  -138,
	OpLog:   -94,
	OpLog2:  -91,
	OpPow:   -93, // exponents about 1
	OpAtan2: -99,
}

// ShortFormError is the greatest error of the short form of a function, in
// decibels below 1; false: it is exact.
func ShortFormError(c Class) (float64, bool) {
	e, has := shortFormError[c]
	return e, has
}

// MathsError is the greatest error of the functions that the use calls, in
// decibels below 1, and whether it calls any that has a short form.
func (u *Use) MathsError() (float64, bool) {
	if u.Own != nil {
		return 0, false
	}
	m := u.meter()
	worst, calls := -float64(floatSNR), false
	for _, counts := range u.terms() {
		for _, c := range counts {
			if e, has := ShortFormError(c.Class); has && m.most("operations."+c.Class.String(), c.Times) > 0 {
				worst, calls = max(worst, e), true
			}
		}
	}
	for i := range u.Block.Parts {
		if m.err != nil {
			break
		}
		if e, has := m.part(&u.Block.Parts[i]).MathsError(); has {
			worst, calls = max(worst, e), true
		}
	}
	if u.Style.Maths == LibraryMaths {
		worst = -floatSNR
	}
	return worst, calls && m.err == nil
}

// terms are the counts of all terms of the kernel that this use ever runs.
func (u *Use) terms() [][]Count {
	o := &u.Block.Operations
	terms := [][]Count{o.Call, o.Sample, o.Costliest}
	for _, counts := range o.Events {
		terms = append(terms, counts)
	}
	for _, r := range o.Recurring {
		terms = append(terms, r.Counts)
	}
	for _, up := range o.Updates {
		if slices.ContainsFunc(up.When, func(name string) bool { return u.Settings[u.Block.paramsByName[name]].Moved != Fixed }) {
			terms = append(terms, up.Counts)
		}
	}
	return terms
}
