//go:build !front

package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/record"
)

// released dates the manual pages, so that those of one version are the same
// whenever they are written.
var released = time.Date(2026, time.November, 1, 0, 0, 0, 0, time.UTC)

func newMan(streams Streams) *cobra.Command {
	return &cobra.Command{
		Use:    "man FOLDER",
		Short:  "write the manual pages, one for each command",
		Hidden: true, // for who packs pinlash
		Long: `man writes the manual pages, pinlash.1 and one for each command, to FOLDER.

Exit status: 0 written; 2 wrong use; 4 a file could not be written.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageErrorf("%s wants one folder, got %d", cmd.CommandPath(), len(args))
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			root := newRoot(streams) // another one, to be changed for the pages
			root.InitDefaultVersionFlag()
			return writePages(root, args[0])
		},
	}
}

// writePages writes the page of a command and of those below it.
func writePages(cmd *cobra.Command, folder string) error {
	for _, below := range cmd.Commands() {
		if below.IsAvailableCommand() {
			if err := writePages(below, folder); err != nil {
				return err
			}
		}
	}
	var page bytes.Buffer
	forPage(cmd)
	header := doc.GenManHeader{Section: "1", Date: &released, Source: "pinlash " + Version, Manual: "pinlash"}
	if err := doc.GenMan(cmd, &header, &page); err != nil {
		return err
	}
	name := strings.ReplaceAll(cmd.CommandPath(), " ", "-") + ".1"
	return record.WriteFile(filepath.Join(folder, name), page.Bytes())
}

// forPage turns what stands in the help into what a page is made from: rows set
// in columns stay rows, and where the help names a flag's value so does the page,
// instead of its default.
func forPage(cmd *cobra.Command) {
	cmd.DisableAutoGenTag = true
	cmd.Long = asMarkdown(cmd.Long)
	cmd.LocalFlags().VisitAll(func(f *pflag.Flag) {
		name, usage := pflag.UnquoteUsage(f)
		f.Usage = literal.Replace(usage)
		if name != "" { // a flag that takes a value
			f.DefValue = name
		}
	})
}

// literal keeps Markdown from taking signs in plain text for its own.
var literal = strings.NewReplacer(`*`, `\*`, `_`, `\_`, `<`, `\<`, "`", "\\`")

// asMarkdown turns a help text into Markdown: indented rows become blocks that
// keep their line breaks.
func asMarkdown(help string) string {
	var out strings.Builder
	inRows := false
	for line := range strings.Lines(help) {
		rows := strings.HasPrefix(line, "  ")
		if rows != inRows {
			out.WriteString("\n")
		}
		if rows {
			out.WriteString("    " + line)
		} else {
			out.WriteString(literal.Replace(line))
		}
		inRows = rows
	}
	return out.String()
}
