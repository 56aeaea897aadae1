package compare

import "gonum.org/v1/gonum/stat/distuv"

// Anova asks whether chains differ by more than the scatter of their joints
// explains (one-way analysis of variance; over several revisions, chains
// within revisions).
type Anova struct {
	Between, Within               float64 // sums of squares
	BetweenFreedom, WithinFreedom float64
	F, P                          float64
}

// chainsApart returns the analysis of the chains within each group; false
// where there is nothing to divide by.
func chainsApart(groups [][]sample) (Anova, bool) {
	var a Anova
	for _, g := range groups {
		w, _, wdd, _, _ := sums(g, 0)
		a.Between += wdd
		a.BetweenFreedom += float64(len(g)) - 1
		a.WithinFreedom += w - float64(len(g))
		for _, c := range g {
			a.Within += c.ss
		}
	}
	if a.BetweenFreedom < 1 || a.WithinFreedom < 1 || a.Within <= 0 {
		return Anova{}, false
	}
	a.F = (a.Between / a.BetweenFreedom) / (a.Within / a.WithinFreedom)
	a.P = fBeyond(a.F, a.BetweenFreedom, a.WithinFreedom)
	return a, true
}

// fBeyond returns the probability of a ratio of two variances above f.
func fBeyond(f, d1, d2 float64) float64 { return distuv.F{D1: d1, D2: d2}.Survival(f) }
