package blocks

import "slices"

// shortFormError is the greatest error of the short form of a function that
// blocks/kernels/kernel.h holds under MATHS_APPROXIMATE, in decibels below 1.
// The kernel's own comments state the errors of its fits; the rest follows from
// them. What is not listed is exact.
var shortFormError = map[Class]float64{
	OpSin:   -124.6, // 5.9e-7
	OpCos:   -124.6,
	OpTan:   -108,  // 5.9e-7 over the cosine at 0.45 of the sample rate, 0.156
	OpTanh:  -80,   // 1e-4
	OpExp:   -139,  // 1.1e-7 of its value
	OpExp2:  -139,  // the same
	OpLog:   -93.9, // 2.9e-5 x ln 2
	OpLog2:  -90.8, // 2.9e-5
	OpPow:   -93.9, // of its value, for exponents about 1
	OpAtan2: -98.4, // 1.2e-5
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
			if e, has := shortFormError[c.Class]; has && m.most("operations."+c.Class.String(), c.Times) > 0 {
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
