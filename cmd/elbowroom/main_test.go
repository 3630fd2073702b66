package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"elbowroom": main})
}

// TestScripts runs the stories of testdata/script. After a change that is meant
// (a figure of the catalog, a sentence), ELBOWROOM_UPDATE=1 go test rewrites the
// outputs that they hold; read the difference before you keep it.
func TestScripts(t *testing.T) {
	graphs, err := filepath.Abs(goodGraphs)
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:           "testdata/script",
		UpdateScripts: os.Getenv("ELBOWROOM_UPDATE") != "",
		Setup: func(env *testscript.Env) error {
			env.Setenv("GRAPHS", graphs)
			return nil
		},
		Condition: func(name string) (bool, error) {
			if name == "root" {
				return os.Geteuid() == 0, nil
			}
			return false, errors.New("unknown condition " + name)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits,
			"sized": sized,
		},
	})
}

// Help fits a terminal of 80 columns; its examples are for copying, and stay whole.
func TestHelpFits(t *testing.T) {
	var out strings.Builder
	root := (&app{stdout: &out, stderr: &out}).rootCommand(nil)
	for _, c := range append(root.Commands(), root) {
		out.Reset()
		if code := run(context.Background(), strings.NewReader(""), &out, &out, append(strings.Fields(c.CommandPath())[1:], "--help")); code != exitFits {
			t.Errorf("%s --help exits with %d", c.CommandPath(), code)
		}
		help, _, _ := strings.Cut(out.String(), "Example:")
		for line := range strings.Lines(help) {
			if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > width {
				t.Errorf("%s --help has a line of %d columns, more than %d: %s", c.CommandPath(), n, width, line)
			}
		}
	}
}

// exits runs a command and demands one exit status: 'exits 3 elbowroom check a'.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS COMMAND...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	var failed *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &failed) {
		got = failed.ExitCode()
	} else if err != nil {
		ts.Fatalf("%s did not run: %v", args[1], err)
	}
	if got != want {
		ts.Fatalf("'%s' exits with %d, want %d", strings.Join(args[1:], " "), got, want)
	}
}

// sized makes a file of so many bytes that takes no room: 'sized 1000 FILE'.
func sized(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: sized BYTES FILE")
	}
	size, err := strconv.ParseInt(args[0], 10, 64)
	ts.Check(err)
	file, err := os.Create(ts.MkAbs(args[1]))
	ts.Check(err)
	ts.Check(file.Truncate(size))
	ts.Check(file.Close())
}

// TestUsageSession runs the session that the usage text shows.
func TestUsageSession(t *testing.T) {
	t.Chdir(t.TempDir())
	_, session, found := strings.Cut(usage, "Example:\n")
	if !found {
		t.Fatal("the usage text shows no example")
	}
	commands := 0
	for block := range strings.SplitSeq(session, "  $ elbowroom ") {
		line, want, _ := strings.Cut(block, "\n")
		if line == "" {
			continue
		}
		commands++
		var out, complaints strings.Builder
		code := run(context.Background(), strings.NewReader(""), &out, &complaints, strings.Fields(line))
		if code != exitFits || complaints.Len() > 0 {
			t.Errorf("'elbowroom %s' exits with %d and complains %q, want 0 and silence", line, code, complaints.String())
		}
		var got strings.Builder
		for text := range strings.Lines(out.String()) {
			got.WriteString("  " + text)
		}
		if got.String() != want {
			t.Errorf("'elbowroom %s' prints\n%swhere the usage text shows\n%s", line, got.String(), want)
		}
	}
	if commands != 2 {
		t.Errorf("the usage text shows %d commands, want 2", commands)
	}
}
