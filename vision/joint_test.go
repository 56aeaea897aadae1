package vision_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// A bore worn by more than its clearance is black over half the way round and
// closed over the other half. The pale seam round its bush is seen all the way
// round, and is not the joint.
func TestDeepFlankIsNotTakenForItsBush(t *testing.T) {
	s := synth.Ring(200, 6, 0, 0)
	s.W, s.H = 1000, 900
	mid := r2.Vec{X: 480.3, Y: 450.6}
	s.Joint.BoreCenter, s.Joint.PullRad = mid, math.Pi
	s.Joint.BoreWear = synth.Wear{Depth: 17, DirectionRad: math.Pi}
	s.Joint.Pull(0.5)
	s.Joint.BushR, s.Joint.SeamWidth = 290, 1.2
	s.Plate = synth.Plate{R: 400, HalfHeight: 350, Face: synth.Face{Level: 0.4}}
	s.Seed = 5
	g, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	e, checks, err := vision.FindJoint(g, raster.SRGB)
	if err != nil {
		t.Fatal(err, checks)
	}
	if d := e.BoreFit.R - s.Joint.BoreR; math.Abs(d) > 0.1 {
		t.Errorf("bore radius %.2f px, want %.0f", e.BoreFit.R, s.Joint.BoreR)
	}
}

// A pin of darker steel lying against its bush shades nothing: the light that
// is lost is lost on the pin.
func TestDarkPinIsNoShadow(t *testing.T) {
	for i := range uint64(8) {
		s := synth.Draw(rand.New(rand.NewPCG(9, i)), "coated pin")
		g, err := s.Photo()
		if err != nil {
			t.Fatal(err)
		}
		e, _, err := vision.FindJoint(g, s.Camera.Curve)
		if err != nil {
			t.Errorf("joint %d: %v", i, err)
			continue
		}
		if e.Shadow > 0.1 && e.Shadow > 3*e.ShadowU {
			t.Errorf("joint %d: a shadow of %.2f±%.2f beside a dark pin", i, e.Shadow, e.ShadowU)
		}
	}
}
