package measure

import "math"

// What tells of a tone curve that adds contrast where the rims themselves do not.
// Such a curve is flat at both its ends. Even a deep gap sends some light, if only
// what a lens scatters into it, so that its values are not all nought; and of faces
// near white some grains are white. Set on 2,700 rendered photos (judgement).
const (
	// A gap of which nearly half is black to the last level is taken to be
	// crushed, in part or, from wholeBlack on, wholly: of careful photos nineteen in
	// twenty have less, of strongly bent ones half have more.
	blackSeen, wholeBlack = 0.42, 0.5
	// A face brighter than this, of full scale as it is encoded, on which nothing is
	// white, is taken to be rolled off: one in seventy of careful photos is, half of
	// the strongly bent ones are.
	whiteSeen = 230.0 / 255
	// The standard uncertainty of a rim for a crushed gap and for faces that are
	// rolled off, edge spreads.
	perCrushed, perRolled = 0.35, 0.25
)

// bent says that an end of the photo's tone curve tells that it is bent.
func (j joint) bent() bool { return j.e.BlackInGap > blackSeen || j.e.Unwhite > whiteSeen }

// toneU is the standard uncertainty of a rim's place for the photo's tone curve,
// as the rims and both ends of the curve tell of it, pixels.
func (j joint) toneU() float64 {
	spreads := perCrushed * max(0, min((j.e.BlackInGap-blackSeen)/(wholeBlack-blackSeen), 1))
	if j.e.Unwhite > whiteSeen {
		spreads = math.Hypot(spreads, perRolled)
	}
	return math.Hypot(j.e.ToneShiftU, spreads*j.e.Blur)
}
