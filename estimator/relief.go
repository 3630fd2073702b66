package estimator

// Limits are what resources may take at most.
type Limits func(*Resource) float64

// OfBoard are the limits of the board itself.
func OfBoard(r *Resource) float64 { return r.Limit }

// Relief adds up how much nearer to their limits the resources come that are
// beyond them, in shares of the limits. Banks count together: what one no longer
// lacks and another then does helps nobody.
func Relief(before, after *Estimate, limits Limits) float64 {
	sum := 0.0
	for i := range before.Resources {
		r := &before.Resources[i]
		if was := beyond(r, limits); was > 0 && r.Kind != MemoryResource {
			is := after.Resource(r.Name)
			sum += was - beyond(&is, limits)
		}
	}
	if was, of := before.lack(limits); of > 0 {
		is, _ := after.lack(limits)
		sum += (was - is) / of
	}
	return sum
}

// Excess adds up how far the resources are beyond their limits, in shares of the
// limits; banks count together.
func (e *Estimate) Excess(limits Limits) float64 {
	sum := 0.0
	for i := range e.Resources {
		if r := &e.Resources[i]; r.Kind != MemoryResource {
			sum += beyond(r, limits)
		}
	}
	if lack, of := e.lack(limits); of > 0 {
		sum += lack / of
	}
	return sum
}

// beyond is how far a need reaches past its limit, its whole band counted, as a
// share of the limit, which for cycles grows with the length of a block.
func beyond(r *Resource, limits Limits) float64 {
	if limit := limits(r); limit > 0 {
		return max(0, r.Used.High/limit-1)
	}
	return 0
}

// lack adds up, of the banks that are over, the bytes past their limits and the
// limits.
func (e *Estimate) lack(limits Limits) (bytes, of float64) {
	for i := range e.Resources {
		r := &e.Resources[i]
		if limit := limits(r); r.Kind == MemoryResource && r.Used.High > limit {
			bytes, of = bytes+r.Used.High-limit, of+limit
		}
	}
	return bytes, of
}
