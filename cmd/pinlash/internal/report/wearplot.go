package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"pinlash/cmd/pinlash/internal/record"
)

// Sizes of the wear picture in its own points.
const (
	wearSide  = 300.0
	boreRing  = 98.0
	pinRing   = 66.0
	wearReach = 34.0  // of the largest wear: outward from the bore, inward from the pin
	leastWear = 0.005 // mm; less is not drawn as far as that
	noiseWear = 6     // and neither is less than so many u, which is noise
)

// polar is a drawing about its middle.
type polar struct{ draw.Canvas }

// at returns the point in a direction in degrees, 0 to the right and growing
// downwards, as in the photo.
func (p polar) at(radius, deg float64) vg.Point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return vg.Point{X: vg.Length(wearSide/2 + radius*cos), Y: vg.Length(wearSide/2 - radius*sin)}
}

func (p polar) circle(radius float64, style draw.LineStyle) {
	middle := p.at(0, 0)
	var path vg.Path
	path.Move(p.at(radius, 0))
	path.Arc(middle, vg.Length(radius), 0, 2*math.Pi)
	path.Close()
	p.SetLineStyle(style)
	p.Stroke(path)
}

// arrow points from the middle in a direction and is named at its tail.
func (p polar) arrow(deg float64) {
	style := draw.LineStyle{Color: ink, Width: 2}
	tip := p.at(24, deg)
	p.StrokeLines(style, []vg.Point{p.at(-8, deg), tip})
	for _, barb := range []float64{-155, 155} {
		sin, cos := math.Sincos((deg + barb) * math.Pi / 180)
		p.StrokeLines(style, []vg.Point{tip, {X: tip.X + vg.Length(10*cos), Y: tip.Y - vg.Length(10*sin)}})
	}
	label := newPlot("", "").X.Tick.Label
	label.XAlign, label.YAlign = draw.XCenter, draw.YCenter
	p.FillText(label, p.at(-19, deg), "pull")
}

// rim draws one rim's wear, parted where the rim was not seen.
func (p polar) rim(bins []record.WearBin, radius, scale float64, style draw.LineStyle, wear func(record.WearBin) (float64, bool)) {
	var run []vg.Point
	flush := func() {
		if len(run) > 1 {
			p.StrokeLines(style, run)
		}
		run = nil
	}
	last := math.Inf(-1)
	gap := 2.5 * 360 / float64(len(bins))
	for _, bin := range bins {
		w, seen := wear(bin)
		angle := float64(bin.AngleDeg)
		if !seen || angle-last > gap {
			flush()
		}
		if seen {
			run, last = append(run, p.at(radius+scale*w, angle)), angle
		}
	}
	// The last bin and the first are neighbours.
	if n := len(bins); n > 2 && len(run) > 0 && float64(bins[0].AngleDeg)+360-last <= gap {
		if w, seen := wear(bins[0]); seen {
			run = append(run, p.at(radius+scale*w, float64(bins[0].AngleDeg)))
		}
	}
	flush()
}

func boreWear(b record.WearBin) (float64, bool) {
	if b.Bore == nil {
		return 0, false
	}
	return float64(*b.Bore), true
}

func pinWear(b record.WearBin) (float64, bool) {
	if b.Pin == nil {
		return 0, false
	}
	return float64(*b.Pin), true
}

// wearPlot draws the wear of both rims by direction: the pin's inward, the
// bore's outward, each enlarged from its unworn circle.
func (b *builder) wearPlot(r *record.Record) plotted {
	largest, sum, n := 0.0, 0.0, 0.0
	for _, bin := range r.Profile {
		for _, wear := range []func(record.WearBin) (float64, bool){boreWear, pinWear} {
			if w, seen := wear(bin); seen {
				if !drawable(w) {
					return plotted{Says: "The wear is too large to draw."}
				}
				largest = max(largest, math.Abs(w))
			}
		}
		for _, u := range []float64{number(bin.BoreU), number(bin.PinU)} {
			if u > 0 && drawable(u) {
				sum, n = sum+u, n+1
			}
		}
	}
	if n == 0 {
		return plotted{}
	}
	most := max(leastWear, largest, noiseWear*sum/n)
	// The scale circles stand at a round wear, not far beyond the largest.
	shown, unit := b.length(most)
	step := roundStep(shown / 2)
	scale := wearReach / max(most, most*step/shown)

	c := vgsvg.New(wearSide, wearSide)
	p := polar{draw.New(c)}
	for _, ring := range []struct{ radius, sign float64 }{{boreRing, 1}, {pinRing, -1}} {
		p.circle(ring.radius, draw.LineStyle{Color: faint, Width: 1})
		p.circle(ring.radius+ring.sign*scale*most*step/shown, draw.LineStyle{Color: faint, Width: 1, Dashes: shortDash})
	}
	p.rim(r.Profile, boreRing, scale, draw.LineStyle{Color: accent, Width: 1.8}, boreWear)
	p.rim(r.Profile, pinRing, -scale, draw.LineStyle{Color: ink, Width: 1.8, Dashes: []vg.Length{5, 2}}, pinWear)

	caption := fmt.Sprintf("Wear by direction, enlarged: the bore's outward (solid), the pin's inward (dashed), each from its unworn circle. The dotted circles lie %.3g %s from those. One direction is known to about %s (u).",
		step, unit, b.short(sum/n))
	if q, ok := r.Results.Find("offset_direction"); ok && drawable(q.Value) {
		p.arrow(q.Value)
		caption += " The arrow points to where the pin stands in its bore, along the line of pull."
	}
	says := fmt.Sprintf("Wear of pin and bore by direction; the largest value is %s.", b.short(largest))
	svg, err := figureSVG(c, wearSide, wearSide, says)
	if err != nil {
		return plotted{Says: "The wear could not be drawn."}
	}
	return plotted{svg, caption, says}
}

// short prints a bare length to two digits.
func (b *builder) short(mm float64) string {
	v, unit := b.length(mm)
	return fmt.Sprintf("%.2g %s", v, unit)
}

// number is a printed number, 0 where there is none.
func number[T ~float64](v *T) float64 {
	if v == nil {
		return 0
	}
	return float64(*v)
}
