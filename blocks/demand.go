package blocks

// BufferDemand is one buffer of a use.
type BufferDemand struct {
	Name          string
	Bytes         Bytes
	Reads, Writes float64 // accesses a sample
	Element       Bytes
	Pattern       Pattern
	Heads         float64 // places at which it is touched
	DMA           bool
	Turn
}

// Turn is the recurring work that touches memory all at once.
type Turn struct {
	Due   string  // name of the Hop; "": it is touched as samples come
	Every float64 // samples from one turn to the next; 0: touched as samples come
}

// TableDemand is one table of a use; equal keys are charged once.
type TableDemand struct {
	Name   string // in the block's file
	Key    string
	Bytes  Bytes
	Reads  float64 // a sample
	Heads  float64 // places at which it is read
	Order  Pattern // of reads
	Copied bool
	Turn
}

// CodeDemand is a piece of code; equal keys are charged once.
type CodeDemand struct {
	Key   string
	Bytes Figure
	Idle  Bytes       // of them those that run at the start alone
	RAM   []BankBytes // of them those that run in RAM, where they lie a second time
	Basis Basis
}

// LibraryDemand is a member of a library's archive, in a program once however
// many kernels need it.
type LibraryDemand struct {
	Name        string
	Flash, Data Bytes // Data lies in RAM, its initial values in Flash too
	Idle        bool  // runs at the start alone
}

// Hop is work that falls due at known samples.
type Hop struct {
	Name          string  // of the recurring work, in a composed block behind the part's
	Every, Offset float64 // samples
	Cycles        Figure  // each time
}

// Demand is what one use needs.
type Demand struct {
	State    Bytes
	Stack    Bytes
	Buffers  []BufferDemand
	Tables   []TableDemand
	Code     []CodeDemand
	Routines []string        // of counted kernels
	Library  []LibraryDemand // of emulated ones
	Jacks    map[string]int

	// Cycles a block, in the mean and in the costliest block that the data
	// and the events can bring about, hops left out.
	Mean, Worst Figure
	Terms       []Term // of which they are the sums
	Hops        []Hop
	Basis       Basis
	Timed       bool   // of an emulated kernel, whatever was measured since
	Source      string // where the cycles come from

	Latency  float64 // samples from input to output
	Shortest float64 // samples; 0: no legal place to close a loop
	LoopGain float64 // greatest gain around the block's own loop
	Gain     float64 // greatest gain from input to output
}
