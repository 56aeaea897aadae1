package geom

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// PointAt returns the point of the ellipse at the parameter t: a circle's
// angle, squeezed to the half axes and turned.
func (e Ellipse) PointAt(t float64) r2.Vec {
	sin, cos := math.Sincos(t)
	return r2.Add(e.Center, turn(r2.Vec{X: e.A * cos, Y: e.B * sin}, e.AngleRad))
}

// Distance returns how far p lies outside the ellipse along the shortest way,
// in pixels; inside it is negative.
func (e Ellipse) Distance(p r2.Vec) float64 {
	d, _ := e.nearest(p)
	return d
}

// FitEllipse returns the ellipse with the least sum of squared orthogonal
// distances, each weighted with 1/U^2 (all zero: equal weights). It starts
// from the direct algebraic ellipse (Halir and Flusser, WSCG 1998, after
// Fitzgibbon, Pilu and Fisher 1996) and from the Taubin circle, and keeps the
// better end. Rejected points take no part; outliers have to be rejected
// before. At least five points.
func FitEllipse(pts []EdgePoint) (Ellipse, error) {
	c, err := newCloud(pts)
	if err != nil {
		return Ellipse{}, err
	}
	if len(c.at) < 5 {
		return Ellipse{}, ErrTooFew
	}
	if c.collinear {
		return Ellipse{}, ErrCollinear
	}
	var starts []Ellipse
	if e, ok := c.directEllipse(); ok {
		starts = append(starts, e)
	}
	if g, err := c.taubin(); err == nil {
		starts = append(starts, Ellipse{Center: r2.Vec{X: g.x, Y: g.y}, A: g.r, B: g.r})
	}
	best, least := Ellipse{}, math.Inf(1)
	for _, start := range starts {
		e, err := c.orthogonal(start)
		if err != nil {
			continue
		}
		if s := c.ellipseSum(e); s < least {
			best, least = e, s
		}
	}
	if math.IsInf(least, 1) {
		return Ellipse{}, ErrNotEllipse
	}
	var sum float64
	for _, p := range c.at {
		sum += sq(best.Distance(p))
	}
	return Ellipse{
		Center:   c.out(best.Center),
		A:        c.size * best.A,
		B:        c.size * best.B,
		AngleRad: best.AngleRad,
		RMS:      c.size * math.Sqrt(sum/float64(len(c.at))),
	}, nil
}

func (c cloud) ellipseSum(e Ellipse) float64 {
	var sum float64
	for i, p := range c.at {
		sum += sq(e.Distance(p) / c.u[i])
	}
	return sum
}

// orthogonal moves an ellipse to the least sum of squared distances.
func (c cloud) orthogonal(start Ellipse) (Ellipse, error) {
	slope := make([]float64, 5)
	each := func(p []float64, add func(weight, d float64, slope []float64)) bool {
		a, b := p[2], p[3]
		if !(a > 0 && b > 0 && a < straight && b < straight) {
			return false
		}
		e := Ellipse{Center: r2.Vec{X: p[0], Y: p[1]}, A: a, B: b, AngleRad: p[4]}
		for i, at := range c.at {
			d, t := e.nearest(at)
			sin, cos := math.Sincos(t)
			normal := turn(r2.Unit(r2.Vec{X: b * cos, Y: a * sin}), p[4])
			// The foot point slides along the curve at no cost, so only its
			// move across the curve changes the distance.
			slope[0], slope[1] = -normal.X, -normal.Y
			slope[2] = -r2.Dot(normal, turn(r2.Vec{X: cos}, p[4]))
			slope[3] = -r2.Dot(normal, turn(r2.Vec{Y: sin}, p[4]))
			slope[4] = -r2.Dot(normal, turn(r2.Vec{X: -b * sin, Y: a * cos}, p[4]))
			add(1/sq(c.u[i]), d, slope)
		}
		return true
	}
	p, err := leastSquares([]float64{start.Center.X, start.Center.Y, start.A, start.B, start.AngleRad}, each)
	if err != nil {
		return Ellipse{}, err
	}
	return Ellipse{Center: r2.Vec{X: p[0], Y: p[1]}, A: p[2], B: p[3], AngleRad: p[4]}.ordered(), nil
}

// ordered returns the same ellipse with A >= B and the angle from 0 to below
// pi.
func (e Ellipse) ordered() Ellipse {
	if e.A < e.B {
		e.A, e.B = e.B, e.A
		e.AngleRad += math.Pi / 2
	}
	e.AngleRad = math.Mod(e.AngleRad, math.Pi)
	if e.AngleRad < 0 {
		e.AngleRad += math.Pi
	}
	if e.AngleRad >= math.Pi { // a tiny negative angle rounds up to pi
		e.AngleRad = 0
	}
	return e
}

// nearest returns the signed distance of p and the parameter of its foot
// point. In the quarter x, y >= 0 of the ellipse's own axes the foot is
// (a^2 x/(s + a^2), b^2 y/(s + b^2)) for the one s > -b^2 (b the smaller half
// axis) that puts it on the ellipse (D. Eberly, Distance from a Point to an
// Ellipse, 2013). The half axes may come in either order.
func (e Ellipse) nearest(p r2.Vec) (distance, t float64) {
	v := turn(r2.Sub(p, e.Center), -e.AngleRad)
	x, y := math.Abs(v.X), math.Abs(v.Y)
	var fx, fy float64
	if e.A >= e.B {
		fx, fy = footPoint(e.A, e.B, x, y)
	} else {
		fy, fx = footPoint(e.B, e.A, y, x)
	}
	t = math.Atan2(math.Copysign(fy/e.B, v.Y), math.Copysign(fx/e.A, v.X))
	distance = math.Hypot(x-fx, y-fy)
	if sq(x/e.A)+sq(y/e.B) < 1 {
		distance = -distance
	}
	return distance, t
}

// footPoint returns the point nearest to (x, y) on the ellipse with half axes
// a >= b, all in the first quarter.
func footPoint(a, b, x, y float64) (fx, fy float64) {
	// In units of b: s = b^2 (k - 1), ratio r = (a/b)^2, and the point
	// satisfies (r u/(k - 1 + r))^2 + (w/k)^2 = 1 with u = x/a, w = y/b.
	u, w, r := x/a, y/b, sq(a/b)
	if w < 1e-15 {
		// On the long axis, inside the evolute, two feet are equally near.
		if q := (sq(a) - sq(b)) / a; x < q {
			fx = a * x / q
			return fx, b * math.Sqrt(max(0, 1-sq(fx/a)))
		}
		return a, 0
	}
	excess := func(k float64) float64 { return sq(r*u/(k-1+r)) + sq(w/k) - 1 }
	// The excess falls with k and is convex; at k = w it is not negative. So
	// Newton's method climbs from there to the root and never passes it.
	k := w
	for range 200 {
		slope := -2 * (sq(r*u)/math.Pow(k-1+r, 3) + sq(w)/math.Pow(k, 3))
		next := k - excess(k)/slope
		if !(next > k) {
			break
		}
		k = next
	}
	return a * r * u / (k - 1 + r), b * w / k
}

func turn(v r2.Vec, rad float64) r2.Vec {
	sin, cos := math.Sincos(rad)
	return r2.Vec{X: v.X*cos - v.Y*sin, Y: v.X*sin + v.Y*cos}
}

// directEllipse returns the ellipse that minimises the algebraic distance
// under the constraint 4ac - b^2 = 1, solved in two blocks.
func (c cloud) directEllipse() (Ellipse, bool) {
	n := len(c.at)
	d1, d2 := mat.NewDense(n, 3, nil), mat.NewDense(n, 3, nil)
	for i, p := range c.at {
		d1.SetRow(i, []float64{p.X * p.X, p.X * p.Y, p.Y * p.Y})
		d2.SetRow(i, []float64{p.X, p.Y, 1})
	}
	var s1, s2, s3, t, m mat.Dense
	s1.Mul(d1.T(), d1)
	s2.Mul(d1.T(), d2)
	s3.Mul(d2.T(), d2)
	if t.Solve(&s3, s2.T()) != nil {
		return Ellipse{}, false
	}
	m.Mul(&s2, &t)
	m.Sub(&s1, &m)
	// The inverse of the constraint matrix swaps the outer rows.
	reduced := mat.NewDense(3, 3, nil)
	for j := range 3 {
		reduced.Set(0, j, m.At(2, j)/2)
		reduced.Set(1, j, -m.At(1, j))
		reduced.Set(2, j, m.At(0, j)/2)
	}
	var eigen mat.Eigen
	if !eigen.Factorize(reduced, mat.EigenRight) {
		return Ellipse{}, false
	}
	var vectors mat.CDense
	eigen.VectorsTo(&vectors)
	for k := range 3 {
		a := [3]float64{real(vectors.At(0, k)), real(vectors.At(1, k)), real(vectors.At(2, k))}
		if 4*a[0]*a[2]-a[1]*a[1] <= 0 {
			continue
		}
		var rest [3]float64
		for i := range rest {
			for j := range a {
				rest[i] -= t.At(i, j) * a[j]
			}
		}
		return conicEllipse(a[0], a[1], a[2], rest[0], rest[1], rest[2])
	}
	return Ellipse{}, false
}

// conicEllipse returns the ellipse a x^2 + b xy + c y^2 + d x + e y + f = 0.
func conicEllipse(a, b, c, d, e, f float64) (Ellipse, bool) {
	if a < 0 {
		a, b, c, d, e, f = -a, -b, -c, -d, -e, -f
	}
	det := 4*a*c - b*b
	x, y := (b*e-2*c*d)/det, (b*d-2*a*e)/det
	level := -(f + (d*x+e*y)/2) // right side once moved to the centre
	mean, half := (a+c)/2, math.Hypot(a-c, b)/2
	out := Ellipse{
		Center: r2.Vec{X: x, Y: y},
		// The smaller curvature belongs to the longer axis.
		A:        math.Sqrt(level / (mean - half)),
		B:        math.Sqrt(level / (mean + half)),
		AngleRad: math.Atan2(b, a-c)/2 + math.Pi/2,
	}
	ok := out.A > 0 && out.B > 0 && out.A < straight && out.B < straight // false for NaN
	return out.ordered(), ok
}
