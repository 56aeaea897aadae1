//go:build !front

package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/batch"
	"pinlash/cmd/pinlash/internal/jobcard"
	"pinlash/cmd/pinlash/internal/record"
)

type batchCommand struct {
	scale   scaleOptions
	chain   chainOptions
	folder  string
	results string // folder
	overlay string // folder
	shard   string
	workers int
	card    bool // write a first job card
	join    bool
	json    bool
	quiet   bool
	units   record.Units // of the summary
}

func newBatch(streams Streams) *cobra.Command {
	var opts batchCommand
	cmd := &cobra.Command{
		Use:   "batch FOLDER",
		Short: photoShorts["batch"],
		Long: `batch measures all photos in FOLDER and in the folders in it. What they are says
the job card, a file jobcard.toml; without one the names do, as far as they can:
joint-7.jpg, play-7-together.jpg with play-7-apart.jpg, play-8.avi, span-1.jpg,
scale.jpg, in folders REVISION/CHAIN/INSPECTION. --new writes a first job card
from the names, to be filled in. Flags on the scale and the chain stand where
the job card says nothing.

It leaves results.jsonl (a line for every photo, then one for every chain),
results.csv (a row for every figure) and the photos with what was found drawn on
them, in FOLDER or in the folder named with --out. Files already there of
that name are its own: a second run measures only what is new or changed. It can
be stopped at any time and goes on where it was.

A large study can be shared out: --shard 2/8 does the second of eight parts, and
in an array job of Slurm, or an indexed Job of Kubernetes with PINLASH_SHARDS set
to its completions, batch takes its part by itself. When all are done, --join
puts the parts together.

Exit status: 0 all photos measured; 1 our own fault; 2 wrong use; 3 at least
one photo refused, the others still measured; 4 a file or folder could not be
read, written or made out; 130 interrupted, what was finished is kept. Of several
the one that comes first in 130, 1, 2, 4, 3 counts.
` + caution,
		Example: `  pinlash batch --new teardown
  pinlash batch teardown
  pinlash batch teardown --division 0.1mm --chain 06B --out figures
  pinlash batch study --shard 2/8
  pinlash batch study --join`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageErrorf("%s wants one folder, got %d", cmd.CommandPath(), len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			opts.folder = args[0]
			return runBatch(cmd.Context(), opts, cmd.Flags(), streams)
		},
	}
	f := cmd.Flags()
	f.BoolVar(&opts.card, "new", false, "write a first jobcard.toml from the names of the files, and measure nothing")
	f.StringVar(&opts.results, "out", "", "`folder` for the results; FOLDER itself if not stated")
	f.StringVar(&opts.overlay, "overlay", "", "`folder` for the photos with what was found drawn on them; overlays beside the results if not stated")
	f.StringVar(&opts.shard, "shard", "", "do only part `K/N` of the photos")
	f.BoolVar(&opts.join, "join", false, "put the results of all parts together")
	f.IntVar(&opts.workers, "workers", runtime.NumCPU(), "cores to use, with one photo at a time on each")
	f.BoolVar(&opts.json, "json", false, "print the lines of results.jsonl at the end, instead of a summary")
	f.BoolVar(&opts.quiet, "quiet", false, "no progress and no sentences, only what went wrong")
	inchFlag(f, &opts.units)
	opts.scale.addFlags(f)
	opts.scale.addFileFlag(f)
	opts.scale.addParallaxFlags(f)
	opts.chain.addFlags(f)
	return cmd
}

// ofBatch are the flags that are not settings of photos.
var ofBatch = map[string]bool{
	"new": true, "out": true, "overlay": true, "shard": true, "join": true,
	"workers": true, "json": true, "quiet": true, "inch": true, "help": true,
}

func (o *batchCommand) validate(given changed) error {
	switch {
	case o.workers < 1 || o.workers > 1024:
		return usageErrorf("--workers of %d must lie from 1 to 1024", o.workers)
	case given("out") && o.results == "":
		return usageErrorf("--out wants a folder")
	case given("overlay") && o.overlay == "":
		return usageErrorf("--overlay wants a folder")
	}
	if err := given.atMostOne("new", "join", "shard"); err != nil {
		return err
	}
	if o.results == "" {
		o.results = o.folder
	}
	if o.overlay == "" {
		o.overlay = filepath.Join(o.results, "overlays")
	}
	return nil
}

func runBatch(ctx context.Context, opts batchCommand, flags *pflag.FlagSet, streams Streams) error {
	if err := opts.validate(flags.Changed); err != nil {
		return err
	}
	if opts.card {
		return writeCard(opts.folder, streams)
	}
	study, err := jobcard.Read(opts.folder)
	if err != nil {
		return err
	}
	b := &batching{batchCommand: opts, study: study, streams: streams}
	if err := b.plan(flags); err != nil {
		return err
	}
	for _, p := range study.Problems {
		streams.message("%s: %s", record.SafeName(p.Path), p.Message)
		b.status = worse(b.status, statusFile)
	}
	shard, err := b.part(flags.Changed)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(opts.results, 0o755); err != nil {
		return err
	}
	var summary batch.Summary
	if opts.join {
		summary, err = batch.Join(ctx, opts.results, b.work, b.finish)
	} else {
		// A photo's own steps must not spread to the cores of other photos.
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(opts.workers))
		o := batch.Options{Workers: opts.workers, Shard: shard}
		if !opts.quiet {
			o.Progress = batch.NewProgress(streams.Err)
			b.streams.Err = o.Progress
		}
		summary, err = batch.Run(ctx, opts.results, b.work, o, b.measure, b.finish)
	}
	if missing := (*batch.MissingError)(nil); errors.As(err, &missing) {
		return &errPartly{worse(b.status, b.missing(missing))}
	}
	if err != nil {
		return err
	}
	return b.tell(summary)
}

// writeCard writes a first job card, and never over one that is there.
func writeCard(folder string, streams Streams) error {
	path := filepath.Join(folder, jobcard.CardName)
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "write", Path: path, Err: errors.New("there is a job card already")}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	text, err := jobcard.Suggest(folder)
	if err != nil {
		return err
	}
	if err := record.WriteFile(path, text); err != nil {
		return err
	}
	fmt.Fprintf(streams.Out, "Wrote %s. Fill in what is missing, the scale first, then: pinlash batch %s\n", record.SafeName(path), record.SafeName(folder))
	return nil
}
