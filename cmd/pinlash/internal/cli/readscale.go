//go:build !front

package cli

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
	"pinlash/vision"
)

// scaleSource reads the scale of each photo in the way the command line says.
type scaleSource struct {
	scaleOptions
	pointed bool // --points were given
}

// source checks the options and reads the saved scale, before any photo is
// opened.
func (o scaleOptions) source(given changed) (*scaleSource, error) {
	if err := o.validate(given); err != nil {
		return nil, err
	}
	s := &scaleSource{scaleOptions: o, pointed: given("points")}
	if o.workingDistance > 0 {
		if _, err := o.plane().Factor(); err != nil {
			return nil, &UsageError{err}
		}
	}
	if o.temperature.given {
		if _, err := o.thermal(); err != nil {
			return nil, &UsageError{err}
		}
	}
	if !given("scale-file") || o.saved != nil {
		return s, nil
	}
	data, err := os.ReadFile(o.file)
	if err != nil {
		return nil, err
	}
	scale, err := calib.Decode(bytes.NewReader(data))
	if fault := (*calib.FileError)(nil); errors.As(err, &fault) {
		fault.Path = o.file
	}
	s.saved = &scale
	return s, err
}

func (o scaleOptions) plane() calib.Plane {
	return calib.Plane{Offset: o.planeOffset, WorkingDistance: o.workingDistance}
}

// thermal turns lengths at the photo's temperature into such at 20 degC.
func (o scaleOptions) thermal() (uncert.Quantity, error) {
	return calib.ThermalFactor(o.temperature.value, calib.Steel, calib.Steel)
}

// foundScale is the scale of a photo with what was seen on the way to it. A refused
// one may still have rules or a gauge to draw.
type foundScale struct {
	calib.Reading
	rules []geom.Rule
	gauge *geom.Circle
}

// read returns the scale in the plane in which it lies, for lengths at 20 degC.
func (s *scaleSource) read(photo vision.Photo) (foundScale, error) {
	found, err := s.asSeen(photo)
	if err != nil {
		return found, err
	}
	if s.samePlane {
		found.Notes = append(found.Notes, "it was stated that what is measured lies in the plane of the scale (--same-plane)")
	}
	return found, s.atReference(&found.Reading)
}

// atReference turns the scale into one for lengths at 20 degC.
func (o scaleOptions) atReference(found *calib.Reading) error {
	if !o.temperature.given {
		return nil
	}
	factor, err := o.thermal()
	if err != nil {
		return err
	}
	found.Scale.MMPerPx = uncert.Product(found.Scale.MMPerPx, factor, found.Scale.MMPerPx.Unit)
	found.Notes = append(found.Notes, fmt.Sprintf("lengths hold at 20 degC; photo, scale and chain were at %g degC, both taken to be of steel", o.temperature.value))
	return nil
}

// stated returns what the command line says of the scale in a photo.
func (o scaleOptions) stated(photo vision.Photo) calib.Options {
	return calib.Options{
		W: photo.W, H: photo.H, WorkingDistance: o.workingDistance,
		// The limits of an error that may lie anywhere between them.
		Tolerance: o.tolerance / calib.Length(math.Sqrt(3)),
	}
}

// asSeen returns the scale as the photo or the kept file has it.
func (s *scaleSource) asSeen(photo vision.Photo) (foundScale, error) {
	opts := s.stated(photo)
	switch {
	case s.pointed:
		reading, err := calib.FromPoints(s.points[0], s.points[1], s.distance, 0, opts)
		if refusal := (*check.Refusal)(nil); err != nil && !errors.As(err, &refusal) {
			err = &UsageError{err}
		}
		return foundScale{Reading: reading}, err
	case s.saved != nil && s.division == 0 && s.gauge == 0:
		return foundScale{Reading: calib.Reading{Scale: *s.saved}}, s.saved.Fits(photo.W, photo.H)
	}
	way := s.rule
	if s.gauge > 0 {
		way = s.round
	}
	found, err := way(photo, opts)
	if err != nil || s.saved == nil {
		return found, err
	}
	if err := s.saved.Fits(photo.W, photo.H); err != nil {
		return found, err
	}
	return found, found.agree(*s.saved)
}

// rule reads the rule in the photo, and a second one if there is one: both
// must tell the same.
func (s *scaleSource) rule(photo vision.Photo, opts calib.Options) (foundScale, error) {
	search, err := vision.FindRule(photo.Light)
	if err != nil {
		return foundScale{Reading: calib.Reading{Checks: search.Checks}}, vision.OrBlurred(photo.Light, err)
	}
	found := foundScale{rules: []geom.Rule{search.Rule}}
	if s.division == 0 {
		refusal := check.Refuse(check.ScaleUnclear, fmt.Sprintf("a rule with %d marks was found, but not what the distance of its marks is", len(search.Ticks)))
		refusal.Remedy = "state the distance of neighbouring small marks, like --division 0.1mm"
		return found, refusal
	}
	found.Reading, err = calib.FromRule(search.Rule, s.division, opts)
	found.Checks = append(search.Checks, found.Checks...)
	if err != nil || search.Second == nil {
		return found, err
	}
	found.rules = append(found.rules, search.Second.Rule)
	second, err := calib.FromRule(search.Second.Rule, s.division, opts)
	if refusal := (*check.Refusal)(nil); errors.As(err, &refusal) {
		found.Notes = append(found.Notes, "a second rule was seen but could not be read ("+refusal.Message+")")
		return found, nil
	}
	return found, found.agree(second.Scale)
}

// round reads the scale from the round gauge in the photo.
func (s *scaleSource) round(photo vision.Photo, opts calib.Options) (foundScale, error) {
	gauge, checks, err := vision.FindGauge(photo.Light, photo.Curve)
	if err != nil {
		return foundScale{Reading: calib.Reading{Checks: checks}}, vision.OrBlurred(photo.Light, err)
	}
	found := foundScale{gauge: &gauge.Circle}
	found.Reading, err = calib.FromGauge(gauge.Circle, s.gauge, gauge.Bright, opts)
	found.Checks = append(checks, found.Checks...)
	return found, err
}

// agree holds the scale against another one of the same photo.
func (f *foundScale) agree(other calib.Scale) error {
	c, err := calib.Agree(f.Scale, other)
	f.Checks = append(f.Checks, c)
	return err
}
