package reconcile

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// estimateWith is the estimate of a graph that names a file of measured bytes;
// "": none.
func estimateWith(t *testing.T, measured, graph string) *estimator.Estimate {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	if measured != "" {
		catalog.Add(lib, source.NewFile("bytes.yaml", []byte(measured)), &errs)
	}
	g := estimator.Read(source.NewFile("night.yaml", []byte(graph)), lib, estimator.Options{}, &errs)
	if g == nil {
		t.Fatalf("%v\n%s", errs.Err(), measured)
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// What was learned of a program is what the estimate then says of it, in every
// group of a node or a block; a delay of twice the length takes twice its line.
func TestLearnedIsEstimated(t *testing.T) {
	p := program(t, "show.elf")
	text, learned := Learn(nightEstimate(t), p, "2026-11-25")
	if learned != 5 {
		t.Errorf("%d nodes and blocks are learned, want rain, echo, cave, noise and delay", learned)
	}
	held := 0
	for _, g := range Compare(estimateWith(t, text, night), p, 0).Groups {
		if g.Owner != OfNode && g.Owner != OfBlock {
			continue
		}
		held++
		if float64(g.Built) != g.Estimated {
			t.Errorf("%s %s takes %d bytes of %s, and %g are estimated after learning them", g.Owner, g.Name, g.Built, g.Bank, g.Estimated)
		}
	}
	if held != 6 {
		t.Errorf("%d groups of nodes and blocks are compared, want three in sram and three in flash", held)
	}
	longer := estimateWith(t, text, `board: m4f-168-192k
sample_rate: 48 kHz
block_size: 48
nodes:
  rain:  {block: noise}
  echo:  {block: delay, from: rain, time: 200 ms, format: int16}
  out:   {block: audio-out, from: echo}
`)
	c := &longer.Nodes[longer.Graph.Node("echo")]
	if got := c.State + c.Buffers; got < 19100 || got > 19250 {
		t.Errorf("a delay of twice the length takes %d bytes, want about twice 9600", got)
	}
}

// lanterns is a graph with two oscillators that read one table, and a delay.
const lanterns = `board: m4f-168-192k
sample_rate: 48 kHz
block_size: 48
nodes:
  moth:  {block: sine, pitch: 220 Hz, method: table}
  wick:  {block: sine, pitch: 330 Hz, method: table}
  echo:  {block: delay, from: [moth, wick], time: 100 ms}
  out:   {block: audio-out, from: echo}
`

// lit is a program of lanterns whose sections are those that are given: what of
// them begins at 0x10000000 (ccm) is copied there from flash.
func lit(symbols ...Symbol) *Program {
	p := &Program{Name: "lit.elf", Symbols: symbols}
	ends := map[uint64]uint64{}
	for _, s := range symbols {
		begin := s.Address &^ 0xffffff
		ends[begin] = max(ends[begin], s.Address+uint64(s.Bytes))
	}
	for begin, end := range ends {
		s := Section{Name: ".part", Address: begin, Stored: begin, Bytes: blocks.Bytes(end - begin), Filled: begin != 0x20000000}
		if begin == 0x10000000 {
			s.Name, s.Stored = ".ramfunc", 0x08010000
		}
		p.Sections = append(p.Sections, s)
	}
	return p
}

// used is what a part takes of a bank by an estimate.
func used(e *estimator.Estimate, bank string, part estimator.Part) blocks.Bytes {
	return e.Banks[e.Graph.Board.BankIndex(bank)].Parts[part]
}

// Functions that run in RAM are learned of flash, from where they are copied, and
// of the bank that they run in: of a node as of a block.
func TestCodeInRAMIsLearned(t *testing.T) {
	p := lit(
		Symbol{Name: "sine_block", Address: 0x08000000, Bytes: 120, Code: true},
		Symbol{Name: "sine_step", Address: 0x10000000, Bytes: 80, Code: true},
		Symbol{Name: "echo_block", Address: 0x10000050, Bytes: 200, Code: true},
		Symbol{Name: "echo_line", Address: 0x20000000, Bytes: 19200},
	)
	before := estimateWith(t, "", lanterns)
	text, learned := Learn(before, p, "2026-11-25")
	if learned != 2 {
		t.Errorf("%d nodes and blocks are learned, want echo and sine:\n%s", learned, text)
	}
	for _, want := range []string{"flash: {built: 200 B, estimated: ", "ram: {ccm: 200 B}}", "sine: {built: 200 B, estimated: ", "ram: {ccm: 80 B}}"} {
		if !strings.Contains(text, want) {
			t.Errorf("What was learned should hold %q:\n%s", want, text)
		}
	}
	e := estimateWith(t, text, lanterns)
	if got := used(e, "ccm", estimator.PartCode); got != 280 {
		t.Errorf("%d bytes of code are estimated in ccm after learning 80 and 200 there.", got)
	}
	for _, g := range Compare(e, p, 0).Groups {
		if g.Owner == OfNode || g.Owner == OfBlock {
			if float64(g.Built) != g.Estimated {
				t.Errorf("%s %s takes %d bytes of %s, and %g are estimated after learning them.", g.Owner, g.Name, g.Built, g.Bank, g.Estimated)
			}
		}
	}
	// What a debugger loads into RAM is not in flash, and says nothing of it.
	for i := range p.Sections {
		p.Sections[i].Stored = p.Sections[i].Address
	}
	if text, _ := Learn(before, p, "2026-11-25"); strings.Contains(text, "ram:") {
		t.Errorf("Code that flash does not hold is learned:\n%s", text)
	}
}

// A table is estimated beside the kernels that read it, once however many they
// are: under whatever name the program has it, it is not learned once more.
func TestTablesCountOnce(t *testing.T) {
	before := estimateWith(t, "", lanterns)
	table := used(before, "flash", estimator.PartTables)
	if table == 0 {
		t.Fatal("No table is estimated for the oscillators.")
	}
	for _, name := range []string{"moth_table", "sine_table", "echo_unused"} {
		p := lit(
			Symbol{Name: "sine_block", Address: 0x08000000, Bytes: 120, Code: true},
			Symbol{Name: name, Address: 0x08000078, Bytes: table},
			Symbol{Name: "echo_line", Address: 0x20000000, Bytes: 19200},
		)
		text, _ := Learn(before, p, "2026-11-25")
		e := estimateWith(t, text, lanterns)
		more := map[string]blocks.Bytes{"echo_unused": table}[name] // echo reads no table: these constants are its own
		if got, want := used(e, "flash", estimator.PartTables)+used(e, "flash", estimator.PartCode), used(before, "flash", estimator.PartTables)+used(before, "flash", estimator.PartCode)-before.Nodes[0].Kernel+120+more; got != want {
			t.Errorf("With %s learned, code and tables take %d bytes by the estimate, want %d:\n%s", name, got, want, text)
		}
		for _, g := range Compare(e, p, 0).Groups {
			if (g.Owner == OfNode || g.Owner == OfBlock) && float64(g.Built) != g.Estimated {
				t.Errorf("With %s, %s %s takes %d bytes of %s, and %g are estimated after learning them.", name, g.Owner, g.Name, g.Built, g.Bank, g.Estimated)
			}
		}
	}
}

// A table that the program has in part is estimated whole, and what it has of it
// is not learned.
func TestTableOfAPart(t *testing.T) {
	before := estimateWith(t, "", lanterns)
	table := used(before, "flash", estimator.PartTables)
	p := lit(
		Symbol{Name: "sine_block", Address: 0x08000000, Bytes: 120, Code: true},
		Symbol{Name: "moth_table", Address: 0x08000078, Bytes: table / 4},
	)
	groups := Compare(before, p, 0).Groups
	i := slices.IndexFunc(groups, func(g Group) bool { return g.Name == "moth" })
	if i < 0 {
		t.Fatalf("No group is of moth, whose table is in the program: %v", groups)
	}
	if g := groups[i]; g.Estimated != float64(table) || g.Built != table/4 {
		t.Errorf("Of a quarter of a table of %d bytes %d are built and %g estimated.", table, g.Built, g.Estimated)
	}
	if text, _ := Learn(before, p, "2026-11-25"); strings.Contains(text, "moth:") {
		t.Errorf("A quarter of a table is learned:\n%s", text)
	}
}

// Two copies of one table are one too many: the second is the node's own.
func TestSecondTableIsLearned(t *testing.T) {
	before := estimateWith(t, "", lanterns)
	table := used(before, "flash", estimator.PartTables)
	text, _ := Learn(before, lit(
		Symbol{Name: "moth_table", Address: 0x08000000, Bytes: table},
		Symbol{Name: "wick_table", Address: 0x08000000 + uint64(table), Bytes: table},
	), "2026-11-25")
	if want := fmt.Sprintf("wick: {block: sine, flash: {built: %d B}}", table); !strings.Contains(text, want) || strings.Contains(text, "moth:") {
		t.Errorf("Of two tables %q should be learned alone:\n%s", want, text)
	}
}
