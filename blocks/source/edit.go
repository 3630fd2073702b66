package source

import (
	"slices"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// Edit makes changes one after the other and returns the changed file. Nothing
// differs but what the edits name: comments, quotes, line ends and layout stay.
// Each step is proved by reading the text again. What cannot be done so is an
// *Error that tells what to type by hand.
func (f *File) Edit(edits ...Edit) (*File, error) {
	for _, e := range edits {
		edited, err := f.edit(e)
		if err != nil {
			return nil, err
		}
		f = edited
	}
	return f, nil
}

func (f *File) edit(e Edit) (*File, error) {
	var errs Errors
	root := Parse(f, &errs)
	if errs.Len() > 0 {
		return nil, errs.List()[0]
	}
	if len(e.Path) == 0 {
		return nil, &Error{File: f, Message: "an edit needs a path"}
	}
	s := &splicer{file: f, root: root.node, edit: e}
	s.run()
	if s.failed != nil {
		return nil, s.failed
	}
	edited := NewFile(f.Name, []byte(f.text[:s.start]+s.text+f.text[s.end:]))
	again := Parse(edited, &errs)
	if errs.Len() > 0 || !sameTree(again.node, s.want) {
		s.refuse(s.root, "the layout here cannot be edited safely")
		return nil, s.failed
	}
	return edited, nil
}

// sameTree tells whether two trees hold the same values, whatever their layout.
func sameTree(a, b *node) bool {
	return a.kind == b.kind && (a.kind != yaml.ScalarNode || a.value == b.value && a.null == b.null) &&
		slices.EqualFunc(a.content, b.content, sameTree)
}

// splicer works out one edit: the bytes from start to end that go, the text
// that comes in their place, and the tree that must be read afterwards.
type splicer struct {
	file       *File
	root       *node
	edit       Edit
	start, end int
	text       string
	want       *node
	failed     *Error
}

// refuse records why the edit cannot be made, with what to type instead.
func (s *splicer) refuse(at *node, why string) {
	if s.failed == nil {
		s.failed = &Error{File: s.file, Pos: s.file.place(at.line, at.column), Message: why, Hint: s.edit.String() + " by hand"}
	}
}

func (s *splicer) run() {
	at, i, missing, why := find(s.root, &s.edit)
	if why != "" {
		s.refuse(at, why)
		return
	}
	s.want = changed(s.root, s.edit.Path, &s.edit)
	switch {
	case s.edit.Key != "":
		key := at.content[i-1]
		s.start, s.end, s.text = s.begin(key), s.finish(key), quoted(s.edit.Key, key.style)
	case s.edit.Remove:
		s.remove(at, i)
	case i < 0 && at.kind == yaml.SequenceNode:
		s.append(at)
	case i < 0:
		text := s.edit.value(0)
		for _, above := range slices.Backward(missing[1:]) {
			text = "{" + quoted(above, 0) + ": " + text + "}"
		}
		s.add(at, quoted(missing[0], 0), text)
	default:
		s.replace(at.content[i])
	}
}

func (s *splicer) replace(value *node) {
	s.start, s.end = s.begin(value), s.finish(value)
	if s.failed != nil {
		return
	}
	switch old := s.file.text[s.start:s.end]; {
	case value.kind != yaml.ScalarNode && value.style&yaml.FlowStyle == 0:
		s.refuse(value, "what stands here runs over several lines")
	case value.kind != yaml.ScalarNode && strings.ContainsAny(old, "#"):
		s.refuse(value, "a comment may stand inside what would be replaced")
	case strings.ContainsAny(old, "\r\n"):
		s.refuse(value, "what stands here runs over several lines")
	}
	s.text = s.edit.value(value.style)
}

// add puts a new key last into a mapping.
func (s *splicer) add(mapping *node, key, text string) {
	pair := key + ": " + text
	if mapping.style&yaml.FlowStyle != 0 {
		s.start = s.begin(mapping) + 1
		if n := len(mapping.content); n > 0 {
			s.start = s.finish(mapping.content[n-1])
			pair = ", " + pair
		}
		s.end, s.text = s.start, pair
		return
	}
	first, last := mapping.content[0], mapping.content[len(mapping.content)-1]
	if column, aligned := valueColumn(mapping); aligned {
		if gap := column - first.column - utf8.RuneCountInString(key) - 1; gap > 1 {
			pair = key + ":" + strings.Repeat(" ", gap) + text
		}
	}
	begin := s.begin(first)
	line := s.lineStart(begin)
	indent := s.file.text[line:begin]
	if strings.Trim(indent, " ") != "" {
		indent = strings.Repeat(" ", first.column-1) // after the dash of a list
	}
	at := s.lineEnd(s.finish(last))
	s.start, s.end = at, at
	s.text = s.newline(begin) + indent + pair
}

// append puts a new item last into a list.
func (s *splicer) append(list *node) {
	text := s.edit.value(0)
	if list.style&yaml.FlowStyle != 0 {
		s.start = s.begin(list) + 1
		if n := len(list.content); n > 0 {
			s.start = s.finish(list.content[n-1])
			text = ", " + text
		}
		s.end, s.text = s.start, text
		return
	}
	begin := s.begin(list)
	at := s.lineEnd(s.finish(list.content[len(list.content)-1]))
	s.start, s.end = at, at
	s.text = s.newline(begin) + strings.Repeat(" ", list.column-1) + "- " + text
}

// valueColumn is the column in which all values of a block mapping begin, where
// there are several keys of different length before them.
func valueColumn(mapping *node) (column int, aligned bool) {
	lengths := map[int]bool{}
	for i := 0; i+1 < len(mapping.content); i += 2 {
		key, value := mapping.content[i], mapping.content[i+1]
		if value.line != key.line || column != 0 && value.column != column {
			return 0, false
		}
		column = value.column
		lengths[len(key.value)] = true
	}
	return column, len(lengths) > 1
}

// remove takes a member out of a mapping or a list.
func (s *splicer) remove(of *node, i int) {
	step := 1
	if of.kind == yaml.MappingNode {
		step = 2
	}
	first := i - step + 1 // the key, or the item
	if of.style&yaml.FlowStyle != 0 {
		switch {
		case first > 0:
			s.start, s.end = s.finish(of.content[first-1]), s.finish(of.content[i])
		case i+1 < len(of.content):
			s.start, s.end = s.begin(of.content[first]), s.begin(of.content[i+1])
		default:
			s.start, s.end = s.begin(of.content[first]), s.finish(of.content[i])
		}
		if s.failed == nil && strings.Contains(s.file.text[s.start:s.end], "#") {
			s.refuse(of.content[first], "a comment may stand inside what would be taken out")
		}
		return
	}
	if len(of.content) == step {
		s.refuse(of.content[first], "this stands alone, and nothing would be left")
		return
	}
	begin, finish := s.begin(of.content[first]), s.finish(of.content[i])
	if s.failed != nil {
		return
	}
	s.start = s.lineStart(begin)
	before := s.file.text[s.start:begin]
	if of.kind == yaml.SequenceNode {
		before = strings.Replace(before, "-", " ", 1)
	}
	if strings.Trim(before, " ") != "" {
		s.refuse(of.content[first], "something else stands before this in its line")
		return
	}
	s.end = s.lineEnd(finish)
	kept := s.comments(begin, s.end)
	if len(kept) == 0 {
		s.end += len(lineBreak(s.file.text[s.end:]))
		return
	}
	for i, comment := range kept {
		if i > 0 {
			s.text += s.newline(begin)
		}
		s.text += before + comment
	}
}

// comments are the comments between two offsets, of a value that is removed.
// What could be one is kept.
func (s *splicer) comments(start, end int) []string {
	var kept []string
	for _, line := range strings.Split(lineEnds.Replace(s.file.text[start:end]), "\n") {
		for at := range line {
			if line[at] == '#' && (at == 0 || strings.ContainsRune(" \t", rune(line[at-1]))) {
				kept = append(kept, line[at:])
				break
			}
		}
	}
	return kept
}

// begin is the offset at which a value begins.
func (s *splicer) begin(n *node) int {
	offset, ok := s.file.offset(n.line, n.column)
	if !ok || n.kind == yaml.ScalarNode && n.style == 0 && n.value == "" {
		s.refuse(n, "what is not written has no place")
	}
	return offset
}

// finish is the offset after the last character of a value.
func (s *splicer) finish(n *node) int {
	at := s.begin(n)
	if s.failed != nil {
		return at
	}
	text := s.file.text
	switch {
	case n.kind == yaml.ScalarNode && n.style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0:
		return s.closing(n, at)
	case n.kind == yaml.ScalarNode:
		if n.style != 0 || !strings.HasPrefix(text[at:], n.value) {
			s.refuse(n, "what stands here runs over several lines")
			return at
		}
		return at + len(n.value)
	case len(n.content) > 0:
		at = s.finish(n.content[len(n.content)-1])
	default:
		at++ // the bracket that opens
	}
	if n.style&yaml.FlowStyle == 0 || s.failed != nil {
		return at
	}
	for at < len(text) {
		switch c := text[at]; {
		case c == '}' || c == ']':
			return at + 1
		case c == '#':
			at = s.lineEnd(at)
		case strings.IndexByte(" ,\t\r\n", c) >= 0:
			at++
		default:
			s.refuse(n, "the end of this is not to be found")
			return at
		}
	}
	return at
}

// closing is the offset after the quote that ends a scalar.
func (s *splicer) closing(n *node, at int) int {
	text := s.file.text
	quote := text[at]
	for i := at + 1; i < len(text); i++ {
		switch {
		case text[i] == '\\' && quote == '"':
			i++
		case text[i] != quote:
		case quote == '\'' && i+1 < len(text) && text[i+1] == quote:
			i++
		default:
			return i + 1
		}
	}
	s.refuse(n, "the end of this is not to be found")
	return at
}

// offset is where line and column of the parser lie in the text.
func (f *File) offset(line, column int) (int, bool) {
	if line < 1 || column < 1 {
		return 0, false
	}
	at := len(f.text) - len(strings.TrimPrefix(f.text, "\ufeff"))
	for ; line > 1; line-- {
		next := strings.IndexFunc(f.text[at:], isBreak)
		if next < 0 {
			return len(f.text), false
		}
		at += next
		at += len(lineBreak(f.text[at:]))
	}
	for ; column > 1; column-- {
		r, size := utf8.DecodeRuneInString(f.text[at:])
		if size == 0 || isBreak(r) {
			return at, false
		}
		at += size
	}
	return at, at < len(f.text)
}

func isBreak(r rune) bool { return strings.ContainsRune("\r\n\u0085\u2028\u2029", r) }

// lineBreak is the line end that a text begins with; "": none.
func lineBreak(text string) string {
	if strings.HasPrefix(text, "\r\n") {
		return "\r\n"
	}
	if r, size := utf8.DecodeRuneInString(text); isBreak(r) {
		return text[:size]
	}
	return ""
}

// lineStart and lineEnd are the offsets of the first character of a line and of
// its line end, for the line that an offset lies in.
func (s *splicer) lineStart(at int) int {
	if i := strings.LastIndexFunc(s.file.text[:at], isBreak); i >= 0 {
		_, size := utf8.DecodeRuneInString(s.file.text[i:])
		return i + size
	}
	return len(s.file.text) - len(strings.TrimPrefix(s.file.text, "\ufeff"))
}

func (s *splicer) lineEnd(at int) int {
	if i := strings.IndexFunc(s.file.text[at:], isBreak); i >= 0 {
		return at + i
	}
	return len(s.file.text)
}

// newline is the line end of the line that an offset lies in, or that of the
// first line where it is the last.
func (s *splicer) newline(at int) string {
	if end := lineBreak(s.file.text[s.lineEnd(at):]); end != "" {
		return end
	}
	if end := lineBreak(s.file.text[s.lineEnd(0):]); end != "" {
		return end
	}
	return "\n"
}
