// Package source reads the text files that people write for Elbowroom.
//
// NewFile keeps a text with its lines; Parse turns it into a Value, a strict
// view of its YAML in which nothing may go unread: Object.Done demands that
// every key was taken. Every mistake becomes an Error with file, line, column,
// the source line, a caret and, where one is near, the name that was probably
// meant. Mistakes are collected in Errors, so that all of a file are told at
// once and in file order. Values stay text: what they mean is for the caller.
package source

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
	"go.yaml.in/yaml/v4/plugin/loaderlimits"
)

// MaxBytes is the largest file that is read: a graph of 10,000 nodes takes
// under 1 MiB, and past this size reading a graph would need over 256 MiB.
const MaxBytes = 2 << 20

// maxDepth is how deep mappings and lists may nest. A graph needs seven.
const maxDepth = 20

// File is a text with a name.
type File struct {
	Name   string
	text   string
	lines  func() []string // split when first asked for; several may ask at once
	before int             // lines of the file that stand before the text
}

// NewFile makes a File of a text that was read under a name.
func NewFile(name string, text []byte) *File {
	return Excerpt(name, 1, string(text))
}

// Excerpt makes a File of one line of a text too large to hold; n is the line's
// number, from 1.
func Excerpt(name string, n int, line string) *File {
	lines := func() []string { return strings.Split(lineEnds.Replace(line), "\n") }
	return &File{Name: name, text: line, lines: sync.OnceValue(lines), before: n - 1}
}

// Text is the whole text.
func (f *File) Text() string { return f.text }

// lineEnds turns every line end that the YAML parser counts into "\n", so that
// its line numbers are ours.
var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u0085", "\n", "\u2028", "\n", "\u2029", "\n")

// line returns line n, counted from 1, without its line end.
func (f *File) line(n int) (string, bool) {
	n -= f.before
	lines := f.lines()
	if n < 1 || n > len(lines) {
		return "", false
	}
	return strings.TrimPrefix(lines[n-1], "\ufeff"), true
}

// Pos is a place in a file: line and column from 1, columns in characters.
// The zero Pos means the file as a whole.
type Pos struct{ Line, Column int }

// place is the Pos for a line and column of the YAML parser. It counts line 0
// where it knows no place, and sometimes one line past the last, which here is
// the end of the last.
func (f *File) place(line, column int) Pos {
	if line < 1 {
		return Pos{}
	}
	if _, ok := f.line(line); ok {
		return Pos{line, max(column, 1)}
	}
	last, _ := f.line(len(f.lines()))
	return Pos{len(f.lines()), utf8.RuneCountInString(last) + 1}
}

// Parse reads the one YAML document of a file. Mistakes go to errs; where the
// text is not YAML at all, the Value is not Given.
func Parse(file *File, errs *Errors) Value {
	whole := func(format string, args ...any) Value {
		errs.Add(&Error{File: file, Message: fmt.Sprintf(format, args...)})
		return Value{}
	}
	if len(file.text) > MaxBytes {
		return whole("the file has %d bytes, more than the %d that are read", len(file.text), MaxBytes)
	}
	if strings.ContainsRune(file.text, 0) || !utf8.ValidString(file.text) {
		return whole("this is not a text file in UTF-8")
	}
	if at := strings.IndexFunc(file.text, controls); at >= 0 {
		before := strings.Split(lineEnds.Replace(file.text[:at]), "\n")
		last := strings.TrimPrefix(before[len(before)-1], "\ufeff")
		errs.Add(&Error{
			File:    file,
			Pos:     Pos{len(before), utf8.RuneCountInString(last) + 1},
			Message: "a control character stands here, which text does not hold",
		})
		return Value{}
	}
	documents, err := load(file.text)
	if err != nil {
		broken := &yaml.LoadError{Message: err.Error()}
		errors.As(err, &broken)
		pos := file.place(broken.Mark.Line, broken.Mark.Column)
		errs.Add(&Error{
			File: file, Pos: pos,
			Message: "not readable as YAML: " + shorten(broken.Message, 120),
			Hint:    file.yamlHint(pos, broken.Message),
		})
		return Value{}
	}
	if len(documents) == 0 {
		return whole("the file is empty")
	}
	if len(documents) > 1 {
		errs.Add(file.mistake(documents[1], "", "a second document begins here, and only one is read"))
		return Value{}
	}
	if mistake := file.notPlain(documents[0].Content[0]); mistake != nil {
		errs.Add(mistake)
		return Value{}
	}
	v := Value{file, compact(documents[0].Content[0]), errs}
	if v.kind() == "nothing" {
		return whole("the file is empty")
	}
	return v
}

// yamlHint says in our words what the parser's usual complaints come from.
func (f *File) yamlHint(pos Pos, message string) string {
	line, _ := f.line(pos.Line)
	switch runes := []rune(line); {
	case pos.Column >= 1 && pos.Column <= len(runes) && runes[pos.Column-1] == '\t':
		return "indent with spaces, not with tabs"
	case strings.Contains(message, "expected ',' or"):
		return "a bracket that opened before is not closed, or a comma is missing"
	case slices.ContainsFunc([]string{"mapping values are not allowed", "expected <document start>", "expected ':'"}, func(words string) bool { return strings.Contains(message, words) }):
		return f.colonHint(pos, line)
	case strings.Contains(message, "expected key"):
		return "see whether this line is indented like those it belongs with"
	}
	return ""
}

// colonHint tells why a colon cannot stand where it does: the line before lacks
// its own, or one went before it in the line.
func (f *File) colonHint(pos Pos, line string) string {
	runes := []rune(line)
	if key, _, second := strings.Cut(string(runes[:min(max(pos.Column-1, 0), len(runes))]), ": "); second {
		key = strings.TrimSpace(key)
		return fmt.Sprintf("what stands after '%s:' goes into braces: '%s: {KEY: VALUE}'", key, key)
	}
	for n := pos.Line - 1; n > 0; n-- {
		before, _ := f.line(n)
		before, _, _ = strings.Cut(before, "#")
		before = strings.TrimSpace(before)
		if before == "" {
			continue
		}
		if !strings.Contains(before, ":") {
			return fmt.Sprintf("a colon is missing after '%s' in line %d", clip(before), n)
		}
		break
	}
	return ""
}

// controls tells whether a character commands a terminal and is no part of text.
func controls(r rune) bool { return unicode.IsControl(r) && !strings.ContainsRune("\t\n\r\u0085", r) }

// load reads the first document of a text and, where there is one, the second.
func load(text string) ([]*yaml.Node, error) {
	limits := loaderlimits.New(loaderlimits.DepthValue(maxDepth))
	loader, err := yaml.NewLoader(strings.NewReader(text), yaml.WithPlugin(limits))
	var documents []*yaml.Node
	for err == nil && len(documents) < 2 {
		var document yaml.Node
		if err = loader.Load(&document); err == nil {
			documents = append(documents, &document)
		}
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return documents, err
}
