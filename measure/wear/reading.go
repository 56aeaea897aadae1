package wear

import (
	"errors"
	"fmt"
	"math"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// Readings is one length read at several places of a chain.
type Readings struct {
	Mean  uncert.Quantity
	Worst uncert.Quantity // the longest place
	// Spread is the longest less the shortest place; all zero for one place.
	Spread uncert.Quantity
	// Places holds their number against the three that workshop manuals ask
	// for.
	Places check.Check
}

// leastPlaces: "mean of at least 3 places", "3 random places" in four
// workshop-manual extracts.
const leastPlaces = 3

// ReadPlaces sums up one length, such as a span of so many pitches, read at
// several places of a chain, in mm. Parts named in shared, such as the
// caliper's own error, have one cause in all readings: they do not shrink in
// the mean and cancel in the spread.
func ReadPlaces(lengths []uncert.Quantity, shared ...string) (Readings, error) {
	if err := atLeast("number of places", len(lengths), 1); err != nil {
		return Readings{}, err
	}
	worst, best := lengths[0], lengths[0]
	for _, q := range lengths {
		if err := positiveFigure("length at a place", q, "mm"); err != nil {
			return Readings{}, err
		}
		if q.Value > worst.Value {
			worst = q
		}
		if q.Value < best.Value {
			best = q
		}
	}
	r := Readings{
		Mean:   meanOf(lengths, shared, "places differ"),
		Worst:  worst,
		Spread: uncert.Combine(0, "mm", nil),
		Places: check.AtLeast("places", float64(len(lengths)), leastPlaces),
	}
	if len(lengths) > 1 {
		r.Spread = difference(worst, best, shared)
	}
	return r, nil
}

// SteelExpansion is the thermal expansion of steel per kelvin and its standard
// uncertainty, the values used in JCGM 100:2008, H.1.
const (
	SteelExpansion  = 11.5e-6
	SteelExpansionU = 1.2e-6
)

// ReferenceTemperature is that at which lengths hold, degrees Celsius (ISO 1).
const ReferenceTemperature = 20

// At20 returns the length in mm a chain would have at 20 degrees Celsius from
// the length it had at another temperature ("degC"):
//
//	L20 = L (1 - alpha (T - 20))
//
// The reading has to be right at that temperature. A steel rule or caliper as
// warm as the chain grows with it and needs no correction.
func At20(length, temperature uncert.Quantity) (uncert.Quantity, error) {
	if err := positiveFigure("length", length, "mm"); err != nil {
		return uncert.Quantity{}, err
	}
	if err := usable("temperature", temperature, "degC"); err != nil {
		return uncert.Quantity{}, err
	}
	if temperature.Value < -100 || temperature.Value > 300 {
		return uncert.Quantity{}, fmt.Errorf("temperature is %g degC, want -100 to 300", temperature.Value)
	}
	over := temperature.Value - ReferenceTemperature
	factor := 1 - SteelExpansion*over
	budget := append(scaledParts(length, factor),
		uncert.Term{Name: "temperature of the chain", U: length.Value * SteelExpansion * temperature.U, DF: temperature.DF},
		uncert.Term{Name: "thermal expansion of the chain", U: length.Value * SteelExpansionU * math.Abs(over)},
	)
	return uncert.Combine(length.Value*factor, "mm", budget), nil
}

// CheckPull holds the pull in N under which a length was read against the
// chain's measuring load, and against a third of its breaking load, which is
// the proof load of new chains (ISO 606:1994 A.2.5). Workshop manuals ask for
// 140 to 147 N on timing chains. Loads the table does not hold give no check.
func CheckPull(pull float64, c Chain) ([]check.Check, error) {
	if err := sane("pull", pull); err != nil {
		return nil, err
	}
	if pull < 0 {
		return nil, errors.New("pull is below zero")
	}
	var checks []check.Check
	if c.MeasuringLoad > 0 {
		checks = append(checks, check.AtLeast("pull", pull, c.MeasuringLoad))
	}
	if c.BreakingLoad > 0 {
		checks = append(checks, check.AtMost("pull below proof load", pull, c.BreakingLoad/3))
	}
	return checks, nil
}

// CaliperError names the part of a reading's uncertainty that is the
// caliper's own.
const CaliperError = "caliper"

// CaliperReading returns a reading of a vernier or digital caliper in mm as a
// figure. The greatest error of DIN 862, taken as a rectangle (GUM 4.3.7), is
//
//	20 um up to 100 mm, 30 um above (reading 0.01 or 0.02 mm)
//	50 um (reading 0.05 mm)
//
// and 20 um more for inside jaws. The 30 um are from memory, the others were
// seen in a tolerance table. Half the reading step is added as the rounding.
func CaliperReading(reading, step float64, inside bool) (uncert.Quantity, error) {
	if err := positive("caliper reading", reading); err != nil {
		return uncert.Quantity{}, err
	}
	if err := positive("caliper step", step); err != nil {
		return uncert.Quantity{}, err
	}
	if step > 0.05 || reading > 1000 {
		return uncert.Quantity{}, fmt.Errorf("a caliper of step %g mm reading %g mm is not covered; state the uncertainty", step, reading)
	}
	greatest := 0.02
	switch {
	case step > 0.02:
		greatest = 0.05
	case reading > 100:
		greatest = 0.03
	}
	if inside {
		greatest += 0.02
	}
	return uncert.Combine(reading, "mm", uncert.Budget{
		{Name: CaliperError, U: greatest / math.Sqrt(3)},
		{Name: "rounding of the reading", U: step / 2 / math.Sqrt(3)},
	}), nil
}
