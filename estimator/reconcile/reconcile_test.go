package reconcile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

const programs = "../../testdata/programs"

// night is the graph that testdata/programs/show.c is built from.
const night = `board: m4f-168-192k
sample_rate: 48 kHz
block_size: 48
nodes:
  rain:  {block: noise}
  echo:  {block: delay, from: rain, time: 100 ms, format: int16}
  cave:  {block: comb, from: echo}
  out:   {block: audio-out, from: cave}
`

func nightEstimate(t testing.TB) *estimator.Estimate {
	t.Helper()
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	g := estimator.Read(source.NewFile("night.yaml", []byte(night)), lib, estimator.Options{}, &errs)
	if g == nil {
		t.Fatal(errs.Err())
	}
	e, err := g.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func contents(t testing.TB, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(programs, name))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func parse(text []byte) (*Program, error) {
	return Read("program.elf", bytes.NewReader(text), int64(len(text)))
}

func program(t testing.TB, name string) *Program {
	t.Helper()
	p, err := parse(contents(t, name))
	if err != nil {
		t.Fatalf("%s cannot be read: %v", name, err)
	}
	return p
}

// tool runs one of the outside tools; without it the test skips, or fails where
// the tools are required.
func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("ELBOWROOM_TOOLS") == "required" {
			t.Fatalf("%s is required and missing", name)
		}
		t.Skipf("needs %s, of Debian's binutils-arm-none-eabi", name)
	}
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return string(out)
}

// The sections are those of the GNU size program, and where they are stored that
// of readelf, on every program in testdata/programs.
func TestSectionsAgreeWithGNU(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(programs, "*.elf"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%s holds no programs (%v)", programs, err)
	}
	for _, file := range files {
		p := program(t, filepath.Base(file))
		want := map[string][2]uint64{}
		row := regexp.MustCompile(`(?m)^(\.\S+)\s+(\d+)\s+(\d+)$`)
		for _, m := range row.FindAllStringSubmatch(tool(t, "arm-none-eabi-size", "-A", file), -1) {
			bytes, _ := strconv.ParseUint(m[2], 10, 64)
			at, _ := strconv.ParseUint(m[3], 10, 64)
			if bytes > 0 {
				want[m[1]] = [2]uint64{bytes, at}
			}
		}
		if len(want) != len(p.Sections) {
			t.Errorf("%s has %d sections by size, and %d are read", file, len(want), len(p.Sections))
		}
		load := tool(t, "arm-none-eabi-readelf", "-lW", file)
		for _, s := range p.Sections {
			if got := [2]uint64{uint64(s.Bytes), s.Address}; want[s.Name] != got {
				t.Errorf("%s: %s is %v bytes at its address, by size %v", file, s.Name, got, want[s.Name])
			}
			segment := regexp.MustCompile(`LOAD\s+\S+ 0x0*` + strconv.FormatUint(s.Address, 16) + ` 0x(\S+) 0x\S+ 0x(\S+)`)
			if m := segment.FindStringSubmatch(load); m != nil {
				if at, _ := strconv.ParseUint(m[1], 16, 64); at != s.Stored {
					t.Errorf("%s: %s is stored at 0x%x, by readelf at 0x%x", file, s.Name, s.Stored, at)
				}
			}
		}
	}
}

// What is built lies in the banks to the byte: the figures are those that
// arm-none-eabi-size 2.40 printed of show.elf and its linker script.
func TestBanksAreExact(t *testing.T) {
	p := program(t, "show.elf")
	e := nightEstimate(t)
	sizes := map[string]blocks.Bytes{}
	for _, s := range p.Sections {
		sizes[s.Name] = s.Bytes
	}
	want := map[string]blocks.Bytes{
		"flash": sizes[".vectors"] + sizes[".text"] + sizes[".data"], "ccm": sizes[".data"] + sizes[".stack"], "sram": sizes[".bss"],
	}
	if sizes[".bss"] != 12032 || sizes[".stack"] != 1024 {
		t.Fatalf("the sections are %v; by size .bss has 12032 bytes and .stack 1024", sizes)
	}
	r := Compare(e, p, 0.1)
	for _, b := range r.Banks {
		if b.Built-b.Padding != want[b.Name] {
			t.Errorf("%s holds %d bytes, want %d", b.Name, b.Built-b.Padding, want[b.Name])
		}
	}
}

// Symbols find their owners, and what is for nothing is told.
func TestOwnersAndWaste(t *testing.T) {
	r := Compare(nightEstimate(t), program(t, "show.elf"), 0.1)
	built := map[string]blocks.Bytes{}
	for _, g := range r.Groups {
		built[g.Bank+" "+string(g.Owner)+" "+g.Name] = g.Built
	}
	// As show.c declares them: 4800 values of 2 bytes, 600 and 8 of 4.
	for key, want := range map[string]blocks.Bytes{"sram node echo": 9600, "sram node cave": 2400, "sram node rain": 32, "ccm system ": 1024} {
		if built[key] != want {
			t.Errorf("%s takes %d bytes, want %d of %v", key, built[key], want, built)
		}
	}
	if built["flash block delay"] == 0 || built["flash library "] == 0 {
		t.Errorf("delay_block is the delay's and __muldf3 the library's: %v", built)
	}
	if r.Explained < 0.98 {
		t.Errorf("%.1f %% of the bytes are explained, want 98 %%", 100*r.Explained)
	}
	told := strings.Join(r.Waste, "\n")
	for _, want := range []string{"routines of double precision", "cave_window_one and cave_window_two hold the same 128 B twice"} {
		if !strings.Contains(told, want) {
			t.Errorf("what is for nothing should hold %q:\n%s", want, told)
		}
	}
	if r.Agrees {
		t.Error("12 KiB in a bank where none was estimated are said to agree")
	}
}

// Symbols are told apart by whole words: what only begins like a function of the
// C library is the user's own.
func TestWhoseASymbolIs(t *testing.T) {
	e := nightEstimate(t)
	e.Graph.Symbols = []estimator.SymbolPattern{{Owner: "cave", Pattern: "hall_*"}, {Owner: "system", Pattern: "tick?"}, {Owner: "gone", Pattern: "*"}}
	o := newOwners(e.Graph)
	for _, tt := range []struct {
		symbol string
		want   owned
	}{
		{"echo_line", owned{OfNode, "echo"}}, {"theEchoLine", owned{OfNode, "echo"}}, {"echoes", owned{Unexplained, ""}},
		{"k3_delay_block", owned{OfBlock, "delay"}}, {"audio_out_dma", owned{OfBlock, "audio-out"}}, {"out_gain", owned{OfNode, "out"}},
		{"hall_lines", owned{OfNode, "cave"}}, {"tick7", owned{OfSystem, ""}}, {"ticks99", owned{Unexplained, ""}},
		{"sinf", owned{OfLibrary, ""}}, {"sinf.part.0", owned{OfLibrary, ""}}, {"single_sample", owned{Unexplained, ""}},
		{"__muldf3", owned{OfLibrary, ""}}, {"__aeabi_dmul", owned{OfLibrary, ""}}, {"__udivmoddi4", owned{OfLibrary, ""}}, {"__lamp", owned{Unexplained, ""}},
		{"memory_of_moths", owned{Unexplained, ""}}, {"memset", owned{OfLibrary, ""}}, {"_malloc_r", owned{OfLibrary, ""}}, {"__exp2f_data", owned{OfLibrary, ""}}, {"logbook", owned{Unexplained, ""}},
		{"main", owned{OfSystem, ""}}, {"mainsail", owned{Unexplained, ""}}, {"DMA1_Stream0_IRQHandler", owned{OfSystem, ""}}, {"", owned{Unexplained, ""}},
	} {
		if got := o.symbol(tt.symbol); got != tt.want {
			t.Errorf("%q belongs to %v, want %v", tt.symbol, got, tt.want)
		}
	}
}

// An empty program's sizes go into a file that a graph is answered with: its
// bytes stand in place of the board's rows, without the stack.
func TestSystemReadsBack(t *testing.T) {
	e := nightEstimate(t)
	text := System(e.Graph.Board, program(t, "empty.elf"))
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	var errs source.Errors
	load := func(source.Value) string { return catalog.Add(lib, source.NewFile("system.yaml", []byte(text)), &errs) }
	g := estimator.Read(source.NewFile("night.yaml", []byte("catalog: system.yaml\n"+night)), lib, estimator.Options{Load: load}, &errs)
	if g == nil {
		t.Fatalf("%v\n%s", errs.Err(), text)
	}
	rows := map[string]blocks.Bytes{}
	for _, row := range g.Board.System {
		rows[g.Board.Banks[row.Bank].Name+" "+row.What] += row.Bytes
	}
	// .data 4 bytes, .bss 64, by arm-none-eabi-size 2.40; the stack's row is the board's.
	if len(rows) != 4 || rows["ccm measured"] != 4 || rows["sram measured"] != 64 || rows["ccm stack"] != 1024 || rows["flash measured"] == 0 {
		t.Errorf("the system's rows are %v, want ccm 4, sram 64, flash, and the stack's 1024", rows)
	}
}

// broken is show.elf with some bytes changed.
func broken(t testing.TB, change func(b []byte) []byte) []byte {
	return change(bytes.Clone(contents(t, "show.elf")))
}

func TestHostilePrograms(t *testing.T) {
	put16 := func(at int, v uint16) func([]byte) []byte {
		return func(b []byte) []byte { binary.LittleEndian.PutUint16(b[at:], v); return b }
	}
	put8 := func(at int, v byte) func([]byte) []byte {
		return func(b []byte) []byte { b[at] = v; return b }
	}
	sections := int(binary.LittleEndian.Uint32(contents(t, "show.elf")[32:]))
	for _, tt := range []struct {
		name   string
		change func([]byte) []byte
		want   string
	}{
		{"nothing", func([]byte) []byte { return nil }, "this is no ELF file"},
		{"text", func([]byte) []byte { return []byte(strings.Repeat("board: cart\n", 9)) }, "this is no ELF file"},
		{"64-bit", put8(4, 2), "64-bit processor"},
		{"big-endian", put8(5, 2), "big-endian"},
		{"x86", put16(18, 3), "a program for 386"},
		{"an object", put16(16, 1), "not linked to an end"},
		{"truncated", func(b []byte) []byte { return b[:len(b)/2] }, "beyond the end of the file"},
		{"a header alone", func(b []byte) []byte { return b[:52] }, "beyond the end of the file"},
		{"60,000 sections", put16(48, 60000), "more sections than the 4096"},
		{"a million sections", func(b []byte) []byte { // the count stands in the size of the first
			binary.LittleEndian.PutUint16(b[48:], 0)
			binary.LittleEndian.PutUint32(b[sections+20:], 1_000_000)
			return b
		}, "more sections than the 4096"},
		{"long names of sections", func(b []byte) []byte {
			at := sections + 40*int(binary.LittleEndian.Uint16(b[50:]))
			binary.LittleEndian.PutUint32(b[at+20:], 1<<20)
			return b
		}, "longer than the 64 KiB"},
		{"compressed names of sections", func(b []byte) []byte {
			at := sections + 40*int(binary.LittleEndian.Uint16(b[50:]))
			binary.LittleEndian.PutUint32(b[at+8:], 0x800)
			return b
		}, "are compressed"},
		{"4,096 symbols that share one name of 1 MiB", func(b []byte) []byte {
			names, table := bytes.Repeat([]byte{'a'}, 1<<20), make([]byte, 16*4096)
			for i := range 4096 {
				table[16*i] = 1
			}
			for i := range int(binary.LittleEndian.Uint16(b[48:])) {
				at := sections + 40*i
				switch kind := binary.LittleEndian.Uint32(b[at+4:]); {
				case kind == 2: // the symbols
					binary.LittleEndian.PutUint32(b[at+16:], uint32(len(b)))
					binary.LittleEndian.PutUint32(b[at+20:], uint32(len(table)))
				case kind == 3 && i != int(binary.LittleEndian.Uint16(b[50:])): // their names
					binary.LittleEndian.PutUint32(b[at+16:], uint32(len(b)+len(table)))
					binary.LittleEndian.PutUint32(b[at+20:], uint32(len(names)))
				}
			}
			return append(append(b, table...), names...)
		}, "too much to read"},
		{"an offset past the end", func(b []byte) []byte { // of the first section after the empty one
			binary.LittleEndian.PutUint32(b[sections+40+16:], 0x7fffffff)
			return b
		}, "beyond the end of the file"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := parse(broken(t, tt.change))
			var refused *NotReadableError
			if !errors.As(err, &refused) || !strings.Contains(refused.Error(), tt.want) {
				t.Errorf("the program should be refused with %q, and gives %v", tt.want, err)
			}
		})
	}
}

func FuzzRead(f *testing.F) {
	for _, name := range []string{"show.elf", "empty.elf"} {
		f.Add(contents(f, name))
	}
	e := nightEstimate(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := parse(text)
		if (p == nil) == (err == nil) {
			t.Fatalf("there is the program %v and the error %v, want one of the two", p, err)
		}
		if err != nil {
			return
		}
		r := Compare(e, p, 0.1)
		if r.Explained < 0 || r.Explained > 1.000001 {
			t.Fatalf("%g of the bytes are explained", r.Explained)
		}
		for _, b := range r.Banks {
			if b.Built < 0 || b.Stack > b.Built {
				t.Fatalf("%s holds %d bytes, of which %d for the stack", b.Name, b.Built, b.Stack)
			}
		}
	})
}
