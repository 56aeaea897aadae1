package compare

import "math"

// overScale returns the mean of g(S) over S = sqrt(chi² / df), the ratio of a
// standard deviation found with df degrees of freedom to the true one. Every
// distribution that has an estimated standard deviation in it is such a mean
// of one that has not.
//
// In x = ln S the density is exp(df (x + (1 - exp 2x)/2)) up to a constant.
// Integrand and density fall off to both sides and have no corners, so the
// trapezoidal rule converges faster than any power of its step once that is
// below the width of either: 1/sqrt(2 df) of the density, and the one given
// of g.
func overScale(df, width float64, g func(s float64) float64) float64 {
	step := min(1/math.Sqrt(2*df)/4, width/2.5)
	weight := func(x float64) float64 { return math.Exp(df * (x - math.Expm1(2*x)/2)) }
	sum, weights := g(1), 1.0
	for _, dx := range []float64{step, -step} {
		for x := dx; ; x += dx {
			w := weight(x)
			if w < 1e-14 {
				break
			}
			sum += w * g(math.Exp(x))
			weights += w
		}
	}
	return sum / weights
}

// normal is the distribution function of the standard normal distribution.
func normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// noncentralT returns the probability that (Z + shift)/S is below t, Z
// standard normal and S as in overScale.
func noncentralT(t, df, shift float64) float64 {
	// As s passes shift/t the probability changes over 1/shift in ln s. A
	// shift of hundreds leaves nothing to chance; it need not be exact.
	width := 1 / min(max(math.Abs(shift), 4), 100)
	return overScale(df, width, func(s float64) float64 { return normal(t*s - shift) })
}

// increasing solves f(x) = y for an f that grows, from two guesses, of which
// the lower must not be above the solution: false position, in which an end
// that stays put counts for half (Illinois method).
func increasing(y, low, high float64, f func(float64) float64) float64 {
	below, above := f(low)-y, f(high)-y
	if below >= 0 {
		return low
	}
	for i := 0; above < 0 && i < 60; i++ {
		low, below = high, above
		high *= 2
		above = f(high) - y
	}
	last := 0
	for range 100 {
		x := high - above*(high-low)/(above-below)
		if !(x > low && x < high) || high-low < 1e-10*high || math.Abs(above) < 1e-12 {
			break
		}
		switch at := f(x) - y; {
		case at < 0:
			low, below = x, at
			if last < 0 {
				above /= 2
			}
			last = -1
		default:
			high, above = x, at
			if last > 0 {
				below /= 2
			}
			last = 1
		}
	}
	return high - above*(high-low)/(above-below)
}
