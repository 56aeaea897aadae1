package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Lens is how the lens bends straight lines, as read from a flat grid. What a
// lens without distortion would show at c + d, it shows at
//
//	c + d (1 + K1 d² + K2 d⁴)
//
// c being Centre. This is the radial part of Brown's model; K1 and K2 times the
// square and the fourth power of a focal length in pixels are the k1 and k2 of
// OpenCV. The zero value is a lens of which nothing was read.
type Lens struct {
	K1, K2 float64 // 1/px², 1/px⁴
	Centre r2.Vec  // pixels
	// Cov is the covariance of (K1, K2, Centre.X, Centre.Y).
	Cov [4][4]float64
}

// read says whether anything was read of the lens.
func (l Lens) read() bool { return l.Cov != [4][4]float64{} }

// stretch returns the image's distance from the centre over that of a lens
// without distortion, d2 being the square of the latter, and its radial
// derivative, both of which are one in the centre.
func (l Lens) stretch(d2 float64) (across, along float64) {
	return 1 + d2*(l.K1+d2*l.K2), 1 + d2*(3*l.K1+5*d2*l.K2)
}

// bend returns where the lens shows what one without distortion shows at p.
func (l Lens) bend(p r2.Vec) r2.Vec {
	d := r2.Sub(p, l.Centre)
	across, _ := l.stretch(r2.Norm2(d))
	return r2.Add(l.Centre, r2.Scale(across, d))
}

// flat is the inverse of bend, by Newton's method along the radius. Where the
// model folds over, outside of any photo it was made for, it ends somewhere
// finite.
func (l Lens) flat(p r2.Vec) r2.Vec {
	d := r2.Sub(p, l.Centre)
	seen := r2.Norm(d)
	if seen == 0 || l.K1 == 0 && l.K2 == 0 {
		return p
	}
	r := seen
	for range 20 {
		across, along := l.stretch(r * r)
		step := (r*across - seen) / max(along, minStretch)
		r = min(max(r-step, 0), 2*seen)
		if math.Abs(step) < 1e-12*seen {
			break
		}
	}
	return r2.Add(l.Centre, r2.Scale(r/seen, d))
}

// minStretch is the least radial stretch of a lens that is taken for real:
// below it the picture is folded, not bent.
const minStretch = 0.3

// bent returns how a short way v at a flat place is seen in the photo.
func (l Lens) bent(flat, v r2.Vec) r2.Vec {
	across, along := l.stretches(flat)
	return l.scaled(flat, v, across, along)
}

// flatter is the inverse of bent.
func (l Lens) flatter(flat, v r2.Vec) r2.Vec {
	across, along := l.stretches(flat)
	return l.scaled(flat, v, 1/across, 1/along)
}

// area returns by how much a small area at a flat place is larger there than
// in the photo.
func (l Lens) area(flat r2.Vec) float64 {
	across, along := l.stretches(flat)
	return 1 / (across * along)
}

func (l Lens) stretches(flat r2.Vec) (across, along float64) {
	across, along = l.stretch(r2.Norm2(r2.Sub(flat, l.Centre)))
	return max(across, minStretch), max(along, minStretch)
}

// scaled returns v with its part across the radius at flat and that along it
// scaled.
func (l Lens) scaled(flat, v r2.Vec, across, along float64) r2.Vec {
	d := r2.Sub(flat, l.Centre)
	if d == (r2.Vec{}) {
		return v
	}
	d = r2.Unit(d)
	radial := r2.Scale(r2.Dot(v, d), d)
	return r2.Add(r2.Scale(along, radial), r2.Scale(across, r2.Sub(v, radial)))
}

// sound says whether the lens is one of a photo of w by h pixels: its middle
// inside, and nowhere folded.
func (l Lens) sound(w, h int) bool {
	if !(l.Centre.X >= 0 && l.Centre.X <= float64(w) && l.Centre.Y >= 0 && l.Centre.Y <= float64(h)) {
		return false
	}
	for i := range l.Cov {
		for j := range l.Cov {
			a, b := l.Cov[i][i], l.Cov[j][j]
			if !(a >= 0 && math.Abs(l.Cov[i][j]) <= math.Sqrt(a*b)*(1+1e-9) && l.Cov[i][j] == l.Cov[j][i]) {
				return false
			}
		}
	}
	reach := 0.0
	for _, x := range []float64{0, float64(w)} {
		for _, y := range []float64{0, float64(h)} {
			reach = max(reach, r2.Norm(r2.Sub(r2.Vec{X: x, Y: y}, l.Centre)))
		}
	}
	u1, u2 := math.Sqrt(l.Cov[0][0])*reach*reach, math.Sqrt(l.Cov[1][1])*math.Pow(reach, 4)
	if !(u1 <= 0.1 && u2 <= 0.1 && l.Cov[2][2] <= square(float64(w)) && l.Cov[3][3] <= square(float64(h))) {
		return false
	}
	// Steps as far as the flat radius may be.
	for k := range 64 {
		across, along := l.stretch(square(1.5 * reach * float64(k) / 63))
		if !(along > minStretch && across > minStretch && across < 2) {
			return false
		}
		if across*1.5*reach*float64(k)/63 > reach {
			break // outside the photo
		}
	}
	return true
}

// Flat returns where a lens without distortion would show what the photo shows
// at p. It is p where the scale knows nothing of the lens.
func (s Scale) Flat(p r2.Vec) r2.Vec {
	if s.flattened {
		return p
	}
	return s.Lens.flat(p)
}

// shown is the inverse: where the photo shows a point that is handed over.
func (s Scale) shown(p r2.Vec) r2.Vec {
	if s.flattened {
		return s.Lens.bend(p)
	}
	return p
}

// Bent returns how the photo shows, at its point p, a short way v of the flat
// picture.
func (s Scale) Bent(p, v r2.Vec) r2.Vec { return s.Lens.bent(s.Lens.flat(p), v) }

// Bends says whether Flat moves any point.
func (s Scale) Bends() bool { return !s.flattened && (s.Lens.K1 != 0 || s.Lens.K2 != 0) }

// Flattened returns the scale for points that went through Flat. What is not
// known of the lens stays in its budgets.
func (s Scale) Flattened() Scale {
	if s.Bends() && !s.Round { // a grid's pixel is that of the flat picture
		origin := s.Flat(s.Origin)
		way := s.Lens.flatter(origin, direction(s.AngleRad))
		s.MMPerPx = s.MMPerPx.Scaled(1/r2.Norm(way), s.MMPerPx.Unit)
		s.Origin, s.AngleRad = origin, math.Atan2(way.Y, way.X)
	}
	s.flattened = true
	return s
}
