package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// program is a whole graph as one program in C, laid out as the estimate says.
type program struct {
	graph    *estimator.Graph
	estimate *estimator.Estimate
	core     *core
	units    []*unit
	nodes    []*programNode
	left     []string // nodes without a kernel, which the program has not

	wires map[wireKey]estimator.Wire
	sums  map[wireKey]estimator.Wire // by node and input
	homes map[string]int             // index in the estimate's objects, by the name of each that lies there
}

// unit is a kernel with its choices in one style: what is in flash once.
type unit struct {
	kernel  *kernel
	style   style
	defines []string       // macros that are set
	halves  bool           // its reading and its writing are called apart
	driven  []string       // parameters that control moves and no update takes: the kernel reads them from its state
	offsets map[string]int // bytes of the fields of params and state
}

// programNode is a node as the program has it.
type programNode struct {
	*estimator.Node
	index  int
	id     string // in C
	unit   *unit  // nil: it has no kernel
	number int    // of the unit
	demand *blocks.Demand
	copies int
	split  bool
	scenes []int  // those it runs in; none: it always runs
	moved  string // the parameter that audio moves inside the kernel
}

// wireKey is an output of a node or of a group, or an input that sums.
type wireKey struct{ node, group, port int }

// plan works out what the program of an estimate is made of. The error says
// what a program cannot be written for.
func plan(e *estimator.Estimate, c *core, kernels string) (*program, error) {
	g := e.Graph
	p := &program{graph: g, estimate: e, core: c, wires: map[wireKey]estimator.Wire{}, sums: map[wireKey]estimator.Wire{}, homes: map[string]int{}}
	for _, w := range e.Schedule.Wires {
		key := wireKey{w.From.Node, w.From.Group, w.From.Port}
		if w.Sum {
			p.sums[key] = w
		} else {
			p.wires[key] = w
		}
	}
	for i := range e.Objects {
		for _, name := range strings.Split(e.Objects[i].Name, " / ") {
			p.homes[name] = i
		}
	}
	for i, n := range g.Nodes {
		d, err := n.Use.Demand(g.Core)
		if err != nil {
			return nil, err
		}
		pn := &programNode{Node: n, index: i, id: fmt.Sprintf("n%d_%s", i, inC(n.Name)), demand: d, copies: g.Copies(n), split: slices.Contains(e.Schedule.Split, i)}
		for s := range g.Scenes {
			scene := &g.Scenes[s]
			if slices.Contains(scene.Nodes, i) || n.Group >= 0 && slices.Contains(scene.Groups, n.Group) {
				pn.scenes = append(pn.scenes, s)
			}
		}
		p.nodes = append(p.nodes, pn)
		if n.Use.Own != nil || n.Block().FromUser {
			p.left = append(p.left, n.Name)
			continue
		}
		if err := p.check(n); err != nil {
			return nil, err
		}
		if err := p.compile(pn, kernels); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// check tells what of a node no program is written for.
func (p *program) check(n *estimator.Node) error {
	for _, d := range n.Drives {
		if n.Use.Settings[d.Param].Moved == blocks.ByAudio {
			return fmt.Errorf("'%s' of %s is moved by audio, which no program is written for", n.Block().Params[d.Param].Name, n.Name)
		}
	}
	for _, in := range n.Inputs {
		for _, src := range in.Sources {
			if kind := p.port(src).Kind; in.Port.Kind == blocks.Audio && kind != blocks.Audio {
				return fmt.Errorf("%s takes %v for audio, which no program is written for", n.Name, kind)
			}
		}
	}
	return nil
}

func (p *program) port(s estimator.Source) *blocks.Port {
	return &p.graph.Nodes[s.Node].Block().Outputs[s.Port]
}

// compile finds the unit of a node, or adds it.
func (p *program) compile(n *programNode, kernels string) error {
	k, err := openKernel(kernels, n.Block())
	if err != nil {
		return err
	}
	st := style{optimise: "O2", oneSample: n.Use.Style.PerSample && k.block.Processes() == blocks.Audio,
		approximate: n.Use.Style.Maths == blocks.ApproximateMaths && k.usesMaths(), double: n.Use.Style.Double}
	if n.Use.Style.SizeOptimised {
		st.optimise = "Os"
	}
	choices := map[string]string{}
	for i, param := range k.block.Params {
		if param.Categorical() {
			choices[param.Name] = param.Choices[n.Use.Settings[i].Choice].Name
		}
	}
	var defines []string
	for _, flag := range append(k.defines(choices), st.defines()[1:]...) {
		defines = append(defines, strings.TrimPrefix(flag, "-D"))
	}
	n.number = slices.IndexFunc(p.units, func(u *unit) bool {
		return u.kernel.name == k.name && u.style == st && slices.Equal(u.defines, defines) && u.halves == n.split
	})
	if n.number < 0 {
		n.number = len(p.units)
		p.units = append(p.units, &unit{kernel: k, style: st, defines: defines, halves: n.split})
	}
	n.unit = p.units[n.number]
	for _, d := range n.Drives {
		name := k.block.Params[d.Param].Name
		if len(n.unit.updates(name)) == 0 && !slices.Contains(n.unit.driven, name) {
			n.unit.driven = append(n.unit.driven, name)
		}
	}
	if _, err := os.Stat(filepath.Join(kernels, halvesFile(k))); n.split && err != nil {
		return fmt.Errorf("%s closes a loop, and the kernel of %s cannot give its output before it takes its input", n.Name, k.block.Name)
	}
	return nil
}

// ticks is how many control periods a block has in the mean.
func (p *program) ticks() float64 {
	g := p.graph
	if g.ControlRate == 0 {
		return 1
	}
	return float64(g.ControlRate) * float64(g.BlockSize) / float64(g.SampleRate)
}

// controlRate is that of the control periods, in hertz.
func (p *program) controlRate() float64 {
	return p.ticks() * float64(p.graph.SampleRate) / float64(p.graph.BlockSize)
}

// entries are the functions of a unit that the program calls while it runs.
func (u *unit) entries() []string {
	list := u.kernel.called(u.style.oneSample)
	if u.halves {
		list[0] = u.kernel.name + "_read_half"
		list = append(list, u.kernel.name+"_write_half")
	}
	return list
}

// source is the C file of a unit, as the program has it or as the harness has
// it for all that is not timed.
func (u *unit) source(number int, harness bool) string {
	var text strings.Builder
	prefix := unitPrefix(number)
	names := append(u.kernel.functions(u.style.oneSample), u.kernel.name+"_read_half", u.kernel.name+"_write_half")
	if harness {
		prefix = "harness_" + prefix
		names = append(names, u.kernel.name+"_stimulus")
		text.WriteString("#define KERNEL_STIMULI\n")
	}
	for _, d := range u.defines {
		fmt.Fprintf(&text, "#define %s\n", d)
	}
	for _, f := range names {
		fmt.Fprintf(&text, "#define %s %s%s\n", f, prefix, f)
	}
	fmt.Fprintf(&text, "#include \"%s\"\n", u.file())
	if harness {
		u.sound(&text, prefix)
		u.placeFields(&text)
	}
	return text.String()
}

// file is the kernel's source, or where its halves are called apart the source
// of those, which includes it.
func (u *unit) file() string {
	if u.halves {
		return halvesFile(u.kernel)
	}
	return u.kernel.block.Name + ".c"
}

func halvesFile(k *kernel) string { return k.block.Name + "-halves.c" }

func unitPrefix(number int) string { return fmt.Sprintf("k%d_", number) }

// inC is a name of the graph or the catalog as it may stand in a name in C.
func inC(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return '_'
	}, name)
}

// objectName is the name in the program of an object of the estimate: whose it
// is stands in it, so that the linked program tells.
func (p *program) objectName(at int) string {
	o := &p.estimate.Objects[at]
	name := o.Name
	if o.Part == estimator.PartTables { // named by its key alone
		name = p.graph.Nodes[o.Node].Name + "_" + name
	}
	return fmt.Sprintf("object%d_%s", at, inC(name))
}

// call is the name in the program of a function of the node's kernel.
func (n *programNode) call(function string) string {
	return unitPrefix(n.number) + n.unit.kernel.name + "_" + function
}

// sound writes what fills a memory with the stimulus, so that what has run for a
// while has no silence in it.
func (u *unit) sound(text *strings.Builder, prefix string) {
	k := u.kernel
	fmt.Fprintf(text, "void %ssound(int costliest, void *at, uint32_t bytes) {\n  kernel_sample *to = at;\n  float x[64];\n  uint32_t seed = kernel_seed(0, 0);\n", prefix)
	text.WriteString("  for (uint32_t i = 0; i < bytes / sizeof *to; i++) {\n    if (i % 64 == 0) {\n")
	if k.hears() {
		fmt.Fprintf(text, "      (void)seed;\n      %s_stimulus(costliest, x, 64, 0, i / 64);\n", k.name)
	} else {
		text.WriteString("      (void)costliest;\n      for (int j = 0; j < 64; j++)\n        x[j] = kernel_noise(&seed);\n")
	}
	text.WriteString("    }\n    to[i] = kernel_to_sample(x[i % 64]);\n  }\n}\n")
}

// placeFields writes symbols that are as long as the places in bytes, plus 1, at
// which the kernel's structs keep what the program writes.
func (u *unit) placeFields(text *strings.Builder) {
	k := u.kernel
	symbol := func(name, length string) {
		fmt.Fprintf(text, "__attribute__((used)) static char offset_%s[%s + 1];\n", name, length)
	}
	for _, f := range k.fields() {
		symbol("params_"+f.name, fmt.Sprintf("offsetof(%s_params, %s)", k.name, f.name))
	}
	for _, f := range u.driven {
		symbol("state_"+f, fmt.Sprintf("offsetof(%s_state, %s)", k.name, f))
	}
	symbol("params", fmt.Sprintf("sizeof(%s_params)", k.name))
}

// updates are the groups that a parameter belongs to.
func (u *unit) updates(param string) []string {
	var list []string
	for _, up := range u.kernel.block.Operations.Updates {
		if slices.Contains(up.When, param) {
			list = append(list, up.Name)
		}
	}
	return list
}
