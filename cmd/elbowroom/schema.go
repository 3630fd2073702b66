package main

import (
	"embed"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"elbowroom/blocks/source"
)

// schemas holds the schemas, as schema_test.go makes them of the catalog and of
// what the commands print: to make them here takes a library that costs every
// start a twentieth of the time of a check.
//
//go:embed schemas
var schemas embed.FS

// schemaOfGraph is the word for the schema of the graph file.
const schemaOfGraph = "graph"

// schemaKinds are the words that 'schema' takes; 'output' is what check prints.
var schemaKinds = []string{schemaOfGraph, "boards", "calibrate", "compare", "delays", "lighten", "limits", "output", "reconcile", "split", "sweep"}

func (a *app) schemaCommand() *cobra.Command {
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
		ValidArgs: schemaKinds,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) != 1:
				return hinted{errors.New("schema needs one word"), "it is one of " + strings.Join(schemaKinds, ", ")}
			case !slices.Contains(schemaKinds, args[0]):
				return hinted{fmt.Errorf("there is no schema named '%s'", args[0]), source.DidYouMean(args[0], schemaKinds)}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.answered(func(w io.Writer) error {
				schema, err := schemas.ReadFile("schemas/" + args[0] + ".json")
				if err != nil {
					return err
				}
				_, err = w.Write(schema)
				return err
			})
		},
	}
}
