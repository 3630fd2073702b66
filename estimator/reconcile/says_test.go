package reconcile

import (
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// The words of the linkers: those of GNU ld 2.40 as it printed them of programs
// as in TestSaidByGNU, those of lld from memory of its sources.
func TestSaid(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		want       []Shortage
	}{
		{"nothing", "cc -O2 -c rain.c\nmake: *** [Makefile:3: storm.elf] Error 1\n", nil},
		{"GNU ld within a build", "cc -c rain.c\r\n/usr/bin/ld: x.elf section `.bss' will not fit in region `SRAM'\r\n/usr/bin/ld: region `SRAM' overflowed by 3840 bytes\r\ncollect2: error\r\n",
			[]Shortage{{Line: 2, Region: "SRAM", Sections: []string{".bss"}, Over: 3840}}},
		{"GNU ld, one byte", "ld: region `FLASH' overflowed by 1 byte\n", []Shortage{{Line: 1, Region: "FLASH", Over: 1}}},
		{"a language that quotes otherwise", "ld: region ‘SRAM’ overflowed by 12 bytes\n", []Shortage{{Line: 1, Region: "SRAM", Over: 12}}},
		{"GNU ld without an amount", "ld: x.elf section `.data' will not fit in region `CCM'\n", []Shortage{{Line: 1, Region: "CCM", Sections: []string{".data"}}}},
		{"GNU ld beside a region", "ld: address 0x20003000 of x.elf section `.stack' is not within region `CCM'\n", []Shortage{{Line: 1, Region: "CCM", Sections: []string{".stack"}}}},
		{"GNU ld, sections on each other", "ld: section .two VMA [20000080,200000bf] overlaps section .one VMA [20000000,200000ff]\n",
			[]Shortage{{Line: 1, Address: 0x20000080, Sections: []string{".two", ".one"}, Over: 64}}},
		{"lld, the larger amount", "ld.lld: error: section '.data' will not fit in region 'RAM': overflowed by 40 bytes\nld.lld: error: section '.bss' will not fit in region 'RAM': overflowed by 1064 bytes\n",
			[]Shortage{{Line: 1, Region: "RAM", Sections: []string{".data", ".bss"}, Over: 1064}}},
		{"lld, sections on each other", "ld.lld: error: section .one virtual address range overlaps with .two\n>>> .one range is [0x20000000, 0x200000FF]\n>>> .two range is [0x20000080, 0x200000BF]\n",
			[]Shortage{{Line: 1, Address: 0x20000080, Sections: []string{".one", ".two"}, Over: 64}}},
		{"an amount beyond memory", "region `SRAM' overflowed by 99999999999999999999 bytes\n", []Shortage{{Line: 1, Region: "SRAM"}}},
	} {
		if got := Said(tt.text); !reflect.DeepEqual(got, tt.want) {
			t.Errorf("Of %s there is read %+v, want %+v.", tt.name, got, tt.want)
		}
	}
}

// What the GNU linker prints of programs too large tells the region and the bytes
// that follow from the sizes of the sections and of the regions.
func TestSaidByGNU(t *testing.T) {
	tool(t, "arm-none-eabi-ld", "--version")
	tool(t, "arm-none-eabi-as", "--version")
	folder := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	object := filepath.Join(folder, "barn.o")
	tool(t, "arm-none-eabi-as", "-mcpu=cortex-m4", "-o", object, write("barn.s", ".text\n.space 100\n.bss\n.space 12032\n.section .one,\"aw\"\n.space 256\n.section .two,\"aw\"\n.space 64\n"))
	const regions = "MEMORY { FLASH (rx) : ORIGIN = 0x08000000, LENGTH = 64\n SRAM (rw) : ORIGIN = 0x20000000, LENGTH = 8K\n CCM (rw) : ORIGIN = 0x10000000, LENGTH = 64K }\n"
	for _, tt := range []struct {
		name, sections string
		want           []Shortage
	}{
		{"two full regions", "SECTIONS { .text : { *(.text) } > FLASH\n .bss : { *(.bss) } > SRAM\n .one : { *(.one) } > CCM\n .two : { *(.two) } > CCM }",
			[]Shortage{{Region: "FLASH", Sections: []string{".text"}, Over: 100 - 64}, {Region: "SRAM", Sections: []string{".bss"}, Over: 12032 - 8192}}},
		{"sections on each other", "SECTIONS { .one 0x10000000 : { *(.one) } > CCM\n .two 0x10000080 : { *(.two) } > CCM\n /DISCARD/ : { *(.text) *(.bss) } }",
			[]Shortage{{Address: 0x10000080, Over: 64}}},
	} {
		command := exec.Command("arm-none-eabi-ld", "-T", write("barn.ld", regions+tt.sections), "-o", filepath.Join(folder, "barn.elf"), object)
		command.Env = append(os.Environ(), "LC_ALL=C")
		said, err := command.CombinedOutput()
		if err == nil {
			t.Errorf("Of %s the linker says nothing; it should refuse.", tt.name)
		}
		got := Said(string(said))
		for i := range got {
			if got[i].Line = 0; got[i].Region == "" {
				got[i].Sections = nil // in an order of the linker's
			}
		}
		if !sameShortages(got, tt.want) {
			t.Errorf("Of %s there is read %+v, want %+v:\n%s", tt.name, got, tt.want, said)
		}
	}
}

// sameShortages tells whether two lists hold the same, in any order.
func sameShortages(got, want []Shortage) bool {
	if len(got) != len(want) {
		return false
	}
	for _, w := range want {
		found := false
		for _, g := range got {
			found = found || reflect.DeepEqual(g, w)
		}
		if !found {
			return false
		}
	}
	return true
}

// Regions are banks by the graph's word, by their name as scripts write it, or by
// the address.
func TestBankOfRegion(t *testing.T) {
	e := nightEstimate(t)
	e.Graph.Regions = []estimator.ScriptRegion{{Name: "LOFT", Bank: "sram"}, {Name: "CCM", Bank: "flash"}}
	for region, want := range map[string]int{
		"SRAM": 1, "sram": 1, "CCMRAM": 0, "CCM_RAM": 0, "RAM_CCM": 0, "FLASH": 2, "LOFT": 1, "CCM": 2, "RAM": -1, "S": -1, "CELLAR": -1, "_": -1,
	} {
		if got := BankOfRegion(e.Graph, &Shortage{Region: region}); got != want {
			t.Errorf("The region %s is bank %d, want %d.", region, got, want)
		}
	}
	for address, want := range map[uint64]int{0x20000010: 1, 0x1000ffff: 0, 0x30000000: -1} {
		if got := BankOfRegion(e.Graph, &Shortage{Address: address}); got != want {
			t.Errorf("The address 0x%08x lies in bank %d, want %d.", address, got, want)
		}
	}
}

func FuzzSaid(f *testing.F) {
	f.Add("ld: x.elf section `.bss' will not fit in region `SRAM'\nld: region `SRAM' overflowed by 3840 bytes\n")
	f.Add("section .two VMA [20000080,200000bf] overlaps section .one VMA [20000000,200000ff]\n")
	f.Add("section .one virtual address range overlaps with .two\n>>> .one range is [0x20000000, 0x200000FF]\n>>> .two range is [0x20000080, 0x200000BF]\n")
	e := nightEstimate(f)
	f.Fuzz(func(t *testing.T, text string) {
		lines := strings.Count(text, "\n") + 1
		for _, s := range Said(text) {
			if s.Line < 1 || s.Line > lines || s.Over < 0 || s.Over > blocks.Bytes(1)<<32 {
				t.Fatalf("There is read %+v of %d lines.", s, lines)
			}
			if b := BankOfRegion(e.Graph, &s); b < -1 || b >= len(e.Graph.Board.Banks) {
				t.Fatalf("The region %q is bank %d.", s.Region, b)
			}
		}
	})
}

// A region that the graph gives to no bank of the board is told with its place.
func TestCheckRegions(t *testing.T) {
	e := nightEstimate(t)
	var errs source.Errors
	v := source.FromText("night.yaml", "srma", &errs)
	e.Graph.Regions = []estimator.ScriptRegion{{Place: v, Name: "LOFT", Bank: "srma"}}
	CheckRegions(e.Graph)
	if errs.Len() != 1 || errs.List()[0].Message != "m4f-168-192k has no bank 'srma'" || errs.List()[0].Hint != "did you mean 'sram'?" {
		t.Errorf("The mistakes are %v; there should be one, of 'srma'.", errs.Err())
	}
}
