package subpixel_test

import (
	"math"
	"testing"

	"pinlash/vision/subpixel"
	"pinlash/vision/synth"
)

// Beside a broken edge the rim is where the strip begins, not where its light
// is half: within 0.1 px, and the strip as wide as it was drawn within 0.3 px.
func TestBevelBesideARim(t *testing.T) {
	for _, tt := range []struct{ clearance, blur, bore, pin, share float64 }{
		{12, 0.8, 2.7, 0, 0.6},
		{7, 0.7, 2.7, 0, 0.6}, // narrower than a half-light fit can tell from blur
		{12, 0.8, 1.4, 0, 0.5},
		{16, 1.3, 4, 0, 0.45},
		{14, 0.8, 0, 3, 0.65},
	} {
		s := quiet(240, tt.clearance, 0.8, tt.blur)
		s.Joint.BoreBreak = synth.Chamfer{Width: tt.bore, Level: tt.share * s.Joint.Bush.Level}
		s.Joint.PinChamfer = synth.Chamfer{Width: tt.pin, Level: tt.share * s.Joint.Pin.Level}
		g := s.Sensor()
		f, err := subpixel.FitCrescent(g, startOf(s))
		if err != nil {
			t.Errorf("%+v: %v", tt, err)
			continue
		}
		// What is no single step is seen as such, until it is known for two.
		odd, sharp := 0, 1
		if tt.bore == 0 {
			odd, sharp = 1, 0
		}
		if got := f.Misfit(odd); got < 2*f.Misfit(sharp) {
			t.Errorf("%+v: one step misses the broken edge by %.4f, the sharp one by %.4f", tt, got, f.Misfit(sharp))
		}
		f = f.Bevelled(g)
		if got := f.Misfit(odd); got != 0 {
			t.Errorf("%+v: two steps miss the edge by %.4f", tt, got)
		}
		for i, want := range []float64{tt.bore, tt.pin} {
			if got := f.Bevels[i].Width; math.Abs(got-want) > 0.3 {
				t.Errorf("%+v: rim %d has a bevel of %.2f px, want %.2f", tt, i, got, want)
			}
		}
		if d := f.Bore.R - s.Joint.BoreR; math.Abs(d) > 0.1 {
			t.Errorf("%+v: bore radius off by %+.3f px", tt, d)
		}
		if d := f.Pin.R - s.Joint.PinR; math.Abs(d) > 0.1 {
			t.Errorf("%+v: pin radius off by %+.3f px", tt, d)
		}
	}
}

// A sharp rim has no bevel, whatever the shape of the blur and the grain of the
// faces: the fit is left as it was.
func TestNoBevelBesideASharpRim(t *testing.T) {
	for _, tt := range []struct{ blur, defocus, grain float64 }{
		{0.8, 0, 0}, {2, 0, 0}, {0.8, 2, 0}, {0.8, 4, 0}, {0.8, 0, 0.1}, {1.2, 1.5, 0.1},
	} {
		s := quiet(240, 14+4*tt.defocus, 1, tt.blur)
		s.Camera.Defocus = tt.defocus
		grain := synth.Finish{Amplitude: tt.grain, Along: 8, Across: 2}
		s.Joint.Pin.Finish, s.Joint.Bush.Finish = grain, grain
		g := s.Sensor()
		f, err := subpixel.FitCrescent(g, startOf(s))
		if err != nil {
			t.Errorf("%+v: %v", tt, err)
			continue
		}
		if m := max(f.Misfit(0), f.Misfit(1)); m == 0 || m > 0.02 {
			t.Errorf("%+v: one step misses a sharp rim by %.4f", tt, m)
		}
		b := f.Bevelled(g)
		if b.Bevels != [2]subpixel.Bevel{} || b.Smear != [2]float64{} || b.Bore != f.Bore {
			t.Errorf("%+v: bevels %v, smear %v of a sharp rim", tt, b.Bevels, b.Smear)
		}
	}
}
