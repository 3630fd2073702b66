package estimator

import (
	"fmt"
	"strconv"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// ownCode is the block that stands for code of the user's own.
const ownCode = "own-code"

// ownCode reads what the user states of code that is not in the catalog.
func (r *graphReader) ownCode(n *Node, o *source.Object) {
	b := &blocks.Block{
		Name: ownCode, Family: "own", Role: ownCode, Title: "Own code",
		About: "Code of the user's own, with the costs that the graph states.",
	}
	n.Use.Block = b
	own := &blocks.OwnCode{}
	n.Use.Own = own
	bytes := func(o *source.Object, key string) blocks.Bytes {
		v, _ := r.base.ReadValue(o.Take(key), blocks.UnitBytes)
		return blocks.Bytes(v)
	}
	own.Flash, own.State, own.Stack = bytes(o, "flash"), bytes(o, "state"), bytes(o, "stack")
	for _, m := range o.Take("buffers").Object("buffers").Rest() {
		size, ok := r.base.ReadValue(m.Value, blocks.UnitBytes)
		if ok && size > 0 {
			// One word in and one out a sample is what a line does; stated code
			// does not say, so the plainest walk is assumed.
			own.Buffers = append(own.Buffers, blocks.BufferDemand{
				Name: m.Name, Bytes: blocks.Bytes(size), Reads: 1, Writes: 1, Element: 4, Pattern: blocks.Stream,
			})
		}
	}
	cycles := o.Take("cycles").Object("cycles")
	number := func(key string) float64 {
		v, _ := r.base.ReadValue(cycles.Take(key), blocks.UnitCycles)
		return v
	}
	own.SampleCycles, own.CallCycles, own.EventCycles = number("sample"), number("block"), number("event")
	cycles.Done("key")

	inputs, outputs := o.Take("inputs"), o.Take("outputs")
	b.Inputs, b.Outputs = r.ownPorts(inputs, false), r.ownPorts(outputs, true)
	if !inputs.Given() && !outputs.Given() {
		b.Inputs = []blocks.Port{{Name: "in", Kind: blocks.Audio, Optional: true}}
		b.Outputs = []blocks.Port{{Name: "out", Kind: blocks.Audio}}
	}
	if _, err := b.DefineScope(nil); err != nil {
		inputs.Fail("", "the name of an input is taken: %v", err)
	}
}

// ownPorts reads ports, each a kind or a mapping. Only inputs may be optional,
// and an event output needs its greatest rate.
func (r *graphReader) ownPorts(v source.Value, outputs bool) []blocks.Port {
	var ports []blocks.Port
	for _, m := range v.Object("ports").Rest() {
		if !source.IsWords(m.Name, '_') {
			m.Key.Fail("", "a port's name is a lower-case word")
			continue
		}
		p := blocks.Port{Name: m.Name}
		kind, rate := m.Value, source.Value{}
		if m.Value.IsMapping() {
			po := m.Value.Object("the port '" + m.Name + "'")
			kind = po.Need("kind")
			channels := po.Take("channels")
			if ch, ok := r.base.ReadValue(channels, blocks.UnitCount); ok {
				if ch < 1 || ch > maxChannels {
					channels.Fail("", "a wire carries from 1 to %d channels", maxChannels)
				}
				p.Channels = int(ch)
			}
			if outputs {
				rate = po.Take("rate")
			} else {
				p.Optional = po.Take("optional").Truth()
			}
			po.Done("key")
		}
		known := false
		if text := kind.Text("audio, control or event"); kind.IsText() {
			if p.Kind, known = blocks.ParseKind(text); !known {
				kind.Fail(source.DidYouMean(text, []string{"audio", "control", "event"}), "expected audio, control or event, found '%s'", text)
			}
		}
		if greatest, ok := r.base.ReadValue(rate, blocks.UnitFrequency); ok {
			text := strconv.FormatFloat(greatest, 'f', -1, 64) + " * hertz"
			p.Rate, _ = blocks.CompileFormula(text, blocks.NewScope(), blocks.PerSecond) // a number times a unit compiles
		}
		switch event := p.Kind == blocks.Event; {
		case !known || !outputs:
		case !event && rate.Given():
			rate.Fail("", "only an event output has a rate")
		case event && !rate.Given():
			m.Key.Fail(fmt.Sprintf("write it like '%s: {kind: event, rate: 10 Hz}'", m.Name), "the event output '%s' needs its greatest rate", m.Name)
		}
		ports = append(ports, p)
	}
	return ports
}
