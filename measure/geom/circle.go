package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Distance returns how far p lies outside the circle, in pixels; inside it is
// negative.
func (c Circle) Distance(p r2.Vec) float64 { return r2.Norm(r2.Sub(p, c.Center)) - c.R }

// PointAt returns the point of the circle at an angle from +x towards +y.
func (c Circle) PointAt(rad float64) r2.Vec {
	sin, cos := math.Sincos(rad)
	return r2.Add(c.Center, r2.Scale(c.R, r2.Vec{X: cos, Y: sin}))
}

// GeometricCircle returns the circle with the least sum of squared distances
// of the points, each weighted with 1/U^2; rejected points take no part. It
// trusts every other point: FitCircle is the one for points with outliers.
//
// When the uncertainties of the points are given, the covariance comes from
// them, enlarged by the reduced chi-square when that is above one; when all
// are zero it comes from the distances left over, and four points are needed
// instead of three. The radius is larger than the true one by s^2/2R when
// noise s acts alike in both directions, and not when it acts only across the
// edge.
func GeometricCircle(pts []EdgePoint) (Circle, error) {
	c, err := newCloud(pts)
	if err != nil {
		return Circle{}, err
	}
	if err := c.enoughForCircle(); err != nil {
		return Circle{}, err
	}
	start, err := c.taubin()
	if err != nil {
		return Circle{}, err
	}
	ones := make([]float64, len(c.at))
	for i := range ones {
		ones[i] = 1
	}
	g, err := c.geometric(start, ones)
	if err != nil {
		return Circle{}, err
	}
	n := len(c.at)
	var chi2 float64
	for i, p := range c.at {
		chi2 += sq(g.off(p) / c.u[i])
	}
	spread := 1.0
	if n > 3 {
		spread = chi2 / float64(n-3)
	}
	return c.finish(g, nil, spread)
}

func (c cloud) enoughForCircle() error {
	if len(c.at) < 3 || len(c.at) == 3 && !c.stated {
		return ErrTooFew
	}
	if c.collinear {
		return ErrCollinear
	}
	return nil
}

// geometric moves a ring to the least weighted sum of squared distances. The
// weights multiply 1/u^2.
func (c cloud) geometric(start ring, weight []float64) (ring, error) {
	p, err := leastSquares([]float64{start.x, start.y, start.r}, c.ringResiduals(weight))
	if err != nil {
		return ring{}, err
	}
	if p[2] >= straight {
		return ring{}, ErrCollinear
	}
	return ring{p[0], p[1], p[2]}, nil
}

func (c cloud) ringResiduals(weight []float64) residuals {
	slope := make([]float64, 3)
	return func(p []float64, add func(weight, d float64, slope []float64)) bool {
		if !(p[2] > 0 && p[2] < 2*straight) {
			return false
		}
		for i, at := range c.at {
			if weight[i] == 0 {
				continue
			}
			dx, dy := at.X-p[0], at.Y-p[1]
			r := math.Hypot(dx, dy)
			if r == 0 {
				return false // at the very centre the distance has no slope
			}
			slope[0], slope[1], slope[2] = -dx/r, -dy/r, -1
			add(weight[i]/sq(c.u[i]), r-p[2], slope)
		}
		return true
	}
}

// finish turns a ring into a circle in pixels, with the covariance of the
// points kept by keep (nil for all) times spread, the variance of the
// normalised distances. Stated uncertainties are a floor below spread.
func (c cloud) finish(g ring, keep []bool, spread float64) (Circle, error) {
	weight := make([]float64, len(c.at))
	n := 0
	for i := range weight {
		if keep == nil || keep[i] {
			weight[i] = 1
			n++
		}
	}
	e, ok := c.ringResiduals(weight).at([]float64{g.x, g.y, g.r})
	if !ok {
		return Circle{}, ErrUnsettled
	}
	inv, ok := inverse(e.normal)
	if !ok {
		return Circle{}, ErrCollinear
	}
	if c.stated {
		spread = max(spread, 1)
	}
	// The curvature 1/R has the same relative uncertainty as R; where its
	// 95 % interval holds zero, the points may as well be a straight line.
	if !(2*math.Sqrt(spread*inv.At(2, 2)) < g.r) {
		return Circle{}, ErrCollinear
	}
	out := c.circle(g)
	for i := range 3 {
		for j := range 3 {
			out.Cov[i][j] = spread * sq(c.size) * inv.At(i, j)
		}
	}
	out.Inliers, out.RMS = n, c.rms(g, keep)
	return out, nil
}

func sq(v float64) float64 { return v * v }

// ArcCoverage returns how much of the circle has points on it, in radians: the
// sectors of two degrees, seen from the centre, that hold at least one point
// that is not rejected.
func ArcCoverage(pts []EdgePoint, c Circle) float64 {
	const sectors = 180
	var seen [sectors]bool
	for _, p := range pts {
		if p.Rejected {
			continue
		}
		v := r2.Sub(p.At, c.Center)
		if turn := math.Atan2(v.Y, v.X)/(2*math.Pi) + 1; turn > 0 {
			seen[int(turn*sectors)%sectors] = true
		}
	}
	n := 0
	for _, s := range seen {
		if s {
			n++
		}
	}
	return float64(n) * 2 * math.Pi / sectors
}
