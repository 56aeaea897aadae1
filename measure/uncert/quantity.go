// Package uncert carries figures with their uncertainty, after JCGM 100:2008
// (GUM).
//
// A figure is made by [Combine] from its value and a budget of independent
// parts, and carried on by [Quantity.Scaled], [Product], [Sum] and
// [Difference], which carry the budget with it. Every exported function wants
// finite numbers, uncertainties of at least zero and degrees of freedom that
// are not negative; it panics on anything else, because a figure that is not
// a number has to be refused before it gets here.
package uncert

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// Quantity is a figure with its uncertainty.
type Quantity struct {
	Value float64
	Unit  string
	U     float64 // standard uncertainty, in Unit
	DF    float64 // effective degrees of freedom; 0 means infinite
	// Lower and Upper bound the 95 % coverage interval.
	Lower, Upper float64
	Budget       Budget // parts of U, in Unit
}

// Combine returns value with the root sum of squares of the budget's parts
// (GUM 5.1.2), effective degrees of freedom by Welch-Satterthwaite (GUM G.4.1)
// and the 95 % interval of Student's t for them. An empty budget makes an
// exact figure.
func Combine(value float64, unit string, b Budget) Quantity {
	u, df := b.combined()
	q := Quantity{Value: mustFinite(value), Unit: unit, U: u, DF: df, Budget: slices.Clone(b)}
	q.Lower, q.Upper = q.Interval(0.95)
	return q
}

// Interval returns the interval that covers the value with probability p,
// 0 < p < 1, by Student's t about Value. For p = 0.95 it is Lower and Upper
// as Combine set them.
func (q Quantity) Interval(p float64) (lower, upper float64) {
	half := CoverageFactor(p, q.DF) * q.U
	return mustFinite(q.Value - half), mustFinite(q.Value + half)
}

// Scaled returns factor times q in another unit. The factor is exact. The
// bounds are scaled as they stand, so an interval cut at a physical limit
// stays cut, and a negative factor swaps them.
func (q Quantity) Scaled(factor float64, unit string) Quantity {
	q.Value = mustFinite(q.Value * factor)
	q.Unit = unit
	q.U = mustFinite(q.U * math.Abs(factor))
	q.Lower = mustFinite(q.Lower * factor)
	q.Upper = mustFinite(q.Upper * factor)
	if factor < 0 {
		q.Lower, q.Upper = q.Upper, q.Lower
	}
	q.Budget = q.Budget.scaled(factor)
	return q
}

// Product returns a times b to first order: the parts of either are
// multiplied by the size of the other (GUM 5.1.3) and keep their names and
// degrees of freedom. The two must be independent.
func Product(a, b Quantity, unit string) Quantity {
	parts := append(a.parts().scaled(b.Value), b.parts().scaled(a.Value)...)
	return Combine(a.Value*b.Value, unit, parts)
}

// Sum returns a plus b in their common unit. The two must be independent:
// lengths read with one scale are not, and are added in pixels first.
func Sum(a, b Quantity) Quantity {
	return Combine(a.Value+b.Value, sameUnit(a, b), slices.Concat(a.parts(), b.parts()))
}

// Difference returns a minus b under the same conditions as Sum.
func Difference(a, b Quantity) Quantity {
	return Combine(a.Value-b.Value, sameUnit(a, b), slices.Concat(a.parts(), b.parts()))
}

// parts returns the budget, or for a figure without one its whole
// uncertainty as a single part.
func (q Quantity) parts() Budget {
	if len(q.Budget) > 0 || q.U == 0 {
		return q.Budget
	}
	return Budget{{Name: "as stated", U: q.U, DF: q.DF}}
}

func sameUnit(a, b Quantity) string {
	if a.Unit != b.Unit {
		panic("uncert: units differ: " + a.Unit + " and " + b.Unit)
	}
	return a.Unit
}

func mustFinite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		panic("uncert: not a finite number")
	}
	return v
}

// rss returns the root sum of squares without overflow on the way.
func rss(v []float64) float64 { return mustFinite(floats.Norm(v, 2)) }
