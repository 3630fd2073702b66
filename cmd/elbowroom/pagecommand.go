package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/cmd/elbowroom/page"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
	"elbowroom/estimator/lighten"
)

type pageOptions struct {
	noBrowser bool
	port      uint16
}

func (a *app) pageCommand() *cobra.Command {
	var opts pageOptions
	cmd := &cobra.Command{
		Use:   "page GRAPH",
		Short: "Show a graph live in the browser, and turn its numbers",
		Long: `Show a graph live in the browser of this machine: the pictures of 'report', with
controls for board, sample rate, block size and every parameter. Lighter plans
are tried with one click; every change can be undone. The file changes only when
you save, after you have seen the difference, and keeps its comments. A change
of the file by another program shows at once.

The page is served on the loopback address alone, and nothing leaves the
machine. Ctrl-C ends it; with unsaved changes it asks for a second one.`,
		Example: `  $ elbowroom page storm.yaml
  $ elbowroom page --no-browser --port 8080 storm.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) != 1:
				return hinted{errors.New("page needs one graph file"), "write 'elbowroom page storm.yaml'"}
			case args[0] == standardInput:
				return hinted{errors.New("page shows a file, and this is the standard input"), ""}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return a.runPage(cmd.Context(), opts, args[0]) },
	}
	cmd.Flags().BoolVar(&opts.noBrowser, "no-browser", false, "do not open a browser")
	cmd.Flags().Uint16Var(&opts.port, "port", 0, "serve on this `port` of the loopback address; 0: a free one")
	return cmd
}

func (a *app) runPage(ctx context.Context, opts pageOptions, name string) error {
	if _, err := readText(name, a.stdin); err != nil {
		return err
	}
	lib, err := catalog.Open()
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp4", fmt.Sprintf("127.0.0.1:%d", opts.port))
	if err != nil {
		return hinted{fmt.Errorf("port %d cannot be had: %w", opts.port, err), "leave --port away to take a free one"}
	}
	server := page.NewServer(a.program(name, lib.BoardNames()))
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, os.Interrupt, syscall.SIGTERM) // before it is told how to end it
	defer signal.Stop(asked)
	url := "http://" + listener.Addr().String() + "/"
	fmt.Fprintf(a.stdout, "%s is shown at %s until you press Ctrl-C\n", printable(name), url)
	if !opts.noBrowser {
		openBrowser(url)
	}
	ctx, end := context.WithCancel(ctx)
	defer end()
	go func() {
		defer end()
		select {
		case <-ctx.Done():
			return
		case s := <-asked:
			if n := server.Unsaved(); n > 0 && s == os.Interrupt {
				fmt.Fprintf(a.stderr, "%s not saved; press Ctrl-C once more to leave without\n", counted(n, "change"))
				select {
				case <-asked:
				case <-ctx.Done():
				}
			}
		}
	}()
	return server.Serve(ctx, listener)
}

// program is what the page asks of the command, for one file.
func (a *app) program(name string, boards []string) page.Program {
	return page.Program{
		Boards: boards,
		Read:   func() (*source.File, error) { return readText(name, a.stdin) },
		Estimate: func(file *source.File) (*estimator.Estimate, error) {
			c, err := a.estimateFile(file, name, overrides{})
			if err != nil {
				return nil, err
			}
			return c.estimate, c.errs.Err()
		},
		Subject: func(e *estimator.Estimate) page.Subject {
			return page.Subject{File: name, Estimate: e, Sentence: sentence(name, e), Worth: worth(e)}
		},
		Plans: func(ctx context.Context, e *estimator.Estimate) (*page.Advice, error) {
			found, err := lighten.Find(ctx, e, lighten.Options{Plans: plansShown})
			if err != nil {
				return nil, err
			}
			return tryable(lighter(name, e, found), e, found), nil
		},
		Compare: func(before, after *estimator.Estimate) []page.Table {
			names := [2]string{"The file as it is saved", "What is shown"}
			return tables(compareReport(names, ask.Compare(before, after)).document())
		},
		Charts: func(ctx context.Context, e *estimator.Estimate, node string) ([]page.Chart, error) {
			return charts(ctx, name, e, node)
		},
		Formulas: formulas,
		Save:     func(before, after *source.File) error { return replace(name, before.Text(), after.Text()) },
	}
}

// formulas are what 'blocks' tells of a block's memory, its operations and what
// it gives the ear.
func formulas(b *blocks.Block) []page.Formula {
	var list []page.Formula
	for _, f := range blockSheet(b).Facts {
		switch f.Section {
		case "what it is", "inputs", "outputs", "parameters", "substitutes":
		default:
			list = append(list, page.Formula{Of: strings.TrimSpace(f.Name + " " + f.Item), Text: f.Value})
		}
	}
	return list
}

// openBrowser asks the desktop to show an address. Where there is none the
// address that was printed serves.
func openBrowser(url string) {
	open := map[string]string{"darwin": "open", "windows": "rundll32 url.dll,FileProtocolHandler"}[runtime.GOOS]
	if open == "" {
		open = "xdg-open"
	}
	words := append(strings.Fields(open), url)
	cmd := exec.Command(words[0], words[1:]...)
	if cmd.Start() == nil {
		go func() { _ = cmd.Wait() }()
	}
}
