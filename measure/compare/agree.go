package compare

import (
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// Pair is one thing measured in two ways. UA and UB are standard
// uncertainties, 0 for not known or, where others are, exact.
type Pair struct {
	Name   string
	A, B   float64
	UA, UB float64
}

// Agreement says how far two ways of measuring agree.
type Agreement struct {
	Pairs int
	// Bias is the mean of B less A.
	Bias uncert.Quantity
	// Lower and Upper are the limits of agreement: 95 % of single differences
	// B less A lie between them.
	Lower, Upper uncert.Quantity
	// Line tells a bias that is the same everywhere from one that grows with
	// the size measured; nil where the A's do not differ enough for a line.
	Line    *Line
	Verdict Interchange // empty when no margin was asked about
	Notes   []string
}

// Interchange says whether one way of measuring may stand for the other.
type Interchange string

// The outcomes.
const (
	Interchangeable    Interchange = "either may stand for the other"
	NotInterchangeable Interchange = "they may not stand for each other"
	MorePairs          Interchange = "too few pairs to tell"
)

// leastPairs is the fewest that a line's scatter shows in.
const leastPairs = 3

// Agree compares two ways of measuring on the same things, both in one unit.
// Margin is the size below which a single difference would not matter; 0 does
// not ask.
//
// The limits are mean ± 1.96 s of the differences (Bland and Altman 1986,
// Lancet 327:307), with the standard error s sqrt(1/n + 1.96²/(2(n-1))) (the
// same 1999, Stat. Methods Med. Res. 8:135), of which the earlier paper's
// s sqrt(3/n) is the rounded form. Either may stand for the other when the
// intervals of both limits lie within the margin, and may not when a limit's
// interval lies outside.
func Agree(pairs []Pair, unit string, margin float64) (Agreement, error) {
	if err := notNegative("margin", margin); err != nil {
		return Agreement{}, err
	}
	if len(pairs) < leastPairs {
		return Agreement{}, fmt.Errorf("%d pairs, want %d at least", len(pairs), leastPairs)
	}
	var d sample
	for _, p := range pairs {
		for _, v := range []float64{p.A, p.B} {
			if err := sane("figure of "+p.Name, v); err != nil {
				return Agreement{}, err
			}
		}
		for _, u := range []float64{p.UA, p.UB} {
			if err := notNegative("uncertainty of "+p.Name, u); err != nil {
				return Agreement{}, err
			}
		}
		d.add(p.B - p.A)
	}
	const scatter = "scatter of the differences"
	z := uncert.CoverageFactor(0.95, 0)
	limit := func(sign float64) uncert.Quantity {
		u := d.sd() * math.Sqrt(1/d.n+z*z/(2*(d.n-1)))
		return uncert.Combine(d.mean+sign*z*d.sd(), unit, uncert.Budget{{Name: scatter, U: u, DF: d.n - 1}})
	}
	a := Agreement{Pairs: len(pairs), Bias: d.quantity(0, unit, scatter), Lower: limit(-1), Upper: limit(1)}
	a.Verdict = interchange(a.Lower, a.Upper, margin)
	if q := a.Bias; q.Lower > 0 || q.Upper < 0 {
		a.Notes = append(a.Notes, fmt.Sprintf("the second reads %s %s than the first", magnitude(q), word(q.Value > 0, "more", "less")))
	}
	line, notes, err := fitLine(pairs, unit)
	if err != nil {
		a.Notes = append(a.Notes, "no line: "+err.Error())
		return a, nil
	}
	a.Line = &line
	a.Notes = append(a.Notes, notes...)
	if s := line.Slope; s.Lower > 1 || s.Upper < 1 {
		a.Notes = append(a.Notes, fmt.Sprintf("the difference grows with the size: the second's scale is %.3g times the first's", s.Value))
	}
	return a, nil
}

func interchange(lower, upper uncert.Quantity, margin float64) Interchange {
	switch {
	case margin == 0:
		return ""
	case lower.Lower >= -margin && upper.Upper <= margin:
		return Interchangeable
	case lower.Upper < -margin || upper.Lower > margin:
		return NotInterchangeable
	default:
		return MorePairs
	}
}

func magnitude(q uncert.Quantity) string {
	if q.Value < 0 {
		q = q.Scaled(-1, q.Unit)
	}
	return q.Printed().Value + " " + q.Unit
}

func word(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}
