package main

import (
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// Where the catalog says that a kernel may write its main output over its main
// input it gives the same bits when it does: with as many channels as it takes up
// to two, and where all tools are asked for also with one, called per sample, and
// under each of its choices. Where it could and
// the catalog does not say so, the catalog gives away a buffer.
func TestInPlace(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range lib.BlockNames() {
		b, err := lib.Block(name)
		if err != nil {
			t.Fatal(err)
		}
		if b.Processes() != blocks.Audio || len(b.Inputs) == 0 || len(b.Outputs) == 0 ||
			b.Inputs[0].Kind != blocks.Audio || b.Outputs[0].Kind != blocks.Audio {
			if b.InPlace {
				t.Errorf("%s is said to work in place, and has no audio input and output to do so.", name)
			}
			continue
		}
		if len(b.Parts) > 0 { // one behind the other, each of which must
			for _, p := range b.Parts {
				if part, err := lib.Block(p.Block); err != nil || b.InPlace && !part.InPlace {
					t.Errorf("%s is said to work in place, and its part %s is not: %v", name, p.Block, err)
				}
			}
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			same := true
			for _, r := range inPlaceRenderings(b) {
				plain := render(t, r)
				r.InPlace = true
				if !strings.Contains(prepare(t, r).program(), "= (float *)in[") {
					t.Fatalf("The program round %s does not run it in place.", name)
				}
				if over := render(t, r); !maps.EqualFunc(plain, over, func(a, b [][]float32) bool { return slices.EqualFunc(a, b, slices.Equal) }) {
					same = false
					if b.InPlace {
						t.Errorf("%s gives other samples in place, with %v, %d channels and one sample a call %v.", name, r.Choices, r.Channels, r.OneSample)
					}
				}
			}
			if same && !b.InPlace {
				t.Errorf("%s gives the same bits in place, and the catalog does not say so.", name)
			}
		})
	}
}

// inPlaceRenderings are runs of a block on noise.
func inPlaceRenderings(b *blocks.Block) []rendering {
	noise := make([][]float32, 2)
	seed := uint32(1)
	for ch := range noise {
		for range 400 {
			seed ^= seed << 13
			seed ^= seed >> 17
			seed ^= seed << 5
			noise[ch] = append(noise[ch], float32(int32(seed))/(1<<32))
		}
	}
	base := rendering{Block: b.Name, Frames: 384, Params: map[string]float64{}, Inputs: map[string][][]float32{}}
	for i := range b.Params {
		if p := &b.Params[i]; p.Needed && !p.Categorical() {
			limits, _ := p.At(48000)
			base.Params[p.Name] = (limits.Low + limits.High) / 2
		}
	}
	for _, in := range b.Inputs {
		if in.Kind == blocks.Audio {
			base.Inputs[in.Name] = noise
		}
	}
	base.Channels = 2
	if fixed := b.Inputs[0].Channels; fixed > 0 {
		base.Channels = fixed
	}
	list := []rendering{base}
	if os.Getenv("ELBOWROOM_TOOLS") != "required" {
		return list
	}
	one := base
	one.OneSample = true
	list = append(list, one)
	if b.Inputs[0].Channels <= 0 {
		one = base
		one.Channels = 1
		list = append(list, one)
	}
	for i := range b.Params {
		for _, c := range b.Params[i].Choices {
			r := base
			r.Choices = map[string]string{b.Params[i].Name: c.Name}
			list = append(list, r)
		}
	}
	return list
}
