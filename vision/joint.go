package vision

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// Limits of a joint that can be measured. Those marked (L) are judgement,
// tried on rendered scenes; the others follow from the fit's tables.
const (
	minSeen = 0.3 // share of directions that show both rims (L)
	maxBlur = 5.0 // edge spread, pixels (L)
	minGap  = 2.0 // widest gap in edge spreads: below, dark level and gap cannot be told apart
	// A camera that moved smears edges to boxes, not to Gaussians, and figures
	// come out wrong inside narrow intervals. Ray-traced joints moved by 6 to 18
	// px had 0.67 to 0.95 of their blur in one direction, 130 generated ones
	// with a blur of 1.8 to 5 px alike in all directions 0.64 at most.
	movedBlur = 1.5
	maxOneWay = 0.65
	// The rims themselves tell it, too: 30 plain rendered photos show no way, those
	// moved by 3 to 5 px one of 3 to 4.5, but for broken edges. Beyond maxMoved,
	// or a share of the gap, figures strayed, and so they did where ln of the edge
	// spread scattered by 0.45 between sectors in a gap of few spreads; broken
	// edges came to 0.31.
	maxMoved      = 6.5 // pixels
	maxMovedInGap = 0.3
	maxSpreadOff  = 0.38
	fewSpreads    = 10.0
	// In a gap of less than narrowSpreads edge spreads a movement along a bent path
	// leads the rims astray by its own width; they scatter by more than maxExcess
	// times what their light says.
	narrowSpreads   = 8.0
	maxExcessNarrow = 6.0
	// In any gap rims that scatter more than this are no circles: of 33 rendered photos
	// two were wrong, and none was a careful user's.
	maxExcess = 12.0
	// A dim band beside a rim is the smear of the movement, and no chamfer, where
	// the movement is longer than so many times its width.
	maxMovedByBand = 4.0
	softBlur       = 2.0   // edge spread, pixels, beyond which the blur is the lens out of focus and not quite Gaussian
	minOver        = 1.0   // bore diameter over the pin's, pixels: of 6,400 rendered joints that were measured right none had less than 2
	minSoftGap     = 5.0   // and the widest gap then needed, so that the rims do not merge
	minStep        = 15.0  // step of light at the weaker rim, levels of 255 (L)
	minSNR         = 4.0   // step of light against the scatter of a pixel's light: of six rendered photos between 3 and 4 two had a truth outside its interval
	maxPale        = 0.5   // light in the gap, of the fainter face (L)
	maxPaleNarrow  = 0.2   // the same where the gap is under five edge spreads: its width hangs on its darkness (L)
	minPale        = -0.1  // and the least: lower, pedestal and blur were fitted to something else (good generated and rendered photos: -0.034)
	minArc         = 120.0 // degrees of rim that took part in the circle (L)
	maxClipped     = 0.35  // share of directions lost to saturation (L)
	burnt          = 0.1   // of it, from which on saturation is what is wrong
	maxRagged      = 0.01  // scatter of a rim about its circle, of the radius (L)
	maxRimU        = 0.5   // standard uncertainty of a radius, pixels (L)
)

// FindJoint finds a pin standing in its bush, seen end-on, and measures both
// rims. The curve is the tone curve the photo was read with.
//
// The error is a *check.Refusal: not_found, blurred, too_dark, overexposed or
// too_few_edges. The checks are those made up to then.
func FindJoint(g raster.Gray, curve raster.Curve) (geom.JointEdges, []check.Check, error) {
	seed, ok := searchJoint(g)
	var checks []check.Check
	fail := func(c check.Check, code check.Code, format string, a ...any) (geom.JointEdges, []check.Check, error) {
		if code == check.TooFewEdges && seed.share < doubtfulShare {
			// What was seen of rims was hardly a joint.
			code = check.NotFound
		}
		return geom.JointEdges{}, append(checks, c), check.Refuse(code, fmt.Sprintf(format, a...))
	}
	seen := check.AtLeast("rims_seen", round(seed.share, 3), minSeen)
	if !ok || !seen.OK {
		return fail(seen, check.NotFound, "no pin in a bush: a dark ring between two bright rims was seen in %.0f %% of the directions, at least %.0f %% are needed", 100*seed.share, 100*minSeen)
	}
	checks = append(checks, seen)
	blur := check.AtMost("focus", round(seed.blur, 2), maxBlur)
	if !blur.OK {
		return fail(blur, check.Blurred, "the rims are blurred over %.1f px, at most %.1f px can be measured", seed.blur, maxBlur)
	}
	fit, shift, err := fitJoint(g, curve, seed)
	if errors.Is(err, subpixel.ErrNoCrescent) {
		few := check.AtLeast("sectors_fitted", share(fit.Sectors, func(s subpixel.Sector) bool { return s.Fitted }), 0.25)
		few.OK = false
		return fail(few, check.TooFewEdges, "pin and bore were fitted in %.0f %% of the directions, too few for two circles", 100*few.Value)
	}
	if err != nil {
		return geom.JointEdges{}, checks, err
	}
	fit, feet, bands, halos := chamfers(g, fit, shift > 0)
	e := edges(g, fit, shift, feet, bands, halos)
	e.BlackInGap, e.Unwhite = toneEnds(g, curve, fit)
	moved, _ := fit.Moved()
	e.Moved = moved.Path
	for _, l := range append(jointLimits(e, fit, curve), movedLimits(e, moved, fit.Excess)...) {
		if !l.check.OK {
			return fail(l.check, l.code, "%s", l.message)
		}
		checks = append(checks, l.check)
	}
	if e.Blur > movedBlur {
		moved := check.AtMost("blur_one_way", round(oneWay(g), 2), maxOneWay)
		if !moved.OK {
			return fail(moved, check.Blurred, "%.0f %% of the blur is there in one direction only, at most %.0f %% is a lens out of focus: camera or joint moved", 100*moved.Value, 100*maxOneWay)
		}
		checks = append(checks, moved)
	}
	return e, checks, nil
}

// fitJoint fits the crescent, with the camera's sharpening taken back where
// there is some, and with the bevels beside its rims. shift is by how much the
// sharpening moved the rims.
func fitJoint(g raster.Gray, curve raster.Curve, seed jointSeed) (fit subpixel.CrescentFit, shift float64, err error) {
	fit, err = subpixel.FitCrescent(g, seed.rims())
	if err != nil {
		return fit, 0, err
	}
	sharp := fit.Sharpening(curve)
	if !sharp.Found() {
		return fit.Bevelled(g), 0, nil
	}
	reach := fit.Bore.R + 8*fit.BlurBore + 8
	x, y := fit.Bore.Center.X, fit.Bore.Center.Y
	soft := sharp.Undo(g, curve, int(x-reach), int(y-reach), int(x+reach)+1, int(y+reach)+1)
	again, err := subpixel.FitCrescent(soft, subpixel.Rims{Bore: fit.Bore, Pin: fit.Pin, Blur: fit.BlurBore})
	if err != nil {
		return fit, 0, err
	}
	shift = math.Abs(again.Bore.R-again.Pin.R-fit.Bore.R+fit.Pin.R) / 2
	return again.Bevelled(soft), shift, nil
}

// chamfers looks for bands of dimmer light beside the rims that the fit does
// not know of. Where a band is wide enough to be a face of its own the rim
// beyond is fitted like any other, and fit is that fit; bands has the width of
// the band of bore and pin.
//
// Where the camera sharpened, black that it clipped is not taken back, and leaves a
// narrow band beside both rims alike: halos has its width, and bands none of it.
func chamfers(g raster.Gray, fit subpixel.CrescentFit, sharpened bool) (_ subpixel.CrescentFit, feet [2]subpixel.Foot, bands, halos [2]float64) {
	feet, ok := fit.Feet()
	bands = [2]float64{fit.Bevels[0].Width, fit.Bevels[1].Width}
	halo := sharpened && ok[0] && ok[1] && min(feet[0].Band, feet[1].Band) > leastHalo
	start := subpixel.Rims{Bore: fit.Bore, Pin: fit.Pin, Blur: min(fit.BlurBore, fit.BlurPin), Bevels: fit.Bevels}
	widest := 0.0
	for r, circle := range []*geom.Circle{&start.Bore, &start.Pin} {
		if bands[r] > 0 {
			feet[r] = subpixel.Foot{}
			continue
		}
		if halo && feet[r].Band < mostHalo {
			halos[r] = feet[r].Band
			continue
		}
		if ok[r] && feet[r].Band > minBand {
			bands[r] = feet[r].Band
			widest = max(widest, bands[r])
			*circle = feet[r].Circle
		}
	}
	if widest < faceBand*start.Blur+2 {
		return fit, feet, bands, halos
	}
	again, err := subpixel.FitCrescent(g, start)
	if err != nil || math.Abs(again.Pin.R-start.Pin.R) > 1 || math.Abs(again.Bore.R-start.Bore.R) > 1 {
		return fit, feet, bands, halos
	}
	// A narrow band beside the other rim may have been the wide one's doing.
	if left, ok := again.Feet(); ok[0] && ok[1] {
		for r := range bands {
			if bands[r] < widest && left[r].Band < minBand && fit.Bevels[r].Width == 0 {
				bands[r] = 0
			}
		}
	}
	// Fitted at its rim: nothing is left to read from the feet.
	return again, [2]subpixel.Foot{}, bands, halos
}

// A band of more than faceBand edge spreads has a level of its own. Of bands beside
// both rims, pixels, those up to mostHalo are what sharpening leaves: on rendered
// photos all of 21 such pairs were, of up to 1.6 px; rims left alone show 0.3.
const (
	faceBand            = 4.0
	leastHalo, mostHalo = 0.45, 2.0
)

// edges turns a fit into what the photo shows.
func edges(g raster.Gray, f subpixel.CrescentFit, shift float64, feet [2]subpixel.Foot, bands, halos [2]float64) geom.JointEdges {
	e := geom.JointEdges{
		BoreFit: f.Bore, PinFit: f.Pin, Cov: f.Cov,
		Blur: max(f.BlurBore, f.BlurPin), BlurBore: f.BlurBore, BlurPin: f.BlurPin,
		Noise: f.Noise, Contrast: f.Contrast, Dark: f.Dark, DarkU: f.DarkU, Gap: f.Gap,
		SharpenShift: shift,
	}
	var ledges [2][]float64
	var widths []float64
	for _, s := range f.Sectors {
		s.Fitted = s.Fitted && !covered(f, s)
		bore, pin := s.Fitted, s.Fitted
		if s.Fitted {
			widths = append(widths, s.Width())
		}
		if rim, width := ledge(f, s); width > 0 {
			ledges[rim] = append(ledges[rim], width)
			bore, pin = rim != 0, rim != 1
		}
		if bore {
			u := f.Excess * math.Sqrt(s.VarBore)
			e.Bore = append(e.Bore, rimPoint(f.Bore, s.Angle, s.Bore, u, s.BoreUsed))
			e.BoreProfile.Add(s.Angle, s.Bore, u)
		} else {
			e.Bore = append(e.Bore, unseen(f.Bore, s.Angle, s))
			e.BoreProfile.Add(s.Angle, 0, 0)
		}
		if pin {
			u := f.Excess * math.Sqrt(s.VarPin)
			e.Pin = append(e.Pin, rimPoint(f.Pin, s.PinAngle, s.Pin, u, s.PinUsed))
			e.PinProfile.Add(s.PinAngle, s.Pin, u)
		} else {
			e.Pin = append(e.Pin, unseen(f.Pin, s.PinAngle, s))
			e.PinProfile.Add(s.PinAngle, 0, 0)
		}
	}
	// The widest but for a tenth of the directions: dirt can open a gap, too.
	if len(widths) > 0 {
		slices.Sort(widths)
		e.Gap = widths[9*(len(widths)-1)/10]
	}
	bore, pin := rimRays(f, 0), rimRays(f, 1)
	s := shade(g, f, 0, bore)
	e.Shadow, e.ShadowU, e.ShadowReach = s.share, s.u, s.reach
	s = shade(g, f, 1, pin)
	e.PinShade, e.PinShadeU, e.PinShadeReach = s.share, s.u, s.reach
	e.BoreBevel, e.PinBevel = bevel(g, f, 0, bore), bevel(g, f, 1, pin)
	e.BoreBand, e.PinBand = bands[0], bands[1]
	if len(feet[0].Seen) > 0 && bands[0] > 0 {
		e.Bore, e.BoreFit, e.BoreProfile = atFoot(feet[0], e.BoreFit, e.BoreProfile, +1)
		setBlock(&e.Cov, 0, e.BoreFit.Cov)
	}
	if len(feet[1].Seen) > 0 && bands[1] > 0 {
		e.Pin, e.PinFit, e.PinProfile = atFoot(feet[1], e.PinFit, e.PinProfile, -1)
		setBlock(&e.Cov, 3, e.PinFit.Cov)
	}
	for rim, b := range f.Bevels {
		add := bevelU * b.Width
		for i, share := range []float64{0.5, 0.5, 1} {
			e.Cov[3*rim+i][3*rim+i] += share * add * share * add
		}
	}
	e.Lopsided, e.ToneShiftU = toneShift(f, bands)
	e.SmoothedU = smoothingU(f, e.Gap, shift, bands)
	for rim, band := range []*float64{&e.BoreBand, &e.PinBand} {
		if *band == 0 && len(ledges[rim]) > len(f.Sectors)/minLedge {
			*band = middle(ledges[rim])
			add := footU(*band)
			e.Cov[3*rim+2][3*rim+2] += add * add
		}
		// The variance of a rim of which it is not known which step of light it is.
		either := footU(halos[rim]) * footU(halos[rim])
		if *band == 0 {
			odd := min(mostOdd, perMisfit*max(0, f.Misfit(rim)-stepMisfit))
			either += odd*odd + smearVar([]float64{f.BlurBore, f.BlurPin}[rim], min(f.BlurBore, f.BlurPin))
		}
		if *band < f.Smear[rim] && f.Bevels[rim].Width == 0 {
			either += smearU * f.Smear[rim] * smearU * f.Smear[rim]
		}
		// Where the light comes more from one side, the rim's middle is off too.
		for i, share := range []float64{0.5, 0.5, 1} {
			e.Cov[3*rim+i][3*rim+i] += share * share * either
		}
	}
	e.BoreFit.Cov[2][2], e.PinFit.Cov[2][2] = e.Cov[2][2], e.Cov[5][5]
	return e
}

// smearVar is the variance of a rim's radius, pixels squared, that comes with a
// rim softer than its partner: both share the photo's focus, so that it is not
// one step of light but several, a chamfer or a burr too narrow to be seen as
// one, spread by the square root of what the squares of the edge spreads
// differ by. Any of the steps may be the rim. A tenth more spread is the scatter
// between rims of unlike light.
func smearVar(blur, sharper float64) float64 {
	return max(0, blur*blur-1.1*1.1*sharper*sharper)
}

// smearU is the standard uncertainty of a radius for a smear, over its width:
// any place within it is as likely.
const smearU = 0.58

// A rim whose light strays by more than stepMisfit from one step is of another
// shape that no bevel explains, a broken edge or burr under sharpening or grain;
// perMisfit is the standard uncertainty of its radius, pixels, over what is
// beyond, up to mostOdd. 384 rendered photos of careful users stray by 0.023 at
// most; of those beyond 0.024 one in six lay outside one and a half of its
// interval before, of those below one in 140.
const (
	stepMisfit = 0.02
	perMisfit  = 10.0
	mostOdd    = 0.4
)

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

func rimPoint(c geom.Circle, angle, dev, u float64, used bool) geom.EdgePoint {
	sin, cos := math.Sincos(angle)
	n := r2.Vec{X: cos, Y: sin}
	p := geom.EdgePoint{At: r2.Add(c.Center, r2.Scale(c.R+dev, n)), Normal: n, U: u, Rejected: !used}
	if !used {
		p.Why = "off the circle"
	}
	return p
}

func unseen(c geom.Circle, angle float64, s subpixel.Sector) geom.EdgePoint {
	p := rimPoint(c, angle, 0, 0, false)
	p.Why = "glare or dirt"
	if s.Clipped > 0.5 {
		p.Why = "clipped"
	}
	return p
}

// limit is a check with what is said when it fails.
type limit struct {
	check   check.Check
	code    check.Code
	message string
}

// jointLimits holds a fitted joint against the limits, worst news first.
func jointLimits(e geom.JointEdges, f subpixel.CrescentFit, curve raster.Curve) []limit {
	var out []limit
	add := func(c check.Check, code check.Code, format string, a ...any) {
		out = append(out, limit{c, code, fmt.Sprintf(format, a...)})
	}
	clipped := share(f.Sectors, func(s subpixel.Sector) bool { return s.Clipped > 0.5 })
	add(check.AtMost("clipped", clipped, maxClipped), check.Overexposed,
		"%.0f %% of the rims are burnt out, at most %.0f %% may be", 100*clipped, 100*maxClipped)
	// What is not seen of rims that are burnt out is burnt out.
	few := check.TooFewEdges
	if clipped > burnt {
		few = check.Overexposed
	}
	step := 255 * (curve.Encode(e.Contrast+e.Dark) - curve.Encode(e.Dark))
	add(check.AtLeast("contrast", round(step, 1), minStep), check.TooDark,
		"the weaker rim stands out by %.0f of 255 levels, at least %.0f are needed", step, minStep)
	pale := paleness(e.Dark, e.Contrast)
	most := maxPale
	if e.Gap < 5*e.Blur {
		most = maxPaleNarrow
	}
	add(check.AtMost("light_in_gap", round(pale, 3), most), check.NotFound,
		"the ring is not dark enough for a gap: it has %.0f %% of the light of the fainter face, at most %.0f %% is a gap of this width", 100*pale, 100*most)
	add(check.AtLeast("light_in_gap_least", round(pale, 3), minPale), check.TooFewEdges,
		"the gap comes out darker than no light at all, by %.0f %% of the fainter face, at most %.0f %% is chance: the rims are no single steps of light", -100*pale, -100*minPale)
	snr := e.Contrast / max(e.Noise, 1e-9)
	add(check.AtLeast("signal_to_noise", round(min(snr, 1e4), 2), minSNR), check.TooFewEdges,
		"the rims stand out by %.1f times the unevenness of the light beside them, at least %.1f times is needed", snr, minSNR)
	add(check.AtMost("focus", round(e.Blur, 2), maxBlur), check.Blurred,
		"the rims are blurred over %.1f px, at most %.1f px can be measured", e.Blur, maxBlur)
	gap, least, code, hint := e.Gap/e.Blur, minGap, check.NotFound, ": if this is a pin in its bush, magnify more"
	if e.Blur > softBlur {
		least, code, hint = minSoftGap, check.Blurred, ""
	}
	add(check.AtLeast("gap", round(gap, 2), least), code,
		"the gap is %.1f times the blur at its widest, at least %.1f times is needed to measure it%s", gap, least, hint)
	over := 2 * (e.BoreFit.R - e.PinFit.R)
	add(check.AtLeast("bore_over_pin_px", round(over, 2), minOver), check.NotFound,
		"the circle of the ring's outer edge is wider than that of its inner edge by %.1f px, a bore is wider than its pin by at least %.0f px: this may be another ring, such as a shadow; if it is a pin in its bush, magnify more", over, minOver)
	for i, r := range []struct {
		name string
		pts  []geom.EdgePoint
		c    geom.Circle
		band float64
	}{{"bore", e.Bore, e.BoreFit, e.BoreBand}, {"pin", e.Pin, e.PinFit, e.PinBand}} {
		arc := usedArc(r.pts)
		add(check.AtLeast(r.name+"_arc_deg", round(arc, 1), minArc), few,
			"%.0f degrees of the %s's rim could be used, at least %.0f are needed", arc, r.name, minArc)
		ragged := max(1.5, maxRagged*r.c.R)
		strays := scatter(r.pts, r.c)
		add(check.AtMost(r.name+"_rim_px", round(strays, 3), round(ragged, 3)), check.TooFewEdges,
			"the %s's rim strays %.2f px from its circle, at most %.2f px is a circle", r.name, strays, ragged)
		// A band beside the rim has its own allowance; what is left must do.
		allowed := footU(r.band)
		if w := f.Bevels[i].Width; w > 0 {
			allowed = bevelU * w
		}
		u := math.Sqrt(max(r.c.Cov[2][2]-allowed*allowed, 0))
		add(check.AtMost(r.name+"_radius_u_px", round(u, 4), maxRimU), few,
			"the %s's radius is known to %.2f px only, %.2f px is needed", r.name, u, maxRimU)
	}
	return out
}

// movedLimits holds what the rims tell of a moving camera against its limits. A
// broken edge is as uneven, and tells nothing.
func movedLimits(e geom.JointEdges, m subpixel.Moved, excess float64) []limit {
	most := min(maxMoved, maxMovedInGap*e.Gap)
	if band := max(e.BoreBand, e.PinBand); band > 0 {
		most = min(most, maxMovedByBand*band)
	}
	way := check.AtMost("moved_px", round(m.Path, 2), round(most, 2))
	out := []limit{{way, check.Blurred, fmt.Sprintf("camera or joint moved by about %.1f px, at most %.1f px can be measured in this gap and beside such rims", m.Path, most)}}
	broken := max(e.BoreBand, e.PinBand, e.BoreBevel, e.PinBevel) > 0
	if e.Gap < fewSpreads*e.Blur && !broken {
		uneven := check.AtMost("blur_uneven", round(m.Uneven, 2), maxSpreadOff)
		out = append(out, limit{uneven, check.Blurred, fmt.Sprintf("the blur of the rims differs by %.0f %% from place to place, at most %.0f %% is a lens out of focus: camera or joint moved", 100*m.Uneven, 100*maxSpreadOff)})
	}
	most, code, where, why := maxExcess, check.TooFewEdges, "", ""
	if e.Gap < narrowSpreads*e.Blur {
		most, code, why = maxExcessNarrow, check.Blurred, ": camera or joint moved"
		where = fmt.Sprintf("in a gap of %.1f times the blur ", e.Gap/e.Blur)
	}
	return append(out, limit{
		check.AtMost("rims_ragged", round(excess, 2), most), code,
		fmt.Sprintf("%sthe rims scatter by %.1f times what their light says, at most %.0f times can be measured%s", where, excess, most, why),
	})
}

// scatter returns the root mean square distance from its circle of the points
// of a rim that took part in it, each counted by how well it was read.
func scatter(pts []geom.EdgePoint, c geom.Circle) float64 {
	var sumsq, weights float64
	for _, p := range pts {
		if !p.Rejected && p.U > 0 {
			d := (r2.Norm(r2.Sub(p.At, c.Center)) - c.R) / p.U
			sumsq += d * d
			weights += 1 / (p.U * p.U)
		}
	}
	if weights == 0 {
		return 0
	}
	return math.Sqrt(sumsq / weights)
}

// usedArc returns the degrees of a rim whose points took part in its circle.
func usedArc(pts []geom.EdgePoint) float64 {
	n := 0
	for _, p := range pts {
		if !p.Rejected {
			n++
		}
	}
	return 360 * float64(n) / float64(max(len(pts), 1))
}

func share(sectors []subpixel.Sector, is func(subpixel.Sector) bool) float64 {
	return round(shareWhere(sectors, is), 3)
}

// round rounds v to n digits after the point.
func round(v float64, n int) float64 {
	f := math.Pow10(n)
	return math.Round(v*f) / f
}
