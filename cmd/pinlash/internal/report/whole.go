package report

import (
	"fmt"
	"slices"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
)

// whole is what the elongation model says of a chain at one inspection.
type whole struct {
	Label    string
	Source   string
	Span     string
	Figures  []figure
	Readings []readingRow
	Limit    string
	Decision string
	Meaning  string
	Failed   []checkRow
	Passed   []checkRow
	Notes    []string
}

// Budget says whether any figure's uncertainty is known in parts.
func (w whole) Budget() bool {
	return slices.ContainsFunc(w.Figures, func(f figure) bool { return len(f.Parts) > 0 })
}

type camRow struct {
	Name                 string
	Teeth                int
	Strand               string
	Cam, Crank           figure
	ToothCam, ToothCrank string
}

// makerRow is a reading that its maker gives a limit for.
type makerRow struct {
	figure
	Limit, Verdict, Settles string
}

func (b *builder) maker(m record.MakerReading) makerRow {
	row := makerRow{figure: b.figure(m.What, m.Reading)}
	if m.Least > 0 {
		row.Limit = "at least " + b.Length(float64(m.Least))
	} else {
		row.Limit = "at most " + b.Length(float64(m.Most))
	}
	if m.Decision != nil {
		row.Verdict, row.Settles = record.SafeName(string(m.Decision.Verdict)), sentence(m.Decision.Settles)
	}
	return row
}

type crossCheck struct {
	At, Agreement, Difference string
	Missing                   []string
}

// wholes fills what the chain's stretch lines say.
func (b *builder) wholes(c *chain) {
	for _, in := range c.Inspections {
		for _, s := range in.stretches {
			w := whole{Label: capital(in.Full), Source: record.SafeName(s.Source), Figures: b.figures(slices.Concat(s.Results, s.Growth))}
			for _, cam := range s.Cams {
				for _, f := range cam.Figures {
					w.Figures = append(w.Figures, b.figure(record.SafeName(cam.Name)+" "+f.Name, f.Quantity))
				}
			}
			w.Figures = append(w.Figures, b.figures(slices.Concat(s.Drive, s.Running, s.Forecast))...)
			for _, m := range s.Maker {
				w.Figures = append(w.Figures, b.figure(m.What, m.Reading))
			}
			if s.Span != nil {
				w.Span = record.SafeName(s.Span.Words + "; " + s.Span.Reference)
			}
			for _, r := range s.Readings {
				w.Readings = append(w.Readings, readingRow{record.SafeName(r.Name), b.figures(r.Growth)})
			}
			if s.Limit != nil {
				w.Limit = b.limit(s.Limit)
			}
			if s.Decision != nil && s.Limit != nil {
				w.Decision = record.SafeName(s.Decision.Words(s.Limit))
			}
			if s.Batch != nil {
				w.Meaning = record.SafeName(s.Batch.Meaning)
			}
			w.Failed, w.Passed = checkRows(s.Checks)
			for _, note := range s.Notes {
				w.Notes = append(w.Notes, sentence(note))
			}
			c.Whole = append(c.Whole, w)
			if x := s.CrossCheck; x != nil {
				row := crossCheck{At: capital(in.Label), Agreement: sentence(string(x.Agreement)), Difference: b.words(x.Difference)}
				for _, m := range x.Missing {
					row.Missing = append(row.Missing, sentence(m))
				}
				c.CrossCheck = append(c.CrossCheck, row)
			}
		}
		b.drive(c, in)
	}
	slices.Reverse(c.Whole)
}

// drive fills the chain's drive from an inspection that has anything of it, so
// that in the end the latest stands.
func (b *builder) drive(c *chain, in *inspection) {
	var cams []camRow
	var lags []lyingRow
	var says []string
	for _, s := range in.stretches {
		for _, cam := range s.Cams {
			row := camRow{
				Name: shorten(cam.Name, 40), Teeth: cam.Teeth, Strand: fmt.Sprintf("%.4g", cam.Strand),
				ToothCam: fmt.Sprintf("%.4g", cam.ToothCam), ToothCrank: fmt.Sprintf("%.4g", cam.ToothCrank),
			}
			if q, ok := cam.Figures.Find("lag_cam"); ok {
				row.Cam = b.figure("", q)
			}
			if q, ok := cam.Figures.Find("lag_crank"); ok {
				row.Crank = b.figure("", q)
				if drawable(q.Value, q.Lower, q.Upper) && len(lags) < mostRows {
					lags = append(lags, lyingRow{shorten(cam.Name, 18), q.Value, q.Lower, q.Upper, solid})
					says = append(says, fmt.Sprintf("%s: %s.", row.Name, b.words(q)))
				}
			}
			cams = append(cams, row)
		}
		if len(s.Drive) > 0 {
			c.Drive = b.figures(s.Drive)
		}
		if len(s.Running) > 0 {
			c.Running = b.figures(s.Running)
		}
		if len(s.Maker) > 0 {
			c.Maker = nil
			for _, m := range s.Maker {
				c.Maker = append(c.Maker, b.maker(m))
			}
		}
		if len(s.Forecast) > 0 {
			c.Forecast = b.figures(s.Forecast)
		}
	}
	if cams == nil {
		return
	}
	c.Cams, c.CamsAt = cams, in.Label
	c.CamPlot = plotted{}
	if lags != nil {
		c.CamPlot = lyingPlot(lags, "lag at the crank, deg", []levelLine{{at: 0, upright: true, colour: faint}},
			"How far each camshaft lags behind the crankshaft, in degrees of the crank, with 95 % intervals.", strings.Join(says, " "))
	}
}
