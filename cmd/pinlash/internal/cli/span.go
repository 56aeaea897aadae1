//go:build !front

package cli

import (
	"context"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/wear"
	"pinlash/vision"
)

type spanCommand struct {
	scale  scaleOptions
	chain  chainOptions
	output outputOptions
	photos []string
}

func newSpan(streams Streams) *cobra.Command {
	var opts spanCommand
	cmd := &cobra.Command{
		Use:   "span PHOTO...",
		Short: photoShorts["span"],
		Long: `span measures photos of a chain that is pulled tight and seen from the side,
three to forty pitches long, with a rule beside it: the distance of every two
neighbouring pin heads, or open bush ends, and the length along them all. It
tells inner from outer links where the picture does, and says what the pitches
run between, pin to pin or bush to bush: from pin to pin wear shows in the inner
links, from bush to bush in the outer ones. Ends that are dark inside count as
open bushes. Pins and bushes are never mixed in one span: what follows at the
ends of a row is left off, and an open bush between pins is refused. Heads have
to be at least 20 pixels wide and stand out from their plates.

The rule has to lie level with the heads. If it does, say so with --same-plane;
if it lies lower or higher, give --plane-offset and --working-distance. Without
either the intervals allow for a rule that lies off by a pitch. The scale can
also come from a round --gauge, from --points with their --distance or from a
--scale-file.

With --chain or --pitch the growth is printed, against the nominal pitch in
percent and against a new chain of that pitch in mm; with --pitches that of the
whole chain, if all of it is like this span. Over an odd number of pitches with
links that are not known both readings are printed.
` + exitHelp + "\n" + caution,
		Example: `  pinlash span chain.jpg --division 1mm --same-plane --chain 06B
  pinlash span *.jpg --division 0.5mm --plane-offset 3 --working-distance 250 --pitch 9.525 --limit 1 --overlay seen`,
		Args: photos,
		RunE: func(cmd *cobra.Command, args []string) error {
			opts.photos = args
			return runSpan(cmd.Context(), opts, cmd.Flags().Changed, streams)
		},
	}
	opts.addSettings(cmd.Flags())
	opts.output.addFlags(cmd.Flags())
	return cmd
}

func (o *spanCommand) addSettings(f *pflag.FlagSet) {
	o.scale.addFlags(f)
	o.scale.addFileFlag(f)
	o.scale.addParallaxFlags(f)
	o.chain.addLengthFlags(f)
}

func runSpan(ctx context.Context, opts spanCommand, given changed, streams Streams) error {
	if err := opts.output.validate(given); err != nil {
		return err
	}
	way, err := opts.way(given)
	if err != nil {
		return err
	}
	out, err := newOutput(opts.output, streams, opts.photos)
	if err != nil {
		return err
	}
	return eachPhoto(ctx, opts.photos, out, way)
}

// way checks the options and returns what takes one photo its whole way.
func (o spanCommand) way(given changed) (photoWay, error) {
	ref, err := o.chain.reference(given)
	if err != nil {
		return nil, err
	}
	source, err := o.scale.source(given)
	if err != nil {
		return nil, err
	}
	return func(ctx context.Context, path string) (outcome, error) {
		return measureSpan(ctx, path, source, ref)
	}, nil
}

// measureSpan takes one photo its whole way, as measureJoint does.
func measureSpan(ctx context.Context, path string, source *scaleSource, ref chainReference) (outcome, error) {
	result := outcome{record: record.Record{Kind: record.Span}, pitch: ref.pitch}
	if err := result.open(ctx, path); err != nil {
		return result, err
	}
	var (
		found  foundScale
		heads  geom.Heads
		checks []check.Check
	)
	err := both(func() (err error) {
		found, err = source.read(result.photo)
		result.rules, result.gauge = found.rules, found.gauge
		return err
	}, func() (err error) {
		heads, checks, err = vision.FindHeads(result.photo.Light, result.photo.Curve)
		if err == nil {
			result.heads = &heads
		}
		return err
	})
	if err != nil {
		return result, err
	}
	scale := found.Scale
	if source.workingDistance > 0 {
		if scale, err = scale.InPlane(source.plane()); err != nil {
			return result, err
		}
	}
	span, err := measure.Span(heads, scale, measure.SpanOptions{
		PitchMM:           ref.pitch,
		HeightKnown:       source.samePlane || source.workingDistance > 0,
		WorkingDistanceMM: float64(source.workingDistance),
	})
	if err != nil {
		return result, err
	}
	r := &result.record
	r.Scale = record.NewScale(scale)
	r.Results = record.SpanFigures(span)
	r.Reference = span.Reference
	r.Pitches = record.NewPitches(span.Pitches)
	for _, more := range [][]check.Check{found.Checks, checks, span.Checks} {
		r.Checks = append(r.Checks, more...)
	}
	for _, more := range [][]string{found.Notes, span.Notes} {
		r.Notes = append(r.Notes, more...)
	}
	return result, ref.applySpan(r, span)
}

// applySpan adds to a span's record what it has grown.
func (ref chainReference) applySpan(r *record.Record, span measure.SpanResult) error {
	n := len(span.Pitches)
	r.Meaning = record.Say("The chain measures %s over %s, %s", span.Span, pitchesInWords(n), span.Reference)
	if ref.pitch == 0 {
		r.Meaning = r.Meaning.Then(".")
		r.Notes = append(r.Notes, "for the growth give --pitch, or --chain with a name from pinlash chains")
		return nil
	}
	fresh, err := nominalSpan(ref.pitch, n)
	if err != nil {
		return err
	}
	r.Meaning = r.Meaning.Then("; new it was %s.", record.Length(fresh.Value))
	growth, err := wear.GrowthOfSpan(span.Span, fresh, n, wearLink(span.Pitches[0].Link), wearReference(span.Reference))
	if err != nil {
		r.Notes = append(r.Notes, err.Error()) // a single link that does not grow
		return nil
	}
	perJoint := spread(growth.PerPitch, growth.PerJoint)
	r.Growth = append(r.Growth, record.Figure{Name: "joint_growth", Quantity: perJoint.main})
	percent, err := perJoint.nominal().percentOf(ref.pitch)
	if err != nil {
		return err
	}
	if n%2 == 1 {
		// The span holds one growing link more or fewer than the chain has.
		r.Growth = append(r.Growth, record.Figure{Name: "chain_elongation", Quantity: percent.main})
	}
	if ref.pitches > 0 {
		whole, err := perJoint.times(ref.pitches)
		if err != nil {
			return err
		}
		r.Growth = append(r.Growth, record.Figure{Name: "chain_growth", Quantity: whole.main})
	}
	if !perJoint.ends.Known() {
		r.Readings = readings(oddReadings("", perJoint.ends), ref.pitch, ref.pitches)
		r.Meaning = r.Meaning.Then(" %s", oddWords(n, perJoint.ends, ref.pitches))
	}
	r.Notes = append(r.Notes, "elongation is against the nominal pitch; growth in mm is against a new chain, which may be up to 0.15 % longer than that")
	if perJoint.main.Upper < 0 {
		r.Notes = append(r.Notes, "the chain reads shorter than new: check the division, the pitch, and that the chain was pulled tight")
	}
	if ref.limit == 0 {
		return nil
	}
	r.Decision, err = ref.decideSpan(percent.ends)
	return err
}

// decideSpan says what the limit makes of a chain that is all like this span.
func (ref chainReference) decideSpan(percent wear.Growth) (string, error) {
	limit, err := wear.LimitFor(wear.Duty{MakerPercent: ref.limit})
	if err != nil {
		return "", err
	}
	d, err := wear.Decide(percent, limit, 0)
	if err != nil {
		return "", err
	}
	return record.NewDecision(d).Words(record.NewLimit(limit)), nil
}

func wearLink(k geom.LinkKind) wear.Link {
	switch k {
	case geom.InnerLink:
		return wear.InnerLink
	case geom.OuterLink:
		return wear.OuterLink
	default:
		return wear.UnknownLink
	}
}

func wearReference(words string) wear.Reference {
	if words == wear.BushToBush.String() {
		return wear.BushToBush
	}
	return wear.PinToPin
}
