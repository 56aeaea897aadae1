package calib

import (
	"fmt"
	"math"
	"testing"

	"pinlash/measure/uncert"
)

// Height error dL/L = dz/WD (pinhole camera seen from the side, derived):
// dz 0.5 mm, in percent and in µm on a pitch of 9.525 mm, as rounded in the
// project's table of check values.
func TestHeightErrorTable(t *testing.T) {
	for _, c := range []struct{ distance, percent, micrometre float64 }{
		{20, 2.50, 238}, {30, 1.67, 159}, {50, 1.00, 95}, {100, 0.50, 48},
	} {
		f, err := Plane{Offset: 0.5, WorkingDistance: Length(c.distance)}.Factor()
		if err != nil {
			t.Fatal(err)
		}
		e := 1 - f.Value
		if !near(100*e, c.percent, 0.005) || !near(9525*e, c.micrometre, 0.5+1e-9) {
			t.Errorf("0.5 mm at %g mm: %.4f %%, %.2f µm; want %.2f %%, %.0f µm", c.distance, 100*e, 9525*e, c.percent, c.micrometre)
		}
	}
	// Tolerable dz for 0.1 % at 50 mm: 0.05 mm (same table).
	f, err := Plane{Offset: 0.05, WorkingDistance: 50}.Factor()
	if err != nil || !near(1-f.Value, 1e-3, 1e-12) {
		t.Errorf("0.05 mm at 50 mm: factor %v, %v", f.Value, err)
	}
}

func TestPlaneUncertainty(t *testing.T) {
	f, err := Plane{Offset: 5, WorkingDistance: 300, OffsetU: 0.3, WorkingDistanceU: 6}.Factor()
	if err != nil {
		t.Fatal(err)
	}
	// u² = (u_h/W)² + (h u_W/W²)² = 0.001² + (5*6/90000)².
	if want := math.Hypot(0.001, 30.0/90000); !near(f.U, want, 1e-12) || !near(f.Value, 1-5.0/300, 1e-12) {
		t.Errorf("%v, want u %g", f, want)
	}
	for _, p := range []Plane{
		{Offset: 1},
		{Offset: 60, WorkingDistance: 100},
		{Offset: Length(math.NaN()), WorkingDistance: 100},
		{WorkingDistance: Length(math.Inf(1))},
		{WorkingDistance: -5},
		{WorkingDistance: 100, OffsetU: -1},
		{WorkingDistance: 100, WorkingDistanceU: Length(math.NaN())},
	} {
		if f, err := p.Factor(); err == nil {
			t.Errorf("%+v: factor %v", p, f)
		}
	}
}

func TestInPlane(t *testing.T) {
	s := square6um()
	up, err := s.InPlane(Plane{Offset: 1, WorkingDistance: 100})
	if err != nil {
		t.Fatal(err)
	}
	if !near(up.At(s.Origin).Value, 0.99*0.006, 1e-12) {
		t.Errorf("1 mm nearer at 100 mm: %v, want 1 %% less than 0.006", up.At(s.Origin))
	}
	if s.MMPerPx.Value != 0.006 || len(s.MMPerPx.Budget) != 1 {
		t.Error("the scale itself was changed")
	}
	// The camera of the other tests, moved: a rule nearer by 1 mm.
	c := bench
	c.distance--
	c.mmPerPx *= c.distance / bench.distance
	low, err := FromRule(bench.marksOf(tenths, nil), 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	if up, err = low.Scale.InPlane(Plane{Offset: 1, WorkingDistance: 110}); err != nil {
		t.Fatal(err)
	}
	if got, want := up.At(c.centre()).Value, c.pixel(c.centre()); !near(got, want, 1e-8*want) {
		t.Errorf("%.10f mm/px in the raised plane, true %.10f", got, want)
	}
}

// Tilt 1 - cos (derived): percent, and µm on 9.525 mm, as rounded in the
// project's table of check values.
func TestCosineErrorTable(t *testing.T) {
	for _, c := range []struct{ deg, percent, percentTol, micrometre, micrometreTol float64 }{
		{1, 0.0152, 5e-5, 1.45, 0.005},
		{2, 0.0609, 5e-5, 5.80, 0.005},
		{3, 0.137, 5e-4, 13.05, 0.005},
		{5, 0.381, 5e-4, 36.25, 0.005},
		{10, 1.519, 5e-4, 144.7, 0.05},
	} {
		e := CosineError(rad(c.deg))
		if !near(100*e, c.percent, c.percentTol) || !near(9525*e, c.micrometre, c.micrometreTol) {
			t.Errorf("%g degrees: %.5f %%, %.4f µm; want %g %%, %g µm", c.deg, 100*e, 9525*e, c.percent, c.micrometre)
		}
	}
}

// Expansion by 11.5e-6/K, the value of GUM H.1 (lengths derived): 1.15 µm per
// 100 mm and K; 133.35 mm, 15 K: 23.0 µm; 495.3 mm, 60 K: 341.8 µm.
func TestThermalTable(t *testing.T) {
	rigid := Expansion{}
	for _, c := range []struct{ mm, kelvin, micrometre, tol float64 }{
		{100, 1, 1.15, 0.005}, {133.35, 15, 23.0, 0.05}, {495.3, 60, 341.8, 0.05},
	} {
		f, err := ThermalFactor(20+c.kelvin, rigid, Steel)
		if err != nil {
			t.Fatal(err)
		}
		if got := 1000 * c.mm * (1 - f.Value); !near(got, c.micrometre, c.tol) {
			t.Errorf("%g mm, %g K: %.3f µm, want %g", c.mm, c.kelvin, got, c.micrometre)
		}
	}
	// Steel on steel at one temperature: nothing to correct.
	f, err := ThermalFactor(35, Steel, Steel)
	if err != nil || f.Value != 1 || !near(f.U, 15*1.2e-6*math.Sqrt2, 1e-12) {
		t.Errorf("steel on steel: %v, %v", f, err)
	}
	for _, temp := range []float64{math.NaN(), math.Inf(1), -300, 1000} {
		if _, err := ThermalFactor(temp, Steel, Steel); err == nil {
			t.Errorf("%g °C was taken", temp)
		}
	}
}

func ExamplePlane_Factor() {
	f, err := Plane{Offset: 5, WorkingDistance: 300}.Factor()
	fmt.Println(f, err)
	pixel := uncert.Product(uncert.Combine(0.05, "mm/px", uncert.Budget{{Name: "rule division tolerance", U: 5e-6}}), f, "mm/px")
	fmt.Println(pixel)
	// Output:
	// 0.98333 1 (u 0.00048, 95 % from 0.98239 to 0.98428) <nil>
	// 0.049167 mm/px (u 0.000025, 95 % from 0.049118 to 0.049215)
}
