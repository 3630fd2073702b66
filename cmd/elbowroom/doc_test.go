package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestDocuments runs every '$ elbowroom ...' block of the documents at the top
// of the repository, from there, and compares what it prints. After a change
// that is meant, ELBOWROOM_UPDATE=1 rewrites the blocks; read the difference.
func TestDocuments(t *testing.T) {
	top, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	for name, least := range map[string]int{"README.md": 1, "DEVELOPERS.md": 0} {
		path := filepath.Join(top, name)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		t.Chdir(top)
		current, sessions := rerun(string(text))
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

// rerun gives a document with the output of its sessions made anew, and how
// many there are. A session is a fenced block whose first line begins with
// '$ elbowroom'.
func rerun(text string) (current string, sessions int) {
	const fence, prompt = "```\n", "```\n$ elbowroom "
	var out strings.Builder
	for {
		before, rest, found := strings.Cut(text, prompt)
		out.WriteString(before)
		if !found {
			return out.String(), sessions
		}
		sessions++
		command, rest, _ := strings.Cut(rest, "\n")
		_, text, _ = strings.Cut("\n"+rest, "\n"+fence)
		var printed bytes.Buffer
		run(context.Background(), strings.NewReader(""), &printed, &printed, strings.Fields(command))
		out.WriteString(prompt + command + "\n" + printed.String() + fence)
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
