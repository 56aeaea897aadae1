package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Oil is a drop lying on the joint. What is under it is seen moved by Shift,
// darkened to Transmission, and veiled by Haze of light. Its outline is
// irregular about a circle of radius Radius; Glints bright points mirror the
// lamps.
type Oil struct {
	At                 r2.Vec
	Radius             float64
	Shift              r2.Vec
	Transmission, Haze float64
	Glints             int
}

// oiled lays the drops of oil on g.
func (s Scene) oiled(g raster.Gray) {
	if len(s.Camera.Oil) == 0 {
		return
	}
	r := rand.New(rand.NewPCG(s.Seed, 2))
	ap := newAperture(s.Camera.Blur)
	cover := newCover(g.W, g.H, ap)
	for _, drop := range s.Camera.Oil {
		cover.fill(drop.outline(r, ap.step))
		drop.veil(g, cover)
		for range drop.Glints {
			at := r2.Scale(0.35*drop.Radius*math.Sqrt(r.Float64()), direction(2*math.Pi*r.Float64()))
			cover.fill(disc(r2.Add(drop.At, at), 0.01*drop.Radius+0.8, ap.step))
			each(cover, func(x, y int, share float32) {
				v := &g.Pix[y*g.W+x]
				*v += (1 - *v) * share
			})
		}
	}
}

// veil changes what is seen through the drop.
func (o Oil) veil(g raster.Gray, c *cover) {
	under := raster.NewGray(c.x1-c.x0, c.y1-c.y0)
	for y := range under.H {
		row := under.Row(y)
		for x := range row {
			row[x] = float32(g.Bilinear(float64(c.x0+x)+o.Shift.X, float64(c.y0+y)+o.Shift.Y))
		}
	}
	each(c, func(x, y int, share float32) {
		v := &g.Pix[y*g.W+x]
		seen := float32(o.Transmission)*under.At(x-c.x0, y-c.y0) + float32(o.Haze)
		*v += (seen - *v) * share
	})
}

// outline returns the edge of the drop.
func (o Oil) outline(r *rand.Rand, step float64) []r2.Vec {
	var size, phase [5]float64
	for k := range size {
		size[k] = 0.16 * r.NormFloat64() / float64(k+1)
		phase[k] = 2 * math.Pi * r.Float64()
	}
	return rim(o.At, o.Radius, step, func(t float64) float64 {
		v := 1.0
		for k := range size {
			v += size[k] * math.Cos(float64(k+2)*t+phase[k])
		}
		return o.Radius * math.Max(0.3, v)
	})
}

// each calls f for every pixel with a share.
func each(c *cover, f func(x, y int, share float32)) {
	for y := c.y0; y < c.y1; y++ {
		for x, share := range c.row(y) {
			if share > 0 {
				f(c.x0+x, y, share)
			}
		}
	}
}
