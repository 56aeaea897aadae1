//go:build !front

package cli

import (
	"context"
	"fmt"
	"image"
	"io"
	"math"
	"os"

	"golang.org/x/term"

	"pinlash/cmd/pinlash/internal/overlay"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/geom"
	"pinlash/vision"
	"pinlash/vision/raster"
)

// clip measures a film of the joint being rocked. Progress may be nil.
func (p *playing) clip(ctx context.Context, path string, progress func(done, of int)) error {
	p.record.Kind, p.record.Version = record.Play, Version
	p.record.Photo.Path = path
	clip, err := vision.OpenClip(ctx, path, vision.ClipLimits{})
	if err != nil {
		return err
	}
	if p.record.Photo.SHA256, err = record.HashFile(path); err != nil {
		return err
	}
	p.photo = vision.Photo{Path: path, W: clip.W, H: clip.H, Light: clip.First, Curve: raster.SRGB}
	p.frame = encoded(clip.First)
	if err := p.read(func() (foundScale, error) { return p.source.read(p.photo) }); err != nil {
		return err
	}
	series, checks, err := clip.Follow(ctx, p.hint, progress)
	p.record.Checks = append(p.record.Checks, checks...)
	if err != nil {
		return vision.OrBlurred(clip.First, err)
	}
	if err := p.series(series); err != nil {
		return err
	}
	p.record.Clip = record.NewClip(p.play)
	for _, t := range p.play.Track {
		p.motion.Track = append(p.motion.Track, overlay.TrackPoint{
			Frame: t.Frame, AlongMM: t.AlongMM, Used: t.State != geom.Unknown, Left: t.Left != "",
		})
	}
	p.keepFar(clip, series.Motion)
	return nil
}

// atEnd is how near to its end, as a share of the play, the link has to be in a
// frame that is shown for it.
const atEnd = 0.1

// keepFar keeps what the animated picture needs of the clip's other frame, if
// the link was at one end in it and at the other in the first.
func (p *playing) keepFar(clip vision.Clip, m geom.Motion) {
	if !p.play.Distinct {
		return
	}
	var state [2]string
	for _, t := range p.play.Track {
		share := t.AlongMM / p.play.Play.Value
		for i, index := range []int{0, clip.FarIndex} {
			switch {
			case t.Frame != index || t.Left != "":
			case math.Abs(share) < atEnd:
				state[i] = record.Together
			case math.Abs(share-1) < atEnd:
				state[i] = record.Apart
			}
		}
	}
	if state[0] == "" || state[1] == "" || state[0] == state[1] {
		return
	}
	p.second = &secondPhoto{photo: p.photo, frame: encoded(clip.Far), camera: m.Fixed.Motion, state: state, play: inWords(p.play)}
}

// encoded returns a frame as people see it.
func encoded(g raster.Gray) image.Image {
	out := image.NewGray(image.Rect(0, 0, g.W, g.H))
	for i, v := range g.Pix {
		out.Pix[i] = uint8(255*min(max(raster.SRGB.Encode(float64(v)), 0), 1) + 0.5)
	}
	return out
}

// frameCount counts frames on a terminal that can clear a line, in a line of its own that wipe clears
// away; progress is nil where nobody watches.
func frameCount(w io.Writer, quiet bool) (progress func(done, of int), wipe func()) {
	f, ok := w.(*os.File)
	if !ok || quiet || !term.IsTerminal(int(f.Fd())) || os.Getenv("TERM") == "dumb" {
		return nil, func() {}
	}
	progress = func(done, of int) {
		if done%10 == 0 {
			fmt.Fprintf(f, "\rpinlash: frame %d of %d", done, of)
		}
	}
	return progress, func() { fmt.Fprint(f, "\r\x1b[K") }
}
