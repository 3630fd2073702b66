package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// longest is how long one run of the emulator may take.
const longest = 15 * time.Minute

// emulate runs a program and hands the log of executed code to read, as a
// stream. It returns what the program said.
func emulate(machine, program string, read func(io.Reader) error) (string, error) {
	// A pipe outside the runtime's poller, which would wake up for every line.
	var ends [2]int
	if err := syscall.Pipe(ends[:]); err != nil {
		return "", err
	}
	syscall.CloseOnExec(ends[0])
	syscall.CloseOnExec(ends[1])
	out, in := os.NewFile(uintptr(ends[0]), "log"), os.NewFile(uintptr(ends[1]), "log")
	defer out.Close()
	cmd := exec.Command(emulator, "-M", machine, "-nographic", "-monitor", "none", "-serial", "none",
		"-semihosting-config", "enable=on,target=native", "-kernel", program,
		"-d", "in_asm,exec,nochain", "-dfilter", fmt.Sprintf("0x0..%#x", highCode-1), "-D", "/dev/fd/3")
	cmd.ExtraFiles = []*os.File{in}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	err := cmd.Start()
	in.Close()
	if err != nil {
		return "", err
	}
	timer := time.AfterFunc(longest, func() { _ = cmd.Process.Kill() })
	readErr := read(gathering{out})
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

// gathering waits a little before each read, since the emulator writes its log
// line by line: waking up for each would take longer than everything else.
type gathering struct{ io.Reader }

// gather is under the time in which the emulator fills a pipe.
const gather = 200 * time.Microsecond

func (g gathering) Read(p []byte) (int, error) {
	time.Sleep(gather)
	return g.Reader.Read(p)
}

// walker follows the log of the emulator: each block of code is listed once
// when it is first met, and then named each time it is executed.
type walker struct {
	program map[uint64]*instruction
	blocks  map[uint64][]*instruction
	// step is told every executed instruction, and of the last one of a block
	// whether execution went on elsewhere than behind it.
	step func(i *instruction, taken bool)
	// enter is told the address of each block before its first instruction.
	enter func(address uint64)

	last *instruction // not told yet: where it leads is not known
}

func (w *walker) read(log io.Reader) error {
	lines := bufio.NewReaderSize(log, 1<<16)
	var listed []*instruction
	start, listing := uint64(0), false
	for {
		line, err := lines.ReadSlice('\n')
		if err == io.EOF {
			w.flush(false, 0)
			return nil
		}
		if err != nil {
			return fmt.Errorf("reading the emulator's log: %w", err)
		}
		switch {
		case bytes.HasPrefix(line, []byte("Trace")):
			if listing {
				w.blocks[start] = listed
				listing = false
			}
			address, ok := traced(line)
			if !ok {
				return fmt.Errorf("reading the emulator's log: no address in '%s'", strings.TrimSpace(string(line)))
			}
			if err := w.execute(address &^ 1); err != nil {
				return err
			}
		case bytes.HasPrefix(line, []byte("IN:")):
			if listing {
				w.blocks[start] = listed
			}
			listed, listing, start = nil, false, 0
		case bytes.HasPrefix(line, []byte("0x")):
			text, _, _ := bytes.Cut(line[2:], []byte(":"))
			address, err := strconv.ParseUint(string(text), 16, 64)
			if err != nil {
				return fmt.Errorf("reading the emulator's log: %w", err)
			}
			i := w.program[address]
			if i == nil {
				return fmt.Errorf("reading the emulator's log: no instruction of the program is at %#x", address)
			}
			if !listing {
				start, listing = address, true
			}
			listed = append(listed, i)
		}
	}
}

// traced finds the address in a line such as
// "Trace 0: 0x7f9c [00000000/0000011c/00000110/ff000201] main".
func traced(line []byte) (uint64, bool) {
	_, rest, ok := bytes.Cut(line, []byte("["))
	if !ok {
		return 0, false
	}
	_, rest, ok = bytes.Cut(rest, []byte("/"))
	if !ok {
		return 0, false
	}
	text, _, ok := bytes.Cut(rest, []byte("/"))
	if !ok {
		return 0, false
	}
	var address uint64
	for _, b := range text {
		switch {
		case b >= '0' && b <= '9':
			address = address<<4 | uint64(b-'0')
		case b >= 'a' && b <= 'f':
			address = address<<4 | uint64(b-'a'+10)
		default:
			return 0, false
		}
	}
	return address, len(text) > 0
}

func (w *walker) execute(address uint64) error {
	code := w.blocks[address]
	if code == nil {
		return fmt.Errorf("reading the emulator's log: the block at %#x was never listed", address)
	}
	w.flush(true, address)
	w.enter(address)
	for _, i := range code[:len(code)-1] {
		w.step(i, false)
	}
	w.last = code[len(code)-1]
	return nil
}

// flush tells the instruction that was kept back, now that the next block is
// known.
func (w *walker) flush(known bool, next uint64) {
	if w.last != nil {
		w.step(w.last, w.last.target && !(known && next == w.last.address+w.last.size))
		w.last = nil
	}
}
