// Package sourcetest checks the mistakes of a file against comments in it.
//
// A comment at the end of a line states what is wrong in that line, as regular
// expressions of whole messages in the order of their columns:
//
//	echo: {block: dealy}   # ERROR "there is no block named 'dealy'" HINT "'delay'" AT "dealy"
//
// HINT and AT follow the ERROR that they belong to: a pattern of the hint, and
// the text that the caret stands under. A mistake of the file as a whole stands
// in the first line as ERROR-FILE.
package sourcetest

import (
	"regexp"
	"strings"
	"testing"

	"elbowroom/blocks/source"
)

// want is one expected mistake.
type want struct {
	line              int // 0: the file as a whole
	message, hint, at string
}

var (
	comment = regexp.MustCompile(`#\s*(ERROR(?:-FILE)?\s+".*)$`)
	stated  = regexp.MustCompile(`(ERROR-FILE|ERROR|HINT|AT)?\s*"((?:[^"\\]|\\.)*)"`)
	lineEnd = regexp.MustCompile("\r\n|[\r\n\u0085\u2028\u2029]")
)

// aWord is what Exchange exchanges: names, numbers with their units, marks.
var aWord = regexp.MustCompile(`[A-Za-z0-9_.%-]+|[\[\]{}:,]`)

// Words are the words of a text, for Exchange.
func Words(text []byte) []string { return aWord.FindAllString(string(text), -1) }

// Exchange is a text with one of its words, counted round, in place of which
// stands another; an empty word leaves it as it is.
func Exchange(text string, at int, word string) string {
	places := aWord.FindAllStringIndex(text, -1)
	if word == "" || len(places) == 0 {
		return text
	}
	place := places[at%len(places)]
	return text[:place[0]] + word + text[place[1]:]
}

// Sound demands that each mistake of a file whose text nobody chose is a sentence
// and has its place in the file.
func Sound(t *testing.T, file *source.File, errs *source.Errors) {
	t.Helper()
	lines := len(lineEnd.Split(file.Text(), -1))
	for _, e := range errs.List() {
		if e.File == file && (e.Pos.Line < 0 || e.Pos.Line > lines || e.Pos.Line > 0 && e.Pos.Column < 1) {
			t.Errorf("a mistake has no place in its file, %+v: %s", e.Pos, e.Message)
		}
		if e.Message == "" || strings.Contains(e.Message, "%!") && !strings.Contains(file.Text(), "%!") {
			t.Errorf("a message is no sentence: %q", e.Message)
		}
	}
}

// Check demands exactly the mistakes that the comments of a file state, on
// exactly their lines, each with its caret under a character of the line.
func Check(t *testing.T, file *source.File, errs *source.Errors) {
	t.Helper()
	wanted, contents := expectations(t, file)
	for _, e := range errs.List() {
		if e.File != file {
			t.Errorf("a mistake lies in another file:\n%v", e)
			continue
		}
		if e.Pos.Line > len(contents) || e.Pos.Line < 0 {
			t.Errorf("%s has %d lines, and a mistake lies in line %d: %s", file.Name, len(contents), e.Pos.Line, e.Message)
			continue
		}
		i := 0
		for i < len(wanted) && wanted[i].line != e.Pos.Line {
			i++
		}
		if i == len(wanted) {
			t.Errorf("this mistake is not stated by a comment:\n%v", e)
			continue
		}
		w := wanted[i]
		wanted = append(wanted[:i], wanted[i+1:]...)
		if !matches(t, w.message, e.Message) {
			t.Errorf("the message should match %q:\n%v", w.message, e)
		}
		if w.hint != "" && !matches(t, w.hint, e.Hint) {
			t.Errorf("the hint should match %q:\n%v", w.hint, e)
		}
		if e.Pos.Line > 0 {
			content := []rune(contents[e.Pos.Line-1])
			switch {
			case e.Pos.Column < 1 || e.Pos.Column > len(content):
				t.Errorf("the caret is not under a character of the line:\n%v", e)
			case !strings.HasPrefix(string(content[e.Pos.Column-1:]), w.at):
				t.Errorf("the caret should stand under %q:\n%v", w.at, e)
			}
		}
		if plain := strings.TrimSuffix(e.Message, "."); plain != e.Message || e.Message == "" || strings.ToUpper(plain[:1]) == plain[:1] && plain[0] >= 'A' && plain[0] <= 'Z' && !strings.HasPrefix(plain, "YAML") {
			t.Errorf("a message begins in lower case and has no full stop: %q", e.Message)
		}
	}
	for _, w := range wanted {
		t.Errorf("%s:%d: no mistake was found, want one that matches %q", file.Name, w.line, w.message)
	}
}

// expectations reads the comments, and gives the lines without them.
func expectations(t *testing.T, file *source.File) (wanted []want, contents []string) {
	t.Helper()
	for i, line := range lineEnd.Split(file.Text(), -1) {
		content := line
		if found := comment.FindStringSubmatchIndex(line); found != nil {
			content = strings.TrimRight(line[:found[0]], " \t")
			kind := "ERROR"
			for _, s := range stated.FindAllStringSubmatch(line[found[2]:], -1) {
				if s[1] != "" {
					kind = s[1]
				}
				text := strings.ReplaceAll(s[2], `\"`, `"`)
				switch kind {
				case "ERROR":
					wanted = append(wanted, want{line: i + 1, message: text})
				case "ERROR-FILE":
					wanted = append(wanted, want{message: text})
				case "HINT":
					wanted[len(wanted)-1].hint = text
				case "AT":
					wanted[len(wanted)-1].at = text
				}
				if kind == "HINT" || kind == "AT" {
					kind = "ERROR"
				}
			}
		}
		contents = append(contents, content)
	}
	if len(wanted) == 0 {
		t.Fatalf("%s states no mistake", file.Name)
	}
	return wanted, contents
}

func matches(t *testing.T, pattern, text string) bool {
	t.Helper()
	re, err := regexp.Compile("^(?:" + pattern + ")$")
	if err != nil {
		t.Fatalf("the pattern %q: %v", pattern, err)
	}
	return re.MatchString(text)
}
