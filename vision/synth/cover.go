package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// perPixel is the number of table entries per pixel of an aperture.
const perPixel = 512

// aperture is the running integral of the light that a pixel takes in from a
// point at a distance along one axis: a unit box blurred by a Gaussian.
type aperture struct {
	reach  float64 // no light from farther away, pixels
	step   float64 // longest piece of a contour, pixels
	margin float64 // distance at which the table begins
	runsum []float64
}

// newAperture tabulates the aperture of a pixel under blur sigma.
func newAperture(sigma float64) aperture {
	a := aperture{
		reach: 5*sigma + 0.5,
		step:  math.Max(0.05, math.Min(0.25, sigma/3)),
	}
	a.margin = a.reach + 1
	a.runsum = make([]float64, int((2*a.margin+1)*perPixel)+2)
	for i := range a.runsum {
		a.runsum[i] = runsum(float64(i)/perPixel-a.margin, sigma)
	}
	return a
}

// runsum returns the share of a blurred unit box that lies below u. With the
// normal distribution function P, its density p and Q(t) = t P(t) + p(t),
//
//	K(u) = sigma (Q((u+1/2)/sigma) - Q((u-1/2)/sigma))
func runsum(u, sigma float64) float64 {
	if sigma == 0 {
		return math.Max(0, math.Min(1, u+0.5))
	}
	q := func(t float64) float64 {
		return t*math.Erfc(-t/math.Sqrt2)/2 + math.Exp(-t*t/2)/math.Sqrt(2*math.Pi)
	}
	return sigma * (q((u+0.5)/sigma) - q((u-0.5)/sigma))
}

// cover collects the share of each pixel's aperture that lies inside contours.
type cover struct {
	w, h           int
	x0, y0, x1, y1 int // the part of the picture that is not empty, x1 and y1 excluded
	pix            []float32
	aperture       aperture
	wx, wy, wz     []float64 // work space of splat
}

func newCover(w, h int, a aperture) *cover {
	n := int(2*a.margin) + 4
	return &cover{
		w: w, h: h, pix: make([]float32, w*h), aperture: a,
		wx: make([]float64, n), wy: make([]float64, n), wz: make([]float64, n),
	}
}

// row returns the cover of row y from column x0 on.
func (c *cover) row(y int) []float32 { return c.pix[y*c.w+c.x0 : y*c.w+c.x1] }

// fill replaces the cover by that of the union of contours, which may run
// either way round. Where contours overlap within a blur of their edges the
// union is only near the truth.
func (c *cover) fill(contours ...[]r2.Vec) {
	for y := c.y0; y < c.y1; y++ {
		clear(c.row(y))
	}
	lo, hi := bounds(contours)
	c.x0, c.x1 = span(lo.X, hi.X, c.aperture.reach+2, c.w)
	c.y0, c.y1 = span(lo.Y, hi.Y, c.aperture.reach+2, c.h)
	if c.x0 >= c.x1 || c.y0 >= c.y1 {
		c.x0, c.x1, c.y0, c.y1 = 0, 0, 0, 0
		return
	}
	for _, pts := range contours {
		c.add(pts)
	}
	for y := c.y0; y < c.y1; y++ {
		var sum float64
		row := c.row(y)
		for x, d := range row {
			if d == 0 && x > 0 {
				row[x] = row[x-1]
				continue
			}
			sum += float64(d)
			row[x] = unit(sum)
		}
	}
}

// unit limits a sum of rounded numbers to what a share can be.
func unit(v float64) float32 {
	const rounding = 2e-6
	switch {
	case v < rounding:
		return 0
	case v > 1-rounding:
		return 1
	}
	return float32(v)
}

// add adds the change of cover from each column to the next caused by a
// closed contour.
func (c *cover) add(pts []r2.Vec) {
	// A contour of positive area runs down, towards +y, on its right side;
	// cover begins at the left one.
	sign := 1.0
	if area(pts) > 0 {
		sign = -1
	}
	p := pts[len(pts)-1]
	for _, q := range pts {
		d := r2.Sub(q, p)
		if d.Y != 0 {
			n := math.Ceil(r2.Norm(d) / c.aperture.step)
			from := p
			for i := 1.0; i <= n; i++ {
				to := r2.Add(p, r2.Scale(i/n, d))
				c.splat(from, to, sign)
				from = to
			}
		}
		p = q
	}
}

// splat adds the integral of K(i-x) k(j-y) dy over one piece of a contour, as
// differences along the row. The integral of k over the piece is exact, so
// that what one side of a contour adds to a row the other takes away.
func (c *cover) splat(from, to r2.Vec, sign float64) {
	a := &c.aperture
	x := (from.X + to.X) / 2
	top, bottom := math.Min(from.Y, to.Y), math.Max(from.Y, to.Y)
	if x-a.reach > float64(c.w) || bottom+a.reach < 0 || top-a.reach > float64(c.h) {
		return
	}
	j0 := int(math.Ceil(top - a.reach))
	i0 := int(math.Ceil(x - a.reach))
	rows := int(bottom+a.reach) - j0 + 1
	wy := a.sample(c.wy[:rows], float64(j0)-from.Y)
	for j, v := range a.sample(c.wz[:rows], float64(j0)-to.Y) {
		wy[j] = sign * (wy[j] - v)
	}
	wx := a.sample(c.wx[:int(2*a.reach)+2], float64(i0)-x)
	for i := len(wx) - 1; i > 0; i-- {
		wx[i] -= wx[i-1]
	}
	// What begins left of the picture has fully begun at its first column.
	for ; i0 < c.x0 && len(wx) > 1; i0++ {
		wx[1] += wx[0]
		wx = wx[1:]
	}
	i0 = max(i0, c.x0)
	wx = wx[:max(0, min(len(wx), c.x1-i0))]
	for j, v := range wy {
		y := j0 + j
		if y < c.y0 || y >= c.y1 {
			continue
		}
		row := c.pix[y*c.w+i0:]
		for i, u := range wx {
			row[i] += float32(u * v)
		}
	}
}

// sample fills dst with the running integral at u, u+1, ...
func (a *aperture) sample(dst []float64, u float64) []float64 {
	t := (u + a.margin) * perPixel
	k := int(t)
	f := t - float64(k)
	for i := range dst {
		dst[i] = a.runsum[k] + (a.runsum[k+1]-a.runsum[k])*f
		k += perPixel
	}
	return dst
}

// area returns the signed area inside a contour, positive when it runs from
// +x towards +y.
func area(pts []r2.Vec) float64 {
	var sum float64
	p := pts[len(pts)-1]
	for _, q := range pts {
		sum += r2.Cross(p, q)
		p = q
	}
	return sum / 2
}

func bounds(contours [][]r2.Vec) (lo, hi r2.Vec) {
	lo = r2.Vec{X: math.Inf(1), Y: math.Inf(1)}
	hi = r2.Scale(-1, lo)
	for _, pts := range contours {
		for _, p := range pts {
			lo.X, lo.Y = math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)
			hi.X, hi.Y = math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)
		}
	}
	return lo, hi
}

// span returns the pixels from lo to hi with a margin, cut to 0..n.
func span(lo, hi, margin float64, n int) (from, to int) {
	if !(lo <= hi) {
		return 0, 0
	}
	from = int(math.Max(0, math.Floor(lo-margin)))
	to = int(math.Min(float64(n), math.Ceil(hi+margin)+1))
	return from, to
}
