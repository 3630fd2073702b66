package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"
)

// questions are the commands that answer about one graph, with the arguments
// that stand before its name.
var questions = map[string][]string{
	"boards":  {"boards", "--for"},
	"compare": {"compare", "--block-size", "16"},
	"delays":  {"delays"},
	"limits":  {"limits"},
	"split":   {"split", "--boards", "m7-300-384k,m4f-168-192k"},
	"sweep":   {"sweep"},
}

// asked runs a question about a graph in a format and returns what it prints.
func asked(t *testing.T, file, format string, args ...string) string {
	t.Helper()
	var out, complaints strings.Builder
	args = append(append([]string{}, args...), file, "--format", format)
	code := run(context.Background(), strings.NewReader(""), &out, &complaints, args)
	if code != exitFits || complaints.Len() > 0 {
		t.Errorf("'elbowroom %s' exits with %d and complains %q, want 0 and silence", strings.Join(args, " "), code, complaints.String())
	}
	return out.String()
}

// TestQuestions holds what every question answers about every good graph to
// testdata/golden: the tables of all graphs, and every format of one. After a
// change that is meant ELBOWROOM_UPDATE=1 writes them anew; read the difference.
func TestQuestions(t *testing.T) {
	t.Chdir(goodGraphs)
	files, err := filepath.Glob("*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no graphs in %s (%v)", goodGraphs, err)
	}
	for name, args := range questions {
		var all strings.Builder
		for _, file := range files {
			forms := []string{"table"}
			if file == "storm-machine.yaml" {
				forms = formats
			}
			for _, format := range forms {
				fmt.Fprintf(&all, "$ elbowroom %s %s --format %s\n%s\n", strings.Join(args, " "), file, format, asked(t, file, format, args...))
			}
		}
		golden(t, filepath.Join("../../../cmd/elbowroom/testdata/golden", name+".txt"), all.String())
	}
}

// golden compares a text with a file.
func golden(t *testing.T, path, got string) {
	t.Helper()
	if os.Getenv("ELBOWROOM_UPDATE") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != got {
		t.Errorf("%s is not current: the first line that differs reads now\n%s", path, firstDifference(string(want), got))
	}
}

// TestQuestionsInEveryFormat holds the formats of every question together: the JSON follows its schema, the CSV reads back with as
// many rows as the JSON has lines, Markdown has the cells of the table, and the
// table fits 80 columns.
func TestQuestionsInEveryFormat(t *testing.T) {
	lists := map[string]string{"boards": "boards", "limits": "limits", "sweep": "settings"} // the JSON list that CSV holds a row for
	rules := regexp.MustCompile(`(?m)^(\|[:-]|─)`)                                          // one below the header of each table
	for name, args := range questions {
		var schema, complaints strings.Builder
		if code := run(context.Background(), strings.NewReader(""), &schema, &complaints, []string{"schema", args[0]}); code != exitFits {
			t.Fatalf("schema %s exits with %d: %s", args[0], code, complaints.String())
		}
		validate := validators(t, schema.String())
		for i, file := range graphFiles(t) {
			if (i+len(name))%6 != 0 {
				continue // each question about some graphs: every answer four times would take minutes
			}
			what := name + " of " + filepath.Base(file)
			text := asked(t, file, "json", args...)
			validate(t, what, text)
			var answer map[string]any
			if err := json.Unmarshal([]byte(text), &answer); err != nil {
				t.Fatalf("%s: no JSON: %v", what, err)
			}
			list, _ := answer[lists[args[0]]].([]any)
			rows, err := csv.NewReader(strings.NewReader(asked(t, file, "csv", args...))).ReadAll()
			if err != nil {
				t.Fatalf("%s: CSV does not read back: %v", what, err)
			}
			if lists[name] != "" && len(rows) != len(list)+1 || len(rows) < 2 {
				t.Errorf("%s: CSV has %d rows below its header, and JSON has %d", what, len(rows)-1, len(list))
			}
			table, markdown := asked(t, file, "table", args...), asked(t, file, "markdown", args...)
			for line := range strings.Lines(table) {
				if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > width {
					t.Errorf("%s: a line has %d characters, more than %d:\n%s", what, n, width, line)
				}
			}
			if shown, marked := len(rules.FindAllString(table, -1)), len(rules.FindAllString(markdown, -1)); marked != shown {
				t.Errorf("%s: Markdown has %d tables and the terminal %d", what, marked, shown)
			}
		}
	}
}
