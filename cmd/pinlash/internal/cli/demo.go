package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
	"pinlash/samples"
)

func newDemo(streams Streams) *cobra.Command {
	return &cobra.Command{
		Use:   "demo [FOLDER]",
		Short: "measure the sample photos, to see what the tool does",
		Long: `demo copies the sample photos to FOLDER (pinlash-demo without one), measures
them, and writes there their overlays and results.jsonl. The photos are rendered
pictures of an invented chain, not photographs. One of them shows no scale and
is there to be refused.

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
	paths, err := copySamples(folder)
	if err != nil {
		return err
	}
	opts := jointCommand{
		scale:  scaleOptions{division: calib.Length(samples.DivisionMM)},
		chain:  chainOptions{pitch: calib.Length(samples.PitchMM), newPlay: calib.Length(samples.NewPlayMM), limit: samples.LimitPercent},
		output: outputOptions{overlay: filepath.Join(folder, "overlays")},
	}
	given := func(name string) bool {
		return slices.Contains([]string{"division", "pitch", "new-play", "limit"}, name)
	}
	way, err := opts.way(given)
	if err != nil {
		return err
	}
	out, err := newOutput(opts.output, streams, paths)
	if err != nil {
		return err
	}
	var lines bytes.Buffer
	out.lines = &lines
	fmt.Fprintf(streams.Out, "pinlash joint %s --division %gmm --pitch %g --new-play %g --limit %g --overlay %s\n\n",
		filepath.Join(folder, "*.jpg"), samples.DivisionMM, samples.PitchMM, samples.NewPlayMM, samples.LimitPercent, opts.output.overlay)
	surprises := 0
	err = eachPhoto(ctx, paths, out, func(ctx context.Context, path string) (outcome, error) {
		result, err := way(ctx, path)
		refusal := (*check.Refusal)(nil)
		if errors.As(err, &refusal) != samples.ToBeRefused(filepath.Base(path)) {
			surprises++
		}
		return result, err
	})
	results := filepath.Join(folder, "results.jsonl")
	if err := record.WriteFile(results, lines.Bytes()); err != nil {
		return err
	}
	fmt.Fprintf(streams.Out, "\nThe photos with what was found drawn on them are in %s, the figures in %s.\n", opts.output.overlay, results)
	fmt.Fprintln(streams.Out, "The photos are rendered pictures of an invented chain. This version writes no report page.")
	switch status := statusOf(err); {
	case status == statusRefused && surprises == 0:
		return nil
	case status == statusOK && surprises > 0:
		return &internalError{cause: "a sample that shows no scale was measured"}
	}
	return err
}

// copySamples puts the sample photos into the folder and returns their paths.
// It leaves other files alone, even those of a sample's name.
func copySamples(folder string) ([]string, error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, err
	}
	var paths []string
	for _, photo := range samples.All {
		data, err := samples.Photos.ReadFile(photo.File)
		if err != nil {
			return nil, &internalError{cause: err}
		}
		path := filepath.Join(folder, photo.File)
		paths = append(paths, path)
		there, err := os.ReadFile(path)
		switch {
		case err == nil && bytes.Equal(there, data):
			continue
		case err == nil:
			return nil, &fs.PathError{Op: "write", Path: path, Err: errors.New("another file of this name is in the way")}
		case !errors.Is(err, fs.ErrNotExist):
			return nil, err
		}
		if err := record.WriteFile(path, data); err != nil {
			return nil, err
		}
	}
	return paths, nil
}
