package blocks

// Class is a class of operations that cost alike.
type Class uint8

// Operation classes. Float32 arithmetic first, then integer, memory, flow, the
// wait on a recursion, and library functions.
const (
	OpAdd Class = iota
	OpMul
	OpDiv
	OpSqrt
	OpCompare
	OpConvert
	OpInt
	OpIntMul
	OpIntDiv
	OpLoad
	OpStore
	OpBranch
	OpLoop
	OpChain
	OpSin
	OpCos
	OpTan
	OpTanh
	OpExp
	OpExp2
	OpLog
	OpLog2
	OpPow
	OpAtan2
	OpFloor
	OpFmod
	numClasses
)

var classNames = [numClasses]string{
	OpAdd: "add", OpMul: "mul", OpDiv: "div", OpSqrt: "sqrt", OpCompare: "compare", OpConvert: "convert",
	OpInt: "int", OpIntMul: "imul", OpIntDiv: "idiv", OpLoad: "load", OpStore: "store",
	OpBranch: "branch", OpLoop: "loop", OpChain: "chain",
	OpSin: "sin", OpCos: "cos", OpTan: "tan", OpTanh: "tanh", OpExp: "exp", OpExp2: "exp2", OpLog: "log",
	OpLog2: "log2", OpPow: "pow", OpAtan2: "atan2", OpFloor: "floor", OpFmod: "fmod",
}

// String is the word used in files.
func (c Class) String() string { return classNames[c] }

// IsFunction tells whether the class is a call into the mathematics library.
func (c Class) IsFunction() bool { return c >= OpSin }

// Classes are all classes, in order.
func Classes() []Class {
	all := make([]Class, numClasses)
	for i := range all {
		all[i] = Class(i)
	}
	return all
}

// ParseClass reads the word of a class.
func ParseClass(word string) (Class, bool) {
	for c, name := range classNames {
		if name == word {
			return Class(c), true
		}
	}
	return 0, false
}

// Float is what a core's hardware computes in.
type Float uint8

// Hardware floating point.
const (
	FloatNone Float = iota
	FloatSingle
	FloatDouble
)

var floatNames = [...]string{FloatNone: "none", FloatSingle: "single", FloatDouble: "double"}

// String is the word used in files.
func (f Float) String() string { return floatNames[f] }

// ParseFloat reads none, single or double.
func ParseFloat(word string) (Float, bool) {
	for f, name := range floatNames {
		if name == word {
			return Float(f), true
		}
	}
	return 0, false
}

// Weight is what one operation of a class costs on a core.
type Weight struct {
	Cycles      float64 // ordinary data
	Worst       float64 // the costliest data; at least Cycles
	Approximate float64 // cycles of the approximate form; 0: there is none
	Code        Bytes   // at the place of use
	Library     []string
	Cites       []string
}

// Linked are the routines of some names with all that they need, each once, in
// the order in which they are come to.
func (c *Core) Linked(names []string) []string {
	var list []string
	linked := map[string]bool{}
	var add func(names []string)
	add = func(names []string) {
		for _, name := range names {
			if !linked[name] {
				linked[name] = true
				list = append(list, name)
				add(c.Routines[name].Needs)
			}
		}
	}
	add(names)
	return list
}

// Routine is a library routine, in flash once however often it is used. It is
// named as the member of the archive that holds it, so that it stands once
// beside what emulated kernels are linked with.
type Routine struct {
	Name  string
	Flash Bytes // with the initial values of Data
	Data  Bytes // in RAM
	Stack Bytes // with what it calls
	Needs []string
	Cites []string
}

// Band is the relative edges of an estimate: the truth lies between Low and
// High times the figure.
type Band struct {
	Low, High float64
	Cites     []string
}

// Core is a processor's timing model.
type Core struct {
	Name, Title, About string
	Float              Float
	Weights            [numClasses]Weight
	Double             [numClasses]Weight // of float classes when arithmetic is double; zero: as single
	HasDouble          [numClasses]bool
	Routines           map[string]Routine
	Call               Weight // one kernel call, with its code at the place of use
	PerSample          Weight // a call a sample, with state and coefficients in and out; in place of Call and the block's own call term
	SizeOptimised      struct {
		Cycles, Code float64
		Cites        []string
	}
	Interrupt   Weight // entry and exit
	ComputeBand Band   // of counted cycles
	CodeBand    Band   // of counted code
	// EmulatedBand and EmulatedCodeBand are of kernels that were compiled and
	// timed; zero where the core's file has none, and then all is counted.
	EmulatedBand, EmulatedCodeBand Band
	// Emulated finds the kernel that a use runs among those that were timed on
	// the core; nil: none was. It may be called by several goroutines.
	Emulated  func(u *Use) (*EmulatedKernel, error)
	Citations []Citation
	FromUser  bool
}

// Cite gives the text of a citation.
func (c *Core) Cite(key string) string { return cite(c.Citations, key) }

// emulated is the timed kernel that a use runs; nil: it is counted.
func (c *Core) emulated(u *Use) (*EmulatedKernel, error) {
	if c.Emulated == nil || u.Block.FromUser || len(u.Block.Parts) > 0 {
		return nil, nil
	}
	return c.Emulated(u)
}
