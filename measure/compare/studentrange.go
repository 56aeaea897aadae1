package compare

import (
	"math"

	"pinlash/measure/uncert"
)

// rangeWithin returns the probability that k standard normal values lie
// within w of each other,
//
//	k ∫ phi(z) (Phi(z) - Phi(z - w))^(k-1) dz
//
// by the trapezoidal rule, for the reason given at overScale.
func rangeWithin(w float64, k int) float64 {
	if w <= 0 {
		return 0
	}
	sum := 0.0
	for _, p := range normalPoints {
		sum += p.weight * math.Pow(p.below-normal(p.z-w), float64(k-1))
	}
	return min(float64(k)*sum, 1)
}

// normalPoints are where rangeWithin looks: z, phi(z) times the step, Phi(z).
// Beyond seven standard deviations lies less than 1e-11 of all.
var normalPoints = func() (points []struct{ z, weight, below float64 }) {
	const steps, end = 40, 7.0
	for i := range steps + 1 {
		z := end * (2*float64(i)/steps - 1)
		points = append(points, struct{ z, weight, below float64 }{
			z, 2 * end / steps * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi), normal(z),
		})
	}
	return points
}()

// studentRange returns the probability that the range of k normal means,
// divided by a standard error with df degrees of freedom, is below q (Tukey's
// studentised range).
func studentRange(q float64, k int, df float64) float64 {
	return overScale(df, 0.5, func(s float64) float64 { return rangeWithin(q*s, k) })
}

// studentRangeQuantile returns the q that studentRange gives probability p. It
// lies above that of one t test and below that of as many separate ones as
// there are pairs (Bonferroni).
func studentRangeQuantile(p float64, k int, df float64) float64 {
	pairs := float64(k*(k-1)) / 2
	least := math.Sqrt2 * uncert.CoverageFactor(p, df)
	most := math.Sqrt2 * uncert.CoverageFactor(1-(1-p)/pairs, df)
	return increasing(p, least, most, func(q float64) float64 { return studentRange(q, k, df) })
}

// rangeMoments returns the mean (d2) and the root mean square (d2* of a
// single group) of the range of k standard normal values: what ranges are
// divided by to give standard deviations.
//
//	E[R] = ∫ P(R > w) dw    E[R²] = 2 ∫ w P(R > w) dw
func rangeMoments(k int) (mean, rootMeanSquare float64) {
	// Simpson's rule: P(R > w) is smooth, but does not begin at zero.
	const steps, end = 160, 16.0
	h := end / steps
	var first, second float64
	for i := range steps + 1 {
		c := 2.0
		switch {
		case i == 0 || i == steps:
			c = 1
		case i%2 == 1:
			c = 4
		}
		w := float64(i) * h
		beyond := 1 - rangeWithin(w, k)
		first += c * beyond
		second += c * 2 * w * beyond
	}
	return first * h / 3, math.Sqrt(second * h / 3)
}
