package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// painter puts the faces of a scene into a picture, outermost first.
type painter struct {
	s     Scene
	out   raster.Gray
	cover *cover
}

// paint returns the light of the scene's faces, evenly lit.
func (s Scene) paint() raster.Gray {
	ap := newAperture(s.Camera.Blur)
	p := &painter{
		s:     s,
		out:   raster.NewGray(s.W, s.H),
		cover: newCover(s.W, s.H, ap),
	}
	j := s.Joint
	ground := s.Background
	if j.BoreR > 0 && j.BushR == 0 {
		ground = j.Bush
	}
	in := ground.shade(s.Seed)
	for y := range s.H {
		row := p.out.Row(y)
		for x := range row {
			row[x] = in.at(x, y)
		}
	}
	if s.Plate.R > 0 {
		far := 2*math.Hypot(float64(s.W), float64(s.H)) + s.Plate.R
		p.over(s.Plate.Face, s.Plate.contour(j.BoreCenter, far, ap.step))
	}
	if j.BoreR > 0 {
		p.joint(j, ap.step)
	}
	if len(s.Chain.Pins) > 1 {
		p.chain(s.Chain, ap.step)
	}
	if s.Grid.Columns > 0 {
		p.grid(s.Grid, ap.step)
	}
	if s.Gauge.R > 0 {
		p.gauge(s.Gauge, ap.step)
	}
	if s.Rule.Marks > 0 {
		p.over(s.Rule.Body, s.Rule.body()...)
		p.inside(s.Rule.Body, Face{Level: s.Rule.Ink}, s.Rule.ink()...)
		for _, d := range s.Rule.Covered {
			p.over(Face{Level: d.Level}, s.Rule.dirt(d))
		}
	}
	return p.out
}

func (p *painter) joint(j Joint, step float64) {
	dark := Face{Level: j.Dark}
	if j.BushR > 0 {
		if j.SeamWidth > 0 {
			p.over(dark, disc(j.BoreCenter, j.BushR+j.SeamWidth, step))
			p.inside(dark, j.Bush, disc(j.BoreCenter, j.BushR, step))
		} else {
			p.over(j.Bush, disc(j.BoreCenter, j.BushR, step))
		}
	}
	around := j.Bush
	if w := j.BoreBreak.Width; w > 0 {
		edge := Face{Level: j.BoreBreak.Level}
		p.inside(around, edge, rim(j.BoreCenter, j.BoreR+w, step, func(t float64) float64 { return j.BoreRim(t) + w }))
		around = edge
	}
	p.inside(around, dark, rim(j.BoreCenter, j.BoreR, step, j.BoreRim))
	around = dark
	if w := j.PinChamfer.Width; w > 0 {
		edge := Face{Level: j.PinChamfer.Level}
		p.inside(around, edge, rim(j.PinCenter, j.PinR, step, j.PinRim))
		p.inside(edge, j.Pin, rim(j.PinCenter, j.PinR-w, step, func(t float64) float64 { return j.PinRim(t) - w }))
		return
	}
	p.inside(around, j.Pin, rim(j.PinCenter, j.PinR, step, j.PinRim))
}

// over lays a face on whatever is there.
func (p *painter) over(f Face, contours ...[]r2.Vec) {
	c := p.cover
	c.fill(p.s.project(contours)...)
	in := f.shade(p.s.Seed)
	for y := c.y0; y < c.y1; y++ {
		out := p.out.Row(y)[c.x0:c.x1]
		for x, share := range c.row(y) {
			if share > 0 {
				out[x] += (in.at(c.x0+x, y) - out[x]) * share
			}
		}
	}
}

// inside puts the face f into the face around it. Unlike over it stays right
// where two edges are nearer to each other than their blur.
func (p *painter) inside(around, f Face, contours ...[]r2.Vec) {
	c := p.cover
	c.fill(p.s.project(contours)...)
	in, on := f.shade(p.s.Seed), around.shade(p.s.Seed)
	for y := c.y0; y < c.y1; y++ {
		out := p.out.Row(y)[c.x0:c.x1]
		for x, share := range c.row(y) {
			switch share {
			case 0:
			case 1:
				out[x] = in.at(c.x0+x, y)
			default:
				out[x] += (in.at(c.x0+x, y) - on.at(c.x0+x, y)) * share
			}
		}
	}
}
