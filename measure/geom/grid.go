package geom

import "gonum.org/v1/gonum/spatial/r2"

// GridPoint is one point of a flat target: the middle of a dot, or a corner
// where four squares of a checkerboard meet.
type GridPoint struct {
	I, J int    // column and row on the target; neighbours differ by one
	At   r2.Vec // pixels
	// Cov is the covariance of At, pixels squared.
	Cov [2][2]float64
}

// Grid is a square grid of points as a photo shows it, whole or in part.
type Grid struct {
	Points []GridPoint
	// Columns and Rows count the columns and rows of which at least one point
	// was seen.
	Columns, Rows int
	Checker       bool // corners of a checkerboard, not dots
}
