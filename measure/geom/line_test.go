package geom

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// row returns n points at a step of one along a line through at, with noise
// sd across it.
func row(rnd *rand.Rand, at r2.Vec, rad float64, n int, sd float64) []EdgePoint {
	pts := make([]EdgePoint, n)
	for i := range pts {
		own := r2.Vec{X: float64(i) - float64(n-1)/2, Y: sd * rnd.NormFloat64()}
		pts[i] = EdgePoint{At: r2.Add(at, turn(own, rad)), U: sd}
	}
	return pts
}

func TestLineExact(t *testing.T) {
	for deg := -90; deg < 90; deg += 15 {
		rad := float64(deg) * math.Pi / 180
		for _, at := range []r2.Vec{{}, {X: 1e6, Y: -1e6}} {
			pts := row(fixed(), at, rad, 9, 0)
			l, err := FitLine(pts)
			if err != nil {
				t.Fatal(err)
			}
			tol := 64 * epsilon * (1 + r2.Norm(at))
			if r2.Norm(r2.Sub(l.At, at)) > tol || angleBetween(l.AngleRad, rad) > tol || l.RMS > tol {
				t.Errorf("%d deg at %v: %+v", deg, at, l)
			}
			if l.AngleRad < -math.Pi/2 || l.AngleRad >= math.Pi/2 {
				t.Errorf("%d deg: angle %v", deg, l.AngleRad)
			}
			side := r2.Add(at, turn(r2.Vec{X: 3, Y: 2}, l.AngleRad))
			if d := l.Distance(side); math.Abs(d-2) > tol {
				t.Errorf("%d deg: distance %v, want 2", deg, d)
			}
		}
	}
}

// The uncertainties are those that repeats show: for n points at a step of
// one, s/sqrt(n) across and s sqrt(12/(n^3 - n)) of the angle. A standard
// deviation of 500 repeats is known to 3.2 %.
func TestLineUncertainty(t *testing.T) {
	const repeats, n, sd, rad = 500, 60, 0.1, 0.6
	for _, stated := range []bool{true, false} {
		rnd := fixed()
		var across, angle []float64
		for range repeats {
			pts := row(rnd, r2.Vec{X: 100, Y: 50}, rad, n, sd)
			if !stated {
				for i := range pts {
					pts[i].U = 0
				}
			}
			l, err := FitLine(pts)
			if err != nil {
				t.Fatal(err)
			}
			across = append(across, l.Distance(r2.Vec{X: 100, Y: 50}))
			angle = append(angle, l.AngleRad-rad)
			wantU, wantAngle := sd/math.Sqrt(n), sd*math.Sqrt(12.0/(n*n*n-n))
			// Not stated, s comes from 58 degrees of freedom: 9.3 %.
			if tol := 5 * 0.093; math.Abs(l.U/wantU-1) > tol || math.Abs(l.UAngle/wantAngle-1) > tol {
				t.Fatalf("stated %v: u %v, want %v; angle %v, want %v", stated, l.U, wantU, l.UAngle, wantAngle)
			}
		}
		for _, v := range []struct {
			what string
			got  []float64
			want float64
		}{{"across", across, sd / math.Sqrt(n)}, {"angle", angle, sd * math.Sqrt(12.0/(n*n*n-n))}} {
			mean, s := stat.MeanStdDev(v.got, nil)
			if math.Abs(s/v.want-1) > 4*0.032 || math.Abs(mean) > 4*v.want/math.Sqrt(repeats) {
				t.Errorf("stated %v, %s: mean %v, scatters by %v, want %v", stated, v.what, mean, s, v.want)
			}
		}
	}
}

func TestLineLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		pts := row(rnd, r2.Vec{X: 3, Y: 4}, 0.2, rapid.IntRange(4, 40).Draw(t, "n"), 0.1)
		shift := r2.Vec{X: rapid.Float64Range(-2000, 2000).Draw(t, "x"), Y: rapid.Float64Range(-2000, 2000).Draw(t, "y")}
		angle := rapid.Float64Range(-4, 4).Draw(t, "angle")
		scale := math.Exp(rapid.Float64Range(-5, 5).Draw(t, "scale"))
		move := func(p r2.Vec) r2.Vec { return r2.Add(shift, r2.Scale(scale, turn(p, angle))) }
		moved := make([]EdgePoint, len(pts))
		for i, p := range pts {
			pts[i].U *= 1 + rnd.Float64()
			moved[i] = EdgePoint{At: move(p.At), U: pts[i].U * scale}
		}
		a, errA := FitLine(pts)
		b, errB := FitLine(moved)
		if errA != nil || errB != nil {
			t.Fatalf("%v, %v", errA, errB)
		}
		if r2.Norm(r2.Sub(b.At, move(a.At))) > 1e-9*scale+1e-11 || angleBetween(b.AngleRad, a.AngleRad+angle) > 1e-8 ||
			math.Abs(b.U-scale*a.U) > 1e-8*scale*a.U || math.Abs(b.UAngle-a.UAngle) > 1e-8*a.UAngle {
			t.Fatalf("%+v became %+v", a, b)
		}
	})
}

func TestLineRefuses(t *testing.T) {
	rejected := row(fixed(), r2.Vec{}, 0, 3, 0.1)
	for i := range rejected {
		rejected[i].Rejected = true
	}
	for name, test := range map[string]struct {
		pts  []EdgePoint
		want error
	}{
		"none":           {nil, ErrTooFew},
		"one":            {row(fixed(), r2.Vec{}, 0, 1, 0.1), ErrTooFew},
		"two without u":  {row(fixed(), r2.Vec{}, 0, 2, 0), ErrTooFew},
		"two with u":     {row(fixed(), r2.Vec{}, 0, 2, 0.1), nil},
		"one place":      {make([]EdgePoint, 5), ErrNoSpread},
		"all rejected":   {rejected, ErrAllRejected},
		"not a number":   {[]EdgePoint{{}, {At: r2.Vec{X: math.NaN()}}, {At: r2.Vec{X: 1}}}, ErrNotFinite},
		"some without u": {append(row(fixed(), r2.Vec{}, 0, 5, 0.1), EdgePoint{}), ErrUncertainty},
	} {
		if l, err := FitLine(test.pts); !errors.Is(err, test.want) || err != nil && l != (Line{}) {
			t.Errorf("%s: got %+v, %v, want %v", name, l, err, test.want)
		}
	}
}
