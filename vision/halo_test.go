package vision_test

import (
	"math"
	"testing"

	"pinlash/vision"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// What sharpening leaves beside both rims where it cut black off is no chamfer: the
// rims are where they were, and as well known as sharpening lets them be.
func TestHaloIsNoChamfer(t *testing.T) {
	for _, amount := range []float64{0.9, 1.2} {
		for _, sigma := range []float64{1.5, 1.9} {
			s := synth.Ring(200, 30, 3, 0.4)
			s.Joint.Dark, s.Camera.Blur = 0.0003, 0.55
			s.Joint.Bush.Finish = synth.Finish{Amplitude: 0.05, Along: 3, Across: 2}
			s.Joint.Pin.Finish = s.Joint.Bush.Finish
			s.Seed = 3
			g := developed(s.Sensor(), func(v raster.Gray) raster.Gray { return synth.Unsharp(v, amount, sigma) })
			e, _, err := vision.FindJoint(g, raster.SRGB)
			if err != nil {
				t.Errorf("amount %.1f over %.1f px: %v", amount, sigma, err)
				continue
			}
			bore, pin := e.BoreFit.R-s.Joint.BoreR, e.PinFit.R-s.Joint.PinR
			t.Logf("amount %.1f over %.1f px: shift %.2f, bands %.2f and %.2f, bore %+.2f, pin %+.2f", amount, sigma, e.SharpenShift, e.BoreBand, e.PinBand, bore, pin)
			if e.BoreBand > 0 || e.PinBand > 0 || math.Abs(bore) > 0.1 || math.Abs(pin) > 0.1 {
				t.Errorf("amount %.1f over %.1f px: bands of %.2f and %.2f px, bore off by %+.2f px, pin by %+.2f", amount, sigma, e.BoreBand, e.PinBand, bore, pin)
			}
		}
	}
}
