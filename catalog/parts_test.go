package catalog

import (
	"math"
	"testing"

	"elbowroom/blocks"
)

// A four-band equaliser is four biquads one behind the other: words and cycles of
// two shelves and two peaks, timed as those are, and the kernel's code once for
// each response of one variant.
func TestEqualiserIsFourBiquads(t *testing.T) {
	lib := open(t)
	equaliser, err := lib.Block("equaliser")
	if err != nil {
		t.Fatal(err)
	}
	biquad, err := lib.Block("biquad")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range lib.CoreNames() {
		core, err := lib.Core(name)
		if err != nil {
			t.Fatal(err)
		}
		whole, err := use(equaliser, equaliser.Defaults(48000), 2, 48, 48000).Demand(core)
		if err != nil {
			t.Fatal(err)
		}
		var state blocks.Bytes
		cycles, timed := 0.0, true
		for _, response := range []string{"low-shelf", "peak", "peak", "high-shelf"} {
			settings := biquad.Defaults(48000)
			for i, p := range biquad.Params {
				if p.Name == "response" {
					settings[i], _ = p.Read(response, 48000)
				}
			}
			one, err := use(biquad, settings, 2, 48, 48000).Demand(core)
			if err != nil {
				t.Fatal(err)
			}
			state += one.State
			cycles += one.Mean.Value
			timed = timed && one.Basis == whole.Basis
		}
		if whole.State != state {
			t.Errorf("On %s the equaliser has %v of state, and four biquads have %v.", name, whole.State, state)
		}
		if math.Abs(whole.Mean.Value-cycles) > 1e-6*cycles {
			t.Errorf("On %s the equaliser takes %g cycles a block, and four biquads %g.", name, whole.Mean.Value, cycles)
		}
		if !timed {
			t.Errorf("On %s the equaliser's cycles are %v, and the biquads' are not.", name, whole.Basis)
		}
	}
}
