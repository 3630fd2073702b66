package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks/source"
	"elbowroom/catalog"
)

// schemaOfGraph is the word for the schema of the graph file.
const schemaOfGraph = "graph"

func (a *app) schemaCommand() *cobra.Command {
	kinds := append([]string{schemaOfGraph}, sortedKeys(outputs)...)
	return &cobra.Command{
		Use:   "schema graph|output|COMMAND",
		Short: "Print a JSON Schema",
		Long: `Print a JSON Schema (draft 2020-12): of the graph file, for editors that
complete and check YAML, with every block and parameter of the catalog; of what
'check --format json' prints ('schema output'); or of what another command
prints as JSON ('schema limits').`,
		Example: `  $ elbowroom schema graph > graph.schema.json
  # then, in the first line of a graph:
  # yaml-language-server: $schema=graph.schema.json`,
		ValidArgs: kinds,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) != 1:
				return hinted{errors.New("schema needs one word"), "it is one of " + strings.Join(kinds, ", ")}
			case !slices.Contains(kinds, args[0]):
				return hinted{fmt.Errorf("there is no schema named '%s'", args[0]), source.DidYouMean(args[0], kinds)}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.answered(func(w io.Writer) error { return printSchema(w, args[0]) })
		},
	}
}

func printSchema(w io.Writer, kind string) error {
	if kind != schemaOfGraph {
		s, err := outputSchema(kind)
		if err != nil {
			return err
		}
		return printJSON(w, s)
	}
	lib, err := catalog.Open()
	if err != nil {
		return err
	}
	s, err := graphSchema(lib)
	if err != nil {
		return err
	}
	return printJSON(w, s)
}
