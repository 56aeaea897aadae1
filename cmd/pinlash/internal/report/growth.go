package report

import (
	"fmt"
	"strings"

	"gonum.org/v1/plot/plotter"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// growthRow is a growth of the chain in percent, for the table beside its
// plot.
type growthRow struct {
	Name string
	figure
	Verdict string
}

// mostRows is how many intervals one plot shows below one another.
const mostRows = 24

// growth collects the growths of a chain: of the chain at every inspection,
// its readings, and of single spans; where nothing speaks for the chain, of
// single joints.
func (b *builder) growth(c *chain) {
	var rows []lyingRow
	wholes := false
	add := func(in *inspection, what string, q uncert.Quantity, whole bool, verdict string) {
		c.GrowthRows = append(c.GrowthRows, growthRow{capital(joined(in.Label, what)), b.figure("", q), verdict})
		if !drawable(q.Value, q.Lower, q.Upper) {
			return
		}
		style := ring
		if whole {
			style, wholes = solid, true
		}
		rows = append(rows, lyingRow{clipped(joined(in.Short, what), 24), q.Value, q.Lower, q.Upper, style})
	}
	for _, in := range c.Inspections {
		for _, s := range in.stretches {
			verdict := ""
			if s.Decision != nil {
				verdict = record.SafeName(string(s.Decision.Verdict))
			}
			for _, f := range s.Growth {
				if f.Unit == "%" {
					what := "chain"
					if f.Name == "elongation_worst_place" {
						what, verdict = "worst place", ""
					}
					add(in, what, f.Quantity, f.Name != "elongation_worst_place", verdict)
				}
			}
			for _, r := range s.Readings {
				if q, ok := r.Growth.Find("elongation"); ok {
					add(in, record.SafeName(r.Name), q, false, "")
				}
			}
		}
	}
	for _, in := range c.Inspections {
		for _, p := range in.photos {
			if q, ok := p.record.Results.Find("elongation"); ok {
				add(in, called("span", shorten(stem(p.record.Photo.Path), 60)), q, false, "")
			}
		}
	}
	if len(rows) == 0 {
		for _, row := range c.Joints {
			if q, ok := row.Photo.record.Growth.Find("elongation"); ok {
				what := "joint " + row.Joint
				if row.Joint == "" {
					what = shorten(stem(row.Photo.record.Photo.Path), 60)
				}
				add(row.Photo.at, what, q, false, "")
			}
		}
	}
	if len(rows) == 0 {
		return
	}
	var lines []levelLine
	says := []string{}
	if l := c.limit; l != nil && l.Unit == "%" && drawable(l.Value) {
		lines = append(lines, levelLine{at: l.Value, upright: true, name: fmt.Sprintf("limit %.4g %%", l.Value), colour: bound, dashes: longDash})
		says = append(says, fmt.Sprintf("The limit is %.4g %%.", l.Value))
	}
	caption := "Growth in length with 95 % intervals"
	if len(lines) > 0 {
		caption += ", and the limit (dashed)"
	}
	caption += "."
	if wholes && len(rows) > 1 {
		caption += " Filled marks: the chain; rings: its single spans, places and readings."
	}
	if len(rows) > mostRows {
		caption += fmt.Sprintf(" The first %d of %d; all are in the table.", mostRows, len(rows))
		rows = rows[:mostRows]
	}
	for i, r := range c.GrowthRows {
		if i == mostRows {
			break
		}
		says = append(says, fmt.Sprintf("%s: %s %s, %s.", r.Name, r.Value, r.Unit, r.Interval))
	}
	// From new on, so that the length of the way to the limit is seen.
	lines = append(lines, levelLine{upright: true, colour: faint})
	c.Growth = lyingPlot(rows, "growth, %", lines, caption, strings.Join(says, " "))
	b.trend(c)
}

func joined(at, what string) string {
	if at == "" {
		return what
	}
	return at + ": " + what
}

// clipped cuts a row's label at its end, where it tells least.
func clipped(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// trend draws growth against running, where there are inspections enough to
// show any.
func (b *builder) trend(c *chain) {
	unit := "km"
	running := func(l record.Levels) float64 { return l.DistanceKM }
	if !anyOf(c, running) {
		unit, running = "h", func(l record.Levels) float64 { return l.Hours }
	}
	var s spots
	var xs, ys []float64
	var says []string
	for _, in := range c.Inspections {
		for _, stretch := range in.stretches {
			if q, ok := grownBy(stretch); ok && q.Unit == "%" && (running(in.levels) > 0 || fresh(in.levels, unit)) && drawable(q.Lower, q.Upper, running(in.levels)) {
				s.all = append(s.all, spot{running(in.levels), q.Value, q.Lower, q.Upper, solid})
				xs = append(xs, running(in.levels))
				ys = append(ys, q.Lower, q.Upper)
				says = append(says, fmt.Sprintf("At %.6g %s: %s.", running(in.levels), unit, b.words(q)))
			}
		}
	}
	if len(s.all) < 2 {
		return
	}
	p := newPlot("running, "+unit, "growth, %")
	caption := "Growth at every inspection with its 95 % interval."
	xs = append(xs, 0)
	ys = append(ys, 0)
	if l := c.limit; l != nil && l.Unit == "%" && drawable(l.Value) {
		ys = append(ys, l.Value)
		p.Add(levelLine{at: l.Value, name: fmt.Sprintf("limit %.4g %%", l.Value), colour: bound, dashes: longDash})
	}
	for _, f := range forecasts(c) {
		start, ok1 := f.Find("running_in")
		rate, ok2 := f.Find("growth_rate")
		if !ok1 || !ok2 || rate.Unit != "%/"+unit || !drawable(start.Value, rate.Value) {
			continue
		}
		end := 1.1 * maxOf(xs)
		if at, ok := f.Find("limit_met_at"); ok && drawable(at.Lower, at.Upper) && c.limit != nil && c.limit.Unit == "%" {
			end = max(end, min(at.Upper, 4*maxOf(xs)))
			p.Add(spots{lying: true, all: []spot{{at.Value, c.limit.Value, at.Lower, at.Upper, triangle}}})
			xs = append(xs, min(at.Upper, 4*maxOf(xs)))
			caption += " The line is drawn through the inspections; the triangle stands where it meets the limit, with the 95 % interval for one more inspection there."
		}
		p.Add(line(plotter.XYs{{X: 0, Y: start.Value}, {X: end, Y: start.Value + end*rate.Value}}, ink, shortDash))
		xs = append(xs, end)
		ys = append(ys, start.Value+end*rate.Value)
		break
	}
	p.Add(s)
	room(&p.X, xs...)
	room(&p.Y, ys...)
	c.Trend = finish(p, plotHeight, caption, strings.Join(says, " "))
}

func forecasts(c *chain) []record.Figures {
	var all []record.Figures
	for i := len(c.Inspections) - 1; i >= 0; i-- {
		for _, s := range c.Inspections[i].stretches {
			if len(s.Forecast) > 0 {
				all = append(all, s.Forecast)
			}
		}
	}
	return all
}

func anyOf(c *chain, running func(record.Levels) float64) bool {
	for _, in := range c.Inspections {
		if running(in.levels) > 0 {
			return true
		}
	}
	return false
}

func maxOf(v []float64) float64 {
	most := v[0]
	for _, x := range v {
		most = max(most, x)
	}
	return most
}
