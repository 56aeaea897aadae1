// Package calib turns pixels into millimetres and says how well.
//
// A [Scale] is read from a rule ([FromRule]), a round gauge ([FromGauge]), two
// points ([FromPoints]) or a flat grid ([FromGrids]), or comes from a file
// ([Decode]). Its methods At, Along, Length and Distance are the only places
// where pixels become millimetres. Pixels and angles are those of package raster.
//
// # A camera that looks at a slant
//
// A plane seen by a camera is drawn by a homography. With p in pixels from the
// point where the lens's axis meets the photo, and up to the cosine of the
// tilt, it is
//
//	X(p) = M p / (1 + h.p)
//
// X in mm, M in mm/px, and h the relative change of the magnification per
// pixel. Lengths in the direction of h then change twice as fast as those
// across it, so a length along a rule has the gradient (-2 h1, -h2) along and
// across it: that is Scale.Gradient. And away from the axis a tilted plane
// shows lengths of different directions at different scales, so what a rule
// reads along itself does not hold for a diameter beside it as it stands.
//
// The axis is taken to meet the middle of the photo, and the lens to bend
// straight lines about that point, p' = p (1 + q p²): a photo must not be
// cropped to one side before it is measured.
//
// Only a grid shows how much. Its scale has a [Lens], and its homography holds
// for the flat picture that a lens without distortion would make: At, Along,
// Length and Distance take points of the photo and flatten them first. Edges
// are better flattened before curves are laid through them, point by point with
// [Scale.Flat]; [Scale.Flattened] then turns what was found into millimetres.
package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// Scale is the size of a pixel over a photo.
//
// The scale may change over the picture when the camera looks at a slant.
// To first order the length of a pixel at point p, along the direction of the
// rule, is
//
//	MMPerPx * (1 + Gradient . (p - Origin))
type Scale struct {
	MMPerPx  uncert.Quantity // at Origin, mm/px, without the gradient's own part
	Origin   r2.Vec          // pixels
	Gradient r2.Vec          // relative change of the pixel length, 1/px
	// GradientU is the standard uncertainty of the gradient along the rule
	// (X) and across it (Y), 1/px.
	GradientU r2.Vec
	// GradientRead is the share of the two that was read from the marks, 0 to
	// 1; the rest is what was assumed.
	GradientRead r2.Vec
	// DistortionU is the standard uncertainty of q, the bend of the lens that
	// is left after Lens was taken out, 1/px²: as far as lengths in the photo's
	// corner tell. Of a rule's lens it is that of K1, which the covariance there
	// leaves at 0: what K1 errs the tilt read from the same marks partly undoes.
	DistortionU float64
	Lens        Lens
	flattened   bool // points are handed over as Lens leaves them
	// Foreshortening is 1 - cos of the tilt the plane may have, by which
	// lengths across the tilt axis may look shorter than those along it.
	Foreshortening float64
	// Extent is the length in pixels about Origin over which the scale is a
	// mean: of a gauge its diameter.
	Extent float64
	// Round says that the scale is the mean of all directions, as a gauge
	// gives it, and not that along AngleRad.
	Round      bool
	AngleRad   float64 // direction of the rule in the photo
	Source     string  // "rule", "gauge", "points", "grid" or "file"
	DivisionMM float64 // of a rule, or between the points of a grid, else 0
	Marks      int     // of a rule, or points of a grid, else 0
	W, H       int     // size of the photo the scale was read in, pixels
}

// Reading is a scale with what was seen on the way to it.
type Reading struct {
	Scale  Scale
	Checks []check.Check
	Notes  []string
}

// At returns the length of a pixel at p in mm/px, the mean of all directions:
// what turns the diameter of a circle about p, small against the photo, into
// mm. Away from the Origin its uncertainty grows with what the tilt and the
// lens may have done between.
func (s Scale) At(p r2.Vec) uncert.Quantity { return s.like(s.round(p, 0)) }

// Along returns the length in mm/px of a pixel at p in the direction angleRad.
func (s Scale) Along(p r2.Vec, angleRad float64) uncert.Quantity {
	return s.like(s.along(p, direction(angleRad), 0))
}

// Length returns a length of px pixels at the point at, in mm, when it lies in
// no particular direction: the diameter of a circle, a radius, a width read
// all round. Use Distance for a length between two points: under a tilt
// lengths change with their direction too.
func (s Scale) Length(px uncert.Quantity, at r2.Vec) uncert.Quantity {
	return uncert.Product(s.At(at), px, "mm")
}

// Distance returns the distance of two points in mm; u is the standard
// uncertainty of their distance in the photo, pixels.
func (s Scale) Distance(a, b r2.Vec, u float64) uncert.Quantity {
	way := r2.Sub(b, a)
	px := uncert.Combine(r2.Norm(way), "px", uncert.Budget{{Name: "points read", U: u}})
	middle := r2.Scale(0.5, r2.Add(a, b))
	if px.Value == 0 {
		return s.Length(px, middle)
	}
	here := s.along(middle, r2.Unit(way), px.Value)
	// The local scale at the middle is right for a short way; the homography
	// itself for any.
	h, centre := s.slant(), s.centre()
	a, b = s.shown(a), s.shown(b)
	here.sized(s.Lens, func(l Lens) float64 {
		a, b := r2.Sub(l.flat(a), centre), r2.Sub(l.flat(b), centre)
		return r2.Norm(r2.Sub(r2.Scale(1/depth(h, b), b), r2.Scale(1/depth(h, a), a))) / px.Value
	})
	return uncert.Product(s.like(here), px, "mm")
}

// local is the length of a pixel somewhere in the photo.
type local struct {
	size  float64    // in units of M
	way   r2.Vec     // unit vector, zero for the mean of all directions
	lever r2.Vec     // size changes by -lever.dh, relatively
	bend  float64    // and by -bend.dq, for a lens of which nothing was read
	lens  [4]float64 // and by lens.d(K1, K2, Centre.X, Centre.Y), for any other
}

// sized sets the size to what it is with lens l, and how it hangs on the lens.
func (s *local) sized(l Lens, size func(Lens) float64) {
	s.size = size(l)
	if !l.read() {
		return
	}
	for i := range s.lens {
		step := 0.1 * math.Sqrt(l.Cov[i][i])
		if step == 0 {
			continue
		}
		more, less := l, l
		for _, way := range []struct {
			of *Lens
			by float64
		}{{&more, step}, {&less, -step}} {
			*[]*float64{&way.of.K1, &way.of.K2, &way.of.Centre.X, &way.of.Centre.Y}[i] += way.by
		}
		s.lens[i] = math.Log(size(more)/size(less)) / (2 * step)
	}
}

// round is the mean of all directions over a circle of diameter extent at p:
// the root of the area element of X(p), M² (1 + h.p)^-3.
func (s Scale) round(p r2.Vec, extent float64) local {
	h, centre := s.slant(), s.centre()
	from := r2.Sub(s.Flat(p), centre)
	out := local{lever: r2.Scale(1.5, from), bend: 2*r2.Norm2(from) + extent*extent/4}
	photo, area := s.shown(p), 1.0
	if s.flattened {
		area = s.Lens.area(p)
	}
	out.sized(s.Lens, func(l Lens) float64 {
		flat := l.flat(photo)
		return math.Pow(depth(h, r2.Sub(flat, centre)), -1.5) * math.Sqrt(l.area(flat)/area)
	})
	return out
}

// along is the size of dX(p) along the unit vector d, for the bend averaged
// over a way of length extent.
func (s Scale) along(p, d r2.Vec, extent float64) local {
	h, centre := s.slant(), s.centre()
	from := r2.Sub(s.Flat(p), centre)
	inD := r2.Dot(from, d)
	out := local{
		way:   d,
		lever: r2.Add(from, r2.Scale(inD, d)),
		bend:  r2.Norm2(from) + 2*inD*inD + extent*extent/4,
	}
	photo, way := s.shown(p), d
	if s.flattened {
		way = s.Lens.bent(p, d)
	}
	out.sized(s.Lens, func(l Lens) float64 {
		flat := l.flat(photo)
		d, p := l.flatter(flat, way), r2.Sub(flat, centre)
		w := depth(h, p)
		return r2.Norm(r2.Sub(r2.Scale(w, d), r2.Scale(r2.Dot(h, d), p))) / (w * w)
	})
	return out
}

// like returns the pixel length there from the one that was measured.
func (s Scale) like(there local) uncert.Quantity {
	here := s.along(s.Origin, direction(s.AngleRad), s.Extent)
	if s.Round {
		here = s.round(s.Origin, s.Extent)
	}
	q := s.MMPerPx.Scaled(there.size/here.size, s.MMPerPx.Unit)
	b := append(uncert.Budget{}, q.Budget...)
	if len(b) == 0 {
		b = append(b, uncert.Term{Name: "scale as stated", U: q.U, DF: q.DF})
	}
	along, across := axes(s.AngleRad)
	lever := r2.Sub(there.lever, here.lever)
	// Marks show the lens's own gradient at the Origin as a tilt of (3 along, 2
	// across) q times its distance from the middle, and the correction for
	// that tilt undoes part of the bend.
	o := r2.Sub(s.flatOrigin(), s.centre())
	bend := there.bend - here.bend -
		3*s.GradientRead.X*r2.Dot(lever, along)*r2.Dot(o, along) -
		2*s.GradientRead.Y*r2.Dot(lever, across)*r2.Dot(o, across)
	lens := math.Abs(bend) * s.DistortionU
	if s.Lens.read() {
		lens = 0
		for i := range there.lens {
			for j := range there.lens {
				lens += (there.lens[i] - here.lens[i]) * s.Lens.Cov[i][j] * (there.lens[j] - here.lens[j])
			}
		}
		if s.Lens.Cov[0][0] == 0 {
			lens += square(bend * s.DistortionU)
		}
		lens = math.Sqrt(max(lens, 0))
	}
	for _, t := range []uncert.Term{
		{Name: "tilt along the scale", U: q.Value * math.Abs(r2.Dot(lever, along)) * s.GradientU.X / 2},
		{Name: "tilt across the scale", U: q.Value * math.Abs(r2.Dot(lever, across)) * s.GradientU.Y},
		{Name: "foreshortening by tilt", U: q.Value * turned(here.way, there.way) * s.Foreshortening},
		{Name: "lens distortion", U: q.Value * lens},
	} {
		if t.U > 0 {
			b = append(b, t)
		}
	}
	return uncert.Combine(q.Value, q.Unit, b)
}

// turned returns the root mean square, over all directions c of the tilt, of
// sin²(a - c) - sin²(b - c): how a foreshortening comes between lengths along
// the unit vectors a and b. A zero vector stands for the mean of all, 1/2.
func turned(a, b r2.Vec) float64 {
	none := r2.Vec{}
	switch {
	case a == none && b == none:
		return 0
	case a == none || b == none:
		return 1 / (2 * math.Sqrt2)
	default:
		return math.Abs(r2.Cross(a, b)) / math.Sqrt2
	}
}

// slant returns h for the middle of the photo, in the axes of the photo.
func (s Scale) slant() r2.Vec {
	along, across := axes(s.AngleRad)
	h := r2.Add(r2.Scale(-r2.Dot(s.Gradient, along)/2, along), r2.Scale(-r2.Dot(s.Gradient, across), across))
	return r2.Scale(1/depth(h, r2.Sub(s.centre(), s.flatOrigin())), h)
}

// flatOrigin is the Origin in the flat picture, in which a grid has it anyway.
func (s Scale) flatOrigin() r2.Vec {
	if s.Round {
		return s.Origin
	}
	return s.Flat(s.Origin)
}

// centre is where the lens's axis is taken to meet the photo.
func (s Scale) centre() r2.Vec {
	return r2.Vec{X: float64(s.W-1) / 2, Y: float64(s.H-1) / 2}
}

// depth returns 1 + h.p, the distance of the plane from the lens against that
// in the middle. No photo holds a plane that halves it (see maxSlant); points
// so far outside the photo are taken at the half.
func depth(h, p r2.Vec) float64 { return max(1+r2.Dot(h, p), 0.5) }

// axes returns the unit vectors along and across a scale.
func axes(angleRad float64) (along, across r2.Vec) {
	along = direction(angleRad)
	return along, r2.Vec{X: -along.Y, Y: along.X}
}

func direction(angleRad float64) r2.Vec {
	sin, cos := math.Sincos(angleRad)
	return r2.Vec{X: cos, Y: sin}
}
