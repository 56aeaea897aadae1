package overlay

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// Motion is a joint of which one link moved between two photos.
type Motion struct {
	// Fixed and Moving are the squares of the first photo by which the links
	// were followed.
	Fixed, Moving []geom.Tile
	Joint         r2.Vec
	JointR        float64 // of the pin's end, 0 if none was seen
	// Way is how far the moving link went, pixels; zero draws no arrow.
	Way r2.Vec
	// Track is where it was in each frame of a clip; empty for photos.
	Track []TrackPoint
}

// TrackPoint is the place of the moving link in one frame.
type TrackPoint struct {
	Frame   int
	AlongMM float64 // along the pull
	Used    bool    // at rest at one end
	Left    bool    // left out, without a place
}

// wayFactor returns 1, 2 or 5 times a power of ten by which the motion is drawn
// larger, so that its arrow is between a twentieth and an eighth of the photo's
// long side; 0 without one to show.
func (p *pen) wayFactor(m Motion) float64 {
	long := r2.Norm(m.Way)
	if long == 0 {
		return 0
	}
	return niceBelow(max(p.w, p.h) / p.zoom / 8 / long)
}

// motion draws the squares of both links, the outline of the moving one where
// it was and, enlarged, where it went, and the arrow between.
func (p *pen) motion(m Motion) {
	p.tiles(m.Fixed, boreColour)
	p.tiles(m.Moving, pinColour)
	outline := hull(m.Moving)
	p.outline(outline, r2.Vec{})
	p.circle(geom.Circle{Center: m.Joint, R: m.JointR}, pinColour)
	factor := p.wayFactor(m)
	if factor == 0 {
		return
	}
	way := r2.Scale(factor, m.Way)
	p.SetDash(pinDash*p.unit, pinGap*p.unit)
	p.outline(outline, way)
	p.SetDash()
	x, y := p.at(m.Joint)
	tx, ty := p.at(r2.Add(m.Joint, way))
	p.arrow(x, y, tx, ty)
}

// tiles draws a small square in the middle of each tile that took part.
func (p *pen) tiles(tiles []geom.Tile, colour color.Color) {
	for _, t := range tiles {
		if t.Weight <= 0 {
			continue
		}
		p.tile(t, colour)
	}
}

func (p *pen) tile(t geom.Tile, colour color.Color) {
	half := float64(t.Size-1) / 2
	x, y := p.at(r2.Vec{X: float64(t.X) + half, Y: float64(t.Y) + half})
	side := 5 * p.unit
	p.DrawRectangle(x-side/2, y-side/2, side, side)
	p.stroke(colour, 1.1)
}

// outline draws a closed line through the points, moved by way.
func (p *pen) outline(points []r2.Vec, way r2.Vec) {
	if len(points) < 3 {
		return
	}
	for i, v := range points {
		x, y := p.at(r2.Add(v, way))
		if i == 0 {
			p.MoveTo(x, y)
			continue
		}
		p.LineTo(x, y)
	}
	p.ClosePath()
	p.stroke(pinColour, 1.4)
}

// hull returns the convex hull of the corners of the tiles that took part
// (Andrew's monotone chain).
func hull(tiles []geom.Tile) []r2.Vec {
	var v []r2.Vec
	for _, t := range tiles {
		if t.Weight <= 0 {
			continue
		}
		x, y, s := float64(t.X)-0.5, float64(t.Y)-0.5, float64(t.Size)
		v = append(v, r2.Vec{X: x, Y: y}, r2.Vec{X: x + s, Y: y}, r2.Vec{X: x, Y: y + s}, r2.Vec{X: x + s, Y: y + s})
	}
	slices.SortFunc(v, func(a, b r2.Vec) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	half := func(v []r2.Vec) []r2.Vec {
		var out []r2.Vec
		for _, q := range v {
			for n := len(out); n > 1 && r2.Cross(r2.Sub(out[n-1], out[n-2]), r2.Sub(q, out[n-2])) <= 0; n = len(out) {
				out = out[:n-1]
			}
			out = append(out, q)
		}
		return out
	}
	lower := half(v)
	slices.Reverse(v)
	upper := half(v)
	if len(lower) < 2 || len(upper) < 2 {
		return nil
	}
	return append(lower[:len(lower)-1], upper[:len(upper)-1]...)
}

func (p *pen) motionLegend(m Motion, width float64) []entry {
	sample := func(colour color.Color) func(x, y, w float64) {
		return func(x, y, w float64) {
			side := 5 * p.unit
			for _, at := range []float64{w / 4, w / 2, 3 * w / 4} {
				p.DrawRectangle(x+at-side/2, y-side/2, side, side)
				p.stroke(colour, 1.1)
			}
		}
	}
	line := func(x, y, w float64) {
		p.DrawLine(x, y, x+w, y)
		p.stroke(pinColour, 1.4)
	}
	out := []entry{
		{sample(boreColour), width, "places of the fixed link"},
		{sample(pinColour), width, "places of the moving link"},
		{line, width, "moving link in the first photo"},
	}
	if f := p.wayFactor(m); f > 0 {
		out = append(out,
			entry{func(x, y, w float64) {
				p.SetDash(pinDash*p.unit, pinGap*p.unit)
				line(x, y, w)
				p.SetDash()
			}, width, fmt.Sprintf("and in the second, moved %g times as far", f)},
			entry{func(x, y, w float64) { p.arrow(x, y, x+w, y) }, width, fmt.Sprintf("its motion, drawn %g times", f)})
	}
	return out
}

// trackHeight is how high the plot of a clip is, as a share of the photo.
const trackHeight = 0.25

// track plots the motion of a clip below the photo: dots where the link rested
// and was used, a line through all frames with a place.
func (p *pen) track(points []TrackPoint, unit lengthUnit, top, height float64) {
	lo, hi, last := math.Inf(1), math.Inf(-1), 1
	for _, t := range points {
		last = max(last, t.Frame)
		if !t.Left {
			lo, hi = min(lo, t.AlongMM), max(hi, t.AlongMM)
		}
	}
	if !(lo <= hi) {
		return
	}
	size := p.fonts.size
	left, right := 6*size, p.w-2*size
	upper, lower := top+2*size, top+height-2*size
	at := func(t TrackPoint) (x, y float64) {
		share := 0.5
		if hi > lo {
			share = (t.AlongMM - lo) / (hi - lo)
		}
		return left + (right-left)*float64(t.Frame)/float64(last), lower - (lower-upper)*share
	}
	p.SetColor(ink)
	p.SetLineWidth(p.unit)
	p.DrawLine(left, upper, left, lower)
	p.DrawLine(left, lower, right, lower)
	p.Stroke()
	p.SetFontFace(p.fonts.mono)
	for _, end := range []struct{ mm, y float64 }{{hi, upper}, {lo, lower}} {
		step := math.Pow10(unit.decimals)
		v := math.Round(step*end.mm/unit.mm)/step + 0 // no minus zero
		p.DrawStringAnchored(fmt.Sprintf("%.*f", unit.decimals, v), left-0.5*size, end.y, 1, 0.35)
	}
	p.SetFontFace(p.fonts.plain)
	p.DrawString(unit.name+" along the pull; dots: frames at rest that were used", left, upper-0.8*size)
	p.DrawStringAnchored(fmt.Sprintf("frame %d", last), right, lower+0.9*size, 1, 0.35)
	drawing := false
	for _, t := range points {
		if t.Left {
			drawing = false
			continue
		}
		x, y := at(t)
		if drawing {
			p.LineTo(x, y)
		} else {
			p.MoveTo(x, y)
		}
		drawing = true
	}
	p.stroke(ink, 0.8)
	for _, t := range points {
		if t.Used {
			x, y := at(t)
			p.dot(x, y, pinColour)
		}
	}
}
