package compare

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/measure/uncert"
)

// family is the set of revisions that are compared with each other. A
// difference is called by the studentised range of so many means: Games and
// Howell 1976 (J. Educ. Stat. 1:113) where each pair has its own standard
// error, Tukey and Kramer where the model gives a common one. All intervals
// of the family then hold their truth together in 95 % of studies; for two
// revisions it is Student's t.
//
// With three to ten chains a revision the 5 % of Games and Howell are 3 to 7 %
// of generated studies of three and four revisions (testdata/sweep). Unlike
// Holm's, the correction comes with intervals that say the same as the tests.
type family int

// correction returns the name of the correction, "" where there is nothing to
// correct.
func (k family) correction() string {
	if k > 2 {
		return "Games-Howell"
	}
	return ""
}

// factor returns how many standard errors cover the differences with
// probability p.
func (k family) factor(p, df float64) float64 {
	if k <= 2 {
		return uncert.CoverageFactor(p, df)
	}
	return studentRangeQuantile(p, int(k), df) / math.Sqrt2
}

// chance returns the probability of a difference of t standard errors or more
// where there is none.
func (k family) chance(t, df float64) float64 {
	t = math.Abs(t)
	if k <= 2 {
		return min(2*distuv.StudentsT{Sigma: 1, Nu: df}.CDF(-t), 1)
	}
	return min(max(1-studentRange(t*math.Sqrt2, int(k), df), 0), 1)
}

// widen returns q with the interval of the family.
func (k family) widen(q uncert.Quantity) uncert.Quantity {
	if k > 2 {
		half := k.factor(0.95, q.DF) * q.U
		q.Lower, q.Upper = q.Value-half, q.Value+half
	}
	return q
}

// welch returns b minus a from the means of their chains, which need not
// scatter alike (Welch 1947, Biometrika 34:28). Its degrees of freedom are the
// ones of the GUM, Welch-Satterthwaite, so it is the difference of two
// figures; chains that do not scatter at all leave U zero and no test.
func welch(a, b sample, unit string) uncert.Quantity {
	return uncert.Difference(
		b.quantity(0, unit, "scatter of the chains of the second revision"),
		a.quantity(0, unit, "scatter of the chains of the first revision"),
	)
}
