package compare

import (
	"math"
	"math/rand/v2"
	"testing"
)

// twoWays makes pairs of readings of the same sizes.
func twoWays(r *rand.Rand, n int, slope, bias, ua, ub float64) []Pair {
	var pairs []Pair
	for i := range n {
		size := 1 + 4*float64(i)/float64(n-1)
		pairs = append(pairs, Pair{
			A: size + ua*r.NormFloat64(), B: bias + slope*size + ub*r.NormFloat64(), UA: ua, UB: ub,
		})
	}
	return pairs
}

// The intervals of bias, slope and limits hold what the generator knows.
func TestAgreementIsCovered(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	const studies, n, ua, ub = 2000, 25, 0.03, 0.05
	bias, limit, slope, ols := 0, 0, 0, 0.0
	for range studies {
		pairs := twoWays(r, n, 1, 0.1, ua, ub)
		a, err := Agree(pairs, "mm", 0)
		if err != nil || a.Line == nil {
			t.Fatal(err, a.Notes)
		}
		if a.Bias.Lower <= 0.1 && 0.1 <= a.Bias.Upper {
			bias++
		}
		if truth := 0.1 + 1.959964*math.Hypot(ua, ub); a.Upper.Lower <= truth && truth <= a.Upper.Upper {
			limit++
		}
		if a.Line.Slope.Lower <= 1 && 1 <= a.Line.Slope.Upper {
			slope++
		}
		ols += a.Line.Slope.Value / studies
	}
	for name, held := range map[string]int{"bias": bias, "limit": limit, "slope": slope} {
		// 95 % of 2000 give or take four binomial standard deviations; the
		// limit's interval is approximate.
		if held < 1861 || held > 1939 {
			t.Errorf("%s held in %d of %d", name, held, studies)
		}
	}
	if math.Abs(ols-1) > 0.001 {
		t.Errorf("mean slope %v", ols)
	}
}

func TestVerdictOnInterchange(t *testing.T) {
	for _, tt := range []struct {
		n            int
		bias, margin float64
		want         Interchange
	}{
		{60, 0, 0.3, Interchangeable},
		{60, 1, 0.3, NotInterchangeable},
		{4, 0, 0.2, MorePairs},
		{60, 0, 0, ""},
	} {
		a, err := Agree(twoWays(rand.New(rand.NewPCG(5, 2)), tt.n, 1, tt.bias, 0.05, 0.05), "mm", tt.margin)
		if err != nil || a.Verdict != tt.want {
			t.Errorf("%+v: %v, %+v", tt, err, a)
		}
		if said := noted(a.Notes, "the second reads"); said != (tt.bias != 0) {
			t.Errorf("%+v: notes %q", tt, a.Notes)
		}
	}
}

func TestLineNotes(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	steep, err := Agree(twoWays(r, 40, 1.1, 0, 0.02, 0.02), "mm", 0)
	if err != nil || !noted(steep.Notes, "grows with the size") {
		t.Errorf("%v, %q", err, steep.Notes)
	}
	unstated := twoWays(r, 40, 1, 0, 0.02, 0.02)
	for i := range unstated {
		unstated[i].UA, unstated[i].UB = 0, 0
	}
	a, err := Agree(unstated, "mm", 0)
	if err != nil || a.Line == nil || a.Line.Slope.DF != 38 || a.Line.Scatter != 0 || !noted(a.Notes, "equally uncertain") {
		t.Errorf("%v, %+v", err, a)
	}
	unstated[0].UA = 0.01
	if a, err = Agree(unstated, "mm", 0); err != nil || a.Line != nil || !noted(a.Notes, "no line: uncertainties are stated of some") {
		t.Errorf("%v, %+v", err, a)
	}
	flat := []Pair{{A: 1, B: 1}, {A: 1, B: 2}, {A: 1, B: 3}}
	if a, err = Agree(flat, "mm", 0); err != nil || a.Line != nil || !noted(a.Notes, "no line") {
		t.Errorf("%v, %+v", err, a)
	}
	if _, err := Agree(flat[:2], "mm", 0); err == nil {
		t.Error("two pairs agree")
	}
	flat[1].UB = -1
	if _, err := Agree(flat, "mm", 0); err == nil {
		t.Error("a negative uncertainty was taken")
	}
}

// Deming's line has a closed form; York's iteration has to come to it where
// all pairs are equally uncertain (Deming 1943; with ratio 1, orthogonal
// regression).
func TestLineIsDemings(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 4))
	for range 100 {
		pairs := twoWays(r, 12, 0.7, 1, 0.1, 0.3)
		l, _, err := fitLine(pairs, "mm")
		if err != nil {
			t.Fatal(err)
		}
		near(t, "slope", l.Slope.Value, demingSlope(pairs), 1e-10, "closed form")
	}
}
