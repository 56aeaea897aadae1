package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"pinlash/measure/geom"
	"pinlash/measure/uncert"
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
			q := difference(shapedRim(r, 180, tt.arc, tt.noise, tt.claimed, func(t float64) float64 { return tt.oval * math.Cos(2*t) }))
			if q.Lower <= tt.truth && tt.truth <= q.Upper {
				held++
			}
			upper += q.Upper / trials
		}
		if held < 92*trials/100 {
			t.Errorf("%s: %d of %d intervals hold %.2f px", tt.name, held, trials, tt.truth)
		}
		// The median of five directions scatters by 0.56 of the noise, the range
		// of two dozen of them by chance is 3.9 times that, of which half stays; what is left is never negative.
		limit := tt.truth + 2.3*math.Hypot(math.Sqrt2, 3.9/2)*0.56*tt.noise
		if tt.arc < 2*math.Pi {
			limit *= 2
		}
		if upper > limit {
			t.Errorf("%s: the intervals reach up to %.2f px, want %.2f at most", tt.name, upper, limit)
		}
	}
	// An arc of a third says nothing of what the rest looks like.
	q := difference(shapedRim(r, 180, 2*math.Pi/3, 0.1, 0.1, func(float64) float64 { return 0 }))
	if q.Value > 1 || q.Upper > 2 {
		t.Errorf("a third of a round rim: roundness %.2f px, up to %.2f", q.Value, q.Upper)
	}
}

// difference returns the difference of a rim's radii, in pixels, for light and
// texture alone.
func difference(r rim) uncert.Quantity {
	value, parts := r.shape().difference(func(int) float64 { return 0 })
	return uncert.Combine(value, "px", parts)
}

// What both rims show alike is the picture's: it widens the intervals of both,
// and what one of them shows alone does not.
func TestRoundnessOfBothAlike(t *testing.T) {
	wave := func(t float64) float64 { return 0.5 * math.Cos(3*t) }
	round := func(float64) float64 { return 0 }
	for _, tt := range []struct {
		name      string
		bore, pin func(float64) float64
		want      float64
	}{
		{"both", wave, wave, 1},
		{"one", wave, round, 0.2},
		{"against each other", wave, func(t float64) float64 { return -wave(t) }, 0.2},
	} {
		r := rand.New(rand.NewPCG(6, 1))
		bore := shapedRim(r, 180, 2*math.Pi, 0.05, 0.05, tt.bore)
		pin := shapedRim(r, 180, 2*math.Pi, 0.05, 0.05, tt.pin)
		got := alike(bore, pin, bore.shape(), pin.shape())
		if tt.want == 1 && math.Abs(got-1) > 0.15 || tt.want < 1 && got > tt.want {
			t.Errorf("%s: %.2f px alike, want about %.1f", tt.name, got, tt.want)
		}
	}
}

// What strays in a few directions only may be oil; an oval is the rim's own.
func TestRoundnessOfOil(t *testing.T) {
	for _, tt := range []struct {
		name  string
		shape func(t float64) float64
		want  bool
	}{
		{"oil", func(t float64) float64 { return -4 * math.Exp(-t*t/0.02) }, true},
		{"oval", func(t float64) float64 { return math.Cos(2 * t) }, false},
		{"three waves", func(t float64) float64 { return math.Cos(3 * t) }, false},
	} {
		r := rand.New(rand.NewPCG(6, 2))
		if got := shapedRim(r, 180, 2*math.Pi, 0.05, 0.05, tt.shape).shape().local(); got != tt.want {
			t.Errorf("%s: local %v, want %v", tt.name, got, tt.want)
		}
	}
}
