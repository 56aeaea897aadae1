package report

import (
	"fmt"
	"strings"

	"gonum.org/v1/plot/plotter"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/geom"
)

// pitchPlot draws the pitches of a span along the chain.
func (b *builder) pitchPlot(r *record.Record) plotted {
	if len(r.Pitches) == 0 {
		return plotted{}
	}
	var s spots
	var xs, ys []float64
	kinds := map[geom.LinkKind]int{}
	for _, pitch := range r.Pitches {
		q := b.of(pitch.Length)
		if !drawable(q.Value, q.Lower, q.Upper) {
			return plotted{Says: "The pitches are too large to draw."}
		}
		style := triangle
		switch pitch.Link {
		case geom.InnerLink:
			style = solid
		case geom.OuterLink:
			style = hollow
		case geom.UnknownLink:
		}
		kinds[pitch.Link]++
		at := float64(pitch.Index)
		s.all = append(s.all, spot{at, q.Value, q.Lower, q.Upper, style})
		xs = append(xs, at)
		ys = append(ys, q.Lower, q.Upper)
	}
	_, unit := b.length(1)
	p := newPlot("pitch number", "pitch, "+unit)
	mean, known := r.Results.Find("mean_pitch")
	if mean = b.of(mean); known && drawable(mean.Value) {
		p.Add(levelLine{at: mean.Value, name: "mean", colour: ink, dashes: shortDash})
		ys = append(ys, mean.Value)
	}
	p.Add(s)
	room(&p.X, xs...)
	room(&p.Y, ys...)
	p.X.Tick.Marker = wholeTicks{}
	var marks []string
	for _, k := range []struct {
		kind geom.LinkKind
		text string
	}{{geom.InnerLink, "filled circles: bridged by inner links"}, {geom.OuterLink, "open squares: by outer links"}, {geom.UnknownLink, "triangles: link not known"}} {
		if kinds[k.kind] > 0 {
			marks = append(marks, k.text)
		}
	}
	caption := "Every pitch with its 95 % interval, " + r.Reference + "; " + strings.Join(marks, ", ") + "."
	return finish(p, plotHeight, caption, fmt.Sprintf("%d pitches, in the table that follows.", len(r.Pitches)))
}

// trackPlot draws the way of the moving link through a clip.
func (b *builder) trackPlot(clip *record.Clip) plotted {
	var runs []plotter.XYs // parted where frames were left out
	var rest spots
	open := false
	low, high := 0.0, 0.0
	for _, t := range clip.Track {
		if t.AlongMM == nil || !drawable(float64(*t.AlongMM)) {
			open = false
			continue
		}
		along, _ := b.length(float64(*t.AlongMM))
		at := plotter.XY{X: float64(t.Frame), Y: along}
		if !open {
			runs, open = append(runs, nil), true
		}
		runs[len(runs)-1] = append(runs[len(runs)-1], at)
		low, high = min(low, along), max(high, along)
		switch t.State {
		case record.Together:
			rest.all = append(rest.all, spot{at.X, at.Y, at.Y, at.Y, solid})
		case record.Apart:
			rest.all = append(rest.all, spot{at.X, at.Y, at.Y, at.Y, hollow})
		}
	}
	if runs == nil {
		return plotted{}
	}
	_, unit := b.length(1)
	p := newPlot("frame", "way along the pull, "+unit)
	for _, run := range runs {
		p.Add(line(run, ink, nil))
	}
	p.Add(rest)
	last := runs[len(runs)-1]
	room(&p.X, runs[0][0].X, last[len(last)-1].X)
	room(&p.Y, low, high)
	return finish(p, plotHeight, "Where the moving link was in each frame. Filled circles: at rest with the links together; open squares: at rest apart; gaps: frames left out.", clip.Words()+".")
}
