package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Scene is a picture to be made: W x H pixels of a joint and its plate, or of a
// chain from the side, and a rule, a gauge or a grid before a background. A part with
// zero size is absent.
type Scene struct {
	W, H       int
	Joint      Joint
	Plate      Plate
	Chain      Chain
	Gauge      Gauge
	Rule       Rule
	Grid       Grid
	Background Face
	Camera     Camera
	Seed       uint64
}

// Face is the look of a surface.
type Face struct {
	Level  float64 // light it sends, linear
	Finish Finish
}

// Finish is the pattern of a machined face: lines Along px long and Across px
// apart. Equal lengths give a mottled face, zero Amplitude a plain one.
type Finish struct {
	Amplitude     float64 // standard deviation, as a share of the level
	AngleRad      float64 // direction of the lines
	Along, Across float64 // pixels
}

// Joint is a pin standing in its bush, seen end-on.
type Joint struct {
	BoreCenter r2.Vec
	BoreR      float64 // of the unworn bore; 0 leaves the joint out
	PinCenter  r2.Vec
	PinR       float64 // of the unworn pin
	// BushR is the outer radius of the bush. With 0 its face fills the
	// picture.
	BushR float64
	// SeamWidth is the width of the dark line where the bush sits in its
	// plate, outside BushR.
	SeamWidth         float64
	BoreWear, PinWear Wear
	// PinChamfer lies inside the pin's rim, BoreBreak outside that of the
	// bore.
	PinChamfer, BoreBreak Chamfer
	PullRad               float64 // direction of pull
	Pin, Bush             Face
	Dark                  float64 // light out of the gap and the seam
}

// Wear is a loaded flank, Depth px deep at its deepest, in the direction
// DirectionRad as seen from the centre of its part.
type Wear struct {
	Depth, DirectionRad float64
}

// Chamfer is a ring of another brightness beside a rim.
type Chamfer struct {
	Width, Level float64
}

// Plate is the outer plate around the bush: an end cap of radius R about the
// bore centre, cut off at HalfHeight, that runs on in direction ToRad.
type Plate struct {
	R, HalfHeight float64
	ToRad         float64
	Face          Face
}

// Truth is what a perfect measurement of a scene would find, in pixels of the
// untilted plane.
type Truth struct {
	BoreDiameter, PinDiameter float64 // of the unworn circles
	Clearance                 float64 // BoreDiameter - PinDiameter
	Offset                    r2.Vec  // pin centre minus bore centre
	BoreWear, PinWear         float64 // depths
	// Play is the free travel along the line of pull: the clearance and the
	// wear of both parts on that line.
	Play           float64
	MinGap, MaxGap float64 // along rays from the pin's centre
}

// Truth returns what is there to be found in the scene.
func (s Scene) Truth() Truth {
	j := s.Joint
	t := Truth{
		BoreDiameter: 2 * j.BoreR,
		PinDiameter:  2 * j.PinR,
		Clearance:    2 * (j.BoreR - j.PinR),
		Offset:       r2.Sub(j.PinCenter, j.BoreCenter),
		BoreWear:     j.BoreWear.Depth,
		PinWear:      j.PinWear.Depth,
	}
	if j.BoreR == 0 {
		return t
	}
	t.Play = j.BoreRim(j.PullRad) + j.BoreRim(j.PullRad+math.Pi) -
		j.PinRim(j.PullRad) - j.PinRim(j.PullRad+math.Pi)
	t.MinGap, t.MaxGap = j.gaps()
	return t
}

// Project returns where the point p of the untilted plane is seen.
func (s Scene) Project(p r2.Vec) r2.Vec {
	return s.Camera.Lens.bend(s.Camera.Tilt.project(p, s.center()), s.center())
}

// center is the middle of the picture, where the camera's axis meets the
// plane.
func (s Scene) center() r2.Vec {
	return r2.Vec{X: float64(s.W-1) / 2, Y: float64(s.H-1) / 2}
}
