package overlay

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// Span is a chain seen from the side: its heads, and for each pitch between
// two of them what is to be written beside it.
type Span struct {
	Heads   geom.Heads
	Pitches []Pitch
}

// Pitch is one pitch of a span.
type Pitch struct {
	Label  string
	Growth *float64 // percent of the new pitch; nil where that is not known
}

// class is a range of growth with the line that stands for it. The lines grow
// from thin to thick and differ in their dashes, so that they are told apart
// without their colours.
type class struct {
	below  float64 // percent
	colour color.NRGBA
	width  float64
	dash   []float64
}

// classes go from no growth to more than any limit allows. The colours run
// from dark to bright and to a warning red (viridis, and vermilion of Okabe and
// Ito).
var classes = []class{
	{0.1, color.NRGBA{0x44, 0x01, 0x54, 0xff}, 2, nil},
	{0.5, color.NRGBA{0x31, 0x68, 0x8e, 0xff}, 3.5, []float64{14, 5}},
	{1, color.NRGBA{0x1f, 0x9e, 0x63, 0xff}, 4.5, []float64{7, 4}},
	{2, color.NRGBA{0xe0, 0xb8, 0x00, 0xff}, 5.5, []float64{3, 3}},
	{math.Inf(1), boreColour, 7, nil},
}

// unknownGrowth is the line of a pitch whose new length is not known.
var unknownGrowth = class{colour: ink, width: 2, dash: []float64{10, 4, 2, 4}}

func classOf(p Pitch) class {
	if p.Growth == nil {
		return unknownGrowth
	}
	for _, c := range classes[:len(classes)-1] {
		if *p.Growth < c.below {
			return c
		}
	}
	return classes[len(classes)-1]
}

// name says what range the class numbered i stands for.
func className(i int) string {
	switch {
	case i == 0:
		return fmt.Sprintf("pitch grown by less than %g %%", classes[0].below)
	case i == len(classes)-1:
		return fmt.Sprintf("%g %% and more", classes[i-1].below)
	}
	return fmt.Sprintf("%g to %g %%", classes[i-1].below, classes[i].below)
}

func (p *pen) line(c class, ax, ay, bx, by float64) {
	dash := make([]float64, len(c.dash))
	for i, d := range c.dash {
		dash[i] = d * p.unit
	}
	p.DrawLine(ax, ay, bx, by)
	p.SetColor(color.NRGBA{0xff, 0xff, 0xff, 0xb0})
	p.SetLineWidth((c.width + 2) * p.unit)
	p.StrokePreserve()
	p.SetDash(dash...)
	p.SetColor(c.colour)
	p.SetLineWidth(c.width * p.unit)
	p.Stroke()
	p.SetDash()
}

// span draws the rims of the heads, a line for every pitch between them, and
// its label.
func (p *pen) span(s Span, rules []geom.Rule) {
	labels := p.placeLabels(s, rules)
	for i, pitch := range s.Pitches {
		if i+1 >= len(s.Heads.Heads) {
			break
		}
		a, b := s.Heads.Heads[i], s.Heads.Heads[i+1]
		ax, ay := p.at(a.Center)
		bx, by := p.at(b.Center)
		p.line(classOf(pitch), ax, ay, bx, by)
		p.pitchLabel(pitch.Label, a, b, labels)
	}
	for _, h := range s.Heads.Heads {
		if h.Filled {
			p.SetDash(pinDash*p.unit, pinGap*p.unit)
		}
		p.circle(geom.Circle{Center: h.Center, R: h.R}, pinColour)
		p.SetDash()
		x, y := p.at(h.Center)
		p.cross(x, y)
	}
}

// placing is on which side of the chain the labels stand, seen from its first
// head to its last, and whether they run towards it.
type placing struct {
	side    float64 // +1 or -1
	towards bool
}

// placeLabels puts the labels away from the rule, or where there is none towards
// the middle of the photo; on the other side if only that has the room.
func (p *pen) placeLabels(s Span, rules []geom.Rule) placing {
	heads := s.Heads.Heads
	if len(heads) < 2 {
		return placing{side: 1}
	}
	first, last := heads[0].Center, heads[len(heads)-1].Center
	normal := across(first, last)
	middle := r2.Scale(0.5, r2.Add(first, last))
	away := r2.Sub(r2.Vec{X: p.w / p.zoom / 2, Y: p.h / p.zoom / 2}, middle)
	if len(rules) > 0 && len(rules[0].Ticks) > 0 {
		ticks := rules[0].Ticks
		away = r2.Sub(middle, ticks[len(ticks)/2].At)
	}
	side := 1.0
	if r2.Dot(away, normal) < 0 {
		side = -1
	}
	if !p.roomFor(s, r2.Scale(side, normal)) && p.roomFor(s, r2.Scale(-side, normal)) {
		side = -side
	}
	return placing{side, side*normal.X < -1e-3} // never upside down
}

// roomFor says whether the longest label fits into the photo beside every
// head.
func (p *pen) roomFor(s Span, normal r2.Vec) bool {
	p.SetFontFace(p.fonts.mono)
	longest := 0.0
	for _, pitch := range s.Pitches {
		width, _ := p.MeasureString(pitch.Label)
		longest = max(longest, width)
	}
	for _, h := range s.Heads.Heads {
		x, y := p.at(r2.Add(h.Center, r2.Scale(labelFoot*h.R+longest/p.zoom, normal)))
		if x < 0 || y < 0 || x > p.w || y > p.h {
			return false
		}
	}
	return true
}

// labelFoot is where a label begins, in radii of the head from the line of the
// chain.
const labelFoot = 1.4

// across is the unit vector square to the way from a to b.
func across(a, b r2.Vec) r2.Vec {
	d := r2.Sub(b, a)
	if r2.Norm2(d) == 0 {
		return r2.Vec{Y: 1}
	}
	d = r2.Unit(d)
	return r2.Vec{X: -d.Y, Y: d.X}
}

// pitchLabel writes away from the chain, square to it, so that the labels of
// neighbouring pitches stay clear of each other.
func (p *pen) pitchLabel(label string, a, b geom.Head, labels placing) {
	if label == "" {
		return
	}
	normal := r2.Scale(labels.side, across(a.Center, b.Center))
	foot := r2.Add(r2.Scale(0.5, r2.Add(a.Center, b.Center)), r2.Scale(labelFoot*max(a.R, b.R), normal))
	x, y := p.at(foot)
	p.SetFontFace(p.fonts.mono)
	width, _ := p.MeasureString(label)
	height := p.fonts.size
	angle := math.Atan2(normal.Y, normal.X)
	anchor := 0.0
	if labels.towards {
		angle += math.Pi
		anchor = 1
	}
	p.Push()
	p.RotateAbout(angle, x, y)
	p.SetColor(color.NRGBA{paper.R, paper.G, paper.B, 0xd0})
	p.DrawRectangle(x-anchor*width-0.25*height, y-0.6*height, width+0.5*height, 1.2*height)
	p.Fill()
	p.SetColor(ink)
	p.DrawStringAnchored(label, x, y, anchor, 0.35)
	p.Pop()
}

// spanLegend names the classes that are in the picture.
func (p *pen) spanLegend(s Span, width float64) []entry {
	sample := func(c class) func(x, y, w float64) {
		return func(x, y, w float64) { p.line(c, x, y, x+w, y) }
	}
	var out []entry
	seen := map[float64]bool{}
	unknown := false
	for _, pitch := range s.Pitches {
		unknown = unknown || pitch.Growth == nil
		seen[classOf(pitch).below] = true
	}
	for i, c := range classes {
		if seen[c.below] {
			out = append(out, entry{sample(c), width, className(i)})
		}
	}
	if unknown {
		out = append(out, entry{sample(unknownGrowth), width, "pitch, new length not known"})
	}
	ends := "rims of the pin heads and their centres"
	if s.Heads.Kind == geom.BushEnd {
		ends = "rims of the bush ends and their centres"
	}
	return append(out, entry{func(x, y, w float64) {
		p.SetColor(pinColour)
		p.SetLineWidth(1.1 * p.unit)
		p.DrawCircle(x+w/2, y, 0.4*p.fonts.size)
		p.Stroke()
		p.cross(x+w/2, y)
	}, width, ends})
}
