package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"pinlash/cmd/pinlash/internal/batch"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/cmd/pinlash/internal/report"
)

type reportCommand struct {
	results string // file or folder
	page    string // file, - for the output stream
	title   string
	inches  bool
}

func newReport(streams Streams) *cobra.Command {
	var opts reportCommand
	cmd := &cobra.Command{
		Use:   "report RESULTS",
		Short: "write one self-contained page with figures, plots and pictures",
		Long: `report makes one HTML page out of results: the results.jsonl of pinlash batch, or
the folder it is in, or lines that pinlash joint, play or span printed with
--json. The page holds its pictures and plots in itself, asks the network for
nothing, and can be sent, kept and printed. It begins with what the figures mean
for the chain, and ends with what each was measured with.

The page is written beside the results as report.html, or where --out says.

Exit status: 0 written; 1 our own fault; 2 wrong use; 4 a file could not be
read or written.
` + caution,
		Example: `  pinlash report teardown
  pinlash report teardown/results.jsonl --out left-drive.html --title "Left drive, opened in May"
  pinlash joint *.jpg --division 0.1mm --chain 06B --json > joints.jsonl && pinlash report joints.jsonl`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageErrorf("%s wants one file of results or their folder, got %d", cmd.CommandPath(), len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			opts.results = args[0]
			if cmd.Flags().Changed("out") && opts.page == "" {
				return usageErrorf("--out wants a file")
			}
			return runReport(opts, streams)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opts.page, "out", "", "`file` for the page, - for the standard output; report.html beside the results if not stated")
	f.StringVar(&opts.title, "title", "", "`text` over the page")
	f.BoolVar(&opts.inches, "inch", false, "show lengths in inches")
	return cmd
}

func runReport(opts reportCommand, streams Streams) error {
	path := opts.results
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if info.IsDir() {
		path = filepath.Join(path, batch.Results)
	}
	lines, err := readResults(path)
	if err != nil {
		return err
	}
	folder := filepath.Dir(path)
	pictures, err := os.OpenRoot(folder)
	if err != nil {
		return err
	}
	defer pictures.Close() //nolint:errcheck // nothing was written
	title := opts.title
	if title == "" {
		title = titleOf(lines)
	}
	var page bytes.Buffer
	err = report.Page(&page, report.Input{
		Title: title, Source: record.SafeName(sourceOf(path)), Lines: lines, Pictures: pictures.FS(),
		Inches: opts.inches, Made: time.Now(), Version: Version,
	})
	if err != nil {
		return err
	}
	if opts.page == "-" {
		_, err := page.WriteTo(streams.Out)
		return err
	}
	if opts.page == "" {
		opts.page = filepath.Join(folder, "report.html")
	}
	if err := record.WriteFile(opts.page, page.Bytes()); err != nil {
		return err
	}
	fmt.Fprintf(streams.Out, "The report is in %s.\n", record.SafeName(opts.page))
	return nil
}

// sourceOf is the file of results as a page that is sent away names it: with
// its folder, but not where on this machine that is.
func sourceOf(path string) string {
	if whole, err := filepath.Abs(path); err == nil {
		path = whole
	}
	return filepath.Join(filepath.Base(filepath.Dir(path)), filepath.Base(path))
}

// readResults reads a file of results. One that cannot be made out is a file
// error that names its line.
func readResults(path string) ([]record.Line, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	lines, err := record.ReadAll(f)
	if err == nil && len(lines) == 0 {
		err = errors.New("there are no results in it")
	}
	if at := (*fs.PathError)(nil); err != nil && !errors.As(err, &at) {
		return nil, &fs.PathError{Op: "read", Path: path, Err: err}
	}
	return lines, err
}

// titleOf names what the results are of: a specimen, if they are all of one.
func titleOf(lines []record.Line) string {
	specimen := ""
	for _, l := range lines {
		b := l.Batch()
		if b == nil || b.Levels.Specimen == "" || specimen != "" && b.Levels.Specimen != specimen {
			return "Chain wear"
		}
		specimen = b.Levels.Specimen
	}
	return "Chain wear: " + record.SafeName(specimen)
}
