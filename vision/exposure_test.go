package vision

import (
	"image"
	"image/color"
	"math"
	"testing"

	"pinlash/measure/check"
)

// twoTone is a picture whose given share of rows, from the top, has level a;
// the rest has level b.
func twoTone(share float64, a, b uint8) *image.Gray {
	const side = 200
	img := image.NewGray(image.Rect(0, 0, side, side))
	for y := range side {
		level := b
		if y < int(math.Round(share*side)) {
			level = a
		}
		for x := range side {
			img.SetGray(x, y, color.Gray{Y: level})
		}
	}
	return img
}

func TestExposure(t *testing.T) {
	tests := []struct {
		name string
		img  *image.Gray
		want check.Code // "" when the photo passes
	}{
		{"mid grey", twoTone(1, 120, 0), ""},
		{"black background", twoTone(0.9, 0, 160), ""},
		{"all but black, a bright stripe", twoTone(0.98, 2, 200), ""},
		{"white background", twoTone(0.55, 255, 90), ""},
		{"specular pin", twoTone(0.1, 255, 90), ""},
		{"burnt out", twoTone(0.95, 255, 90), check.Overexposed},
		{"just over the limit", twoTone(0.61, 250, 90), check.Overexposed},
		{"just below the clip level", twoTone(1, 249, 0), ""},
		{"black", twoTone(1, 0, 0), check.TooDark},
		{"underexposed", twoTone(0.5, 5, 35), check.TooDark},
		{"dim but usable", twoTone(0.5, 5, 45), ""},
	}
	for _, test := range tests {
		p, err := Decode(pngFile(t, test.img), "", Limits{})
		if err != nil {
			t.Fatal(err)
		}
		checks, err := Exposure(p)
		if got := codeOf(err); got != test.want || (err == nil) != (test.want == "") {
			t.Errorf("%s: got %v, want %q", test.name, err, test.want)
		}
		for _, c := range checks {
			if c.OK != (test.want == "") && (c.Name == "saturated share") == (test.want == check.Overexposed) {
				t.Errorf("%s: check %+v with refusal %q", test.name, c, test.want)
			}
		}
	}
}

func TestLevels(t *testing.T) {
	p, err := Decode(pngFile(t, twoTone(0.25, 252, 100)), "", Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Saturated != 0.25 || p.Bright != float64(p.Light.At(0, 0)) || p.Light.At(0, 0) < p.Light.Clip {
		t.Errorf("saturated %v, bright %v, clip %v", p.Saturated, p.Bright, p.Light.Clip)
	}
	p, err = Decode(pngFile(t, twoTone(0.005, 252, 100)), "", Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if dim := p.Light.At(0, p.H-1); p.Bright != float64(dim) {
		t.Errorf("bright %v with 0.5 %% highlights, want %v", p.Bright, dim)
	}
}
