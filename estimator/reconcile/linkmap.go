package reconcile

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// MaxMapBytes is the most that is read of a linker's map.
const MaxMapBytes = 64 << 20

const (
	mapHeading = "Linker script and memory map"
	longestMap = 64 << 10 // bytes of a line
)

// Lines of a GNU linker's map. A long name stands on a line of its own, and the
// addresses on the next.
var (
	mapOutput = source.Lazily(`^([^ \t/]\S*)\s+0x([0-9a-f]+)\s+0x([0-9a-f]+)(?:\s+load address 0x([0-9a-f]+))?\s*$`)
	mapFill   = source.Lazily(`^ \*fill\*\s+0x([0-9a-f]+)\s+0x([0-9a-f]+)`)
	mapInput  = source.Lazily(`^ ([^ *(]\S*)\s+0x([0-9a-f]+)\s+0x([0-9a-f]+) (\S.*)$`)
	mapSymbol = source.Lazily(`^ {16}0x([0-9a-f]+) {2,}([A-Za-z_$.][\w$.]*)$`)
	mapAlone  = source.Lazily(`^ ?[^ \t*(]\S*$`)
	mapRest   = source.Lazily(`^ {16}\s*0x[0-9a-f]+\s+0x[0-9a-f]+`)
	notLoaded = source.Lazily(`^\.(debug|comment|stab|symtab|strtab|shstrtab|line$|gnu\.|ARM\.attributes|xt\.)`)
)

// mapPart is an input section of a map.
type mapPart struct {
	name, object string
	begin, end   uint64
	symbols      []Symbol // that the map names in it, without their bytes
}

// ReadMap reads the map that a GNU linker wrote. It tells sections to the byte;
// of symbols it knows those that other objects may use, and of the rest the name
// behind the section's where each has a section (-ffunction-sections,
// -fdata-sections), else the object alone. What cannot be read is a
// *NotReadableError.
func ReadMap(name, text string) (*Program, error) {
	refuse := func(line int, hint, format string, args ...any) (*Program, error) {
		why := fmt.Sprintf(format, args...)
		if line > 0 {
			why = fmt.Sprintf("line %d: %s", line, why)
		}
		return nil, &NotReadableError{name, why, hint}
	}
	switch {
	case strings.HasPrefix(text, "\x7fELF"):
		return refuse(0, "name it with --elf", "this is an ELF file, not a map")
	case strings.IndexByte(text, 0) >= 0:
		return refuse(1+strings.Count(text[:strings.IndexByte(text, 0)], "\n"), "", "this is no text")
	}
	p := &Program{Name: name}
	var parts []mapPart
	var pending string
	number, began, ended, kept := 0, 0, false, false
	for line := range strings.Lines(text) {
		number++
		line = strings.TrimRight(line, "\r\n")
		if len(line) > longestMap {
			return refuse(number, "", "it is longer than the %d KiB that are read", longestMap>>10)
		}
		if began == 0 {
			if line == mapHeading {
				began = number
			}
			continue
		}
		if strings.HasPrefix(line, "OUTPUT(") {
			ended = true
			continue
		}
		if line == "Cross Reference Table" {
			break
		}
		if pending != "" && mapRest().MatchString(line) {
			line = pending + line
		}
		pending = ""
		if mapAlone().MatchString(line) {
			pending = line
			kept = kept && line[0] == ' '
			continue
		}
		digits := func(text string) uint64 {
			v, err := strconv.ParseUint(text, 16, 64)
			if err != nil {
				return 1 << 63
			}
			return v
		}
		beyond := func(at, bytes uint64) bool { return at >= 1<<32 || bytes > 1<<32-at }
		if m := mapOutput().FindStringSubmatch(line); m != nil {
			at, size := digits(m[2]), digits(m[3])
			if kept = size > 0 && !notLoaded().MatchString(m[1]); !kept {
				continue
			}
			if beyond(at, size) {
				return refuse(number, "", "the section lies beyond 32 bits of address")
			}
			if len(p.Sections) == maxSections {
				return refuse(number, "", "it has more sections than the %d that are read", maxSections)
			}
			s := Section{Name: clip(m[1]), Address: at, Stored: at, Bytes: blocks.Bytes(size)}
			if m[4] != "" {
				if s.Stored = digits(m[4]); beyond(s.Stored, size) {
					return refuse(number, "", "the section is loaded from beyond 32 bits of address")
				}
			}
			p.Sections = append(p.Sections, s)
		} else if m := mapFill().FindStringSubmatch(line); m != nil && kept {
			if at, size := digits(m[1]), digits(m[2]); !beyond(at, size) && size <= mostPadding {
				p.fills = append(p.fills, fill{at, blocks.Bytes(size)})
			}
		} else if m := mapInput().FindStringSubmatch(line); m != nil && kept {
			at, size := digits(m[2]), digits(m[3])
			s := &p.Sections[len(p.Sections)-1]
			if beyond(at, size) || size > 0 && (at < s.Address || at+size > s.Address+uint64(s.Bytes)) {
				return refuse(number, "", "%s lies outside of the section %s that it is part of", clip(m[1]), s.Name)
			}
			if len(parts) == maxSymbols {
				return refuse(number, "", "it has more parts of sections than the %d that are read", maxSymbols)
			}
			parts = append(parts, mapPart{name: m[1], object: m[4], begin: at, end: at + size})
			s.Filled = s.Filled || size > 0 && !isCleared(m[1])
		} else if m := mapSymbol().FindStringSubmatch(line); m != nil && kept && len(parts) > 0 {
			if q, at := &parts[len(parts)-1], digits(m[1]); at >= q.begin && at < q.end {
				q.symbols = append(q.symbols, Symbol{Name: m[2], Address: at})
			}
		}
	}
	switch {
	case began == 0:
		return refuse(0, "GNU ld writes one with -Wl,-Map=program.map", "this is no map of a GNU linker: none of its %d lines is '%s'", number, mapHeading)
	case !ended:
		return refuse(number, "was it copied to its end?", "it ends without the line 'OUTPUT(...)'")
	case len(p.Sections) == 0:
		return refuse(began, "", "below it no section lies in memory")
	}
	p.emptied()
	slices.SortStableFunc(p.Sections, func(a, b Section) int { return cmp.Compare(a.Address, b.Address) })
	for i := range parts {
		p.partSymbols(&parts[i])
	}
	return p, nil
}

// isCleared tells whether an input section has no contents in the file, by its
// name: the map does not say.
func isCleared(name string) bool {
	lower := strings.ToLower(name)
	return name == "COMMON" || strings.Contains(lower, "bss") || strings.Contains(lower, "noinit")
}

// emptied finds those sections that only seem to be stored: behind 'AT> FLASH' the
// linker gives a load address to the sections that follow in the same memory, also
// to those of NOLOAD, and the next stored one has the same. Of the last that has it
// only its name can tell.
func (p *Program) emptied() {
	before := false // the section before has no contents, and a load address all the same
	for i := range p.Sections {
		s := &p.Sections[i]
		if s.Stored == s.Address {
			before = false
			continue
		}
		follows := i > 0 && s.Stored == p.Sections[i-1].Stored && s.Address-p.Sections[i-1].Address <= uint64(p.Sections[i-1].Bytes)+mostPadding
		followed := i+1 < len(p.Sections) && p.Sections[i+1].Stored == s.Stored
		before = !s.Filled || followed || before && follows && !isStored(s.Name)
		s.Filled = !before
	}
}

// isStored tells whether a section has contents in the file, by its name.
func isStored(name string) bool {
	return slices.ContainsFunc([]string{"text", "code", "func", "data", "const", "init", "table"}, func(part string) bool {
		return strings.Contains(strings.ToLower(name), part)
	})
}

// partSymbols cuts an input section at the symbols that the map names in it.
func (p *Program) partSymbols(q *mapPart) {
	slices.SortStableFunc(q.symbols, func(a, b Symbol) int { return cmp.Compare(a.Address, b.Address) })
	cuts := slices.CompactFunc(q.symbols, func(a, b Symbol) bool { return a.Address == b.Address })
	object := path.Base(strings.ReplaceAll(q.object, `\`, "/"))
	code := strings.HasPrefix(q.name, ".text")
	if q.end > q.begin && (len(cuts) == 0 || cuts[0].Address > q.begin) {
		own := ownName(q.name)
		if own == "" {
			p.Unnamed += blocks.Bytes(q.end - q.begin)
		}
		cuts = slices.Insert(cuts, 0, Symbol{Name: cmp.Or(own, object), Address: q.begin})
	}
	for i, s := range cuts {
		end := q.end
		if i+1 < len(cuts) {
			end = cuts[i+1].Address
		}
		s.Name, s.Bytes, s.Code, s.object = clip(s.Name), blocks.Bytes(end-s.Address), code, clip(object)
		p.Symbols = append(p.Symbols, s)
	}
}

// ownName is the function or the data that an input section is for, by its name:
// of '.text.echo_block' echo_block; "": of none.
func ownName(section string) string {
	for _, kind := range []string{".text.", ".rodata.", ".data.", ".bss."} {
		if own, ok := strings.CutPrefix(section, kind); ok && !strings.HasPrefix(own, "str1.") && !strings.HasPrefix(own, "cst") {
			return own
		}
	}
	return ""
}
