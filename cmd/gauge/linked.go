package main

import (
	"regexp"
	"strconv"
	"strings"

	"elbowroom/blocks"
)

// piece is a section of an object as the linker placed it. Symbols would not
// do: several of the library's share the same bytes.
type piece struct {
	section    string // as the object names it
	member     string // of a library's archive, without what all members have; "": of an object
	bytes      blocks.Bytes
	flash, ram bool // where it lies; initialised data is in both
}

var (
	outputSection = regexp.MustCompile(`^(\.\w+)`)
	// A piece's name stands on a line of its own where it is long.
	pieceLine = regexp.MustCompile(`(?m)^ (\.\S+)\s+0x([0-9a-f]+)\s+0x([0-9a-f]+) (\S+)$`)
	archived  = regexp.MustCompile(`\.a\((?:lib_a-|_)?(.*)\.o\)$`)
	lineBreak = regexp.MustCompile(`(?m)^( \.\S+)\n\s+`)
)

// parseMap reads the pieces of code, constants and data that a linker's map
// tells were placed.
func parseMap(text string) []piece {
	_, text, _ = strings.Cut(text, "\nLinker script and memory map\n")
	var list []piece
	flash, ram := false, false
	for line := range strings.Lines(lineBreak.ReplaceAllString(text, "$1 ")) {
		line = strings.TrimSuffix(line, "\n")
		if m := outputSection.FindStringSubmatch(line); m != nil {
			flash, ram = false, false
			switch m[1] {
			case ".text", ".rodata":
				flash = true
			case ".data":
				flash, ram = true, true
			case ".bss":
				ram = true
			}
			continue
		}
		m := pieceLine.FindStringSubmatch(line)
		if m == nil || !flash && !ram {
			continue
		}
		bytes, err := strconv.ParseInt(m[3], 16, 64)
		if err != nil || bytes == 0 {
			continue
		}
		p := piece{section: m[1], bytes: blocks.Bytes(bytes), flash: flash, ram: ram}
		if a := archived.FindStringSubmatch(m[4]); a != nil {
			p.member = a[1]
		}
		list = append(list, p)
	}
	return list
}
