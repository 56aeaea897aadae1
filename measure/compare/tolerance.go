package compare

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// MostJoints returns bounds between which 95 % of the joints of the chain lie,
// photographed or not, with 95 % confidence, in the unit of the figures. They
// take the joints to scatter normally. Less than two joints have none.
func (c Chain) MostJoints() (lower, upper float64, ok bool) {
	if c.joints.n < 2 {
		return 0, 0, false
	}
	half := toleranceFactor(c.joints.n, 0.95, 0.95) * c.joints.sd()
	return c.Mean - half, c.Mean + half, true
}

// toleranceFactor returns the k for which mean ± k sd of n normal values holds
// a share of all further ones with the confidence given (Odeh and Owen, Tables
// for Normal Tolerance Limits, 1980). A mean z/sqrt(n) standard deviations off
// needs a half width of r(z/sqrt(n)) of them to hold the share, so with the
// sd's chi² on n-1 degrees of freedom
//
//	confidence = mean over z of P(chi² > (n-1) r²/k²)
func toleranceFactor(n, share, confidence float64) float64 {
	const step, end = 0.25, 8.5
	var weights, halfWidths []float64
	total := 0.0
	for z := 0.0; z <= end; z += step {
		w := math.Exp(-z * z / 2)
		if z > 0 {
			w *= 2 // for -z
		}
		weights = append(weights, w)
		halfWidths = append(halfWidths, halfWidth(z/math.Sqrt(n), share))
		total += w
	}
	chi := distuv.ChiSquared{K: n - 1}
	return increasing(confidence, 0, 2, func(k float64) float64 {
		sum := 0.0
		for i, w := range weights {
			r := halfWidths[i] / k
			sum += w * chi.Survival((n-1)*r*r)
		}
		return sum / total
	})
}

// halfWidth returns the r for which a standard normal value lies within r of x
// with probability p.
func halfWidth(x, p float64) float64 {
	return increasing(p, 0, 2+x, func(r float64) float64 { return normal(x+r) - normal(x-r) })
}
