package main

import (
	"fmt"
	"regexp"
	"strings"
)

// An emulator's log does not tell which instructions of an IT block had their
// condition met. So the program that is run is assembled with each of them
// behind a branch of its own, which the log does tell; the timing takes the
// branch away again. Blocks of one-cycle instructions alone stay as they are,
// since such an instruction takes its cycle either way. Code sizes come from
// the code as the compiler wrote it. Library functions are not assembled here:
// their IT blocks count as executed.

// Instructions that no compiler writes stand for an IT, and before what is not
// of the kernel.
const (
	itMark     = "mov r9, r9"
	branchMark = "mov lr, lr"
	// zeroMark stands before a compare and branch in place of CBZ or CBNZ, which
	// do not reach as far; the flags that it sets are not in use there, since
	// the compiler chooses between the two forms by distance alone.
	zeroMark = "mov r7, r7"
)

var (
	itLine       = regexp.MustCompile(`^\s+(it[te]{0,3})\s+(\w\w)\s*$`)
	zeroLine     = regexp.MustCompile(`^\s+cb(n?)z\s+(\w+),\s*(\S+)\s*$`)
	assemblyLine = regexp.MustCompile(`^\s+([a-z]\w*)(\.[\w.]+)?(?:\s+(.*))?$`)
)

var opposite = map[string]string{
	"eq": "ne", "ne": "eq", "cs": "cc", "cc": "cs", "hs": "lo", "lo": "hs", "mi": "pl", "pl": "mi", "vs": "vc", "vc": "vs",
	"hi": "ls", "ls": "hi", "ge": "lt", "lt": "ge", "gt": "le", "le": "gt",
}

// branchOut rewrites the IT blocks of assembly that hold anything but
// instructions of one cycle.
func branchOut(assembly string) (string, error) {
	var out, block strings.Builder // the block as the compiler wrote it
	var apart strings.Builder      // and taken apart
	var conditions []string        // of its instructions still to come
	costly, labels := false, 0
	for line := range strings.Lines(assembly) {
		if m := itLine.FindStringSubmatch(line); m != nil {
			if conditions != nil {
				return "", fmt.Errorf("an IT block begins within another: '%s'", strings.TrimSpace(line))
			}
			conditions = append(conditions, m[2])
			for _, letter := range m[1][2:] {
				condition := m[2]
				if letter == 'e' {
					condition = opposite[m[2]]
				}
				conditions = append(conditions, condition)
			}
			block.Reset()
			apart.Reset()
			costly = false
			block.WriteString(line)
			fmt.Fprintf(&apart, "\t%s\n", itMark)
			continue
		}
		if m := zeroLine.FindStringSubmatch(line); m != nil {
			condition := map[string]string{"": "eq", "n": "ne"}[m[1]]
			fmt.Fprintf(&out, "\t%s\n\tcmp\t%s, #0\n\tb%s\t%s\n", zeroMark, m[2], condition, m[3])
			continue
		}
		m := assemblyLine.FindStringSubmatch(strings.TrimRight(line, "\n"))
		switch {
		case conditions == nil:
			out.WriteString(line)
			continue
		case m == nil: // a comment or a label
			block.WriteString(line)
			apart.WriteString(line)
			continue
		}
		name, ok := strings.CutSuffix(m[1], conditions[0])
		if !ok {
			return "", fmt.Errorf("the instruction '%s' of an IT block has not the condition %s", strings.TrimSpace(line), conditions[0])
		}
		i, err := parseInstruction(name+m[2], m[3])
		if err != nil {
			return "", err
		}
		costly = costly || i.class != classALU && i.class != classFloatMove || i.toPC()
		labels++
		block.WriteString(line)
		fmt.Fprintf(&apart, "\t%s\n\tb%s\t.Lunmet%d\n\t%s%s\t%s\n.Lunmet%d:\n", branchMark, opposite[conditions[0]], labels, name, m[2], m[3], labels)
		if conditions = conditions[1:]; len(conditions) > 0 {
			continue
		}
		conditions = nil
		if costly {
			out.WriteString(apart.String())
		} else {
			out.WriteString(block.String())
		}
	}
	return out.String(), nil
}

// Stand-ins for what branchOut took out: the IT, and an instruction whose
// condition is not met, which takes its place in the pipeline.
var (
	itInstruction    = &instruction{class: classIT, text: "nop"}
	unmetInstruction = &instruction{class: classALU, text: "nop"}
)

// joiner puts the instructions of an IT block together again.
type joiner struct {
	step   func(i *instruction, taken bool)
	branch bool // the next instruction is a branch that branchOut put in
	zero   bool // the next instruction is a compare that branchOut put in
}

// within tells whether what comes next hangs on what came before.
func (j *joiner) within() bool { return j.branch || j.zero }

func (j *joiner) next(i *instruction, taken bool) {
	switch {
	case i.text == itMark:
		j.step(itInstruction, false)
	case i.text == branchMark:
		j.branch = true
	case i.text == zeroMark:
		j.zero = true
	case j.zero:
		j.zero = false
	case j.branch:
		j.branch = false
		if taken {
			j.step(unmetInstruction, false)
		}
	default:
		j.step(i, taken)
	}
}
