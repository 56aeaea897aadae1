package compare

import (
	"fmt"
	"math"
)

// mostSane is far beyond any chain or distance; figures above it are typing
// errors, and sums of their squares would overflow.
const mostSane = 1e12

func sane(name string, v float64) error {
	if math.IsNaN(v) || math.Abs(v) > mostSane {
		return fmt.Errorf("%s is not a usable number", name)
	}
	return nil
}

// leastSane is far below any figure; what is nearer to zero is zero. Squares of
// smaller ones would be lost, and ratios of those are no numbers.
const leastSane = 1 / mostSane

func orZero(v float64) float64 {
	if math.Abs(v) < leastSane {
		return 0
	}
	return v
}

func notNegative(name string, v float64) error {
	if err := sane(name, v); err != nil {
		return err
	}
	if v < 0 {
		return fmt.Errorf("%s is %g, want zero or more", name, v)
	}
	return nil
}

func positive(name string, v float64) error {
	if err := notNegative(name, v); err != nil {
		return err
	}
	if v == 0 {
		return fmt.Errorf("%s is zero, want more", name)
	}
	return nil
}
