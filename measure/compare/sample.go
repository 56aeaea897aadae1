package compare

import (
	"math"

	"pinlash/measure/uncert"
)

// sample is what need be known of a set of values: how many, their mean, and
// the sum of squares about it.
type sample struct {
	n, mean, ss float64
}

// add takes in one more value (Welford 1962, Technometrics 4:419), which
// loses no digits to a large mean.
func (s *sample) add(v float64) {
	s.n++
	d := v - s.mean
	s.mean += d / s.n
	s.ss += d * (v - s.mean)
}

func sampleOf(values []float64) sample {
	var s sample
	for _, v := range values {
		s.add(v)
	}
	return s
}

// sd returns the standard deviation, 0 of fewer than two values.
func (s sample) sd() float64 {
	if s.n < 2 {
		return 0
	}
	return math.Sqrt(s.ss / (s.n - 1))
}

// quantity returns the mean with its interval by Student's t; origin is added
// to it.
func (s sample) quantity(origin float64, unit, scatter string) uncert.Quantity {
	return uncert.Combine(origin+s.mean, unit, uncert.Budget{
		{Name: scatter, U: s.sd() / math.Sqrt(s.n), DF: s.n - 1},
	})
}

// next returns what one more value of the kind would be: its interval is the
// prediction interval.
func (s sample) next(origin float64, unit, scatter string) uncert.Quantity {
	return uncert.Combine(origin+s.mean, unit, uncert.Budget{
		{Name: scatter, U: s.sd() * math.Sqrt(1+1/s.n), DF: s.n - 1},
	})
}
