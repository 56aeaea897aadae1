package wear

import (
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// usable reports what is wrong with a figure before it is computed with:
// package uncert panics on figures that are no numbers or in mixed units.
func usable(name string, q uncert.Quantity, unit string) error {
	for _, v := range []float64{q.Value, q.U, q.Lower, q.Upper} {
		if err := sane(name, v); err != nil {
			return err
		}
	}
	if math.IsNaN(q.DF) { // any size will do: the sum of many readings has very many
		return fmt.Errorf("%s has degrees of freedom that are no number", name)
	}
	switch {
	case q.U < 0 || q.DF < 0:
		return fmt.Errorf("%s has a negative uncertainty or negative degrees of freedom", name)
	case q.Unit != unit:
		return fmt.Errorf("%s is in %q, want %q", name, q.Unit, unit)
	}
	return nil
}

// positiveFigure is usable for lengths that cannot be zero.
func positiveFigure(name string, q uncert.Quantity, unit string) error {
	if err := usable(name, q, unit); err != nil {
		return err
	}
	return positive(name, q.Value)
}

func positive(name string, v float64) error {
	if err := sane(name, v); err != nil {
		return err
	}
	if v <= 0 {
		return fmt.Errorf("%s is %g, want more than zero", name, v)
	}
	return nil
}

func atLeast(name string, n, least int) error {
	if n < least {
		return fmt.Errorf("%s is %d, want at least %d", name, n, least)
	}
	return nil
}

// mostSane is far beyond any chain, kilometre or force; figures above it are
// typing errors, and products of a few of them would overflow.
const mostSane = 1e12

func sane(name string, v float64) error {
	if math.IsNaN(v) || math.Abs(v) > mostSane {
		return fmt.Errorf("%s is not a usable number", name)
	}
	return nil
}
