package source

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// booth is a file in all the layouts that people write: flow and block style,
// columns, quotes, comments at the end of lines and on their own, a list.
const booth = `# The booth.
board: m7-480-sdram
sample_rate: 48 kHz      # as the card
nodes:
  wind:    {block: noise, colour: pink}
  echo:    {block: delay, from: howl, time: 3/8, format: 'float32'}   # the cave
  cave:
    block:  plate-reverb # big
    from:   [echo, wind]
    decay:  "3 s"
    # a remark between
    code:
      maths: library
  mist: {block: network-reverb,
    lines: "16", # all of them
    from: echo}
  speaker: {block: audio-out, from: cave}
scenes:
  storm:
    - wind
    - echo # last
`

func TestEdit(t *testing.T) {
	path := func(text string) []string { return strings.Split(text, "/") }
	tests := []struct {
		name     string
		edits    []Edit
		old, new string // the only piece of the text that changes
	}{
		{"a plain value in block style", []Edit{{Path: path("board"), Text: "m4f-120-192k"}}, "m7-480-sdram", "m4f-120-192k"},
		{"a value with a comment behind it", []Edit{{Path: path("sample_rate"), Text: "32 kHz"}}, "48 kHz ", "32 kHz "},
		{"a plain value in flow style", []Edit{{Path: path("nodes/wind/colour"), Text: "white"}}, "pink", "white"},
		{"a value between others", []Edit{{Path: path("nodes/echo/time"), Text: "3/16"}}, "3/8", "3/16"},
		{"the last value before a bracket", []Edit{{Path: path("nodes/echo/format"), Text: "int16"}}, "'float32'", "'int16'"},
		{"a value in double quotes", []Edit{{Path: path("nodes/cave/decay"), Text: "2 s"}}, `"3 s"`, `"2 s"`},
		{"a value that would read as a list", []Edit{{Path: path("nodes/wind/colour"), Text: "[a"}}, "pink", `"[a"`},
		{"a value that would read as nothing", []Edit{{Path: path("nodes/wind/colour"), Text: "~"}}, "pink", `"~"`},
		{"a value with a comma in flow style", []Edit{{Path: path("nodes/wind/colour"), Text: "a, b"}}, "pink", `"a, b"`},
		{"a list in place of one", []Edit{{Path: path("nodes/cave/from"), List: []string{"wind"}}}, "[echo, wind]", "[wind]"},
		{"a list in place of a word", []Edit{{Path: path("nodes/speaker/from"), List: []string{"cave", "mist"}}}, "from: cave}", "from: [cave, mist]}"},
		{"a word in place of a list", []Edit{{Path: path("nodes/cave/from"), Text: "wind"}}, "[echo, wind]", "wind"},
		{"a new key in flow style", []Edit{{Path: path("nodes/wind/keep"), Text: "true"}}, "colour: pink}", "colour: pink, keep: true}"},
		{"a new key in flow style over lines", []Edit{{Path: path("nodes/mist/matrix"), Text: "householder"}}, "from: echo}\n  speaker", "from: echo, matrix: householder}\n  speaker"},
		{"a new key in block style", []Edit{{Path: path("nodes/cave/format"), Text: "int16"}}, "maths: library\n", "maths: library\n    format: int16\n"},
		{"a new key in block style with columns", []Edit{{Path: path("nodes/cave/code"), Remove: true}, {Path: path("nodes/cave/keep"), Text: "true"}},
			"    # a remark between\n    code:\n      maths: library\n", "    keep:   true\n    # a remark between\n"},
		{"a new key below a new key", []Edit{{Path: path("code/optimise"), Text: "Os"}}, "- echo # last\n", "- echo # last\ncode: {optimise: Os}\n"},
		{"a key taken out of flow style", []Edit{{Path: path("nodes/echo/time"), Remove: true}}, ", time: 3/8", ""},
		{"the first key taken out of flow style", []Edit{{Path: path("nodes/echo/block"), Remove: true}}, "block: delay, ", ""},
		{"a key taken out of block style", []Edit{{Path: path("board"), Remove: true}}, "board: m7-480-sdram\n", ""},
		{"a key taken out that has a comment", []Edit{{Path: path("sample_rate"), Remove: true}}, "sample_rate: 48 kHz      # as", "# as"},
		{"a node taken out", []Edit{{Path: path("nodes/wind"), Remove: true}}, "  wind:    {block: noise, colour: pink}\n", ""},
		{"an item taken out of a flow list", []Edit{{Path: path("nodes/cave/from/1"), Remove: true}}, "[echo, wind]", "[echo]"},
		{"the first item taken out of a flow list", []Edit{{Path: path("nodes/cave/from/0"), Remove: true}}, "[echo, wind]", "[wind]"},
		{"an item taken out of a block list", []Edit{{Path: path("scenes/storm/0"), Remove: true}}, "    - wind\n", ""},
		{"an item taken out that has a comment", []Edit{{Path: path("scenes/storm/1"), Remove: true}}, "    - echo # last", "      # last"},
		{"an item of a block list", []Edit{{Path: path("scenes/storm/1"), Text: "cave"}}, "- echo # last", "- cave # last"},
		{"an item after the last of a flow list", []Edit{{Path: path("nodes/cave/from/2"), Text: "mist"}}, "[echo, wind]", "[echo, wind, mist]"},
		{"an item after the last of a block list", []Edit{{Path: path("scenes/storm/2"), Text: "cave"}}, "- echo # last\n", "- echo # last\n    - cave\n"},
		{"an item with a comma after the last of a flow list", []Edit{{Path: path("nodes/cave/from/2"), Text: "a, b"}}, "[echo, wind]", "[echo, wind, \"a, b\"]"},
		{"a whole node", []Edit{{Path: path("nodes/rain/block"), Text: "noise"}, {Path: path("nodes/rain/from"), Text: "echo"}},
			"from: cave}\n", "from: cave}\n  rain: {block: noise, from: echo}\n"},
		{"another key", []Edit{{Path: path("nodes/echo/time"), Key: "time_left"}}, "time: 3/8", "time_left: 3/8"},
		{"another key in block style", []Edit{{Path: path("nodes/cave/decay"), Key: "length"}}, "decay:  ", "length:  "},
		{"two edits", []Edit{{Path: path("nodes/echo/format"), Text: "int16"}, {Path: path("nodes/echo/format"), Text: "float32"}}, "", ""},
	}
	for _, tt := range tests {
		for _, ends := range []string{"\n", "\r\n"} {
			t.Run(tt.name+fmt.Sprintf(" %q", ends), func(t *testing.T) {
				old := strings.ReplaceAll(booth, "\n", ends)
				want := strings.ReplaceAll(strings.Replace(booth, tt.old, tt.new, 1), "\n", ends)
				changed, err := NewFile("booth.yaml", []byte(old)).Edit(tt.edits...)
				if err != nil {
					t.Fatalf("the edit was refused: %v", err)
				}
				if got := changed.Text(); got != want {
					t.Errorf("the edited file is\n%s\nwant\n%s", got, want)
				}
			})
		}
	}
}

func TestEditWithoutLastLineEnd(t *testing.T) {
	changed, err := NewFile("booth.yaml", []byte("\ufeffboard: a\r\nblock_size: 48")).Edit(Edit{Path: []string{"code", "maths"}, Text: "approximate"})
	if want := "\ufeffboard: a\r\nblock_size: 48\r\ncode: {maths: approximate}"; err != nil || changed.Text() != want {
		t.Errorf("the edited file is %v (%v), want %q", changed, err, want)
	}
}

func TestEditRefused(t *testing.T) {
	tests := []struct {
		name, text string
		edit       Edit
		want       string
	}{
		{"a value over several lines", "wind: a\n  storm\n", Edit{Path: []string{"wind"}, Text: "calm"}, "hint: write 'wind: calm' by hand"},
		{"a literal text", "wind: |\n  a storm\n", Edit{Path: []string{"wind"}, Text: "calm"}, "hint: write 'wind: calm' by hand"},
		{"a mapping in block style", "nodes:\n  wind:\n    block: noise\n", Edit{Path: []string{"nodes", "wind"}, Text: "calm"}, "hint: write 'wind: calm' in 'nodes' by hand"},
		{"a list with a comment in it", "from: [a, # first\n  b]\n", Edit{Path: []string{"from"}, Text: "a"}, "1:7: a comment may stand inside"},
		{"the only key", "nodes:\n  wind: {block: noise}\n", Edit{Path: []string{"nodes", "wind"}, Remove: true}, "this stands alone"},
		{"what is not there", "nodes: {}\n", Edit{Path: []string{"wind"}, Remove: true}, "there is no 'wind' here"},
		{"a key below a text", "wind: a\n", Edit{Path: []string{"wind", "block"}, Text: "noise"}, "there is no place for 'block' here"},
		{"a key after nothing", "wind:\n", Edit{Path: []string{"block"}, Text: "noise"}, "what is not written has no place"},
		{"an item two past the last", "from: [a]\n", Edit{Path: []string{"from", "2"}, Text: "b"}, "there is no place for '2' here"},
		{"an item below one past the last", "from: [a]\n", Edit{Path: []string{"from", "1", "k"}, Text: "b"}, "there is no place for '1' here"},
		{"another key of what is not there", "nodes: {}\n", Edit{Path: []string{"wind"}, Key: "rain"}, "there is no 'wind' here"},
		{"another key of an item", "from: [a]\n", Edit{Path: []string{"from", "0"}, Key: "rain"}, "have no keys"},
		{"what is no YAML", "wind: [\n", Edit{Path: []string{"wind"}, Text: "noise"}, "not readable as YAML"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			changed, err := NewFile("booth.yaml", []byte(tt.text)).Edit(tt.edit)
			if err == nil {
				t.Fatalf("the edit gave %q, want a refusal that holds %q", changed.Text(), tt.want)
			}
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("the refusal is %q, want it to hold %q", err, tt.want)
			}
		})
	}
}

// leaves is every scalar of a file by its path.
func leaves(t fataler, text string) map[string]string {
	var errs Errors
	all := map[string]string{}
	var walk func(at string, v Value)
	walk = func(at string, v Value) {
		switch {
		case v.IsMapping():
			for i := 0; i+1 < len(v.node.content); i += 2 {
				walk(at+"/"+v.node.content[i].value, Value{v.file, v.node.content[i+1], v.errs})
			}
		case v.IsList():
			for i, item := range v.items() {
				walk(fmt.Sprintf("%s/%d", at, i), item)
			}
		case v.node != nil:
			all[at] = v.node.value
		}
	}
	walk("", Parse(NewFile("booth.yaml", []byte(text)), &errs))
	if errs.Len() > 0 {
		t.Fatalf("the edited text %q has mistakes: %v", text, errs.Err())
	}
	return all
}

type fataler interface{ Fatalf(string, ...any) }

// remarks are all comments of a text in order, as a plain reader finds them.
func remarks(text string) []string {
	var all []string
	for _, line := range strings.Split(lineEnds.Replace(text), "\n") {
		if i := strings.Index(line, "#"); i >= 0 {
			all = append(all, line[i:])
		}
	}
	return all
}

func TestEditChangesOneValue(t *testing.T) {
	var paths []string
	for at := range leaves(t, booth) {
		paths = append(paths, at)
	}
	texts := rapid.OneOf(rapid.SampledFrom([]string{"3/16", "yes", "[a", "null", "a: b", "it's", `say "no"`, "200 Hz..4 kHz", "- a", "a#b", "", "!x", "&y", "?"}),
		rapid.StringOf(rapid.RuneFrom([]rune("ab ,:'\"[]{}#-?&*!|>%@`\\ä\n"))))
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.SampledFrom(paths).Draw(t, "path")
		e := Edit{Path: strings.Split(at, "/")[1:], Text: texts.Draw(t, "text")}
		if rapid.Bool().Draw(t, "a new key") {
			e.Path[len(e.Path)-1] = "new"
		}
		old := booth
		if rapid.Bool().Draw(t, "CRLF") {
			old = strings.ReplaceAll(old, "\n", "\r\n")
		}
		changed, err := NewFile("booth.yaml", []byte(old)).Edit(e)
		if err != nil {
			if e.Path[len(e.Path)-1] == "new" {
				return // a list has no keys
			}
			t.Fatalf("the edit %v was refused: %v", e, err)
		}
		want := leaves(t, old)
		want["/"+strings.Join(e.Path, "/")] = e.Text
		if got := leaves(t, changed.Text()); !maps.Equal(got, want) {
			t.Errorf("after %v the file holds %v, want %v", e, got, want)
		}
		if !strings.Contains(e.Text, "#") {
			if got, want := remarks(changed.Text()), remarks(old); fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("after %v the comments are %q, want %q", e, got, want)
			}
		}
	})
}

// FuzzEdit edits any text at any path: what is not refused reads back as the
// same values but the one, and never panics.
func FuzzEdit(f *testing.F) {
	for _, text := range []string{booth, strings.ReplaceAll(booth, "\n", "\r\n"), "\ufeffa: 1", "a: {b: [c, {d: e}]}", "- a\n- b: c\n  d: e\n", "a: 'x''y' # z", "\"k\": \"v\\\"w\"\n", "a: {}\nb: []", "? a\n: b\n", "{a: 1,}", "a: b\rc: d"} {
		f.Add(text, "a", "x")
		f.Add(text, "nodes/cave/from/0", "")
	}
	f.Fuzz(func(t *testing.T, text, at, value string) {
		e := Edit{Path: strings.Split(at, "/"), Text: value, Remove: value == ""}
		changed, err := NewFile("booth.yaml", []byte(text)).Edit(e)
		if err != nil {
			return
		}
		old, now := leaves(t, text), leaves(t, changed.Text())
		if e.Remove {
			if len(now) > len(old) {
				t.Errorf("taking out %s of %q left more values: %q", at, text, changed.Text())
			}
			return
		}
		if now["/"+at] != value {
			t.Errorf("after %v of %q the value is %q: %q", e, text, now["/"+at], changed.Text())
		}
	})
}

// A changed tree reads as the changed file does, and the tree before stays as it
// was.
func TestEdited(t *testing.T) {
	file := NewFile("storm.yaml", []byte("nodes:\n  wind: {block: noise}\n  echo: {block: delay, from: [wind, rain], time: 3/8}\n"))
	edits := []Edit{
		{Path: []string{"nodes", "echo", "time"}, Text: "1/4"},
		{Path: []string{"nodes", "echo", "from", "1"}, Remove: true},
		{Path: []string{"nodes", "wind", "block"}, Key: "kind"},
		{Path: []string{"reserve", "cpu"}, Text: "10%"},
		{Path: []string{"nodes", "echo", "from"}, List: []string{"wind", "hail"}},
		{Path: []string{"nodes", "echo", "from", "2"}, Text: "crank"},
	}
	var errs Errors
	root := Parse(file, &errs)
	before := root.AppendTree(nil)
	edited, err := root.Edited(&errs, edits...)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(before, root.AppendTree(nil)) {
		t.Errorf("an edit in memory changed the tree that it was made from")
	}
	written, err := file.Edit(edits...)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := edited.Flow(), Parse(written, &errs).Flow(); got != want {
		t.Errorf("the edited tree reads %s, and the edited file %s", got, want)
	}
	if errs.Len() > 0 {
		t.Errorf("mistakes: %v", errs.Err())
	}
	for _, e := range []Edit{
		{},
		{Path: []string{"nodes", "rain"}, Remove: true},
		{Path: []string{"nodes", "wind", "block", "x"}, Text: "1"},
		{Path: []string{"nodes", "echo", "from", "0"}, Key: "x"},
	} {
		if _, err := root.Edited(&errs, e); err == nil {
			t.Errorf("the edit %+v is made, and there is nothing to make it of", e)
		}
	}
}

func TestPathTo(t *testing.T) {
	var errs Errors
	root := Parse(NewFile("storm.yaml", []byte("scenes: {calm: [wind, rain]}\nboard: small\n")), &errs)
	rain := root.Under("scenes").Under("calm").Items("nodes")[1]
	if got := root.PathTo(rain); !slices.Equal(got, []string{"scenes", "calm", "1"}) {
		t.Errorf("the path to 'rain' is %q, want scenes, calm, 1", got)
	}
	if got := root.Under("board").PathTo(rain); got != nil {
		t.Errorf("the path from 'board' to 'rain' is %q, want none", got)
	}
}

func TestEditsThatMeet(t *testing.T) {
	at := func(keys ...string) []Edit { return []Edit{{Path: keys, Text: "1"}} }
	for _, tt := range []struct {
		name       string
		one, other []Edit
		want       bool
	}{
		{"of two nodes", at("nodes", "echo", "format"), at("nodes", "cave", "size"), false},
		{"of one node", at("nodes", "echo", "format"), at("nodes", "echo", "time"), true},
		{"two items of a list, of which one may shift the other", at("nodes", "out", "from", "0"), at("nodes", "out", "from", "1"), true},
		{"within what the other changes", at("nodes", "out", "from"), at("nodes", "out", "from", "1"), true},
		{"a node, and a value of another", at("nodes", "echo"), at("nodes", "cave", "size"), true},
		{"nothing", nil, at("nodes", "echo"), false},
	} {
		if got := Meet(tt.one, tt.other); got != tt.want {
			t.Errorf("%s: they meet is %v, want %v", tt.name, got, tt.want)
		}
		if got := Meet(tt.other, tt.one); got != tt.want {
			t.Errorf("%s, the other way round: they meet is %v, want %v", tt.name, got, tt.want)
		}
	}
}
