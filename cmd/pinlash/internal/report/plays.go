package report

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"pinlash/measure/uncert"
)

// fewPlays is how many plays are drawn one by one; more become a histogram.
const fewPlays = 12

// playPlot draws how the plays of the latest inspection are spread.
func (b *builder) playPlot(c *chain) plotted {
	labels, plays := c.plays()
	if len(plays) == 0 {
		return plotted{}
	}
	_, unit := b.length(1)
	var lines []levelLine
	if fresh, ok := newPlay(c); ok {
		fresh = b.of(fresh)
		lines = append(lines, levelLine{at: fresh.Value, upright: true, name: "new " + fresh.Printed().Value, colour: ink, dashes: shortDash})
	}
	if len(plays) <= fewPlays {
		rows := make([]lyingRow, len(plays))
		says := make([]string, len(plays))
		for i, q := range plays {
			q = b.of(q)
			rows[i] = lyingRow{labels[i], q.Value, q.Lower, q.Upper, solid}
			says[i] = fmt.Sprintf("%s: %s.", labels[i], b.words(q))
		}
		return lyingPlot(rows, "play, "+unit, lines, "Play of every joint measured, with its 95 % interval.", strings.Join(says, " "))
	}
	values := make([]float64, len(plays))
	for i, q := range plays {
		values[i] = b.of(q).Value
	}
	least, most := spread(plays)
	digits := uncert.PrintedTogether(b.of(least), b.of(most))
	says := fmt.Sprintf("%d plays from %s to %s %s, half of them up to %.3g %s.", len(plays), digits[0], digits[1], unit, median(values), unit)
	p := newPlot("play, "+unit, "joints")
	h := binned(values)
	for _, l := range lines {
		p.Add(l)
	}
	p.Add(h)
	ends := []float64{h.from, h.from + h.width*float64(len(h.counts))}
	for _, l := range lines {
		ends = append(ends, l.at)
	}
	room(&p.X, ends...)
	p.Y.Min, p.Y.Max = 0, 1.08*float64(h.most())
	p.Y.Padding = 0
	p.Y.Tick.Marker = wholeTicks{}
	caption := fmt.Sprintf("How many joints have how much play. %s", says)
	return finish(p, plotHeight, caption, says)
}

// newPlay is the play of a new joint, where a line of the chain has it.
func newPlay(c *chain) (uncert.Quantity, bool) {
	for _, in := range c.Inspections {
		for _, s := range in.stretches {
			if q, ok := s.Results.Find("play_new"); ok && drawable(q.Value) {
				return q, true
			}
		}
	}
	return uncert.Quantity{}, false
}

// histogram counts values in steps of one width.
type histogram struct {
	from, width float64
	counts      []int
}

// binned chooses about the square root of the number of values as steps, at
// round places.
func binned(values []float64) histogram {
	low, high := values[0], values[0]
	for _, v := range values {
		low, high = min(low, v), max(high, v)
	}
	if high-low <= 1e-9*max(math.Abs(high), math.Abs(low), 1e-3) {
		width := max(math.Abs(low), 1e-3) / 10
		return histogram{low - width/2, width, []int{len(values)}}
	}
	width := roundStep((high - low) / math.Ceil(math.Sqrt(float64(len(values)))))
	h := histogram{from: width * math.Floor(low/width), width: width}
	h.counts = make([]int, int((high-h.from)/width)+1)
	for _, v := range values {
		h.counts[min(max(int((v-h.from)/width), 0), len(h.counts)-1)]++
	}
	return h
}

func (h histogram) most() int {
	most := 0
	for _, n := range h.counts {
		most = max(most, n)
	}
	return most
}

// Plot draws open bars, hatched so that they read on any ground.
func (h histogram) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	edge := draw.LineStyle{Color: accent, Width: 1.4}
	hatch := draw.LineStyle{Color: accent, Width: 0.6}
	for i, n := range h.counts {
		if n == 0 {
			continue
		}
		left, right := x(h.from+h.width*float64(i)), x(h.from+h.width*float64(i+1))
		low, top := y(0), y(float64(n))
		for at := low + 4; at < top; at += 5 {
			c.StrokeLine2(hatch, left, at, right, at)
		}
		c.StrokeLines(edge, []vg.Point{{X: left, Y: low}, {X: left, Y: top}, {X: right, Y: top}, {X: right, Y: low}, {X: left, Y: low}})
	}
}

// roundStep returns the least of 1, 2 and 5 times a power of ten that is not
// below v, which is above zero.
func roundStep(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, step := range []float64{1, 2, 5} {
		if step*power >= v*(1-1e-9) {
			return step * power
		}
	}
	return 10 * power
}

// wholeTicks marks counts.
type wholeTicks struct{}

func (wholeTicks) Ticks(low, high float64) []plot.Tick {
	step := max(1, roundStep((high-low)/5))
	var ticks []plot.Tick
	for v := 0.0; v <= high; v += step {
		ticks = append(ticks, plot.Tick{Value: v, Label: fmt.Sprintf("%.0f", v)})
	}
	return ticks
}
