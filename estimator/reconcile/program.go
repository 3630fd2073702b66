// Package reconcile holds the estimate of a graph against the program that was
// built from it.
//
// Read reads a linked program, Compare says of every bank what was estimated and
// what was built, and whose the built bytes are.
package reconcile

import (
	"bufio"
	"bytes"
	"debug/elf"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"

	"elbowroom/blocks"
)

// Limits of what is read of a program.
const (
	maxSections = 4096
	maxSymbols  = 1 << 20
	maxContents = 16 << 20 // bytes of constants that are compared
	symbolBytes = 16       // of a symbol's entry in 32-bit ELF
	headBytes   = 40       // of a section's entry
	maxTitles   = 64 << 10 // bytes of the names of all sections
	maxNames    = 1 << 30  // bytes that the names of all symbols may come to
)

// Section is what the linker laid at one place.
type Section struct {
	Name    string
	Address uint64 // where the program finds it
	Stored  uint64 // where its contents lie in flash; Address: where they are used
	Bytes   blocks.Bytes
	Filled  bool // has contents in the file
}

// Symbol is a function or a piece of data.
type Symbol struct {
	Name     string
	Address  uint64
	Bytes    blocks.Bytes
	Code     bool
	contents []byte // of constants; nil: not looked at
	object   string // that it comes from, by a map; "": not known
}

// Program is a linked program.
type Program struct {
	Name     string
	Sections []Section
	Symbols  []Symbol
	Unnamed  blocks.Bytes // of Symbols, those that a map names by their object alone
	fills    []fill       // within sections, by a map
}

// fill is padding within a section.
type fill struct {
	address uint64
	bytes   blocks.Bytes
}

// NotReadableError tells why a file is no program that can be reconciled.
type NotReadableError struct{ Name, Why, Hint string }

func (e *NotReadableError) Error() string { return e.Name + ": " + e.Why }

// Read reads a linked program in ELF, for a 32-bit little-endian processor. What
// cannot be read is a *NotReadableError.
func Read(name string, file io.ReaderAt, size int64) (*Program, error) {
	refuse := func(hint, format string, args ...any) (*Program, error) {
		return nil, &NotReadableError{name, fmt.Sprintf(format, args...), hint}
	}
	var head [52]byte
	n, err := file.ReadAt(head[:], 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if n < len(head) || !bytes.HasPrefix(head[:], []byte(elf.ELFMAG)) {
		return refuse("name the file that the linker wrote, often program.elf, not the .bin or .hex made from it", "this is no ELF file")
	}
	switch {
	case elf.Class(head[elf.EI_CLASS]) != elf.ELFCLASS32:
		return refuse("", "this is a program for a 64-bit processor, and the boards are 32-bit")
	case elf.Data(head[elf.EI_DATA]) != elf.ELFDATA2LSB:
		return refuse("", "this is a big-endian program, and the boards are little-endian")
	}
	machine := elf.Machine(binary.LittleEndian.Uint16(head[18:]))
	if machine != elf.EM_ARM && machine != elf.EM_XTENSA {
		return refuse("", "this is a program for %s, and the boards are Arm and Xtensa", strings.TrimPrefix(machine.String(), "EM_"))
	}
	if kind := elf.Type(binary.LittleEndian.Uint16(head[16:])); kind != elf.ET_EXEC {
		return refuse("link it first: only then do its parts have addresses", "this is not linked to an end")
	}
	// A count of 0 says that the count stands elsewhere, and may be anything.
	sections, at := binary.LittleEndian.Uint16(head[48:]), binary.LittleEndian.Uint32(head[32:])
	if sections == 0 && at > 0 || sections > maxSections {
		return refuse("", "it has more sections than the %d that are read", maxSections)
	}
	if int64(at)+int64(sections)*headBytes > size {
		return refuse("was it copied to its end?", "its table of sections lies beyond the end of the file")
	}
	// Names may overlap and tables be compressed: a small file could ask for any memory.
	if titles := binary.LittleEndian.Uint16(head[50:]); titles < sections {
		var entry [headBytes]byte
		if _, err := file.ReadAt(entry[:], int64(at)+int64(titles)*headBytes); err != nil {
			return nil, err
		}
		flags, bytes := elf.SectionFlag(binary.LittleEndian.Uint32(entry[8:])), binary.LittleEndian.Uint32(entry[20:])
		if flags&elf.SHF_COMPRESSED != 0 || bytes > maxTitles {
			return refuse("", "the names of its sections are compressed, or longer than the %d KiB that are read", maxTitles>>10)
		}
	}
	f, err := elf.NewFile(io.NewSectionReader(file, 0, size))
	if err != nil {
		return refuse("", "not readable as ELF: %v", err)
	}
	p := &Program{Name: name}
	for _, s := range f.Sections {
		if s.Flags&elf.SHF_ALLOC == 0 || s.Size == 0 {
			continue
		}
		if s.Type != elf.SHT_NOBITS && (s.Offset > uint64(size) || s.FileSize > uint64(size)-s.Offset) {
			return refuse("was it copied to its end?", "the section %q lies beyond the end of the file", clip(s.Name))
		}
		out := Section{Name: clip(s.Name), Address: s.Addr, Stored: s.Addr, Bytes: blocks.Bytes(s.Size), Filled: s.Type != elf.SHT_NOBITS}
		for _, seg := range f.Progs {
			if seg.Type == elf.PT_LOAD && s.Addr >= seg.Vaddr && s.Addr-seg.Vaddr < seg.Memsz {
				out.Stored = seg.Paddr + (s.Addr - seg.Vaddr)
			}
		}
		p.Sections = append(p.Sections, out)
	}
	if len(p.Sections) == 0 {
		return refuse("", "it has no section that lies in memory")
	}
	slices.SortStableFunc(p.Sections, func(a, b Section) int {
		if a.Address < b.Address {
			return -1
		}
		if a.Address > b.Address {
			return 1
		}
		return 0
	})
	if t := f.SectionByType(elf.SHT_SYMTAB); t != nil {
		if t.FileSize/symbolBytes > maxSymbols || t.Offset > uint64(size) || t.FileSize > uint64(size)-t.Offset {
			return refuse("", "its table of symbols is larger than the %d symbols that are read, or lies beyond the end of the file", maxSymbols)
		}
		if t.Link < uint32(len(f.Sections)) {
			if text := f.Sections[t.Link]; text.Offset > uint64(size) || text.FileSize > uint64(size)-text.Offset {
				return refuse("", "its names of symbols lie beyond the end of the file")
			} else if t.Flags&elf.SHF_COMPRESSED != 0 || text.Flags&elf.SHF_COMPRESSED != 0 {
				return refuse("", "its table of symbols is compressed")
			} else if longest, err := longestName(text); err != nil {
				return refuse("", "its names of symbols are not readable: %v", err)
			} else if longest*int64(t.FileSize/symbolBytes) > maxNames {
				return refuse("", "its names of symbols are up to %d bytes long, which is too much to read", longest)
			}
		}
		symbols, err := f.Symbols()
		if err != nil {
			return refuse("", "its symbols are not readable: %v", err)
		}
		p.symbols(f, symbols)
	}
	return p, nil
}

// longestName is the bytes of the longest name in a table of names.
func longestName(s *elf.Section) (longest int64, err error) {
	r := bufio.NewReader(s.Open())
	for run := int64(0); ; {
		switch c, err := r.ReadByte(); {
		case errors.Is(err, io.EOF):
			return max(longest, run), nil
		case err != nil:
			return 0, err
		case c == 0:
			longest, run = max(longest, run), 0
		default:
			run++
		}
	}
}

// symbols keeps what has a size and lies in memory, each address once.
func (p *Program) symbols(f *elf.File, list []elf.Symbol) {
	seen := map[uint64]bool{}
	left := int64(maxContents)
	for _, s := range list {
		kind := elf.ST_TYPE(s.Info)
		if s.Size == 0 || kind != elf.STT_FUNC && kind != elf.STT_OBJECT || int(s.Section) >= len(f.Sections) {
			continue
		}
		in := f.Sections[s.Section]
		address := s.Value
		if kind == elf.STT_FUNC && f.Machine == elf.EM_ARM {
			address &^= 1 // of a Thumb function
		}
		if in.Flags&elf.SHF_ALLOC == 0 || seen[address] || address < in.Addr || s.Size > in.Size || address-in.Addr > in.Size-s.Size {
			continue
		}
		seen[address] = true
		out := Symbol{Name: s.Name, Address: address, Bytes: blocks.Bytes(s.Size), Code: kind == elf.STT_FUNC}
		if kind == elf.STT_OBJECT && in.Type == elf.SHT_PROGBITS && in.ReaderAt != nil && s.Size >= leastTable && int64(s.Size) <= left {
			out.contents = make([]byte, s.Size)
			if _, err := in.ReadAt(out.contents, int64(address-in.Addr)); err != nil {
				out.contents = nil
			}
			left -= int64(s.Size)
		}
		p.Symbols = append(p.Symbols, out)
	}
}

// clip shortens a name that a message quotes, and takes out what would command
// the terminal.
func clip(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, text[:min(len(text), 400)])
	if runes := []rune(text); len(runes) > 60 {
		return string(runes[:60]) + "..."
	}
	return text
}
