package reconcile

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"elbowroom/blocks"
)

// smallMap is as GNU ld 2.40 writes one.
const smallMap = `Discarded input sections

 .comment       0x00000000       0x27 /tmp/show.o

Linker script and memory map

LOAD /tmp/show.o

.text           0x08000000       0x20
 *(.text*)
 .text.noise_block
                0x08000000        0xe /tmp/show.o
                0x08000000                noise_block
 *fill*         0x0800000e        0x2 
 .text          0x08000010       0x10 /lib/libgcc.a(_arm_muldf3.o)

.data           0x10000000        0x4 load address 0x08000020
 .data          0x10000000        0x4 /tmp/show.o

.bss            0x20000000      0x100 load address 0x08000024
 .bss.echo_line
                0x20000000      0x100 /tmp/show.o
OUTPUT(show.elf elf32-littlearm)

.debug_line     0x00000000      0x2da
`

func TestReadMap(t *testing.T) {
	p, err := ReadMap("show.map", smallMap)
	if err != nil {
		t.Fatal(err)
	}
	r := Compare(nightEstimate(t), p, 0.1)
	// flash: .text 32 bytes and the values of .data, 4; what is cleared is not stored.
	for bank, want := range map[string]blocks.Bytes{"flash": 36, "ccm": 4, "sram": 256} {
		for _, b := range r.Banks {
			if b.Name == bank && b.Built != want {
				t.Errorf("%s holds %d bytes by the map, want %d.", bank, b.Built, want)
			}
		}
	}
	built := map[string]blocks.Bytes{}
	for _, g := range r.Groups {
		built[g.Bank+" "+string(g.Owner)+" "+g.Name] = g.Built
	}
	for group, want := range map[string]blocks.Bytes{"flash block noise": 14, "flash library ": 16, "sram node echo": 256, "ccm unexplained ": 4} {
		if built[group] != want {
			t.Errorf("%s takes %d bytes by the map, want %d of %v.", group, built[group], want, built)
		}
	}
	if p.Unnamed != 20 { // of libgcc 16, of .data 4
		t.Errorf("%d bytes are named by their object alone, want 20.", p.Unnamed)
	}
	if told := strings.Join(r.Waste, "\n"); !strings.Contains(told, "2 B of flash are padding within sections") {
		t.Errorf("The fill of 2 bytes is not told:\n%s", told)
	}
}

// Of sections that have one load address, as GNU ld 2.40 prints it behind
// 'AT> FLASH' for those of NOLOAD, only the last may be stored, where its name
// says so.
func TestMapOfSectionsNotLoaded(t *testing.T) {
	const loft, stack = " .roof          0x20000000      0x100 /tmp/show.o", " *fill*         0x20000000      0x100"
	for _, tt := range []struct {
		before, last, at string
		want             blocks.Bytes // of flash: .data 16, and of the last 32 where it is stored
	}{
		{loft, ".loft", "0x20000100", 16},
		{loft, ".ramfunc", "0x20000100", 48},
		{stack, ".loft", "0x20000100", 16},
		{stack, ".ramfunc", "0x20000100", 48},
		{stack, ".loft", "0x10000100", 48}, // in another memory it has the address by an 'AT>' of its own
	} {
		p, err := ReadMap("loft.map", mapHeading+strings.NewReplacer("BEFORE", tt.before, "LAST", tt.last, "0x20000100", tt.at).Replace(`

.data           0x10000000       0x10 load address 0x08000000
 .data          0x10000000       0x10 /tmp/show.o

.roof           0x20000000      0x100 load address 0x08000010
BEFORE

LAST            0x20000100       0x20 load address 0x08000010
 LAST           0x20000100       0x20 /tmp/show.o
OUTPUT(show.elf elf32-littlearm)
`))
		if err != nil {
			t.Fatal(err)
		}
		if b := Compare(nightEstimate(t), p, 0.1).Banks; b[len(b)-1].Name != "flash" || b[len(b)-1].Built != tt.want {
			t.Errorf("With %s at "+tt.at+" at the end %s holds %d bytes by the map, want %d of flash.", tt.last, b[len(b)-1].Name, b[len(b)-1].Built, tt.want)
		}
	}
}

func TestMapsThatAreRefused(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"nothing", "", "this is no map of a GNU linker"},
		{"a graph", night, "none of its 8 lines"},
		{"an ELF file", "\x7fELF\x01\x01", "this is an ELF file"},
		{"no text", "a\nb\x00", "line 2: this is no text"},
		{"a truncated one", smallMap[:strings.Index(smallMap, "OUTPUT")], "line 22: it ends without the line 'OUTPUT(...)'"},
		{"an address of 64 bits", strings.Replace(smallMap, "0x08000000       0x20", "0xffffffff08000000 0x20", 1), "line 9: the section lies beyond 32 bits"},
		{"a part outside", strings.Replace(smallMap, "0x08000010       0x10", "0x08000010     0x1000", 1), "line 15: .text lies outside of the section .text"},
		{"no section", mapHeading + "\nOUTPUT(x)\n", "below it no section lies in memory"},
		{"a million sections", mapHeading + "\n" + strings.Repeat(".loft 0x20000000 0x10\n", 1_000_000), "line 4098: it has more sections than the 4096"},
		{"a long line", mapHeading + "\n" + strings.Repeat("a", longestMap+1), "line 2: it is longer"},
	} {
		_, err := ReadMap("program.map", tt.text)
		var refused *NotReadableError
		if !errors.As(err, &refused) || !strings.Contains(refused.Error(), tt.want) {
			t.Errorf("%s should be refused with %q, and gives %v.", tt.name, tt.want, err)
		}
	}
}

// The programs in testdata, linked anew: map and ELF put the same bytes into the
// banks, and as many are explained but for what is static and has no section.
func TestMapIsAsELF(t *testing.T) {
	tool(t, "arm-none-eabi-gcc", "--version")
	e := nightEstimate(t)
	for _, name := range []string{"show", "empty"} {
		elf, list := filepath.Join(t.TempDir(), name+".elf"), filepath.Join(t.TempDir(), name+".map")
		tool(t, "arm-none-eabi-gcc", "-mcpu=cortex-m4", "-mthumb", "-mfloat-abi=hard", "-mfpu=fpv4-sp-d16", "-O1", "-fno-common",
			"-ffunction-sections", "-fdata-sections", "-nostdlib", "-Wl,--gc-sections", "-Wl,--build-id=none",
			"-T", filepath.Join(programs, "cart.ld"), "-Wl,-Map="+list, "-o", elf, filepath.Join(programs, name+".c"), "-lgcc")
		read := func(path string) []byte {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			return text
		}
		program, err := parse(read(elf))
		if err != nil {
			t.Fatal(err)
		}
		mapped, err := ReadMap(name+".map", string(read(list)))
		if err != nil {
			t.Fatal(err)
		}
		a, b := Compare(e, program, 0.1), Compare(e, mapped, 0.1)
		for i := range a.Banks {
			if a.Banks[i].Built != b.Banks[i].Built || a.Banks[i].Stack != b.Banks[i].Stack {
				t.Errorf("%s: %s holds %d bytes by the ELF file and %d by the map.", name, a.Banks[i].Name, a.Banks[i].Built, b.Banks[i].Built)
			}
		}
		if b.Explained < a.Explained-0.02 {
			t.Errorf("%s: %.1f %% of the bytes are explained by the ELF file and %.1f %% by the map.", name, 100*a.Explained, 100*b.Explained)
		}
	}
}

func FuzzReadMap(f *testing.F) {
	f.Add(smallMap)
	e := nightEstimate(f)
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ReadMap("program.map", text)
		if (p == nil) == (err == nil) {
			t.Fatalf("There is the program %v and the error %v, want one of the two.", p, err)
		}
		if err != nil {
			return
		}
		if r := Compare(e, p, 0.1); r.Explained < 0 || r.Explained > 1.000001 {
			t.Fatalf("%g of the bytes are explained.", r.Explained)
		}
	})
}
