package uncert

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sort"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
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
	knots := factors()
	above := sort.Search(len(knots), func(i int) bool { return knots[i].factor <= k }) // they fall
	switch above {
	case len(knots):
		return 0
	case 0:
		return knots[0].df
	}
	// The factor is k where the distribution function of k is 0.975, which is
	// far quicker to work out than the factor. A root finder that keeps its
	// bracket (regula falsi, Illinois variant) ends in a few steps.
	left := func(logDF float64) float64 {
		return 0.975 - distuv.StudentsT{Sigma: 1, Nu: math.Exp(logDF)}.CDF(k)
	}
	low, high := math.Log(knots[above-1].df), math.Log(knots[above].df)
	over, under := left(low), left(high)
	for range 60 {
		if over <= 0 || under >= 0 { // at a knot, to the last digit
			break
		}
		at := (low*under - high*over) / (under - over)
		off := left(at)
		if math.Abs(off) < 1e-14 || high-low < 1e-9 {
			return math.Exp(at)
		}
		if off > 0 {
			low, over, under = at, off, under/2
		} else {
			high, under, over = at, off, over/2
		}
	}
	if math.Abs(over) < math.Abs(under) {
		return math.Exp(low)
	}
	return math.Exp(high)
}

// knot is a coverage factor and its degrees of freedom.
type knot struct{ df, factor float64 }

// factors are 95 % coverage factors from 1 degree of freedom to where there
// are as good as infinitely many.
var factors = sync.OnceValue(func() []knot {
	const most, perDecade = 1e4, 20
	var knots []knot
	for i := 0; ; i++ {
		df := math.Pow(10, float64(i)/perDecade)
		knots = append(knots, knot{df, CoverageFactor(0.95, df)})
		if df >= most {
			return knots
		}
	}
})
