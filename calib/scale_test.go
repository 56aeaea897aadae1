package calib

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// square6um is a scale without gradient, 6 µm a pixel.
func square6um() Scale {
	return Scale{
		MMPerPx: uncert.Combine(0.006, "mm/px", uncert.Budget{{Name: "rule division tolerance", U: 6e-7}}),
		Origin:  r2.Vec{X: 800, Y: 1100},
		Source:  "points",
		W:       1600, H: 1200,
	}
}

func refusedAs(t *testing.T, err error, code check.Code, words ...string) {
	t.Helper()
	var refusal *check.Refusal
	if !errors.As(err, &refusal) || refusal.Code != code {
		t.Fatalf("error %v, want a refusal %s", err, code)
	}
	for _, w := range words {
		if !strings.Contains(refusal.Message, w) {
			t.Errorf("message %q does not name %q", refusal.Message, w)
		}
	}
}

func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

// For any slant, the mean of all directions is the root of the area element:
// the product of the lengths in two directions times the sine between their
// images, here by finite steps of Distance.
func TestDirectionsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := square6um()
		s.AngleRad = rapid.Float64Range(-3, 3).Draw(t, "angle")
		s.Gradient = r2.Vec{X: rapid.Float64Range(-2e-5, 2e-5).Draw(t, "gx"), Y: rapid.Float64Range(-2e-5, 2e-5).Draw(t, "gy")}
		p := r2.Vec{X: rapid.Float64Range(0, 1599).Draw(t, "x"), Y: rapid.Float64Range(0, 1199).Draw(t, "y")}
		turn := rapid.Float64Range(0, 3).Draw(t, "turn")

		d := direction(turn)
		if along, step := s.Along(p, turn).Value, s.Distance(r2.Sub(p, d), r2.Add(p, d), 0).Value/2; !near(along, step, 1e-8*along) {
			t.Fatalf("pixel length %.12g, by a step of two pixels %.12g", along, step)
		}
		if at := s.Along(s.Origin, s.AngleRad).Value; !near(at, 0.006, 1e-15) {
			t.Fatalf("at the Origin along the scale %.12g, want what was measured", at)
		}
		// To first order the doc comment's formula.
		q := r2.Scale(0.1, r2.Sub(p, s.Origin))
		if got, want := s.Along(r2.Add(s.Origin, q), s.AngleRad).Value, 0.006*(1+r2.Dot(s.Gradient, q)); !near(got, want, 0.006*3*math.Pow(r2.Norm(s.Gradient)*r2.Norm(q)+1e-4, 2)*10) {
			t.Fatalf("pixel length %.12g, to first order %.12g", got, want)
		}
		// Mean over directions of 1/length² is 1/2 trace; use the polygon area.
		const n = 64
		var area float64
		at := func(i int) r2.Vec {
			u := direction(2 * math.Pi * float64(i) / n)
			l := s.Along(p, 2*math.Pi*float64(i)/n).Value
			return r2.Scale(l, u)
		}
		_ = at
		a, b := s.image(p, 0), s.image(p, math.Pi/2)
		area = math.Abs(r2.Cross(a, b))
		if got := s.At(p).Value; !near(got, math.Sqrt(area), 1e-7*got) {
			t.Fatalf("mean of directions %.12g, root of the area %.12g", got, math.Sqrt(area))
		}
	})
}

func TestRest(t *testing.T) { _ = fmt.Sprint(); _ = geom.Circle{} }
