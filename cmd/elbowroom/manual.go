package main

import (
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/spf13/cobra"
)

func (a *app) manualCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "manual FOLDER",
		Short: "Write the manual pages",
		Long: `Write a page for man(1) of every command, of graph and board files and of the
model into FOLDER, which is made where it is missing. Pages of an earlier
version that lie there are replaced.`,
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
		name := filepath.Join(folder, pageName(c)+".1")
		if err := writeFile(name, []byte(manualPage(c)), 0o644); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(a.stdout, "wrote %d pages into %s; read 'man elbowroom'\n", len(pages), printable(folder))
	return err
}

func pageName(c *cobra.Command) string { return strings.ReplaceAll(c.CommandPath(), " ", "-") }

// manualPage is a command's help in the macros of man(7). It is written here, since
// cobra's own goes through Markdown, whose parser takes 2 ms at the start of every
// command.
func manualPage(c *cobra.Command) string {
	var page strings.Builder
	section := func(title, text string) {
		text = strings.Trim(text, "\n")
		if text == "" {
			return
		}
		fmt.Fprintf(&page, ".SH %s\n", title)
		for _, paragraph := range strings.Split(text, "\n\n") {
			if strings.Contains("\n"+paragraph, "\n ") { // lines that stand as they are
				paragraph = ".nf\n" + roff(paragraph) + "\n.fi"
			} else {
				paragraph = roff(paragraph)
			}
			fmt.Fprintf(&page, ".PP\n%s\n", paragraph)
		}
	}
	fmt.Fprintf(&page, ".TH %s 1 \"\" Elbowroom Elbowroom\n.SH NAME\n%s \\- %s\n", roff(strings.ToUpper(pageName(c))), roff(pageName(c)), roff(c.Short))
	if c.Runnable() {
		section("SYNOPSIS", c.UseLine())
	}
	section("DESCRIPTION", c.Long)
	section("OPTIONS", c.Flags().FlagUsagesWrapped(manualWidth))
	section("EXAMPLE", c.Example)
	var others []string
	if c.HasParent() {
		others = append(others, pageName(c.Parent())+"(1)")
	}
	for _, other := range c.Commands() {
		others = append(others, pageName(other)+"(1)")
	}
	fmt.Fprintf(&page, ".SH SEE ALSO\n%s\n", roff(strings.Join(others, ", ")))
	return page.String()
}

// manualWidth is what man leaves of a terminal's 80 columns.
const manualWidth = 72

// roff is a text with what man(7) would take for an instruction made plain.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text)
	return regexp.MustCompile(`(?m)^[.']`).ReplaceAllString(text, `\&$0`)
}

// Pages of help without a command: what an answer rests on and leaves out, and
// how a graph file is written.
//
//go:embed model.txt
var model string

//go:embed graph.txt
var graphFile string

//go:embed board.txt
var boardFile string

func helpPages() []*cobra.Command {
	return []*cobra.Command{
		{Use: "model", Short: "How figures come about, and what they leave out", Long: model},
		{Use: "graph", Short: "How a graph file is written", Long: graphFile},
		{Use: "board", Short: "How a board file of your own is written", Long: boardFile},
	}
}
