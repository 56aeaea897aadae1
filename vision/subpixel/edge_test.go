package subpixel

import (
	"math"
	"testing"
)

// The tabulated edge against the library's error function.
func TestEdge(t *testing.T) {
	for z := -7.0; z <= 7; z += 0.0037 {
		cdf, pdf := edge(z)
		if want := 0.5 * math.Erfc(-z/math.Sqrt2); math.Abs(cdf-want) > 1e-6 {
			t.Fatalf("edge at %v is %v, want %v", z, cdf, want)
		}
		if want := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi); math.Abs(pdf-want) > 1e-6 {
			t.Fatalf("slope at %v is %v, want %v", z, pdf, want)
		}
	}
}

// The quick direction against the library's arc tangent.
func TestTurn(t *testing.T) {
	worst := 0.0
	for i := range 100000 {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / 100000)
		d := math.Abs(turn(3*cos, 3*sin) - (float64(i)+0.5)/100000)
		worst = max(worst, min(d, 1-d))
	}
	if worst > 2.5e-4 {
		t.Errorf("direction wrong by up to %v turns, at most 2.5e-4", worst)
	}
	for _, p := range [][2]float64{{0, 0}, {1, 0}, {0, 1}, {-1, 0}, {0, -1}} {
		if v := turn(p[0], p[1]); !(v >= 0 && v <= 1) {
			t.Errorf("direction of %v is %v", p, v)
		}
	}
}

// A small linear problem with a known answer.
func TestNormalSolve(t *testing.T) {
	m := normal{n: 2}
	for _, p := range [][2]float64{{0, 1}, {1, 3}, {2, 5}, {3, 7}} { // y = 1 + 2x
		m.add(&[maxParams]float64{1, p[0]}, p[1])
	}
	x, inv, ok := m.solve()
	if !ok || math.Abs(x[0]-1) > 1e-12 || math.Abs(x[1]-2) > 1e-12 {
		t.Errorf("solved %v, %v", x, ok)
	}
	// Variance of the slope: 1 / sum (x - mean)^2 = 1/5.
	if math.Abs(inv[1][1]-0.2) > 1e-12 {
		t.Errorf("variance of the slope %v, want 0.2", inv[1][1])
	}
	singular := normal{n: 2}
	singular.add(&[maxParams]float64{1, 1}, 1)
	if _, _, ok := singular.solve(); ok {
		t.Error("one equation determined two unknowns")
	}
}
