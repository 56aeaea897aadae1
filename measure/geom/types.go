package geom

import (
	"gonum.org/v1/gonum/spatial/r2"
)

// EdgePoint is one measured point of an edge.
type EdgePoint struct {
	At     r2.Vec  // pixels
	Normal r2.Vec  // unit vector across the edge, away from the centre
	U      float64 // standard uncertainty along Normal, pixels
	// Rejected says that the point took no part in the fit; Why says in a
	// word or two for what reason ("glare", "clipped", "off the circle").
	Rejected bool
	Why      string
}

// Circle is a fitted circle in pixels.
type Circle struct {
	Center r2.Vec
	R      float64
	// Cov is the covariance of (x, y, R), pixels squared.
	Cov     [3][3]float64
	Inliers int
	// RMS is the root mean square distance of the inliers from the circle.
	RMS float64
}

// Ellipse is a fitted ellipse in pixels: A >= B are the half axes, AngleRad
// is the direction of A.
type Ellipse struct {
	Center   r2.Vec
	A, B     float64
	AngleRad float64
	RMS      float64
}

// Tick is one graduation mark of a rule.
type Tick struct {
	K  int     // number of the mark along the rule; neighbours differ by one
	At r2.Vec  // centre of the mark on the common base line, pixels
	U  float64 // standard uncertainty of At along the rule, pixels
	// AngleRad is the direction of the mark's own line, UAngle its standard
	// uncertainty. Marks of a rule seen at a tilt converge; their change of
	// direction along the rule tells how the scale changes across it.
	AngleRad, UAngle float64
	// Length is the visible length of the mark, pixels.
	Length float64
}

// Rule is a graduated rule found in a photo.
type Rule struct {
	Ticks []Tick
	// Expected is the number of marks between the first and the last one,
	// both included, had none been covered.
	Expected int
	// Period is the distance of neighbouring marks in pixels at the middle of
	// the rule, UPeriod its standard uncertainty from the fit.
	Period, UPeriod float64
	AngleRad        float64 // direction of the rule, towards growing K
	// LongEvery is m when every m-th mark is longer, 0 when no order of long
	// marks was found.
	LongEvery int
}

// RimProfile is a rim's distance from its circle by angle. Bin i is centred
// at 2 pi i/len(Dev).
type RimProfile struct {
	Dev []float64 // measured radius minus the circle's, pixels
	U   []float64 // standard uncertainty of Dev; 0 where nothing was measured
}

// JointEdges is what a photo shows of one pin standing in its bush.
type JointEdges struct {
	Bore, Pin       []EdgePoint
	BoreFit, PinFit Circle
	// Cov is the covariance of (bore x, y, R, pin x, y, R), pixels squared:
	// where the gap is narrow the two rims are not known independently.
	Cov [6][6]float64
	// Blur is the edge spread (standard deviation) in pixels; Noise the
	// standard deviation of a pixel, Contrast the smaller of the two steps of
	// light, Dark the light in the gap, all as a share of full scale.
	Blur, Noise, Contrast, Dark float64
	// Gap is the widest gap in pixels.
	Gap                     float64
	BoreProfile, PinProfile RimProfile
}
