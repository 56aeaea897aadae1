package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"pinlash/measure/geom"
)

// shapedRim is a rim seen in n directions over an arc, with a shape and noise
// whose standard deviation is noise but is claimed to be claimed. The circle
// through it has been taken off.
func shapedRim(r *rand.Rand, n int, arc, noise, claimed float64, shape func(t float64) float64) rim {
	out := rim{circle: geom.Circle{R: 150, RMS: noise}}
	for i := range n {
		t := 2 * math.Pi * float64(i) / float64(n)
		u := claimed
		if t > arc {
			u = 0
		}
		out.RimProfile.Add(t, shape(t)+noise*r.NormFloat64(), u)
	}
	sd := make([]float64, n)
	for i := range sd {
		sd[i] = out.U[i]
	}
	if coef, _, ok := out.fitHarmonics(1, out.Dev, sd); ok {
		for i, t := range out.Angle {
			out.Dev[i] -= along(coef, t)
		}
	}
	return out
}

// The interval of a round rim reaches down to none, that of an oval one holds
// its difference of radii: also where the directions scatter more than they
// claim, and on part of the rim, whose unseen part is not made up.
func TestRoundnessHoldsTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 12))
	for _, tt := range []struct {
		name           string
		oval           float64 // px of radius
		arc            float64
		noise, claimed float64
		truth          float64
	}{
		{"round", 0, 2 * math.Pi, 0.1, 0.1, 0},
		{"round, noise underrated", 0, 2 * math.Pi, 0.2, 0.1, 0},
		{"round, three quarters seen", 0, 1.5 * math.Pi, 0.1, 0.1, 0},
		{"oval", 0.5, 2 * math.Pi, 0.1, 0.1, 1},
		{"faintly oval", 0.03, 2 * math.Pi, 0.1, 0.1, 0.06},
	} {
		held, upper := 0, 0.0
		const trials = 400
		for range trials {
			q := shapedRim(r, 180, tt.arc, tt.noise, tt.claimed, func(t float64) float64 { return tt.oval * math.Cos(2*t) }).roundness()
			if q.Lower <= tt.truth && tt.truth <= q.Upper {
				held++
			}
			upper += q.Upper / trials
		}
		if held < 92*trials/100 {
			t.Errorf("%s: %d of %d intervals hold %.2f px", tt.name, held, trials, tt.truth)
		}
		// Eight coefficients of variance 2/n leave a shape with a standard
		// deviation of 0.21 of the noise, and a range of 3.8 times that; the
		// interval is as much again. Seen over three quarters only they are
		// known half as well.
		limit := tt.truth + 2*3.8*0.21*1.2*tt.noise
		if tt.arc < 2*math.Pi {
			limit *= 2
		}
		if upper > limit {
			t.Errorf("%s: the intervals reach up to %.2f px, want %.2f at most", tt.name, upper, limit)
		}
	}
	// An arc of a third says nothing of what the rest looks like.
	q := shapedRim(r, 180, 2*math.Pi/3, 0.1, 0.1, func(float64) float64 { return 0 }).roundness()
	if q.Value > 1 || q.Upper > 2 {
		t.Errorf("a third of a round rim: roundness %.2f px, up to %.2f", q.Value, q.Upper)
	}
}
