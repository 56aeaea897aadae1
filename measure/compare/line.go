package compare

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/measure/uncert"
)

// Line is B = Intercept + Slope A.
type Line struct {
	Slope, Intercept uncert.Quantity
	// Scatter is that of the pairs about the line, over what their stated
	// uncertainties let expect; 0 where none are stated.
	Scatter float64
}

var errNoLine = errors.New("the pairs do not lie along a line")

// fitLine draws the line that allows both figures of a pair their
// uncertainty: it makes the sum of
//
//	(B - intercept - slope A)² / (UB² + slope² UA²)
//
// smallest, by the iteration and with the standard errors of York, Evensen,
// Martínez López and De Basabe Delgado 2004, Am. J. Phys. 72:367. With equal
// uncertainties that is Deming's line, with exact A's ordinary least squares.
//
// Where no uncertainty is stated, A and B are taken to be equally uncertain,
// by as much as they scatter about the line. Pairs that scatter more than
// their stated uncertainties explain, in a chi² test at 5 %, widen the
// intervals by as much; a note says so.
func fitLine(pairs []Pair, unit string) (Line, []string, error) {
	pairs, stated := withUncertainty(pairs)
	for _, p := range pairs {
		if p.UA == 0 && p.UB == 0 {
			return Line{}, nil, errors.New("uncertainties are stated of some pairs, but not of all")
		}
	}
	y := york{slope: demingSlope(pairs)}
	for range 1000 {
		before := y.slope
		y = y.step(pairs)
		if !(math.Abs(y.slope) <= mostSane && math.Abs(y.intercept) <= mostSane) {
			return Line{}, nil, errNoLine
		}
		if math.Abs(y.slope-before) <= 1e-14*math.Abs(before) {
			break
		}
	}
	freedom := float64(len(pairs)) - 2
	l := Line{Scatter: math.Sqrt(y.squares / freedom)}
	widen, df := 1.0, 0.0
	var notes []string
	switch {
	case !stated:
		notes = append(notes, "no uncertainties are stated: the line takes both ways of measuring to be equally uncertain")
		widen, df, l.Scatter = l.Scatter, freedom, 0
	case distuv.ChiSquared{K: freedom}.Survival(y.squares) < 0.05:
		notes = append(notes, "the pairs scatter more about the line than their uncertainties explain: its intervals are widened by as much")
		widen, df = l.Scatter, freedom
	}
	part := func(u float64) uncert.Budget {
		return uncert.Budget{{Name: "scatter about the line", U: widen * u, DF: df}}
	}
	if sane("", widen*y.slopeU) != nil || sane("", widen*y.interceptU) != nil {
		return Line{}, nil, errNoLine
	}
	l.Slope = uncert.Combine(y.slope, "", part(y.slopeU))
	l.Intercept = uncert.Combine(y.intercept, unit, part(y.interceptU))
	return l, notes, nil
}

// withUncertainty returns the pairs as they are, or where none has an
// uncertainty a copy in which all have the same.
func withUncertainty(pairs []Pair) (out []Pair, stated bool) {
	for _, p := range pairs {
		if p.UA > 0 || p.UB > 0 {
			return pairs, true
		}
	}
	for _, p := range pairs {
		p.UA, p.UB = 1, 1
		out = append(out, p)
	}
	return out, false
}

// demingSlope returns the slope for the pairs' mean variances in place of
// their own (Deming 1943): the start of the iteration.
func demingSlope(pairs []Pair) float64 {
	var a, b sample
	for _, p := range pairs {
		a.add(p.A)
		b.add(p.B)
	}
	var cross, varA, varB float64
	for _, p := range pairs {
		cross += (p.A - a.mean) * (p.B - b.mean)
		varA += p.UA * p.UA
		varB += p.UB * p.UB
	}
	if varA == 0 {
		return cross / a.ss
	}
	d := varA*b.ss - varB*a.ss
	return (d + math.Sqrt(d*d+4*varA*varB*cross*cross)) / (2 * varA * cross)
}

// york is one state of the iteration.
type york struct {
	slope, intercept   float64
	slopeU, interceptU float64
	squares            float64 // what is made smallest
}

// step returns the next state, in the notation of the paper without
// correlations: W the weights, U and V the distances from the weighted means,
// beta those of the adjusted points.
func (y york) step(pairs []Pair) york {
	var sum, meanA, meanB float64
	w := make([]float64, len(pairs))
	for i, p := range pairs {
		w[i] = 1 / (p.UB*p.UB + y.slope*y.slope*p.UA*p.UA)
		sum += w[i]
		meanA += w[i] * p.A
		meanB += w[i] * p.B
	}
	meanA, meanB = meanA/sum, meanB/sum
	var above, below, adjusted float64
	beta := make([]float64, len(pairs))
	for i, p := range pairs {
		u, v := p.A-meanA, p.B-meanB
		beta[i] = w[i] * (u*p.UB*p.UB + y.slope*v*p.UA*p.UA)
		above += w[i] * beta[i] * v
		below += w[i] * beta[i] * u
		adjusted += w[i] * beta[i] / sum
	}
	next := york{slope: above / below}
	next.intercept = meanB - next.slope*meanA
	var spread float64
	for i, p := range pairs {
		spread += w[i] * (beta[i] - adjusted) * (beta[i] - adjusted)
		r := p.B - next.intercept - next.slope*p.A
		next.squares += w[i] * r * r
	}
	next.slopeU = math.Sqrt(1 / spread)
	next.interceptU = math.Sqrt(1/sum + (meanA+adjusted)*(meanA+adjusted)/spread)
	return next
}
