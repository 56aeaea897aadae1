package calib

import (
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// Expansion is a coefficient of thermal expansion with its standard
// uncertainty, 1/K.
type Expansion struct{ PerK, U float64 }

// Steel has the value and the uncertainty of JCGM 100:2008, H.1.
var Steel = Expansion{PerK: 11.5e-6, U: 1.2e-6}

// ThermalFactor returns what a length read at tempC is to be multiplied by to
// hold at 20 °C, when the scale is right at 20 °C:
//
//	1 + (scale - part) (tempC - 20)
//
// Of one metal and temperature both grow alike, and only the uncertainties of
// the two coefficients stay.
func ThermalFactor(tempC float64, scale, part Expansion) (uncert.Quantity, error) {
	if !(tempC >= -60 && tempC <= 200) {
		return uncert.Quantity{}, fmt.Errorf("temperature %g °C is not between -60 and 200 °C", tempC)
	}
	warm := tempC - 20
	return uncert.Combine(1+(scale.PerK-part.PerK)*warm, "1", uncert.Budget{
		{Name: "expansion of the scale", U: math.Abs(warm) * scale.U},
		{Name: "expansion of the part", U: math.Abs(warm) * part.U},
	}), nil
}
