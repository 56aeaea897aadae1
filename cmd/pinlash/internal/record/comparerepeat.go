package record

import (
	"fmt"
	"io"
	"strconv"

	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// Repeatability is what measuring itself adds to the spread.
type Repeatability struct {
	Basis
	Unit         string          `json:"unit"`
	Limit        digits          `json:"limit,omitempty"`
	People       int             `json:"people"`
	Joints       int             `json:"joints"`
	Times        int             `json:"times"`
	OnePhoto     uncert.Quantity `json:"one_photo"`
	ByAnova      Gauge           `json:"by_anova"`
	ByRange      Gauge           `json:"by_range"`
	InteractionP digits          `json:"interaction_p"`
	Advice       []string        `json:"advice"`
	Notes        []string        `json:"notes"`
}

// Gauge divides the spread of readings, all in standard deviations but the
// last three.
type Gauge struct {
	Repeatability   digits `json:"repeatability"`
	Reproducibility digits `json:"reproducibility"`
	Measuring       digits `json:"measuring"`
	Joints          digits `json:"joints"`
	Total           digits `json:"total"`
	OfTotal         digits `json:"of_total_percent"`
	OfLimit         digits `json:"of_limit_percent,omitempty"`
	Levels          int    `json:"levels"`
}

// NewRepeatability returns the printed form of r.
func NewRepeatability(b Basis, r compare.Repeat, limit float64) Repeatability {
	return Repeatability{
		Basis: b, Unit: r.Unit, Limit: digits(limit), People: r.People, Joints: r.Joints, Times: r.Times, OnePhoto: r.OnePhoto,
		ByAnova: newGauge(r.ByAnova), ByRange: newGauge(r.ByRange), InteractionP: digits(r.InteractionP),
		Advice: r.Advice, Notes: r.Notes,
	}
}

func newGauge(g compare.Gauge) Gauge {
	return Gauge{
		digits(g.Repeatability), digits(g.Reproducibility), digits(g.Measuring), digits(g.Joints), digits(g.Total),
		digits(g.OfTotal), digits(g.OfLimit), g.Levels,
	}
}

// MarshalJSON writes the study without line breaks.
func (r Repeatability) MarshalJSON() ([]byte, error) {
	type fields Repeatability
	r.Advice, r.Notes = notNil(r.Advice), notNil(r.Notes)
	return marshal(struct {
		Kind string `json:"kind"`
		fields
	}{repeatabilityKind, fields(r)})
}

// WriteRepeatability writes the study for people, in one call to w.
func WriteRepeatability(w io.Writer, r Repeatability, style Style) error {
	t := &comparisonTable{style: style}
	people := counted(r.People, "person")
	if r.People > 1 {
		people = fmt.Sprintf("%d people", r.People)
	}
	t.title(r.Basis, fmt.Sprintf("%s by %s, %d photos of each by each", counted(r.Joints, "joint"), people, r.Times))
	unit := t.unit(r.Unit)
	var rows [][]string
	for _, part := range []struct {
		name string
		of   func(Gauge) digits
	}{
		{"repeats by one person", func(g Gauge) digits { return g.Repeatability }},
		{"between people", func(g Gauge) digits { return g.Reproducibility }},
		{"measuring, both", func(g Gauge) digits { return g.Measuring }},
		{"between joints", func(g Gauge) digits { return g.Joints }},
		{"all", func(g Gauge) digits { return g.Total }},
	} {
		a, b := part.of(r.ByAnova), part.of(r.ByRange)
		rows = append(rows, []string{part.name, t.fixed(a, r.Unit), t.fixed(b, r.Unit), unit})
	}
	rows = append(rows, []string{"measuring, of all", percent(r.ByAnova.OfTotal), percent(r.ByRange.OfTotal), "%"})
	if r.Limit > 0 {
		of := "measuring x 6, of " + t.number(float64(r.Limit), r.Unit) + " " + unit
		rows = append(rows, []string{of, percent(r.ByAnova.OfLimit), percent(r.ByRange.OfLimit), "%"})
	}
	rows = append(rows, []string{"levels told apart", strconv.Itoa(r.ByAnova.Levels), strconv.Itoa(r.ByRange.Levels), ""})
	t.table([]string{"spread (sd)", "by variance", "by range", "unit"}, "lrrl", rows)
	p := t.shown(r.OnePhoto).Printed()
	t.say("One photo by one person scatters by %s %s (sd; %s to %s with 95 %% confidence).", p.Value, unit, p.Lower, p.Upper)
	if r.People > 1 {
		if r.InteractionP < 0.05 {
			t.say("People do not rank the joints alike (p %s).", chance(r.InteractionP))
		} else {
			t.say("People rank the joints alike as far as can be seen (p %s).", chance(r.InteractionP))
		}
	}
	for _, a := range r.Advice {
		t.say("Advice: %s.", a)
	}
	t.notes(r.Notes)
	_, err := w.Write(t.Bytes())
	return err
}

func percent(p digits) string { return strconv.FormatFloat(float64(p), 'f', 2, 64) }
