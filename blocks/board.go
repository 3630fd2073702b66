package blocks

// BankKind is what a memory bank is made of.
type BankKind string

// Kinds of banks, fastest first.
const (
	TightlyCoupled BankKind = "tcm"
	SRAM           BankKind = "sram"
	SDRAM          BankKind = "sdram"
	PSRAM          BankKind = "psram"
	Flash          BankKind = "flash"
	QSPI           BankKind = "qspi"
)

// BankKinds are all kinds, in order.
func BankKinds() []BankKind {
	return []BankKind{TightlyCoupled, SRAM, SDRAM, PSRAM, Flash, QSPI}
}

// Constant tells whether the kind holds what does not change: code and tables.
func (k BankKind) Constant() bool { return k == Flash || k == QSPI }

// Taken is a part of a bank that is not the program's: a cache, a boot
// loader, a region that the ROM uses.
type Taken struct {
	What  string
	Bytes Bytes
	Cites []string
}

// Bank is one addressable memory.
type Bank struct {
	Name    string
	Kind    BankKind
	Base    uint64
	Nominal Bytes // as the datasheet prints it
	Taken   []Taken
	DMA     bool // the audio DMA reaches it

	Read, Write         float64 // core cycles an access costs beyond a tightly coupled one
	Cached              bool    // accesses go by lines
	LineFill, WriteBack float64 // core cycles a line
	// Fetch is what fetching code from a bank that is not cached adds to the
	// cycles of compute, as a share of them; 0 also where no code runs there.
	Fetch float64
	Cites []string
}

// Usable is what the program may use.
func (b *Bank) Usable() Bytes {
	left := b.Nominal
	for _, t := range b.Taken {
		left -= t.Bytes
	}
	return left
}

// Cache is a cache of data or of code.
type Cache struct {
	Bytes, Line Bytes
	Ways        int
	WriteAround bool    // a write that finds no line fetches none
	Maintenance float64 // core cycles a line of a DMA buffer, to clean or to drop it
	Cites       []string
}

// Layout is a bank that code may run from. Where it is RAM, code is copied there
// at the start from where it lies; where it is not the first constant one, code and
// constants lie there.
type Layout struct {
	Bank  int // index in Banks
	Cites []string
}

// SystemBytes is a row of what the run time takes before any node.
type SystemBytes struct {
	What      string
	Bank      int // index in Banks
	Bytes     Bytes
	Confirmed bool // stated by the user or a datasheet, not a plain default
	Cites     []string
}

// Jack is a kind of jack or control, and how many the board has.
type Jack struct {
	Name      string
	Count     int
	Confirmed bool
}

// JackNames are the jacks and controls that a board may have.
func JackNames() []string {
	return []string{"audio_in", "audio_out", "cv_in", "cv_out", "gate_in", "gate_out", "knob", "button", "led", "midi_in", "midi_out"}
}

// Chip is the marking of a chip that a class describes.
type Chip struct {
	Marking string
	Cites   []string
}

// Converter is the audio converter and the control converter.
type Converter struct {
	In, Out   float64 // group delay in samples
	Bits      int     // of the control inputs
	Confirmed bool
	Cites     []string
}

// Codec is a converter chip that a board may name in place of its delays.
type Codec struct {
	Name, Title string
	In, Out     float64 // group delay in samples; 0: none is known, or the chip has no such half
	Cites       []string
	Citations   []Citation
}

// Cite gives the text of a citation.
func (c *Codec) Cite(key string) string { return cite(c.Citations, key) }

// Board is a target.
type Board struct {
	Name, Title, About string
	Core               string
	Clock              Hertz
	Chips              []Chip
	Banks              []Bank // fastest first
	Align              Bytes
	Cache              Cache    // of data, and of constants in flash; zero: none
	CodeCache          Cache    // of code alone; zero: code shares the other where its bank is cached
	Layouts            []Layout // where code may run, first where it runs unless a graph says otherwise; never empty
	StallBand          Band
	System             []SystemBytes
	SystemCycles       Weight // per block
	Jacks              []Jack
	Converter          Converter
	Citations          []Citation
	FromUser           bool
}

// Cite gives the text of a citation.
func (b *Board) Cite(key string) string { return cite(b.Citations, key) }

// BankIndex finds a bank by name, or -1.
func (b *Board) BankIndex(name string) int {
	for i := range b.Banks {
		if b.Banks[i].Name == name {
			return i
		}
	}
	return -1
}

// BankNames are the names of the banks, fastest first.
func (b *Board) BankNames() []string {
	names := make([]string, len(b.Banks))
	for i := range b.Banks {
		names[i] = b.Banks[i].Name
	}
	return names
}

// CodeBank is the index of the bank that code and constant tables lie in unless
// they run from another constant one: the first of these.
func (b *Board) CodeBank() int {
	for i := range b.Banks {
		if b.Banks[i].Kind.Constant() {
			return i
		}
	}
	return -1
}

// LayoutNames are the names of the banks that code may run from.
func (b *Board) LayoutNames() []string {
	names := make([]string, len(b.Layouts))
	for i, l := range b.Layouts {
		names[i] = b.Banks[l.Bank].Name
	}
	return names
}

// Jack finds a jack by name; a board that does not name it has none.
func (b *Board) Jack(name string) Jack {
	for _, j := range b.Jacks {
		if j.Name == name {
			return j
		}
	}
	return Jack{Name: name}
}
