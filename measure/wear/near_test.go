package wear_test

import (
	"math"
	"testing"

	"pinlash/measure/uncert"
)

// near fails unless got is within tol of want. Tolerances in this package are
// half a unit of the last digit the source prints, unless a test says why not.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g +/- %g", what, got, want, tol)
	}
}

func exact(v float64) uncert.Quantity { return uncert.Combine(v, "mm", nil) }

// mm is a length with one named part of uncertainty.
func mm(v, u float64, name string) uncert.Quantity {
	return uncert.Combine(v, "mm", uncert.Budget{{Name: name, U: u}})
}

func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
