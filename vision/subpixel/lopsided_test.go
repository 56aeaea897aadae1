package subpixel_test

import (
	"math"
	"testing"

	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// A tone curve v + c v(1-v) between gap and face makes both rims lopsided by c.
// A right curve leaves nothing beyond the noise, with any blur.
func TestLopsided(t *testing.T) {
	for _, tt := range []struct{ c, blur float64 }{
		{0, 0.8},
		{0, 1.5},
		{0, 3},
		{0.3, 0.8},
		{-0.3, 0.8},
		{0.3, 1.5},
		{-0.3, 1.5},
		{0.3, 3},
		{-0.3, 3},
	} {
		s := quiet(200, 40, 8, tt.blur)
		s.Joint.Pin.Level = s.Joint.Bush.Level
		g := s.Sensor()
		bent := raster.Gray{W: g.W, H: g.H, Pix: make([]float32, len(g.Pix))}
		for i, v := range g.Pix {
			bent.Pix[i] = v + float32(tt.c)*v*(1-v/float32(s.Joint.Bush.Level))
		}
		f, err := subpixel.FitCrescent(bent, startOf(s))
		if err != nil {
			t.Fatal(err)
		}
		// To first order in c half of the light moves by c/4 over the slope of
		// the edge there, 1/sqrt(2 pi) a spread.
		shift := -tt.c / 4 * math.Sqrt(2*math.Pi) * f.BlurBore
		if off := f.Bore.R - s.Joint.BoreR; math.Abs(off-shift) > 0.1*math.Abs(shift)+0.02 {
			t.Errorf("c %+.1f, blur %.1f: bore off by %+.3f px, want %+.3f", tt.c, tt.blur, off, shift)
		}
		rims, ok := f.Lopsided()
		for r, l := range rims {
			if !ok[r] {
				t.Errorf("c %+.1f, blur %.1f: rim %d shows nothing", tt.c, tt.blur, r)
				continue
			}
			// A tangent to the bent edge is taken, which shows four fifths of it.
			if math.Abs(l.C-0.8*tt.c) > 3*l.U+0.1*math.Abs(tt.c) {
				t.Errorf("c %+.1f, blur %.1f: rim %d lopsided by %+.3f, u %.3f", tt.c, tt.blur, r, l.C, l.U)
			}
		}
	}
}

// Beside a narrow gap nothing is claimed.
func TestLopsidedInNarrowGap(t *testing.T) {
	s := quiet(200, 6, 1, 1.2)
	f, err := subpixel.FitCrescent(s.Sensor(), startOf(s))
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := f.Lopsided(); ok[0] || ok[1] {
		t.Errorf("a gap of %.1f edge spreads showed whether its rims are lopsided", f.Gap/f.BlurBore)
	}
}
