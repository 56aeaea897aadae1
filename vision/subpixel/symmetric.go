package subpixel

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// FitSymmetric returns the place near start about which light within reach is
// symmetric, I(c + d) = I(c - d), and its covariance: the middle of a dot, or
// the corner where four squares meet. A blur that is the same on all sides, the
// tone curve and a slant of the camera leave such a place where it is; light
// that rises to one side is fitted along, as a slope of the sum of both sides.
//
// It is least squares of the difference of the two sides, by Gauss and Newton.
// ok is false near the border, where there is nothing to see, and where no such
// place is found.
func FitSymmetric(g raster.Gray, start r2.Vec, reach float64) (at r2.Vec, cov [2][2]float64, ok bool) {
	c := start
	n := int(math.Ceil(reach))
	for pass := range 20 {
		if !(c.X-reach-3 >= 0 && c.Y-reach-3 >= 0 && c.X+reach+3 <= float64(g.W-1) && c.Y+reach+3 <= float64(g.H-1)) {
			return at, cov, false
		}
		m := normal{n: 4}
		weights := 0.0
		for dy := 0; dy <= n; dy++ {
			for dx := -n; dx <= n; dx++ {
				if dy == 0 && dx <= 0 {
					continue // one of each two sides
				}
				x, y := float64(dx), float64(dy)
				d2 := (x*x + y*y) / (reach * reach)
				if d2 >= 1 {
					continue
				}
				// Light enters and leaves the window softly.
				w := 1 - d2*d2
				there, back := quintic(g, c.X+x, c.Y+y), quintic(g, c.X-x, c.Y-y)
				// Both sides' slopes, which are opposite at the place.
				sx := (g.Bilinear(c.X+x+0.5, c.Y+y) - g.Bilinear(c.X+x-0.5, c.Y+y) - g.Bilinear(c.X-x+0.5, c.Y-y) + g.Bilinear(c.X-x-0.5, c.Y-y))
				sy := (g.Bilinear(c.X+x, c.Y+y+0.5) - g.Bilinear(c.X+x, c.Y+y-0.5) - g.Bilinear(c.X-x, c.Y-y+0.5) + g.Bilinear(c.X-x, c.Y-y-0.5))
				sum := (there + back) / reach
				row := [maxParams]float64{w * sx, w * sy, -w * sum * x, -w * sum * y}
				m.add(&row, -w*(there-back))
				weights += w * w
			}
		}
		// A window without light has no slope.
		for i := 2; i < 4; i++ {
			m.a[i][i] += 1e-9
		}
		p, inv, solved := m.solve()
		if !solved || m.count < 8 {
			return at, cov, false
		}
		move := r2.Vec{X: p[0], Y: p[1]}
		if size := r2.Norm(move); size > 1 {
			move = r2.Scale(1/size, move)
		} else if size < 1e-4 || pass == 19 {
			// The mean square that is left over, pair by pair.
			left := m.sumsq
			for i := range 4 {
				left -= p[i] * m.b[i]
			}
			left *= float64(m.count) / float64(m.count-4) / weights
			left /= betweenPixels
			floor, across := symmetricFloor*symmetricFloor, inv[1][0]*left
			cov = [2][2]float64{{inv[0][0]*left + floor, across}, {across, inv[1][1]*left + floor}}
			return r2.Add(c, move), cov, size < 0.01
		}
		c = r2.Add(c, move)
		if r2.Norm(r2.Sub(c, start)) > reach {
			return at, cov, false
		}
	}
	return at, cov, false
}

// symmetricFloor is the standard uncertainty, pixels, that rounding to the
// levels of a file and the pixels' own response leave.
const symmetricFloor = 0.003

// quintic samples the picture at (x, y), three pixels and more from its border,
// by Lagrange's polynomial through six pixels along each axis. Between two or
// four the sides of a sharp edge differ by where the pixels happen to lie, which
// moves the place by up to 0.01 px.
func quintic(g raster.Gray, x, y float64) float64 {
	x0, y0 := math.Floor(x), math.Floor(y)
	wx, wy := lagrange(x-x0), lagrange(y-y0)
	sum := 0.0
	for j, v := range wy {
		row := g.Row(int(y0) - 2 + j)[int(x0)-2:][:6]
		along := 0.0
		for i, w := range wx {
			along += w * float64(row[i])
		}
		sum += v * along
	}
	return sum
}

// lagrange returns the weights of the six values about a place that lies f
// beyond the third.
func lagrange(f float64) [6]float64 {
	a, b, c, d, e, g := f+2, f+1, f, f-1, f-2, f-3
	return [6]float64{
		-b * c * d * e * g / 120,
		a * c * d * e * g / 24,
		-a * b * d * e * g / 12,
		a * b * c * e * g / 12,
		-a * b * c * d * g / 24,
		a * b * c * d * e / 120,
	}
}

// betweenPixels is the share of a pixel's variance that quintic leaves on
// average over all places: the mean square of the weights, 0.8224, along each axis.
const betweenPixels = 0.676
