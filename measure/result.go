// Package measure turns what a photo shows, in pixels, into figures of a
// chain joint, in millimetres with their uncertainty.
package measure

import (
	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// JointResult has the figures of one joint seen end-on.
type JointResult struct {
	PinDiameter, BoreDiameter uncert.Quantity // mm, of the unworn circles
	Clearance                 uncert.Quantity // mm, bore minus pin diameter
	Play                      uncert.Quantity // mm, clearance plus wear depth on the line of pull
	WearDepthPin              uncert.Quantity // mm, on the loaded flank
	WearDepthBore             uncert.Quantity // mm, on the loaded flank
	Offset                    uncert.Quantity // mm, pin centre from bore centre
	OffsetDirection           uncert.Quantity // deg
	RoundnessPin              uncert.Quantity // mm, largest minus smallest radius
	RoundnessBore             uncert.Quantity // mm
	Profile                   []WearBin
	Checks                    []check.Check
	Notes                     []string
}

// WearBin is the wear of both rims in one direction from the centre.
type WearBin struct {
	AngleDeg float64
	// Pin is how far the pin's rim lies inside its unworn circle, Bore how far
	// the bore's rim lies outside, mm; the U are standard uncertainties, zero
	// where the rim was not seen.
	Pin, PinU, Bore, BoreU float64
}
