package main

import (
	"bufio"
	"bytes"
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// longest is how long one run of the emulator may take.
const longest = 15 * time.Minute

//go:embed plugin/trace.c
var pluginSource []byte

// buildPlugin compiles the emulator's plugin into a folder and gives its path.
func buildPlugin(folder string) (string, error) {
	source, plugin := filepath.Join(folder, "trace.c"), filepath.Join(folder, "trace.so")
	if err := os.WriteFile(source, pluginSource, 0o644); err != nil {
		return "", err
	}
	_, err := call("", hostCompiler, "-O2", "-shared", "-fPIC", "-o", plugin, source)
	return plugin, err
}

// emulate runs a program and hands the stream of executed blocks below highCode
// to read. It returns what the program said.
func emulate(machine, program, plugin string, read func(io.Reader) error) (string, error) {
	out, in, err := os.Pipe()
	if err != nil {
		return "", err
	}
	defer out.Close()
	cmd := exec.Command(emulator, "-M", machine, "-nographic", "-monitor", "none", "-serial", "none",
		"-semihosting-config", "enable=on,target=native", "-kernel", program,
		"-plugin", fmt.Sprintf("%s,log=/dev/fd/3,below=%#x", plugin, highCode))
	cmd.ExtraFiles = []*os.File{in}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	err = cmd.Start()
	in.Close()
	if err != nil {
		return "", err
	}
	timer := time.AfterFunc(longest, func() { _ = cmd.Process.Kill() })
	readErr := read(out)
	if readErr != nil {
		_ = cmd.Process.Kill()
	}
	err = cmd.Wait()
	if !timer.Stop() {
		return "", fmt.Errorf("the emulator took longer than %v", longest)
	}
	if readErr != nil {
		return "", readErr
	}
	if err != nil {
		return "", fmt.Errorf("the program did not run to its end: %w\n%s", err, firstLines(said.String(), 5))
	}
	return said.String(), nil
}

// A word of the stream is a block's address, and from this bit on how many
// instructions it has; see plugin/trace.c.
const countBit = 22

// walker follows the stream of executed blocks of code.
type walker struct {
	program map[uint64]*instruction
	// step is told every executed instruction, and of the last one of a block
	// whether execution went on elsewhere than behind it.
	step func(i *instruction, taken bool)
	// enter is told the address of each block before its first instruction.
	enter func(address uint64)

	blocks map[uint32][]*instruction // met so far, by their words
	last   *instruction              // not told yet: where it leads is not known
}

func (w *walker) read(stream io.Reader) error {
	words := bufio.NewReaderSize(stream, 1<<16)
	w.blocks = map[uint32][]*instruction{}
	var word [4]byte
	for {
		switch _, err := io.ReadFull(words, word[:]); {
		case errors.Is(err, io.EOF):
			w.flush(false, 0)
			return nil
		case err != nil:
			return fmt.Errorf("reading the emulator's stream: %w", err)
		}
		code, err := w.block(binary.NativeEndian.Uint32(word[:]))
		if err != nil {
			return err
		}
		w.flush(true, code[0].address)
		w.enter(code[0].address)
		for _, i := range code[:len(code)-1] {
			w.step(i, false)
		}
		w.last = code[len(code)-1]
	}
}

// block finds the instructions of a block.
func (w *walker) block(word uint32) ([]*instruction, error) {
	if code := w.blocks[word]; code != nil {
		return code, nil
	}
	address, count := uint64(word&(1<<countBit-1)), int(word>>countBit)
	var code []*instruction
	for range max(1, count) {
		i := w.program[address]
		if i == nil {
			return nil, fmt.Errorf("reading the emulator's stream: no instruction of the program is at %#x", address)
		}
		code = append(code, i)
		address += i.size
	}
	w.blocks[word] = code
	return code, nil
}

// flush tells the instruction that was kept back, now that the next block is
// known.
func (w *walker) flush(known bool, next uint64) {
	if w.last != nil {
		w.step(w.last, w.last.target && !(known && next == w.last.address+w.last.size))
		w.last = nil
	}
}
