package compare

import "pinlash/measure/uncert"

// Equivalence answers whether two revisions are the same for practical
// purposes, which "not shown to differ" does not: a test with too few chains
// never shows a difference.
//
// It is two one-sided tests at 5 % (Schuirmann 1987, J. Pharmacokinet.
// Biopharm. 15:657): the difference is smaller than Margin if its 90 %
// interval lies within -Margin to Margin. With several revisions the interval
// is that of the family.
type Equivalence struct {
	Margin float64 // what would not matter, in the unit of the figures
	P      float64 // chance to claim it although the difference is Margin
	Holds  bool
}

// equivalent tests q against the margin.
func (k family) equivalent(q uncert.Quantity, margin float64) Equivalence {
	nearest := (margin - max(q.Value, -q.Value)) / q.U
	p := k.chance(nearest, q.DF) / 2
	if nearest < 0 {
		p = 1 - p
	}
	return Equivalence{Margin: margin, P: p, Holds: p < 0.05}
}

// noLarger returns the size that the difference is shown not to exceed: the
// farther end of its 90 % interval, the smallest margin that would hold.
func (k family) noLarger(q uncert.Quantity) float64 {
	return max(q.Value, -q.Value) + k.factor(0.90, q.DF)*q.U
}

// Verdict is what a comparison of two revisions comes to.
type Verdict string

// The verdicts. Without a margin only the first and the last occur.
const (
	Differ       Verdict = "the revisions differ"
	DifferLittle Verdict = "the revisions differ, but by less than matters"
	Equivalent   Verdict = "no difference that matters"
	Undecided    Verdict = "undecided: neither a difference nor its absence is shown"
)

func verdict(differ bool, e *Equivalence) Verdict {
	switch holds := e != nil && e.Holds; {
	case differ && holds:
		return DifferLittle
	case differ:
		return Differ
	case holds:
		return Equivalent
	default:
		return Undecided
	}
}
