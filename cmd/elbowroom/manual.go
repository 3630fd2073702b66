package main

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/renameio/v2/maybe"
	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

func (a *app) manualCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "manual FOLDER",
		Short: "Write the manual pages",
		Long: `Write a page for man(1) of every command, of the graph file and of the model into
FOLDER, which is made where it is missing. Pages of an earlier version that lie
there are replaced.`,
		Example: `  $ elbowroom manual ~/.local/share/man/man1
  $ man elbowroom-check`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return hinted{errors.New("manual needs the name of one folder"), "write 'elbowroom manual ~/.local/share/man/man1'"}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return a.runManual(cmd.Root(), args[0]) },
	}
}

func (a *app) runManual(root *cobra.Command, folder string) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("making %s: %w", folder, reason(err))
	}
	pages := append([]*cobra.Command{root}, root.Commands()...)
	for _, c := range pages {
		c.DisableAutoGenTag = true
		if !c.Runnable() {
			c.Long = "```\n" + c.Long + "```\n" // as it stands, and not as Markdown
		}
		var page bytes.Buffer
		if err := doc.GenMan(c, &doc.GenManHeader{Section: "1", Source: "Elbowroom", Manual: "Elbowroom"}, &page); err != nil {
			return err
		}
		name := filepath.Join(folder, strings.ReplaceAll(c.CommandPath(), " ", "-")+".1")
		if err := maybe.WriteFile(name, page.Bytes(), 0o644); err != nil {
			return fmt.Errorf("writing %s: %w", name, reason(err))
		}
	}
	_, err := fmt.Fprintf(a.stdout, "wrote %d pages into %s; read 'man elbowroom'\n", len(pages), printable(folder))
	return err
}

// Pages of help without a command: what an answer rests on and leaves out, and
// how a graph file is written.
//
//go:embed model.txt
var model string

//go:embed graph.txt
var graphFile string

func helpPages() []*cobra.Command {
	return []*cobra.Command{
		{Use: "model", Short: "How figures come about, and what they leave out", Long: model, DisableFlagsInUseLine: true},
		{Use: "graph", Short: "How a graph file is written", Long: graphFile, DisableFlagsInUseLine: true},
	}
}
