package vision

import (
	"fmt"
	"math"

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
	snr := e.SignalToNoise()
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
	for _, r := range []struct {
		name string
		pts  []geom.EdgePoint
		c    geom.Circle
		u    float64
	}{{"bore", e.Bore, e.BoreFit, e.BoreLightU}, {"pin", e.Pin, e.PinFit, e.PinLightU}} {
		arc := usedArc(r.pts)
		add(check.AtLeast(r.name+"_arc_deg", round(arc, 1), minArc), few,
			"%.0f degrees of the %s's rim could be used, at least %.0f are needed", arc, r.name, minArc)
		ragged := max(1.5, maxRagged*r.c.R)
		strays := scatter(r.pts, r.c)
		add(check.AtMost(r.name+"_rim_px", round(strays, 3), round(ragged, 3)), check.TooFewEdges,
			"the %s's rim strays %.2f px from its circle, at most %.2f px is a circle", r.name, strays, ragged)
		add(check.AtMost(r.name+"_radius_u_px", round(r.u, 4), maxRimU), few,
			"the %s's radius is known to %.2f px only, %.2f px is needed", r.name, r.u, maxRimU)
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
	most, code, where, why := maxExcess, check.TooFewEdges, "", ": they are dirty, or camera or joint moved"
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
