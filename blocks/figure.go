package blocks

// Basis is how a figure is known.
type Basis uint8

// Bases, the surest first.
const (
	Measured Basis = iota // on the user's own board
	Stated                // by the user or by the board's file
	Emulated              // kernel compiled, run in emulation, timed by a core model
	Counted               // operations of the published equation times class weights
	Modelled              // from the board's memory figures
)

var basisNames = [...]string{Measured: "measured", Stated: "stated", Emulated: "emulated", Counted: "counted", Modelled: "modelled"}

// String is the word used in output.
func (b Basis) String() string { return basisNames[b] }

// Figure is a number with the edges between which the truth is thought to lie.
type Figure struct{ Value, Low, High float64 }

// Exactly is a figure without doubt.
func Exactly(v float64) Figure { return Figure{v, v, v} }

// Within is a figure with a band around it.
func (band Band) Within(v float64) Figure { return Figure{v, v * band.Low, v * band.High} }

// Plus adds figures. Errors of one kind are common to all nodes, so edges add.
func (f Figure) Plus(g Figure) Figure {
	return Figure{f.Value + g.Value, f.Low + g.Low, f.High + g.High}
}

// Times multiplies a figure by a factor that is not negative.
func (f Figure) Times(k float64) Figure { return Figure{f.Value * k, f.Low * k, f.High * k} }
