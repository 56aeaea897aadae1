// Package calib turns pixels into millimetres and says how well.
package calib

import (
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/uncert"
)

// Scale is the size of a pixel over a photo.
//
// The scale may change over the picture when the camera looks at a slant.
// To first order the length of a pixel at point p, along the direction of the
// rule, is
//
//	MMPerPx * (1 + Gradient . (p - Origin))
type Scale struct {
	MMPerPx  uncert.Quantity // at Origin, mm/px, without the gradient's own part
	Origin   r2.Vec          // pixels
	Gradient r2.Vec          // relative change of the pixel length, 1/px
	// GradientU is the standard uncertainty of the gradient along the rule
	// (X) and across it (Y), 1/px.
	GradientU  r2.Vec
	AngleRad   float64 // direction of the rule in the photo
	Source     string  // "rule", "gauge", "points" or "file"
	DivisionMM float64 // of a rule, else 0
	Marks      int     // of a rule, else 0
	W, H       int     // size of the photo the scale was read in, pixels
}
