package subpixel

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The claimed standard uncertainty of a radius is that of its errors, whether
// the sectors err as their light says, by more, together with their
// neighbours, or one in six wildly.
//
// The ratio of claim and scatter of n trials is known to 1/sqrt(2n), here
// 2.9 %; four times that are allowed. Where neighbours err together, the claim
// is found from one correlation with a standard deviation of 1/sqrt(sectors),
// which (1+rho)/(1-rho) makes a tenth of the claim: a quarter is allowed.
func TestRimsClaimTheirScatter(t *testing.T) {
	const trials, sectors = 600, 100
	for _, test := range []struct {
		name        string
		excess, rho float64
		wild        bool
		tol         float64
	}{
		{"as the light says", 1, 0, false, 4 / math.Sqrt(2*trials)},
		{"more than the light says", 2, 0, false, 4 / math.Sqrt(2*trials)},
		{"less than the light says", 0.7, 0, false, 4 / math.Sqrt(2*trials)},
		{"some wild", 1, 0, true, 4 / math.Sqrt(2*trials)},
		{"with their neighbours", 1, 0.5, false, 0.25},
	} {
		rng := rand.New(rand.NewPCG(5, 6))
		var scatter, claim float64
		for range trials {
			s := make([]Sector, sectors)
			bore, pin := chain(rng, sectors, test.rho), chain(rng, sectors, test.rho)
			for i := range s {
				const sd = 0.1
				a := (float64(i) + 0.5) * 2 * math.Pi / sectors
				s[i] = Sector{
					Angle: a, PinAngle: a, VarBore: sd * sd, VarPin: sd * sd, CovBP: 0.2 * sd * sd,
					Bore: test.excess * sd * bore[i], Pin: test.excess * sd * (0.2*bore[i] + math.Sqrt(1-0.04)*pin[i]),
					Fitted: true,
				}
				if test.wild && i%6 == 0 {
					s[i].Bore += 3 * rng.Float64()
				}
			}
			f, ok := fitRims(s)
			if !ok {
				t.Fatalf("%s: no fit", test.name)
			}
			scatter += f.step[2] * f.step[2] / trials
			claim += f.cov[2][2] / trials
		}
		if ratio := math.Sqrt(claim / scatter); math.Abs(ratio-1) > test.tol {
			t.Errorf("%s: claimed %.4f px, scatter %.4f px: ratio %.3f, 1 within %.3f", test.name, math.Sqrt(claim), math.Sqrt(scatter), ratio, test.tol)
		}
	}
}

// chain returns errors of which each takes rho from the one before.
func chain(rng *rand.Rand, n int, rho float64) []float64 {
	v := make([]float64, n)
	last := rng.NormFloat64()
	for i := range v {
		last = rho*last + math.Sqrt(1-rho*rho)*rng.NormFloat64()
		v[i] = last
	}
	return v
}
