package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"pinlash/measure/compare"
)

// studyRow is a row of the plot of all joints: a chain with its joints, or a
// revision with the mean of its chains.
type studyRow struct {
	label       string
	joints      []float64
	mean        float64
	low, high   float64 // equal where no interval is known
	revision    bool
	withoutMean string // said instead of a mean
}

const (
	studyRowHeight = 27
	jointRadius    = 2.4
	besideMean     = 7 // points that the joints lie below their chain's mean
)

// studyRows draws rows from the top down.
type studyRows []studyRow

func (rows studyRows) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	whisker := draw.LineStyle{Color: ink, Width: 1.2}
	for i, r := range rows {
		at := y(float64(len(rows) - 1 - i))
		if r.revision && i > 0 {
			above := y(float64(len(rows)-1-i) + 0.5)
			c.StrokeLine2(draw.LineStyle{Color: faint, Width: 0.8}, c.Min.X, above, c.Max.X, above)
		}
		if r.withoutMean != "" {
			style := p.X.Tick.Label
			style.XAlign, style.YAlign = draw.XLeft, draw.YCenter
			left, right := c.Min.X+2, c.Min.X+6+style.Width(r.withoutMean)
			c.FillPolygon(paper, []vg.Point{{X: left, Y: at - 8}, {X: right, Y: at - 8}, {X: right, Y: at + 8}, {X: left, Y: at + 8}})
			c.FillText(style, vg.Point{X: c.Min.X + 4, Y: at}, r.withoutMean)
			continue
		}
		// All joints of a chain are one path, so that thousands stay small.
		var path vg.Path
		below := at - besideMean
		for _, v := range r.joints {
			path.Move(vg.Point{X: x(v) + jointRadius, Y: below})
			path.Arc(vg.Point{X: x(v), Y: below}, jointRadius, 0, 2*math.Pi)
		}
		if r.joints != nil {
			c.SetLineStyle(draw.LineStyle{Color: ink, Width: 0.9})
			c.Stroke(path)
		}
		style := solid
		if r.revision {
			style = revisionMark
		}
		if r.low < r.high {
			c.StrokeLine2(whisker, x(r.low), at, x(r.high), at)
			for _, end := range []float64{r.low, r.high} {
				c.StrokeLine2(whisker, x(end), at-3, x(end), at+3)
			}
		}
		c.DrawGlyph(style, vg.Point{X: x(r.mean), Y: at})
	}
}

// revisionMark stands for the mean of a revision.
var revisionMark = draw.GlyphStyle{Color: ink, Radius: 4.5, Shape: draw.BoxGlyph{}}

// mostChains is how many chains the plot of all joints has room for.
const mostChains = 36

// jointsPlot draws every joint of the last inspections, the means of the chains
// and, where it has several, of the revision.
func jointsPlot(all []*studied, figure, length string) plotted {
	var rows studyRows
	var ends []float64
	var says []string
	left := 0
	revisions := revisionsOf(all)
	share := max(1, mostChains/len(revisions))
	for _, revision := range revisions {
		head := studyRow{label: clipped("all "+revision, 16), revision: true, withoutMean: "one chain: no mean of the revision"}
		means := compare.NewStudy(length, "")
		var chains studyRows
		for _, s := range all {
			if s.revision != revision {
				continue
			}
			i := len(s.rounds) - 1
			mean, err := s.mean(i, length)
			if err != nil || s.addTo(means, i) != nil {
				continue
			}
			r := studyRow{label: clipped(s.name, 16), joints: s.rounds[i].joints(), mean: mean.Mean, low: mean.Mean, high: mean.Mean}
			text := bare(mean.Mean, length) + " " + length
			if q := mean.Interval; q != nil && drawable(q.Lower, q.Upper) {
				r.low, r.high = q.Lower, q.Upper
				text = units{}.words(*q)
			}
			says = append(says, fmt.Sprintf("%s: %s, mean %s.", capital(called("chain", s.name)), count(len(r.joints), "joint", "joints"), text))
			chains = append(chains, r)
		}
		if f, err := means.At(""); err == nil && len(chains) > 1 {
			if got, err := compare.Compare(f, 0); err == nil {
				r := got.Revisions[0]
				head.withoutMean = ""
				head.mean, head.low, head.high = r.Mean, r.Interval.Lower, r.Interval.Upper
				says = append(says, fmt.Sprintf("%s: mean of the chains %s.", capital(called("revision", revision)), units{}.words(*r.Interval)))
			}
		}
		if len(chains) > share {
			left += len(chains) - share
			chains = chains[:share]
		}
		if len(rows)+len(chains) >= 2*mostChains {
			left += len(chains)
			continue
		}
		rows = append(append(rows, head), chains...)
	}
	for _, r := range rows {
		if r.withoutMean == "" {
			ends = append(ends, r.low, r.high)
			ends = append(ends, r.joints...)
		}
	}
	if ends == nil {
		return plotted{}
	}
	labels := make([]string, len(rows))
	for i, r := range rows {
		labels[len(rows)-1-i] = r.label
	}
	p := newPlot(figure+", "+length, "")
	room(&p.X, ends...)
	p.NominalY(labels...)
	p.Y.Min, p.Y.Max = -0.7, float64(len(rows))-0.4
	if p.X.Min < 0 && p.X.Max > 0 {
		p.Add(levelLine{upright: true, colour: faint})
	}
	p.Add(rows)
	caption := "Every joint of the last inspections (small rings), the mean of each chain (filled circle) and of each revision's chains (square), with 95 % intervals."
	if left > 0 {
		caption += fmt.Sprintf(" %d chains have no room here; they are in the table and in the means.", left)
	}
	return finish(p, 66+studyRowHeight*float64(len(rows)), caption, strings.Join(says, " "))
}

// series is a chain's figures against how far it had run.
type series struct {
	label    string
	revision int // its number among the revisions
	at       []spot
}

// meanSeries are the means of the chains' joints.
func meanSeries(all []*studied, length string) []series {
	revisions := revisionsOf(all)
	var out []series
	for _, s := range all {
		line := series{label: s.name, revision: slices.Index(revisions, s.revision)}
		for i, r := range s.rounds {
			mean, err := s.mean(i, length)
			if !r.known() || err != nil {
				continue
			}
			at := spot{x: r.distance, y: mean.Mean, low: mean.Mean, high: mean.Mean}
			if q := mean.Interval; q != nil && drawable(q.Lower, q.Upper) {
				at.low, at.high = q.Lower, q.Upper
			}
			line.at = append(line.at, at)
		}
		if line.at != nil {
			out = append(out, line)
		}
	}
	return out
}

// mostNamed is how many lines of a plot are named at their ends.
const mostNamed = 10

// The revisions are told apart by their marks and the dashes of their lines;
// the words are for the caption.
var revisionStyles = []struct {
	mark   draw.GlyphStyle
	dashes []vg.Length
	words  string
}{
	{solid, nil, "filled circles"},
	{hollow, longDash, "open squares"},
	{triangle, shortDash, "triangles"},
	{ring, []vg.Length{9, 3, 2, 3}, "rings"},
}

// ranPlot draws figures against running distance, the inspections of a chain
// joined.
func (b *builder) ranPlot(all []series, revisions []string, x, y, of string) plotted {
	lines := ranLines{all: all, apart: ranApart(all)}
	lines.named = len(all) > 1 && len(all) <= mostNamed
	p := newPlot(x, y)
	xs, ys := []float64{0}, []float64{0}
	var says []string
	alone := false
	for _, s := range all {
		for _, at := range s.at {
			xs, ys = append(xs, at.x), append(ys, at.low, at.high)
			alone = alone || at.low == at.high
			says = append(says, fmt.Sprintf("%s at %s: %s.", capital(called("chain", s.label)), grouped(at.x), significant(at.y, 3)))
		}
	}
	room(&p.X, xs...)
	room(&p.Y, ys...)
	p.X.Min = -0.02 * p.X.Max
	if lines.apart > 0 {
		p.X.Min = -0.06 * p.X.Max
		p.X.Max *= 1.03
	}
	height := float64(plotHeight)
	if lines.named {
		lines.width = p.X.Tick.Label.Width(longest(all)) + 16
		height = max(height, 90+15*float64(len(all)))
	}
	p.Add(lines)
	caption := fmt.Sprintf("The %s against running, with its 95 %% interval; the inspections of a chain are joined.", of)
	caption += marks(revisions)
	if alone {
		caption += " A mark without an interval stands for one joint."
	}
	if lines.apart > 0 {
		caption += " Chains at one distance are drawn a little beside each other."
	}
	if len(all) > mostNamed {
		caption += " There are too many chains to name here; the table has them."
	}
	return finish(p, height, caption, strings.Join(says, " "))
}

func longest(all []series) string {
	most := ""
	for _, s := range all {
		if label := clipped(s.label, 14); len([]rune(label)) > len([]rune(most)) {
			most = label
		}
	}
	return most
}

// ranApart is by how much chains are drawn beside each other, in points: not
// at all where no two were seen at one distance.
func ranApart(all []series) vg.Length {
	seen := map[float64]bool{}
	for _, s := range all {
		here := map[float64]bool{}
		for _, at := range s.at {
			if seen[at.x] {
				return vg.Length(min(6, 30/float64(len(all))))
			}
			here[at.x] = true
		}
		for x := range here {
			seen[x] = true
		}
	}
	return 0
}

// ranLines draws the lines of chains with their names at the right.
type ranLines struct {
	all   []series
	apart vg.Length
	named bool
	width vg.Length // that the names take
}

func (l ranLines) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	type end struct {
		at    vg.Point
		label string
	}
	var ends []end
	for i, s := range l.all {
		style := revisionStyles[s.revision%len(revisionStyles)]
		shift := l.apart * vg.Length(float64(i)-float64(len(l.all)-1)/2)
		at := func(s spot) vg.Point { return vg.Point{X: x(s.x) + shift, Y: y(s.y)} }
		var joined []vg.Point
		for _, spot := range s.at {
			joined = append(joined, at(spot))
		}
		if len(joined) > 1 {
			c.StrokeLines(draw.LineStyle{Color: accent, Width: 1.4, Dashes: style.dashes}, joined)
		}
		whisker := draw.LineStyle{Color: ink, Width: 1.1}
		for _, spot := range s.at {
			from := at(spot)
			if spot.low < spot.high {
				c.StrokeLine2(whisker, from.X, y(spot.low), from.X, y(spot.high))
				for _, end := range []vg.Length{y(spot.low), y(spot.high)} {
					c.StrokeLine2(whisker, from.X-3, end, from.X+3, end)
				}
			}
			c.DrawGlyph(style.mark, from)
		}
		ends = append(ends, end{joined[len(joined)-1], clipped(s.label, 14)})
	}
	if !l.named {
		return
	}
	// Names stand one below the other, as near to their lines' ends as they
	// have room.
	slices.SortStableFunc(ends, func(a, b end) int { return int(math.Copysign(1, float64(b.at.Y-a.at.Y))) })
	const step = 15
	label := p.X.Tick.Label
	label.XAlign, label.YAlign = draw.XLeft, draw.YCenter
	left := c.Max.X + 14
	next := c.Max.Y - step/2
	for i, e := range ends {
		// Those below need their room too.
		lowest := c.Min.Y + step/2 + step*vg.Length(len(ends)-1-i)
		at := min(next, max(e.at.Y, lowest))
		next = at - step
		c.StrokeLine2(draw.LineStyle{Color: faint, Width: 0.7}, e.at.X+6, e.at.Y, left-3, at)
		c.FillText(label, vg.Point{X: left, Y: at}, e.label)
	}
}

// GlyphBoxes keeps room for the names at the right.
func (l ranLines) GlyphBoxes(p *plot.Plot) []plot.GlyphBox {
	if !l.named {
		return nil
	}
	return []plot.GlyphBox{{X: 1, Y: 0.5, Rectangle: vg.Rectangle{Max: vg.Point{X: l.width}}}}
}
