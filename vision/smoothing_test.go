package vision_test

import (
	"math"
	"testing"

	"pinlash/vision"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// developed returns the light of a picture of which a camera changed the encoded
// values.
func developed(g raster.Gray, camera func(encoded raster.Gray) raster.Gray) raster.Gray {
	v := raster.NewGray(g.W, g.H)
	for i, l := range g.Pix {
		v.Pix[i] = float32(raster.SRGB.Encode(float64(l)))
	}
	for i, l := range camera(v).Pix {
		g.Pix[i] = float32(raster.SRGB.Light(float64(l)))
	}
	return g
}

// A camera that takes off grain moves both rims, by no more than is allowed for,
// beside the 0.01 px and 3 % of the edge spread that every rim is given. One that
// does not is allowed nothing.
func TestSmoothingIsAllowedFor(t *testing.T) {
	likeness := func(sigma, tone float64) func(raster.Gray) raster.Gray {
		return func(v raster.Gray) raster.Gray { return synth.Bilateral(v, sigma, tone) }
	}
	for _, tt := range []struct {
		name     string
		camera   func(encoded raster.Gray) raster.Gray
		smoothed bool
	}{
		{"left alone", func(v raster.Gray) raster.Gray { return v }, false},
		{"a little by likeness", likeness(1, 0.05), true},
		{"by likeness", likeness(2, 0.1), true},
		{"by likeness, farther", likeness(3, 0.15), true},
		{"by likeness, then sharpened", func(v raster.Gray) raster.Gray { return synth.Unsharp(likeness(2.5, 0.2)(v), 0.5, 1.5) }, true},
	} {
		for _, blur := range []float64{0.7, 1.3} {
			s := synth.Ring(150, 24, 3, 0.4)
			s.Joint.Bush.Finish = synth.Finish{Amplitude: 0.05, Along: 3, Across: 2}
			s.Joint.Pin.Finish = s.Joint.Bush.Finish
			s.Camera.Blur = blur
			s.Seed = 12
			g := developed(s.Sensor(), tt.camera)
			e, _, err := vision.FindJoint(g, raster.SRGB)
			if err != nil {
				t.Errorf("%s, blur %.1f: %v", tt.name, blur, err)
				continue
			}
			// What is allowed for besides: other things that cameras do, and edges
			// of other shapes, for which smoothed ones can pass.
			besides := math.Hypot(math.Hypot(e.ToneShiftU, 0.35*e.SharpenShift), 0.01+0.03*e.Blur)
			for r, off := range []float64{e.BoreFit.R - s.Joint.BoreR, e.PinFit.R - s.Joint.PinR} {
				allowed := 2 * math.Sqrt(e.SmoothedU*e.SmoothedU+besides*besides+e.Cov[3*r+2][3*r+2])
				t.Logf("%s, blur %.1f: rim %d off by %+.3f px, smoothed %.3f, allowed %.3f", tt.name, blur, r, off, e.SmoothedU, allowed)
				if math.Abs(off) > allowed {
					t.Errorf("%s, blur %.1f: rim %d is off by %+.3f px, allowed %.3f", tt.name, blur, r, off, allowed)
				}
			}
			if got := e.SmoothedU > 0; got != tt.smoothed {
				t.Errorf("%s, blur %.1f: told %v", tt.name, blur, got)
			}
		}
	}
}
