package overlay

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"math"

	"git.sr.ht/~sbinet/gg"
	"github.com/disintegration/imaging"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// Drawing is what is drawn. What was not found stays empty.
type Drawing struct {
	Rules   []geom.Rule
	Gauge   *geom.Circle
	Grid    *geom.Grid
	Joint   *geom.JointEdges
	Span    *Span
	Motion  *Motion
	MMPerPx float64 // for the scale bar; 0 draws none
	Inch    bool    // lengths in inches, else in mm
	Caption Caption
}

// The colours keep apart for most kinds of colour blindness (the palette of
// Okabe and Ito, 2008).
var (
	boreColour  = color.NRGBA{0xd5, 0x5e, 0x00, 0xff}
	pinColour   = color.NRGBA{0x00, 0x72, 0xb2, 0xff}
	scaleColour = color.NRGBA{0x8f, 0x2f, 0x7a, 0xff}
	ink         = color.NRGBA{0x1c, 0x1c, 0x1c, 0xff}
	paper       = color.NRGBA{0xfa, 0xf8, 0xf3, 0xff}
)

// Draw returns the photo with the drawing on it and its caption below.
func Draw(photo image.Image, d Drawing) (image.Image, error) {
	size := photo.Bounds().Size()
	if size.X < 1 || size.Y < 1 {
		return nil, errors.New("picture has no pixels")
	}
	zoom := enlargement(size.X, size.Y)
	w, h := int(math.Round(float64(size.X)*zoom)), int(math.Round(float64(size.Y)*zoom))
	p, err := newPen(w, h, zoom)
	if err != nil {
		return nil, err
	}
	panel := p.layOut(d)
	plot := 0.0 // its height
	if d.Motion != nil && len(d.Motion.Track) > 0 {
		plot = math.Round(trackHeight * float64(h))
	}
	p.Context = gg.NewContext(w, h+int(math.Ceil(plot+panel.height)))
	p.SetLineCapButt()
	p.SetColor(paper)
	p.Clear()
	if w != size.X || h != size.Y {
		photo = imaging.Resize(photo, w, h, imaging.Linear)
	}
	// Copied, not drawn: p would resample it.
	draw.Draw(p.Image().(*image.RGBA), image.Rect(0, 0, w, h), photo, photo.Bounds().Min, draw.Src)
	for _, rule := range d.Rules {
		p.rule(rule)
	}
	if d.Gauge != nil {
		p.gauge(*d.Gauge)
	}
	if d.Grid != nil {
		for _, point := range d.Grid.Points {
			x, y := p.at(point.At)
			p.dot(x, y, scaleColour)
		}
	}
	if d.Joint != nil {
		p.joint(*d.Joint)
	}
	if d.Span != nil {
		p.span(*d.Span, d.Rules)
	}
	if d.Motion != nil {
		p.motion(*d.Motion)
		p.SetColor(paper) // over what reaches out of the photo
		p.DrawRectangle(0, float64(h), float64(w), plot+panel.height+1)
		p.Fill()
		p.track(d.Motion.Track, unitOf(d.Inch), float64(h), plot)
	}
	panel.draw(p, float64(h)+plot)
	return p.Image(), nil
}

// PNG returns the picture as a PNG file.
func PNG(img image.Image) ([]byte, error) {
	var b bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	err := enc.Encode(&b, img)
	return b.Bytes(), err
}

// JPEG returns the picture as a JPEG file, a tenth as large and good enough to
// look at.
func JPEG(img image.Image) ([]byte, error) {
	var b bytes.Buffer
	err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 85})
	return b.Bytes(), err
}

// pen draws in the pixels of the photo; lengths of its own, like the width of
// a line, are multiples of unit, a thousandth of the drawn photo's long side.
type pen struct {
	*gg.Context
	w, h  float64 // of the drawn photo
	zoom  float64
	unit  float64
	fonts fonts
}

// at returns where a place of the photo is drawn: there the centre of the
// first pixel is (0, 0), here its corner is.
func (p *pen) at(v r2.Vec) (x, y float64) { return (v.X + 0.5) * p.zoom, (v.Y + 0.5) * p.zoom }

// stroke draws the path twice, so that the line stands out on any metal.
func (p *pen) stroke(c color.Color, width float64) {
	p.SetColor(color.NRGBA{0xff, 0xff, 0xff, 0xb0})
	p.SetLineWidth((width + 1.6) * p.unit)
	p.StrokePreserve()
	p.SetColor(c)
	p.SetLineWidth(width * p.unit)
	p.Stroke()
}

// The pin's circle is dashed: so long a dash, so long a gap.
const (
	pinDash = 9
	pinGap  = 6
)

func (p *pen) joint(j geom.JointEdges) {
	p.circle(j.BoreFit, boreColour)
	p.SetDash(pinDash*p.unit, pinGap*p.unit)
	p.circle(j.PinFit, pinColour)
	p.SetDash()
	p.points(j.Bore, boreColour)
	p.points(j.Pin, pinColour)
	p.offset(j)
}

func (p *pen) circle(c geom.Circle, colour color.Color) {
	if c.R <= 0 {
		return
	}
	x, y := p.at(c.Center)
	p.SetColor(colour)
	p.SetLineWidth(1.1 * p.unit)
	p.DrawCircle(x, y, c.R*p.zoom)
	p.Stroke()
}

// gauge draws the rim of a gauge and a cross on its centre.
func (p *pen) gauge(c geom.Circle) {
	p.circle(c, scaleColour)
	x, y := p.at(c.Center)
	s := 5 * p.unit
	p.DrawLine(x-s, y, x+s, y)
	p.DrawLine(x, y-s, x, y+s)
	p.stroke(scaleColour, 1.1)
}

// mostPoints is how many of the points used on one rim are drawn; more would
// hide it. Of those rejected all are.
const mostPoints = 120

func (p *pen) points(points []geom.EdgePoint, colour color.Color) {
	step := max(1, (len(points)+mostPoints-1)/mostPoints)
	for i, point := range points {
		x, y := p.at(point.At)
		switch {
		case point.Rejected:
			p.cross(x, y)
		case i%step == 0:
			p.dot(x, y, colour)
		}
	}
}

func (p *pen) dot(x, y float64, colour color.Color) {
	p.DrawCircle(x, y, 1.9*p.unit)
	p.SetColor(colour)
	p.Fill()
	p.DrawCircle(x, y, 1.0*p.unit)
	p.SetColor(color.White)
	p.Fill()
}

func (p *pen) cross(x, y float64) {
	s := 3 * p.unit
	p.DrawLine(x-s, y-s, x+s, y+s)
	p.DrawLine(x-s, y+s, x+s, y-s)
	p.stroke(ink, 1)
}

// offset draws the arrow from the bore's centre towards the pin's, enlarged.
func (p *pen) offset(j geom.JointEdges) {
	factor := arrowFactor(j)
	if factor == 0 {
		return
	}
	x, y := p.at(j.BoreFit.Center)
	tip := r2.Add(j.BoreFit.Center, r2.Scale(factor, r2.Sub(j.PinFit.Center, j.BoreFit.Center)))
	tx, ty := p.at(tip)
	s := 6 * p.unit
	p.DrawLine(x-s, y, x+s, y)
	p.DrawLine(x, y-s, x, y+s)
	p.stroke(ink, 1.2)
	p.arrow(x, y, tx, ty)
}

func (p *pen) arrow(x, y, tipX, tipY float64) {
	p.DrawLine(x, y, tipX, tipY)
	angle := math.Atan2(tipY-y, tipX-x)
	for _, side := range []float64{-1, 1} {
		sin, cos := math.Sincos(angle + side*0.42)
		p.MoveTo(tipX, tipY)
		p.LineTo(tipX-14*p.unit*cos, tipY-14*p.unit*sin)
	}
	p.stroke(ink, 2)
}

// arrowFactor returns 1, 2 or 5 times a power of ten by which the offset is
// drawn larger, so that the arrow is between a sixth and half as long as the
// bore's radius; 0 without an offset to show.
func arrowFactor(j geom.JointEdges) float64 {
	long := r2.Norm(r2.Sub(j.PinFit.Center, j.BoreFit.Center))
	if long == 0 || j.BoreFit.R <= 0 || j.PinFit.R <= 0 {
		return 0
	}
	return niceBelow(0.5 * j.BoreFit.R / long)
}

// niceBelow returns the largest of 1, 2 and 5 times a power of ten that is not
// above v > 0.
func niceBelow(v float64) float64 {
	power := math.Pow10(int(math.Floor(math.Log10(v))))
	for _, m := range []float64{5, 2} {
		if m*power <= v {
			return m * power
		}
	}
	return power
}

// rule draws a bar over every mark found, every tenth one longer, and the base
// line they were measured on.
func (p *pen) rule(r geom.Rule) {
	if len(r.Ticks) < 2 {
		return
	}
	sin, cos := math.Sincos(r.AngleRad)
	along := r2.Vec{X: cos, Y: sin}
	from, to := r.Ticks[0].At, r.Ticks[0].At
	tenth := tenthPhase(r)
	for _, t := range r.Ticks {
		if r2.Dot(r2.Sub(t.At, from), along) < 0 {
			from = t.At
		}
		if r2.Dot(r2.Sub(t.At, to), along) > 0 {
			to = t.At
		}
		half := 0.35 * r.Period
		if mod(t.K-tenth, 10) == 0 {
			half *= 2.5
		}
		sin, cos := math.Sincos(t.AngleRad)
		bar := r2.Vec{X: half * cos, Y: half * sin}
		ax, ay := p.at(r2.Sub(t.At, bar))
		bx, by := p.at(r2.Add(t.At, bar))
		p.DrawLine(ax, ay, bx, by)
	}
	ax, ay := p.at(from)
	bx, by := p.at(to)
	p.DrawLine(ax, ay, bx, by)
	p.stroke(scaleColour, 1.1)
}

// tenthPhase returns which of the rule's numbers modulo ten is drawn longer:
// that of its own longest marks where they show one, else the first mark's.
func tenthPhase(r geom.Rule) int {
	var sum, n [10]float64
	for _, t := range r.Ticks {
		sum[mod(t.K, 10)] += t.Length
		n[mod(t.K, 10)]++
	}
	best, longest := mod(r.Ticks[0].K, 10), 0.0
	for i := range sum {
		if n[i] > 0 && sum[i]/n[i] > 1.01*longest {
			best, longest = i, sum[i]/n[i]
		}
	}
	if r.LongEvery == 0 {
		return mod(r.Ticks[0].K, 10)
	}
	return best
}

func mod(k, n int) int { return ((k % n) + n) % n }
