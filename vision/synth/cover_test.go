package synth

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// TestDiscAreaAndCentroid holds the zeroth and first moments of a blurred
// disc, which blur does not change, against pi R^2 and its centre.
func TestDiscAreaAndCentroid(t *testing.T) {
	for _, sigma := range []float64{0, 0.3, 0.6, 1.5, 4} {
		for _, radius := range []float64{5, 60, 217.3} {
			for _, shift := range []r2.Vec{{}, {X: 0.31, Y: -0.44}, {X: 0.5, Y: 0.5}} {
				name := fmt.Sprintf("sigma %g radius %g shift %v", sigma, radius, shift)
				size := 2 * int(radius+8*sigma+5)
				want := r2.Add(r2.Vec{X: float64(size / 2), Y: float64(size / 2)}, shift)
				ap := newAperture(sigma)
				c := newCover(size, size, ap)
				c.fill(disc(want, radius, ap.step))
				area, got := moments(c)
				if r := math.Sqrt(area / math.Pi); math.Abs(r-radius) > 0.001 {
					t.Errorf("%s: radius of equal area %.5f", name, r)
				}
				// Sharp pixels count all their light as if it fell on their
				// centres, which moves the centroid of a small disc; blurred
				// ones do not.
				if d := r2.Norm(r2.Sub(got, want)); d > 0.0005 && sigma > 0 {
					t.Errorf("%s: centroid off by %.5f px", name, d)
				}
			}
		}
	}
}

// moments returns the sum and the centroid of a cover.
func moments(c *cover) (sum float64, mean r2.Vec) {
	each(c, func(x, y int, share float32) {
		v := float64(share)
		sum += v
		mean = r2.Add(mean, r2.Vec{X: v * float64(x), Y: v * float64(y)})
	})
	return sum, r2.Scale(1/sum, mean)
}

// discLight integrates the light that pixel (x, y) takes in from a disc at
// the origin, row by row of the disc, with Simpson's rule and math.Erf: no
// contour and no table.
func discLight(x, y, radius, sigma float64) float64 {
	lo, hi := math.Max(-radius, y-8*sigma-0.5), math.Min(radius, y+8*sigma+0.5)
	if lo >= hi {
		return 0
	}
	row := func(v float64) float64 {
		half := math.Sqrt(math.Max(0, radius*radius-v*v))
		return box(y-v, sigma) * (boxSum(x+half, sigma) - boxSum(x-half, sigma))
	}
	// The ends of the disc, where the rows' length changes fastest, need
	// short steps: v = mid - span cos(a) has them.
	const n = 400
	mid, span := (lo+hi)/2, (hi-lo)/2
	var sum float64
	for i := 0; i <= n; i++ {
		a := math.Pi * float64(i) / n
		w := 2.0
		if i%2 == 1 {
			w = 4
		}
		if i == 0 || i == n {
			w = 1
		}
		sum += w * row(mid-span*math.Cos(a)) * span * math.Sin(a)
	}
	return sum * math.Pi / n / 3
}

// box is a unit box blurred by a Gaussian, boxSum its running integral.
func box(u, sigma float64) float64 {
	return (math.Erf((u+0.5)/sigma/math.Sqrt2) - math.Erf((u-0.5)/sigma/math.Sqrt2)) / 2
}

func boxSum(u, sigma float64) float64 {
	antiderivative := func(t float64) float64 { // of Phi(t/sigma)
		return t*(1+math.Erf(t/sigma/math.Sqrt2))/2 + sigma*math.Exp(-t*t/(2*sigma*sigma))/math.Sqrt(2*math.Pi)
	}
	return antiderivative(u+0.5) - antiderivative(u-0.5)
}

// TestDiscAgainstIntegral compares every pixel near the rim with the integral.
func TestDiscAgainstIntegral(t *testing.T) {
	for _, sigma := range []float64{0.5, 0.7, 1.5} {
		for _, radius := range []float64{10, 60} {
			center := r2.Vec{X: radius + 9.2, Y: radius + 8.7}
			size := 2*int(radius) + 20
			ap := newAperture(sigma)
			c := newCover(size, size, ap)
			c.fill(disc(center, radius, ap.step))
			var worst, shift float64
			var n int
			for y := range size {
				for x := range size {
					d := r2.Sub(r2.Vec{X: float64(x), Y: float64(y)}, center)
					if math.Abs(r2.Norm(d)-radius) > 4 || (x+y)%3 != 0 {
						continue
					}
					diff := float64(c.pix[y*size+x]) - discLight(d.X, d.Y, radius, sigma)
					worst = math.Max(worst, math.Abs(diff))
					shift += diff
					n++
				}
			}
			// Sum of differences over an annulus 8 px wide = mean shift of the edge x length.
			shift *= 8 / float64(n)
			t.Logf("sigma %g radius %g: worst pixel %.1e, edge moved %.1e px", sigma, radius, worst, shift)
			if worst > 5e-4 || math.Abs(shift) > 0.001 {
				t.Errorf("sigma %g radius %g: worst pixel %.1e, edge moved %.1e px", sigma, radius, worst, shift)
			}
		}
	}
}

// TestDiscAgainstEdgeModel compares with the usual model of a blurred rim,
//
//	Phi((R - s^2/(2R) - r)/s), s^2 = sigma^2 + 1/12
//
// which is an approximation: it takes the pixel for a Gaussian.
func TestDiscAgainstEdgeModel(t *testing.T) {
	const radius, size = 80, 200
	center := r2.Vec{X: 99.6, Y: 100.3}
	for _, sigma := range []float64{0.8, 1.5, 3} {
		s := math.Sqrt(sigma*sigma + 1.0/12)
		ap := newAperture(sigma)
		c := newCover(size, size, ap)
		c.fill(disc(center, radius, ap.step))
		var shift, worst float64
		var n int
		for y := range size {
			for x := range size {
				r := math.Hypot(float64(x)-center.X, float64(y)-center.Y)
				if math.Abs(r-radius) > 15 {
					continue
				}
				model := math.Erfc((r-radius+s*s/(2*radius))/s/math.Sqrt2) / 2
				diff := float64(c.pix[y*size+x]) - model
				worst = math.Max(worst, math.Abs(diff))
				shift += diff
				n++
			}
		}
		shift *= 30 / float64(n)
		t.Logf("sigma %g: worst pixel %.1e, edge moved %.1e px", sigma, worst, shift)
		if math.Abs(shift) > 0.003 || worst > 0.003 {
			t.Errorf("sigma %g: worst pixel %.4f, edge moved %.4f px", sigma, worst, shift)
		}
	}
}

// TestCoverAtBorder: a picture cut out of a larger one is the same picture.
func TestCoverAtBorder(t *testing.T) {
	ap := newAperture(1.2)
	center := r2.Vec{X: 60.2, Y: 59.7}
	whole := newCover(120, 120, ap)
	whole.fill(disc(center, 40, ap.step))
	for _, at := range []struct{ x, y, w, h int }{{0, 0, 60, 60}, {60, 60, 50, 50}, {62, 30, 20, 60}, {19, 19, 90, 90}, {0, 0, 10, 10}, {45, 45, 20, 20}} {
		part := newCover(at.w, at.h, ap)
		part.fill(disc(r2.Sub(center, r2.Vec{X: float64(at.x), Y: float64(at.y)}), 40, ap.step))
		for y := range at.h {
			for x := range at.w {
				got, want := part.pix[y*at.w+x], whole.pix[(y+at.y)*120+x+at.x]
				if math.Abs(float64(got-want)) > 1e-5 {
					t.Fatalf("part %v pixel %d,%d: %g, want %g", at, x, y, got, want)
				}
			}
		}
	}
}

// TestCoverEitherWayRound: the sense of a contour does not matter.
func TestCoverEitherWayRound(t *testing.T) {
	ap := newAperture(0.7)
	square := []r2.Vec{{X: 10.25, Y: 10}, {X: 30, Y: 10}, {X: 30, Y: 25.5}, {X: 10.25, Y: 25.5}}
	for range 2 {
		c := newCover(40, 40, ap)
		c.fill(square)
		area, mean := moments(c)
		if math.Abs(area-19.75*15.5) > 0.01 {
			t.Errorf("area %g, want %g", area, 19.75*15.5)
		}
		if d := r2.Norm(r2.Sub(mean, r2.Vec{X: 20.125, Y: 17.75})); d > 0.001 {
			t.Errorf("centroid off by %g", d)
		}
		square[1], square[3] = square[3], square[1]
	}
}
