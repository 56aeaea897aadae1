package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

const (
	// A face of which less than fewWhite is at whiteLevel or above, of full scale, has
	// no white.
	whiteLevel, fewWhite = 253.5 / 255, 0.005
	// Gaps narrower than this many edge spreads are lit by the blur of the faces.
	darkSpreads = 5.0
)

// toneEnds returns what the gap and the faces tell of the ends of the photo's tone
// curve: the share of the middle of the gap that is black to the last level, and the
// encoded value of the brighter face that has no white. Numbers proportional to light
// have no tone curve.
func toneEnds(g raster.Gray, curve raster.Curve, f subpixel.CrescentFit) (black, unwhite float64) {
	if curve == raster.Linear {
		return 0, 0
	}
	var gap []float64
	var faces [2][]float64
	for _, s := range f.Sectors {
		if !s.Fitted {
			continue
		}
		if half := s.Width() / 2; 2*half > darkSpreads*max(f.BlurBore, f.BlurPin) {
			gap = ray(g, gap, f.Bore.Center, s.Angle, f.Bore.R+s.Bore-half-1, +1, 3)
		}
		const from, step = 6, 2
		n := int(0.2*f.Pin.R) / step
		faces[0] = ray(g, faces[0], f.Bore.Center, s.Angle, f.Bore.R+from, +step, n)
		faces[1] = ray(g, faces[1], f.Pin.Center, s.PinAngle, f.Pin.R-from, -step, n)
	}
	black = shareWhere(gap, func(v float64) bool { return v < curve.Light(0.5/255) })
	if len(gap) < len(f.Sectors)/4 {
		black = 0 // seen in too few directions
	}
	white := curve.Light(whiteLevel)
	for _, face := range faces {
		if shareWhere(face, func(v float64) bool { return v >= white }) < fewWhite {
			unwhite = max(unwhite, curve.Encode(middle(face)))
		}
	}
	return black, unwhite
}

// ray adds to v the pixels nearest to n places on a ray of a centre, from a radius
// on, step apart: light between pixels would be neither black nor white.
func ray(g raster.Gray, v []float64, c r2.Vec, angle, from, step float64, n int) []float64 {
	sin, cos := math.Sincos(angle)
	for k := range n {
		r := from + float64(k)*step
		x, y := int(math.Round(c.X+r*cos)), int(math.Round(c.Y+r*sin))
		if x >= 0 && y >= 0 && x < g.W && y < g.H {
			v = append(v, float64(g.At(x, y)))
		}
	}
	return v
}

// shareWhere returns the share of v that is so.
func shareWhere[T any](v []T, is func(T) bool) float64 {
	n := 0
	for _, x := range v {
		if is(x) {
			n++
		}
	}
	return float64(n) / float64(max(len(v), 1))
}

// toneShift returns how lopsided both rims are, and the standard uncertainty of
// their place for the photo's tone curve, pixels. Only what both show alike is
// the curve's: a shadow or grain lies on one. Beside a chamfer nothing is told.
//
// A curve that adds contrast makes rims lopsided and moves them into the metal,
// by 0.1 to 0.3 edge spreads alone and by up to 0.8 with the middle darkened as
// well. A plain power of the right curve, or one that takes contrast away, turns
// a Gaussian edge into another one elsewhere, and is not told.
func toneShift(f subpixel.CrescentFit, bands [2]float64) (lopsided, u float64) {
	rims, ok := f.Lopsided()
	if !ok[0] || !ok[1] || max(bands[0], bands[1], f.Smear[0], f.Smear[1]) > 0 {
		return 0, 0
	}
	per := perLopsided
	if rims[0].C*rims[1].C > 0 {
		lopsided = min(math.Abs(rims[0].C), math.Abs(rims[1].C))
		if rims[0].C < 0 {
			per = perLopsidedBack
		}
	}
	told := per * max(0, lopsided-evenRims)
	if c := bothLopsided(rims); c > 0 {
		told = max(told, perLopsided*(c-evenRims))
	}
	hidden := perHidden * max(0, math.Hypot(rims[0].U, rims[1].U)/2-muchGrain)
	return lopsided, min(mostTone, math.Hypot(told, hidden)) * max(f.BlurBore, f.BlurPin)
}

// bothLopsided returns the mean of how lopsided both rims are, each counted by how
// well it is known.
func bothLopsided(rims [2]subpixel.Lopsided) float64 {
	var sum, weights float64
	for _, r := range rims {
		w := 1 / (r.U*r.U + leastLopsidedU*leastLopsidedU)
		sum += w * r.C
		weights += w
	}
	return sum / weights
}

const (
	// evenRims is how lopsided the rims of a photo with the right curve may look:
	// 30 plain rendered photos come to 0.10 at most.
	evenRims = 0.15
	// leastLopsidedU is the least standard uncertainty believed of it.
	leastLopsidedU = 0.05
	// muchGrain is the standard uncertainty of that from which on grain hides it.
	muchGrain = 0.3
	// The standard uncertainty in edge spreads, over what is beyond that: where
	// the rims are lopsided as contrast makes them, where they are so the other
	// way round, as faint sharpening and smoothing do, and where grain hides
	// whether they are. All were set on 24 rendered photos with bent curves: 18 then
	// have the truth in every interval, 5 within twice; one, out of focus, does not
	// show its curve.
	perLopsided     = 2.0
	perLopsidedBack = 0.4
	perHidden       = 0.4
	mostTone        = 0.4 // edge spreads
)
