//go:build !front

package cli

import (
	"context"
	"errors"
	"image"
	"runtime/debug"
	"sync"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/overlay"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/geom"
	"pinlash/vision"
)

// outcome is what is known of a photo at the end of its way, or where it was
// refused on it.
type outcome struct {
	record record.Record
	photo  vision.Photo
	scale  calib.Scale // of a photo measured for its scale only
	rules  []geom.Rule
	gauge  *geom.Circle
	grid   *geom.Grid
	joint  *geom.JointEdges
	heads  *geom.Heads
	motion *overlay.Motion
	second *secondPhoto // of a play; nil where one end of it is not at hand
	frame  image.Image  // of a clip, to draw on; nil for a photo
	pitch  float64      // of the new chain, mm; 0 where not known
	units  record.Units // in which its pictures show lengths
}

// found says whether there is anything to draw.
func (o outcome) found() bool {
	return len(o.rules) > 0 || o.gauge != nil || o.grid != nil || o.joint != nil || o.heads != nil || o.motion != nil
}

// open begins a photo's way: it reads the file and looks at the exposure.
func (o *outcome) open(ctx context.Context, path string) error {
	o.record.Photo.Path = path
	o.record.Version = Version
	photo, err := vision.Open(ctx, path, vision.Limits{})
	if err != nil {
		return err
	}
	o.photo = photo
	o.record.Photo.SHA256 = photo.SHA256
	checks, err := vision.Exposure(photo)
	o.record.Checks = append(o.record.Checks, checks...)
	return err
}

// photoWay takes one photo its whole way.
type photoWay func(ctx context.Context, path string) (outcome, error)

// eachPhoto measures the photos in order and shows each as soon as it is
// measured; a photo that fails does not stop the others. An interrupt does,
// with what was measured so far already shown.
func eachPhoto(ctx context.Context, paths []string, out *output, measure photoWay) error {
	status := statusOK
	for i, path := range paths {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		result := outcome{record: record.Record{Photo: record.Photo{Path: path}}}
		err := guarded(func() (err error) {
			result, err = measure(ctx, path)
			return err
		})
		if errors.Is(err, context.Canceled) {
			return err
		}
		status = worse(status, out.show(i, result, err))
	}
	if status != statusOK {
		return &errPartly{status}
	}
	return nil
}

// guarded runs f and turns a panic into an error that tells of our own fault.
func guarded(f func() error) (err error) {
	defer func() {
		if cause := recover(); cause != nil {
			err = &internalError{cause, debug.Stack()}
		}
	}()
	return f()
}

// both runs two steps that do not need each other at once, and returns the
// error of the first before that of the second.
func both(first, second func() error) error {
	var firstErr, secondErr error
	var wait sync.WaitGroup
	wait.Go(func() { firstErr = guarded(first) })
	secondErr = guarded(second)
	wait.Wait()
	if firstErr != nil {
		return firstErr
	}
	return secondErr
}
