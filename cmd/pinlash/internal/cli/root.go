// Package cli is pinlash as its users see it: commands, flags, messages and
// exit statuses.
//
// Results go to the output stream and nothing else does; messages go to the
// error stream, each starting with the program's name. No colour is used.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"pinlash/cmd/pinlash/internal/jobcard"
)

// Version of pinlash, printed in every record.
const Version = "0.1.0"

// Streams are the places a command writes to, and reads from where it is told
// to: nil for the standard input.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
}

// message writes one message for people.
func (s Streams) message(format string, args ...any) {
	fmt.Fprintf(s.Err, "pinlash: "+format+"\n", args...)
}

// Main runs pinlash with the arguments after its name and returns the exit
// status.
func Main(ctx context.Context, args []string, streams Streams) (status int) {
	defer func() {
		if cause := recover(); cause != nil {
			streams.message("%v", &internalError{cause, debug.Stack()})
			status = statusInternal
		}
	}()
	root := newRoot(streams)
	root.SetArgs(args)
	root.SetIn(streams.In)
	root.SetOut(streams.Out)
	root.SetErr(streams.Err)
	cmd, err := root.ExecuteContextC(ctx)
	tellWhy(streams, cmd, err)
	return statusOf(err)
}

// tellWhy says what ended a command, unless its photos have said so already.
func tellWhy(streams Streams, cmd *cobra.Command, err error) {
	var partly *errPartly
	if err == nil || errors.As(err, &partly) {
		return
	}
	if at := (*fs.PathError)(nil); errors.As(err, &at) {
		streams.message("%s", fault(at.Path, at))
		return
	}
	if errors.Is(err, context.Canceled) {
		streams.message("interrupted; the results so far are printed")
		return
	}
	if card := (*jobcard.FileError)(nil); errors.As(err, &card) { // its path and text are as the disk has them
		for line := range strings.SplitSeq(err.Error(), "\n") {
			streams.message("%s", onTerminal(line))
		}
		return
	}
	streams.message("%v", err)
	if usage := (*UsageError)(nil); errors.As(err, &usage) {
		streams.message("try \"%s --help\"", cmd.CommandPath())
	}
}

func newRoot(streams Streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "pinlash",
		Short: "measure the play in chain joints from microscope photos",
		Long: `pinlash measures how far the joints of a chain have worn, from photos taken
through a microscope with a scale in the picture. Every figure comes with its
95 % interval; a photo that cannot be measured honestly is refused with the
reason and what to do about it.
` + caution,
		Version:       Version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          noArguments,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetVersionTemplate("pinlash {{.Version}}\n")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return &UsageError{err} })
	root.SetHelpCommand(newHelp(root))
	root.AddCommand(photoCommands(streams)...)
	root.AddCommand(newStretch(streams), newCompare(streams), newReport(streams), newChains(streams), newCompletion(streams))
	complete(root)
	return root
}

// newHelp is cobra's help command but for a topic that there is not, which is
// wrong use.
func newHelp(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:               "help [COMMAND]",
		Short:             "print the help of a command",
		ValidArgsFunction: commandNames,
		RunE: func(_ *cobra.Command, args []string) error {
			cmd, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 {
				return usageErrorf("no help on %q", args)
			}
			return cmd.Help()
		},
	}
}

func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if !cmd.HasParent() {
		return usageErrorf("unknown command %q", args[0])
	}
	return usageErrorf("%s takes no arguments, got %q", cmd.CommandPath(), args[0])
}

func photos(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return usageErrorf("%s wants at least one photo", cmd.CommandPath())
	}
	return nil
}
