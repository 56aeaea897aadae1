package geom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/testdata"
)

// The same points fitted by scikit-image and SciPy; their script lies beside
// the file.
func TestCrosscheckSkimage(t *testing.T) {
	points := map[string][]EdgePoint{}
	results := 0
	for _, row := range testdata.Table(t, "crosscheck/circle_skimage.csv")[1:] {
		kind, set := row[0], row[1]
		var v [5]float64
		for i, cell := range row[2:] {
			if cell != "" {
				v[i] = testdata.Number(t, cell)
			}
		}
		if kind == "point" {
			points[set] = append(points[set], EdgePoint{At: r2.Vec{X: v[0], Y: v[1]}, Rejected: v[2] == 0})
			continue
		}
		results++
		pts := points[set]
		var vecs []r2.Vec
		for _, p := range pts {
			if !p.Rejected {
				vecs = append(vecs, p.At)
			}
		}
		near := func(what string, got, want, tol float64) {
			t.Helper()
			if !(math.Abs(got-want) <= tol) {
				t.Errorf("%s %s, %s: got %.12g, want %.12g within %.1g", set, kind, what, got, want, tol)
			}
		}
		want := r2.Vec{X: v[0], Y: v[1]}
		// Both sides are linear or are run to the end; what is left are the
		// digits the coordinates have, and those their least squares of
		// numerical derivatives gives away, together about 1e-8 of the size.
		tol := 1e-8*v[2] + 16*epsilon*r2.Norm(want)
		switch kind {
		case "circle_algebraic":
			c, err := Kasa(vecs)
			if err != nil {
				t.Fatal(err)
			}
			near("x", c.Center.X, want.X, tol)
			near("y", c.Center.Y, want.Y, tol)
			near("R", c.R, v[2], tol)
		case "circle_geometric":
			c, err := GeometricCircle(pts)
			if err != nil {
				t.Fatal(err)
			}
			near("x", c.Center.X, want.X, tol)
			near("y", c.Center.Y, want.Y, tol)
			near("R", c.R, v[2], tol)
			// The robust fit sees the points that ransac left out, too. It
			// weighs the rest a little differently, which costs 5 % of the
			// variance, so the two differ by sqrt(0.05) = 0.22 standard
			// uncertainties for many points; 2000 repeats of 60 points showed
			// 0.25. Four times that is allowed.
			for i := range pts {
				pts[i].Rejected = false
			}
			robust, err := FitCircle(pts, FitOptions{})
			if err != nil {
				t.Fatal(err)
			}
			near("robust x", robust.Center.X, want.X, math.Sqrt(c.Cov[0][0]))
			near("robust y", robust.Center.Y, want.Y, math.Sqrt(c.Cov[1][1]))
			near("robust R", robust.R, v[2], math.Sqrt(c.Cov[2][2]))
			if robust.Inliers != len(vecs) {
				t.Errorf("%s: %d inliers, ransac has %d", set, robust.Inliers, len(vecs))
			}
		case "ellipse_algebraic":
			c, err := newPlainCloud(vecs)
			if err != nil {
				t.Fatal(err)
			}
			e, ok := c.directEllipse()
			if !ok {
				t.Fatalf("%s: no ellipse", set)
			}
			center := c.out(e.Center)
			near("x", center.X, want.X, tol)
			near("y", center.Y, want.Y, tol)
			near("A", c.size*e.A, v[2], tol)
			near("B", c.size*e.B, v[3], tol)
			near("angle", angleBetween(e.AngleRad, v[4]), 0, tol/(v[2]-v[3]))
		case "ellipse_geometric":
			e, err := FitEllipse(pts)
			if err != nil {
				t.Fatal(err)
			}
			near("x", e.Center.X, want.X, tol)
			near("y", e.Center.Y, want.Y, tol)
			near("A", e.A, v[2], tol)
			near("B", e.B, v[3], tol)
			near("angle", angleBetween(e.AngleRad, v[4]), 0, tol/(v[2]-v[3]))
		default:
			t.Errorf("%s %s: nothing checks it", set, kind)
		}
	}
	if results != 2*9+2*4 {
		t.Errorf("%d results checked", results)
	}
}
