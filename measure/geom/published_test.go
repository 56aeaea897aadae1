package geom

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/testdata"
)

// halfDigit is half of the last digit printed in s, the tolerance a printed
// figure has.
func halfDigit(s string) float64 {
	mantissa, power, _ := strings.Cut(s, "e")
	e, _ := strconv.Atoi(power)
	_, decimals, _ := strings.Cut(mantissa, ".")
	return 0.5 * math.Pow10(e-len(decimals))
}

// printed holds a result against a printed figure.
func printed(t testing.TB, source, what string, got float64, want string) {
	t.Helper()
	tol := halfDigit(want) * (1 + 1e-9)
	if math.Abs(got-testdata.Number(t, want)) > tol {
		t.Errorf("%s: got %.12g, want %s within %.2g (%s)", what, got, want, tol, source)
	}
}

func edgePoints(pts []r2.Vec) []EdgePoint {
	out := make([]EdgePoint, len(pts))
	for i, p := range pts {
		out[i].At = p
	}
	return out
}

func TestCircleAndEllipsePublished(t *testing.T) {
	for _, file := range []string{"gander1994_circle_ellipse.csv", "gruntz1990_circle.csv", "scipy_cookbook_circle.csv"} {
		rows := testdata.Table(t, "published/"+file)[1:]
		points := map[string][]r2.Vec{}
		for _, row := range rows {
			if row[0] == "point" {
				points[row[1]] = append(points[row[1]], r2.Vec{X: testdata.Number(t, row[3]), Y: testdata.Number(t, row[4])})
			}
		}
		results := 0
		for _, row := range rows {
			kind, set, method, a, b := row[0], row[1], row[2], row[3], row[4]
			if kind == "point" {
				continue
			}
			results++
			what := set + " " + method + " " + kind
			pts := points[set]
			if method == "ellipse" {
				e, err := FitEllipse(edgePoints(pts))
				if err != nil {
					t.Errorf("%s: %v (%s)", what, err, file)
					continue
				}
				ssq := e.RMS * e.RMS * float64(len(pts))
				switch kind {
				case "centre":
					printed(t, file, what+" x", e.Center.X, a)
					printed(t, file, what+" y", e.Center.Y, b)
				case "half_axis_a":
					printed(t, file, what, e.A, a)
				case "half_axis_b":
					printed(t, file, what, e.B, a)
				case "angle":
					printed(t, file, what, e.AngleRad, a)
				case "ssq":
					printed(t, file, what, ssq, a)
				case "norm":
					printed(t, file, what, math.Sqrt(ssq), a)
				default:
					t.Errorf("%s: nothing checks it", what)
				}
				continue
			}
			var c Circle
			var err error
			switch method {
			case "geometric":
				c, err = GeometricCircle(edgePoints(pts))
			case "kasa":
				c, err = Kasa(pts)
			case "unit_norm":
				// Not a method of ours: its circle is taken as printed, and
				// only the distances of the points from it are checked.
				if kind != "ssq" {
					continue
				}
				c = Circle{Center: r2.Vec{X: 5.3794, Y: 7.2532}, R: 3.0370}
			}
			if err != nil {
				t.Errorf("%s: %v (%s)", what, err, file)
				continue
			}
			var ssq, mean float64
			for _, p := range pts {
				ssq += sq(c.Distance(p))
				mean += r2.Norm(r2.Sub(p, c.Center)) / float64(len(pts))
			}
			switch kind {
			case "centre":
				printed(t, file, what+" x", c.Center.X, a)
				printed(t, file, what+" y", c.Center.Y, b)
			case "radius":
				printed(t, file, what, c.R, a)
			case "mean_distance":
				printed(t, file, what, mean, a)
			case "norm":
				printed(t, file, what, math.Sqrt(ssq), a)
			case "ssq":
				if method == "unit_norm" {
					// The circle is rounded to 5e-5, the sum's slope to it
					// at most 2 sqrt(6 ssq).
					if math.Abs(ssq-testdata.Number(t, a)) > 2*math.Sqrt(6*ssq)*5e-5 {
						t.Errorf("%s: got %v, want %s (%s)", what, ssq, a, file)
					}
					continue
				}
				printed(t, file, what, ssq, a)
				if math.Abs(ssq-c.RMS*c.RMS*float64(len(pts))) > 1e-12 {
					t.Errorf("%s: RMS %v does not belong to %v", what, c.RMS, ssq)
				}
			default:
				t.Errorf("%s: nothing checks it", what)
			}
		}
		if results == 0 {
			t.Errorf("%s: no results", file)
		}
	}
}
