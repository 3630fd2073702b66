package source

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Error is one mistake in a file, with its place.
type Error struct {
	File    *File
	Pos     Pos
	Message string
	Hint    string // what to write instead; may be empty
}

// window is how many characters of a long source line are shown.
const window = 96

// Error prints the mistake over several lines: place and message, the source
// line with a caret under the column, and the hint.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File.Name)
	if e.Pos.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Pos.Line, e.Pos.Column)
	}
	b.WriteString(": " + printable(e.Message))
	if line, ok := e.File.line(e.Pos.Line); ok {
		shown, caret := excerpt(line, e.Pos.Column)
		number := fmt.Sprintf("%5d", e.Pos.Line)
		fmt.Fprintf(&b, "\n%s | %s\n%*s | %*s^", number, shown, len(number), "", caret, "")
	}
	if e.Hint != "" {
		b.WriteString("\nhint: " + printable(e.Hint))
	}
	return b.String()
}

// excerpt cuts a line to the window around a column and tells how many
// characters stand before the caret.
func excerpt(line string, column int) (string, int) {
	runes := []rune(printable(line))
	caret := min(max(column-1, 0), len(runes))
	start := 0
	if caret > window*3/4 {
		start = caret - window/2
	}
	end := min(start+window, len(runes))
	shown := string(runes[start:end])
	if start > 0 {
		shown = "..." + shown
		caret += 3
	}
	if end < len(runes) {
		shown += "..."
	}
	return shown, caret - start
}

// printable puts a space for each character that would move the caret or
// command the terminal: tabs, line ends, escapes.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, text)
}

// Errors collects the mistakes of one reading. The zero value is ready.
type Errors struct {
	list []*Error
	told map[Error]bool
}

// Add records a mistake. One that is there already is not told again, so that
// a value may be read twice.
func (es *Errors) Add(e *Error) {
	if es.told[*e] {
		return
	}
	if es.told == nil {
		es.told = map[Error]bool{}
	}
	es.told[*e] = true
	es.list = append(es.list, e)
}

// Len is how many mistakes there are.
func (es *Errors) Len() int { return len(es.list) }

// List is all mistakes, files in the order they were read, each in file order.
func (es *Errors) List() []*Error {
	order := map[*File]int{}
	for _, e := range es.list {
		if _, seen := order[e.File]; !seen {
			order[e.File] = len(order)
		}
	}
	sorted := slices.Clone(es.list)
	slices.SortStableFunc(sorted, func(a, b *Error) int {
		if d := order[a.File] - order[b.File]; d != 0 {
			return d
		}
		if d := a.Pos.Line - b.Pos.Line; d != 0 {
			return d
		}
		return a.Pos.Column - b.Pos.Column
	})
	return sorted
}

// Err is nil where nothing was wrong, else the collection itself.
func (es *Errors) Err() error {
	if len(es.list) == 0 {
		return nil
	}
	return es
}

// mostPrinted is how many mistakes Errors.Error prints: nobody reads more at
// once, and a file of 4 MiB can hold hundreds of thousands.
const mostPrinted = 50

// Error prints the mistakes one after the other, and how many more there are.
func (es *Errors) Error() string {
	var b strings.Builder
	for i, e := range es.List() {
		if i == mostPrinted {
			fmt.Fprintf(&b, "\nand %d more", es.Len()-mostPrinted)
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(e.Error())
	}
	return b.String()
}
