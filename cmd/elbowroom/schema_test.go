package main

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/jsonschema-go/jsonschema"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// draft names the version of JSON Schema that is printed.
const draft = "https://json-schema.org/draft/2020-12/schema"

// TestSchemasAreCurrent holds the files of the folder schemas to what the
// commands print and the catalog has. After a change that is meant
// ELBOWROOM_UPDATE=1 writes them anew.
func TestSchemasAreCurrent(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	made := map[string]func() (*jsonschema.Schema, error){
		schemaOfGraph: func() (*jsonschema.Schema, error) { return graphSchema(lib) },
		"output":      describe[Report]("check"),
		"calibrate":   describe[Calibration]("calibrate"),
		"limits":      describe[LimitsReport]("limits"),
		"lighten":     describe[Lighter]("lighten"),
		"sweep":       describe[SweepReport]("sweep"),
		"delays":      describe[DelaysReport]("delays"),
		"boards":      describe[HoldersReport]("boards --for"),
		"compare":     describe[CompareReport]("compare"),
		"split":       describe[SplitReport]("split"),
		"reconcile":   describe[Reconciliation]("reconcile"),
	}
	if got, want := slices.Sorted(maps.Keys(made)), slices.Sorted(slices.Values(schemaKinds)); !slices.Equal(got, want) {
		t.Errorf("the schemas are %v, and 'schema' takes %v", got, want)
	}
	for kind, describe := range made {
		s, err := describe()
		if err != nil {
			t.Errorf("%s: %v", kind, err)
			continue
		}
		var want bytes.Buffer
		if err := printJSON(&want, s); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join("schemas", kind+".json")
		if os.Getenv("ELBOWROOM_UPDATE") != "" {
			if err := os.WriteFile(file, want.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if got, err := os.ReadFile(file); err != nil || !bytes.Equal(got, want.Bytes()) {
			t.Errorf("%s is not current (%v): run ELBOWROOM_UPDATE=1 go test ./cmd/elbowroom", file, err)
		}
	}
}

// describe describes what a command prints as JSON.
func describe[T any](command string) func() (*jsonschema.Schema, error) {
	return func() (*jsonschema.Schema, error) {
		s, err := jsonschema.For[T](nil)
		if err == nil {
			s.Schema, s.Title = draft, fmt.Sprintf("What 'elbowroom %s --format json' prints", command)
		}
		return s, err
	}
}

// Names under $defs.
const (
	defNode    = "node"
	defUnknown = "block of your own"
	defSources = "sources"
	defCode    = "code"
	defOwnCode = "own-code"
)

// graphSchema describes the graph file: every block with its parameters, so
// that an editor can complete them. A graph that names catalog files of its
// own may use blocks that the schema does not know.
func graphSchema(lib *blocks.Library) (*jsonschema.Schema, error) {
	top := object(
		property("board", "a board class, the marking of a chip, or the path of a board file", anyOf(enum(lib.BoardNames()...), text())),
		property("sample_rate", "", quantity(blocks.UnitFrequency)),
		property("block_size", "samples", quantity(blocks.UnitCount)),
		property("control_rate", "how often control nodes run; once a block where it is left out", quantity(blocks.UnitFrequency)),
		property("tempo", "one value, or a range: note values are sized for the slowest", span(blocks.UnitTempo)),
		property("reserve", "what is to stay free", object(
			property("cpu", "", quantity(blocks.UnitRatio)),
			property("memory", "", quantity(blocks.UnitRatio)),
			property("flash", "", quantity(blocks.UnitRatio)))),
		property("code", "how the code is written and compiled, and which bank of the board it runs from", codeSchema(property("run", "a bank that the board's layout offers; where it is RAM, code is copied there", text()))),
		property("catalog", "files of your own blocks, boards and cores", oneOrMore(text())),
		property("nodes", "", nodesOf(defNode)),
		property("voices", "groups of nodes that run several times", &jsonschema.Schema{
			Type:                 "object",
			AdditionalProperties: require(object(property("count", "", quantity(blocks.UnitCount)), property("nodes", "", nodesOf(defNode)), property("out", "", text())), "count", "nodes", "out"),
		}),
		property("scenes", "parts that never sound together", &jsonschema.Schema{
			Type:                 "object",
			Properties:           map[string]*jsonschema.Schema{"overlay": truth()},
			AdditionalProperties: list(text()),
		}),
		property("symbols", "whose the symbols of the built program are: of a node, or 'system' or 'library', for reconcile", &jsonschema.Schema{
			Type:                 "object",
			AdditionalProperties: oneOrMore(text()),
		}),
		property("regions", "which banks the regions of your linker script are, for check --linker-says: REGION: BANK", mapOf(text())),
	)
	top.Schema, top.Title = draft, "Elbowroom graph"
	require(top, "board", "sample_rate", "block_size", "nodes")
	top.Defs = map[string]*jsonschema.Schema{
		defSources: oneOrMore(text()),
		defCode:    codeSchema(),
		defOwnCode: ownCodeSchema(),
	}
	choices := []*jsonschema.Schema{reference(defOwnCode)}
	known := []string{defOwnCode}
	for _, name := range lib.BlockNames() {
		b, err := lib.Block(name)
		if err != nil {
			return nil, err
		}
		top.Defs[name] = blockSchema(b)
		choices = append(choices, reference(name))
		known = append(known, name)
	}
	top.Defs[defUnknown] = &jsonschema.Schema{
		Type:       "object",
		Required:   []string{"block"},
		Properties: map[string]*jsonschema.Schema{"block": {Type: "string", Not: enum(known...)}},
	}
	// Only where the graph has files of its own may a block be unknown.
	top.Defs[defNode] = anyOf(append(choices, reference(defUnknown))...)
	onlyKnown := &jsonschema.Schema{Type: "object", AdditionalProperties: &jsonschema.Schema{
		Properties: map[string]*jsonschema.Schema{"block": enum(known...)},
	}}
	top.If = &jsonschema.Schema{Not: &jsonschema.Schema{Required: []string{"catalog"}}}
	top.Then = &jsonschema.Schema{Properties: map[string]*jsonschema.Schema{
		"nodes":  onlyKnown,
		"voices": {AdditionalProperties: &jsonschema.Schema{Properties: map[string]*jsonschema.Schema{"nodes": onlyKnown}}},
	}}
	return top, nil
}

// codeSchema describes how code is written, and what more is said of it.
func codeSchema(more ...func(*jsonschema.Schema)) *jsonschema.Schema {
	return object(append([]func(*jsonschema.Schema){
		property("calls", "", enum("block", "sample")),
		property("optimise", "", enum("O2", "Os")),
		property("maths", "", enum("library", "approximate")),
	}, more...)...)
}

// blockSchema describes a node of one block.
func blockSchema(b *blocks.Block) *jsonschema.Schema {
	constant := any(b.Name)
	s := node(&jsonschema.Schema{Const: &constant, Description: b.Title})
	s.Title, s.Description = b.Title, b.About
	if len(b.Inputs) > 0 {
		from := object()
		for _, in := range b.Inputs {
			property(in.Name, in.Kind.String(), reference(defSources))(from)
		}
		property("from", "what feeds it", anyOf(reference(defSources), from))(s)
	}
	for i := range b.Params {
		p := &b.Params[i]
		value := quantity(p.Unit)
		if p.Categorical() {
			value = choice(p)
		}
		about := p.About
		if p.Moved != blocks.Fixed {
			value = anyOf(value, require(object(
				property("from", "what moves it", text()),
				property("span", "how far", span(p.Unit)),
				property("curve", "", enum("linear", "exponential"))), "from", "span"))
		}
		if p.RangeText != "" {
			about += " (" + p.RangeText + ")"
		}
		property(p.Name, about, value)(s)
		if p.Needed {
			require(s, p.Name)
		}
	}
	return s
}

// node describes what every node may have.
func node(block *jsonschema.Schema) *jsonschema.Schema {
	return require(object(
		property("block", "", block),
		property("channels", "", quantity(blocks.UnitCount)),
		property("keep", "no swap may touch it", truth()),
		property("optional", "may be dropped", truth()),
		property("importance", "from 0 to 5; 1 where it is left out", quantity(blocks.UnitRatio)),
		property("bank", "the bank that its buffers lie in, or one for each buffer", anyOf(text(), mapOf(text()))),
		property("code", "", reference(defCode)),
		property("precision", "", enum("single", "double")),
		property("note", "shown with the answer", &jsonschema.Schema{Types: []string{"string", "number", "boolean"}}),
	), "block")
}

// ownCodeSchema describes code that is not in the catalog.
func ownCodeSchema() *jsonschema.Schema {
	constant := any(defOwnCode)
	s := node(&jsonschema.Schema{Const: &constant})
	port := anyOf(enum("audio", "control", "event"), require(object(
		property("kind", "", enum("audio", "control", "event")),
		property("channels", "", quantity(blocks.UnitCount)),
		property("rate", "greatest rate of events", quantity(blocks.UnitFrequency)),
		property("optional", "", truth())), "kind"))
	for _, add := range []func(*jsonschema.Schema){
		property("from", "what feeds it", anyOf(reference(defSources), mapOf(reference(defSources)))),
		property("flash", "", quantity(blocks.UnitBytes)),
		property("state", "", quantity(blocks.UnitBytes)),
		property("stack", "", quantity(blocks.UnitBytes)),
		property("buffers", "", mapOf(quantity(blocks.UnitBytes))),
		property("cycles", "", object(
			property("sample", "", quantity(blocks.UnitCycles)),
			property("block", "", quantity(blocks.UnitCycles)),
			property("event", "", quantity(blocks.UnitCycles)))),
		property("inputs", "", mapOf(port)),
		property("outputs", "", mapOf(port)),
	} {
		add(s)
	}
	s.Title = "Code of your own, with the costs that you state"
	return s
}

// object describes a mapping that has only the given keys.
func object(properties ...func(*jsonschema.Schema)) *jsonschema.Schema {
	s := &jsonschema.Schema{
		Type: "object", Properties: map[string]*jsonschema.Schema{},
		AdditionalProperties: &jsonschema.Schema{Not: &jsonschema.Schema{}},
	}
	for _, add := range properties {
		add(s)
	}
	return s
}

func property(name, about string, value *jsonschema.Schema) func(*jsonschema.Schema) {
	if about != "" {
		value.Description = about
	}
	return func(s *jsonschema.Schema) {
		s.Properties[name] = value
		s.PropertyOrder = append(s.PropertyOrder, name)
	}
}

func require(s *jsonschema.Schema, names ...string) *jsonschema.Schema {
	s.Required = append(s.Required, names...)
	return s
}

func anyOf(choices ...*jsonschema.Schema) *jsonschema.Schema {
	return &jsonschema.Schema{AnyOf: choices}
}

func reference(name string) *jsonschema.Schema {
	return &jsonschema.Schema{Ref: "#/$defs/" + strings.ReplaceAll(name, " ", "%20")}
}

func text() *jsonschema.Schema  { return &jsonschema.Schema{Type: "string"} }
func truth() *jsonschema.Schema { return &jsonschema.Schema{Type: "boolean"} }

func list(of *jsonschema.Schema) *jsonschema.Schema {
	return &jsonschema.Schema{Type: "array", Items: of}
}

func oneOrMore(of *jsonschema.Schema) *jsonschema.Schema { return anyOf(of, list(of)) }

func mapOf(of *jsonschema.Schema) *jsonschema.Schema {
	return &jsonschema.Schema{Type: "object", AdditionalProperties: of}
}

func nodesOf(def string) *jsonschema.Schema {
	s := mapOf(reference(def))
	s.PropertyNames = &jsonschema.Schema{Pattern: "^[A-Za-z][A-Za-z0-9-]*$"}
	least := 1
	s.MinProperties = &least
	return s
}

func enum(words ...string) *jsonschema.Schema {
	s := &jsonschema.Schema{}
	for _, w := range words {
		s.Enum = append(s.Enum, w)
	}
	return s
}

// choice describes a parameter that is one of a few words. YAML takes a word
// of digits for a number.
func choice(p *blocks.Param) *jsonschema.Schema {
	s := &jsonschema.Schema{}
	for _, c := range p.Choices {
		s.Enum = append(s.Enum, c.Name)
		if n, err := strconv.ParseFloat(c.Name, 64); err == nil {
			s.Enum = append(s.Enum, n)
		}
	}
	return s
}

const (
	numberPattern = `[+-]?([1-9][0-9]{0,2}( [0-9]{3})+|[0-9]+)?(\.[0-9]+)?([eE][+-]?[0-9]+)?`
	// otherTimes are note values, otherFrequencies MIDI note numbers and names.
	otherTimes       = `[0-9]+ */ *[0-9]+ *(dotted|triplet)? *(@.*)?`
	otherFrequencies = `midi *[0-9]+(\.[0-9]+)?|[A-G][#b]?-?[0-9]+`
)

// quantity describes a value with its unit. Where the number may stand alone,
// YAML gives it as a number.
func quantity(u blocks.Unit) *jsonschema.Schema {
	return amountSchema(u, "^("+oneQuantity(u)+")$")
}

// span describes a quantity or a range of two.
func span(u blocks.Unit) *jsonschema.Schema {
	// In a range the low end may leave out the unit.
	low := "(" + oneQuantity(u) + "|" + numberPattern + ")"
	return amountSchema(u, "^("+low+` *\.\. *)?(`+oneQuantity(u)+")$")
}

func amountSchema(u blocks.Unit, pattern string) *jsonschema.Schema {
	s := &jsonschema.Schema{Type: "string", Pattern: pattern}
	for _, word := range u.Words() {
		if word == "" {
			s.Type, s.Types = "", []string{"string", "number"}
		}
	}
	return s
}

func oneQuantity(u blocks.Unit) string {
	words := u.Words()
	for i := range words {
		words[i] = regexp.QuoteMeta(words[i])
	}
	pattern := numberPattern + " *(" + strings.Join(words, "|") + ")"
	switch u {
	case blocks.UnitTime:
		pattern += "|" + otherTimes
	case blocks.UnitFrequency:
		pattern += "|" + otherFrequencies
	}
	return pattern
}
