//go:build !front

package cli

import (
	"errors"
	"fmt"
	"image"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"

	"pinlash/cmd/pinlash/internal/overlay"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision"
)

// output shows results.
type output struct {
	outputOptions
	streams  Streams
	overlays []string // path for each photo, empty without --overlay
	motions  []string // path of its animated picture, likewise
}

// newOutput makes the folder for overlays, if there is to be one.
func newOutput(opts outputOptions, streams Streams, photos []string) (*output, error) {
	out := &output{outputOptions: opts, streams: streams}
	if opts.overlay == "" {
		return out, nil
	}
	if err := os.MkdirAll(opts.overlay, 0o755); err != nil {
		return nil, err
	}
	out.overlays = picturePaths(opts.overlay, photos, "overlay", ".png")
	out.motions = picturePaths(opts.overlay, photos, "motion", ".gif")
	return out, nil
}

// show prints what became of photo number i, writes its overlay, and returns
// the photo's exit status.
func (o *output) show(i int, result outcome, err error) int {
	status := statusOf(err)
	var refusal *check.Refusal
	switch {
	case errors.As(err, &refusal):
		result.record.Refused = refusal
	case err != nil:
		o.streams.message("%s", fault(result.record.Photo.Path, err))
		return status
	}
	if err := o.print(result.record); err != nil {
		o.streams.message("%v", err)
		return statusFile
	}
	if o.overlays == nil || !result.found() && refusal != nil {
		return status
	}
	result.units = o.units
	pictures := []func() error{func() error { return writeOverlay(o.overlays[i], result) }}
	if result.second != nil && refusal == nil {
		pictures = append(pictures, func() error { return writeMotion(o.motions[i], result) })
	}
	for _, write := range pictures {
		if err := guarded(write); err != nil {
			o.streams.message("overlay: %s", fault(result.record.Photo.Path, err))
			status = worse(status, statusOf(err))
		}
	}
	return status
}

// print writes a record: a refusal is a result for programs and a message for
// people.
func (o *output) print(r record.Record) error {
	switch {
	case o.json:
		return record.WriteLine(o.streams.Out, r)
	case r.Refused != nil:
		o.streams.message("%s: refused (%s): %s", record.SafeName(r.Photo.Path), r.Refused.Code, r.Refused.Message)
		o.streams.message("  %s", r.Refused.Remedy)
		return nil
	}
	return record.WriteTable(o.streams.Out, r, record.Style{Quiet: o.quiet, Explain: o.explain, Units: o.units})
}

// picturePaths returns for each photo where its picture of a kind goes. Photos
// of one name from different folders get numbers, and no picture takes the
// place of a photo.
func picturePaths(folder string, photos []string, kind, ext string) []string {
	taken := map[string]bool{}
	paths := make([]string, len(photos))
	for i, photo := range photos {
		base := filepath.Base(photo)
		stem := strings.TrimSuffix(base, filepath.Ext(base)) + "-" + kind
		for n := 1; ; n++ {
			name := stem + ext
			if n > 1 {
				name = fmt.Sprintf("%s-%d%s", stem, n, ext)
			}
			path := filepath.Join(folder, name)
			if !taken[path] && !isOneOf(path, photos) {
				taken[path], paths[i] = true, path
				break
			}
		}
	}
	return paths
}

// isOneOf says whether path is the same file as one of the others, by
// whatever name.
func isOneOf(path string, others []string) bool {
	at, err := os.Stat(path)
	if err != nil {
		return false
	}
	for _, other := range others {
		if there, err := os.Stat(other); err == nil && os.SameFile(at, there) {
			return true
		}
	}
	return false
}

// seen returns a photo, or a frame of a clip, to draw on. A photo is read once
// more for its colours; where only the measuring could read it, it is shown in
// grey.
func seen(photo vision.Photo, frame image.Image) (image.Image, error) {
	if frame == nil {
		var err error
		if frame, err = overlay.Load(photo.Path, photo.Orientation); err != nil {
			frame = encoded(photo.Light)
		}
	}
	if size := frame.Bounds().Size(); size.X != photo.W || size.Y != photo.H {
		return nil, &fs.PathError{Op: "draw on", Path: photo.Path, Err: errors.New("the photo has changed since it was measured")}
	}
	return frame, nil
}

// writeOverlay draws on the photo, into a PNG file or a JPEG one by its name.
func writeOverlay(path string, result outcome) error {
	photo, err := seen(result.photo, result.frame)
	if err != nil {
		return err
	}
	img, err := overlay.Draw(photo, overlay.Drawing{
		Rules:   result.rules,
		Gauge:   result.gauge,
		Grid:    result.grid,
		Joint:   result.joint,
		Span:    spanDrawing(result),
		Motion:  result.motion,
		MMPerPx: mmPerPx(result.record),
		Inch:    result.units.Inch,
		Caption: caption(result.record, result.units),
	})
	if err != nil {
		return err
	}
	encode := overlay.PNG
	if filepath.Ext(path) == ".jpg" {
		encode = overlay.JPEG
	}
	data, err := encode(img)
	if err != nil {
		return err
	}
	return record.WriteFile(path, data)
}

// writeMotion writes the animated picture of a play.
func writeMotion(path string, result outcome) error {
	first, err := seen(result.photo, result.frame)
	if err != nil {
		return err
	}
	second, err := seen(result.second.photo, result.second.frame)
	if err != nil {
		return err
	}
	moving, err := overlay.Animate(overlay.Animation{
		Photos: [2]image.Image{first, second},
		State:  result.second.state,
		Camera: result.second.camera,
		Motion: *result.motion,
		Play:   result.second.play.In(result.units),
	})
	if err != nil {
		return err
	}
	data, err := overlay.GIF(moving)
	if err != nil {
		return err
	}
	return record.WriteFile(path, data)
}

// spanDrawing writes beside every pitch its number, the first letter of its
// kind, and its growth, or its length where the new pitch is not known.
func spanDrawing(result outcome) *overlay.Span {
	if result.heads == nil {
		return nil
	}
	s := &overlay.Span{Heads: *result.heads}
	for _, p := range result.record.Pitches {
		label := fmt.Sprintf("%d %s ", p.Index, linkMark(p.Link))
		var growth *float64
		if result.pitch > 0 {
			percent := 100 * (p.Length.Value/result.pitch - 1)
			percent = math.Round(100*percent)/100 + 0 // no minus zero
			growth = &percent
			label += fmt.Sprintf("%+.2f %%", percent)
		} else {
			label += result.units.Short(p.Length)
		}
		s.Pitches = append(s.Pitches, overlay.Pitch{Label: label, Growth: growth})
	}
	return s
}

func linkMark(k geom.LinkKind) string {
	if k == geom.UnknownLink {
		return "?"
	}
	return string(k[:1])
}

func mmPerPx(r record.Record) float64 {
	if r.Scale == nil || r.Refused != nil {
		return 0
	}
	return float64(r.Scale.MMPerPx)
}

// caption says below the overlay what the table says.
func caption(r record.Record, u record.Units) overlay.Caption {
	c := overlay.Caption{Title: record.SafeName(filepath.Base(r.Photo.Path))}
	if r.Refused != nil {
		c.Text = []string{
			fmt.Sprintf("Refused (%s): %s.", r.Refused.Code, r.Refused.Message),
			"What to do: " + r.Refused.Remedy + ".",
		}
		return c
	}
	c.Lines = r.Figures().Lines(u)
	if meaning := r.Meaning.In(u); meaning != "" {
		c.Text = append(c.Text, meaning)
	}
	if r.Decision != "" {
		c.Text = append(c.Text, "Decision: "+r.Decision+".")
	}
	if r.Scale != nil {
		c.Text = append(c.Text, "Scale: "+r.Scale.In(u)+". Intervals are 95 %.")
	}
	return c
}
