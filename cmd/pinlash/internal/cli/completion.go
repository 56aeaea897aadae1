package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pinlash/measure/wear"
)

var shells = []string{"bash", "zsh", "fish", "powershell"}

func newCompletion(streams Streams) *cobra.Command {
	return &cobra.Command{
		Use:   "completion " + strings.Join(shells, "|"),
		Short: "print what a shell needs to complete pinlash's commands and values",
		Long: `completion prints a script for a shell, which then completes commands, flags,
names of chains and files by the tab key. For this session it is loaded with
  bash        source <(pinlash completion bash)
  zsh         source <(pinlash completion zsh)
  fish        pinlash completion fish | source
  powershell  pinlash completion powershell | Out-String | Invoke-Expression
and for all later ones with that line in the shell's start file. For bash its
package bash-completion has to be there.

Exit status: 0 printed; 2 wrong use; 4 could not be written.`,
		ValidArgs: shells,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 || !slices.Contains(shells, args[0]) {
				return usageErrorf("%s wants one of %s, got %q", cmd.CommandPath(), strings.Join(shells, ", "), args)
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			root := cmd.Root()
			switch args[0] {
			case "bash":
				return root.GenBashCompletionV2(streams.Out, true)
			case "zsh":
				return root.GenZshCompletion(streams.Out)
			case "fish":
				return root.GenFishCompletion(streams.Out, true)
			}
			return root.GenPowerShellCompletionWithDesc(streams.Out)
		},
	}
}

// The completions of values. A nil one completes any file.
var (
	photoFiles = filesOf("jpg", "jpeg", "png", "tif", "tiff")
	folders    = cobra.FixedCompletions(nil, cobra.ShellCompDirectiveFilterDirs)
)

// filesOf completes files of these endings, in small letters or large.
func filesOf(endings ...string) cobra.CompletionFunc {
	var all []string
	for _, e := range endings {
		all = append(all, e, strings.ToUpper(e))
	}
	return cobra.FixedCompletions(all, cobra.ShellCompDirectiveFilterFileExt)
}

// chainNames completes the names that --chain knows, and says of what type the
// chains are.
func chainNames(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	var names []string
	for _, c := range wear.Chains() {
		name := cobra.CompletionWithDesc(c.Designation, c.Type+" chain")
		if !slices.Contains(names, name) { // it may stand in several editions
			names = append(names, name)
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// complete makes the values of all commands below root known to the shells.
func complete(root *cobra.Command) {
	for _, cmd := range root.Commands() {
		if len(cmd.ValidArgs) == 0 && cmd.ValidArgsFunction == nil {
			cmd.ValidArgsFunction = argumentsOf(cmd)
		}
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			of := valuesOf(cmd, f)
			if of == nil {
				return
			}
			if err := cmd.RegisterFlagCompletionFunc(f.Name, of); err != nil {
				panic("cli: " + err.Error()) // the flag is there, and is seen once
			}
		})
	}
}

func argumentsOf(cmd *cobra.Command) cobra.CompletionFunc {
	switch cmd.Name() {
	case "joint", "play", "span", "scale":
		return photoFiles
	case "batch", "demo", "man":
		return folders
	case "compare", "report":
		return filesOf("jsonl")
	}
	return cobra.NoFileCompletions
}

func valuesOf(cmd *cobra.Command, f *pflag.Flag) cobra.CompletionFunc {
	switch f.Name {
	case "chain":
		return chainNames
	case "together", "apart":
		return photoFiles
	case "clip":
		return filesOf("avi", "mp4", "mov")
	case "file":
		return filesOf("toml")
	case "overlay":
		return folders
	case "out":
		switch cmd.Name() {
		case "report":
			return filesOf("html")
		case "compare":
			return filesOf("csv", "parquet")
		}
		return folders
	case "scale-file", "save":
		return nil
	}
	if words := strings.Split(f.Value.Type(), "|"); len(words) > 1 {
		return cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)
	}
	return cobra.NoFileCompletions
}

func commandNames(help *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	var names []string
	for _, cmd := range help.Root().Commands() {
		if cmd.IsAvailableCommand() && len(args) == 0 {
			names = append(names, cobra.CompletionWithDesc(cmd.Name(), cmd.Short))
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}
