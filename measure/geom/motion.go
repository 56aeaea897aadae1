package geom

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/spatial/r2"
)

// Similarity is how a flat body moved from one photo to another: the point p
// of the first is seen in the second at
//
//	p + Shift + Zoom d + Turn (-d.y, d.x)    with d = p - Center
//
// so 1+Zoom is the change of size times the cosine of the turn, and Turn the
// same times its sine.
type Similarity struct {
	Center     r2.Vec // pixels
	Shift      r2.Vec // of Center, pixels
	Zoom, Turn float64
	// Cov is the covariance of (Shift.X, Shift.Y, Zoom, Turn).
	Cov [4][4]float64
}

// Apply returns where p is seen in the second photo.
func (s Similarity) Apply(p r2.Vec) r2.Vec { return r2.Add(p, s.ShiftAt(p)) }

// ShiftAt returns by how much the point p moved.
func (s Similarity) ShiftAt(p r2.Vec) r2.Vec {
	d := r2.Sub(p, s.Center)
	return r2.Vec{
		X: s.Shift.X + s.Zoom*d.X - s.Turn*d.Y,
		Y: s.Shift.Y + s.Zoom*d.Y + s.Turn*d.X,
	}
}

// Grown returns the change of size, 0 for none: the body is 1+Grown as large.
func (s Similarity) Grown() float64 { return math.Hypot(1+s.Zoom, s.Turn) - 1 }

// About returns the same movement stated about another centre. Its covariance
// grows with the distance from where the body was seen.
func (s Similarity) About(c r2.Vec) Similarity {
	d := r2.Sub(c, s.Center)
	// Shift' = Shift + Zoom d + Turn (-d.y, d.x), the rest stays.
	m := [4][4]float64{{1, 0, d.X, -d.Y}, {0, 1, d.Y, d.X}, {0, 0, 1, 0}, {0, 0, 0, 1}}
	out := Similarity{Center: c, Shift: s.ShiftAt(c), Zoom: s.Zoom, Turn: s.Turn}
	for i := range 4 {
		for j := range 4 {
			for k := range 4 {
				for l := range 4 {
					out.Cov[i][j] += m[i][k] * s.Cov[k][l] * m[j][l]
				}
			}
		}
	}
	return out
}

// Body is one rigid thing seen in two photos.
type Body struct {
	Motion Similarity // about the middle of the tiles
	Tiles  []Tile
	// DF is the number of degrees of freedom of Motion.Cov: small where a few
	// tiles hold most of what is known.
	DF float64
	// Spread is the root mean square distance of the tiles from their middle,
	// pixels.
	Spread float64
	// Residual is what is left of the light between the two photos, as a share
	// of the contrast of the texture: 0 when one explains the other fully.
	Residual float64
}

// Tile is a square of the first photo that took part in a registration.
type Tile struct {
	X, Y, Size int     // first pixel and side
	Weight     float64 // 0 rejected to 1
}

// Motion is what two photos of one joint show: how the links lie in the first
// and where they went in the second.
type Motion struct {
	// Fixed is the link that stays, with the scale and what else lies still;
	// Moving is the other link. Both contain the camera's movement.
	Fixed, Moving Body
	// Joint is the middle of the joint in the first photo and JointU its
	// standard uncertainty in each direction, pixels.
	Joint  r2.Vec
	JointU float64
	// JointR is the radius of the round pin end about Joint, 0 if none was
	// seen there.
	JointR float64
	// ByMotion says that the links were told apart by their motion, ByHand
	// that the user named them; else it was done by the joint's outline.
	ByMotion, ByHand bool
	// Skew is what a skew of one photo against the other, by a shutter that
	// reads row by row while something moves, may have done to the movement
	// between the links, pixels, and SkewU its standard uncertainty.
	Skew, SkewU float64
	W, H        int // size of the photos, pixels
}

// Relative returns the movement of the moving link as seen from the fixed one,
// about the joint, in pixels of the first photo. Its Zoom is the change of size
// itself and its Turn the angle, rad.
//
// Both links change in size alike but for heldZoom. Without that the movement
// at a joint beside the texture of the moving link would hang on a long lever.
func (m Motion) Relative() Similarity {
	f, v := m.Fixed.Motion.About(m.Joint), m.Moving.Motion.About(m.Joint)
	// Size and turn of one against the other, as complex numbers divide.
	ratio := complex(1+v.Zoom, v.Turn) / complex(1+f.Zoom, f.Turn)
	size := cmplx.Abs(ratio) - 1
	p := [4]float64{v.Shift.X - f.Shift.X, v.Shift.Y - f.Shift.Y, size, cmplx.Phase(ratio)}
	var c [4][4]float64
	for i := range 4 {
		for j := range 4 {
			c[i][j] = f.Cov[i][j] + v.Cov[i][j]
		}
	}
	held := c
	zoomU := m.heldZoom()
	if total := c[2][2] + zoomU*zoomU; total > 0 {
		for i := range 4 {
			p[i] -= c[i][2] / total * size
			for j := range 4 {
				held[i][j] -= c[i][2] * c[2][j] / total
			}
		}
	}
	// Back into the first photo, out of the camera's turn and zoom.
	a, b := 1+f.Zoom, f.Turn
	n := a*a + b*b
	back := func(x, y float64) (float64, float64) { return (a*x + b*y) / n, (a*y - b*x) / n }
	out := Similarity{Center: m.Joint, Zoom: p[2], Turn: p[3], Cov: held}
	out.Shift.X, out.Shift.Y = back(p[0], p[1])
	return out
}

// heldZoom is the standard uncertainty of the difference of the links' change
// of size. They would change alike if they lay in one plane, square to the
// camera. A lens that comes nearer by the share z changes links that lie the
// share h of its distance apart in height by z h differently, h being 0.02 or
// less (2 mm at 100 mm); and a plane at a slant of a degree, seen from 18 000
// px away, changes by tan(1 deg)/18 000 = 1e-6 a pixel where the link moves
// over it. 5e-6 is left for what else a lens does.
func (m Motion) heldZoom() float64 {
	at := m.Moving.Motion.Center
	way := r2.Norm(r2.Sub(m.Moving.Motion.ShiftAt(at), m.Fixed.Motion.ShiftAt(at)))
	return math.Sqrt(math.Pow(0.02*m.Fixed.Motion.Grown(), 2) + math.Pow(1e-6*way, 2) + math.Pow(5e-6, 2))
}
