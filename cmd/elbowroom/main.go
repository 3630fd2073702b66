// Elbowroom tells whether a declared audio graph fits a small microcontroller
// board, before anything is compiled.
//
//	$ elbowroom new storm.yaml
//	$ elbowroom check storm.yaml
//
// main hands everything to run, which tests call too. Each command has a file
// of its own, with its options, its constructor and what it runs; nothing is
// computed here. Answers go to standard output; what went wrong goes to
// standard error, without capital and full stop, with a hint on a line of its
// own where there is one.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"elbowroom/blocks/source"
)

// Exit statuses.
const (
	exitFits   = 0 // fits or tight
	exitOver   = 1
	exitWrong  = 2 // wrong input
	exitUnsure = 3
)

// Memory is collected late while there is little of it, which spares a small
// graph the collector, and hard before it could fill a small machine.
const (
	collectAtPercent = 400
	collectHardAt    = 180 << 20
)

func main() {
	debug.SetGCPercent(collectAtPercent)
	debug.SetMemoryLimit(collectHardAt)
	os.Exit(run(context.Background(), os.Stdin, os.Stdout, os.Stderr, os.Args[1:]))
}

// app is one run of the program.
type app struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	format         format
	exit           int
	read           func(name string) // told of each catalog file that a graph names; nil: nobody is
}

// run runs the program with its arguments and returns its exit status.
func run(ctx context.Context, stdin io.Reader, stdout, stderr io.Writer, args []string) int {
	a := &app{stdin: stdin, stdout: stdout, stderr: stderr, format: asTable}
	root := a.rootCommand(args)
	root.SetArgs(args)
	if err := root.ExecuteContext(ctx); err != nil {
		a.complain(err)
		return exitWrong
	}
	return a.exit
}

// complain tells an error. Mistakes in files print themselves with their
// places.
func (a *app) complain(err error) {
	var mistakes *source.Errors
	if errors.As(err, &mistakes) {
		fmt.Fprintln(a.stderr, mistakes)
		return
	}
	fmt.Fprintf(a.stderr, "elbowroom: %s\n", printable(err.Error()))
	var h hinted
	if errors.As(err, &h) && h.hint != "" {
		fmt.Fprintln(a.stderr, strings.Join(wrap("hint: "+printable(h.hint), width), "\n  "))
	}
}

// hinted is an error with what to do instead.
type hinted struct {
	error
	hint string
}

func (h hinted) Unwrap() error { return h.error }

const usage = `Usage:
  elbowroom check GRAPH...          does it fit the board? what is dear?
  elbowroom lighten GRAPH           what is the least to give up to make it fit?
  elbowroom new FILE                write a graph to start from

  elbowroom limits GRAPH            how far can each number go?
  elbowroom sweep GRAPH             load and latency over a grid of settings
  elbowroom delays [GRAPH]          how long can a delay be, what does it take?
  elbowroom compare GRAPH [OTHER]   what differs, row by row, and why?
  elbowroom split GRAPH --boards A,B
                                    what goes on which of two boards?

  elbowroom calibrate GRAPH... --from TIMES
                                    learn from cycles measured on the board
  elbowroom reconcile GRAPH --elf PROGRAM
                                    does the built program agree?
  elbowroom page GRAPH              look at it in the browser, turn and try
  elbowroom report GRAPH -o FILE    the answer drawn to scale, to look at, print

  elbowroom blocks [NAME]           the building blocks, what each costs and why
  elbowroom boards [NAME]           the boards, with the source of every figure
  elbowroom boards --chip MARKING   which board a chip is
  elbowroom boards --for GRAPH      which boards hold it?

  elbowroom schema WHAT             JSON Schema for editors and scripts
  elbowroom completion SHELL        bash, zsh, fish or powershell
  elbowroom manual FOLDER           a page for man of every command
  elbowroom help graph              how a graph file is written
  elbowroom help board              how a board file of your own is written
  elbowroom help model              how figures come about, what they leave out

All that answer take --format table, json, csv or markdown; check, limits, sweep
and delays take --watch to answer again after every save; every command takes
--help; --version tells which build this is.

Exit status of check: 0 fits or tight, 1 over, 2 wrong input, 3 unsure.

Example:
  $ elbowroom new storm.yaml
  wrote storm.yaml; ask 'elbowroom check storm.yaml'
  $ elbowroom check --quiet storm.yaml
  storm.yaml fits m7-480-sdram: the worst block takes 6.2 % of its cycles, at most
  7.2 %, and the fullest bank, dtcm, keeps 9.92 KiB of 128 KiB free.
`

// rootCommand makes the command that has all others, or as many of them as the
// arguments need.
func (a *app) rootCommand(args []string) *cobra.Command {
	asked := false // for the version
	root := &cobra.Command{
		Use:           "elbowroom",
		Short:         "Tell whether an audio program fits a small board",
		Long:          "Each command has a page of its own, named below. 'elbowroom --help' tells each in\na line, with an example.",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return unknownCommand(cmd, args)
			}
			if asked {
				_, err := fmt.Fprintln(a.stdout, "elbowroom "+version())
				return err
			}
			fmt.Fprint(a.stderr, usage)
			a.exit = exitWrong
			return nil
		},
	}
	root.SetIn(a.stdin)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	root.SetHelpFunc(func(cmd *cobra.Command, _ []string) {
		if cmd == root {
			fmt.Fprint(a.stdout, usage)
			return
		}
		fmt.Fprintln(a.stdout, strings.TrimSpace(cmd.Long))
		if !cmd.Runnable() {
			return
		}
		fmt.Fprintf(a.stdout, "\nUsage:\n  %s\n", cmd.UseLine())
		if flags := cmd.Flags().FlagUsagesWrapped(width); flags != "" {
			fmt.Fprintf(a.stdout, "\nFlags:\n%s", flags)
		}
		if cmd.Example != "" {
			fmt.Fprintf(a.stdout, "\nExample:\n%s\n", cmd.Example)
		}
	})
	root.Flags().BoolVar(&asked, "version", false, "tell which build this is")
	root.SetFlagErrorFunc(flagError)
	root.SetHelpCommand(&cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Tell how a command is used",
		Long:  "Tell how a command is used; 'elbowroom help' lists them, with the pages on files\nand the model.",
		RunE: func(_ *cobra.Command, args []string) error {
			topic, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 {
				return unknownCommand(root, args)
			}
			return topic.Help()
		},
	})
	a.addCommands(root, args)
	root.CompletionOptions.DisableDefaultCmd = true
	return root
}

// addCommands adds the one command that is asked for, as to make the flags of all
// takes a fiftieth of a small check; or all, where none of these is.
func (a *app) addCommands(root *cobra.Command, args []string) {
	commands := []struct {
		name string
		make func() *cobra.Command
	}{
		{"check", a.checkCommand}, {"lighten", a.lightenCommand}, {"new", a.newCommand},
		{"limits", a.limitsCommand}, {"calibrate", a.calibrateCommand}, {"reconcile", a.reconcileCommand},
		{"report", a.reportCommand}, {"page", a.pageCommand}, {"blocks", a.blocksCommand},
		{"boards", a.boardsCommand}, {"schema", a.schemaCommand}, {"sweep", a.sweepCommand},
		{"delays", a.delaysCommand}, {"compare", a.compareCommand}, {"split", a.splitCommand},
	}
	for _, c := range commands {
		if len(args) > 0 && args[0] == c.name {
			root.AddCommand(c.make())
			return
		}
	}
	for _, c := range commands {
		root.AddCommand(c.make())
	}
	root.AddCommand(a.completionCommand(), a.manualCommand())
	root.AddCommand(helpPages()...)
}

// formatFlag lets a command print in any of the formats.
func (a *app) formatFlag(cmd *cobra.Command) {
	cmd.Flags().Var(&a.format, "format", "print as table, json, csv or markdown")
	_ = cmd.RegisterFlagCompletionFunc("format", cobra.FixedCompletions(formats, cobra.ShellCompDirectiveNoFileComp))
}

// unknownCommand tells which command was probably meant.
func unknownCommand(root *cobra.Command, args []string) error {
	var names []string
	for _, c := range root.Commands() {
		names = append(names, c.Name())
	}
	hint := source.DidYouMean(args[0], names)
	if strings.HasSuffix(args[0], ".yaml") || strings.HasSuffix(args[0], ".yml") {
		hint = fmt.Sprintf("write 'elbowroom check %s'", strings.Join(args, " "))
	} else if hint == "" {
		hint = "'elbowroom --help' lists the commands"
	}
	return hinted{fmt.Errorf("there is no command '%s'", args[0]), hint}
}

// flagError says what is wrong with a flag, and which was probably meant.
func flagError(cmd *cobra.Command, err error) error {
	hint := fmt.Sprintf("'%s --help' lists its flags", cmd.CommandPath())
	var unknown *pflag.NotExistError
	var empty *pflag.ValueRequiredError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown):
		var names []string
		cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
		name := unknown.GetSpecifiedName()
		if near := source.Nearest(name, names); near != "" {
			hint = fmt.Sprintf("did you mean '--%s'?", near)
		}
		dashes := "--"
		if len(name) == 1 {
			dashes = "-"
		}
		return hinted{fmt.Errorf("%s has no flag '%s%s'", cmd.Name(), dashes, name), hint}
	case errors.As(err, &empty):
		return hinted{fmt.Errorf("--%s needs a value", empty.GetSpecifiedName()), hint}
	case errors.As(err, &invalid):
		return hinted{fmt.Errorf("--%s: %w", invalid.GetFlag().Name, invalid.Unwrap()), hint}
	}
	return hinted{err, hint}
}
