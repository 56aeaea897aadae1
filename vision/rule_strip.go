package vision

import (
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
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

// profile appends to out the light at u = u0, u0+1, ... (n samples), averaged
// over rows from v0 to v1 along the lean of a mark at u. At most maxRows rows
// are read. Rows that leave the picture are skipped; it returns the number of
// rows read.
func (f ruleFrame) profile(g raster.Gray, out []float64, u, u0 float64, n int, v0, v1 float64, maxRows int) ([]float64, int) {
	rows := max(1, min(maxRows, int(v1-v0)+1))
	step := 0.0
	if rows > 1 {
		step = (v1 - v0) / float64(rows-1)
	}
	first := len(out)
	for range n {
		out = append(out, 0)
	}
	sum := out[first:]
	lean := f.lean(u)
	read := 0
	for r := range rows {
		v := v0 + float64(r)*step
		p := f.at(u0+lean*v, v)
		end := r2.Add(p, r2.Scale(float64(n-1), f.along))
		if !g.Inside(p.X, p.Y) || !g.Inside(end.X, end.Y) {
			continue
		}
		read++
		sampleLine(g, sum, p, f.along)
	}
	if read > 0 {
		for i := range sum {
			sum[i] /= float64(read)
		}
	}
	return out, read
}

// sampleLine adds to sum the light at p, p+d, p+2d, ..., all of which lie
// inside the picture.
func sampleLine(g raster.Gray, sum []float64, p, d r2.Vec) {
	x, y := p.X, p.Y
	for i := range sum {
		x0, y0 := min(int(x), g.W-2), min(int(y), g.H-2)
		fx, fy := float32(x-float64(x0)), float32(y-float64(y0))
		o := y0*g.W + x0
		a, b := g.Pix[o], g.Pix[o+1]
		c, e := g.Pix[o+g.W], g.Pix[o+g.W+1]
		top := a + (b-a)*fx
		sum[i] += float64(top + (c+(e-c)*fx-top)*fy)
		x += d.X
		y += d.Y
	}
}

// window returns the first sample's u and the number of samples, one pixel
// apart, for a look at the mark near u: half pixels to either side, less where
// the picture ends. The samples lie evenly about u, so that what the model of
// a mark leaves out pulls neither way.
func (f ruleFrame) window(g raster.Gray, u, v0, v1 float64, half int) (u0 float64, n int) {
	lean := f.lean(u)
	inside := func(i int) bool {
		at := u + float64(i)
		p, q := f.at(at+lean*v0, v0), f.at(at+lean*v1, v1)
		return g.Inside(p.X, p.Y) && g.Inside(q.X, q.Y)
	}
	lo, hi := -half, half
	for lo < 0 && !inside(lo) {
		lo++
	}
	for hi > 0 && !inside(hi) {
		hi--
	}
	return u + float64(lo), hi - lo + 1
}
