package estimator_test

import (
	"testing"

	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// What runs at the start alone is not fetched while audio plays: the sine and
// cosine of a pan that stands still, the exponential of a filter that nothing
// moves. The sizes are of catalog/emulated/m33.
func TestIdleCodeIsNotFetched(t *testing.T) {
	const head = "board: m33-250-640k\nsample_rate: 48 kHz\nblock_size: 64\nnodes:\n  lamp: {block: knob}\n  wind: {block: noise}\n"
	running := func(nodes string) float64 {
		t.Helper()
		g, errs := read(t, source.NewFile("graph.yaml", []byte(head+nodes)))
		if g == nil {
			t.Fatal(errs.Err())
		}
		return float64(estimate(t, g).Constants.Code)
	}
	still := running("  low: {block: one-pole, from: wind, cutoff: 1 kHz}\n  out: {block: audio-out, from: low}\n")
	moved := running("  low: {block: one-pole, from: wind, cutoff: {from: lamp, span: 1 kHz..2 kHz}}\n  out: {block: audio-out, from: low}\n")
	const exponential = 400 // ef_exp and what calls it are more
	if moved-still < exponential {
		t.Errorf("With its cutoff moved a filter runs %.0f bytes and without %.0f: the exponential, over %d bytes, should be among the first alone.", moved, still, exponential)
	}
	panned := running("  place: {block: pan, from: wind, position: 0.3}\n  out: {block: audio-out, from: place}\n")
	plain := running("  out: {block: audio-out, from: wind, channels: 2}\n")
	const sines = 400 // of kf_sin and kf_cos, which only the start of the pan calls
	if panned-plain > sines {
		t.Errorf("A pan that stands still runs %.0f bytes more than none: its sine and cosine should not be among them.", panned-plain)
	}
	g, _ := read(t, source.NewFile("graph.yaml", []byte(head+"  place: {block: pan, from: wind, position: 0.3}\n  out: {block: audio-out, from: place}\n")))
	if all := float64(estimate(t, g).Banks[g.Board.CodeBank()].Parts[estimator.PartLibrary]); all < 3000 {
		t.Errorf("The library of a pan takes %.0f bytes of flash: sine, cosine and what they need, over 3000, should be charged.", all)
	}
}
