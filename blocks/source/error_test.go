package source

import (
	"strings"
	"testing"
)

func TestErrorShowsTheLine(t *testing.T) {
	hundred := strings.Repeat("0123456789", 10)
	tests := []struct {
		name, text string
		pos        Pos
		want       []string
	}{
		{"the file as a whole", "drum\n", Pos{}, []string{"storm.yaml: silent"}},
		{"the first character", "drum\n", Pos{1, 1}, []string{"storm.yaml:1:1: silent", "    1 | drum", "      | ^"}},
		{"just past the line", "drum\n", Pos{1, 5}, []string{"storm.yaml:1:5: silent", "    1 | drum", "      |     ^"}},
		{"far past the line", "drum\n", Pos{1, 90}, []string{"storm.yaml:1:90: silent", "    1 | drum", "      |     ^"}},
		{"a line that is not there", "drum\n", Pos{3, 1}, []string{"storm.yaml:3:1: silent"}},
		{"after tabs, each one column", "\tdrum:\t80\n", Pos{1, 8}, []string{
			"storm.yaml:1:8: silent", "    1 |  drum: 80", "      |        ^",
		}},
		{"after letters of two, three and four bytes", "ä語🌩x\n", Pos{1, 4}, []string{
			"storm.yaml:1:4: silent", "    1 | ä語🌩x", "      |    ^",
		}},
		{"a byte order mark is no column", "\ufeffdrum\n", Pos{1, 2}, []string{
			"storm.yaml:1:2: silent", "    1 | drum", "      |  ^",
		}},
		{"CRLF", "a\r\ndrum\r\nb\r\n", Pos{2, 4}, []string{"storm.yaml:2:4: silent", "    2 | drum", "      |    ^"}},
		{"CR", "a\rdrum\rb", Pos{2, 4}, []string{"storm.yaml:2:4: silent", "    2 | drum", "      |    ^"}},
		{"the line ends of YAML 1.1", "a\u0085b\u2028c\u2029drum", Pos{4, 4}, []string{
			"storm.yaml:4:4: silent", "    4 | drum", "      |    ^",
		}},
		{"escapes do not reach the terminal", "\x1b[31mdrum\u009b", Pos{1, 6}, []string{
			"storm.yaml:1:6: silent", "    1 |  [31mdrum ", "      |      ^",
		}},
		{"line numbers of six digits keep the bar", strings.Repeat("\n", 99999) + "drum", Pos{100000, 2}, []string{
			"storm.yaml:100000:2: silent", "100000 | drum", "       |  ^",
		}},
		{"the beginning of a long line", hundred, Pos{1, 73}, []string{
			"storm.yaml:1:73: silent",
			"    1 | " + hundred[:96] + "...",
			"      | " + strings.Repeat(" ", 72) + "^",
		}},
		{"the end of a long line", hundred, Pos{1, 100}, []string{
			"storm.yaml:1:100: silent",
			"    1 | ..." + hundred[51:],
			"      | " + strings.Repeat(" ", 51) + "^",
		}},
		{"the middle of a long line", hundred + hundred, Pos{1, 101}, []string{
			"storm.yaml:1:101: silent",
			"    1 | ..." + (hundred + hundred)[52:148] + "...",
			"      | " + strings.Repeat(" ", 51) + "^",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := &Error{File: NewFile("storm.yaml", []byte(tt.text)), Pos: tt.pos, Message: "silent"}
			if got, want := e.Error(), strings.Join(tt.want, "\n"); got != want {
				t.Errorf("the mistake should read\n%s\nbut reads\n%s", want, got)
			}
		})
	}
}

// Keys may hold line ends and escapes; a message stays one line of print.
func TestErrorKeepsMessagesOnOneLine(t *testing.T) {
	v, errs := parsed(t, "\"dr\\num\": 1\n")
	v.Object("thunder").Done("part", "dr\n um")
	expect(t, errs,
		"storm.yaml:1:1: thunder has no part 'dr um'",
		"    1 | \"dr\\num\": 1",
		"      | ^",
		"hint: did you mean 'dr  um'?",
	)
}

func TestErrorsStandInFileOrder(t *testing.T) {
	var errs Errors
	if err := errs.Err(); err != nil {
		t.Errorf("Err without a mistake is %v, want nil", err)
	}
	storm, calm := NewFile("storm.yaml", []byte("rain\nwind\n")), NewFile("calm.yaml", []byte("moon\n"))
	for _, e := range []*Error{
		{File: storm, Pos: Pos{2, 3}, Message: "fifth"},
		{File: calm, Pos: Pos{1, 2}, Message: "seventh"},
		{File: storm, Pos: Pos{1, 4}, Message: "second"},
		{File: storm, Pos: Pos{2, 1}, Message: "third"},
		{File: storm, Message: "first"},
		{File: calm, Message: "sixth", Hint: "look up"},
		{File: storm, Pos: Pos{2, 1}, Message: "fourth, recorded after the third"},
	} {
		errs.Add(e)
	}
	if err := errs.Err(); err != error(&errs) {
		t.Errorf("Err is %v, want the collection itself", err)
	}
	expect(t, &errs,
		"storm.yaml: first",
		"storm.yaml:1:4: second", "    1 | rain", "      |    ^",
		"storm.yaml:2:1: third", "    2 | wind", "      | ^",
		"storm.yaml:2:1: fourth, recorded after the third", "    2 | wind", "      | ^",
		"storm.yaml:2:3: fifth", "    2 | wind", "      |   ^",
		"calm.yaml: sixth", "hint: look up",
		"calm.yaml:1:2: seventh", "    1 | moon", "      |  ^",
	)
}

func TestFailAtPointsIntoPlainText(t *testing.T) {
	tests := []struct {
		name, text string
		offset     int
		want       Pos
	}{
		{"the beginning", "drum: rate * 2", 0, Pos{1, 7}},
		{"the star", "drum: rate * 2", 5, Pos{1, 12}},
		{"the end", "drum: rate * 2", 8, Pos{1, 15}},
		{"no further than the end", "drum: rate * 2", 80, Pos{1, 15}},
		{"no offset is the beginning", "drum: rate * 2", -1, Pos{1, 7}},
		{"characters count, not bytes", "größe: höhe * 2", 5, Pos{1, 13}},
		{"before a comment", "drum: rate * 2 # beats", 5, Pos{1, 12}},
		{"in a flow mapping", "{drum: rate * 2, bell: 1}", 5, Pos{1, 13}},
		{"after a byte order mark", "\ufeffdrum: rate * 2", 5, Pos{1, 12}},
		{"on its own line", "drum:\n  rate * 2\n", 5, Pos{2, 8}},
		{"quotes may hold escapes: the beginning", "drum: \"rate\\x20* 2\"", 5, Pos{1, 7}},
		{"a block text is on another line: the beginning", "drum: |\n  rate * 2\n", 5, Pos{1, 7}},
		{"text over two lines: the beginning", "drum: rate\n  * 2\n", 5, Pos{1, 7}},
		{"a mapping: the beginning", "drum: {rate: 2}", 5, Pos{1, 7}},
		{"a list: the beginning", "drum: [rate]", 5, Pos{1, 7}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v, errs := parsed(t, tt.text)
			first(v.Object("thunder")).Value.FailAt(tt.offset, "", "no such beat")
			if got := errs.List()[0].Pos; got != tt.want {
				t.Errorf("FailAt(%d) in %q points at %v, want %v", tt.offset, tt.text, got, tt.want)
			}
		})
	}

	v, errs := parsed(t, "drum: rate * beats\n")
	v.Object("thunder").Need("drum").FailAt(7, DidYouMean("beats", []string{"beat"}), "there is no '%s'", "beats")
	expect(t, errs,
		"storm.yaml:1:14: there is no 'beats'",
		"    1 | drum: rate * beats",
		"      |              ^",
		"hint: did you mean 'beat'?",
	)
}
