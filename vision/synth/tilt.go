package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Tilt turns the plane of the joint out of the picture by AngleRad, so that
// what lies in direction TowardsRad moves away from a lens Distance px above
// the plane.
type Tilt struct {
	AngleRad, TowardsRad float64
	Distance             float64
}

// project returns where p is seen through a pinhole whose axis meets the
// plane at c. With u along TowardsRad and v across it,
//
//	(u, v) -> (u cos(t), v) / (1 + u sin(t)/Distance)
func (t Tilt) project(p, c r2.Vec) r2.Vec {
	if t.AngleRad == 0 {
		return p
	}
	d := r2.Sub(p, c)
	along := direction(t.TowardsRad)
	u, v := r2.Dot(d, along), r2.Cross(along, d)
	sin, cos := math.Sincos(t.AngleRad)
	m := 1 / (1 + u*sin/t.Distance)
	u, v = u*cos*m, v*m
	return r2.Add(c, r2.Vec{X: u*along.X - v*along.Y, Y: u*along.Y + v*along.X})
}

// project returns the contours as the camera sees them.
func (s Scene) project(contours [][]r2.Vec) [][]r2.Vec {
	if s.Camera.Tilt.AngleRad == 0 && s.Camera.Lens == (Lens{}) {
		return contours
	}
	seen := make([][]r2.Vec, len(contours))
	for i, pts := range contours {
		seen[i] = make([]r2.Vec, len(pts))
		for k, p := range pts {
			seen[i][k] = s.Project(p)
		}
	}
	return seen
}
