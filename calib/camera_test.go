package calib

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// camera is a pinhole camera over a plane: the truth of the tests here.
type camera struct {
	mmPerPx  float64 // at the centre of the photo, were it square
	distance float64 // to the plane along the axis, mm
	tilt     float64 // rad, about the axis in direction azimuth
	azimuth  float64
	w, h     int
	bend     float64 // of the lens: p' = p (1 + bend p² + bend4 p⁴) from the centre
	bend4    float64
	off      r2.Vec // of the lens's centre from that of the photo
}

// see returns the place in the photo of the plane's point p, mm.
func (c camera) see(p r2.Vec) r2.Vec {
	axis, off := axes(c.azimuth)
	u, v := r2.Dot(p, axis), r2.Dot(p, off)
	sin, cos := math.Sincos(c.tilt)
	depth := c.distance + v*sin
	f := c.distance / c.mmPerPx
	q := r2.Add(r2.Scale(f*u/depth, axis), r2.Scale(f*v*cos/depth, off))
	q = r2.Sub(q, c.off)
	d2 := r2.Norm2(q)
	q = r2.Scale(1+d2*(c.bend+d2*c.bend4), q)
	return r2.Add(r2.Add(q, c.off), c.centre())
}

func (c camera) centre() r2.Vec { return r2.Vec{X: float64(c.w-1) / 2, Y: float64(c.h-1) / 2} }

// point returns the plane's point seen at p, by Newton steps.
func (c camera) point(p r2.Vec) r2.Vec {
	x := r2.Scale(c.mmPerPx, r2.Sub(p, c.centre()))
	for range 50 {
		miss := r2.Sub(p, c.see(x))
		a, b := c.jacobian(x)
		det := a.X*b.Y - a.Y*b.X
		x = r2.Add(x, r2.Vec{X: (miss.X*b.Y - miss.Y*b.X) / det, Y: (a.X*miss.Y - a.Y*miss.X) / det})
	}
	return x
}

// jacobian returns the derivatives of see along the plane's two axes.
func (c camera) jacobian(x r2.Vec) (a, b r2.Vec) {
	const step = 1e-4 // mm
	dx, dy := r2.Vec{X: step}, r2.Vec{Y: step}
	a = r2.Scale(0.5/step, r2.Sub(c.see(r2.Add(x, dx)), c.see(r2.Sub(x, dx))))
	b = r2.Scale(0.5/step, r2.Sub(c.see(r2.Add(x, dy)), c.see(r2.Sub(x, dy))))
	return a, b
}

// pixel returns the true length of a pixel at p, mean of all directions, mm.
func (c camera) pixel(p r2.Vec) float64 {
	a, b := c.jacobian(c.point(p))
	return 1 / math.Sqrt(a.X*b.Y-a.Y*b.X)
}

// distanceOf returns the true distance in mm of what is seen at p and q.
func (c camera) distanceOf(p, q r2.Vec) float64 {
	return r2.Norm(r2.Sub(c.point(p), c.point(q)))
}

// ruleInPlane is a rule lying in the plane.
type ruleInPlane struct {
	middle   r2.Vec  // of the rule in the photo, pixels
	angle    float64 // in the plane
	division float64 // mm
	marks    int
	// noise of the marks' places (px) and directions (rad)
	placeU, angleU float64
	correlation    float64 // of neighbouring marks' errors
}

// marksOf returns the rule as vision hands it over. A nil r makes no noise,
// but the claims stay.
func (c camera) marksOf(l ruleInPlane, r *rand.Rand) geom.Rule {
	along, across := axes(l.angle)
	middle := c.point(l.middle)
	out := geom.Rule{Expected: l.marks, Period: l.division / c.mmPerPx, AngleRad: l.angle, LongEvery: 10}
	noise := func(u float64) func() float64 {
		if r == nil {
			return func() float64 { return 0 }
		}
		last := r.NormFloat64()
		return func() float64 {
			last = l.correlation*last + math.Sqrt(1-l.correlation*l.correlation)*r.NormFloat64()
			return u * last
		}
	}
	placeNoise, angleNoise := noise(l.placeU), noise(l.angleU)
	// The grain turns all marks by a little more from end to end than their
	// scatter tells: together the slope errs by grainTurns of what it claims.
	grain := 0.0
	if r != nil {
		n, rho := float64(l.marks), l.correlation
		slopeU := l.angleU * math.Sqrt(12/n*(1+rho)/(1-rho))
		grain = math.Sqrt(grainTurns*grainTurns-1) * slopeU * r.NormFloat64()
	}
	for k := range l.marks {
		x := r2.Add(middle, r2.Scale(l.division*(float64(k)-float64(l.marks-1)/2), along))
		tip := r2.Sub(c.see(r2.Add(x, r2.Scale(0.01, across))), c.see(r2.Sub(x, r2.Scale(0.01, across))))
		at := r2.Add(c.see(x), r2.Scale(placeNoise(), along))
		out.Ticks = append(out.Ticks, geom.Tick{
			K: k + 3, At: at, U: l.placeU,
			AngleRad: math.Atan2(tip.Y, tip.X) + angleNoise() + grain*(float64(k)/float64(l.marks)-0.5), UAngle: l.angleU, Length: 40,
		})
	}
	return out
}

func newRand(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

// bench is a microscope of 6 µm a pixel at 110 mm, square, with a rule of 60
// tenths of a millimetre 400 px below the middle.
var bench = camera{mmPerPx: 0.006, distance: 110, w: 1600, h: 1200}

var tenths = ruleInPlane{middle: r2.Vec{X: 780, Y: 1100}, division: 0.1, marks: 61, placeU: 0.02, angleU: 5e-4}

var photo = Options{W: 1600, H: 1200}
