package geom

import (
	"math"

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

// RimProfile is a rim's distance from its circle by direction from the
// circle's centre.
type RimProfile struct {
	Angle []float64 // rad
	Dev   []float64 // measured radius minus the circle's, pixels
	U     []float64 // standard uncertainty of Dev; 0 where nothing was measured
}

// JointEdges is what a photo shows of one pin standing in its bush.
type JointEdges struct {
	Bore, Pin       []EdgePoint
	BoreFit, PinFit Circle
	// Cov is the covariance of (bore x, y, R, pin x, y, R), pixels squared:
	// where the gap is narrow the two rims are not known independently.
	Cov [6][6]float64
	// BoreLightU and PinLightU are the standard uncertainties of both radii for the
	// light and its scatter alone, pixels, without what is allowed for chamfers.
	BoreLightU, PinLightU float64
	// Blur is the edge spread (standard deviation) in pixels; Noise the
	// standard deviation of a pixel, Contrast the smaller of the two steps of
	// light, Dark the light in the gap, all as a share of full scale.
	Blur, Noise, Contrast, Dark float64
	// DarkU is the standard uncertainty of Dark.
	DarkU float64
	// BlurBore and BlurPin are the edge spreads of the two rims apart: a pin
	// end that stands higher or lower than the bush is not as sharp.
	BlurBore, BlurPin float64
	// SharpenShift is by how much taking back the camera's sharpening moved
	// each rim, pixels; 0 when no sharpening was seen.
	SharpenShift float64
	// Lopsided is how lopsided the light across both rims is, which no lens makes
	// it: the photo's tone curve is not the one it was read with. ToneShiftU is
	// the standard uncertainty of both rims for that, which move into the metal
	// alike, pixels.
	Lopsided, ToneShiftU float64
	// BlackInGap is the share of the middle of the gap that is black to the last
	// level, Unwhite the encoded value, 0 to 1, of the brighter face on which
	// hardly a pixel is white: what a tone curve that adds contrast makes of a
	// deep gap and of a bright face.
	BlackInGap, Unwhite float64
	// SmoothedU is the standard uncertainty of both rims for what the camera did
	// to take off grain, which moves them towards the gap alike, pixels; 0 when
	// no smoothing was seen.
	SmoothedU float64
	// Moved is the way that camera or joint moved while the photo was taken, as
	// the blur in different directions tells, pixels.
	Moved float64
	// Shadow is by which share the bush is darker beside the touching pin than
	// elsewhere, ShadowU its standard uncertainty: a pin that stands proud
	// keeps the light off. ShadowReach is how far from the rim the shadow is
	// down to half, pixels.
	Shadow, ShadowU, ShadowReach float64
	// PinShade is the same of the pin's end beside its rim: one that lies deep in
	// the bush is in the shade of the bore.
	PinShade, PinShadeU, PinShadeReach float64
	// BoreBand and PinBand are the widths of a dimmer band between the bright
	// face and the rim, pixels: a chamfer, a rounding or a burr. 0 on a sharp
	// rim. The circles are those of the rim, at the foot of the band.
	BoreBand, PinBand float64
	// BoreBevel and PinBevel are the widths of a strip beside the rims, pixels,
	// that is lit otherwise than the face beyond: a broken edge as bright as to
	// pass for the face, which lies in the shade where the rims touch. 0 where
	// there is none.
	BoreBevel, PinBevel float64
	// Gap is the widest gap in pixels.
	Gap                     float64
	BoreProfile, PinProfile RimProfile
}

// SignalToNoise returns the step of light at the weaker rim over the unevenness of the
// light beside it, infinite where that is even.
func (e JointEdges) SignalToNoise() float64 {
	if e.Noise == 0 {
		return math.Inf(1)
	}
	return e.Contrast / e.Noise
}

// LightU returns the larger of BoreLightU and PinLightU.
func (e JointEdges) LightU() float64 { return max(e.BoreLightU, e.PinLightU) }

// Add appends one direction to the profile.
func (p *RimProfile) Add(angle, dev, u float64) {
	p.Angle = append(p.Angle, angle)
	p.Dev = append(p.Dev, dev)
	p.U = append(p.U, u)
}
