package main

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// class is a class of instructions that a timing table prices alike.
type class uint8

const (
	classALU class = iota
	classMultiply
	classDivide
	classLoad      // one word or less
	classLoadPair  // LDRD
	classStore     // one word or less, base and immediate
	classStoreReg  // base and register
	classStorePair // STRD
	classLoadMany  // LDM, POP; more words than one
	classStoreMany // STM, PUSH
	classBranch    // within the function
	classCondition // a branch that may fall through
	classCall      // BL
	classJump      // BX, BLX, MOV to PC
	classTable     // TBB, TBH
	classIT
	classStatus  // MRS, MSR
	classBarrier // DMB, DSB, ISB
	classFloat   // arithmetic, compare, convert
	classFloatMAC
	classFloatDivide // VDIV, VSQRT
	classFloatLoad
	classFloatStore
	classFloatLoadMany // VLDM, VPOP
	classFloatStoreMany
	classFloatMove // immediate, or register to register
	classFloatCore // to or from core registers
	classFloatStatus
)

// registers is a set: bits 0 to 15 for r0 to r15, bits 16 to 47 for s0 to s31.
type registers uint64

const (
	regSP registers = 1 << 13
	regPC registers = 1 << 15
)

// instruction is what a timing table needs to know of one.
type instruction struct {
	address uint64
	size    uint64
	class   class
	count   int // words moved by a load or store of many
	double  bool
	writes  registers
	reads   registers // all that is read
	base    registers // of these, what an address is made of
	addend  registers // of these, what a multiply-accumulate adds to and does not multiply
	shifted bool      // an operand is shifted on its way
	stack   int       // bytes by which the stack grows
	text    string    // as disassembled
	code    string    // its bytes, as LLVM's disassembler reads them
	target  bool      // execution may go elsewhere
}

// toPC tells whether the instruction loads or sets the program counter.
func (i *instruction) toPC() bool { return i.writes&regPC != 0 }

var (
	listingLine   = regexp.MustCompile(`^\s*([0-9a-f]+):\t([0-9a-f ]+?)\s*\t(\S+)\s*(.*)$`)
	registerRange = regexp.MustCompile(`\b([rsd])(\d+)-[rsd](\d+)\b`)
	registerWord  = regexp.MustCompile(`\b(?:([rsd])(\d+)|(sp|lr|pc|ip|fp|sl))\b`)
	immediate     = regexp.MustCompile(`#(-?\d+)`)
)

// parseListing reads what objdump prints of a program, up to an address, by
// address. Data between the instructions is left out.
func parseListing(listing string, below uint64) (map[uint64]*instruction, error) {
	program := map[uint64]*instruction{}
	for line := range strings.Lines(listing) {
		m := listingLine.FindStringSubmatch(strings.TrimRight(line, "\n"))
		if m == nil || strings.HasPrefix(m[3], ".") {
			continue
		}
		address, err := strconv.ParseUint(m[1], 16, 64)
		if err != nil || address >= below {
			continue
		}
		operands, _, _ := strings.Cut(m[4], ";")
		operands, _, _ = strings.Cut(operands, "@")
		operands, _, _ = strings.Cut(operands, "<")
		i, err := parseInstruction(m[3], strings.TrimSpace(operands))
		if err != nil {
			return nil, fmt.Errorf("at %#x: %w", address, err)
		}
		i.address, i.size = address, uint64(len(strings.ReplaceAll(m[2], " ", ""))/2)
		for half := range strings.FieldsSeq(m[2]) {
			i.code += "0x" + half[2:] + " 0x" + half[:2] + " "
		}
		program[address] = i
	}
	return program, nil
}

// family is a mnemonic without condition and width, and what it does.
type family struct {
	name  string
	class class
}

// families are tried in order: a name matches if what follows it is a
// condition, a flag or a width.
var families = []family{
	{"vmla", classFloatMAC}, {"vmls", classFloatMAC}, {"vnmla", classFloatMAC}, {"vnmls", classFloatMAC},
	{"vfma", classFloatMAC}, {"vfms", classFloatMAC}, {"vfnma", classFloatMAC}, {"vfnms", classFloatMAC},
	{"vdiv", classFloatDivide}, {"vsqrt", classFloatDivide},
	{"vldr", classFloatLoad}, {"vstr", classFloatStore},
	{"vldmia", classFloatLoadMany}, {"vldmdb", classFloatLoadMany}, {"vpop", classFloatLoadMany},
	{"vstmia", classFloatStoreMany}, {"vstmdb", classFloatStoreMany}, {"vpush", classFloatStoreMany},
	{"vmrs", classFloatStatus}, {"vmsr", classFloatStatus},
	{"vmov", classFloatMove},
	{"vabs", classFloat}, {"vneg", classFloat}, {"vadd", classFloat}, {"vsub", classFloat}, {"vmul", classFloat},
	{"vnmul", classFloat}, {"vcmpe", classFloat}, {"vcmp", classFloat}, {"vcvt", classFloat}, {"vcvtr", classFloat},
	{"vsel", classFloat}, {"vmaxnm", classFloat}, {"vminnm", classFloat}, {"vrint", classFloat},
	{"ldrd", classLoadPair}, {"ldrexb", classLoad}, {"ldrex", classLoad}, {"ldrsb", classLoad}, {"ldrsh", classLoad},
	{"ldrb", classLoad}, {"ldrh", classLoad}, {"ldr", classLoad},
	{"strd", classStorePair}, {"strexb", classStore}, {"strex", classStore}, {"strb", classStore}, {"strh", classStore}, {"str", classStore},
	{"ldmia", classLoadMany}, {"ldmdb", classLoadMany}, {"ldm", classLoadMany}, {"pop", classLoadMany},
	{"stmia", classStoreMany}, {"stmdb", classStoreMany}, {"stm", classStoreMany}, {"push", classStoreMany},
	{"tbb", classTable}, {"tbh", classTable},
	{"cbz", classCondition}, {"cbnz", classCondition},
	{"blx", classJump}, {"bx", classJump}, {"bl", classCall},
	{"mrs", classStatus}, {"msr", classStatus}, {"dmb", classBarrier}, {"dsb", classBarrier}, {"isb", classBarrier},
	{"umlal", classMultiply}, {"smlal", classMultiply}, {"umull", classMultiply}, {"smull", classMultiply},
	{"umaal", classMultiply}, {"smmul", classMultiply}, {"smmla", classMultiply}, {"smla", classMultiply}, {"smul", classMultiply},
	{"mul", classMultiply}, {"mla", classMultiply}, {"mls", classMultiply},
	{"udiv", classDivide}, {"sdiv", classDivide},
}

var conditions = []string{"eq", "ne", "cs", "cc", "mi", "pl", "vs", "vc", "hi", "ls", "ge", "lt", "gt", "le", "hs", "lo"}

// classify finds the class of a mnemonic and its name in the table.
func classify(mnemonic string) (family, bool) {
	name, _, _ := strings.Cut(mnemonic, ".")
	if len(name) >= 2 && name[:2] == "it" && strings.Trim(name[2:], "te") == "" {
		return family{"it", classIT}, true
	}
	if name == "b" {
		return family{"b", classBranch}, true
	}
	if len(name) == 3 && name[0] == 'b' && slices.Contains(conditions, name[1:]) {
		return family{"b", classCondition}, true
	}
	for _, f := range families {
		if rest, ok := strings.CutPrefix(name, f.name); ok && suffix(f, rest) {
			return f, true
		}
	}
	return family{name, classALU}, integers.MatchString(name)
}

// integers are the data-processing instructions of Armv6-M to Armv8-M Mainline
// that compilers produce.
var integers = regexp.MustCompile(`^(mov|movw|movt|mvn|add|addw|adc|sub|subw|sbc|rsb|rsc|and|orr|orn|eor|bic|lsl|lsr|asr|ror|rrx|cmp|cmn|tst|teq|adr|clz|rbit|rev|rev16|revsh|uxtb|uxth|sxtb|sxth|uxtab|uxtah|sxtab|sxtah|ubfx|sbfx|bfi|bfc|ssat|usat|ssat16|usat16|qadd|qsub|sadd16|ssub16|uadd8|usub8|sel|pkhbt|pkhtb|neg|cpy|nop|cpsid|cpsie|udf|bkpt|svc)s?(eq|ne|cs|cc|mi|pl|vs|vc|hi|ls|ge|lt|gt|le|hs|lo)?$`)

func suffix(f family, rest string) bool {
	switch f.name {
	case "smla", "smul": // halves: smlabb, smulwt, ...
		rest = strings.TrimLeft(rest, "btwdx")
	case "smmul", "smmla":
		rest = strings.TrimPrefix(rest, "r")
	case "vsel", "vrint", "vcvt":
		return len(rest) <= 3 // a condition or a rounding is part of the name
	}
	if f.class == classMultiply {
		rest = strings.TrimPrefix(rest, "s")
	}
	return rest == "" || slices.Contains(conditions, rest)
}

// parseInstruction reads one instruction as objdump writes it.
func parseInstruction(mnemonic, operands string) (*instruction, error) {
	f, known := classify(mnemonic)
	if !known {
		return nil, fmt.Errorf("the instruction '%s %s' is in no timing table", mnemonic, operands)
	}
	i := &instruction{class: f.class, text: strings.TrimSpace(mnemonic + " " + operands)}
	first, rest, _ := strings.Cut(operands, ",")
	switch f.class {
	case classIT, classBarrier, classFloatStatus, classStatus:
	case classBranch, classCall, classCondition:
		i.target = true
		if f.name != "b" && f.class == classCondition {
			i.reads = named(first)
		}
		if f.class == classCall {
			i.writes = 1 << 14
		}
	case classJump, classTable:
		i.target, i.reads = true, named(operands)
		if f.name == "blx" {
			i.writes = 1 << 14
		}
	case classLoad, classLoadPair, classStore, classStorePair, classFloatLoad, classFloatStore:
		i.memory(operands)
	case classLoadMany, classStoreMany, classFloatLoadMany, classFloatStoreMany:
		i.many(f.name, operands)
	case classMultiply:
		i.writes, i.reads = named(first), named(rest)
		if strings.Contains(f.name, "l") && f.name != "mul" && f.name != "mla" && f.name != "mls" && f.name != "smul" && f.name != "smla" && f.name != "smmul" && f.name != "smmla" {
			second, factors, _ := strings.Cut(rest, ",")
			i.writes, i.reads = i.writes|named(second), named(factors)
		}
		if strings.Contains(f.name, "a") {
			words := strings.Split(operands, ",")
			i.addend = named(words[len(words)-1])
			if len(words) == 4 && i.writes&(i.writes-1) != 0 { // long: added to the pair it writes
				i.addend = i.writes
			}
			i.reads |= i.addend
		}
	case classFloatMAC:
		i.writes, i.addend = named(first), named(first)&^named(rest)
		i.reads = named(operands)
	case classFloatMove:
		i.writes, i.reads = named(first), named(rest)
		if core := registers(0xffff); (i.writes|i.reads)&core != 0 {
			i.class = classFloatCore
			if i.writes&core != 0 {
				if second, more, two := strings.Cut(rest, ","); two && named(second)&core != 0 {
					i.writes, i.reads = i.writes|named(second), named(more)
				}
			}
		}
	case classFloat:
		i.writes, i.reads = named(first), named(rest)
		if strings.HasPrefix(f.name, "vcmp") {
			i.writes, i.reads = 0, named(operands)
		}
	default:
		i.integer(f.name, first, rest, operands)
	}
	i.double = strings.Contains(mnemonic, ".f64") || strings.HasPrefix(first, "d")
	i.target = i.target || i.toPC()
	if i.class == classALU && i.toPC() {
		i.class = classJump
	}
	return i, nil
}

// integer reads data processing.
func (i *instruction) integer(name, first, rest, operands string) {
	switch {
	case strings.HasPrefix(name, "cmp"), strings.HasPrefix(name, "cmn"), strings.HasPrefix(name, "tst"), strings.HasPrefix(name, "teq"):
		i.reads = named(operands)
	case strings.HasPrefix(name, "nop"):
	default:
		i.writes, i.reads = named(first), named(rest)
		if !strings.Contains(rest, ",") && !strings.HasPrefix(name, "mov") && !strings.HasPrefix(name, "mvn") {
			i.reads |= i.writes // adds r0, #1
		}
	}
	for _, shift := range []string{"lsl #", "lsr #", "asr #", "ror #"} {
		i.shifted = i.shifted || strings.Contains(operands, shift)
	}
	if i.writes == regSP && (strings.HasPrefix(name, "sub") || strings.HasPrefix(name, "add")) {
		if m := immediate.FindStringSubmatch(operands); m != nil {
			n, _ := strconv.Atoi(m[1])
			if i.stack = n; strings.HasPrefix(name, "add") {
				i.stack = -n
			}
		}
	}
}

// memory reads a load or store of one or two registers.
func (i *instruction) memory(operands string) {
	moved, address, _ := strings.Cut(operands, "[")
	inside, after, _ := strings.Cut(address, "]")
	i.base = named(inside)
	i.reads = i.base
	store := i.class == classStore || i.class == classStorePair || i.class == classFloatStore
	if store {
		i.reads |= named(moved)
	} else {
		i.writes = named(moved)
	}
	base, offset, _ := strings.Cut(inside, ",")
	if i.class == classStore && named(offset) != 0 {
		i.class = classStoreReg
	}
	if strings.HasPrefix(after, "!") || strings.Contains(after, "#") { // the base moves too
		if named(base) == regSP {
			if m := immediate.FindStringSubmatch(offset + after); m != nil {
				n, _ := strconv.Atoi(m[1])
				i.stack = -n
			}
		}
	}
	if address == "" { // a literal by its label
		i.base, i.reads = 0, 0
	}
}

// many reads a load or store of a list.
func (i *instruction) many(name, operands string) {
	before, list, _ := strings.Cut(operands, "{")
	set := named(list)
	for r := set; r != 0; r &= r - 1 {
		i.count++
	}
	bytes := 4 * i.count
	i.base = named(before)
	if strings.HasSuffix(name, "push") || strings.HasSuffix(name, "pop") {
		i.base = regSP
	}
	i.reads = i.base
	load := i.class == classLoadMany || i.class == classFloatLoadMany
	if load {
		i.writes = set
	} else {
		i.reads |= set
	}
	if i.base == regSP && (strings.Contains(before, "!") || strings.HasSuffix(name, "push") || strings.HasSuffix(name, "pop")) {
		if i.stack = bytes; load {
			i.stack = -bytes
		}
	}
}

// named is the set of registers that a text names.
func named(text string) registers {
	var set registers
	for _, m := range registerRange.FindAllStringSubmatch(text, -1) {
		from, _ := strconv.Atoi(m[2])
		to, _ := strconv.Atoi(m[3])
		for n := from; n <= to; n++ {
			set |= register(m[1], n)
		}
	}
	for _, m := range registerWord.FindAllStringSubmatch(text, -1) {
		switch m[3] {
		case "":
			n, _ := strconv.Atoi(m[2])
			set |= register(m[1], n)
		case "sl":
			set |= 1 << 10
		case "fp":
			set |= 1 << 11
		case "ip":
			set |= 1 << 12
		case "sp":
			set |= regSP
		case "lr":
			set |= 1 << 14
		case "pc":
			set |= regPC
		}
	}
	return set
}

func register(bank string, n int) registers {
	switch {
	case bank == "r" && n < 16:
		return 1 << n
	case bank == "s" && n < 32:
		return 1 << (16 + n)
	case bank == "d" && n < 16:
		return 3 << (16 + 2*n)
	}
	return 0
}
