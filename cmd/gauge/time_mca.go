package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// analyse times traces by LLVM's model of a core, by key. Each is taken as one
// straight run of instructions, so branches are taken to be predicted. IT has
// no entry in the model and takes no time there: its line is empty.
func (c *core) analyse(program map[uint64]*instruction, t *traces) (map[uint64]float64, error) {
	text, err := c.disassemble(program)
	if err != nil {
		return nil, err
	}
	for _, i := range caller {
		text[i] = strings.Replace(i.text, " ", "\t", 1)
	}
	text[unmetInstruction] = unmetInstruction.text
	keys := make([]uint64, 0, len(t.texts))
	for key := range t.texts {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	cycles := map[uint64]float64{}
	for len(keys) > 0 {
		portion, instructions := 0, 0
		for portion < len(keys) && (portion == 0 || instructions+len(t.texts[keys[portion]]) <= mostAnalysed) {
			instructions += len(t.texts[keys[portion]])
			portion++
		}
		if err := c.analysePortion(keys[:portion], text, t, cycles); err != nil {
			return nil, err
		}
		keys = keys[portion:]
	}
	return cycles, nil
}

// mostAnalysed is how many instructions are handed to LLVM's model at a time, which
// takes about a kilobyte for each.
const mostAnalysed = 1 << 20

// analysePortion times the traces of some keys.
func (c *core) analysePortion(keys []uint64, text map[*instruction]string, t *traces, cycles map[uint64]float64) error {
	var input strings.Builder
	for _, key := range keys {
		fmt.Fprintf(&input, "# LLVM-MCA-BEGIN %x\n", key)
		for _, i := range t.texts[key] {
			input.WriteString(text[i])
			input.WriteByte('\n')
		}
		input.WriteString("# LLVM-MCA-END\n")
	}
	out, err := call(input.String(), analyser, "-mtriple="+c.triple, "-mcpu="+c.cpu, "-iterations=1",
		"-call-latency=1", // what is called is in the trace
		"-skip-unsupported-instructions=lack-sched", "-instruction-info=0", "-resource-pressure=0")
	if err != nil {
		return err
	}
	found := totalCycles.FindAllStringSubmatch(out, -1)
	if len(found) != len(keys) {
		return fmt.Errorf("%s timed %d of %d traces", analyser, len(found), len(keys))
	}
	for n, key := range keys {
		total, err := strconv.ParseFloat(found[n][1], 64)
		if err != nil {
			return err
		}
		cycles[key] = total
	}
	return nil
}

// disassemble writes every instruction of a program as LLVM's assembler reads
// it.
func (c *core) disassemble(program map[uint64]*instruction) (map[*instruction]string, error) {
	list := make([]*instruction, 0, len(program))
	for _, i := range program {
		list = append(list, i)
	}
	slices.SortFunc(list, func(a, b *instruction) int { return int(int64(a.address) - int64(b.address)) })
	var code strings.Builder
	for _, i := range list {
		code.WriteString(i.code)
		code.WriteByte('\n')
	}
	out, err := call(code.String(), disassembler, "--disassemble", "-triple="+c.triple, "-mcpu="+c.cpu)
	if err != nil {
		return nil, err
	}
	var lines []string
	for line := range strings.Lines(out) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '.' {
			lines = append(lines, line)
		}
	}
	if len(lines) != len(list) {
		return nil, fmt.Errorf("%s read %d of %d instructions", disassembler, len(lines), len(list))
	}
	text := make(map[*instruction]string, len(list))
	for n, i := range list {
		text[i] = lines[n]
	}
	return text, nil
}
