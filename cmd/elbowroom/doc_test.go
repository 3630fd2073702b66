package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestDocuments runs every '$ elbowroom ...' block of the documents at the top
// of the repository, and compares what it prints. They run in a folder of their
// own, in which 'testdata' lies as it does at the top and files that a document
// shows, such as "`foghorn.yaml`:" and a block, are written. After a change that is
// meant, ELBOWROOM_UPDATE=1 rewrites the blocks; read the difference.
func TestDocuments(t *testing.T) {
	top, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	for name, least := range map[string]int{"README.md": 14, "DEVELOPERS.md": 0} {
		path := filepath.Join(top, name)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		t.Chdir(t.TempDir())
		if err := os.Symlink(filepath.Join(top, "testdata"), "testdata"); err != nil {
			t.Fatal(err)
		}
		current, sessions := rerun(t, string(text))
		if sessions < least {
			t.Errorf("%s shows %d sessions, want at least %d", name, sessions, least)
		}
		if current == string(text) {
			continue
		}
		if os.Getenv("ELBOWROOM_UPDATE") == "" {
			t.Errorf("%s is not current; it should read\n%s", name, firstDifference(string(text), current))
			continue
		}
		if err := os.WriteFile(path, []byte(current), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

var (
	fence     = regexp.MustCompile("(?ms)^```[a-z]*\n(.*?)^```\n")
	namedFile = regexp.MustCompile("`([a-z-]+\\.(?:yaml|csv))`[^`]*:\n\n$")
	aCommand  = regexp.MustCompile(`(?m)^(?:[^$\n]*\| )?elbowroom (.*)$`)
	mainThing = regexp.MustCompile(`(?m)^go run \./cmd/elbowroom (.*)$`)
)

// rerun gives a document with the output of its sessions made anew, and how many
// there are. A session is a fenced block whose first line begins with
// '$ elbowroom'. Files are written where they stand, and a command that stands
// there without what it prints must at least be one.
func rerun(t *testing.T, text string) (current string, sessions int) {
	t.Helper()
	var out strings.Builder
	at := 0
	for _, place := range fence.FindAllStringSubmatchIndex(text, -1) {
		before, body := text[at:place[0]], text[place[2]:place[3]]
		out.WriteString(before)
		at = place[1]
		command, isSession := strings.CutPrefix(body, "$ elbowroom ")
		if !isSession {
			out.WriteString(text[place[0]:place[1]])
			if file := namedFile.FindStringSubmatch(before[max(0, len(before)-300):]); file != nil {
				if err := os.WriteFile(file[1], []byte(body), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			for _, m := range aCommand.FindAllStringSubmatch(body, -1) {
				parses(t, strings.Fields(m[1]))
			}
			for _, m := range mainThing.FindAllStringSubmatch(body, -1) {
				if code := run(context.Background(), strings.NewReader(""), io.Discard, io.Discard, strings.Fields(m[1])); code != exitFits {
					t.Errorf("'%s' exits with %d", m[0], code)
				}
			}
			continue
		}
		sessions++
		command, _, _ = strings.Cut(command, "\n")
		var printed bytes.Buffer
		run(context.Background(), strings.NewReader(""), &printed, &printed, strings.Fields(command))
		out.WriteString("```\n$ elbowroom " + command + "\n" + printed.String() + "```\n")
	}
	out.WriteString(text[at:])
	return out.String(), sessions
}

// parses demands that a command and its flags are there.
func parses(t *testing.T, args []string) {
	t.Helper()
	cmd, rest, err := (&app{}).rootCommand(nil).Find(args)
	if err == nil {
		err = cmd.ParseFlags(rest)
	}
	if err != nil || !cmd.HasParent() {
		t.Errorf("'elbowroom %s' is no command (%v)", strings.Join(args, " "), err)
	}
}

// firstDifference is the first line of two texts that differs.
func firstDifference(old, current string) string {
	a, b := strings.Split(old, "\n"), strings.Split(current, "\n")
	for i := range b {
		if i >= len(a) || a[i] != b[i] {
			return b[i]
		}
	}
	return ""
}

// The page of help about the graph file names every key that its schema has, but
// for the parameters of blocks, and the graph that ends it fits.
func TestGraphPageIsWhole(t *testing.T) {
	var printed strings.Builder
	if code := run(context.Background(), strings.NewReader(""), &printed, &printed, []string{"schema", "graph"}); code != exitFits {
		t.Fatalf("schema graph exits with %d", code)
	}
	type object struct {
		Properties map[string]object
		Defs       map[string]object `json:"$defs"`
	}
	var schema object
	if err := json.Unmarshal([]byte(printed.String()), &schema); err != nil {
		t.Fatal(err)
	}
	keys := slices.Collect(maps.Keys(schema.Properties))
	for _, holder := range []object{schema.Properties["reserve"], schema.Defs["code"], schema.Defs["own-code"], schema.Defs["gain"]} {
		if len(holder.Properties) == 0 {
			t.Error("a part of the schema has no keys: the test looks at too little")
		}
		keys = slices.AppendSeq(keys, maps.Keys(holder.Properties))
	}
	for _, key := range keys {
		if !regexp.MustCompile(`\b` + regexp.QuoteMeta(key) + `\b`).MatchString(graphFile) {
			t.Errorf("'elbowroom help graph' does not name '%s'", key)
		}
	}
	const begins = "\n  board: "
	example := graphFile[strings.LastIndex(graphFile, begins)+1:]
	file := filepath.Join(t.TempDir(), "owls.yaml")
	if err := os.WriteFile(file, []byte(strings.ReplaceAll(example, "\n  ", "\n")[2:]), 0o644); err != nil {
		t.Fatal(err)
	}
	var answer strings.Builder
	if code := run(context.Background(), strings.NewReader(""), &answer, &answer, []string{"check", "--quiet", file}); code != exitFits {
		t.Errorf("the example of 'elbowroom help graph' exits with %d:\n%s", code, answer.String())
	}
}
