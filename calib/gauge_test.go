package calib

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
)

func gaugeRim() geom.Circle {
	c := geom.Circle{Center: r2.Vec{X: 700, Y: 500}, R: 400, Inliers: 900, RMS: 0.05}
	c.Cov[2][2] = square(0.003)
	return c
}

func TestFromGauge(t *testing.T) {
	got, err := FromGauge(gaugeRim(), 8, false, photo)
	if err != nil {
		t.Fatal(err)
	}
	s := got.Scale
	// 8 mm over 800 px; the rim to 0.003 of 400 px as read and to 0.03 as the
	// camera shows it, the gauge to 2.54 µm/sqrt(12) of 8 mm.
	want := 0.01 * math.Hypot(math.Hypot(0.003, 0.03)/400, 0.00254/math.Sqrt(12)/8)
	if s.MMPerPx.Value != 0.01 || !near(s.MMPerPx.U, want, 1e-12) {
		t.Errorf("%v, want 0.01 (u %.3g)", s.MMPerPx, want)
	}
	// A disc of the gauge's own size and place comes out at its size, however
	// the camera stands; elsewhere it does not.
	if u := s.At(s.Origin).U; u > 1.01*math.Hypot(want, 0.01*s.DistortionU*square(s.Extent)/4) {
		t.Errorf("at the gauge u %g, of the gauge itself %g", u, want)
	}
	if near, far := s.At(s.Origin).U, s.At(r2.Vec{X: 1500, Y: 1100}).U; far < 2*near {
		t.Errorf("u %g at the gauge, %g in the corner", near, far)
	}
}

// The rim of a bright end lies up to 0.02 mm within the gauge's own.
func TestBrightGauge(t *testing.T) {
	dark, err := FromGauge(gaugeRim(), 8, false, photo)
	if err != nil {
		t.Fatal(err)
	}
	bright, err := FromGauge(gaugeRim(), 8, true, photo)
	if err != nil {
		t.Fatal(err)
	}
	want := math.Hypot(dark.Scale.MMPerPx.U, 0.01*0.01/4)
	if got := bright.Scale.MMPerPx.U; !near(got, want, 1e-12) {
		t.Errorf("u %g mm/px, want %g", got, want)
	}
	if len(bright.Notes) != len(dark.Notes)+1 {
		t.Errorf("notes %q and %q", bright.Notes, dark.Notes)
	}
}

func TestGaugeRefused(t *testing.T) {
	for name, spoil := range map[string]func(*geom.Circle){
		"oval":    func(c *geom.Circle) { c.RMS = 2 },
		"vague":   func(c *geom.Circle) { c.Cov[2][2] = 100 },
		"nan":     func(c *geom.Circle) { c.R = math.NaN() },
		"nan rms": func(c *geom.Circle) { c.RMS = math.NaN() },
		"nothing": func(c *geom.Circle) { *c = geom.Circle{} },
		"nowhere": func(c *geom.Circle) { c.Center.X = math.Inf(1) },
	} {
		c := gaugeRim()
		spoil(&c)
		_, err := FromGauge(c, 8, false, photo)
		t.Log(name, err)
		refusedAs(t, err, check.ScaleUnclear)
	}
	if _, err := FromGauge(gaugeRim(), -8, false, photo); err == nil {
		t.Error("a gauge of -8 mm was taken")
	}
}

// Clicked points: u = sqrt(2) u_click/L, raw click 0.7 px; 500 px give 0.2 %.
func TestFromPoints(t *testing.T) {
	got, err := FromPoints(r2.Vec{X: 300, Y: 600}, r2.Vec{X: 800, Y: 600}, 5, 0, photo)
	if err != nil {
		t.Fatal(err)
	}
	if u := got.Scale.MMPerPx.Budget[0].U / got.Scale.MMPerPx.Value; !near(u, 0.00198, 5e-6) {
		t.Errorf("relative uncertainty of the points %g, want 0.7 sqrt(2)/500 = 0.00198", u)
	}
	for _, p := range [][2]r2.Vec{{{X: 5, Y: 5}, {X: 5, Y: 5}}, {{X: 5, Y: 5}, {X: 60, Y: 5}}} {
		_, err := FromPoints(p[0], p[1], 5, 0, photo)
		refusedAs(t, err, check.ScaleUnclear)
	}
	for _, x := range []float64{-1, 1600, math.NaN(), math.Inf(1)} {
		if _, err := FromPoints(r2.Vec{X: x, Y: 5}, r2.Vec{X: 800, Y: 5}, 5, 0, photo); err == nil {
			t.Errorf("a point at x = %g was taken", x)
		}
	}
	if _, err := FromPoints(r2.Vec{}, r2.Vec{X: 800}, 5, math.NaN(), photo); err == nil {
		t.Error("a click of uncertainty NaN was taken")
	}
}
