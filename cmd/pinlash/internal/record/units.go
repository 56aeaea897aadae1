package record

import (
	"fmt"
	"math"
	"strconv"

	"pinlash/measure/uncert"
)

// Units are those in which people are shown lengths: millimetres, or inches.
// What programs read is in millimetres always.
type Units struct{ Inch bool }

const mmPerInch = 25.4

// exactDigits is how many significant digits are shown of an exact length in
// inches, which mostly is a round one in millimetres.
const exactDigits = 6

// Of returns the figure as it is shown. What is no length, or a ratio of
// lengths, stays as it is.
func (u Units) Of(q uncert.Quantity) uncert.Quantity {
	if !u.Inch {
		return q
	}
	switch q.Unit {
	case "mm":
		q = q.Scaled(1/mmPerInch, "in")
	case "mm/px":
		return q.Scaled(1/mmPerInch, "in/px")
	default:
		return q
	}
	if q.U == 0 {
		return uncert.Combine(significant(q.Value, exactDigits), q.Unit, nil)
	}
	return q
}

// Short prints a figure without its interval.
func (u Units) Short(q uncert.Quantity) string {
	q = u.Of(q)
	return q.Printed().Value + " " + q.Unit
}

// name is a figure's name in words; that of the scale says its unit.
func (u Units) name(figure string) string {
	if u.Inch && figure == "mm_per_px" {
		figure = "in_per_px"
	}
	return Words(figure)
}

// Length prints an exact length.
func (u Units) Length(mm float64) string { return u.Short(uncert.Combine(mm, "mm", nil)) }

// decimal prints a length with so many decimals of a millimetre, or in inches
// with as many more as make the last one no coarser.
func (u Units) decimal(mm float64, places int) (digits, unit string) {
	if !u.Inch {
		return strconv.FormatFloat(mm, 'f', places, 64), "mm"
	}
	return strconv.FormatFloat(mm/mmPerInch, 'f', places+2, 64), "in"
}

// significant rounds to so many significant digits.
func significant(v float64, digits int) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	if err != nil {
		return v // the largest doubles would be rounded up to infinity
	}
	return r
}

// Sentence is text for people in which the lengths are not written out before
// it is printed, in one unit or the other.
type Sentence struct {
	format string
	parts  []any
}

// Say makes a sentence as fmt.Sprintf would, but that quantities, the lengths
// of this package and sentences within it, each with the verb %s, follow the
// units.
func Say(format string, parts ...any) Sentence {
	if false {
		_ = fmt.Sprintf(format, parts...) // go vet takes it from here that this is a format
	}
	return Sentence{format, parts}
}

// Then returns the sentence with more text behind it.
func (s Sentence) Then(format string, parts ...any) Sentence {
	return Say("%s%s", s, Say(format, parts...))
}

// In prints the sentence.
func (s Sentence) In(u Units) string {
	parts := make([]any, len(s.parts))
	for i, part := range s.parts {
		switch p := part.(type) {
		case uncert.Quantity:
			parts[i] = u.Short(p)
		case interface{ In(Units) string }:
			parts[i] = p.In(u)
		default:
			parts[i] = p
		}
	}
	return fmt.Sprintf(s.format, parts...)
}

// String prints the sentence in millimetres.
func (s Sentence) String() string { return s.In(Units{}) }

// Length is an exact length in mm.
type Length float64

// In prints the length.
func (l Length) In(u Units) string { return u.Length(float64(l)) }

func (l Length) String() string { return l.In(Units{}) }

// Rounded is a length to so many significant digits, under a tenth of a
// millimetre in micrometres.
type Rounded struct {
	MM     float64
	Digits int
}

// In prints the length.
func (r Rounded) In(u Units) string {
	v, unit := r.MM, "mm"
	switch {
	case u.Inch:
		v, unit = v/mmPerInch, "in"
	case math.Abs(v) < 0.1:
		v, unit = 1000*v, "um"
	}
	return strconv.FormatFloat(significant(v, r.Digits), 'f', -1, 64) + " " + unit
}

func (r Rounded) String() string { return r.In(Units{}) }

// Upper is the upper end of a figure's interval.
type Upper uncert.Quantity

// In prints that end.
func (b Upper) In(u Units) string {
	q := u.Of(uncert.Quantity(b))
	return q.Printed().Upper + " " + q.Unit
}

func (b Upper) String() string { return b.In(Units{}) }

// Range is two lengths in mm, printed with as many decimals as tell them
// apart.
type Range struct{ From, To float64 }

// In prints the range.
func (r Range) In(u Units) string {
	from, _ := u.decimal(r.From, r.places())
	to, unit := u.decimal(r.To, r.places())
	return from + " to " + to + " " + unit
}

func (r Range) String() string { return r.In(Units{}) }

// Ends returns either end by itself, with the decimals of both.
func (r Range) Ends() (from, to Decimal) {
	return Decimal{r.From, r.places()}, Decimal{r.To, r.places()}
}

func (r Range) places() int {
	if d := math.Abs(r.To - r.From); d > 0 && d < 0.1 {
		return min(2-int(math.Floor(math.Log10(d))), 6)
	}
	return 2
}

// Decimal is a length to so many decimals of a millimetre.
type Decimal struct {
	MM     float64
	Places int
}

// In prints the length.
func (d Decimal) In(u Units) string {
	digits, unit := u.decimal(d.MM, d.Places)
	return digits + " " + unit
}

func (d Decimal) String() string { return d.In(Units{}) }
