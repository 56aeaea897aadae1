package overlay

import (
	"fmt"

	"git.sr.ht/~sbinet/gg"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// Caption is the text below the photo.
type Caption struct {
	Title string   // one line
	Lines []string // set in type of one width, so that columns stay columns
	Text  []string // paragraphs, broken into lines as needed
}

type fonts struct {
	size              float64
	bold, mono, plain font.Face
}

// newPen returns a pen for a photo drawn w x h pixels. Its type is a
// forty-fifth of the height, less when the photo is so narrow that the columns
// would not fit.
func newPen(w, h int, zoom float64) (*pen, error) {
	p := &pen{w: float64(w), h: float64(h), zoom: zoom, unit: float64(max(w, h)) / 1000}
	var err error
	p.fonts, err = newFonts(min(p.h/45, p.w/58))
	return p, err
}

func newFonts(size float64) (fonts, error) {
	out := fonts{size: size}
	for _, f := range []struct {
		face *font.Face
		ttf  []byte
	}{{&out.bold, gobold.TTF}, {&out.mono, gomono.TTF}, {&out.plain, goregular.TTF}} {
		parsed, err := opentype.Parse(f.ttf)
		if err != nil {
			return out, err
		}
		*f.face, err = opentype.NewFace(parsed, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

// panel is the caption set in lines.
type panel struct {
	title  string
	lines  []string
	text   []string
	legend []entry
	beside float64 // where the legend's column begins
	height float64
}

// entry is one line of the legend: a sample of what is drawn, so wide, and its
// name.
type entry struct {
	sample func(x, y, width float64)
	width  float64
	name   string
}

const (
	lineSpacing = 1.4 // in sizes of the type
	margin      = 1.0
)

func (p *pen) layOut(d Drawing) panel {
	ruler := gg.NewContext(1, 1) // measures text only
	room := p.w - 2*margin*p.fonts.size
	ruler.SetFontFace(p.fonts.bold)
	out := panel{title: shorten(ruler, d.Caption.Title, room), lines: d.Caption.Lines, legend: p.legend(d)}
	ruler.SetFontFace(p.fonts.plain)
	for _, paragraph := range d.Caption.Text {
		out.text = append(out.text, ruler.WordWrap(paragraph, room)...)
	}
	out.beside = legendAt * p.w
	ruler.SetFontFace(p.fonts.mono)
	for _, line := range out.lines {
		width, _ := ruler.MeasureString(line)
		out.beside = max(out.beside, (margin+1)*p.fonts.size+width)
	}
	rows := 1 + max(len(out.lines), len(out.legend)) + len(out.text)
	out.height = (float64(rows)*lineSpacing + 2*margin) * p.fonts.size
	return out
}

// shorten cuts the text at its front until it fits: the end of a path names
// the photo.
func shorten(ruler *gg.Context, s string, room float64) string {
	if w, _ := ruler.MeasureString(s); w <= room {
		return s
	}
	for r := []rune(s); len(r) > 0; r = r[1:] {
		if w, _ := ruler.MeasureString("…" + string(r)); w <= room {
			return "…" + string(r)
		}
	}
	return ""
}

// legendAt is where the legend's column begins, as a share of the width, unless
// the figures take more of it.
const legendAt = 0.6

func (c panel) draw(p *pen, top float64) {
	size := p.fonts.size
	step := lineSpacing * size
	left, base := margin*size, top+margin*size+size
	p.SetColor(ink)
	p.SetFontFace(p.fonts.bold)
	p.DrawString(c.title, left, base)
	p.SetFontFace(p.fonts.mono)
	for i, line := range c.lines {
		p.DrawString(line, left, base+float64(i+1)*step)
	}
	p.SetFontFace(p.fonts.plain)
	for i, line := range c.text {
		p.DrawString(line, left, base+float64(1+max(len(c.lines), len(c.legend))+i)*step)
	}
	for i, e := range c.legend {
		x, y := c.beside, base+float64(i+1)*step
		e.sample(x, y-0.35*size, e.width)
		p.SetColor(ink)
		p.DrawString(e.name, x+e.width+0.6*size, y)
	}
}

func (p *pen) legend(d Drawing) []entry {
	var out []entry
	if d.MMPerPx > 0 {
		out = append(out, p.scaleBar(d.MMPerPx, unitOf(d.Inch)))
	}
	width := 3.2 * p.fonts.size
	if j := d.Joint; j != nil {
		line := func(x, y, w float64) {
			p.DrawLine(x, y, x+w, y)
			p.SetLineWidth(1.6 * p.unit)
			p.Stroke()
		}
		out = append(out,
			entry{func(x, y, w float64) {
				p.SetColor(boreColour)
				line(x, y, w)
			}, width, "bore of the bush"},
			entry{func(x, y, w float64) {
				p.SetColor(pinColour)
				p.SetDash(pinDash*p.unit, pinGap*p.unit)
				line(x, y, w)
				p.SetDash()
			}, width, "pin"},
			entry{func(x, y, w float64) {
				p.dot(x+w/3, y, boreColour)
				p.dot(x+2*w/3, y, pinColour)
			}, width, "edge points used"},
			entry{func(x, y, w float64) { p.cross(x+w/2, y) }, width, "edge points rejected"})
		if f := arrowFactor(*j); f > 0 {
			out = append(out, entry{func(x, y, w float64) { p.arrow(x, y, x+w, y) }, width, fmt.Sprintf("offset of the pin, drawn %g times", f)})
		}
	}
	if d.Span != nil {
		out = append(out, p.spanLegend(*d.Span, width)...)
	}
	if d.Motion != nil {
		out = append(out, p.motionLegend(*d.Motion, width)...)
	}
	if d.Gauge != nil {
		out = append(out, entry{func(x, y, w float64) {
			p.SetColor(scaleColour)
			p.SetLineWidth(1.6 * p.unit)
			p.DrawLine(x, y, x+w, y)
			p.Stroke()
		}, width, "rim of the gauge"})
	}
	if d.Grid != nil {
		out = append(out, entry{func(x, y, w float64) { p.dot(x+w/2, y, scaleColour) }, width, fmt.Sprintf("points of the grid, %d found", len(d.Grid.Points))})
	}
	if len(d.Rules) > 0 {
		marks := 0
		for _, r := range d.Rules {
			marks += len(r.Ticks)
		}
		out = append(out, entry{p.sampleMarks, width, fmt.Sprintf("marks of the scale, %d found", marks)})
	}
	return out
}

// lengthUnit is one in which lengths are written.
type lengthUnit struct {
	name     string
	mm       float64
	decimals int // to a tenth of a micrometre or finer
}

func unitOf(inch bool) lengthUnit {
	if inch {
		return lengthUnit{"in", 25.4, 6}
	}
	return lengthUnit{"mm", 1, 4}
}

// scaleBar is one unit long where that suits the photo, else a power of ten of
// it.
func (p *pen) scaleBar(mmPerPx float64, unit lengthUnit) entry {
	length := 1.0
	drawn := func() float64 { return length * unit.mm / mmPerPx * p.zoom }
	for drawn() > p.w*(1-legendAt)/2 {
		length /= 10
	}
	for drawn() < 20*p.unit {
		length *= 10
	}
	bar := func(x, y, w float64) {
		end := 4 * p.unit
		p.SetColor(ink)
		p.SetLineWidth(2 * p.unit)
		p.DrawLine(x, y, x+w, y)
		p.DrawLine(x, y-end, x, y+end)
		p.DrawLine(x+w, y-end, x+w, y+end)
		p.Stroke()
	}
	return entry{bar, drawn(), fmt.Sprintf("%.6g %s", length, unit.name)}
}

func (p *pen) sampleMarks(x, y, w float64) {
	for i := range 6 {
		half := 3 * p.unit
		if i == 0 || i == 5 {
			half *= 2
		}
		mark := x + w*float64(i)/5
		p.DrawLine(mark, y-half, mark, y+half)
	}
	p.DrawLine(x, y, x+w, y)
	p.stroke(scaleColour, 1.1)
}
