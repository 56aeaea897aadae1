package compare

import (
	"math"

	"pinlash/measure/uncert"
)

// effectSize returns the difference of b and a in standard deviations of
// their chain means, corrected for few chains (Hedges 1981, J. Educ. Stat.
// 6:107):
//
//	g = c (mean b - mean a) / pooled sd,  c = gamma(df/2) / (sqrt(df/2) gamma((df-1)/2))
//
// The bounds are those of the noncentral t distribution, exact where both
// scatter alike; U is Hedges and Olkin's large-sample one. The pooled standard
// deviation must not be zero.
func effectSize(a, b sample) uncert.Quantity {
	df := a.n + b.n - 2
	root := math.Sqrt(1/a.n + 1/b.n)
	d := (b.mean - a.mean) / math.Sqrt((a.ss+b.ss)/df)
	above, _ := math.Lgamma(df / 2)
	below, _ := math.Lgamma((df - 1) / 2)
	correction := math.Exp(above-below) / math.Sqrt(df/2)
	g := correction * d
	q := uncert.Combine(g, "", uncert.Budget{
		{Name: "few chains", U: math.Sqrt(root*root + g*g/(2*(a.n+b.n)))},
	})
	q.Lower = correction * root * shiftFor(d/root, df, 0.975)
	q.Upper = correction * root * shiftFor(d/root, df, 0.025)
	return q
}

// shiftFor returns the shift at which a noncentral t below t has
// probability p. The probability falls as the shift grows.
func shiftFor(t, df, p float64) float64 {
	// The shift is estimated by t with a standard deviation of at most
	// sqrt(1 + t²/(2 df)); ten of them are far enough for any p in use.
	reach := 10 * math.Sqrt(1+t*t/2)
	low, high := t-reach, t+reach
	for high-low > 1e-8*reach {
		mid := low + (high-low)/2
		if noncentralT(t, df, mid) > p {
			low = mid
		} else {
			high = mid
		}
	}
	return low + (high-low)/2
}
