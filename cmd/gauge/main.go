// Gauge finds what the catalog's reference kernels cost. It compiles them,
// runs them in an emulator, times the executed instructions and fits each
// block's cycle terms.
//
//	gauge run [BLOCK...]
//
// times kernels on every core and writes catalog/emulated/CORE/BLOCK.json.
// What is current is left alone.
//
//	gauge check [--all]
//
// times a sample of them again, or all, and fails where a figure differs.
//
//	gauge residuals
//
// prints how well the cycle terms meet points that were kept out of the fits.
//
//	gauge validate
//
// compiles and times what others measured on chips, and prints both.
//
//	gauge program GRAPH...
//
// builds and runs whole graphs and compares them with their estimates.
//
//	gauge new FAMILY/BLOCK
//
// writes the beginnings of a new block: its catalog entry and its kernel.
//
// The programs it runs come from Debian 12: binutils-arm-none-eabi,
// gcc-arm-none-eabi, libnewlib-arm-none-eabi, llvm-19, qemu-system-arm. All
// else in this project needs Go alone.
package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

func main() {
	if err := command(os.Stdout, os.Stderr).Execute(); err != nil {
		fmt.Fprintf(os.Stderr, "gauge: %v\n", err)
		os.Exit(1)
	}
}

func command(stdout, stderr io.Writer) *cobra.Command {
	root := &cobra.Command{
		Use:   "gauge",
		Short: "Compile, emulate and time the catalog's reference kernels",
		// Errors are printed once, by main.
		SilenceErrors: true, SilenceUsage: true,
	}
	root.SetOut(stdout)
	root.SetErr(stderr)
	root.AddCommand(runCommand(stdout, stderr), checkCommand(stdout, stderr), residualsCommand(stdout), validateCommand(stdout, stderr), programCommand(stdout, stderr), newCommand(stdout))
	return root
}

func runCommand(stdout, stderr io.Writer) *cobra.Command {
	j := &job{stdout: stdout, stderr: stderr}
	c := &cobra.Command{
		Use:   "run [BLOCK...]",
		Short: "Time kernels and write catalog/emulated; all where none is named",
		RunE: func(_ *cobra.Command, names []string) error {
			return j.open(names, func() error { return j.run() })
		},
	}
	c.Flags().StringSliceVar(&j.cores, "core", nil, "only these cores: m0plus, m4f, m33, m7")
	c.Flags().StringVar(&j.folder, "folder", "", "where the results go (default catalog/emulated)")
	c.Flags().BoolVar(&j.force, "force", false, "time again what is current too")
	return c
}

func checkCommand(stdout, stderr io.Writer) *cobra.Command {
	j := &job{stdout: stdout, stderr: stderr, force: true}
	var all bool
	c := &cobra.Command{
		Use:   "check [BLOCK...]",
		Short: "Time a sample of the kernels again and fail where a figure differs",
		RunE: func(_ *cobra.Command, names []string) error {
			return j.open(names, func() error { return j.check(all || len(names) > 0) })
		},
	}
	c.Flags().BoolVar(&all, "all", false, "every block on every core, in place of a sample")
	c.Flags().StringSliceVar(&j.cores, "core", nil, "only these cores: m0plus, m4f, m33, m7")
	c.Flags().StringVar(&j.folder, "folder", "", "where the results are (default catalog/emulated)")
	return c
}

func residualsCommand(stdout io.Writer) *cobra.Command {
	var folder string
	c := &cobra.Command{
		Use:   "residuals [BLOCK...]",
		Short: "Print how well the cycle terms meet points that were kept out of the fits",
		RunE: func(_ *cobra.Command, names []string) error {
			folder, err := emulatedFolder(folder)
			if err != nil {
				return err
			}
			return residuals(stdout, folder, names)
		},
	}
	c.Flags().StringVar(&folder, "folder", "", "where the results are (default catalog/emulated)")
	return c
}

func validateCommand(stdout, stderr io.Writer) *cobra.Command {
	j := &job{stdout: stdout, stderr: stderr}
	c := &cobra.Command{
		Use:   "validate",
		Short: "Time what others measured on chips, and print both and the bands that follow",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return j.open(nil, func() error { return j.validate(stdout) })
		},
	}
	c.Flags().StringSliceVar(&j.cores, "core", nil, "only these cores: m0plus, m4f, m7")
	return c
}

// emulatedFolder is the folder given, or catalog/emulated of the project.
func emulatedFolder(given string) (string, error) {
	if given != "" {
		return given, nil
	}
	root, err := findRoot()
	return filepath.Join(root, "catalog", "emulated"), err
}

func newCommand(stdout io.Writer) *cobra.Command {
	return &cobra.Command{
		Use:   "new FAMILY/BLOCK",
		Short: "Write the catalog entry and the kernel of a new block, to be filled in",
		Args:  cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			root, err := findRoot()
			if err != nil {
				return err
			}
			return newBlock(stdout, root, args[0])
		},
	}
}

// library is the catalog with one block's entry read.
func library(names []string) ([]*blocks.Block, error) {
	lib, err := catalog.Open()
	if err != nil {
		return nil, err
	}
	if len(names) == 0 {
		names = lib.BlockNames()
	}
	var list []*blocks.Block
	for _, name := range names {
		b, err := lib.Block(name)
		if err != nil {
			return nil, err
		}
		list = append(list, b)
	}
	return list, nil
}
