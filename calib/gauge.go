package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// edgeU is the standard uncertainty, pixels, of a single rim that the camera's
// sharpening or a lamp's bloom may have moved: a rim alone does not tell, and on
// generated photos sharpening moves it by 0.02 to 0.1. The same happens to a
// bright pin's rim, so that for its diameter this is more than enough.
const edgeU = 0.03

// endBreak is the standard uncertainty, mm, of how far within its full radius the
// rim of a gauge's bright end lies: the edge of a ground end is not quite sharp,
// and a break of a few pixels does not show (judgement: breaks of up to 0.02 mm).
const endBreak = 0.01

// FromGauge reads the scale from the rim of a round gauge of known diameter. A
// bright gauge shows the rim of its end, one that is not its silhouette.
// One circle says nothing about a tilt or the lens, so both are taken as
// Options assumes them. The default tolerance is that of a class Z pin gauge
// (0.73 µm standard uncertainty).
//
// The error is a *check.Refusal when the rim is no circle or too vague.
func FromGauge(circle geom.Circle, diameter Length, bright bool, o Options) (Reading, error) {
	if err := o.validate(diameter, "gauge"); err != nil {
		return Reading{}, err
	}
	variance := circle.Cov[2][2]
	if !(circle.R >= 1 && circle.R <= 1e6 && variance >= 0 && variance <= circle.R*circle.R && circle.Inliers > 3 &&
		math.Abs(circle.Center.X) <= 1e6 && math.Abs(circle.Center.Y) <= 1e6) {
		return Reading{}, check.Refuse(check.ScaleUnclear, "the gauge's rim was not read as a circle")
	}
	var reading Reading
	if err := reading.hold(check.AtMost("gauge_residual_px", circle.RMS, min(1.5, 0.01*circle.R))); err != nil {
		return reading, err
	}
	parts := []uncert.Term{
		{Name: "gauge rim read", U: math.Sqrt(variance) / circle.R, DF: float64(circle.Inliers - 3)},
		{Name: "edge of the gauge as the camera shows it", U: edgeU / circle.R},
		{Name: "gauge tolerance", U: o.toleranceOr(gaugeTolerance) / float64(diameter)},
	}
	if bright {
		parts = append(parts, uncert.Term{Name: "edge of the gauge's end broken", U: 2 * endBreak / float64(diameter)})
		reading.Notes = append(reading.Notes, "the gauge shows the rim of its bright end: a chamfer as dark as the ground would make all lengths too long; before a light its silhouette leaves no such doubt")
	}
	scale := o.unseenTilt(float64(diameter)/(2*circle.R), parts...)
	scale.Origin, scale.Source = circle.Center, "gauge"
	scale.Round, scale.Extent = true, 2*circle.R
	err := reading.take(scale)
	return reading, err
}

// unseenTilt returns a scale whose mark says nothing of tilt and lens; parts
// are relative uncertainties.
func (o Options) unseenTilt(mmPerPx float64, parts ...uncert.Term) Scale {
	slant := o.assumedSlant(mmPerPx)
	return Scale{
		MMPerPx:        relative(mmPerPx, parts...),
		GradientU:      r2.Vec{X: 2 * slant, Y: slant},
		DistortionU:    o.assumedDistortion(),
		Foreshortening: o.foreshortening(mmPerPx, slant, slant),
		W:              o.W,
		H:              o.H,
	}
}
