package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/geom"
)

// flatJoint takes the lens's bend out of a joint's rims, point by point, before
// anything is read from them, and returns the scale for what is left. A circle
// in a corner of the photo is an egg there: corrected as a whole, by its centre
// and the scale at it, it would still be too small (by a thousandth, 550 px from
// the middle of a photo whose corner is moved by 1 %).
func flatJoint(e geom.JointEdges, s calib.Scale) (geom.JointEdges, calib.Scale) {
	if !s.Bends() {
		return e, s
	}
	grown := [2]float64{e.BoreFit.R, e.PinFit.R}
	e.Bore, e.BoreFit, e.BoreProfile = flatRim(e.Bore, e.BoreFit, e.BoreProfile, s)
	e.Pin, e.PinFit, e.PinProfile = flatRim(e.Pin, e.PinFit, e.PinProfile, s)
	grown[0], grown[1] = e.BoreFit.R/grown[0], e.PinFit.R/grown[1]
	for i := range e.Cov {
		for k := range e.Cov {
			e.Cov[i][k] *= grown[i/3] * grown[k/3]
		}
	}
	return e, s.Flattened()
}

// flatRim returns the points of a rim without the lens, the circle through
// those that are not rejected, and the deviations from it.
func flatRim(pts []geom.EdgePoint, c geom.Circle, p geom.RimProfile, s calib.Scale) ([]geom.EdgePoint, geom.Circle, geom.RimProfile) {
	var rim flatCircle
	for i, angle := range p.Angle {
		if i < len(pts) && !pts[i].Rejected && p.U[i] > 0 {
			rim.add(c, angle, p.Dev[i], p.U[i])
		}
	}
	flat := rim.fit(c, s)
	out := geom.RimProfile{}
	for i, angle := range p.Angle {
		at := onRim(c, angle, p.Dev[i])
		d := r2.Sub(s.Flat(at), flat.Center)
		out.Add(math.Atan2(d.Y, d.X), r2.Norm(d)-flat.R, p.U[i]*flat.R/c.R)
	}
	pts = slices.Clone(pts)
	for i := range pts {
		pts[i].At = s.Flat(pts[i].At)
		pts[i].Normal = r2.Unit(r2.Sub(pts[i].At, flat.Center))
		pts[i].U *= flat.R / c.R
	}
	return pts, flat, out
}

// flatHeads does the same for the heads along a chain, which are handed over as
// circles.
func flatHeads(h geom.Heads, s calib.Scale) (geom.Heads, calib.Scale) {
	if !s.Bends() {
		return h, s
	}
	h.Heads = slices.Clone(h.Heads)
	for i := range h.Heads {
		head := &h.Heads[i]
		c := (&flatCircle{}).fit(geom.Circle{Center: head.Center, R: head.R}, s)
		grown := c.R / head.R
		head.Center, head.R, head.RMS = c.Center, c.R, head.RMS*grown
		for i := range head.Cov {
			for k := range head.Cov {
				head.Cov[i][k] *= grown * grown
			}
		}
	}
	return h, s.Flattened()
}

func onRim(c geom.Circle, angle, dev float64) r2.Vec {
	sin, cos := math.Sincos(angle)
	return r2.Add(c.Center, r2.Scale(c.R+dev, r2.Vec{X: cos, Y: sin}))
}

// flatCircle has the points that a circle was laid through, and their weights.
type flatCircle struct {
	at     []r2.Vec
	dev    []float64
	weight []float64
}

func (f *flatCircle) add(c geom.Circle, angle, dev, u float64) {
	f.at = append(f.at, onRim(c, angle, dev))
	f.dev = append(f.dev, dev)
	f.weight = append(f.weight, 1/(u*u))
}

// fit returns the circle c moved and grown by what taking out the lens does to
// its points: the weighted least squares of the change of their distance from
// it, so that the points' own scatter leaves it where it was. Where they do not
// tell, points all round stand for them.
func (f *flatCircle) fit(c geom.Circle, s calib.Scale) geom.Circle {
	out := c
	out.Center = s.Flat(c.Center)
	const passes = 3 // the first leaves the square of a pixel over the radius
	for range passes {
		var normal mat.SymDense
		normal.ReuseAsSym(3)
		right := mat.NewVecDense(3, nil)
		for i, p := range f.at {
			d := r2.Sub(s.Flat(p), out.Center)
			r := r2.Norm(d)
			row := mat.NewVecDense(3, []float64{d.X / r, d.Y / r, 1})
			normal.SymRankOne(&normal, f.weight[i], row)
			right.AddScaledVec(right, f.weight[i]*(r-out.R-f.dev[i]), row)
		}
		var chol mat.Cholesky
		var move mat.VecDense
		if len(f.at) < 3 || !chol.Factorize(&normal) || chol.Cond() > 1e10 || chol.SolveVecTo(&move, right) != nil {
			const around = 64
			*f = flatCircle{}
			for k := range around {
				f.add(c, 2*math.Pi*float64(k)/around, 0, 1)
			}
			continue
		}
		out.Center = r2.Add(out.Center, r2.Vec{X: move.AtVec(0), Y: move.AtVec(1)})
		out.R += move.AtVec(2)
	}
	for i := range out.Cov {
		for k := range out.Cov {
			out.Cov[i][k] *= out.R * out.R / (c.R * c.R)
		}
	}
	out.RMS *= out.R / c.R
	return out
}

// lensWay is what the lens makes of flat shifts on their way to the joint: seen
// with the tiles of a link, which lie elsewhere in the photo, and carried to the
// joint as every motion is.
type lensWay struct {
	m geom.Motion
	s calib.Scale
}

// seen returns the way of the joint that is seen when the camera shifts the flat
// picture, and the moving link goes a flat way.
func (l lensWay) seen(shift, way r2.Vec) r2.Vec {
	m := l.m
	m.Fixed.Motion = bentShift(m.Fixed, l.s, shift)
	m.Moving.Motion = bentShift(m.Moving, l.s, r2.Add(shift, way))
	return m.Relative().Shift
}

// flat returns the flat way that is seen as way when the camera shifts.
func (l lensWay) flat(way, shift r2.Vec) r2.Vec {
	if !l.s.Bends() {
		return way
	}
	flat := way
	for range 4 { // each step leaves some percent of the one before
		flat = r2.Add(flat, r2.Sub(way, l.seen(shift, flat)))
	}
	return flat
}

// ofCamera returns the play that the lens makes of the camera's shift.
func (l lensWay) ofCamera(shift r2.Vec) r2.Vec {
	if !l.s.Bends() {
		return r2.Vec{}
	}
	return l.seen(shift, r2.Vec{})
}

// bentShift returns the motion that a body seems to make when the flat picture
// shifts: the mean over its tiles.
func bentShift(b geom.Body, s calib.Scale, shift r2.Vec) geom.Similarity {
	out := geom.Similarity{Center: b.Motion.Center, Shift: s.Bent(b.Motion.Center, shift), Cov: b.Motion.Cov}
	var sum r2.Vec
	var weight, zoom, turn, square float64
	for _, t := range b.Tiles {
		half := float64(t.Size-1) / 2
		p := r2.Vec{X: float64(t.X) + half, Y: float64(t.Y) + half}
		d, e := r2.Sub(p, out.Center), s.Bent(p, shift)
		weight += t.Weight
		sum = r2.Add(sum, r2.Scale(t.Weight, e))
		e = r2.Sub(e, out.Shift)
		zoom += t.Weight * r2.Dot(d, e)
		turn += t.Weight * r2.Cross(d, e)
		square += t.Weight * r2.Norm2(d)
	}
	if weight > 0 && square > 0 {
		out.Shift = r2.Scale(1/weight, sum)
		out.Zoom, out.Turn = zoom/square, turn/square
	}
	return out
}
