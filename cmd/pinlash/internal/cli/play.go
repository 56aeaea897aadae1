//go:build !front

package cli

import (
	"context"
	"image"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/overlay"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision"
	"pinlash/vision/raster"
)

type playCommand struct {
	scale           scaleOptions
	chain           chainOptions
	output          outputOptions
	moving, fixed   rectangle
	together, apart []string
	clip            string
	// watch begins to show how many frames of a clip are done; nil where nobody
	// watches.
	watch func() (progress func(done, of int), wipe func())
}

func newPlay(streams Streams) *cobra.Command {
	var opts playCommand
	cmd := &cobra.Command{
		Use:   "play TOGETHER APART",
		Short: photoShorts["play"],
		Long: `play takes two photos of one joint seen from the side, the links pushed together
in the first and pulled apart in the second, and measures how far the moving
link went as seen from the other. Nothing has to be marked: links, background
and scale are told apart by their motion, what the camera moved is taken out, and
so is a swing of the link about the joint. It says whether the play differs from
zero, and if not, how large it may be at most.

Of each state there may be several photos, named with --together and --apart,
each once a photo; their means are taken. With --clip the photos are the frames of
a film (AVI or MP4) of the joint being rocked: let it rest at both ends, at least
twice. If the links are not found, say where they lie in the first photo:
--moving and, if need be, --fixed, in pixels, x,y,w,h.

The scale may be in the first photo, the second or both, then they have to
agree, or be one of the other ways of pinlash joint; --points are those of the
first photo. The moving link mostly lies lower or higher than the scale: give
--plane-offset, below zero where it lies lower, and --working-distance, or
--same-plane. Without either the interval allows for 2 mm.

With --overlay there is also an animated picture, the first photo and the second
in turn, laid over each other by the fixed link.

With --chain or --new-play the growth is printed. The photos do not show whether
the joint is worn all round or on its loaded side only, so both ends are.
` + exitHelp + "\n" + caution,
		Example: `  pinlash play together.jpg apart.jpg --division 0.5mm --plane-offset -1.3 --working-distance 160
  pinlash play --together a1.jpg --together a2.jpg --apart b1.jpg --apart b2.jpg --division 0.5mm --same-plane
  pinlash play --clip rocking.avi --scale-file x40.scale --chain 06B --overlay seen`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opts.arrange(args, cmd.Flags().Changed); err != nil {
				return err
			}
			return runPlay(cmd.Context(), opts, cmd.Flags().Changed, streams)
		},
	}
	f := cmd.Flags()
	f.StringArrayVar(&opts.together, "together", nil, "a `photo` of the links pushed together; may be given again")
	f.StringArrayVar(&opts.apart, "apart", nil, "a `photo` of the links pulled apart; may be given again")
	f.StringVar(&opts.clip, "clip", "", "`file` with a film of the joint being rocked, instead of photos")
	opts.addSettings(f)
	opts.output.addFlags(f)
	f.Lookup("overlay").Usage = "write to this `folder` the first photo with what was found drawn on it (PNG), and both states in turn (GIF)"
	return cmd
}

func (o *playCommand) addSettings(f *pflag.FlagSet) {
	f.Var(&o.moving, "moving", "where the moving link lies in the first photo, pixels")
	f.Var(&o.fixed, "fixed", "where the other link lies in the first photo, pixels")
	o.scale.addFlags(f)
	o.scale.addFileFlag(f)
	o.scale.addParallaxFlags(f)
	f.Lookup("plane-offset").Usage = "height of the moving link over the plane of the scale, positive towards the lens"
	o.chain.addFlags(f)
}

// arrange sorts the photos into the two states, in whichever of the three ways
// they were named.
func (o *playCommand) arrange(args []string, given changed) error {
	named := given("together") || given("apart")
	switch {
	case given("clip") && (len(args) > 0 || named):
		return usageErrorf("--clip stands instead of photos")
	case given("clip") && o.clip == "":
		return usageErrorf("--clip wants a file")
	case given("clip"):
		return nil
	case named && len(args) > 0:
		return usageErrorf("name photos either in the order TOGETHER APART or all with --together and --apart")
	case named && (len(o.together) == 0 || len(o.apart) == 0):
		return given.together("together", "apart")
	case !named && len(args) != 2:
		return usageErrorf("pinlash play wants two photos, TOGETHER and APART, got %d; for more name them with --together and --apart", len(args))
	case !named:
		o.together, o.apart = args[:1], args[1:]
	}
	photos := o.photos()
	for i, path := range photos {
		if isOneOf(path, photos[:i]) {
			return usageErrorf("%s is named twice", record.SafeName(path))
		}
	}
	return nil
}

// photos returns all that is measured, the photos of the links together first.
func (o playCommand) photos() []string {
	if o.clip != "" {
		return []string{o.clip}
	}
	return append(append([]string{}, o.together...), o.apart...)
}

func runPlay(ctx context.Context, opts playCommand, given changed, streams Streams) error {
	if err := opts.output.validate(given); err != nil {
		return err
	}
	opts.watch = func() (func(done, of int), func()) { return frameCount(streams.Err, opts.output.quiet) }
	way, err := opts.way(given)
	if err != nil {
		return err
	}
	paths := opts.photos()
	out, err := newOutput(opts.output, streams, paths)
	if err != nil {
		return err
	}
	return eachPhoto(ctx, paths[:1], out, way)
}

// way checks the options and returns what takes the photos or the clip their
// whole way.
func (o playCommand) way(given changed) (photoWay, error) {
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
	hint := vision.MotionHint{Moving: image.Rectangle(o.moving), Fixed: image.Rectangle(o.fixed)}
	return func(ctx context.Context, _ string) (outcome, error) {
		p := playing{source: source, hint: hint}
		if o.clip != "" {
			var progress func(done, of int)
			if o.watch != nil {
				var wipe func()
				progress, wipe = o.watch()
				defer wipe()
			}
			return p.finish(ref, p.clip(ctx, o.clip, progress))
		}
		return p.finish(ref, p.photos(ctx, o.together, o.apart))
	}, nil
}

// secondPhoto is a joint in the second photo of a play, or in another frame of
// its clip.
type secondPhoto struct {
	photo  vision.Photo
	frame  image.Image     // of a clip; nil for a photo
	camera geom.Similarity // the fixed link's way there from the first photo
	state  [2]string       // of the joint in the first photo and in this one
	play   record.Sentence // the figure
}

// playing is a play on its way from photos to figures.
type playing struct {
	source *scaleSource
	hint   vision.MotionHint
	outcome
	found foundScale
	rule  geom.Rule // in the first photo, without marks if there is none
	play  measure.PlayResult
}

// photos measures photos of both states.
func (p *playing) photos(ctx context.Context, together, apart []string) error {
	p.record.Kind = record.Play
	var light [2][]raster.Gray
	var first [2]vision.Photo
	for s, paths := range [][]string{together, apart} {
		for i, path := range paths {
			one := outcome{record: record.Record{Kind: record.Play}}
			err := one.open(ctx, path)
			if err != nil {
				p.outcome = one // the refusal is that of this photo
				return err
			}
			if i == 0 {
				first[s] = one.photo
			}
			light[s] = append(light[s], one.photo.Light)
			p.record.Photos = append(p.record.Photos, record.StatePhoto{
				Path: path, SHA256: one.photo.SHA256, State: []string{record.Together, record.Apart}[s],
			})
			p.record.Checks = append(p.record.Checks, one.record.Checks...)
		}
	}
	p.photo = first[0]
	p.record.Version = Version
	p.record.Photo = record.Photo{Path: p.photo.Path, SHA256: p.photo.SHA256}
	if err := p.read(func() (foundScale, error) { return p.source.readEither(first[0], first[1]) }); err != nil {
		return err
	}
	if len(light[0])+len(light[1]) == 2 {
		motion, checks, err := vision.FindMotion(light[0][0], light[1][0], p.hint)
		if err != nil {
			return vision.OrBlurred(light[0][0], err)
		}
		p.record.Checks = append(p.record.Checks, checks...)
		err = p.measured(motion, func(o measure.PlayOptions) (measure.PlayResult, error) {
			return measure.Play(motion, p.found.Scale, o)
		})
		if err == nil {
			p.keepSecond(first[1], motion)
		}
		return err
	}
	series, checks, err := vision.FindSeries(light[0], light[1], p.hint)
	if err != nil {
		return vision.OrBlurred(light[0][0], err)
	}
	p.record.Checks = append(p.record.Checks, checks...)
	for _, f := range series.Frames {
		if f.Left != "" {
			p.found.Notes = append(p.found.Notes, record.SafeName(p.record.Photos[f.Index].Path)+" was left out: "+f.Left)
		}
	}
	if err := p.series(series); err != nil {
		return err
	}
	p.keepSecond(first[1], series.Motion)
	return nil
}

// keepSecond keeps what the animated picture needs of the second photo. Photos
// named in the wrong order are named as they are.
func (p *playing) keepSecond(second vision.Photo, m geom.Motion) {
	state := [2]string{record.Together, record.Apart}
	if p.play.Swapped {
		state[0], state[1] = state[1], state[0]
	}
	p.second = &secondPhoto{photo: second, camera: m.Fixed.Motion, state: state, play: inWords(p.play)}
}

// inWords is a play in a few words.
func inWords(play measure.PlayResult) record.Sentence {
	if !play.Distinct {
		return record.Say("no play seen, less than %s", record.Upper(play.Play))
	}
	return record.Say("play %s", play.Play)
}

// read reads the scale. The rule in the first photo helps to find the links.
// Another rule than the scale's is not trusted with that, but has to lie still
// like it.
func (p *playing) read(scale func() (foundScale, error)) (err error) {
	p.found, err = scale()
	p.rules, p.gauge = p.found.rules, p.found.gauge
	switch {
	case err != nil:
	case len(p.rules) > 0:
		p.rule = p.rules[0]
		p.hint.Rule = p.rule
	default:
		if search, err := vision.FindRule(p.photo.Light); err == nil {
			p.rule = search.Rule
		}
	}
	return err
}

func (p *playing) series(s geom.Series) error {
	return p.measured(s.Motion, func(o measure.PlayOptions) (measure.PlayResult, error) {
		return measure.PlaySeries(s, p.found.Scale, o)
	})
}

// measured turns the motion into figures. The scale is handed over in its own
// plane: the moving link's is measure's business.
func (p *playing) measured(m geom.Motion, figures func(measure.PlayOptions) (measure.PlayResult, error)) (err error) {
	p.motion = &overlay.Motion{Fixed: m.Fixed.Tiles, Moving: m.Moving.Tiles, Joint: m.Joint, JointR: m.JointR}
	if len(p.rule.Ticks) > 0 {
		c, err := ruleStays(p.rule, m.Moving.Tiles)
		p.record.Checks = append(p.record.Checks, c)
		if err != nil {
			return err
		}
	}
	p.play, err = figures(measure.PlayOptions{Plane: p.source.plane(), SamePlane: p.source.samePlane})
	if err != nil {
		return err
	}
	p.motion.Way = p.play.Way
	return nil
}

// finish writes the record.
func (p *playing) finish(ref chainReference, err error) (outcome, error) {
	if err != nil {
		return p.outcome, err
	}
	r := &p.record
	r.Scale = record.NewScale(p.found.Scale)
	r.Results = record.PlayFigures(p.play)
	r.Distinct = &p.play.Distinct
	for _, more := range [][]check.Check{p.found.Checks, p.play.Checks} {
		r.Checks = append(r.Checks, more...)
	}
	for _, more := range [][]string{p.found.Notes, p.play.Notes} {
		r.Notes = append(r.Notes, more...)
	}
	return p.outcome, ref.applyPlay(r, p.play)
}
