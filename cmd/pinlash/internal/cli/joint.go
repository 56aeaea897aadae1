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
	"pinlash/vision"
)

type jointCommand struct {
	scale  scaleOptions
	chain  chainOptions
	output outputOptions
	photos []string
}

func newJoint(streams Streams) *cobra.Command {
	var opts jointCommand
	cmd := &cobra.Command{
		Use:   "joint PHOTO...",
		Short: photoShorts["joint"],
		Long: `joint measures photos that look along a pin standing in its bush, the outer
plate taken off or ground flush, with a scale in the plane of the pin's end. It
prints the diameters of pin and bore, their clearance, the play along the line
of pull, the wear of either, and where the pin lies.

The scale is one of: a rule or stage micrometer in the photo, whose --division
is stated; a round --gauge of known diameter beside the joint, its end level
with the pin's; a scale kept with pinlash scale --save; or two --points with
their --distance. With --scale-file together with --division or --gauge the
scale in the photo has to agree with the kept one.

With --chain, or --new-play, the growth is printed: what this joint adds to the
length of the tight chain, half of what the pin has become loose all round and
all of what its loaded flank has worn; as percent of the pitch; and for the whole
chain, if all its --pitches joints are like this one. New play is compared as the
standard's least, unless a new joint of the same make was measured.
` + exitHelp + "\n" + caution,
		Example: `  pinlash joint a.jpg --division 0.1mm --chain 06B
  pinlash joint *.jpg --division 0.1mm --pitch 9.525 --new-play 0.05 --limit 1 --overlay seen
  pinlash joint a.jpg --scale-file x40.scale --json`,
		Args: photos,
		RunE: func(cmd *cobra.Command, args []string) error {
			opts.photos = args
			return runJoint(cmd.Context(), opts, cmd.Flags().Changed, streams)
		},
	}
	opts.addSettings(cmd.Flags())
	opts.output.addFlags(cmd.Flags())
	return cmd
}

// addSettings adds the flags that say how a photo is measured, here and in a
// batch.
func (o *jointCommand) addSettings(f *pflag.FlagSet) {
	o.scale.addFlags(f)
	o.scale.addFileFlag(f)
	o.scale.addParallaxFlags(f)
	o.chain.addFlags(f)
}

func runJoint(ctx context.Context, opts jointCommand, given changed, streams Streams) error {
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
func (o jointCommand) way(given changed) (photoWay, error) {
	ref, err := o.chain.reference(given)
	if err != nil {
		return nil, err
	}
	if given("limit") && !ref.known {
		return nil, usageErrorf("--limit needs the play of a new joint: give --new-play")
	}
	source, err := o.scale.source(given)
	if err != nil {
		return nil, err
	}
	return func(ctx context.Context, path string) (outcome, error) {
		return measureJoint(ctx, path, source, ref)
	}, nil
}

// measureJoint takes one photo its whole way. The search for the scale and the
// search for the joint run side by side; if both fail, the photo is refused
// for its scale.
func measureJoint(ctx context.Context, path string, source *scaleSource, ref chainReference) (outcome, error) {
	result := outcome{record: record.Record{Kind: record.Joint}}
	if err := result.open(ctx, path); err != nil {
		return result, err
	}
	var (
		found  foundScale
		edges  geom.JointEdges
		checks []check.Check
	)
	err := both(func() (err error) {
		found, err = source.read(result.photo)
		result.rules, result.gauge = found.rules, found.gauge
		return err
	}, func() (err error) {
		edges, checks, err = vision.FindJoint(result.photo.Light, result.photo.Curve)
		if err == nil {
			result.joint = &edges
		}
		return vision.OrBlurred(result.photo.Light, err)
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
	joint, err := measure.Joint(edges, scale, measure.Options{WorkingDistanceMM: float64(source.workingDistance)})
	if err != nil {
		return result, err
	}
	r := &result.record
	r.Scale = record.NewScale(scale)
	r.Results = record.JointFigures(joint)
	r.Profile = record.NewProfile(joint.Profile)
	for _, more := range [][]check.Check{found.Checks, checks, joint.Checks} {
		r.Checks = append(r.Checks, more...)
	}
	for _, more := range [][]string{found.Notes, joint.Notes} {
		r.Notes = append(r.Notes, more...)
	}
	return result, ref.apply(r, joint)
}
