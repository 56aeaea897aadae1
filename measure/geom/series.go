package geom

import "gonum.org/v1/gonum/spatial/r2"

// State is how the links stand in a photo.
type State int

// The states of a joint. In the frames of a clip they are Unknown.
const (
	Unknown State = iota
	Together
	Apart
)

// Series is a joint seen many times: photos of both states, or the frames of
// a clip. Each is held against the first.
type Series struct {
	// Motion is that from the first photo to one far from it.
	Motion
	Frames []Frame
	// Rate is the number of frames a second, 0 when there is none.
	Rate float64
}

// Frame is one photo of a series.
type Frame struct {
	Index int
	State State
	// Way is how far the moving link went at the joint since the first photo,
	// as seen from the fixed link, pixels of the first photo; Cov is its
	// covariance and Turn by how much the link turned, rad.
	Way  r2.Vec
	Cov  [2][2]float64
	Turn float64
	// Shift is how far the camera moved since the first photo, pixels at the
	// middle.
	Shift r2.Vec
	// Left says in a few words why the frame was left out; empty when used.
	Left string
}

// Used returns the frames that were not left out.
func (s Series) Used() []Frame {
	var out []Frame
	for _, f := range s.Frames {
		if f.Left == "" {
			out = append(out, f)
		}
	}
	return out
}
