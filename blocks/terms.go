package blocks

// Term is a part of the cycles a block of a use, by what brings them about:
// call, sample, events.INPUT, updates.GROUP, recurring.NAME, and of a block that
// is made of others PART.TERM.
type Term struct {
	Name        string
	Mean, Worst Figure
}

// Charge adds cycles to a term and to their sum.
func (d *Demand) Charge(name string, mean, worst Figure) {
	d.note(name, mean, worst)
	d.Mean, d.Worst = d.Mean.Plus(mean), d.Worst.Plus(worst)
}

// note adds cycles to the term of a name.
func (d *Demand) note(name string, mean, worst Figure) {
	if mean.Value == 0 && worst.Value == 0 {
		return
	}
	for i := range d.Terms {
		if t := &d.Terms[i]; t.Name == name {
			t.Mean, t.Worst = t.Mean.Plus(mean), t.Worst.Plus(worst)
			return
		}
	}
	d.Terms = append(d.Terms, Term{name, mean, worst})
}
