package subpixel

import (
	"math"
	"testing"

	"pinlash/measure/geom"
)

// The line of two flanks that touch is found anywhere between the circles where
// these cross, and near either circle where they do not.
func TestContactBetweenCrossingCircles(t *testing.T) {
	const boreR, from, step, blur, depth = 200.0, 170.0, 0.5, 1.0, 0.2
	f := CrescentFit{Bore: geom.Circle{R: boreR}, BlurBore: blur, BlurPin: blur, Contrast: 0.5}
	for _, tt := range []struct {
		gap, at float64 // of the circles, and radius of the line
		found   bool
	}{
		{-12, 200, true},
		{-12, 206, true},
		{-12, 212, true},
		{-12, 222, false},
		{12, 200, true},
		{12, 188, true},
		{12, 194, false},
	} {
		line := make([]float64, 140)
		for i := range line {
			z := (from + float64(i)*step - tt.at) / blur
			line[i] = 0.5 - depth*math.Exp(-z*z/2)
		}
		got, ok := f.contact(rayLight{line, step}, from, Sector{gap: tt.gap})
		if ok != tt.found {
			t.Errorf("line at %.0f, circles at %.0f and %.0f: found %v, want %v", tt.at, boreR, boreR-tt.gap, ok, tt.found)
			continue
		}
		if middle := boreR + (got.bore+got.pin-tt.gap)/2; ok && math.Abs(middle-tt.at) > step {
			t.Errorf("line at %.0f found at %.2f", tt.at, middle)
		}
	}
}
