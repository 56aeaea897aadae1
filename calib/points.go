package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// ClickU is the default standard uncertainty of a point set by hand, along
// any one line, pixels: what people reach with a mouse (judgement).
const ClickU = 0.7

// FromPoints reads the scale from two points of known distance. clickU is the
// standard uncertainty of each point along the line between them, pixels; zero
// stands for ClickU. The default tolerance is 1e-4 of the distance. Tilt and
// lens are taken as Options assumes them.
//
// The error is a *check.Refusal when the points are too close together.
func FromPoints(a, b r2.Vec, distance Length, clickU float64, o Options) (Reading, error) {
	if err := o.validate(distance, "distance"); err != nil {
		return Reading{}, err
	}
	for _, p := range []r2.Vec{a, b} {
		if !(p.X >= -0.5 && p.X <= float64(o.W)-0.5 && p.Y >= -0.5 && p.Y <= float64(o.H)-0.5) {
			return Reading{}, fmt.Errorf("point %g,%g lies outside the photo of %d x %d pixels", p.X, p.Y, o.W, o.H)
		}
	}
	if clickU == 0 {
		clickU = ClickU
	}
	if !(clickU > 0 && clickU <= o.diagonal()) {
		return Reading{}, fmt.Errorf("uncertainty of a point of %g pixels", clickU)
	}
	way := r2.Sub(b, a)
	length := r2.Norm(way)
	if length < 2 {
		return Reading{}, check.Refuse(check.ScaleUnclear, fmt.Sprintf("the two points are %.3g px apart, less than 2 px", length))
	}
	scale := o.unseenTilt(float64(distance)/length,
		uncert.Term{Name: "points read", U: math.Sqrt2 * clickU / length},
		uncert.Term{Name: "stated distance", U: o.toleranceOr(relativeTolerance*distance) / float64(distance)},
	)
	scale.Origin, scale.AngleRad, scale.Source = r2.Scale(0.5, r2.Add(a, b)), math.Atan2(way.Y, way.X), "points"
	scale.Extent = length
	var reading Reading
	err := reading.take(scale)
	return reading, err
}
