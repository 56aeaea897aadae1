package raster

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// IEC 61966-2-1 values, from memory and re-computed from its formula: the
// knee, mid grey and the ends.
func TestCurveSRGB(t *testing.T) {
	for _, tt := range []struct{ encoded, light, tol float64 }{
		{0, 0, 0},
		{0.04045, 0.0031308, 1e-7},
		{0.5, 0.2140411, 1e-7},
		{118.0 / 255, 0.1811642, 1e-6}, // 18 % grey
		{0.735357, 0.5, 1e-6},
		{1, 1, 1e-12},
	} {
		if got := SRGB.Light(tt.encoded); math.Abs(got-tt.light) > tt.tol {
			t.Errorf("light of %v is %v, want %v within %v", tt.encoded, got, tt.light, tt.tol)
		}
	}
}

func TestCurvesRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom([]Curve{SRGB, Linear}).Draw(t, "curve")
		v := rapid.Float64Range(0, 1).Draw(t, "value")
		// The two branches of the standard meet to 1e-7 only.
		if got := c.Encode(c.Light(v)); math.Abs(got-v) > 1e-6 {
			t.Fatalf("%v comes back as %v", v, got)
		}
		w := rapid.Float64Range(0, 1).Draw(t, "other")
		if (v < w) != (c.Light(v) < c.Light(w)) && v != w {
			t.Fatalf("order of %v and %v is lost", v, w)
		}
	})
}

func TestTable(t *testing.T) {
	for _, n := range []int{256, 65536} {
		table := SRGB.Table(n)
		if len(table) != n || table[0] != 0 || table[n-1] != 1 {
			t.Errorf("table of %d levels has %d, from %v to %v", n, len(table), table[0], table[n-1])
		}
	}
	if got := Linear.Table(3)[1]; got != 0.5 {
		t.Errorf("middle of the linear table is %v", got)
	}
}

// plane is a picture whose light is a + bx + cy.
func plane(w, h int, a, b, c float64) Gray {
	g := NewGray(w, h)
	for y := range h {
		for x := range w {
			g.Pix[y*w+x] = float32(a + b*float64(x) + c*float64(y))
		}
	}
	return g
}

// Bilinear sampling is exact on a plane and repeats the edge outside.
func TestBilinear(t *testing.T) {
	g := plane(7, 5, 0.1, 0.05, 0.03)
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-3, 10).Draw(t, "x")
		y := rapid.Float64Range(-3, 8).Draw(t, "y")
		want := 0.1 + 0.05*min(max(x, 0), 6) + 0.03*min(max(y, 0), 4)
		if got := g.Bilinear(x, y); math.Abs(got-want) > 1e-6 {
			t.Fatalf("at %v, %v: %v, want %v", x, y, got, want)
		}
		if g.Inside(x, y) != (x >= 0 && x <= 6 && y >= 0 && y <= 4) {
			t.Fatalf("%v, %v inside: %v", x, y, g.Inside(x, y))
		}
	})
}

// Half keeps the mean, and a half-size pixel's centre lies between its four.
func TestHalf(t *testing.T) {
	g := plane(9, 6, 0.1, 0.05, 0.03)
	g.Clip = 0.9
	h := g.Half()
	if h.W != 4 || h.H != 3 || h.Clip != g.Clip {
		t.Fatalf("half of 9 x 6 is %d x %d, clip %v", h.W, h.H, h.Clip)
	}
	for y := range h.H {
		for x := range h.W {
			want := 0.1 + 0.05*(2*float64(x)+0.5) + 0.03*(2*float64(y)+0.5)
			if got := float64(h.At(x, y)); math.Abs(got-want) > 1e-6 {
				t.Errorf("(%d, %d): %v, want %v", x, y, got, want)
			}
		}
	}
	if e := NewGray(1, 1).Half(); e.W != 0 || e.H != 0 {
		t.Errorf("half of one pixel is %d x %d", e.W, e.H)
	}
}

// Quarter is Half of Half.
func TestQuarter(t *testing.T) {
	g := plane(21, 14, 0.1, 0.02, 0.03)
	q, h := g.Quarter(), g.Half().Half()
	if q.W != h.W || q.H != h.H {
		t.Fatalf("quarter of 21 x 14 is %d x %d, want %d x %d", q.W, q.H, h.W, h.H)
	}
	for i := range q.Pix {
		if math.Abs(float64(q.Pix[i]-h.Pix[i])) > 1e-6 {
			t.Fatalf("pixel %d: %v, want %v", i, q.Pix[i], h.Pix[i])
		}
	}
}

func TestNewGrayRefusesNegative(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a negative size made a picture")
		}
	}()
	NewGray(-1, 3)
}
