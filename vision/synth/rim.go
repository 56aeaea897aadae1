package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// BoreRim returns the distance of the bore's rim from BoreCenter in direction
// theta.
//
// The pin wears a pocket of its own radius into the bore: the worn bore is
// the union of the unworn disc with the pin's disc moved out by
// e = BoreR - PinR + Depth along the wear, so that its rim is
//
//	max(BoreR, e cos(t) + sqrt(PinR^2 - e^2 sin(t)^2))
//
// at the angle t from the deepest place.
func (j Joint) BoreRim(theta float64) float64 {
	if j.BoreWear.Depth <= 0 {
		return j.BoreR
	}
	e := j.BoreR - j.PinR + j.BoreWear.Depth
	out, ok := rayOut(e, j.PinR, theta-j.BoreWear.DirectionRad)
	if !ok {
		return j.BoreR
	}
	return math.Max(j.BoreR, out)
}

// PinRim returns the distance of the pin's rim from PinCenter in direction
// theta.
//
// The bore wears the pin to its own, flatter radius: the worn pin is the part
// of the unworn disc that lies in the bore's disc, moved back by
// e = BoreR - PinR + Depth, so that its rim is
//
//	min(PinR, -e cos(t) + sqrt(BoreR^2 - e^2 sin(t)^2))
//
// at the angle t from the deepest place.
func (j Joint) PinRim(theta float64) float64 {
	if j.PinWear.Depth <= 0 {
		return j.PinR
	}
	e := j.BoreR - j.PinR + j.PinWear.Depth
	out, ok := rayOut(-e, j.BoreR, theta-j.PinWear.DirectionRad)
	if !ok {
		return j.PinR
	}
	return math.Min(j.PinR, out)
}

// rayOut returns how far from the origin a ray at angle t leaves a disc of
// radius r whose centre lies at e on the axis t = 0.
func rayOut(e, r, t float64) (float64, bool) {
	sin, cos := math.Sincos(t)
	d := r*r - e*e*sin*sin
	if d < 0 {
		return 0, false
	}
	return e*cos + math.Sqrt(d), true
}

// gaps returns the narrowest and the widest gap along rays from the pin's
// centre, over 3600 of them.
func (j Joint) gaps() (least, most float64) {
	const rays = 3600
	least = math.Inf(1)
	off := r2.Sub(j.PinCenter, j.BoreCenter)
	for i := range rays {
		t := 2 * math.Pi * float64(i) / rays
		p := r2.Scale(j.BoreRim(t), direction(t))
		p = r2.Sub(p, off)
		gap := r2.Norm(p) - j.PinRim(math.Atan2(p.Y, p.X))
		least, most = math.Min(least, gap), math.Max(most, gap)
	}
	return least, most
}

// direction returns the unit vector at the angle t.
func direction(t float64) r2.Vec {
	sin, cos := math.Sincos(t)
	return r2.Vec{X: cos, Y: sin}
}

// rim returns the closed contour of points at distance radius(theta) from c,
// at most step apart on a circle of radius size, and near enough to each
// other that the straight line between two of them stays within sagitta of
// the circle.
func rim(c r2.Vec, size, step float64, radius func(theta float64) float64) []r2.Vec {
	const sagitta = 0.0005 // pixels
	step = math.Min(step, math.Sqrt(8*size*sagitta))
	n := max(16, int(math.Ceil(2*math.Pi*size/step)))
	pts := make([]r2.Vec, n)
	for i := range pts {
		t := 2 * math.Pi * float64(i) / float64(n)
		pts[i] = r2.Add(c, r2.Scale(radius(t), direction(t)))
	}
	return pts
}

// disc returns the contour of a circle.
func disc(c r2.Vec, r, step float64) []r2.Vec {
	return rim(c, r, step, func(float64) float64 { return r })
}

// contour returns the outline of the plate about the point c; it runs on for
// the length far.
func (p Plate) contour(c r2.Vec, far, step float64) []r2.Vec {
	half := math.Min(p.HalfHeight, p.R)
	open := math.Asin(half / p.R)
	n := max(8, int(2*open*p.R/step))
	var pts []r2.Vec
	put := func(u, v float64) {
		to := direction(p.ToRad)
		pts = append(pts, r2.Add(c, r2.Vec{X: u*to.X - v*to.Y, Y: u*to.Y + v*to.X}))
	}
	for i := 0; i <= n; i++ {
		sin, cos := math.Sincos(-open + 2*open*float64(i)/float64(n))
		put(-p.R*cos, p.R*sin)
	}
	put(far, half)
	put(far, -half)
	return pts
}
