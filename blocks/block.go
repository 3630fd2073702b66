// Package blocks says what a building block, a board and a core are, and what
// one use of a block demands of a board.
//
// A Block holds the formulas of its memory and the operations of its kernel;
// a Core holds what an operation costs; Block.Demand puts the two together
// for one Use. A Library finds blocks, boards and cores by name and reads them
// when they are first asked for. Nothing here opens a file.
//
// Every figure carries its Basis and the citations of its source.
package blocks

import (
	"fmt"
	"strings"
)

// Kind is what a wire carries.
type Kind uint8

// A wire is audio (a value a sample), control (a value a control period) or
// event (a list of moments in the block).
const (
	Audio Kind = iota
	Control
	Event
)

var kindNames = [...]string{Audio: "audio", Control: "control", Event: "event"}

// String is the word used in files.
func (k Kind) String() string { return kindNames[k] }

// ParseKind reads audio, control or event.
func ParseKind(word string) (Kind, bool) {
	for k, name := range kindNames {
		if name == word {
			return Kind(k), true
		}
	}
	return 0, false
}

// Channel rules of a port; a positive number is a fixed count.
const (
	SameChannels    = 0  // as many as the node has
	AnyChannels     = -1 // whatever the wire carries, or the node says
	CountedChannels = -2 // of an output: as many as a parameter says
)

// Port is an input or an output of a block.
type Port struct {
	Name     string
	Kind     Kind
	Channels int
	Counted  string   // the parameter that says how many, of counted channels
	Optional bool     // an input that may stay unconnected
	Rate     *Formula // of an event output: its greatest rate in hertz
	Most     *Formula // of an event output: the most events in a block, where they may bunch; nil: what the rate brings
}

// Motion is what may move a parameter while the program runs.
type Motion uint8

// A parameter that audio may move, control may move too.
const (
	Fixed Motion = iota
	ByControl
	ByAudio
)

// Param is a parameter of a block: a quantity with a range, or a choice of
// words, each of which sets the same named facts for the formulas.
type Param struct {
	Name    string
	About   string
	Unit    Unit
	Range   Span
	Default Span
	Needed  bool // must be given: there is no default
	Moved   Motion
	// DefaultText and RangeText are as the catalog writes them, for people.
	DefaultText, RangeText string

	Choices []Choice // of a categorical parameter, in order
	Plain   bool     // a choice that does not make another kernel

	slot      int
	movesSlot int // of what may be moved: 1 where something does, else 0
}

// Categorical tells whether the parameter is a choice of words.
func (p *Param) Categorical() bool { return len(p.Choices) > 0 }

// Choice is one word of a categorical parameter.
type Choice struct {
	Name  string
	facts []fact
}

type fact struct {
	slot  int
	value float64
}

// Pattern is how a buffer is walked through.
type Pattern uint8

// A stream goes in order; a tap is a second, perhaps moving, position; random
// is anything else.
const (
	Stream Pattern = iota
	Tap
	Random
)

var patternNames = [...]string{Stream: "stream", Tap: "tap", Random: "random"}

// String is the word used in files.
func (p Pattern) String() string { return patternNames[p] }

// ParsePattern reads stream, tap or random.
func ParsePattern(word string) (Pattern, bool) {
	for p, name := range patternNames {
		if name == word {
			return Pattern(p), true
		}
	}
	return 0, false
}

// Buffer is memory that may be placed in a bank of choice.
type Buffer struct {
	Name    string
	Bytes   *Formula
	Reads   *Formula // accesses a sample
	Writes  *Formula
	Element *Formula // bytes of one access
	Pattern Pattern
	Heads   *Formula  // places at which it is touched, those that coincide once; nil: 1, of taps and random each access
	Each    []float64 // one buffer for each value, with `each` bound to it
	When    *Formula  // present only where this is not zero; nil: always
	Due     string    // the locked recurring work that touches it, all at once; "": touched as samples come
	DMA     bool
	Cites   []string
}

// Table is constant or computed data that every node with an equal key shares.
type Table struct {
	Name   string
	Key    string // {param} stands for a value
	Bytes  *Formula
	Reads  *Formula // accesses a sample; nil: too few to count
	Heads  *Formula // places at which it is read, neighbours once; nil: each access
	When   *Formula
	Order  Pattern // of reads
	Due    string  // the locked recurring work that reads it, all at once; "": read as samples come
	Copied bool    // lies in RAM and is filled at start; else constant, in flash
	Cites  []string
}

// Count is how many operations of a class a term does.
type Count struct {
	Class Class
	Times *Formula
}

// Recurring is work that falls due every so many samples.
type Recurring struct {
	Name   string
	Every  *Formula // samples
	Locked bool     // counted from the first sample; else at an unknown phase
	Offset *Formula // of locked work, in samples; nil: 0
	Counts []Count
}

// Update is work that is done when one of its parameters is moved.
type Update struct {
	Name   string
	When   []string
	Counts []Count
}

// Operations is what a kernel does.
type Operations struct {
	Call      []Count // once a block; of a control block once a control period
	Sample    []Count // once a sample
	Costliest []Count // more of it, a sample, on the costliest path of the data
	Events    map[string][]Count
	Recurring []Recurring
	Updates   []Update
	Cites     []string
}

// JackUse is how many jacks or controls of a name a use takes up.
type JackUse struct {
	Jack  string
	Count *Formula
}

// MetricValue is what a block gives the ear, in the unit of the metric.
type MetricValue struct {
	Metric string
	Value  *Formula
	// Needed is what the ear asks for with these settings; nil: nothing is known.
	Needed *Formula
	// Least takes the least that moved parameters make of it; else the most.
	Least bool
	Cites []string
}

// Substitute is a lighter stand-in: another block, or the same block with
// other parameters.
type Substitute struct {
	Block string             // "" for the same block
	Carry map[string]string  // parameter of the other block: parameter of this one
	Set   map[string]string  // parameters given outright, as a file would write them
	Scale map[string]float64 // numeric parameters times a factor
	Heard string
}

// Part is one of the blocks that a composed block is made of.
type Part struct {
	Name  string
	Block string
	Count *Formula
	Set   map[string]*Formula // numeric parameters of the part
	Pick  map[string]string   // categorical parameters of the part

	block *Block
}

// Block is a kind of building block.
type Block struct {
	Name, Family, Role, Title, About, Equation string
	Called                                     []string // other words of the trade for it, for who looks for it

	Inputs, Outputs []Port
	InPlace         bool // the main output may lie where the main input lies, channel by channel
	Params          []Param

	State, Stack  *Formula // bytes; nil: none
	StateCites    []string
	Buffers       []Buffer
	Tables        []Table
	Operations    Operations
	Instructions  *Formula // static instructions, where counting the terms would be wrong
	Latency       *Formula // samples from input to output; nil: none
	Shortest      *Formula // samples: closes a loop where this is at least a block; nil: never
	LoopGain      *Formula // gain around the block's own loop; nil: no loop
	Gain          *Formula // greatest gain from main input to main output; nil: 1
	Jacks         []JackUse
	Metrics       []MetricValue
	Substitutes   []Substitute
	Parts         []Part
	Citations     []Citation
	FromUser      bool // read from a file of the user's own
	paramsByName  map[string]int
	scope         *Scope
	eventRateSlot map[string]int
}

// Citation is a source, in one line.
type Citation struct{ Key, Text string }

// Param finds a parameter by name.
func (b *Block) Param(name string) (*Param, bool) {
	i, ok := b.paramsByName[name]
	if !ok {
		return nil, false
	}
	return &b.Params[i], true
}

// ParamNames are the names of the parameters, in order.
func (b *Block) ParamNames() []string {
	names := make([]string, len(b.Params))
	for i, p := range b.Params {
		names[i] = p.Name
	}
	return names
}

// Input finds an input by name; the empty name is the main input.
func (b *Block) Input(name string) (*Port, bool) { return port(b.Inputs, name) }

// Output finds an output by name; the empty name is the main output.
func (b *Block) Output(name string) (*Port, bool) { return port(b.Outputs, name) }

func port(ports []Port, name string) (*Port, bool) {
	for i := range ports {
		if name == "" || ports[i].Name == name {
			return &ports[i], true
		}
	}
	return nil, false
}

// onlyParts tells whether the block runs its parts and nothing besides.
func (b *Block) onlyParts() bool { return len(b.Parts) > 0 && len(b.Operations.Formulas()) == 0 }

// Processes tells how often the block's kernel runs: Audio once a block,
// Control once a control period, Event only when one comes.
func (b *Block) Processes() Kind {
	kind := Event
	for _, ports := range [][]Port{b.Inputs, b.Outputs} {
		for _, p := range ports {
			kind = min(kind, p.Kind)
		}
	}
	if kind == Event && len(b.Operations.Call) > 0 {
		return Control
	}
	return kind
}

// Cite gives the text of a citation.
func (b *Block) Cite(key string) string { return cite(b.Citations, key) }

// sources joins the texts of some citations.
func (b *Block) sources(keys []string) string {
	texts := make([]string, len(keys))
	for i, key := range keys {
		texts[i] = b.Cite(key)
	}
	return strings.Join(texts, "; ")
}

func cite(list []Citation, key string) string {
	for _, c := range list {
		if c.Key == key {
			return c.Text
		}
	}
	return ""
}

// Variables of every block's formulas.
const (
	varSampleRate = "sample_rate"
	varBlockSize  = "block_size"
	varChannels   = "channels"
	varEach       = "each"
)

// DefineScope makes the scope that a block's formulas are compiled in: the
// surroundings, the numeric parameters and whether each moves, the facts of the
// choices, and the greatest rate of each event input. It completes the parameters with facts,
// given as their values for each choice in order.
func (b *Block) DefineScope(facts map[string]map[string][]Quantity) (*Scope, error) {
	s := NewScope()
	define := func(name string, d Dimension) (int, error) {
		if err := s.CheckName(name); err != nil {
			return 0, err
		}
		return s.Define(name, d), nil
	}
	for _, v := range []struct {
		name string
		dim  Dimension
	}{{varSampleRate, PerSecond}, {varBlockSize, Plain}, {varChannels, Plain}, {varEach, Plain}} {
		if _, err := define(v.name, v.dim); err != nil {
			return nil, err
		}
	}
	b.paramsByName = map[string]int{}
	for i := range b.Params {
		p := &b.Params[i]
		if _, twice := b.paramsByName[p.Name]; twice {
			return nil, fmt.Errorf("the parameter '%s' stands twice", p.Name)
		}
		b.paramsByName[p.Name] = i
		if !p.Categorical() {
			slot, err := define(p.Name, p.Unit.Dimension())
			if err != nil {
				return nil, err
			}
			p.slot = slot
			if p.Moved != Fixed {
				if p.movesSlot, err = define(p.Name+"_moves", Plain); err != nil {
					return nil, err
				}
			}
			continue
		}
		for name, values := range facts[p.Name] {
			slot, err := define(name, values[0].Dimension)
			if err != nil {
				return nil, err
			}
			for c := range p.Choices {
				p.Choices[c].facts = append(p.Choices[c].facts, fact{slot, values[c].Value})
			}
		}
	}
	b.eventRateSlot = map[string]int{}
	for _, in := range b.Inputs {
		if in.Kind == Event {
			slot, err := define(in.Name+"_rate", PerSecond)
			if err != nil {
				return nil, err
			}
			b.eventRateSlot[in.Name] = slot
		}
	}
	b.scope = s
	return s, nil
}

// Quantity is a fact's value with its dimension.
type Quantity struct {
	Value     float64
	Dimension Dimension
}
