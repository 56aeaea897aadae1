//go:build !front

package cli

import (
	"bytes"
	"context"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

type scaleCommand struct {
	scale  scaleOptions
	output outputOptions
	grid   calib.Length // distance of neighbouring points
	save   string
	photos []string
}

func newScale(streams Streams) *cobra.Command {
	var opts scaleCommand
	cmd := &cobra.Command{
		Use:   "scale PHOTO...",
		Short: photoShorts["scale"],
		Long: `scale reads the length of a pixel from a rule or stage micrometer anywhere in
the photo, at any angle, from a round gauge of known diameter seen end-on, or
from two points of known distance. With --save the
scale is kept for later photos taken at the same setting of the microscope, the
same focus and the same image size, which need not show a scale then.

With --grid it reads one scale from one or more photos of a flat target, a
square grid of dots or a checkerboard, that reaches into the corners of the
photo, and with it by how much the lens bends straight lines. The saved scale
then has the lens taken out of what is measured with it.
` + exitHelp,
		Example: `  pinlash scale micrometer.jpg --division 10um --save x40.scale
  pinlash scale pin.jpg --gauge 5mm --save x40.scale
  pinlash scale dots1.jpg dots2.jpg --grid 0.5mm --save x40.scale
  pinlash joint a.jpg b.jpg --scale-file x40.scale`,
		Args: photos,
		RunE: func(cmd *cobra.Command, args []string) error {
			opts.photos = args
			return runScale(cmd.Context(), opts, cmd.Flags().Changed, streams)
		},
	}
	opts.addSettings(cmd.Flags())
	lengthFlag(cmd.Flags(), &opts.grid, "grid", "`length` between neighbouring dots, or corners of squares, of the flat target that all photos show")
	opts.output.addFlags(cmd.Flags())
	cmd.Flags().StringVar(&opts.save, "save", "", "keep the scale in this `file`, for --scale-file")
	return cmd
}

func (o *scaleCommand) addSettings(f *pflag.FlagSet) { o.scale.addFlags(f) }

func (o scaleCommand) validate(given changed) error {
	switch {
	case given("save") && len(o.photos) > 1 && !given("grid"):
		return usageErrorf("--save keeps the scale of one photo, got %d", len(o.photos))
	case given("save") && o.save == "":
		return usageErrorf("--save wants a file")
	case given("save") && isOneOf(o.save, o.photos):
		return usageErrorf("--save would overwrite the photo %s", o.save)
	case given("grid") && o.grid <= 0:
		return usageErrorf("--grid of %v must be above zero", o.grid)
	}
	return o.output.validate(given)
}

func runScale(ctx context.Context, opts scaleCommand, given changed, streams Streams) error {
	if err := opts.validate(given); err != nil {
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
	photos := opts.photos
	if given("grid") {
		photos = photos[:1] // one scale from all
	}
	return eachPhoto(ctx, photos, out, way)
}

// way checks the options and returns what takes one photo, or all of a grid,
// their whole way.
func (o scaleCommand) way(given changed) (photoWay, error) {
	source, err := o.scale.source(given)
	if err != nil {
		return nil, err
	}
	if given("grid") {
		return func(ctx context.Context, _ string) (outcome, error) {
			return o.measureGrid(ctx, source)
		}, nil
	}
	return func(ctx context.Context, path string) (outcome, error) {
		return measureScale(ctx, path, source, o.save)
	}, nil
}

func measureScale(ctx context.Context, path string, source *scaleSource, save string) (outcome, error) {
	result := outcome{record: record.Record{Kind: record.Ruler}}
	if err := result.open(ctx, path); err != nil {
		return result, err
	}
	found, err := source.read(result.photo)
	result.rules, result.gauge = found.rules, found.gauge
	if err != nil {
		return result, err
	}
	return result, result.keepScale(found.Reading, scaleFigures(found.Scale), save)
}

// measureGrid reads one scale and the lens from all photos.
func (o scaleCommand) measureGrid(ctx context.Context, source *scaleSource) (outcome, error) {
	result, found, err := source.readGrids(ctx, o.photos, o.grid)
	if err != nil {
		return result, err
	}
	if err := source.atReference(&found.Reading); err != nil {
		return result, err
	}
	figures := append(scaleFigures(found.Scale), record.Figure{Name: "distortion_at_corner", Quantity: found.Corner})
	return result, result.keepScale(found.Reading, figures, o.save)
}

// keepScale writes the record of a scale, and its file.
func (o *outcome) keepScale(found calib.Reading, figures record.Figures, save string) error {
	o.scale = found.Scale
	if save != "" {
		var b bytes.Buffer
		if err := calib.Encode(&b, found.Scale); err != nil {
			return err
		}
		if err := record.WriteFile(save, b.Bytes()); err != nil {
			return err
		}
	}
	r := &o.record
	r.Scale = record.NewScale(found.Scale)
	r.Results = figures
	r.Checks = append(r.Checks, found.Checks...)
	r.Notes = found.Notes
	pixel := found.Scale.MMPerPx.Value
	r.Meaning = record.Say("A pixel is %s long; the photo shows %s by %s.", record.Rounded{MM: pixel, Digits: 4},
		record.Rounded{MM: float64(found.Scale.W) * pixel, Digits: 3}, record.Rounded{MM: float64(found.Scale.H) * pixel, Digits: 3})
	if save != "" {
		r.Meaning = r.Meaning.Then(" Kept in %s.", record.SafeName(filepath.Clean(save)))
	}
	return nil
}

// scaleFigures returns the length of a pixel, and by how much lengths along
// and across the scale change from one end of the photo's longer side to the
// other: the mark of a camera that looks at a slant.
func scaleFigures(s calib.Scale) record.Figures {
	along := r2.Rotate(r2.Vec{X: 1}, s.AngleRad, r2.Vec{})
	across := r2.Vec{X: -along.Y, Y: along.X}
	percent := 100 * float64(max(s.W, s.H))
	change := func(axis r2.Vec, u float64) uncert.Quantity {
		return uncert.Combine(percent*r2.Dot(s.Gradient, axis), "%", uncert.Budget{{Name: "slant of the camera read from the scale", U: percent * u}})
	}
	return record.Figures{
		{Name: "mm_per_px", Quantity: s.MMPerPx},
		{Name: "change_along_scale", Quantity: change(along, s.GradientU.X)},
		{Name: "change_across_scale", Quantity: change(across, s.GradientU.Y)},
	}
}
