package calib

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Length is a length in millimetres, as people state it: a division, a gauge,
// a distance. A *Length serves as a flag's value (String, Set, Type).
type Length float64

// Units of length.
const (
	Micrometre Length = 1e-3
	Millimetre Length = 1
	Inch       Length = 25.4 // exact since 1959
)

// Lengths beyond these bounds are slips of the keyboard here: a kilometre,
// and a millionth of a micrometre.
const (
	longest  Length = 1e6
	shortest Length = 1e-9
)

// ParseLength reads "0.5mm", "25.4", "10um", "10µm", "0.1 in" or "1/64 in".
// A bare number is in millimetres; a sign is allowed, so that heights can be
// read, and callers who want none must look. Not finite, empty, of an unknown
// unit, longer than a kilometre or finer than a picometre: an error.
func ParseLength(s string) (Length, error) {
	number, unit := splitUnit(strings.TrimSpace(s))
	if number == "" {
		return 0, fmt.Errorf("length %q has no number", s)
	}
	value, err := parseNumber(number)
	if err != nil {
		return 0, fmt.Errorf("length %q: %q is not a number", s, number)
	}
	var l Length
	switch unit {
	case "", "mm":
		l = Length(value)
	case "um", "µm", "μm": // micro sign and Greek mu
		l = Length(value / 1000)
	case "in":
		l = Length(value) * Inch
	default:
		return 0, fmt.Errorf("length %q: unit %q is not mm, um or in", s, unit)
	}
	if size := Length(math.Abs(float64(l))); !(size <= longest) || l != 0 && size < shortest {
		return 0, fmt.Errorf("length %q is out of all reason", s)
	}
	return l, nil
}

// splitUnit cuts s behind its last digit or dot.
func splitUnit(s string) (number, unit string) {
	end := strings.LastIndexAny(s, "0123456789.") + 1
	return s[:end], strings.TrimSpace(s[end:])
}

// parseNumber reads a decimal number or a fraction of two.
func parseNumber(s string) (float64, error) {
	if top, bottom, ok := strings.Cut(s, "/"); ok {
		a, err := parseDecimal(top)
		if err != nil {
			return 0, err
		}
		b, err := parseDecimal(bottom)
		if err != nil {
			return 0, err
		}
		return a / b, nil
	}
	return parseDecimal(s)
}

// parseDecimal is strconv.ParseFloat without its names and hexadecimals.
func parseDecimal(s string) (float64, error) {
	if strings.Trim(s, "0123456789.+-eE") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(s, 64)
}

// String writes the length in millimetres, in as many digits as ParseLength
// needs to read the same number again.
func (l Length) String() string {
	return strconv.FormatFloat(float64(l), 'f', -1, 64) + "mm"
}

// Set reads s as ParseLength does.
func (l *Length) Set(s string) error {
	v, err := ParseLength(s)
	if err == nil {
		*l = v
	}
	return err
}

// Type names the kind of flag in a command's help.
func (l *Length) Type() string { return "length" }
