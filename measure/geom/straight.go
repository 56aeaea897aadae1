package geom

import (
	"math"
)

// Straight is the line y = Intercept + Slope x with errors in y only.
type Straight struct {
	Intercept, Slope float64
	// Cov is the covariance of (Intercept, Slope).
	Cov [2][2]float64
	// ResidualSD is the root of the weighted sum of squared residuals over
	// DF; without stated uncertainties it is in units of y, with them it is a
	// pure number, one when they are right.
	ResidualSD float64
	DF         int // number of points minus two
}

// FitStraight returns the weighted least squares line of y over x. u has the
// standard uncertainties of y, or is nil: then all weigh the same, the
// covariance comes from the residuals, and three points are needed instead of
// two. With u the covariance is enlarged by the reduced chi-square when that
// is above one. It panics when the lengths differ.
func FitStraight(x, y, u []float64) (Straight, error) {
	n := len(x)
	if len(y) != n || u != nil && len(u) != n {
		panic("geom: x, y and u differ in length")
	}
	if n < 2 || n == 2 && u == nil {
		return Straight{}, ErrTooFew
	}
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
		if u == nil {
			continue
		}
		if !(u[i] > 0) || math.IsInf(u[i], 0) {
			return Straight{}, ErrUncertainty
		}
		w[i] = 1 / sq(u[i])
	}
	// Means are taken of distances from the first point, and slopes about the
	// means, so that no digits are lost far from the origin.
	var sum, mx, my, far float64
	for i := range x {
		sum += w[i]
		mx += w[i] * (x[i] - x[0])
		my += w[i] * (y[i] - y[0])
		far = max(far, math.Abs(x[i]))
	}
	mx, my = x[0]+mx/sum, y[0]+my/sum
	var sxx, sxy float64
	for i := range x {
		sxx += w[i] * sq(x[i]-mx)
		sxy += w[i] * (x[i] - mx) * (y[i] - my)
	}
	if math.IsNaN(sxy) || math.IsInf(sxx, 0) || math.IsInf(sxy, 0) {
		return Straight{}, ErrNotFinite
	}
	if math.Sqrt(sxx/sum) <= 8*epsilon*far {
		return Straight{}, ErrNoSpread
	}
	s := Straight{Slope: sxy / sxx, DF: n - 2}
	s.Intercept = my - s.Slope*mx
	var chi2 float64
	for i := range x {
		chi2 += w[i] * sq(y[i]-my-s.Slope*(x[i]-mx))
	}
	spread := 1.0
	if s.DF > 0 {
		spread = chi2 / float64(s.DF)
		s.ResidualSD = math.Sqrt(spread)
	}
	if u != nil {
		spread = max(spread, 1)
	}
	s.Cov[0][0] = spread * (1/sum + mx*mx/sxx)
	s.Cov[1][1] = spread / sxx
	s.Cov[0][1] = -spread * mx / sxx
	s.Cov[1][0] = s.Cov[0][1]
	for _, v := range []float64{s.Intercept, s.Slope, spread, s.Cov[0][0], s.Cov[0][1], s.Cov[1][1]} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Straight{}, ErrNotFinite
		}
	}
	return s, nil
}

// At returns the line's value at x and its standard uncertainty, that of a
// mean and not of a single further reading.
func (s Straight) At(x float64) (y, u float64) {
	return s.Intercept + s.Slope*x, math.Sqrt(max(0, s.Cov[0][0]+2*x*s.Cov[0][1]+x*x*s.Cov[1][1]))
}
