package main

import (
	"fmt"
	"math"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// input finds an input of a node by the name of its port.
func (n *programNode) input(port string) (*estimator.Input, int) {
	for i := range n.Inputs {
		if n.Inputs[i].Port.Name == port {
			return &n.Inputs[i], i
		}
	}
	return nil, -1
}

// usesDMA tells whether the node's jacks are words of a buffer that DMA fills;
// of a node that works in control periods they say how far DMA has come.
func (n *programNode) usesDMA() bool {
	if n.Block().Processes() != blocks.Audio {
		return false
	}
	for _, b := range n.demand.Buffers {
		if b.DMA {
			return true
		}
	}
	return false
}

// local tells whether the pointers of a node's calls are made at each call:
// where DMA changes sides, controls are summed on the way, or samples are
// called one by one.
func (n *programNode) local() bool {
	if n.usesDMA() || n.unit.style.oneSample {
		return true
	}
	for i := range n.Inputs {
		if n.Inputs[i].Port.Kind == blocks.Control && len(n.Inputs[i].Sources) > 1 {
			return true
		}
	}
	return false
}

// inPointers and outPointers are the elements of in[] and out[] for copy v.
func (w *writer) inPointers(n *programNode) []string {
	var list []string
	jacks := 0
	for _, in := range n.unit.kernel.inputs(n.Use.Channels, n.moved) {
		input, index := n.input(in.port)
		switch {
		case in.jack:
			list = append(list, w.jack(n, jacks))
			jacks++
		case len(input.Sources) == 0:
			list = append(list, "silence")
		case len(input.Sources) > 1 && in.kind == blocks.Control:
			list = append(list, fmt.Sprintf("&sum%d", index))
		case len(input.Sources) > 1:
			list = append(list, w.slot(w.sums[wireKey{n.index, -1, index}], 1, in.channel))
		default:
			list = append(list, w.heard(input.Sources[0], n, in.channel))
		}
	}
	return list
}

func (w *writer) outPointers(n *programNode) []string {
	var list []string
	jacks := 0
	for _, out := range n.unit.kernel.outputs(n.Use.PortChannels) {
		if out.jack {
			list = append(list, w.jack(n, jacks))
			jacks++
			continue
		}
		for i := range n.Block().Outputs {
			if n.Block().Outputs[i].Name != out.port {
				continue
			}
			if out.kind == blocks.Control {
				list = append(list, fmt.Sprintf("&%s_control%d[v]", n.id, i))
			} else {
				list = append(list, w.slot(w.wires[wireKey{n.index, -1, i}], n.copies, out.channel))
			}
		}
	}
	return list
}

// jack is the word that stands for a jack: of the half of the DMA buffer that
// is the core's, or one outside of the program.
func (w *writer) jack(n *programNode, jack int) string {
	if n.usesDMA() {
		return fmt.Sprintf("(float *)(void *)%s + program_half * block * %d", w.objectName(w.bufferObject(n, n.unit.kernel.bufferNames()[0], 0)), n.Use.Channels)
	}
	return fmt.Sprintf("&%s_jack[%d]", n.id, jack)
}

// pointers writes in[] and out[] of a node as constants, for each copy.
func (w *writer) pointers(n *programNode) {
	in, out := w.inPointers(n), w.outPointers(n)
	if jacks := len(n.unit.kernel.jacks()); jacks > 0 && !n.usesDMA() {
		w.p("extern float %s_jack[%d];", n.id, jacks)
	}
	if n.local() {
		return
	}
	constant := func(kind, name string, list []string) {
		if len(list) == 0 {
			return
		}
		var rows []string
		for v := range n.copies {
			var row []string
			for _, text := range list {
				row = append(row, forCopy(text, v))
			}
			rows = append(rows, "{"+strings.Join(row, ", ")+"}")
		}
		w.p("static %s *const %s_%s[%d][%d] = {%s};", kind, n.id, name, n.copies, len(list), strings.Join(rows, ", "))
	}
	constant("const float", "in", in)
	constant("float", "out", out)
}

// forCopy puts the number of a copy in the place of v.
func forCopy(text string, v int) string {
	return strings.NewReplacer("[v]", fmt.Sprintf("[%d]", v), "+ v *", fmt.Sprintf("+ %d *", v)).Replace(text)
}

// step writes one step of a node.
func (w *writer) step(n *programNode, half estimator.Half) {
	w.p("    // %s", n.Name)
	w.p("    {")
	defer w.p("    }")
	in, out := w.inPointers(n), w.outPointers(n)
	inName, outName := "0", "0"
	kernelIsAudio := n.Block().Processes() == blocks.Audio
	if half != estimator.WriteHalf {
		for i := range n.Block().Outputs {
			if n.Block().Outputs[i].Kind == blocks.Event {
				w.p("      %s_events%d[v].count = 0;", n.id, i)
			}
		}
	}
	if half != estimator.ReadHalf {
		w.sum(n)
	}
	if !n.local() {
		if len(in) > 0 {
			inName = n.id + "_in[v]"
		}
		if len(out) > 0 {
			outName = n.id + "_out[v]"
		}
	}
	period := func() {
		for i := range n.Inputs {
			if n.Inputs[i].Port.Kind == blocks.Control && len(n.Inputs[i].Sources) > 1 {
				w.controlSum(n, i)
			}
		}
		if half != estimator.WriteHalf {
			w.drives(n)
		}
	}
	arrays := func() {
		if !n.local() {
			return
		}
		if len(in) > 0 {
			w.p("      const float *in[] = {%s};", strings.Join(in, ", "))
			inName = "in"
		}
		if len(out) > 0 {
			w.p("      float *out[] = {%s};", strings.Join(out, ", "))
			outName = "out"
		}
	}
	sent := ""
	if n.unit.kernel.sends() {
		sent = fmt.Sprintf(", %s_sent[v]", n.id)
	}
	for i := range n.Inputs {
		if n.Inputs[i].Port.Kind == blocks.Control && len(n.Inputs[i].Sources) > 1 {
			w.p("      float sum%d = 0;", i)
		}
	}
	if kernelIsAudio {
		w.ticks(period, len(n.Drives) > 0)
		arrays()
		w.p("      HOOK(%d, v, %s);", n.index, inName)
		if half != estimator.ReadHalf {
			w.events(n, inName, sent)
		}
		switch {
		case half == estimator.ReadHalf:
			w.p("      %s(%s, &env%d, %s);", n.call("read_half"), n.state(), n.Use.Channels, outName)
		case half == estimator.WriteHalf:
			w.p("      %s(%s, &env%d, %s);", n.call("write_half"), n.state(), n.Use.Channels, inName)
		case n.unit.style.oneSample:
			w.p("      for (uint32_t i = 0; i < block; i++) {")
			w.p("        %s(%s, &env%d, %s, %s%s);", n.call("sample"), n.state(), n.Use.Channels, inName, outName, sent)
			w.advance(n)
			w.p("      }")
		default:
			w.p("      %s(%s, &env%d, %s, %s%s);", n.call("block"), n.state(), n.Use.Channels, inName, outName, sent)
		}
		return
	}
	arrays()
	w.p("      HOOK(%d, v, %s);", n.index, inName)
	w.events(n, inName, sent)
	if !n.unit.kernel.ticks() {
		return
	}
	w.ticks(func() {
		period()
		w.p("      %s(%s, &env%d, %s, %s%s);", n.call("tick"), n.state(), n.Use.Channels, inName, outName, sent)
	}, true)
}

// ticks writes what is done once a control period.
func (w *writer) ticks(body func(), any bool) {
	switch {
	case !any:
	case w.program.ticks() == 1:
		body()
	default:
		w.p("      for (uint32_t tick = 0; tick < program_ticks; tick++) {")
		body()
		w.p("      }")
	}
}

// advance writes the step of the pointers of a call of one sample to the next.
func (w *writer) advance(n *programNode) {
	for i, in := range n.unit.kernel.inputs(n.Use.Channels, n.moved) {
		if in.kind == blocks.Audio {
			w.p("        in[%d] += %d;", i, strideOf(in, n.Use.Channels))
		}
	}
	for i, out := range n.unit.kernel.outputs(n.Use.PortChannels) {
		if out.kind == blocks.Audio {
			w.p("        out[%d] += %d;", i, strideOf(out, n.Use.Channels))
		}
	}
}

// strideOf is how many words a pointer moves from one sample to the next.
func strideOf(p pointer, channels int) int {
	if p.jack {
		return channels
	}
	return 1
}

// sum writes the sums at the audio inputs of a node.
func (w *writer) sum(n *programNode) {
	for i := range n.Inputs {
		in := &n.Inputs[i]
		wire, sums := w.sums[wireKey{n.index, -1, i}]
		if !sums {
			continue
		}
		for c := range wire.Channels {
			var terms []string
			for _, src := range in.Sources {
				terms = append(terms, w.heard(src, n, c)+"[i]")
			}
			w.p("      for (uint32_t i = 0; i < block; i++) slots[%d][i] = %s;", wire.Slots[c], strings.Join(terms, " + "))
		}
	}
}

// controlSum writes the sum at a control input.
func (w *writer) controlSum(n *programNode, input int) {
	var terms []string
	for _, src := range n.Inputs[input].Sources {
		terms = append(terms, "*"+w.heard(src, n, 0))
	}
	w.p("      sum%d = %s;", input, strings.Join(terms, " + "))
}

// events writes the calls for what has come in on the event inputs.
func (w *writer) events(n *programNode, in, sent string) {
	for i := range n.Inputs {
		if n.Inputs[i].Port.Kind != blocks.Event {
			continue
		}
		for _, src := range n.Inputs[i].Sources {
			from := w.nodes[src.Node]
			v := "0"
			if from.Group >= 0 {
				v = "v"
			}
			list := fmt.Sprintf("%s_events%d[%s]", from.id, src.Port, v)
			w.p("      for (uint32_t e = 0; e < %s.count; e++)", list)
			w.p("        %s(%s, &env%d, &%s.event[e], %s%s);", n.call("event_"+n.Inputs[i].Port.Name), n.state(), n.Use.Channels, list, in, sent)
		}
	}
}

// drives writes how the moved parameters follow what moves them, and the
// updates that they need.
func (w *writer) drives(n *programNode) {
	if len(n.Drives) == 0 {
		return
	}
	for i, d := range n.Drives {
		span := n.Use.Settings[d.Param].Span
		x := "*" + w.heard(d.Source, n, 0)
		if d.Curve == estimator.Exponential {
			w.p("      const float moved%d = %sf * exp2f(%s * %sf);", i, float(float64(float32(span.Low))), x, float(float64(float32(math.Log2(span.High/span.Low)))))
		} else {
			w.p("      const float moved%d = %sf + %s * %sf;", i, float(float64(float32(span.Low))), x, float(float64(float32(span.High-span.Low))))
		}
	}
	for _, up := range n.Block().Operations.Updates {
		var writes []string
		for i, d := range n.Drives {
			name := n.Block().Params[d.Param].Name
			for _, group := range n.unit.updates(name) {
				if group == up.Name {
					writes = append(writes, n.write(i, d, "params", n.unit.offsets["params_"+name]))
				}
			}
		}
		if writes == nil {
			continue
		}
		w.p("      {\n        uint32_t params[%d];\n        memcpy(params, %s_params, sizeof params);", max(1, n.unit.offsets["params"]/4), n.id)
		for _, text := range writes {
			w.p("        %s", text)
		}
		w.p("        %s(%s, &env%d, params);\n      }", n.call("update_"+up.Name), n.state(), n.Use.Channels)
	}
	for i, d := range n.Drives {
		if name := n.Block().Params[d.Param].Name; len(n.unit.updates(name)) == 0 {
			w.p("      %s", n.write(i, d, n.state(), n.unit.offsets["state_"+name]))
		}
	}
}

// write puts a moved value into a struct of the kernel's.
func (n *programNode) write(drive int, d estimator.Drive, into string, offset int) string {
	if p := n.Block().Params[d.Param]; p.Unit == blocks.UnitCount {
		return fmt.Sprintf("%s[%d] = (uint32_t)moved%d;", into, offset/4, drive)
	}
	return fmt.Sprintf("memcpy(&%s[%d], &moved%d, 4);", into, offset/4, drive)
}
