package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"
)

// starter is a graph to start from, with a remark on every line that matters.
//
//go:embed starter.yaml
var starter []byte

func (a *app) newCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "new FILE",
		Short: "Write a graph to start from",
		Long: `Write a commented graph to start from: the storm machine of a shadow theatre. A
FILE that is there already stays as it is.`,
		Example: `  $ elbowroom new storm.yaml
  $ elbowroom check storm.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return hinted{errors.New("new needs the name of one file"), "write 'elbowroom new storm.yaml'"}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return a.runNew(args[0]) },
	}
}

func (a *app) runNew(name string) error {
	if _, err := os.Lstat(name); err == nil {
		return hinted{fmt.Errorf("%s is there already and stays as it is", name), "give another name"}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: %w", name, reason(err))
	}
	if err := writeFile(name, starter, 0o644); err != nil {
		return err
	}
	_, err := fmt.Fprintf(a.stdout, "wrote %s; ask 'elbowroom check %s'\n", printable(name), printable(name))
	return err
}
