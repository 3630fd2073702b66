package main

import (
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

// stretch is a block of code as the emulator translates it: instructions that
// are executed one after another, of which the last alone may lead elsewhere.
type stretch struct {
	address uint64
	count   int // of instructions, as the stream tells it
	code    []*instruction
	tally   *tally // what comes before the last, summed up at the first run
}

// walker follows the stream of executed blocks of code.
type walker struct {
	program map[uint64]*instruction
	// run is told each executed stretch, and whether execution went on elsewhere
	// than behind it.
	run func(s *stretch, taken bool)

	met  []*stretch // by half their addresses
	last *stretch   // not told yet: where it leads is not known
}

func (w *walker) read(stream io.Reader) error {
	buffer := make([]byte, 1<<16)
	for {
		n, err := io.ReadAtLeast(stream, buffer, 4)
		if err == nil && n%4 != 0 {
			var more int
			more, err = io.ReadFull(stream, buffer[n:n+4-n%4])
			n += more
		}
		for at := 0; at+4 <= n; at += 4 {
			next, err := w.stretch(binary.NativeEndian.Uint32(buffer[at:]))
			if err != nil {
				return err
			}
			w.flush(true, next.address)
			w.last = next
		}
		switch {
		case errors.Is(err, io.EOF):
			w.flush(false, 0)
			return nil
		case err != nil:
			return fmt.Errorf("reading the emulator's stream: %w", err)
		}
	}
}

// stretch finds the block of code that a word of the stream names.
func (w *walker) stretch(word uint32) (*stretch, error) {
	address, count := uint64(word&(1<<countBit-1)), int(word>>countBit)
	if place := int(address / 2); place >= len(w.met) {
		w.met = append(w.met, make([]*stretch, place+1-len(w.met))...)
	}
	if s := w.met[address/2]; s != nil && s.count == count {
		return s, nil
	}
	s := &stretch{address: address, count: count}
	for at := address; len(s.code) < max(1, count); {
		i := w.program[at]
		if i == nil {
			return nil, fmt.Errorf("reading the emulator's stream: no instruction of the program is at %#x", at)
		}
		s.code = append(s.code, i)
		at += i.size
	}
	w.met[address/2] = s
	return s, nil
}

// flush tells the stretch that was kept back, now that the next one is known.
func (w *walker) flush(known bool, next uint64) {
	if w.last == nil {
		return
	}
	end := w.last.code[len(w.last.code)-1]
	w.run(w.last, end.target && !(known && next == end.address+end.size))
	w.last = nil
}
