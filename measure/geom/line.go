package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Line is a fitted straight line in pixels.
type Line struct {
	At       r2.Vec  // weighted mean of the points, on the line
	AngleRad float64 // direction, from -pi/2 to below pi/2
	// U is the standard uncertainty of At across the line, UAngle that of the
	// direction; the two are not correlated.
	U, UAngle float64
	Inliers   int
	RMS       float64 // root mean square distance of the points
}

// Distance returns how far p lies from the line, positive on the side of the
// direction turned from +x towards +y by a quarter.
func (l Line) Distance(p r2.Vec) float64 {
	sin, cos := math.Sincos(l.AngleRad)
	v := r2.Sub(p, l.At)
	return v.Y*cos - v.X*sin
}

// FitLine returns the line with the least sum of squared distances across
// it, each weighted with 1/U^2; rejected points take no part. The
// uncertainties come from those of the points, enlarged by the reduced
// chi-square when that is above one, or from the distances alone when all U
// are zero. At least two points, or three without uncertainties.
func FitLine(pts []EdgePoint) (Line, error) {
	c, err := newCloud(pts)
	if err != nil {
		return Line{}, err
	}
	n := len(c.at)
	if n < 2 || n == 2 && !c.stated {
		return Line{}, ErrTooFew
	}
	var mean r2.Vec
	var sum float64
	for i, p := range c.at {
		w := 1 / sq(c.u[i])
		mean = r2.Add(mean, r2.Scale(w, p))
		sum += w
	}
	mean = r2.Scale(1/sum, mean)
	var sxx, syy, sxy float64
	for i, p := range c.at {
		v := r2.Scale(1/c.u[i], r2.Sub(p, mean))
		sxx += v.X * v.X
		syy += v.Y * v.Y
		sxy += v.X * v.Y
	}
	l := Line{At: mean, AngleRad: math.Atan2(2*sxy, sxx-syy) / 2, Inliers: n}
	if l.AngleRad >= math.Pi/2 {
		l.AngleRad -= math.Pi
	}
	var chi2, along, ssq float64
	direction := r2.Vec{X: math.Cos(l.AngleRad), Y: math.Sin(l.AngleRad)}
	for i, p := range c.at {
		d := l.Distance(p)
		ssq += d * d
		chi2 += sq(d / c.u[i])
		along += sq(r2.Dot(r2.Sub(p, mean), direction) / c.u[i])
	}
	spread := 1.0
	if n > 2 {
		spread = chi2 / float64(n-2)
	}
	if c.stated {
		spread = max(spread, 1)
	}
	l.At = c.out(mean)
	l.U = c.size * math.Sqrt(spread/sum)
	l.UAngle = math.Sqrt(spread / along)
	l.RMS = c.size * math.Sqrt(ssq/float64(n))
	return l, nil
}
