package uncert

import (
	"math"
	"strconv"
)

// Printed is a figure in digits for people: the standard uncertainty with two
// significant digits (GUM 7.2.6), everything else to the same decimal place.
type Printed struct {
	Value, U, Lower, Upper string
}

// Printed returns the figure's digits, without the unit. An exact figure
// shows the digits it has, at most nine.
func (q Quantity) Printed() Printed {
	place := q.place()
	return Printed{
		Value: fixed(q.Value, place),
		U:     fixed(q.U, place),
		Lower: fixed(q.Lower, place),
		Upper: fixed(q.Upper, place),
	}
}

// PrintedTogether returns the digits of figures that are read side by side, all to the
// decimal place of the one that is known the least.
func PrintedTogether(figures ...Quantity) []string {
	place := exactDigits
	for _, q := range figures {
		place = min(place, q.place())
	}
	digits := make([]string, len(figures))
	for i, q := range figures {
		digits[i] = fixed(q.Value, place)
	}
	return digits
}

// String returns value, unit, standard uncertainty and 95 % interval, like
// "3.3020 mm (u 0.0009, 95 % from 3.3002 to 3.3038)".
func (q Quantity) String() string {
	p := q.Printed()
	if q.U == 0 {
		return p.Value + unit(q.Unit) + " (exact)"
	}
	return p.Value + unit(q.Unit) + " (u " + p.U + ", 95 % from " + p.Lower + " to " + p.Upper + ")"
}

func unit(name string) string {
	if name == "" {
		return ""
	}
	return " " + name
}

// exactDigits is the number of significant digits shown of a figure without
// uncertainty, and the least that JSON keeps.
const exactDigits = 9

// place returns the number of decimals to print; a negative one rounds to
// tens, hundreds and so on.
func (q Quantity) place() int {
	if q.U > 0 {
		// A double has 15 good digits; more decimals would print its noise.
		return min(1-exponent(q.U, 2), 14-exponent(max(math.Abs(q.Lower), math.Abs(q.Upper)), 15))
	}
	value := strconv.FormatFloat(toDigits(q.Value, exactDigits), 'f', -1, 64)
	for i := range value {
		if value[i] == '.' {
			return len(value) - i - 1
		}
	}
	return 0
}

// exponent returns the power of ten of v once rounded to so many significant
// digits: 0.0996 to two is 0.10, power -1. For zero it is 0.
func exponent(v float64, digits int) int {
	s := strconv.FormatFloat(v, 'e', digits-1, 64)
	for i := range s {
		if s[i] == 'e' {
			n, _ := strconv.Atoi(s[i+1:])
			return n
		}
	}
	return 0
}

// toDigits rounds to significant digits.
func toDigits(v float64, digits int) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	if err != nil {
		return v // the largest doubles would be rounded up to infinity
	}
	return r
}

// fixed prints v to a decimal place, a negative one being left of the point.
func fixed(v float64, place int) string {
	if place < 0 {
		step := math.Pow10(-place)
		v = math.Round(v/step) * step
		place = 0
	}
	s := strconv.FormatFloat(v, 'f', place, 64)
	if r, err := strconv.ParseFloat(s, 64); err == nil && r == 0 && s[0] == '-' {
		return s[1:] // no minus zero
	}
	return s
}
