package subpixel_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
	"pinlash/vision/synth"
)

// A photo taken at rest shows no way, one taken in motion its length.
func TestMoved(t *testing.T) {
	for _, tt := range []struct{ length, clearance, blur float64 }{
		{0, 40, 0.8},
		{0, 40, 2},
		{0, 12, 0.8},
		{3, 40, 0.8},
		{5, 40, 0.8},
		{5, 60, 1.5},
		{8, 80, 0.8},
	} {
		for _, angle := range []float64{0, 0.7, 2} {
			s := quiet(200, tt.clearance, 2, tt.blur)
			g := s.Light()
			if tt.length > 0 {
				g = synth.Stroke(tt.length, angle).Smear(g)
			}
			m, ok := movedOf(t, s, g)
			if !ok {
				t.Errorf("%+v along %.1f rad: no rims seen", tt, angle)
				continue
			}
			// A box is not a Gaussian: a quarter off is good enough to tell.
			if math.Abs(m.Path-tt.length) > 0.25*tt.length {
				t.Errorf("%+v along %.1f rad: moved by %.2f px", tt, angle, m.Path)
			}
		}
	}
}

// A crooked way in a gap of a few pixels leaves no spread that sectors agree on,
// or shows itself.
func TestMovedInNarrowGap(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 6 {
		s := quiet(200, 12, 2, 0.8)
		m, ok := movedOf(t, s, synth.Shake(r, 5).Smear(s.Light()))
		if ok && m.Path < 2 && m.Uneven < 0.3 {
			t.Errorf("shaken by 5 px: %+v", m)
		}
	}
}

func movedOf(t *testing.T, s synth.Scene, g raster.Gray) (subpixel.Moved, bool) {
	t.Helper()
	f, err := subpixel.FitCrescent(g, startOf(s))
	if err != nil {
		return subpixel.Moved{}, false
	}
	return f.Moved()
}
