package cli

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/record"
)

type stretchCommand struct {
	typed  typed
	file   string
	output outputOptions
}

func newStretch(streams Streams) *cobra.Command {
	var opts stretchCommand
	cmd := &cobra.Command{
		Use:   "stretch",
		Short: "growth, cam timing and limit of a chain from caliper readings",
		Long: `stretch works out from readings that are typed in, without a photo, how much a
chain has grown: each joint, in percent, and as a whole; what that does to the
timing of cams and to the tensioner; and whether it is past its limit.

Pull the chain tight and read a span of it. Say how long the span is in one of
  --pins N          pins (or rollers), both ends counted: 15 pins are 14 pitches
  --links N         links, inner and outer counted alike: 7 links are 7 pitches
  --span-pitches N  pitches
and what you read, at three places or more, with commas between:
  --outside, --inside  caliper jaws outside or inside the last rollers or pins;
                       both together cancel the diameter of what they touch
  --edges              from the left edge of one pin to the left edge of another
  --centres            from centre to centre
  --length             a length of which nobody says over which faces it goes, as
                       in many manuals: it is read both ways
  --grown              only by how much the span is longer than when it was new
Each has its --new-... for the same reading on a new chain. Without that the
span is held against the pitch, and outside or inside jaws need --over.

Lengths are in mm, or with um or in behind the number. An even number of pitches
is better than an odd one: wear shows in every other link only, and over an odd
span the answer depends on which kind of link begins it.

--file FILE reads everything from a TOML file instead, - from standard input,
and takes more: single joints, the wheels of a drive with their cams and idlers,
the tensioner, earlier inspections, what the chain ran under, and readings that
the maker limits by themselves. The README explains its keys.

Exit status: 0 worked out; 1 our own fault; 2 wrong use; 4 a file could not be
read or written.
` + caution,
		Example: `  pinlash stretch --chain 06B --pins 15 --outside 136.9 --new-outside 136.63
  pinlash stretch --links 7 --grown 0.78 --pitches 52
  pinlash stretch --chain 08B --span-pitches 24 --outside 313.9,313.8,314.0 --inside 296.8,296.8,296.9 --limit 1.5
  pinlash stretch --file drive.toml --explain`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runStretch(opts, cmd.Flags(), cmd.InOrStdin(), streams)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opts.file, "file", "", "TOML `file` with everything, - for standard input; goes without the other readings")
	opts.typed.addFlags(f)
	opts.output.addFigureFlags(f)
	return cmd
}

// addFlags adds the flags of the common cases; the rest is for files.
func (t *typed) addFlags(f *pflag.FlagSet) {
	f.StringVar(&t.Chain.Name, "chain", "", "`name` of the chain, as printed by pinlash chains")
	f.Var(&t.Chain.Pitch, "pitch", "pitch of the new chain, for one not in the table")
	f.Var(&t.Chain.Pitches, "pitches", "number of pitches (joints) of the whole chain")
	f.Var(&t.Span.Pins, "pins", "pins or rollers in the span, both ends counted")
	f.Var(&t.Span.Links, "links", "links in the span, inner and outer counted alike")
	f.Var(&t.Span.Pitches, "span-pitches", "pitches in the span")
	for _, l := range []struct {
		to          *[]typedLength
		name, usage string
	}{
		{&t.Span.Outside, "outside", "readings with outside jaws"},
		{&t.Span.Inside, "inside", "readings with inside jaws"},
		{&t.Span.Edges, "edges", "readings from an edge to the edge on the same side"},
		{&t.Span.Centres, "centres", "readings from centre to centre"},
		{&t.Span.Length, "length", "readings over faces that are not stated"},
		{&t.Span.Grown, "grown", "used less new length of the span"},
		{&t.Span.NewOutside, "new-outside", "as --outside, on a new chain"},
		{&t.Span.NewInside, "new-inside", "as --inside, on a new chain"},
		{&t.Span.NewEdges, "new-edges", "as --edges, on a new chain"},
		{&t.Span.NewCentres, "new-centres", "as --centres, on a new chain"},
		{&t.Span.NewLength, "new-length", "as --length, on a new chain"},
	} {
		f.Var(lengthList{l.to}, l.name, l.usage)
	}
	f.Var(&t.Span.Over, "over", "what the jaws touched")
	f.Var(&t.Span.Step, "step", "reading step of the caliper; 0.01 mm if not stated")
	f.Var(&t.Span.U, "u", "standard uncertainty of a reading that no caliper took")
	f.Var(&t.Span.Temperature, "temperature", "`degC` of a chain read warm or cold with a caliper kept near 20; one as warm as the caliper needs none")
	f.Var(&t.Span.Pull, "pull", "`newtons` with which the chain was pulled tight")
	f.Var(&t.Limit.Percent, "limit", "`percent` of growth at which the maker's limit lies")
	f.Var(&t.Limit.Longest, "longest", "the maker's limit as a reading over the same faces")
	f.BoolVar(&t.Limit.Timing, "timing", false, "the chain drives camshafts")
}

// outputFlags are those that go with --file.
var outputFlags = []string{"file", "json", "quiet", "explain", "inch", "help"}

func runStretch(opts stretchCommand, flags *pflag.FlagSet, stdin io.Reader, streams Streams) error {
	if err := opts.output.validate(flags.Changed); err != nil {
		return err
	}
	readings, source := opts.typed, "flags"
	if flags.Changed("file") {
		if got := others(flags, outputFlags); len(got) > 0 {
			return usageErrorf("--file holds all readings; --%s goes without it", got[0])
		}
		source = opts.file
		var err error
		if readings, err = readTyped(opts.file, stdin); err != nil {
			return err
		}
	}
	result, err := readings.stretch()
	if err != nil {
		var usage *UsageError
		if !errors.As(err, &usage) {
			err = &UsageError{err} // the model refuses nothing but input that cannot be used
		}
		if source != "flags" {
			err = &UsageError{fmt.Errorf("%s: %w", fileWords(source), err)}
		}
		return err
	}
	result.Version, result.Source = Version, source
	if opts.output.json {
		return record.WriteLine(streams.Out, result)
	}
	return record.WriteStretch(streams.Out, result, record.Style{Quiet: opts.output.quiet, Explain: opts.output.explain, Units: opts.output.units})
}

// others returns the flags given beside those named.
func others(flags *pflag.FlagSet, named []string) []string {
	var got []string
	flags.Visit(func(f *pflag.Flag) {
		for _, name := range named {
			if f.Name == name {
				return
			}
		}
		got = append(got, f.Name)
	})
	return got
}

func fileWords(path string) string {
	if path == "-" {
		return "standard input"
	}
	return record.SafeName(path)
}
