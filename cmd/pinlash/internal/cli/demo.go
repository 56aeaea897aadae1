//go:build !front

package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"pinlash/cmd/pinlash/internal/batch"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/samples"
)

func newDemo(streams Streams) *cobra.Command {
	return &cobra.Command{
		Use:   "demo [FOLDER]",
		Short: photoShorts["demo"],
		Long: `demo copies the samples to FOLDER (pinlash-demo without one), a folder of photos
with its job card, measures them as pinlash batch does, and writes the report. The
photos are rendered pictures of invented chains, not photographs. One of them
shows no scale and is there to be refused.

Exit status: 0 the samples came out as they must; 1 our own fault; 2 wrong use;
3 another sample was refused; 4 a file or folder could not be written; 130
interrupted.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageErrorf("%s wants one folder, got %d", cmd.CommandPath(), len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			folder := "pinlash-demo"
			if len(args) == 1 {
				folder = args[0]
			}
			return runDemo(cmd.Context(), folder, streams)
		},
	}
}

func runDemo(ctx context.Context, folder string, streams Streams) error {
	if err := copySamples(folder); err != nil {
		return err
	}
	measured := step(ctx, streams, "batch", folder)
	if status := statusOf(measured); status != statusOK && status != statusRefused {
		return measured
	}
	if err := step(ctx, streams, "report", folder); err != nil {
		return err
	}
	fmt.Fprintln(streams.Out, "The photos are rendered pictures of invented chains.")
	return asExpected(folder, measured)
}

// step runs another command and shows how it is called.
func step(ctx context.Context, streams Streams, args ...string) error {
	fmt.Fprintf(streams.Out, "$ pinlash %s\n", strings.Join(args, " "))
	root := newRoot(streams)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	fmt.Fprintln(streams.Out)
	return err
}

// asExpected wants those samples refused that are there for it, and no others.
func asExpected(folder string, measured error) error {
	lines, err := readResults(filepath.Join(folder, batch.Results))
	if err != nil {
		return err
	}
	for _, l := range lines {
		if l.Record == nil {
			continue
		}
		refused, expected := l.Record.Refused != nil, samples.ToBeRefused(l.Record.Photo.Path)
		switch {
		case refused && !expected:
			return measured
		case expected && !refused:
			return &internalError{cause: "a sample that shows no scale was measured"}
		}
	}
	return nil
}

// copySamples puts the samples into the folder. It leaves other files alone,
// even those of a sample's name.
func copySamples(folder string) error {
	return fs.WalkDir(samples.Files, samples.Folder, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return &internalError{cause: err}
		}
		to := filepath.Join(folder, filepath.FromSlash(strings.TrimPrefix(name, samples.Folder)))
		if d.IsDir() {
			return os.MkdirAll(to, 0o755)
		}
		data, err := samples.Files.ReadFile(name)
		if err != nil {
			return &internalError{cause: err}
		}
		return copySample(to, data)
	})
}

func copySample(to string, data []byte) error {
	there, err := os.ReadFile(to)
	switch {
	case err == nil && bytes.Equal(there, data):
		return nil
	case err == nil:
		return &fs.PathError{Op: "write", Path: to, Err: errors.New("another file of this name is in the way")}
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return err
	}
	return record.WriteFile(to, data)
}
