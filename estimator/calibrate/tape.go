package calibrate

import (
	"bytes"
	"errors"
	"io"
	"strings"
)

// errLong is that a row does not end.
var errLong = errors.New("a row is too long")

// tape hands a text on and keeps the row that is being read, for messages. A
// quotation mark that is not closed makes all that follows one row, so that a
// row which does not end is refused before it fills the memory.
type tape struct {
	from  io.Reader
	held  []byte
	begin int64 // offset in the text of what is held
}

func (t *tape) Read(p []byte) (int, error) {
	if len(t.held) > 2*maxRow {
		return 0, errLong
	}
	n, err := t.from.Read(p)
	t.held = append(t.held, p[:n]...)
	return n, err
}

// forget drops what stands before an offset.
func (t *tape) forget(offset int64) {
	n := min(int(offset-t.begin), len(t.held))
	t.begin += int64(n)
	t.held = t.held[n:]
	if cap(t.held)-len(t.held) < 4096 { // or the slice creeps on without end
		t.held = append(make([]byte, 0, 2*len(t.held)+8192), t.held...)
	}
}

// line is the last line that is being read: what is held, comments and empty
// lines before it left out.
func (t *tape) line() string {
	rest := t.held
	for {
		line, after, more := bytes.Cut(rest, []byte("\n"))
		if text := strings.TrimSpace(string(line)); more && (text == "" || text[0] == '#') {
			rest = after
			continue
		}
		return strings.TrimRight(string(line), "\r")
	}
}
