package report

import (
	"bytes"
	"fmt"
	"html"
	"html/template"
	"image/color"
	"math"
	"regexp"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// The colours of a drawing are names: in the page they follow the reader's
// scheme, light, dark or print.
var (
	ink     = color.RGBA{1, 1, 1, 255}
	faint   = color.RGBA{2, 2, 2, 255}
	accent  = color.RGBA{3, 3, 3, 255}
	paper   = color.RGBA{4, 4, 4, 255}
	bound   = color.RGBA{5, 5, 5, 255}
	colours = strings.NewReplacer("#010101", "var(--ink)", "#020202", "var(--rule)", "#030303", "var(--accent)", "#040404", "var(--paper)", "#050505", "var(--past)")
)

// Drawings are this wide in points of their own, so that type of 13 points is
// still read on a telephone.
const (
	plotWidth  = 380
	plotHeight = 230
	typeSize   = 13
)

var (
	svgHead   = regexp.MustCompile(`(?s)^.*?<svg[^>]*>`)
	svgStyles = regexp.MustCompile(`style="[^"]*"`)
	svgFont   = regexp.MustCompile(`font-(family|variant|weight|style):[^;"]*;?`)
)

// figureSVG is the canvas as an element of the page. Text in it is escaped by
// package vgsvg, and no attribute but style holds a colour.
func figureSVG(c *vgsvg.Canvas, w, h float64, says string) (template.HTML, error) {
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", err
	}
	body := svgHead.ReplaceAllString(b.String(), "")
	body = svgStyles.ReplaceAllStringFunc(body, func(s string) string {
		return colours.Replace(svgFont.ReplaceAllString(s, ""))
	})
	body = strings.ReplaceAll(body, "\n\t", " ")
	return template.HTML(fmt.Sprintf(`<svg class="plot" viewBox="0 0 %g %g" role="img" aria-label="%s">%s`, w, h, html.EscapeString(says), body)), nil //nolint:gosec // escaped above
}

// newPlot is an empty plot in the page's manner.
func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.X.Label.Text, p.Y.Label.Text = x, y
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Color, axis.Tick.Color = ink, ink
		axis.Width, axis.Tick.Width = 0.8, 0.8
		axis.Tick.Length = 5
		axis.Padding = 4
		axis.Label.Padding = 4
		for _, style := range []*text.Style{&axis.Label.TextStyle, &axis.Tick.Label} {
			style.Color = ink
			style.Font.Variant = "Sans"
			style.Font.Size = typeSize
		}
	}
	return p
}

// finish draws the plot, so high, into the page.
func finish(p *plot.Plot, height float64, caption, says string) plotted {
	c := vgsvg.New(plotWidth, vg.Length(height))
	area := draw.New(c)
	p.Draw(draw.Crop(area, 2, -10, 4, -8))
	svg, err := figureSVG(c, plotWidth, height, says)
	if err != nil {
		return plotted{Says: "The plot could not be drawn."}
	}
	return plotted{SVG: svg, Caption: caption, Says: says}
}

// room widens an axis so that its data do not touch its ends, and so that it
// is never without length.
func room(axis *plot.Axis, values ...float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		low, high = min(low, v), max(high, v)
	}
	pad := 0.06 * (high - low)
	if least := 1e-6 * max(math.Abs(low), math.Abs(high), 1e-3); pad < least {
		pad = least
	}
	axis.Min, axis.Max = low-pad, high+pad
}

// shapes tell kinds of points apart without colour.
var (
	solid    = draw.GlyphStyle{Color: accent, Radius: 4, Shape: draw.CircleGlyph{}}
	hollow   = draw.GlyphStyle{Color: ink, Radius: 4, Shape: open{draw.BoxGlyph{}}}
	ring     = draw.GlyphStyle{Color: ink, Radius: 4, Shape: open{draw.CircleGlyph{}}}
	triangle = draw.GlyphStyle{Color: ink, Radius: 4, Shape: draw.PyramidGlyph{}}
)

// open draws the rim of a filled shape.
type open struct{ draw.GlyphDrawer }

func (o open) DrawGlyph(c *draw.Canvas, style draw.GlyphStyle, at vg.Point) {
	o.GlyphDrawer.DrawGlyph(c, style, at)
	style.Color, style.Radius = paper, style.Radius-1.4
	c.SetColor(paper)
	o.GlyphDrawer.DrawGlyph(c, style, at)
}

// spot is a point with its interval along one axis.
type spot struct {
	x, y, low, high float64 // low and high bound the value
	style           draw.GlyphStyle
}

// spots draws points with their intervals, upright or lying.
type spots struct {
	all   []spot
	lying bool // the interval runs along x
}

// Plot draws the intervals first, so that the marks stand on them.
func (s spots) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, at := range s.all {
		line := draw.LineStyle{Color: ink, Width: 1.2}
		if s.lying {
			c.StrokeLine2(line, x(at.low), y(at.y), x(at.high), y(at.y))
			for _, end := range []float64{at.low, at.high} {
				c.StrokeLine2(line, x(end), y(at.y)-3, x(end), y(at.y)+3)
			}
		} else {
			c.StrokeLine2(line, x(at.x), y(at.low), x(at.x), y(at.high))
			for _, end := range []float64{at.low, at.high} {
				c.StrokeLine2(line, x(at.x)-3, y(end), x(at.x)+3, y(end))
			}
		}
		c.DrawGlyph(at.style, vg.Point{X: x(at.x), Y: y(at.y)})
	}
}

// levelLine is a line across the plot at one value, with its name.
type levelLine struct {
	at      float64
	upright bool
	name    string
	colour  color.Color
	dashes  []vg.Length
}

func (l levelLine) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	line := draw.LineStyle{Color: l.colour, Width: 1.6, Dashes: l.dashes}
	style := p.X.Tick.Label
	style.Color = l.colour
	if l.upright {
		c.StrokeLine2(line, x(l.at), c.Min.Y, x(l.at), c.Max.Y)
		style.YAlign = draw.YTop
		style.XAlign = draw.XLeft
		at := x(l.at) + 3
		if at+style.Width(l.name) > c.Max.X {
			style.XAlign = draw.XRight
			at = x(l.at) - 3
		}
		c.FillText(style, vg.Point{X: at, Y: c.Max.Y + 2}, l.name)
		return
	}
	// The newest data stand at the right.
	c.StrokeLine2(line, c.Min.X, y(l.at), c.Max.X, y(l.at))
	style.XAlign = draw.XLeft
	style.YAlign = draw.YBottom
	c.FillText(style, vg.Point{X: c.Min.X + 2, Y: y(l.at) + 1}, l.name)
}

var (
	longDash  = []vg.Length{7, 4}
	shortDash = []vg.Length{2, 3}
)

// lyingRow is a row of a plot of intervals that lie one below the other.
type lyingRow struct {
	label            string
	value, low, high float64
	style            draw.GlyphStyle
}

// lyingPlot draws rows from the top down.
func lyingPlot(rows []lyingRow, axis string, lines []levelLine, caption, says string) plotted {
	p := newPlot(axis, "")
	var s spots
	s.lying = true
	var ends []float64
	labels := make([]string, len(rows))
	for i, r := range rows {
		at := float64(len(rows) - 1 - i)
		labels[len(rows)-1-i] = r.label
		s.all = append(s.all, spot{r.value, at, r.low, r.high, r.style})
		ends = append(ends, r.low, r.high)
	}
	for _, l := range lines {
		ends = append(ends, l.at)
	}
	room(&p.X, ends...)
	p.NominalY(labels...)
	p.Y.Min, p.Y.Max = -0.6, float64(len(rows))-0.2
	for _, l := range lines {
		p.Add(l)
	}
	p.Add(s)
	return finish(p, 66+22*float64(len(rows)), caption, says)
}

// line joins points.
func line(points plotter.XYs, colour color.Color, dashes []vg.Length) *plotter.Line {
	return &plotter.Line{XYs: points, LineStyle: draw.LineStyle{Color: colour, Width: 1.6, Dashes: dashes}}
}
