package subpixel_test

import (
	"math"
	"testing"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
	"pinlash/vision/synth"
)

// startOf is a start for the fit, off by a pixel in every way.
func startOf(s synth.Scene) subpixel.Rims {
	j := s.Joint
	bore, pin := geom.Circle{Center: j.BoreCenter, R: j.BoreR + 1}, geom.Circle{Center: j.PinCenter, R: j.PinR - 0.8}
	bore.Center.X += 0.7
	pin.Center.Y -= 0.9
	return subpixel.Rims{Bore: bore, Pin: pin, Blur: 1.2}
}

// quiet is a ring with little noise.
func quiet(boreR, clearance, minGap, blur float64) synth.Scene {
	s := synth.Ring(boreR, clearance, minGap, 0.4)
	s.Camera.Blur = blur
	s.Camera.Noise = synth.Noise{Read: 0.002}
	s.Seed = 3
	return s
}

// On a ring of almost no noise the fit has no bias to speak of: 0.02 px is
// what the project promises.
func TestFitCrescentBias(t *testing.T) {
	for _, tt := range []struct{ boreR, clearance, minGap, blur float64 }{
		{200, 20, 1, 0.8},
		{200, 40, 5, 0.8},
		{200, 12, 2, 1.5},
		{300, 8, 0.5, 0.9},
		{90, 10, 1, 0.7},
		{150, 24, 2, 3},
	} {
		s := quiet(tt.boreR, tt.clearance, tt.minGap, tt.blur)
		f, err := subpixel.FitCrescent(s.Sensor(), startOf(s))
		if err != nil {
			t.Errorf("%+v: %v", tt, err)
			continue
		}
		for _, c := range []struct {
			name      string
			got, want float64
		}{
			{"bore radius", f.Bore.R, s.Joint.BoreR},
			{"pin radius", f.Pin.R, s.Joint.PinR},
			{"bore x", f.Bore.Center.X, s.Joint.BoreCenter.X},
			{"bore y", f.Bore.Center.Y, s.Joint.BoreCenter.Y},
			{"pin x", f.Pin.Center.X, s.Joint.PinCenter.X},
			{"pin y", f.Pin.Center.Y, s.Joint.PinCenter.Y},
		} {
			if math.Abs(c.got-c.want) > 0.02 {
				t.Errorf("%+v: %s %.4f, want %.4f within 0.02", tt, c.name, c.got, c.want)
			}
		}
		// The spread to be found is that of lens and pixel together.
		if want := math.Sqrt(tt.blur*tt.blur + 1.0/12); math.Abs(f.BlurBore-want) > 0.05*want {
			t.Errorf("%+v: edge spread %.3f, want %.3f within 5 %%", tt, f.BlurBore, want)
		}
	}
}

// A worn bore keeps its unworn circle, and the sectors follow the pocket.
func TestFitCrescentFollowsWear(t *testing.T) {
	for _, pulled := range []bool{true, false} {
		s := quiet(250, 16, 1, 0.8)
		s.Joint.BoreWear = synth.Wear{Depth: 10, DirectionRad: s.Joint.PullRad}
		if pulled {
			s.Joint.Pull(0.8) // into the pocket, a gap under the blur
		} else {
			s.Joint.Pull(12)
		}
		f, err := subpixel.FitCrescent(s.Sensor(), startOf(s))
		if err != nil {
			t.Errorf("pulled %v: %v", pulled, err)
			continue
		}
		if math.Abs(f.Bore.R-250) > 0.05 {
			t.Errorf("pulled %v: unworn bore radius %.3f, want 250 within 0.05", pulled, f.Bore.R)
		}
		// In contact the rim is read through a gap under the blur: 0.4 px is
		// what the project promises there.
		tol := 0.1
		if pulled {
			tol = 0.4
		}
		seen := 0
		for _, c := range f.Sectors {
			d := math.Remainder(c.Angle-s.Joint.PullRad, 2*math.Pi)
			if !c.Fitted || math.Abs(d) > 0.5 {
				continue
			}
			seen++
			if want := s.Joint.BoreRim(c.Angle) - s.Joint.BoreR; math.Abs(c.Bore-want) > tol {
				t.Errorf("pulled %v: rim at %.2f rad from the load %.2f px outside, want %.2f within %.1f", pulled, d, c.Bore, want, tol)
			}
		}
		if seen < 10 {
			t.Errorf("pulled %v: only %d sectors of the pocket were fitted", pulled, seen)
		}
	}
}

// A camera's sharpening is seen, and taking it back takes the bias away.
func TestSharpening(t *testing.T) {
	for _, amount := range []float64{0, 0.3, 0.5} {
		s := quiet(200, 20, 2, 0.8)
		s.Camera.Sharpen = amount
		s.Camera.Curve = raster.SRGB
		g, err := s.Photo()
		if err != nil {
			t.Fatal(err)
		}
		f, err := subpixel.FitCrescent(g, startOf(s))
		if err != nil {
			t.Fatal(err)
		}
		before := f.Bore.R - f.Pin.R - 10
		sharp := f.Sharpening(raster.SRGB)
		if sharp.Found() != (amount > 0) {
			t.Errorf("sharpening %.1f: found %+v", amount, sharp)
			continue
		}
		if amount == 0 {
			continue
		}
		f, err = subpixel.FitCrescent(sharp.Undo(g, raster.SRGB, 0, 0, g.W, g.H), startOf(s))
		if err != nil {
			t.Fatal(err)
		}
		after := f.Bore.R - f.Pin.R - 10
		// 35 % of the correction is what measure counts as its uncertainty.
		if math.Abs(after) > 0.35*math.Abs(before) {
			t.Errorf("sharpening %.1f: gap off by %.3f px, after taking it back %.3f", amount, before, after)
		}
	}
}

// The foot of a chamfer is the rim that bears.
func TestFeetOfChamfer(t *testing.T) {
	for _, tt := range []struct{ width, level float64 }{{0, 0}, {3, 0.25}, {10, 0.2}} {
		s := quiet(250, 24, 3, 0.8)
		if tt.width > 0 {
			s.Joint.PinChamfer = synth.Chamfer{Width: tt.width, Level: tt.level * s.Joint.Pin.Level}
		}
		start := startOf(s)
		start.Pin.R -= tt.width // the bright face ends there
		f, err := subpixel.FitCrescent(s.Sensor(), start)
		if err != nil {
			t.Errorf("%+v: %v", tt, err)
			continue
		}
		feet, ok := f.Feet()
		if !ok[1] {
			t.Errorf("%+v: no feet of the pin", tt)
			continue
		}
		if tt.width == 0 && feet[1].Band > 0.4 {
			t.Errorf("sharp pin has a band of %.2f px", feet[1].Band)
		}
		if d := feet[1].Circle.R - s.Joint.PinR; math.Abs(d) > 0.5 {
			t.Errorf("%+v: foot off by %.2f px, at most 0.5", tt, d)
		}
	}
}

// A fit that cannot succeed says so.
func TestFitCrescentRefuses(t *testing.T) {
	g := raster.NewGray(300, 300)
	for _, start := range []subpixel.Rims{
		{},
		{Bore: geom.Circle{R: 1e9}, Pin: geom.Circle{R: 1e9}, Blur: 1},
		{Bore: geom.Circle{R: math.NaN()}, Pin: geom.Circle{R: 50}, Blur: 1},
		startOf(synth.Ring(100, 10, 1, 0)),
	} {
		if _, err := subpixel.FitCrescent(g, start); err == nil {
			t.Errorf("start %+v on a black picture gave a fit", start)
		}
	}
}
