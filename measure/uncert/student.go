package uncert

import "gonum.org/v1/gonum/stat/distuv"

// CoverageFactor returns the factor k by which a standard uncertainty with df
// degrees of freedom, 0 for infinitely many, is multiplied to cover the value
// with probability p, 0 < p < 1: the two-sided quantile of Student's t (GUM
// table G.2). Degrees of freedom need not be whole.
func CoverageFactor(p, df float64) float64 {
	if !(p > 0 && p < 1) {
		panic("uncert: coverage probability outside 0 to 1")
	}
	if !(df >= 0) {
		panic("uncert: negative degrees of freedom")
	}
	if df == 0 || df > tAsNormal {
		return distuv.UnitNormal.Quantile((1 + p) / 2)
	}
	return mustFinite(distuv.StudentsT{Sigma: 1, Nu: df}.Quantile((1 + p) / 2))
}

// tAsNormal is the number of degrees of freedom above which Student's factor
// is taken to be the normal one. They differ by (k^3 + k)/(4 df) there, 2.4e-7
// for 95 %, and beyond it the quantile's own rounding shows.
const tAsNormal = 1e7
