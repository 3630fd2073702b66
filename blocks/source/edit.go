package source

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// Edit is one change of a file: what stands at a path is set or removed.
type Edit struct {
	Path   []string // keys of mappings from the top, and indices of lists
	Text   string   // the new value, a scalar without its quotes
	List   []string // the new value where it is a list of scalars; nil: it is Text
	Remove bool
}

// String is the edit as a person would be told to make it.
func (e Edit) String() string {
	at := e.Path[len(e.Path)-1]
	within := ""
	if len(e.Path) > 1 {
		within = " in '" + strings.Join(e.Path[:len(e.Path)-1], ".") + "'"
	}
	if _, err := strconv.Atoi(at); err == nil {
		at = fmt.Sprintf("item %s", at)
	}
	if e.Remove {
		return fmt.Sprintf("take out '%s'%s", at, within)
	}
	return fmt.Sprintf("write '%s: %s'%s", at, e.value(0), within)
}

// value is the new value as YAML, in the quotes that the old one had.
func (e Edit) value(quotes yaml.Style) string {
	if e.List == nil {
		return quoted(e.Text, quotes)
	}
	items := make([]string, len(e.List))
	for i, text := range e.List {
		items[i] = quoted(text, 0)
	}
	return "[" + strings.Join(items, ", ") + "]"
}

// quoted is a text as a YAML scalar on one line: in the quotes asked for, or
// as it is, where that reads back as the same.
func quoted(text string, quotes yaml.Style) string {
	one := !strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || strings.ContainsRune("\u0085\u2028\u2029", r) })
	switch {
	case quotes&yaml.SingleQuotedStyle != 0 && one:
		return "'" + strings.ReplaceAll(text, "'", "''") + "'"
	case quotes&yaml.DoubleQuotedStyle == 0 && one:
		documents, err := load("{k: " + text + "}")
		if err == nil && len(documents) == 1 {
			if pair := documents[0].Content[0].Content; len(pair) == 2 && pair[1].Kind == yaml.ScalarNode &&
				pair[1].Style == 0 && pair[1].Value == text && pair[1].Tag != "!!null" && pair[1].Anchor == "" {
				return text
			}
		}
	}
	return strconv.Quote(text)
}

// Edit makes changes one after the other and returns the changed file. Nothing
// differs but what the edits name: comments, quotes, line ends and layout stay.
// Each step is proved by reading the text again. What cannot be done so is an
// *Error that tells what to type by hand.
func (f *File) Edit(edits ...Edit) (*File, error) {
	for _, e := range edits {
		changed, err := f.edit(e)
		if err != nil {
			return nil, err
		}
		f = changed
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
	changed := NewFile(f.Name, []byte(f.text[:s.start]+s.text+f.text[s.end:]))
	again := Parse(changed, &errs)
	if errs.Len() > 0 || !sameTree(again.node, s.want) {
		s.refuse(s.root, "the layout here cannot be edited safely")
		return nil, s.failed
	}
	return changed, nil
}

// sameTree tells whether two trees hold the same values, whatever their layout.
func sameTree(a, b *yaml.Node) bool {
	return a.Kind == b.Kind && (a.Kind != yaml.ScalarNode || a.Value == b.Value && (a.Tag == "!!null") == (b.Tag == "!!null")) &&
		slices.EqualFunc(a.Content, b.Content, sameTree)
}

// copied is a tree of its own.
func copied(n *yaml.Node) *yaml.Node {
	c := *n
	c.Content = make([]*yaml.Node, len(n.Content))
	for i, below := range n.Content {
		c.Content[i] = copied(below)
	}
	return &c
}

// splicer works out one edit: the bytes from start to end that go, the text
// that comes in their place, and the tree that must be read afterwards.
type splicer struct {
	file       *File
	root       *yaml.Node
	edit       Edit
	start, end int
	text       string
	want       *yaml.Node
	failed     *Error
}

// refuse records why the edit cannot be made, with what to type instead.
func (s *splicer) refuse(at *yaml.Node, why string) {
	if s.failed == nil {
		s.failed = &Error{File: s.file, Pos: s.file.place(at.Line, at.Column), Message: why, Hint: s.edit.String() + " by hand"}
	}
}

func (s *splicer) run() {
	s.want = copied(s.root)
	at, want := s.root, s.want
	path := s.edit.Path
	for len(path) > 1 {
		i := member(at, path[0])
		if i < 0 {
			break
		}
		at, want, path = at.Content[i], want.Content[i], path[1:]
	}
	i := member(at, path[0])
	switch {
	case i < 0 && s.edit.Remove:
		s.refuse(at, fmt.Sprintf("there is no '%s' to take out", path[0]))
	case i < 0 && at.Kind != yaml.MappingNode:
		s.refuse(at, fmt.Sprintf("there is no place for '%s' here", path[0]))
	case s.edit.Remove:
		s.remove(at, i)
		from := i
		if at.Kind == yaml.MappingNode {
			from = i - 1
		}
		want.Content = slices.Delete(want.Content, from, i+1)
	case i < 0:
		key, text, value := path[0], s.edit.value(0), s.node()
		for _, above := range slices.Backward(path[1:]) {
			text = "{" + quoted(above, 0) + ": " + text + "}"
			value = &yaml.Node{Kind: yaml.MappingNode, Content: []*yaml.Node{scalar(above), value}}
		}
		s.add(at, quoted(key, 0), text)
		want.Content = append(want.Content, scalar(key), value)
	default:
		s.replace(at.Content[i])
		want.Content[i] = s.node()
	}
}

// member is the index of what a key or an index names; -1: nothing.
func member(n *yaml.Node, key string) int {
	switch n.Kind {
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == key {
				return i + 1
			}
		}
	case yaml.SequenceNode:
		if i, err := strconv.Atoi(key); err == nil && i >= 0 && i < len(n.Content) {
			return i
		}
	}
	return -1
}

func scalar(text string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Value: text} }

// node is the new value as it must be read afterwards.
func (s *splicer) node() *yaml.Node {
	if s.edit.List == nil {
		return scalar(s.edit.Text)
	}
	n := &yaml.Node{Kind: yaml.SequenceNode}
	for _, text := range s.edit.List {
		n.Content = append(n.Content, scalar(text))
	}
	return n
}

func (s *splicer) replace(value *yaml.Node) {
	s.start, s.end = s.begin(value), s.finish(value)
	if s.failed != nil {
		return
	}
	switch old := s.file.text[s.start:s.end]; {
	case value.Kind != yaml.ScalarNode && value.Style&yaml.FlowStyle == 0:
		s.refuse(value, "what stands here runs over several lines")
	case value.Kind != yaml.ScalarNode && strings.ContainsAny(old, "#"):
		s.refuse(value, "a comment may stand inside what would be replaced")
	case strings.ContainsAny(old, "\r\n"):
		s.refuse(value, "what stands here runs over several lines")
	}
	s.text = s.edit.value(value.Style)
}

// add puts a new key last into a mapping.
func (s *splicer) add(mapping *yaml.Node, key, text string) {
	pair := key + ": " + text
	if mapping.Style&yaml.FlowStyle != 0 {
		s.start = s.begin(mapping) + 1
		if n := len(mapping.Content); n > 0 {
			s.start = s.finish(mapping.Content[n-1])
			pair = ", " + pair
		}
		s.end, s.text = s.start, pair
		return
	}
	first, last := mapping.Content[0], mapping.Content[len(mapping.Content)-1]
	if column, aligned := valueColumn(mapping); aligned {
		if gap := column - first.Column - utf8.RuneCountInString(key) - 1; gap > 1 {
			pair = key + ":" + strings.Repeat(" ", gap) + text
		}
	}
	begin := s.begin(first)
	line := s.lineStart(begin)
	indent := s.file.text[line:begin]
	if strings.Trim(indent, " ") != "" {
		indent = strings.Repeat(" ", first.Column-1) // after the dash of a list
	}
	at := s.lineEnd(s.finish(last))
	s.start, s.end = at, at
	s.text = s.newline(begin) + indent + pair
}

// valueColumn is the column in which all values of a block mapping begin, where
// there are several keys of different length before them.
func valueColumn(mapping *yaml.Node) (column int, aligned bool) {
	lengths := map[int]bool{}
	for i := 0; i+1 < len(mapping.Content); i += 2 {
		key, value := mapping.Content[i], mapping.Content[i+1]
		if value.Line != key.Line || column != 0 && value.Column != column {
			return 0, false
		}
		column = value.Column
		lengths[len(key.Value)] = true
	}
	return column, len(lengths) > 1
}

// remove takes a member out of a mapping or a list.
func (s *splicer) remove(of *yaml.Node, i int) {
	step := 1
	if of.Kind == yaml.MappingNode {
		step = 2
	}
	first := i - step + 1 // the key, or the item
	if of.Style&yaml.FlowStyle != 0 {
		switch {
		case first > 0:
			s.start, s.end = s.finish(of.Content[first-1]), s.finish(of.Content[i])
		case i+1 < len(of.Content):
			s.start, s.end = s.begin(of.Content[first]), s.begin(of.Content[i+1])
		default:
			s.start, s.end = s.begin(of.Content[first]), s.finish(of.Content[i])
		}
		if s.failed == nil && strings.Contains(s.file.text[s.start:s.end], "#") {
			s.refuse(of.Content[first], "a comment may stand inside what would be taken out")
		}
		return
	}
	if len(of.Content) == step {
		s.refuse(of.Content[first], "this stands alone, and nothing would be left")
		return
	}
	begin, finish := s.begin(of.Content[first]), s.finish(of.Content[i])
	if s.failed != nil {
		return
	}
	s.start = s.lineStart(begin)
	before := s.file.text[s.start:begin]
	if of.Kind == yaml.SequenceNode {
		before = strings.Replace(before, "-", " ", 1)
	}
	if strings.Trim(before, " ") != "" {
		s.refuse(of.Content[first], "something else stands before this in its line")
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
func (s *splicer) begin(n *yaml.Node) int {
	offset, ok := s.file.offset(n.Line, n.Column)
	if !ok || n.Kind == yaml.ScalarNode && n.Style == 0 && n.Value == "" {
		s.refuse(n, "what is not written has no place")
	}
	return offset
}

// finish is the offset after the last character of a value.
func (s *splicer) finish(n *yaml.Node) int {
	at := s.begin(n)
	if s.failed != nil {
		return at
	}
	text := s.file.text
	switch {
	case n.Kind == yaml.ScalarNode && n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0:
		return s.closing(n, at)
	case n.Kind == yaml.ScalarNode:
		if n.Style != 0 || !strings.HasPrefix(text[at:], n.Value) {
			s.refuse(n, "what stands here runs over several lines")
			return at
		}
		return at + len(n.Value)
	case len(n.Content) > 0:
		at = s.finish(n.Content[len(n.Content)-1])
	default:
		at++ // the bracket that opens
	}
	if n.Style&yaml.FlowStyle == 0 || s.failed != nil {
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
func (s *splicer) closing(n *yaml.Node, at int) int {
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
