package vision

import (
	"math"

	"pinlash/vision/subpixel"
)

// smoothingU returns the standard uncertainty of both rims' places for the
// camera's smoothing, pixels.
//
// What takes off grain but spares edges pulls each pixel of a slope to the face
// or to the gap, whichever its encoded value is more like; half way between
// these is darker than half the light, so that both rims move towards the gap.
// They move by about what the light that is missing from the faces would fill,
// and by several times that where the rims are too close to each other to be told
// apart by themselves. Only what both faces show is the camera's. Where sharpening
// hides it, the rims are ragged far beyond what is left of the grain.
//
// A narrow band beside a rim may then be the camera's doing. The other way round,
// light that was smoothed into a narrow gap makes it pale and wide.
//
// shift is by how much taking back the camera's sharpening moved the rims.
func smoothingU(f subpixel.CrescentFit, gap, shift float64, bands [2]float64) float64 {
	moved := perMissing * max(0, missingLight(f)-leastMissing-missingPerShift*shift)
	if gap < fewestSpreads*max(f.BlurBore, f.BlurPin) {
		moved *= perMerged
	}
	u := math.Hypot(moved, perRagged*max(0, min(f.Excess, mostRaggedBy)-raggedBy))
	if band := max(bands[0], bands[1]); u > 0 && band < narrowBand {
		u = math.Hypot(u, smearU*band)
	}
	if gap < smoothedGap {
		u = math.Hypot(u, perFilled*gap*max(0, paleness(f.Dark, f.Contrast)-palestGap))
	}
	return u
}

// missingLight returns the light that is missing beyond doubt from both faces
// beside their rims, as a width of face in pixels.
func missingLight(f subpixel.CrescentFit) float64 {
	rims, ok := f.Shoulders()
	bore, pin := rims[0], rims[1]
	if !ok[0] || !ok[1] || bore.Missing <= 0 || pin.Missing <= 0 {
		return 0
	}
	both := math.Sqrt(bore.Missing * pin.Missing)
	return both - both*math.Hypot(bore.U/bore.Missing, pin.U/pin.Missing)
}

// What was set on generated photos that were denoised by a median and by
// likeness, sharpened after it or not, and tried on others.
const (
	// leastMissing is how much light may be missing in a photo that was left
	// alone, missingPerShift what a correction of sharpening leaves, over its
	// shift, and perMissing the standard uncertainty over what is beyond; it is
	// perMerged times that in a gap under fewestSpreads edge spreads.
	leastMissing    = 0.025
	missingPerShift = 0.5
	perMissing      = 1.2
	perMerged       = 3.0
	fewestSpreads   = 5.0
	// Rims that scatter by raggedBy times what their light says are ragged;
	// perRagged is the standard uncertainty, pixels, over what is beyond, up to
	// mostRaggedBy times.
	raggedBy, mostRaggedBy = 4.0, 6.0
	perRagged              = 0.1
	// A chamfer or a burr that shows is wider than narrowBand pixels, nearly always.
	narrowBand = 1.0
	// A camera smooths over a few pixels. A gap of up to smoothedGap pixels, paler
	// than palestGap, may be narrower by the share of its width that it is paler;
	// perFilled of that is the standard uncertainty of either rim.
	smoothedGap = 10.0
	palestGap   = 0.1
	perFilled   = 0.125
)

// paleness is the light in a gap, as a share of that of the fainter face.
func paleness(dark, contrast float64) float64 { return dark / (dark + contrast) }
