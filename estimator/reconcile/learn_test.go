package reconcile

import (
	"testing"

	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// What was learned of a program is what the estimate then says of it, in every
// group of a node or a block; a delay of twice the length takes twice its line.
func TestLearnedIsEstimated(t *testing.T) {
	p := program(t, "show.elf")
	text, learned := Learn(nightEstimate(t), p, "2026-11-25")
	if learned != 5 {
		t.Errorf("%d nodes and blocks are learned, want rain, echo, cave, noise and delay", learned)
	}
	estimate := func(graph string) *estimator.Estimate {
		lib, err := catalog.Open()
		if err != nil {
			t.Fatal(err)
		}
		var errs source.Errors
		catalog.Add(lib, source.NewFile("bytes.yaml", []byte(text)), &errs)
		g := estimator.Read(source.NewFile("night.yaml", []byte(graph)), lib, estimator.Options{}, &errs)
		if g == nil {
			t.Fatalf("%v\n%s", errs.Err(), text)
		}
		e, err := g.Estimate()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	held := 0
	for _, g := range Compare(estimate(night), p, 0).Groups {
		if g.Owner != OfNode && g.Owner != OfBlock {
			continue
		}
		held++
		if float64(g.Built) != g.Estimated {
			t.Errorf("%s %s takes %d bytes of %s, and %g are estimated after learning them", g.Owner, g.Name, g.Built, g.Bank, g.Estimated)
		}
	}
	if held != 6 {
		t.Errorf("%d groups of nodes and blocks are compared, want three in sram and three in flash", held)
	}
	longer := estimate(`board: m4f-168-192k
sample_rate: 48 kHz
block_size: 48
nodes:
  rain:  {block: noise}
  echo:  {block: delay, from: rain, time: 200 ms, format: int16}
  out:   {block: audio-out, from: echo}
`)
	c := &longer.Nodes[longer.Graph.Node("echo")]
	if got := c.State + c.Buffers; got < 19100 || got > 19250 {
		t.Errorf("a delay of twice the length takes %d bytes, want about twice 9600", got)
	}
}
