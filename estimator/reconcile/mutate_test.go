package reconcile

import (
	"bytes"
	"math/rand/v2"
	"testing"
)

// Programs with changed bytes, most in their tables, are read or refused, and
// what is read can be compared.
func TestMutatedPrograms(t *testing.T) {
	const header, sectionEntry = 52 + 32*6, 40 * 9 // bytes at the front and at the end
	dice := rand.New(rand.NewPCG(1, 8))
	base, e := contents(t, "show.elf"), nightEstimate(t)
	read := 0
	for range 2000 {
		b := bytes.Clone(base)
		for range 1 + dice.IntN(6) {
			at := dice.IntN(len(b))
			switch dice.IntN(3) {
			case 0:
				at = dice.IntN(header)
			case 1:
				at = len(b) - 1 - dice.IntN(sectionEntry)
			}
			b[at] = byte(dice.IntN(256))
		}
		p, err := parse(b)
		if (p == nil) == (err == nil) {
			t.Fatalf("there is the program %v and the error %v, want one of the two", p, err)
		}
		if err != nil {
			continue
		}
		read++
		if r := Compare(e, p, 0.1); r.Explained < 0 || r.Explained > 1.000001 {
			t.Fatalf("%g of the bytes are explained", r.Explained)
		}
	}
	if read < 200 || read > 1900 {
		t.Errorf("%d of 2000 changed programs are read: they should be of both kinds", read)
	}
}
