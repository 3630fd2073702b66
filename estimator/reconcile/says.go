package reconcile

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// maxSaid is how many shortages are kept of what a linker printed.
const maxSaid = 256

// Shortage is room that a linker missed, as it printed it.
type Shortage struct {
	Line     int          // of its first line, from 1
	Region   string       // as the linker script names it; "": only an address is told
	Address  uint64       // where Region is "": the first byte that two sections want
	Sections []string     // that did not fit, or that lie on each other
	Over     blocks.Bytes // 0: not told
}

// What GNU ld and lld print. Either quotes by `these', 'these' or, where a
// language asks for it, by ‘these’.
var (
	quoted     = "[`'‘\"]([^`'’\"]{1,200})['’\"]"
	overflowed = source.Lazily(`region ` + quoted + ` overflowed by ([0-9]+) bytes?`)
	willNotFit = source.Lazily(`section ` + quoted + ` will not fit in region ` + quoted + `(?:: overflowed by ([0-9]+) bytes?)?`)
	notWithin  = source.Lazily(`section ` + quoted + ` is not within region ` + quoted)
	overlaps   = source.Lazily(`section (\S{1,200}) (?:VMA|LMA) \[([0-9a-f]{1,16}),([0-9a-f]{1,16})\] overlaps section (\S{1,200}) (?:VMA|LMA) \[([0-9a-f]{1,16}),([0-9a-f]{1,16})\]`)
	// lld tells the addresses on the two lines below.
	overlapsLLD = source.Lazily(`section (\S{1,200}) (?:virtual|load) address range overlaps with (\S{1,200})`)
	rangeLLD    = source.Lazily(`>>> \S{1,200} range is \[0x([0-9a-fA-F]{1,16}), 0x([0-9a-fA-F]{1,16})\]`)
)

// Said finds the shortages in what a linker printed, GNU ld or lld, in the order
// of their first lines; what else a build prints is passed over. Of a region that
// is told of several times the largest amount counts.
func Said(text string) []Shortage {
	var list []Shortage
	add := func(line int, region, section string, over blocks.Bytes) {
		region, section = clip(region), clip(section)
		i := slices.IndexFunc(list, func(s Shortage) bool { return s.Region == region })
		if i < 0 {
			if len(list) == maxSaid {
				return
			}
			i, list = len(list), append(list, Shortage{Line: line, Region: region})
		}
		s := &list[i]
		s.Over = max(s.Over, over)
		if section != "" && len(s.Sections) < maxSaid && !slices.Contains(s.Sections, section) {
			s.Sections = append(s.Sections, section)
		}
	}
	both := func(line int, one, other string, ends []string) {
		var at [4]uint64
		for i, end := range ends {
			at[i], _ = strconv.ParseUint(end, 16, 64) // of at most 16 digits
		}
		begin, end := max(at[0], at[2]), min(at[1], at[3])
		if begin <= end && end-begin < 1<<32 && len(list) < maxSaid {
			list = append(list, Shortage{Line: line, Address: begin, Sections: []string{clip(one), clip(other)}, Over: blocks.Bytes(end - begin + 1)})
		}
	}
	var pair []string // of sections that overlap by lld, their addresses behind them
	number := 0
	for line := range strings.Lines(text) {
		number++
		if m := overflowed().FindStringSubmatch(line); m != nil {
			add(number, m[1], "", amount(m[2]))
		} else if m := willNotFit().FindStringSubmatch(line); m != nil {
			add(number, m[2], m[1], amount(m[3]))
		} else if m := notWithin().FindStringSubmatch(line); m != nil {
			add(number, m[2], m[1], 0)
		} else if m := overlaps().FindStringSubmatch(line); m != nil {
			both(number, m[1], m[4], []string{m[2], m[3], m[5], m[6]})
		} else if m := overlapsLLD().FindStringSubmatch(line); m != nil {
			pair = m[1:3]
		} else if m := rangeLLD().FindStringSubmatch(line); m != nil && pair != nil {
			if pair = append(pair, m[1:3]...); len(pair) == 6 {
				both(number-2, pair[0], pair[1], pair[2:])
				pair = nil
			}
		}
	}
	return list
}

// amount is a number of bytes; one beyond any memory of these boards is none.
func amount(digits string) blocks.Bytes {
	n, err := strconv.ParseUint(digits, 10, 32)
	if err != nil {
		return 0
	}
	return blocks.Bytes(n)
}

// CheckRegions records the regions of a graph that name no bank of its board.
func CheckRegions(g *estimator.Graph) {
	known := g.Board.BankNames()
	for _, r := range g.Regions {
		if !slices.Contains(known, r.Bank) {
			r.Place.Fail(source.DidYouMean(r.Bank, known), "%s has no bank '%s'", g.Board.Name, r.Bank)
		}
	}
}

// BankOfRegion is the bank that a shortage is in: by what the graph says of the
// region, else the bank whose name it is, as a script may write it, else by the
// address; -1: not known.
func BankOfRegion(g *estimator.Graph, s *Shortage) int {
	if s.Region == "" {
		return bankOf(g.Board, s.Address)
	}
	for _, r := range g.Regions {
		if r.Name == s.Region {
			return g.Board.BankIndex(r.Bank)
		}
	}
	name := plain(s.Region)
	bank := -1
	for i, b := range g.Board.Banks {
		switch own := plain(b.Name); {
		case own == name:
			return i
		case cmp.Or(strings.TrimPrefix(name, "ram"), name) == own, strings.TrimSuffix(name, "ram") == own:
			bank = i // DTCMRAM and RAM_D2 of banks dtcm and d2
		}
	}
	return bank
}

// plain is a name without what scripts write differently: lower case, letters
// and digits alone.
func plain(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, name)
}
