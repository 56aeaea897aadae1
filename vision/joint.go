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
	fit, beside := chamfers(g, fit, shift > 0)
	e := edges(g, fit, shift, beside)
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

// edges turns a fit into what the photo shows.
func edges(g raster.Gray, f subpixel.CrescentFit, shift float64, beside besides) geom.JointEdges {
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
	e.BoreBand, e.PinBand = beside.bands[0], beside.bands[1]
	if len(beside.feet[0].Seen) > 0 && beside.bands[0] > 0 {
		e.Bore, e.BoreFit, e.BoreProfile = atFoot(beside.feet[0], e.BoreFit, e.BoreProfile, +1)
		setBlock(&e.Cov, 0, e.BoreFit.Cov)
	}
	if len(beside.feet[1].Seen) > 0 && beside.bands[1] > 0 {
		e.Pin, e.PinFit, e.PinProfile = atFoot(beside.feet[1], e.PinFit, e.PinProfile, -1)
		setBlock(&e.Cov, 3, e.PinFit.Cov)
	}
	for rim, b := range f.Bevels {
		add := bevelU * b.Width
		for i, share := range []float64{0.5, 0.5, 1} {
			e.Cov[3*rim+i][3*rim+i] += share * add * share * add
		}
	}
	e.Lopsided, e.ToneShiftU = toneShift(f, beside.bands)
	e.SmoothedU = smoothingU(f, e.Gap, shift, beside.bands)
	for rim, band := range []*float64{&e.BoreBand, &e.PinBand} {
		if *band == 0 && len(ledges[rim]) > len(f.Sectors)/minLedge {
			*band = middle(ledges[rim])
			add := footU(*band)
			e.Cov[3*rim+2][3*rim+2] += add * add
		}
		// The variance of a rim of which it is not known which step of light it is.
		either := footU(beside.halos[rim]) * footU(beside.halos[rim])
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
	e.BoreLightU = lightU(e.BoreFit, e.BoreBand, f.Bevels[0])
	e.PinLightU = lightU(e.PinFit, e.PinBand, f.Bevels[1])
	return e
}

// lightU is the standard uncertainty of a circle's radius for the light alone,
// pixels: a band or a bevel beside the rim has its own allowance.
func lightU(c geom.Circle, band float64, bevel subpixel.Bevel) float64 {
	allowed := footU(band)
	if bevel.Width > 0 {
		allowed = bevelU * bevel.Width
	}
	return math.Sqrt(max(c.Cov[2][2]-allowed*allowed, 0))
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
