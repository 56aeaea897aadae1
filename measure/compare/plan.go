package compare

import (
	"errors"
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// Spread has the standard deviations between chains of a revision, between
// joints of a chain, and between photos of a joint, in the unit of the
// figures.
type Spread struct {
	Chain, Joint, Measuring float64
}

// Design is a study of two revisions.
type Design struct {
	Chains int     // of each revision
	Joints int     // of each chain
	Power  float64 // probability to find the difference
}

// jointsTried are the numbers of joints a chain that Plan tries.
var jointsTried = []int{1, 2, 3, 5, 8, 12, 20, 30, 50}

// mostChains is the largest study that is planned.
const mostChains = 1000

// Plan returns the studies that find a difference between two revisions with
// the power given, 0.5 to 0.99, in a test at 5 %: the fewest chains for ever
// more joints a chain, one photo each, as long as more joints save chains.
func Plan(s Spread, difference, power float64) ([]Design, error) {
	if err := s.usable(); err != nil {
		return nil, err
	}
	if err := positive("difference to be seen", difference); err != nil {
		return nil, err
	}
	if err := usablePower(power); err != nil {
		return nil, err
	}
	if s.power(difference, mostChains, jointsTried[len(jointsTried)-1]) < power {
		return nil, fmt.Errorf("a difference of %g is too small to be seen even with %d chains of each revision", difference, mostChains)
	}
	var designs []Design
	for _, joints := range jointsTried {
		chains := s.fewestChains(difference, joints, power)
		if chains > mostChains || len(designs) > 0 && chains >= designs[len(designs)-1].Chains {
			continue
		}
		designs = append(designs, Design{Chains: chains, Joints: joints, Power: s.power(difference, chains, joints)})
	}
	return designs, nil
}

// Smallest returns the smallest difference that a study of so many chains of
// each of two revisions, with so many joints each, finds with the power given.
func (s Spread) Smallest(chains, joints int, power float64) (float64, error) {
	if err := s.usable(); err != nil {
		return 0, err
	}
	if err := usablePower(power); err != nil {
		return 0, err
	}
	if chains < 2 || joints < 1 {
		return 0, fmt.Errorf("%d chains of %d joints make no study, want two chains of each revision", chains, joints)
	}
	guess := 4 * s.standardError(chains, joints)
	return increasing(power, 0, guess, func(d float64) float64 { return s.power(d, chains, joints) }), nil
}

func (s Spread) usable() error {
	for _, part := range []struct {
		name string
		sd   float64
	}{{"spread between chains", s.Chain}, {"spread between joints", s.Joint}, {"spread of measuring", s.Measuring}} {
		if err := notNegative(part.name, part.sd); err != nil {
			return err
		}
	}
	if s == (Spread{}) {
		return errors.New("nothing scatters: there is no study to plan")
	}
	return nil
}

func usablePower(power float64) error {
	if !(power >= 0.5 && power <= 0.99) {
		return fmt.Errorf("power is %g, want 0.5 to 0.99", power)
	}
	return nil
}

// standardError is that of the difference of two revisions.
func (s Spread) standardError(chains, joints int) float64 {
	within := math.Hypot(s.Joint, s.Measuring) / math.Sqrt(float64(joints))
	return math.Hypot(s.Chain, within) * math.Sqrt(2/float64(chains))
}

// fewestChains returns the fewest chains that reach the power, mostChains+1
// if none do.
func (s Spread) fewestChains(difference float64, joints int, power float64) int {
	low, high := 1, 2
	for s.power(difference, high, joints) < power {
		if high > mostChains {
			return mostChains + 1
		}
		low, high = high, 2*high
	}
	for high-low > 1 {
		mid := (low + high) / 2
		if s.power(difference, mid, joints) < power {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// power returns the probability that Welch's test at 5 % finds a difference.
//
// With k chains each that scatter alike, the sum of both variances has chi²
// with 2(k-1) degrees of freedom, and the share u of the first in it is
// independent of the sum and has the Beta((k-1)/2, (k-1)/2) distribution. The
// statistic depends on the sum alone, Welch's degrees of freedom
// (k-1)/(u² + (1-u)²) on the share alone. So the power is the mean over u of
// that of the noncentral t beyond Student's factor for them. With
// u = sin² a the density of a goes with (sin a cos a)^(k-2).
func (s Spread) power(difference float64, chains, joints int) float64 {
	shift := difference / s.standardError(chains, joints)
	k := float64(chains)
	const steps = 8
	sum, weights := 0.0, 0.0
	for i := range steps {
		sin, cos := math.Sincos((float64(i) + 0.5) * math.Pi / 4 / steps)
		weight := math.Pow(2*sin*cos, k-2)
		if weight < 1e-12 {
			continue
		}
		u := sin * sin
		t := uncert.CoverageFactor(0.95, (k-1)/(u*u+(1-u)*(1-u)))
		df := 2 * (k - 1)
		sum += weight * (1 - noncentralT(t, df, shift) + noncentralT(-t, df, shift))
		weights += weight
	}
	return sum / weights
}
