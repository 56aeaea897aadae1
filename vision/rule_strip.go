package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// ruleFrame are coordinates along a rule: u along its base line, v across it,
// down for a rule read from left to right; both in pixels.
type ruleFrame struct {
	origin r2.Vec
	along  r2.Vec // unit vector of growing u
	// slant is du/dv of the marks' own lines, fan its change per pixel of u:
	// zero for a rule seen straight on.
	slant, fan float64
}

func (f ruleFrame) across() r2.Vec { return r2.Vec{X: -f.along.Y, Y: f.along.X} }

// at returns the pixel of (u, v).
func (f ruleFrame) at(u, v float64) r2.Vec {
	a := f.across()
	return r2.Vec{
		X: f.origin.X + u*f.along.X + v*a.X,
		Y: f.origin.Y + u*f.along.Y + v*a.Y,
	}
}

// of returns the (u, v) of a pixel.
func (f ruleFrame) of(p r2.Vec) (u, v float64) {
	d := r2.Sub(p, f.origin)
	return r2.Dot(d, f.along), r2.Dot(d, f.across())
}

// lean is du/dv of a mark at u.
func (f ruleFrame) lean(u float64) float64 { return f.slant + f.fan*u }

// sampleBin is the width of the bins, in pixels, in which the pixels about a
// mark are gathered: fine against any edge spread.
const sampleBin = 0.5

// stripSum gathers the pixels of one bin.
type stripSum struct{ at, light, n float64 }

// strip gathers the pixels about the mark at u by their distance across it, as
// far as half to either side and from v0 to v1 along it, and appends the
// means to out. The picture is not resampled: that would smear the marks
// differently from place to place. Of tall strips about rows lines of pixels
// are read.
func (f ruleFrame) strip(g raster.Gray, out []subpixel.Sample, sums []stripSum, u, half, v0, v1 float64, rows int) []subpixel.Sample {
	n := int(2 * half / sampleBin)
	sums = sums[:n]
	clear(sums)
	across, lean := f.across(), f.lean(u)
	// q is the distance across the mark, v the one along it.
	qx, qy := f.along.X-lean*across.X, f.along.Y-lean*across.Y
	vx, vy := across.X, across.Y
	outer, inner := g.H, g.W // lines of pixels that run across the mark
	strideIn, strideOut := 1, g.W
	ox, oy := f.origin.X, f.origin.Y
	if math.Abs(vx) > math.Abs(vy) {
		qx, qy, vx, vy = qy, qx, vy, vx
		ox, oy = oy, ox
		outer, inner, strideIn, strideOut = inner, outer, strideOut, strideIn
	}
	// From here on x runs along a line of pixels and y from line to line.
	y0, y1 := math.Inf(1), math.Inf(-1)
	for _, q := range [2]float64{-half, half} {
		for _, v := range [2]float64{v0, v1} {
			p := f.at(u+q+lean*v, v)
			y := p.Y
			if strideIn != 1 {
				y = p.X
			}
			y0, y1 = min(y0, y), max(y1, y)
		}
	}
	step := max(1, int((v1-v0)/float64(rows)))
	for y := max(0, int(math.Ceil(y0))); y <= min(outer-1, int(y1)); y += step {
		// q = q0 + qx x, v = w0 + vx x on this line.
		q0 := qy*(float64(y)-oy) - qx*ox - u
		w0 := vy*(float64(y)-oy) - vx*ox
		lo, hi := span(0, float64(inner-1), q0, qx, -half, half)
		lo, hi = span(lo, hi, w0, vx, v0, v1)
		first := int(math.Ceil(lo))
		at := y*strideOut + first*strideIn
		q := q0 + qx*float64(first)
		for x := first; float64(x) <= hi; x++ {
			i := int((q + half) * (1 / sampleBin))
			if uint(i) < uint(n) {
				s := &sums[i]
				s.at += q
				s.light += float64(g.Pix[at])
				s.n++
			}
			q += qx
			at += strideIn
		}
	}
	for _, s := range sums {
		if s.n > 0 {
			out = append(out, subpixel.Sample{At: u + s.at/s.n, Light: s.light / s.n, Pixels: s.n})
		}
	}
	return out
}

// span narrows lo..hi to where a + b x lies between from and to.
func span(lo, hi, a, b, from, to float64) (float64, float64) {
	if b == 0 {
		if a < from || a > to {
			return 1, 0
		}
		return lo, hi
	}
	l, h := (from-a)/b, (to-a)/b
	if b < 0 {
		l, h = h, l
	}
	return max(lo, l), min(hi, h)
}
