package uncert

import (
	"cmp"
	"math"
	"slices"
)

// Term is one part of a figure's uncertainty.
type Term struct {
	Name string  // what it comes from, in words for a reader
	U    float64 // its standard uncertainty times the sensitivity, in the figure's unit
	DF   float64 // degrees of freedom; 0 means infinite
}

// Budget lists the independent parts of an uncertainty.
type Budget []Term

// Largest returns a copy with the largest part first; equal parts keep their
// order.
func (b Budget) Largest() Budget {
	sorted := slices.Clone(b)
	slices.SortStableFunc(sorted, func(x, y Term) int { return cmp.Compare(y.U, x.U) })
	return sorted
}

// Merge returns a copy in which parts of one name have become one, at the
// place of the first. It changes neither the combined uncertainty nor its
// degrees of freedom, since Welch-Satterthwaite may be taken in steps.
func (b Budget) Merge() Budget {
	var names []string
	byName := map[string]Budget{}
	for _, t := range b {
		if _, seen := byName[t.Name]; !seen {
			names = append(names, t.Name)
		}
		byName[t.Name] = append(byName[t.Name], t)
	}
	merged := make(Budget, len(names))
	for i, name := range names {
		u, df := byName[name].combined()
		merged[i] = Term{Name: name, U: u, DF: df}
	}
	return merged
}

// combined returns the root sum of squares and the effective degrees of
// freedom, u^4 / sum(u_i^4 / nu_i), 0 when infinite.
func (b Budget) combined() (u, df float64) {
	// Sums depend on their order in the last digit; the order of parts must
	// not show.
	b = slices.Clone(b)
	slices.SortFunc(b, func(x, y Term) int { return cmp.Or(cmp.Compare(x.U, y.U), cmp.Compare(x.DF, y.DF)) })
	us := make([]float64, len(b))
	for i, t := range b {
		if t.U < 0 || t.DF < 0 || math.IsNaN(t.DF) {
			panic("uncert: part " + t.Name + " has a negative uncertainty or impossible degrees of freedom")
		}
		us[i] = mustFinite(t.U)
	}
	u = rss(us)
	if u == 0 {
		return 0, 0
	}
	var inverse float64
	for _, t := range b {
		if t.DF > 0 {
			inverse += math.Pow(t.U/u, 4) / t.DF
		}
	}
	// Parts too small to be felt leave infinitely many degrees of freedom.
	if df = 1 / inverse; math.IsInf(df, 0) {
		return u, 0
	}
	return u, df
}

// scaled returns a copy with every part multiplied by the size of the
// sensitivity.
func (b Budget) scaled(sensitivity float64) Budget {
	out := slices.Clone(b)
	for i := range out {
		out[i].U = mustFinite(out[i].U * math.Abs(sensitivity))
	}
	return out
}
