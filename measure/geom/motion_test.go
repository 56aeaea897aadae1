package geom_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// A movement stated about another centre moves every point as before, and its
// covariance is that of the point there.
func TestSimilarityAbout(t *testing.T) {
	m := geom.Similarity{Center: r2.Vec{X: 10, Y: -4}, Shift: r2.Vec{X: 3, Y: 2}, Zoom: 0.01, Turn: -0.02}
	m.Cov = [4][4]float64{{4, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1e-4, 0}, {0, 0, 0, 9e-4}}
	n := m.About(r2.Vec{X: 110, Y: 46})
	for _, p := range []r2.Vec{{}, {X: 100, Y: 7}, {X: -30, Y: 60}} {
		if d := r2.Norm(r2.Sub(m.Apply(p), n.Apply(p))); d > 1e-12 {
			t.Errorf("%v goes to %v and %v", p, m.Apply(p), n.Apply(p))
		}
	}
	// 100 px along x and 50 along y: x takes 100 of zoom and 50 of turn.
	if want := 4 + 1e4*1e-4 + 2500*9e-4; math.Abs(n.Cov[0][0]-want) > 1e-12 {
		t.Errorf("variance of x %v, want %v", n.Cov[0][0], want)
	}
	back := n.About(m.Center)
	for i := range 4 {
		for j := range 4 {
			if math.Abs(back.Cov[i][j]-m.Cov[i][j]) > 1e-9 {
				t.Errorf("covariance %d, %d: %v after going there and back, was %v", i, j, back.Cov[i][j], m.Cov[i][j])
			}
		}
	}
}

// The camera's movement drops out of the relative one, a swing about the joint
// adds nothing to the way, and a change of size seen in one link only by noise
// is not extrapolated to the joint.
func TestRelative(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 100 {
		joint := r2.Vec{X: 1000 * r.Float64(), Y: 800 * r.Float64()}
		way := r2.Vec{X: 5 * r.NormFloat64(), Y: 5 * r.NormFloat64()}
		swing := 0.01 * r.NormFloat64()
		zoom, turn := 0.0002*r.NormFloat64(), 0.01*r.NormFloat64()
		camera := geom.Similarity{Center: r2.Vec{X: 500, Y: 400}, Shift: r2.Vec{X: 10 * r.NormFloat64(), Y: 10 * r.NormFloat64()}, Zoom: zoom, Turn: turn}
		at := r2.Add(joint, r2.Vec{X: 600, Y: 50})
		sin, cos := math.Sincos(swing)
		// Points of the link turn about the joint, go the way, and are then
		// seen by the camera that moved.
		a, b := (1+zoom)*cos-turn*sin, (1+zoom)*sin+turn*cos
		link := geom.Similarity{Center: joint, Shift: r2.Sub(camera.Apply(r2.Add(joint, way)), joint), Zoom: a - 1, Turn: b}
		m := geom.Motion{Joint: joint, Fixed: geom.Body{Motion: camera}, Moving: geom.Body{Motion: link.About(at)}}
		got := m.Relative()
		if d := r2.Norm(r2.Sub(got.Shift, way)); d > 1e-9 {
			t.Errorf("way %v, want %v", got.Shift, way)
		}
		m.Moving.Motion.Zoom += 1e-4
		m.Moving.Motion.Cov = [4][4]float64{{1e-4, 0, 0, 0}, {0, 1e-4, 0, 0}, {0, 0, 1e-8, 0}, {0, 0, 0, 1e-8}}
		if d := math.Abs(m.Relative().Shift.X - way.X); d > 0.03 {
			t.Errorf("noise in the size of one link moved the way by %v px; unheld it would be 0.06", d)
		}
	}
}
