package uncert

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
)

type quantityJSON struct {
	Value *float64 `json:"value"`
	Unit  string   `json:"unit"`
	U     *float64 `json:"u"`
	Lower *float64 `json:"lower"`
	Upper *float64 `json:"upper"`
}

// MarshalJSON writes {"value","unit","u","lower","upper"}, the bounds being
// those of the 95 % interval. Numbers keep nine significant digits, or as
// many more as it takes to show a thousandth of u. A figure that is not
// finite is an error.
func (q Quantity) MarshalJSON() ([]byte, error) {
	for _, v := range []float64{q.Value, q.U, q.Lower, q.Upper} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, errors.New("uncert: quantity is not finite")
		}
	}
	value, u := toDigits(q.Value, q.digits(q.Value)), toDigits(q.U, exactDigits)
	lower, upper := toDigits(q.Lower, q.digits(q.Lower)), toDigits(q.Upper, q.digits(q.Upper))
	return json.Marshal(quantityJSON{Value: &value, Unit: q.Unit, U: &u, Lower: &lower, Upper: &upper})
}

// digits returns how many significant digits of v matter.
func (q Quantity) digits(v float64) int {
	if q.U == 0 || v == 0 {
		return exactDigits
	}
	return min(max(exactDigits, exponent(math.Abs(v), 17)-exponent(q.U, 17)+4), 17)
}

// UnmarshalJSON reads what MarshalJSON writes. Value, u and both bounds must
// be there. The budget is not in the file; the degrees of freedom are found
// again from the width of the interval, when it is symmetric.
func (q *Quantity) UnmarshalJSON(data []byte) error {
	var in quantityJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	switch {
	case in.Value == nil || in.U == nil || in.Lower == nil || in.Upper == nil:
		return errors.New("quantity lacks one of value, u, lower, upper")
	case *in.U < 0:
		return fmt.Errorf("quantity has a negative uncertainty %g", *in.U)
	case *in.Lower > *in.Upper:
		return fmt.Errorf("quantity has its lower bound %g above its upper bound %g", *in.Lower, *in.Upper)
	}
	*q = Quantity{Value: *in.Value, Unit: in.Unit, U: *in.U, Lower: *in.Lower, Upper: *in.Upper}
	q.DF = q.freedomFromWidth()
	return nil
}

// freedomFromWidth solves CoverageFactor(0.95, df) = half width / u for df. A
// cut interval tells nothing, so the wider side counts; without it a figure
// from few readings would come back as one from infinitely many.
func (q Quantity) freedomFromWidth() float64 {
	if q.U == 0 {
		return 0
	}
	k := max(q.Upper-q.Value, q.Value-q.Lower) / q.U
	low, high := 1.0, 1e4
	if k <= CoverageFactor(0.95, high) {
		return 0
	}
	if k >= CoverageFactor(0.95, low) {
		return low
	}
	for high/low > 1+1e-9 {
		mid := math.Sqrt(low * high)
		if CoverageFactor(0.95, mid) > k {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}
