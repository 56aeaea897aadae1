package subpixel_test

import (
	"testing"

	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
	"pinlash/vision/synth"
)

// recoded changes a picture's encoded values, as a camera does.
func recoded(g raster.Gray, change func(encoded raster.Gray) raster.Gray) raster.Gray {
	v := raster.NewGray(g.W, g.H)
	for i, l := range g.Pix {
		v.Pix[i] = float32(raster.SRGB.Encode(float64(l)))
	}
	v = change(v)
	for i, l := range v.Pix {
		v.Pix[i] = float32(raster.SRGB.Light(float64(l)))
	}
	return v
}

// No light is missing beside a rim that only a lens blurred, whatever the
// grain; smoothing takes it from both faces.
func TestShoulders(t *testing.T) {
	smooth := func(g raster.Gray) raster.Gray {
		return recoded(g, func(v raster.Gray) raster.Gray { return synth.Bilateral(v, 2.5, 0.125) })
	}
	for _, tt := range []struct {
		name        string
		blur, noise float64
		camera      func(raster.Gray) raster.Gray
		missing     bool
	}{
		{"quiet", 0.8, 0.002, nil, false},
		{"soft", 2, 0.002, nil, false},
		{"grainy", 0.8, 0.02, nil, false},
		{"smoothed", 0.8, 0.01, smooth, true},
		{"soft and smoothed", 1.4, 0.01, smooth, true},
	} {
		s := quiet(200, 24, 3, tt.blur)
		s.Camera.Noise.Read = tt.noise
		g := s.Sensor()
		if tt.camera != nil {
			g = tt.camera(g)
		}
		f, err := subpixel.FitCrescent(g, startOf(s))
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		rims, ok := f.Shoulders()
		for r, sh := range rims {
			if !ok[r] {
				t.Errorf("%s: rim %d shows nothing", tt.name, r)
			}
			if seen := sh.Missing > 3*sh.U+0.02; seen != tt.missing {
				t.Errorf("%s: rim %d lacks %.3f px of light, u %.3f", tt.name, r, sh.Missing, sh.U)
			}
		}
	}
}
