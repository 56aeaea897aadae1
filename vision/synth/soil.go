package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Soil is what the faces have suffered and what lies on them: at each pixel
// the share of the light that passes, and light that is added. Rust, scratches
// and streaks belong to the metal, so that a dark gap stays dark under them;
// dust lies over gaps, too.
type Soil struct{ pass, added raster.Gray }

// NewSoil returns clean faces for a picture of w x h pixels.
func NewSoil(w, h int) Soil {
	s := Soil{raster.NewGray(w, h), raster.NewGray(w, h)}
	for i := range s.pass.Pix {
		s.pass.Pix[i] = 1
	}
	return s
}

// On returns the light g of the clean faces with the soil on them, which is
// blurred as the faces are.
func (s Soil) On(g raster.Gray, blur float64) raster.Gray {
	pass, added := gaussian(s.pass, blur), gaussian(s.added, blur)
	out := raster.NewGray(g.W, g.H)
	for i, v := range g.Pix {
		out.Pix[i] = v*pass.Pix[i] + added.Pix[i]
	}
	return out
}

// about calls f for the pixels within reach of a place.
func (s Soil) about(at r2.Vec, reach float64, f func(p r2.Vec, i int)) {
	x0, x1 := span(at.X, at.X, reach, s.pass.W)
	y0, y1 := span(at.Y, at.Y, reach, s.pass.H)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			f(r2.Vec{X: float64(x), Y: float64(y)}, y*s.pass.W+x)
		}
	}
}

// Rust adds a blotch of about the radius, ragged at its edge and mottled
// inside: mostly dark, with lighter crumbs.
func (s Soil) Rust(r *rand.Rand, at r2.Vec, radius float64) {
	seed, dark, crumb := r.Uint64(), between(r, 0.25, 0.6), between(r, 2, 6)
	s.about(at, 2*radius, func(p r2.Vec, i int) {
		d := r2.Norm(r2.Sub(p, at)) / radius
		edge := 1 - d + 0.25*float64(lattice(2.5*p.X/radius, 2.5*p.Y/radius, seed)) + 0.1*float64(lattice(8*p.X/radius, 8*p.Y/radius, seed+1))
		share := float32(max(0, min(1, edge/0.15)))
		mottle := 1 + 0.35*float64(lattice(p.X/crumb, p.Y/crumb, seed+2)) + 0.25*float64(lattice(p.X/crumb/4, p.Y/crumb/4, seed+3))
		s.pass.Pix[i] *= 1 + share*(float32(max(0.05, dark*mottle))-1)
	})
}

// Scratch adds a straight scratch of the given width, in which the metal sends
// the share light of what it sends beside it, more than 1 where a lamp is
// mirrored.
func (s Soil) Scratch(from, to r2.Vec, width, light float64) {
	way := r2.Sub(to, from)
	far := r2.Norm(way)
	along := r2.Scale(1/far, way)
	s.about(r2.Scale(0.5, r2.Add(from, to)), far/2+width, func(p r2.Vec, i int) {
		share := max(0, min(1, 0.5+width/2-capsule(r2.Sub(p, from), along, far)))
		s.pass.Pix[i] *= 1 + float32(share*(light-1))
	})
}

// Dust adds a speck that hides what is under it and sends light of its own.
func (s Soil) Dust(at r2.Vec, radius, light float64) {
	s.about(at, radius+1, func(p r2.Vec, i int) {
		share := float32(max(0, min(1, 0.5+radius-r2.Norm(r2.Sub(p, at)))))
		s.pass.Pix[i] *= 1 - share
		s.added.Pix[i] += share * (float32(light) - s.added.Pix[i])
	})
}

// Streak adds the long mirror image of a lamp on brushed metal: gain times the
// light of the face at its middle, falling off as a Gaussian of standard
// deviations along and across.
func (s Soil) Streak(at r2.Vec, angleRad, along, across, gain float64) {
	d := direction(angleRad)
	s.about(at, 4*max(along, across), func(p r2.Vec, i int) {
		q := r2.Sub(p, at)
		u, v := r2.Dot(q, d)/along, r2.Cross(d, q)/across
		s.pass.Pix[i] *= 1 + float32(gain*math.Exp(-(u*u+v*v)/2))
	})
}
