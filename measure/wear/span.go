package wear

import (
	"errors"
	"fmt"

	"pinlash/measure/uncert"
)

// Faces are the faces a caliper touched, or a photo's edges were taken from,
// at the two ends of a span.
type Faces int

// The ways to read a span.
const (
	Centres       Faces = iota // joint centre to joint centre, or a photo
	OutsideJaws                // over the outer faces of two rollers or two pins
	InsideJaws                 // between the inner faces of two rollers or two pins
	SameSideEdges              // left edge to left edge, or right to right
)

// SpanLength returns the length in mm from joint centre to joint centre of a
// span read in another way:
//
//	outside jaws: centres = reading - d + play
//	inside jaws:  centres = reading + d - play
//
// d is the diameter of the roller or pin the jaws touched. Play is the
// roller's play on its bush, which the jaws take up; give an exact zero for
// pins and bushes. Centres and same-side edges need neither.
func SpanLength(faces Faces, reading, d, play uncert.Quantity) (uncert.Quantity, error) {
	if err := positiveFigure("span reading", reading, "mm"); err != nil {
		return uncert.Quantity{}, err
	}
	switch faces {
	case Centres, SameSideEdges:
		return reading, nil
	case OutsideJaws, InsideJaws:
	default:
		return uncert.Quantity{}, fmt.Errorf("span read from unknown faces %d", faces)
	}
	if err := positiveFigure("diameter touched", d, "mm"); err != nil {
		return uncert.Quantity{}, err
	}
	if err := usable("roller play", play, "mm"); err != nil {
		return uncert.Quantity{}, err
	}
	if play.Value < 0 {
		return uncert.Quantity{}, fmt.Errorf("roller play is %g mm, want zero or more", play.Value)
	}
	taken := uncert.Difference(d, play)
	if faces == OutsideJaws {
		return uncert.Difference(reading, taken), nil
	}
	return uncert.Sum(reading, taken), nil
}

// SpanLengthBothJaws returns the length in mm from joint centre to joint
// centre of a span read with outside and with inside jaws over the same pair
// of rollers or pins: the mean of both, in which diameter and roller play
// cancel. (Published as L = (L1 + L2)/2 in three engineering pages on
// measuring chain elongation.)
func SpanLengthBothJaws(outside, inside uncert.Quantity) (uncert.Quantity, error) {
	for _, q := range []uncert.Quantity{outside, inside} {
		if err := positiveFigure("span reading", q, "mm"); err != nil {
			return uncert.Quantity{}, err
		}
	}
	if outside.Value <= inside.Value {
		return uncert.Quantity{}, fmt.Errorf("outside reading %g mm is not above inside reading %g mm", outside.Value, inside.Value)
	}
	return uncert.Sum(outside.Scaled(0.5, "mm"), inside.Scaled(0.5, "mm")), nil
}

// PitchesOfPins counts the pitches between the first and the last of so many
// pins or rollers: one fewer, as with fence posts.
func PitchesOfPins(pins int) (int, error) {
	if err := atLeast("number of pins", pins, 2); err != nil {
		return 0, err
	}
	return pins - 1, nil
}

// NewSpan returns the new length in mm of so many pitches of nominal pitch, as
// an exact figure. A new chain of the same make, measured over the same faces,
// is the better reference: new ones differ by up to LengthTolerancePercent.
func NewSpan(pitch float64, pitches int) (uncert.Quantity, error) {
	if err := positive("pitch", pitch); err != nil {
		return uncert.Quantity{}, err
	}
	if err := atLeast("number of pitches", pitches, 1); err != nil {
		return uncert.Quantity{}, err
	}
	return uncert.Combine(pitch*float64(pitches), "mm", nil), nil
}

// Reference is what a span or pitch was measured between.
type Reference int

// The references.
const (
	PinToPin   Reference = iota // wear shows in the inner links
	BushToBush                  // or roller to roller; wear shows in the outer links
)

// String returns the reference in words.
func (r Reference) String() string {
	if r == BushToBush {
		return "bush to bush"
	}
	return "pin to pin"
}

// Link is a kind of link.
type Link int

// The kinds of links.
const (
	UnknownLink Link = iota
	InnerLink
	OuterLink
)

// SpanGrowth is what a span of a chain has grown.
type SpanGrowth struct {
	Total   uncert.Quantity // mm over the span
	Pitches int
	// PerJoint is the growth of the mean joint, mm. Only every other link of
	// the span grows, so an odd span holds one growing link more or fewer and
	// has two readings unless the link that begins it is known.
	PerJoint Growth
	// PerPitch is Total divided by the pitches, mm: the usual reading, for an
	// odd span only one between its two.
	PerPitch uncert.Quantity
}

// GrowthOfSpan returns what a span has grown against its new length, both in
// mm between the same faces:
//
//	even span of n pitches:                    joint growth = total/n
//	odd, begins and ends with a growing link:  joint growth = total/(n+1)
//	odd, begins and ends with the other:       joint growth = total/(n-1)
//
// The growing links are the inner ones from pin to pin, the outer ones from
// bush to bush. A single link of the kind that does not grow is refused: it
// cannot show wear. Parts of both lengths named in shared have one cause.
func GrowthOfSpan(length, newLength uncert.Quantity, pitches int, begins Link, ref Reference, shared ...string) (SpanGrowth, error) {
	if err := positiveFigure("span", length, "mm"); err != nil {
		return SpanGrowth{}, err
	}
	if err := positiveFigure("new span", newLength, "mm"); err != nil {
		return SpanGrowth{}, err
	}
	return growthOfSpan(difference(length, newLength, shared), pitches, begins, ref)
}

func growthOfSpan(total uncert.Quantity, pitches int, begins Link, ref Reference) (SpanGrowth, error) {
	if err := atLeast("number of pitches", pitches, 1); err != nil {
		return SpanGrowth{}, err
	}
	n := float64(pitches)
	g := SpanGrowth{Total: total, Pitches: pitches, PerPitch: total.Scaled(1/n, "mm")}
	growing := InnerLink
	if ref == BushToBush {
		growing = OuterLink
	}
	switch {
	case pitches%2 == 0:
		g.PerJoint = Figure(g.PerPitch)
	case begins == growing:
		g.PerJoint = Figure(total.Scaled(1/(n+1), "mm"))
	case pitches == 1:
		return SpanGrowth{}, errors.New("one link shows wear only if it is inner, pin to pin, or outer, bush to bush; measure two or more pitches")
	case begins == UnknownLink:
		g.PerJoint = between(total.Scaled(1/(n+1), "mm"), total.Scaled(1/(n-1), "mm"), OpenLinks)
	default:
		g.PerJoint = Figure(total.Scaled(1/(n-1), "mm"))
	}
	return g, nil
}

// WholeChain returns what a chain of so many pitches has grown if all of it
// is like the span, mm, and the usual reading Total x joints / pitches beside
// it.
func (g SpanGrowth) WholeChain(joints int) (whole Growth, usual uncert.Quantity, err error) {
	if whole, err = g.PerJoint.Joints(joints); err != nil {
		return Growth{}, uncert.Quantity{}, err
	}
	return whole, g.PerPitch.Scaled(float64(joints), "mm"), nil
}

// Elongation returns the span's elongation in percent, (L - L0)/(n p) with
// the parity of an odd span put right: joint growth as a share of the pitch.
func (g SpanGrowth) Elongation(pitch float64) (Growth, error) { return g.PerJoint.PercentOf(pitch) }
