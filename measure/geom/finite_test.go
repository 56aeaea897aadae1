package geom

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// finite reports whether every float in v is a finite number.
func finite(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Float64:
		return !math.IsNaN(v.Float()) && !math.IsInf(v.Float(), 0)
	case reflect.Struct:
		for i := range v.NumField() {
			if !finite(v.Field(i)) {
				return false
			}
		}
	case reflect.Array:
		for i := range v.Len() {
			if !finite(v.Index(i)) {
				return false
			}
		}
	}
	return true
}

// Whatever the points are, a fit returns finite figures or an error and a
// zero figure.
func TestFitsStayFinite(t *testing.T) {
	plain := rapid.SampledFrom([]float64{0, 1, 2, 3, -1, 0.5, 10, 1e-8, 1e6})
	wild := rapid.OneOf(plain, rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), 1e300, -1e300, 1e-300, 5e-324}))
	rapid.Check(t, func(t *rapid.T) {
		coordinate := rapid.SampledFrom([]*rapid.Generator[float64]{plain, wild, rapid.Float64Range(-100, 100)}).Draw(t, "kind")
		uncertainty := rapid.SampledFrom([]*rapid.Generator[float64]{rapid.Just(0.0), rapid.Just(0.1), rapid.Float64Range(1e-3, 1e3), wild}).Draw(t, "u")
		pts := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) EdgePoint {
			return EdgePoint{
				At: r2.Vec{X: coordinate.Draw(t, "x"), Y: coordinate.Draw(t, "y")},
				U:  uncertainty.Draw(t, "u"), Rejected: rapid.IntRange(0, 9).Draw(t, "rejected") == 0,
			}
		}), 0, 30).Draw(t, "pts")
		var vecs []r2.Vec
		var x, y []float64
		for _, p := range pts {
			vecs = append(vecs, p.At)
			x, y = append(x, p.At.X), append(y, p.At.Y)
		}
		check := func(name string, figure any, err error) {
			v := reflect.ValueOf(figure)
			if !finite(v) || err != nil && !v.IsZero() {
				t.Fatalf("%s: %+v, %v", name, figure, err)
			}
		}
		for name, fit := range circleFits {
			c, err := fit(pts)
			check(name, c, err)
			if err != nil {
				continue
			}
			check("coverage", ArcCoverage(pts, c), nil)
			for i := range 3 {
				if !(c.Cov[i][i] >= 0) {
					t.Fatalf("%s: %+v", name, c)
				}
			}
		}
		c, err := Kasa(vecs)
		check("Kasa", c, err)
		c, err = Taubin(vecs)
		check("Taubin", c, err)
		e, err := FitEllipse(pts)
		check("ellipse", e, err)
		l, err := FitLine(pts)
		check("line", l, err)
		s, err := FitStraight(x, y, nil)
		check("straight", s, err)
		if err == nil {
			v, u := s.At(1)
			check(fmt.Sprintf("%+v at 1", s), [2]float64{v, u}, nil)
		}
	})
}
