package raster

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Gray is a picture in linear light, 0 black to 1 full scale.
//
// Pix holds H rows of W values, row after row. A Gray never shares its Pix
// with C memory, and functions that take one do not change it.
type Gray struct {
	W, H int
	Pix  []float32
	// Clip is the level from which on a pixel counts as saturated. Zero means
	// that the picture has no known clip level.
	Clip float32
}

// NewGray returns a black picture of w x h pixels.
func NewGray(w, h int) Gray {
	if w < 0 || h < 0 {
		panic("raster: negative size")
	}
	return Gray{W: w, H: h, Pix: make([]float32, w*h)}
}

// At returns the light of pixel (x, y). It panics outside the picture.
func (g Gray) At(x, y int) float32 { return g.Pix[y*g.W+x] }

// Row returns row y; writing to it changes the picture.
func (g Gray) Row(y int) []float32 { return g.Pix[y*g.W : (y+1)*g.W] }

// Inside says whether bilinear sampling at (x, y) needs only pixels of the
// picture.
func (g Gray) Inside(x, y float64) bool {
	return x >= 0 && y >= 0 && x <= float64(g.W-1) && y <= float64(g.H-1)
}

// Bilinear samples the picture at (x, y) between its four neighbours. Outside
// the picture the nearest edge pixel is repeated.
func (g Gray) Bilinear(x, y float64) float64 {
	x = math.Max(0, math.Min(x, float64(g.W-1)))
	y = math.Max(0, math.Min(y, float64(g.H-1)))
	x0, y0 := int(x), int(y)
	x1, y1 := min(x0+1, g.W-1), min(y0+1, g.H-1)
	fx, fy := float32(x)-float32(x0), float32(y)-float32(y0)
	a, b := g.Pix[y0*g.W+x0], g.Pix[y0*g.W+x1]
	c, d := g.Pix[y1*g.W+x0], g.Pix[y1*g.W+x1]
	top := a + (b-a)*fx
	return float64(top + (c+(d-c)*fx-top)*fy)
}

// Ray adds the light at (x, y) and every (dx, dy) further to sum, as Bilinear
// samples it, up to the picture's border. It returns how many values it added.
func (g Gray) Ray(sum []float64, x, y, dx, dy float64) int {
	for i := range sum {
		px, py := x+float64(i)*dx, y+float64(i)*dy
		if !(px >= 0 && py >= 0 && px < float64(g.W-1) && py < float64(g.H-1)) {
			if !g.Inside(px, py) {
				return i
			}
			sum[i] += g.Bilinear(px, py)
			continue
		}
		x0, y0 := int(px), int(py)
		fx, fy := float32(px)-float32(x0), float32(py)-float32(y0)
		up, down := g.Pix[y0*g.W+x0:][:2], g.Pix[(y0+1)*g.W+x0:][:2]
		top := up[0] + (up[1]-up[0])*fx
		sum[i] += float64(top + (down[0]+(down[1]-down[0])*fx-top)*fy)
	}
	return len(sum)
}

// Rescaled returns where a point of a picture lies in the picture at k times its
// size: pixels are squares, and the first has its centre at 0.
func Rescaled(p r2.Vec, k float64) r2.Vec {
	return r2.Vec{X: (p.X+0.5)*k - 0.5, Y: (p.Y+0.5)*k - 0.5}
}

// Half returns the picture at half size, each pixel the mean of a 2 x 2
// block. Pixel (i, j) of the result has its centre at (2i+0.5, 2j+0.5) of g;
// an odd last row or column is dropped.
func (g Gray) Half() Gray {
	h := NewGray(g.W/2, g.H/2)
	h.Clip = g.Clip
	for y := 0; y < h.H; y++ {
		a, b, out := g.Row(2*y), g.Row(2*y+1), h.Row(y)
		for x := range out {
			out[x] = (a[2*x] + a[2*x+1] + b[2*x] + b[2*x+1]) / 4
		}
	}
	return h
}

// Quarter is Half of Half in one go, but for an odd last row or column.
func (g Gray) Quarter() Gray {
	q := NewGray(g.W/4, g.H/4)
	q.Clip = g.Clip
	for y := range q.H {
		a, b, c, d := g.Row(4*y), g.Row(4*y+1), g.Row(4*y+2), g.Row(4*y+3)
		out := q.Row(y)
		for x := range out {
			p := a[4*x : 4*x+4]
			sum := p[0] + p[1] + p[2] + p[3]
			p = b[4*x : 4*x+4]
			sum += p[0] + p[1] + p[2] + p[3]
			p = c[4*x : 4*x+4]
			sum += p[0] + p[1] + p[2] + p[3]
			p = d[4*x : 4*x+4]
			out[x] = (sum + p[0] + p[1] + p[2] + p[3]) / 16
		}
	}
	return q
}
