package record

import (
	"fmt"
	"io"

	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// Agreement says whether two ways of measuring may stand for each other. The
// ways are those of From, in their order.
type Agreement struct {
	Basis
	Unit string `json:"unit"`
	// Of says what the pairs are of: "joint" or "chain".
	Of          string              `json:"of"`
	Margin      digits              `json:"margin,omitempty"`
	Pairs       int                 `json:"pairs"`
	Bias        uncert.Quantity     `json:"bias"` // the second less the first
	LowerLimit  uncert.Quantity     `json:"lower_limit"`
	UpperLimit  uncert.Quantity     `json:"upper_limit"`
	Slope       *uncert.Quantity    `json:"slope,omitempty"`
	Intercept   *uncert.Quantity    `json:"intercept,omitempty"`
	LineScatter digits              `json:"line_scatter,omitempty"`
	Verdict     compare.Interchange `json:"verdict,omitempty"`
	Notes       []string            `json:"notes"`
}

// NewAgreement returns the printed form of a.
func NewAgreement(b Basis, of string, a compare.Agreement, margin float64) Agreement {
	out := Agreement{
		Basis: b, Unit: a.Bias.Unit, Of: of, Margin: digits(margin), Pairs: a.Pairs,
		Bias: a.Bias, LowerLimit: a.Lower, UpperLimit: a.Upper, Verdict: a.Verdict, Notes: a.Notes,
	}
	if l := a.Line; l != nil {
		slope, intercept := l.Slope.Scaled(1, "1"), l.Intercept.Scaled(1, out.Unit)
		out.Slope, out.Intercept, out.LineScatter = &slope, &intercept, digits(l.Scatter)
	}
	return out
}

// MarshalJSON writes the agreement without line breaks.
func (a Agreement) MarshalJSON() ([]byte, error) {
	type fields Agreement
	a.Notes = notNil(a.Notes)
	return marshal(struct {
		Kind string `json:"kind"`
		fields
	}{agreementKind, fields(a)})
}

// WriteAgreement writes the agreement for people, in one call to w.
func WriteAgreement(w io.Writer, a Agreement, style Style) error {
	t := &comparisonTable{style: style}
	t.title(a.Basis, fmt.Sprintf("%s, each measured both ways", counted(a.Pairs, a.Of)))
	unit := t.unit(a.Unit)
	first, second := string(a.From[0]), string(a.From[1])
	var rows [][]string
	add := func(name string, q uncert.Quantity, unit string) {
		p := t.shown(q).Printed()
		rows = append(rows, []string{name, p.Value, p.Lower + " to " + p.Upper, unit})
	}
	add(second+" less "+first+", mean", a.Bias, unit)
	add("95 % of differences: from", a.LowerLimit, unit)
	add("95 % of differences: to", a.UpperLimit, unit)
	if a.Slope != nil {
		add("line: "+second+" for each "+first, *a.Slope, "")
		add("line: "+second+" where "+first+" is 0", *a.Intercept, unit)
	}
	t.table([]string{"", "value", "95 % interval", "unit"}, "lrrl", rows)
	if a.Verdict != "" {
		t.say("If single differences of less than %s %s do not matter: %s.", t.number(float64(a.Margin), a.Unit), unit, a.Verdict)
	} else {
		t.say("Whether that is good enough depends on what would matter: --margin asks.")
	}
	t.notes(a.Notes)
	_, err := w.Write(t.Bytes())
	return err
}
