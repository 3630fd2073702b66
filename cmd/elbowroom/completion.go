package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"elbowroom/blocks/source"
	"elbowroom/catalog"
)

func (a *app) completionCommand() *cobra.Command {
	shells := []string{"bash", "zsh", "fish", "powershell"}
	return &cobra.Command{
		Use:   "completion SHELL",
		Short: "Print the completion script of a shell",
		Long: `Print a script with which a shell completes commands, flags, and the names of
blocks, boards and cores. SHELL is bash, zsh, fish or powershell.`,
		Example: `  $ elbowroom completion bash > ~/.local/share/bash-completion/completions/elbowroom
  $ elbowroom completion fish > ~/.config/fish/completions/elbowroom.fish`,
		ValidArgs: shells,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return hinted{errors.New("completion needs the name of one shell"), "shells are bash, zsh, fish and powershell"}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.answered(func(w io.Writer) error {
				switch root := cmd.Root(); args[0] {
				case "bash":
					return root.GenBashCompletionV2(w, true)
				case "zsh":
					return root.GenZshCompletion(w)
				case "fish":
					return root.GenFishCompletion(w, true)
				case "powershell":
					return root.GenPowerShellCompletionWithDesc(w)
				}
				return hinted{fmt.Errorf("there is no completion for '%s'", args[0]), source.DidYouMean(args[0], shells)}
			})
		},
	}
}

// completeBoards offers the names of the boards to a shell.
func completeBoards(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	lib, err := catalog.Open()
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	return lib.BoardNames(), cobra.ShellCompDirectiveNoFileComp
}

// completeBlocks offers the names of the blocks to a shell.
func completeBlocks(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	lib, err := catalog.Open()
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	return lib.BlockNames(), cobra.ShellCompDirectiveNoFileComp
}

// completeCores offers the names of the cores to a shell.
func completeCores(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	lib, err := catalog.Open()
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	return lib.CoreNames(), cobra.ShellCompDirectiveNoFileComp
}
