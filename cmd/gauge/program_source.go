package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// writer writes the program in C. Each object of the estimate is a section of
// its own, so that the linker puts it where the estimate has it.
type writer struct {
	*program
	text strings.Builder
}

func (w *writer) p(format string, args ...any) { fmt.Fprintf(&w.text, format+"\n", args...) }

// section is the attribute that puts memory into an object of the estimate.
func section(object int) string {
	return fmt.Sprintf("__attribute__((section(\".object%d\")))", object)
}

func (p *program) home(name string) int {
	if at, ok := p.homes[name]; ok {
		return at
	}
	return -1
}

// bufferObject is the object in which a buffer of a copy of a node lies; -1:
// the node has no such buffer.
func (p *program) bufferObject(n *programNode, name string, copy int) int {
	full := n.Name + "." + name
	if n.copies > 1 {
		full = fmt.Sprintf("%s voice %d", full, copy+1)
	}
	return p.home(full)
}

// tables are the tables of a node: for each of its block's the key, or "" where
// the settings need none.
func (n *programNode) tables() []string {
	list := make([]string, len(n.Block().Tables))
	for i := range list {
		for _, table := range n.demand.Tables {
			if table.Name == n.Block().Tables[i].Name {
				list[i] = table.Key
			}
		}
	}
	return list
}

// source is the program. With hooks it tells a function outside before each
// call what the kernel is about to hear.
func (p *program) source(hooks bool) string {
	w := &writer{program: p}
	w.p("#include <string.h>\n#include \"kernel.h\"")
	w.p("enum { block = %d };", p.graph.BlockSize)
	w.p("extern uint32_t program_scene, program_ticks, program_half;")
	w.p("#ifdef STANDING\nvoid program_left(float *);\n#else\n#define program_left(wire)\n#endif")
	if hooks {
		w.p("void program_hook(uint32_t node, uint32_t copy, const float *const *in);\n#define HOOK(node, copy, in) program_hook(node, copy, in)")
	} else {
		w.p("#define HOOK(node, copy, in)")
	}
	w.memory()
	w.start()
	w.block()
	return w.text.String()
}

// memory writes all that lies in RAM, and the constants that start reads.
func (w *writer) memory() {
	g := w.graph
	channels := map[int]bool{}
	for _, n := range w.nodes {
		if c := n.Use.Channels; !channels[c] {
			channels[c] = true
			w.p("const kernel_env env%d = {%s, %s, block, %d};", c, float(float64(g.SampleRate)), float(w.controlRate()), c)
		}
	}
	w.p("__attribute__((unused)) static const float silence[block];")
	if w.estimate.Schedule.Slots > 0 {
		w.p("%s static float slots[%d][block];", section(w.home("wires")), w.estimate.Schedule.Slots)
	}
	declared := map[string]bool{}
	for i, u := range w.units {
		sent := ""
		if u.kernel.sends() {
			sent = ", kernel_events *const sent[]"
		}
		for _, f := range append(u.entries(), u.kernel.name+"_start") {
			w.p("void %s%s(%s);", unitPrefix(i), f, signature(u.kernel, f, sent))
		}
	}
	for i := range w.estimate.Objects {
		o := &w.estimate.Objects[i]
		if o.Part == estimator.PartBuffers || o.Part == estimator.PartDMA || o.Part == estimator.PartTables {
			w.p("%s uint8_t %s[%d];", section(i), w.objectName(i), o.Bytes)
		}
	}
	for _, n := range w.nodes {
		for i, key := range n.tables() {
			if key == "" || declared[key] || n.Block().Tables[i].Copied {
				continue
			}
			declared[key] = true
			w.p("__attribute__((section(\".constants\"), aligned(4))) uint8_t %s[%d];", w.table(key), n.tableBytes(key))
		}
	}
	for _, n := range w.nodes {
		w.held(n)
		if n.unit == nil {
			continue
		}
		if n.demand.State > 0 {
			w.p("%s uint32_t %s_state[%d][%d]; // %s", section(w.home("state")), n.id, n.copies, (n.demand.State+3)/4, n.Name)
		}
		w.p("const uint32_t %s_params[%d] = {%s};", n.id, max(1, n.unit.offsets["params"]/4), strings.Join(n.params(), ", "))
		w.buffers(n)
	}
}

func (n *programNode) tableBytes(key string) blocks.Bytes {
	for _, t := range n.demand.Tables {
		if t.Key == key {
			return t.Bytes
		}
	}
	return 0
}

// table names the constants with a key, after the block that first asks for them.
func (w *writer) table(key string) string {
	for _, n := range w.nodes {
		if slices.Contains(n.tables(), key) {
			return "table_" + inC(n.Block().Name+"_"+key)
		}
	}
	return "table_" + inC(key)
}

// held writes what the outputs of a node keep for their readers beside wires.
func (w *writer) held(n *programNode) {
	at := section(w.home("wires"))
	lists := 0
	for i := range n.Block().Outputs {
		switch port := &n.Block().Outputs[i]; port.Kind {
		case blocks.Control:
			w.p("%s float %s_control%d[%d];", at, n.id, i, n.copies)
		case blocks.Event:
			most, err := n.Use.MostEvents(port)
			if err != nil {
				most = 0 // the demand of the node has told the mistake
			}
			w.p("%s static kernel_event %s_event%d[%d][%d];", at, n.id, i, n.copies, max(1, most))
			w.p("%s static kernel_events %s_events%d[%d];", at, n.id, i, n.copies)
			lists++
		}
	}
	if lists == 0 || n.unit == nil {
		return
	}
	var rows []string
	for copy := range n.copies {
		var row []string
		for i := range n.Block().Outputs {
			if n.Block().Outputs[i].Kind == blocks.Event {
				row = append(row, fmt.Sprintf("&%s_events%d[%d]", n.id, i, copy))
			}
		}
		rows = append(rows, "{"+strings.Join(row, ", ")+"}")
	}
	w.p("static kernel_events *const %s_sent[%d][%d] = {%s};", n.id, n.copies, lists, strings.Join(rows, ", "))
}

// params are the words of the kernel's params.
func (n *programNode) params() []string {
	words := make([]string, max(1, n.unit.offsets["params"]/4))
	for i := range words {
		words[i] = "0"
	}
	for _, f := range n.unit.kernel.fields() {
		s := n.Use.Settings[f.param]
		at := n.unit.offsets["params_"+f.name] / 4
		switch {
		case n.Block().Params[f.param].Categorical():
			words[at] = fmt.Sprint(s.Choice)
		case f.whole:
			words[at] = fmt.Sprint(int64(s.Span.High))
		default:
			words[at] = fmt.Sprintf("0x%08x", math.Float32bits(float32(s.Span.High)))
		}
	}
	return words
}

// buffers writes where the buffers and tables of each copy of a node lie.
func (w *writer) buffers(n *programNode) {
	k := n.unit.kernel
	count := k.buffers() + len(k.block.Tables)
	if count == 0 {
		return
	}
	tables := n.tables()
	var rows []string
	for copy := range n.copies {
		var row []string
		for _, name := range k.bufferNames() {
			row = append(row, w.object(w.bufferObject(n, name, copy)))
		}
		for i, key := range tables {
			switch {
			case key == "":
				row = append(row, "0")
			case k.block.Tables[i].Copied:
				row = append(row, w.object(w.home(key)))
			default:
				row = append(row, w.table(key))
			}
		}
		rows = append(rows, "{"+strings.Join(row, ", ")+"}")
	}
	w.p("void *const %s_buffers[%d][%d] = {%s};", n.id, n.copies, count, strings.Join(rows, ", "))
}

func (w *writer) object(at int) string {
	if at < 0 {
		return "0"
	}
	return w.objectName(at)
}

// signature is the parameter list of a kernel's function as the program calls
// it.
func signature(k *kernel, function, sent string) string {
	switch {
	case function == k.name+"_start":
		return "void *s, const kernel_env *env, const void *p, void *const buffers[]"
	case strings.HasPrefix(function, k.name+"_update_"):
		return "void *s, const kernel_env *env, const void *p"
	case strings.HasPrefix(function, k.name+"_event_"):
		return "void *s, const kernel_env *env, const kernel_event *event, const float *const in[]" + sent
	case function == k.name+"_read_half":
		return "const void *s, const kernel_env *env, float *const out[]"
	case function == k.name+"_write_half":
		return "void *s, const kernel_env *env, const float *const in[]"
	}
	return "void *s, const kernel_env *env, const float *const in[], float *const out[]" + sent
}

// start writes the function that brings every kernel into its first state.
func (w *writer) start() {
	w.p("void program_start(void) {")
	for _, n := range w.nodes {
		w.copies(n, func() {
			for i := range n.Block().Outputs {
				if n.Block().Outputs[i].Kind == blocks.Event {
					w.p("    %s_events%d[v].event = %s_event%d[v];", n.id, i, n.id, i)
				}
			}
			if n.unit == nil {
				return
			}
			buffers := "0"
			if n.unit.kernel.buffers()+len(n.Block().Tables) > 0 {
				buffers = n.id + "_buffers[v]"
			}
			w.p("    %s(%s, &env%d, %s_params, %s);", n.call("start"), n.state(), n.Use.Channels, n.id, buffers)
		})
	}
	w.p("}")
}

// state is the state of copy v of a node.
func (n *programNode) state() string {
	if n.demand.State == 0 {
		return "0"
	}
	return n.id + "_state[v]"
}

// copies writes what is done for each copy v of a node.
func (w *writer) copies(n *programNode, body func()) {
	if n.copies > 1 {
		w.p("  for (uint32_t v = 0; v < %d; v++) {", n.copies)
	} else {
		w.p("  {\n    enum { v = 0 };")
	}
	body()
	w.p("  }")
}

// block writes the function that works through one block of time.
func (w *writer) block() {
	// What the calls hear and leave, as constants.
	for _, n := range w.nodes {
		if n.unit != nil {
			w.pointers(n)
		}
	}
	w.p("void program_block(void) {")
	steps := w.estimate.Schedule.Steps
	for at := 0; at < len(steps); {
		group := w.nodes[steps[at].Node].Group
		to := at + 1
		for group >= 0 && to < len(steps) && w.nodes[steps[to].Node].Group == group {
			to++
		}
		w.steps(group, steps[at:to])
		at = to
	}
	w.p("}")
}

// steps writes the steps of one group, or one step outside of groups.
func (w *writer) steps(group int, steps []estimator.Step) {
	n := w.nodes[steps[0].Node]
	if len(n.scenes) > 0 {
		var plays []string
		for _, s := range n.scenes {
			plays = append(plays, fmt.Sprintf("program_scene == %d", s))
		}
		w.p("  if (%s)", strings.Join(plays, " || "))
	}
	w.copies(n, func() {
		for _, s := range steps {
			n := w.nodes[s.Node]
			if n.unit == nil {
				w.stand(n)
				continue
			}
			w.step(n, s.Half)
			if group >= 0 && w.graph.Groups[group].Out == s.Node {
				w.voice(group, n)
			}
		}
	})
}

// stand writes the calls that put noise where a node without a kernel would give
// its output, so that those behind it do not hear silence.
func (w *writer) stand(n *programNode) {
	for port := range n.Block().Outputs {
		wire, ok := w.wires[wireKey{n.index, -1, port}]
		for c := 0; ok && c < wire.Channels; c++ {
			w.p("    program_left(%s);", w.slot(wire, n.copies, c))
		}
	}
}

// voice writes what adds a voice to those before it.
func (w *writer) voice(group int, n *programNode) {
	sum := w.wires[wireKey{n.index, group, 0}]
	own := w.wires[wireKey{n.index, -1, 0}]
	for c := range own.Channels {
		from, to := w.slot(own, n.copies, c), fmt.Sprintf("slots[%d]", sum.Slots[c])
		if n.copies == 1 {
			w.p("    for (uint32_t i = 0; i < block; i++) %s[i] = %s[i];", to, from)
			continue
		}
		w.p("    if (v == 0) for (uint32_t i = 0; i < block; i++) %s[i] = %s[i];", to, from)
		w.p("    else for (uint32_t i = 0; i < block; i++) %s[i] += %s[i];", to, from)
	}
}

// slot is the block buffer of one channel of a wire, of copy v where each keeps
// its own.
func (w *writer) slot(wire estimator.Wire, copies, channel int) string {
	if wire.Copies > 1 && copies > 1 {
		return fmt.Sprintf("slots[%d + v * %d]", wire.Slots[channel], wire.Slots[wire.Channels+channel]-wire.Slots[channel])
	}
	return fmt.Sprintf("slots[%d]", wire.Slots[channel])
}

// heard is one channel of a source as a reader hears it.
func (w *writer) heard(src estimator.Source, reader *programNode, channel int) string {
	from := w.nodes[src.Node]
	switch w.port(src).Kind {
	case blocks.Control:
		v := "0"
		if from.Group >= 0 {
			v = "v"
		}
		return fmt.Sprintf("&%s_control%d[%s]", from.id, src.Port, v)
	default:
		wire := w.wires[wireKey{src.Node, src.Group, src.Port}]
		if src.Channel >= 0 {
			channel = src.Channel
		} else if wire.Channels == 1 {
			channel = 0
		}
		return w.slot(wire, reader.copies, channel)
	}
}
