package estimator_test

import (
	"slices"
	"testing"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/estimatortest"
)

// A graph of which one kernel was timed and the others are counted: every part
// still adds up, the code and the library of the timed one stand once, and each
// node says how it is known.
func TestEmulatedAmongCounted(t *testing.T) {
	const text = `board: m4f-168-192k
sample_rate: 48 kHz
block_size: 48
nodes:
  wind:    {block: noise}
  near:    {block: delay, from: wind, time: 10 ms}
  far:     {block: delay, from: near, time: 20 ms}
  reed:    {block: sine, pitch: 200 Hz}
  speaker: {block: audio-out, from: [far, reed]}
`
	read := func(emulated func(*blocks.Use) (*blocks.EmulatedKernel, error)) *estimator.Estimate {
		b := estimatortest.New(t)
		core, err := b.Library.Core("m4f")
		if err != nil {
			t.Fatal(err)
		}
		core.Emulated = emulated
		core.EmulatedBand, core.EmulatedCodeBand = blocks.Band{Low: 0.75, High: 1.25}, blocks.Band{Low: 0.5, High: 2}
		g, errs := readOn(b, "mixed.yaml", text, "", "")
		if g == nil {
			t.Fatalf("the graph did not read:\n%v", errs.Err())
		}
		e := estimate(t, g)
		checkParts(t, e)
		return e
	}
	counted := read(nil)
	mixed := read(func(u *blocks.Use) (*blocks.EmulatedKernel, error) {
		if u.Block.Name != "delay" {
			return nil, nil
		}
		return (&blocks.Emulation{Block: "delay", Core: "m4f", Variants: []blocks.EmulatedVariant{{
			Choices: map[string]string{"format": "float32", "interpolation": "none"},
			Styles: []blocks.EmulatedStyle{{
				Optimise: "O2", Maths: "library", Precision: "single", Stack: 4000,
				Functions: map[string]blocks.Bytes{"block": 500, "start": 70}, // 500 + 72 with words filled up
				Symbols:   map[string]blocks.Bytes{"impure": 1072, "errno": 12},
				Data:      map[string]blocks.Bytes{"impure": 1070}, // 1072 filled up
				Terms:     []blocks.CycleTerm{{Group: "call", Times: "1", Cycles: 100, Costliest: 120}, {Group: "sample", Times: "channels", Cycles: 10, Costliest: 11}},
			}},
		}}}).Kernel(u)
	})
	for i, n := range mixed.Graph.Nodes {
		got, before := &mixed.Nodes[i], &counted.Nodes[i]
		if n.Block().Name != "delay" {
			if got.Basis != blocks.Counted || got.Mean != before.Mean || got.Worst != before.Worst {
				t.Errorf("%s is %v and takes %v cycles in the mean, %v at worst; another's figures leave it counted, at %v and %v", n.Name, got.Basis, got.Mean, got.Worst, before.Mean, before.Worst)
			}
			continue
		}
		// 100 + 48 x 10 and 120 + 48 x 11.
		mean, worst := blocks.Figure{Value: 580, Low: 435, High: 725}, blocks.Figure{Value: 648, Low: 486, High: 810}
		if got.Basis != blocks.Emulated || got.Mean != mean || got.Worst != worst {
			t.Errorf("%s is %v and takes %v cycles in the mean, %v at worst; by hand it is emulated, at %v and %v", n.Name, got.Basis, got.Mean, got.Worst, mean, worst)
		}
	}
	flash := mixed.Banks[mixed.Graph.Board.CodeBank()]
	library := counted.Banks[mixed.Graph.Board.CodeBank()].Parts[estimator.PartLibrary] + 1072 + 12
	if got := flash.Parts[estimator.PartLibrary]; got != library {
		t.Errorf("the library takes %d bytes of flash; the counted part and 1084 bytes, once, are %d", got, library)
	}
	code := slices.IndexFunc(flash.Regions, func(r estimator.Region) bool { return r.Name == "delay (none, float32)" })
	if code < 0 || flash.Regions[code].End-flash.Regions[code].Start != 572 {
		t.Errorf("the code of both delays does not stand once with 572 bytes in %+v", flash.Regions)
	}
	if at := slices.IndexFunc(mixed.Objects, func(o estimator.Object) bool { return o.Name == "library data" }); at < 0 || mixed.Objects[at].Bytes != 1072 {
		t.Errorf("the 1072 bytes that the library keeps in RAM are not among the objects %+v", mixed.Objects)
	}
	if at := slices.IndexFunc(mixed.Objects, func(o estimator.Object) bool { return o.Name == "stack" }); at < 0 || mixed.Objects[at].Bytes != 4000 {
		t.Errorf("the stack of the timed kernel, 4000 bytes, is not among the objects %+v", mixed.Objects)
	}
}
