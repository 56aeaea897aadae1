package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// besides is what lies beside the rims of bore and pin that one step of light does
// not explain.
type besides struct {
	bands [2]float64 // widths of bands of dimmer light, pixels
	halos [2]float64 // widths of what the camera's sharpening left, pixels
	// feet are the rims where the darkness of the gap ends, empty where they were
	// fitted there.
	feet [2]subpixel.Foot
}

// chamfers looks for bands of dimmer light beside the rims that the fit does
// not know of. Where a band is wide enough to be a face of its own the rim
// beyond is fitted like any other, and the fit returned is that one.
//
// Where the camera sharpened, black that it clipped is not taken back, and leaves a
// narrow band beside both rims alike, which is a halo and no band.
func chamfers(g raster.Gray, fit subpixel.CrescentFit, sharpened bool) (subpixel.CrescentFit, besides) {
	feet, ok := fit.Feet()
	b := besides{feet: feet, bands: [2]float64{fit.Bevels[0].Width, fit.Bevels[1].Width}}
	halo := sharpened && ok[0] && ok[1] && min(feet[0].Band, feet[1].Band) > leastHalo
	start := subpixel.Rims{Bore: fit.Bore, Pin: fit.Pin, Blur: min(fit.BlurBore, fit.BlurPin), Bevels: fit.Bevels}
	widest := 0.0
	for r, circle := range []*geom.Circle{&start.Bore, &start.Pin} {
		if b.bands[r] > 0 {
			b.feet[r] = subpixel.Foot{}
			continue
		}
		if halo && feet[r].Band < mostHalo {
			b.halos[r] = feet[r].Band
			continue
		}
		if ok[r] && feet[r].Band > minBand && !eccentric(feet[r], *circle) {
			b.bands[r] = feet[r].Band
			widest = max(widest, feet[r].Band)
			*circle = feet[r].Circle
		}
	}
	if widest < faceBand*start.Blur+2 {
		return fit, b
	}
	again, err := subpixel.FitCrescent(g, start)
	if err != nil || math.Abs(again.Pin.R-start.Pin.R) > 1 || math.Abs(again.Bore.R-start.Bore.R) > 1 {
		return fit, b
	}
	// A narrow band beside the other rim may have been the wide one's doing.
	if left, ok := again.Feet(); ok[0] && ok[1] {
		for r := range b.bands {
			if b.bands[r] < widest && left[r].Band < minBand && fit.Bevels[r].Width == 0 {
				b.bands[r] = 0
			}
		}
	}
	// Fitted at its rim: nothing is left to read from the feet.
	b.feet = [2]subpixel.Foot{}
	return again, b
}

// eccentric says that a wide band is none: that beside a rim has the rim's centre, and
// the wall of a bore that is lit, or the end of a shade, has another.
func eccentric(f subpixel.Foot, rim geom.Circle) bool {
	return f.Band > wideBand && r2.Norm(r2.Sub(f.Circle.Center, rim.Center)) > ownCentre*f.Band
}

// Of 37 bands wider than wideBand, pixels, on rendered photos 35 had their centre within
// a quarter of their width from the rim's; the others, at 1.0 and 1.1, were none.
const wideBand, ownCentre = 6.0, 0.5

// A band of more than faceBand edge spreads has a level of its own. Of bands beside
// both rims, pixels, those up to mostHalo are what sharpening leaves: on rendered
// photos all of 21 such pairs were, of up to 1.6 px; rims left alone show 0.3.
const (
	faceBand            = 4.0
	leastHalo, mostHalo = 0.45, 2.0
)

// A dim band narrower than this beside a rim is not told from the shape of
// the blur: on rendered sharp rims the foot lies within 0.3 px of the
// half-light rim.
const minBand = 0.6

// footU is the standard uncertainty of a circle through the feet of a band,
// which are read from a fraction of the light a sharp rim has: a share of the
// band's width, and no more than half a pixel, since a wide band ends in a step
// of its own (judgement, tried on rendered chamfers).
func footU(band float64) float64 { return min(0.3*band, 0.5) }

// A band is nowhere wider than widestFoot times its usual width.
const widestFoot = 3.0

// bevelU is the standard uncertainty of the radius of a rim beside a bevel, as
// a share of the bevel's width: it is lit evenly on the mean only. Half of it
// is that of the centre (judgement, tried on generated and rendered edges).
const bevelU = 0.1

// atFoot returns a rim as the feet of its band show it. Before, it was read at half
// light, as a circle and a profile; sign is the direction in which it wears.
//
// Wear takes a band off, so that it is nowhere much wider than elsewhere. Where the
// darkness ends far before half light is reached, in a worn flank, it ends at a lit
// wall in the gap, and the rim is where it was read before.
func atFoot(f subpixel.Foot, before geom.Circle, half geom.RimProfile, sign float64) ([]geom.EdgePoint, geom.Circle, geom.RimProfile) {
	var pts []geom.EdgePoint
	var p geom.RimProfile
	c := f.Circle
	add := footU(f.Band)
	for i, a := range half.Angle {
		u, dev := 0.0, f.Dev[i]
		if f.Seen[i] {
			u = math.Hypot(f.Spread, add)
			rim := rimPoint(before, a, half.Dev[i], 0, true).At
			if d := r2.Norm(r2.Sub(rim, c.Center)) - c.R; half.U[i] > 0 && sign*(d-dev) > widestFoot*f.Band {
				u, dev = math.Hypot(half.U[i], f.Band), d
			}
		}
		used := f.Seen[i] && math.Abs(dev) < max(4*f.Spread, 1)
		pt := rimPoint(c, a, dev, u, used)
		if used {
			c.Inliers++
		}
		if !f.Seen[i] {
			pt.Why = "gap too narrow"
		}
		pts = append(pts, pt)
		p.Add(a, dev, u)
	}
	c.RMS = f.Spread
	for i := range c.Cov {
		c.Cov[i][i] += add * add
	}
	return pts, c, p
}

// setBlock replaces one circle's block of the joint covariance and drops its
// correlation with the other circle.
func setBlock(cov *[6][6]float64, at int, block [3][3]float64) {
	for i := range 3 {
		for k := range 6 {
			cov[at+i][k], cov[k][at+i] = 0, 0
		}
	}
	for i := range block {
		for k := range block {
			cov[at+i][at+k] = block[i][k]
		}
	}
}

// A ledge must be seen in one of so many directions to count as a band.
const minLedge = 12

// pale says that a sector's gap is wide enough to be dark, and is not.
func pale(f subpixel.CrescentFit, s subpixel.Sector) bool {
	return s.Width() >= 3*max(f.BlurBore, f.BlurPin) &&
		s.DarkLight >= f.Dark+max(0.05*f.Contrast, 6*f.DarkU)
}

// covered says that oil or dirt lies over the gap of a sector, and shows edges
// of its own: the gap is pale, and lit far beyond any ledge or on both sides.
func covered(f subpixel.CrescentFit, s subpixel.Sector) bool {
	wide := widestLedge * f.Bore.R
	return pale(f, s) && (s.Bore > wide || -s.Pin > wide || s.Bore > minBand && -s.Pin > minBand)
}

// A lit step beside a rim is no wider than this, of the bore's radius.
const widestLedge = 0.08

// ledge says whether a sector shows a lit step between the bright face and the
// gap, which rim it belongs to (0 bore, 1 pin), and how wide it is: the gap is
// pale. Such a rim is neither where the face ends nor worn.
func ledge(f subpixel.CrescentFit, s subpixel.Sector) (rim int, width float64) {
	if !s.Fitted || !pale(f, s) {
		return 0, 0
	}
	rim, width = 1, -s.Pin
	if s.Bore > width {
		rim, width = 0, s.Bore
	}
	if width < minBand {
		return 0, 0
	}
	return rim, width
}
