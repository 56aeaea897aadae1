package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Kasa returns the circle that minimises the sum of (|p - c|^2 - R^2)^2
// (I. Kasa, IEEE Trans. Instrum. Meas. 25, 1976). It is linear and quick, and
// on a short arc it reads the radius too small. At least three points, of
// equal weight; the covariance is left at zero.
func Kasa(pts []r2.Vec) (Circle, error) { return algebraicCircle(pts, cloud.kasa) }

// Taubin returns the circle of Taubin's approximation to the geometric fit
// (G. Taubin, IEEE Trans. PAMI 13, 1991, solved as in N. Chernov, Circular and
// Linear Regression, 2010, section 5.8): nearly free of Kasa's bias, good as a
// start. At least three points, of equal weight; the covariance is left at
// zero.
func Taubin(pts []r2.Vec) (Circle, error) { return algebraicCircle(pts, cloud.taubin) }

func algebraicCircle(pts []r2.Vec, fit func(cloud) (ring, error)) (Circle, error) {
	if len(pts) < 3 {
		return Circle{}, ErrTooFew
	}
	c, err := newPlainCloud(pts)
	if err != nil {
		return Circle{}, err
	}
	if c.collinear {
		return Circle{}, ErrCollinear
	}
	g, err := fit(c)
	if err != nil {
		return Circle{}, err
	}
	out := c.circle(g)
	out.Inliers, out.RMS = len(pts), c.rms(g, nil)
	return out, nil
}

// ring is a circle in the coordinates of a cloud.
type ring struct{ x, y, r float64 }

// off returns the distance of p from the ring, positive outside.
func (g ring) off(p r2.Vec) float64 { return math.Hypot(p.X-g.x, p.Y-g.y) - g.r }

// circle returns the ring in pixels.
func (c cloud) circle(g ring) Circle {
	return Circle{Center: c.out(r2.Vec{X: g.x, Y: g.y}), R: c.size * g.r}
}

// rms returns the root mean square distance in pixels of the points kept by
// keep, nil for all.
func (c cloud) rms(g ring, keep []bool) float64 {
	var sum, n float64
	for i, p := range c.at {
		if keep == nil || keep[i] {
			sum += g.off(p) * g.off(p)
			n++
		}
	}
	return c.size * math.Sqrt(sum/n)
}

func (c cloud) kasa() (ring, error) { return c.moments().ring(0) }

func (c cloud) taubin() (ring, error) {
	m := c.moments()
	return m.ring(m.taubinRoot())
}

// moments are means of products about the mean point, with z = x^2 + y^2.
type moments struct {
	mean                      r2.Vec
	xx, yy, xy, xz, yz, zz, z float64
}

func (c cloud) moments() moments {
	n := float64(len(c.at))
	var m moments
	for _, p := range c.at {
		m.mean = r2.Add(m.mean, r2.Scale(1/n, p))
	}
	for _, p := range c.at {
		x, y := p.X-m.mean.X, p.Y-m.mean.Y
		z := x*x + y*y
		m.xx += x * x / n
		m.yy += y * y / n
		m.xy += x * y / n
		m.xz += x * z / n
		m.yz += y * z / n
		m.zz += z * z / n
	}
	m.z = m.xx + m.yy
	return m
}

// taubinRoot finds the smallest root of Taubin's characteristic polynomial
// with Newton's method from zero, from where it descends to the root without
// passing it.
func (m moments) taubinRoot() float64 {
	cov, varZ := m.xx*m.yy-m.xy*m.xy, m.zz-m.z*m.z
	a3 := 4 * m.z
	a2 := -3*m.z*m.z - m.zz
	a1 := varZ*m.z + 4*cov*m.z - m.xz*m.xz - m.yz*m.yz
	a0 := m.xz*(m.xz*m.yy-m.yz*m.xy) + m.yz*(m.yz*m.xx-m.xz*m.xy) - varZ*cov
	x, y := 0.0, a0
	for range 50 {
		nx := x - y/(a1+x*(2*a2+x*3*a3))
		ny := a0 + nx*(a1+nx*(a2+nx*a3))
		if nx == x || !(math.Abs(ny) < math.Abs(y)) {
			break
		}
		x, y = nx, ny
	}
	return x
}

// ring returns the circle that belongs to a root; Kasa's has the root zero.
func (m moments) ring(root float64) (ring, error) {
	det := root*root - root*m.z + m.xx*m.yy - m.xy*m.xy
	x := (m.xz*(m.yy-root) - m.yz*m.xy) / (2 * det)
	y := (m.yz*(m.xx-root) - m.xz*m.xy) / (2 * det)
	g := ring{x + m.mean.X, y + m.mean.Y, math.Sqrt(x*x + y*y + m.z)}
	if !(g.r < straight) {
		return ring{}, ErrCollinear
	}
	return g, nil
}

// straight is the radius, in sizes of the cloud, from which an arc counts as a
// straight line: it spans a fifth of a degree. Radius and centre part by the
// fourth power of the arc, which doubles can no longer tell much beyond.
const straight = 1000
