package compare

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The bounds are the shifts of the noncentral t for which the seen value lies
// at its 97.5 % and 2.5 % points, by gonum's distribution.
func TestEffectBoundsAreNoncentral(t *testing.T) {
	a, b := sampleOf([]float64{1, 2, 3, 4}), sampleOf([]float64{3, 5, 4, 7, 6})
	q := effectSize(a, b)
	df, root := 7.0, math.Sqrt(1.0/4+1.0/5)
	sd := math.Sqrt((a.ss + b.ss) / df)
	tValue := 2.5 / sd / root
	c := q.Value / (2.5 / sd)
	// Hedges's factor for seven degrees of freedom is tabled as 0.8882 (M;
	// the first-order form 1 - 3/(4 df - 1) gives 0.8889).
	if math.Abs(c-0.8882) > 0.00005 {
		t.Errorf("correction %v", c)
	}
	for bound, p := range map[float64]float64{q.Lower: 0.975, q.Upper: 0.025} {
		if got := (distuv.NoncentralT{Nu: df, Mu: bound / c / root}).CDF(tValue); math.Abs(got-p) > 1e-6 {
			t.Errorf("bound %v: %v, want %v", bound, got, p)
		}
	}
}

// Where both scatter alike the interval holds the true effect, give or take
// the small correction that takes the bias out of the value.
func TestEffectIsCovered(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 1))
	const studies, effect = 2000, 1.2
	held, mean := 0, 0.0
	for range studies {
		var a, b sample
		for range 8 {
			a.add(r.NormFloat64())
			b.add(effect + r.NormFloat64())
		}
		q := effectSize(a, b)
		mean += q.Value / studies
		if q.Lower <= effect && effect <= q.Upper {
			held++
		}
	}
	// The value is unbiased: its sd is about 0.55, so the mean's is 0.012.
	if math.Abs(mean-effect) > 0.04 {
		t.Errorf("mean effect %v, want %v", mean, effect)
	}
	if share := float64(held) / studies; share < 0.93 || share > 0.97 {
		t.Errorf("covered in %.3f", share)
	}
}
