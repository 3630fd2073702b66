// Package estimator tells whether a declared graph fits a board.
//
// Read turns a graph file into a Graph, or into all the mistakes of the file.
// Estimate schedules the graph, places its memory, adds up its costs and
// judges every resource; start reading there. Swaps asks what lighter stand-ins
// would help. Nothing here opens a file or looks at a clock.
//
// Costs come from a blocks.Library. Each carries its basis, and every total the
// band that follows from the costs in it.
package estimator

import (
	"math"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// Graph is a declared program on a board: nodes, and what feeds them.
type Graph struct {
	File       *source.File
	Board      *blocks.Board
	Core       *blocks.Core
	SampleRate blocks.Hertz
	BlockSize  int
	Run        int // bank that code runs from, one of the board's layouts
	// ControlRate is how often control nodes run; 0: once a block.
	ControlRate blocks.Hertz
	Tempo       blocks.Span // beats per minute; zero: not given
	Reserve     Reserve
	Nodes       []*Node
	Groups      []*Group
	Scenes      []Scene
	Overlay     bool // scenes share buffers
	// Symbols tell whose the symbols of the built program are, the first that fits.
	Symbols []SymbolPattern
	// Regions tell which banks a linker script's regions are.
	Regions []ScriptRegion
	// Edits are the changes that were made since the file was read, in order.
	Edits []source.Edit

	measured  []*blocks.Measurements // on the board, the earliest first
	elsewhere []string               // boards that something else was measured on

	library *blocks.Library
	opts    Options
	root    source.Value
}

// SymbolPattern says whose symbols and sections of certain names are.
type SymbolPattern struct {
	Place   source.Value // of the owner in the file
	Owner   string       // a node, "system" or "library"
	Pattern string       // as path.Match takes it
}

// ScriptRegion is a name that a linker script gives to a bank.
type ScriptRegion struct {
	Place source.Value // of the bank in the file
	Name  string
	Bank  string
}

// Reserve is the headroom asked for, as shares of the limit.
type Reserve struct{ CPU, Memory, Flash float64 }

// Node is one use of a block.
type Node struct {
	Name       string // within its group: group.name
	Place      source.Value
	Group      int // index in Groups; -1: none
	Use        blocks.Use
	Given      map[string]string // numeric parameters as the file writes them
	Inputs     []Input           // one for each of the block's inputs
	Drives     []Drive
	Keep       bool
	Optional   bool
	Importance float64
	Note       string
	Pin        string            // bank of all its buffers; "": free
	Pins       map[string]string // bank of one buffer

	// Defaults are parameters that decide a cost and that nobody confirmed.
	Defaults []string

	estimated *blocks.Demand // what the use needs, once it was worked out
	demand    *blocks.Demand // the same by what was measured
	built     string         // the program that its bytes were read from; "": none
}

// Block is the node's block.
func (n *Node) Block() *blocks.Block { return n.Use.Block }

// Input is what feeds one input of a node: nothing, one wire, or a sum.
type Input struct {
	Port    *blocks.Port
	Sources []Source
}

// Source is an output of a node, or of a group, as something else names it.
type Source struct {
	Node    int // index in Nodes; of a group, its out node
	Group   int // index in Groups where a group's sum is meant; else -1
	Port    int // index in the outputs of the node's block
	Channel int // one channel of the wire, from 0; -1: all
	Place   source.Value
}

// Curve is how a mover's range maps to a parameter's span.
type Curve uint8

// Curves of a moved parameter.
const (
	Linear Curve = iota
	Exponential
)

// Drive is a parameter moved by another node.
type Drive struct {
	Param  int // index in the block's parameters
	Source Source
	Curve  Curve
}

// Group is a number of voices: nodes that run once for each.
type Group struct {
	Name  string
	Place source.Value
	Count int
	Nodes []int
	Out   int // index in Nodes; -1 where the file names none that exists
}

// Scene is nodes and groups that sound together, and with no other scene.
type Scene struct {
	Name   string
	Nodes  []int
	Groups []int
}

// Copies is how many copies of a node there are: its group's voices, or one.
func (g *Graph) Copies(n *Node) int {
	if n.Group < 0 {
		return 1
	}
	return g.Groups[n.Group].Count
}

// copies is how many copies of all nodes there are.
func (g *Graph) copies() int {
	sum := 0
	for _, n := range g.Nodes {
		sum += g.Copies(n)
	}
	return sum
}

// CodeBank is the bank that code and constants lie in: the one that code runs from,
// or where that is RAM the one that it is copied from.
func (g *Graph) CodeBank() int {
	if g.Board.Banks[g.Run].Kind.Constant() {
		return g.Run
	}
	return g.Board.CodeBank()
}

// CopiesCode tells whether code is copied to RAM at the start and runs there.
func (g *Graph) CopiesCode() bool { return g.Run != g.CodeBank() }

// outChannels is how many channels an output of a node carries.
func (n *Node) outChannels(port int) int {
	p := &n.Block().Outputs[port]
	if p.Kind != blocks.Audio {
		return 1
	}
	return n.Use.PortChannels(p)
}

// Channels is how many channels a source carries.
func (g *Graph) Channels(s Source) int {
	if s.Channel >= 0 {
		return 1
	}
	return g.Nodes[s.Node].outChannels(s.Port)
}

// port is the output that a source names.
func (g *Graph) port(s Source) *blocks.Port { return &g.Nodes[s.Node].Block().Outputs[s.Port] }

// Ticks is how many control periods begin in a block: in the mean, and at most.
func (g *Graph) ticks() (mean, most float64) {
	if g.ControlRate == 0 {
		return 1, 1
	}
	mean = float64(g.ControlRate) * float64(g.BlockSize) / float64(g.SampleRate)
	return mean, math.Ceil(mean)
}
