package vision_test

import (
	"math"
	"testing"

	"pinlash/vision"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// A photo whose tones a camera has bent and that is read as sRGB: both rims lie
// elsewhere, by no more than is allowed for, beside the 0.01 px and 3 % of the
// edge spread that every rim is given.
func TestToneCurveIsAllowedFor(t *testing.T) {
	contrast := func(k float64) func(float64) float64 {
		return func(v float64) float64 { return (math.Tanh(k*(v-0.5))/math.Tanh(k/2) + 1) / 2 }
	}
	power := func(p float64, then func(float64) float64) func(float64) float64 {
		return func(v float64) float64 { return then(math.Pow(v, p)) }
	}
	for _, tt := range []struct {
		name string
		bend func(encoded float64) float64
		bent bool // enough to be told
	}{
		{"plain", func(v float64) float64 { return v }, false},
		{"a little contrast", contrast(1), false},
		{"contrast", contrast(2), true},
		{"most contrast", contrast(4), true},
		{"contrast and a darker middle", power(1.25, contrast(3)), true},
		{"contrast and a lighter middle", power(0.85, contrast(3)), true},
	} {
		for _, blur := range []float64{0.7, 1.5} {
			s := synth.Ring(200, 40, 8, 0.4)
			s.Camera.Blur = blur
			s.Camera.Noise = synth.Noise{Read: 0.004, FullWell: 8000}
			s.Seed = 11
			g := s.Sensor()
			for i, v := range g.Pix {
				g.Pix[i] = float32(raster.SRGB.Light(tt.bend(raster.SRGB.Encode(float64(v)))))
			}
			e, _, err := vision.FindJoint(g, raster.SRGB)
			if err != nil {
				t.Errorf("%s, blur %.1f: %v", tt.name, blur, err)
				continue
			}
			allowed := 2 * math.Hypot(e.ToneShiftU, 0.01+0.03*e.Blur)
			t.Logf("%s, blur %.1f: lopsided %.3f, bore %+.3f pin %+.3f allowed %.3f", tt.name, blur, e.Lopsided, e.BoreFit.R-s.Joint.BoreR, e.PinFit.R-s.Joint.PinR, allowed)
			for _, off := range []float64{e.BoreFit.R - s.Joint.BoreR, e.PinFit.R - s.Joint.PinR} {
				if math.Abs(off) > allowed {
					t.Errorf("%s, blur %.1f: a rim is off by %+.3f px, allowed %.3f", tt.name, blur, off, allowed)
				}
			}
			if got := e.ToneShiftU > 0; got != tt.bent {
				t.Errorf("%s, blur %.1f: told %v, lopsided by %.3f", tt.name, blur, got, e.Lopsided)
			}
		}
	}
}

// What a tone curve does at its ends is told: a gap that is black throughout, and
// bright faces on which nothing is white. A plain photo has neither, nor one in which
// white is clipped.
func TestEndsOfTheToneCurve(t *testing.T) {
	plain := func(v float64) float64 { return v }
	contrast := func(v float64) float64 { return (math.Tanh(5*(v-0.5))/math.Tanh(2.5) + 1) / 2 }
	shoulder := func(v float64) float64 {
		if v < 0.6 {
			return v
		}
		return 0.6 + 0.37*(1-math.Exp(-(v-0.6)/0.12))
	}
	for _, tt := range []struct {
		name         string
		gain         float64
		bend         func(encoded float64) float64
		black, white bool
	}{
		{"plain", 1, plain, false, false},
		{"brighter than white in places", 1.7, plain, false, false},
		{"contrast", 0.6, contrast, true, false},
		{"bright, with a shoulder", 1.3, shoulder, false, true},
	} {
		s := synth.Ring(200, 30, 8, 0.4)
		s.Joint.Dark = 0.001
		s.Joint.Bush.Finish = synth.Finish{Amplitude: 0.1, Along: 3, Across: 2}
		s.Joint.Pin.Finish = s.Joint.Bush.Finish
		s.Camera.Noise = synth.Noise{Read: 0.001, FullWell: 8000}
		s.Seed = 5
		g := s.Sensor()
		for i, v := range g.Pix {
			v := min(tt.gain*float64(v), 1)
			level := math.Round(255 * tt.bend(raster.SRGB.Encode(max(v, 0))))
			g.Pix[i] = float32(raster.SRGB.Light(level / 255))
		}
		e, _, err := vision.FindJoint(g, raster.SRGB)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if got := e.BlackInGap > 0.42; got != tt.black {
			t.Errorf("%s: %.2f of the gap is black", tt.name, e.BlackInGap)
		}
		if got := e.Unwhite > 0.9; got != tt.white {
			t.Errorf("%s: faces of %.2f without white", tt.name, e.Unwhite)
		}
	}
}
