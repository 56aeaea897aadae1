package subpixel

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// cross is a blurred corner of four squares at c, turned by angle, under light
// that rises to the right.
func cross(c r2.Vec, angle, blur float64) func(x, y float64) float64 {
	sin, cos := math.Sincos(angle)
	return func(x, y float64) float64 {
		dx, dy := x-c.X, y-c.Y
		u, v := dx*cos+dy*sin, -dx*sin+dy*cos
		return (0.35 + 0.25*math.Erf(u/(blur*math.Sqrt2))*math.Erf(v/(blur*math.Sqrt2))) * (1 + 0.01*dx)
	}
}

// spot is a blurred dot.
func spot(c r2.Vec, r, blur float64) func(x, y float64) float64 {
	return func(x, y float64) float64 {
		return 0.6 - 0.25*(1+math.Erf((r-math.Hypot(x-c.X, y-c.Y))/(blur*math.Sqrt2)))
	}
}

func painted(light func(x, y float64) float64, noise float64, r *rand.Rand) raster.Gray {
	g := raster.NewGray(64, 60)
	for y := range g.H {
		for x := range g.W {
			g.Pix[y*g.W+x] = float32(light(float64(x), float64(y)) + noise*r.NormFloat64())
		}
	}
	return g
}

// A place found in noise lies off by about what is claimed, and without noise
// by less than 0.004 px, for corners and dots, sharp and soft,
// under a tone curve and slanting light.
func TestFitSymmetric(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 4))
	for _, tt := range []struct {
		name  string
		light func(c r2.Vec) func(x, y float64) float64
		reach float64
	}{
		{"corner", func(c r2.Vec) func(x, y float64) float64 { return cross(c, 0.3, 1) }, 12},
		{"soft corner", func(c r2.Vec) func(x, y float64) float64 { return cross(c, 1.1, 3) }, 15},
		{"dot", func(c r2.Vec) func(x, y float64) float64 { return spot(c, 9, 1) }, 14},
		{"soft dot", func(c r2.Vec) func(x, y float64) float64 { return spot(c, 6, 2.5) }, 14},
		{"corner, tone curve", func(c r2.Vec) func(x, y float64) float64 {
			light := cross(c, 0.3, 1)
			return func(x, y float64) float64 { return raster.SRGB.Encode(light(x, y)) }
		}, 12},
	} {
		var clean, square, claimed float64
		const trials = 60
		for range trials {
			c := r2.Vec{X: 30 + 2*r.Float64(), Y: 28 + 2*r.Float64()}
			start := r2.Add(c, r2.Vec{X: r.Float64() - 0.5, Y: r.Float64() - 0.5})
			at, _, ok := FitSymmetric(painted(tt.light(c), 0, r), start, tt.reach)
			if !ok {
				t.Fatalf("%s: not found", tt.name)
			}
			clean = max(clean, r2.Norm(r2.Sub(at, c)))
			at, cov, ok := FitSymmetric(painted(tt.light(c), 0.01, r), start, tt.reach)
			if !ok {
				t.Fatalf("%s: not found in noise", tt.name)
			}
			square += r2.Norm2(r2.Sub(at, c)) / trials
			claimed += (cov[0][0] + cov[1][1]) / trials
		}
		off, u := math.Sqrt(square), math.Sqrt(claimed)
		t.Logf("%s: %.4f px without noise, %.4f px with, claimed %.4f", tt.name, clean, off, u)
		if clean > 0.004 || off > 0.1 || !(u > 0.7*off && u < 1.8*off) {
			t.Errorf("%s: off %.4f px without noise, %.4f px with, claimed %.4f", tt.name, clean, off, u)
		}
	}
	flat := raster.NewGray(64, 60)
	edge := painted(func(x, _ float64) float64 { return 0.5 + 0.3*math.Erf(x-32) }, 0, r)
	for name, g := range map[string]raster.Gray{"flat": flat, "edge": edge} {
		if at, _, ok := FitSymmetric(g, r2.Vec{X: 32, Y: 30}, 10); ok {
			t.Errorf("%s: found %v", name, at)
		}
	}
	if _, _, ok := FitSymmetric(painted(spot(r2.Vec{X: 3, Y: 30}, 5, 1), 0, r), r2.Vec{X: 3, Y: 30}, 10); ok {
		t.Error("found a dot that the border cuts off")
	}
}
