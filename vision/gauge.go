package vision

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// What makes a round edge a gauge (judgement, tried on rendered scenes).
const (
	minGaugeArc   = 270.0 // degrees of its rim that took part in the circle
	maxMisfit     = 0.025 // how far the light beside the rim strays from a single step, of the step
	minGaugeShare = 0.65  // share of directions in which the search must see its step
	// A second rim about the same place makes it part of a joint, a bush or a
	// ring: one seen in this share of the directions, with this share of the
	// step of the first, of a radius between these multiples of its own.
	rivalShare = 0.35
	rivalStep  = 0.25
	rivalLeast = 0.4
	rivalMost  = 1.8
	// Of two gauges neither is clearly the one if the fainter has this share
	// of the other's step.
	rivalGauge = 0.5
)

// Gauge is the rim of a round gauge. A bright one shows the rim of its end, which
// a chamfer or a broken edge makes smaller than the gauge; a silhouette its full
// size.
type Gauge struct {
	Circle geom.Circle
	Bright bool
}

// FindGauge finds a round gauge, seen end-on, bright on dark or dark on bright,
// and measures its rim. The curve is the tone curve the photo was read with.
//
// A gauge is a single round edge whose light steps one way over three quarters
// of its rim and more. The rims of a joint or a bush are not: each has another
// one beside it.
//
// The error is a *check.Refusal: no_scale, scale_unclear, blurred, too_dark or
// overexposed. The checks are those made up to then.
func FindGauge(g raster.Gray, curve raster.Curve) (Gauge, []check.Check, error) {
	edges, ringed := searchGauges(g)
	var gauges []measuredGauge
	var near *measuredGauge // the first that is none
	for _, e := range edges {
		found := measureGauge(g, curve, e)
		switch {
		case found.err == nil:
			gauges = append(gauges, found)
		case near == nil:
			near = &found
		}
	}
	switch {
	case len(gauges) > 0:
		slices.SortStableFunc(gauges, func(a, b measuredGauge) int { return cmp.Compare(b.step, a.step) })
		if len(gauges) > 1 && gauges[1].step > rivalGauge*gauges[0].step {
			a, b := gauges[0].Circle.Center, gauges[1].Circle.Center
			return Gauge{}, gauges[0].checks, unclearGauge("%d round edges were seen that could each be the gauge, at (%.0f, %.0f) and (%.0f, %.0f) px: only one may be in the photo",
				len(gauges), a.X, a.Y, b.X, b.Y)
		}
		return gauges[0].Gauge, gauges[0].checks, nil
	case near != nil:
		return Gauge{}, near.checks, near.err
	case ringed > 0:
		return Gauge{}, nil, check.Refuse(check.NoScale, "no round gauge was seen: the round edges in the photo have another rim close beside them, like a joint, a ring or a chamfered end")
	}
	return Gauge{}, nil, check.Refuse(check.NoScale, "no round gauge was seen: a single round edge, whole in the photo, with a step of light that goes one way all round")
}

// unclearGauge returns a scale_unclear refusal that says what a gauge wants.
func unclearGauge(format string, a ...any) *check.Refusal {
	r := check.Refuse(check.ScaleUnclear, fmt.Sprintf(format, a...))
	r.Remedy = "show one round gauge, its whole rim free and clean, on a plain ground much darker or much brighter than its end"
	return r
}

// measuredGauge is a round edge that was measured; err says why it is none.
type measuredGauge struct {
	Gauge
	step   float64 // of light, levels of 255
	checks []check.Check
	err    error
}

// measureGauge fits a round edge and holds it against the limits.
func measureGauge(g raster.Gray, curve raster.Curve, e gaugeEdge) measuredGauge {
	var out measuredGauge
	fit, fitted := subpixel.FitRound(g, e.circle, e.blur)
	hold := func(c check.Check, refusal *check.Refusal) {
		if out.err != nil {
			return
		}
		if out.checks = append(out.checks, c); !c.OK {
			out.err = refusal
		}
	}
	clipped := round(fit.Clipped, 3)
	hold(check.AtMost("gauge_clipped", clipped, 1-minGaugeArc/360), check.Refuse(check.Overexposed, fmt.Sprintf(
		"%.0f %% of the gauge's rim is burnt out, at most %.0f %% may be", 100*clipped, 100*(1-minGaugeArc/360))))
	if out.err == nil && !fitted {
		out.err = unclearGauge("the gauge's rim at (%.0f, %.0f) px is no circle", e.circle.Center.X, e.circle.Center.Y)
	}
	low := min(fit.Inside, fit.Outside)
	out.step = 255 * (curve.Encode(low+fit.Step()) - curve.Encode(low))
	hold(check.AtLeast("gauge_contrast", round(out.step, 1), minStep), check.Refuse(check.TooDark, fmt.Sprintf(
		"the gauge's rim stands out by %.0f of 255 levels, at least %.0f are needed", out.step, minStep)))
	hold(check.AtMost("gauge_misfit", round(fit.Misfit, 3), maxMisfit), check.Refuse(check.NoScale, fmt.Sprintf(
		"no round gauge was seen: along the round edge at (%.0f, %.0f) px runs a line, as between a pin and its bush", e.circle.Center.X, e.circle.Center.Y)))
	hold(check.AtMost("gauge_focus", round(fit.Blur, 2), maxBlur), check.Refuse(check.Blurred, fmt.Sprintf(
		"the gauge's rim is blurred over %.1f px, at most %.1f px can be measured", fit.Blur, maxBlur)))
	hold(check.AtLeast("gauge_arc_deg", round(fit.Arc, 1), minGaugeArc), unclearGauge(
		"%.0f degrees of the gauge's rim could be used, at least %.0f are needed", fit.Arc, minGaugeArc))
	out.Circle, out.Bright = fit.Circle, fit.Inside > fit.Outside
	if out.Bright && out.err == nil {
		band := round(bandAround(g, fit), 3)
		hold(check.AtMost("gauge_band", band, maxBand), unclearGauge(
			"around the gauge's bright end lies a dimmer band of %.0f %% of its light, at most %.0f %% may be: a chamfer makes the end smaller than the gauge; photograph it before a light", 100*band, 100*maxBand))
	}
	return out
}

// maxBand is the light of a band around a bright end, above that of the ground
// beyond, as a share of the step at the rim.
const maxBand = 0.03

// bandAround returns by how much the light around a bright end drops once more,
// as a share of the step at its rim. The median over all directions is looked
// at, so that what else lies beside the gauge does not count.
func bandAround(g raster.Gray, fit subpixel.RoundFit) float64 {
	const directions = 180
	lit := func(d float64) float64 {
		var v []float64
		for i := range directions {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / directions)
			if x, y := fit.Circle.Center.X+(fit.Circle.R+d)*cos, fit.Circle.Center.Y+(fit.Circle.R+d)*sin; g.Inside(x, y) {
				v = append(v, g.Bilinear(x, y))
			}
		}
		if len(v) < directions/2 {
			return math.NaN() // out of the picture
		}
		return middle(v)
	}
	const step = 0.5
	from, across := 2.5*fit.Blur, int(math.Ceil(max(4, 3*fit.Blur)/step))
	var light []float64
	for d := from; d < 0.35*fit.Circle.R; d += step {
		light = append(light, lit(d))
	}
	most := 0.0
	for i := 0; i+across < len(light); i++ {
		if drop := light[i] - light[i+across]; drop > most {
			most = drop
		}
	}
	return most / fit.Step()
}

// gaugeEdge is a circle on which light steps one way, seen from a place within.
type gaugeEdge struct {
	circle geom.Circle
	share  float64 // of the directions that show the step
	rise   float64 // median step outwards, in square roots of light
	blur   float64
}

// searchGauges returns the single round edges of a photo, each once, and how
// many round edges there were that are not single.
func searchGauges(g raster.Gray) (single []gaugeEdge, ringed int) {
	small, scale := searchCopy(g)
	var whole []gaugeEdge
	for _, c := range centres(small) {
		at := fullSize(c, scale)
		for _, e := range gaugeEdges(g, at, 0.05*float64(g.H), 0.6*float64(g.H), scale) {
			if e.share >= 0.75*minGaugeShare && !slices.ContainsFunc(whole, e.same) {
				whole = append(whole, e)
			}
		}
	}
	for _, e := range whole {
		// From its own centre its neighbours are seen at their best, too.
		near := gaugeEdges(g, e.circle.Center, rivalLeast*e.circle.R, rivalMost*e.circle.R, scale)
		at := slices.IndexFunc(near, e.same)
		if at < 0 || near[at].share < minGaugeShare || slices.ContainsFunc(single, near[at].same) {
			continue
		}
		e = near[at]
		if slices.ContainsFunc(near, e.ringedBy) {
			ringed++
			continue
		}
		single = append(single, e)
	}
	return single, ringed
}

// same says whether f is the same edge, found from elsewhere.
func (e gaugeEdge) same(f gaugeEdge) bool {
	return e.rise*f.rise > 0 && math.Abs(e.circle.R-f.circle.R) < 0.03*e.circle.R+3 &&
		r2.Norm(r2.Sub(e.circle.Center, f.circle.Center)) < 0.05*e.circle.R+3
}

// ringedBy says whether f is a second rim that belongs to what e is the rim of.
func (e gaugeEdge) ringedBy(f gaugeEdge) bool {
	return !e.same(f) && f.share >= rivalShare && math.Abs(f.rise) > rivalStep*math.Abs(e.rise) &&
		r2.Norm(r2.Sub(e.circle.Center, f.circle.Center)) < 0.3*e.circle.R
}

// gaugeEdges lists the circles about a place, of radii from one to another, on
// which light steps one way in a quarter of the directions and more.
//
// Steps are read along rays. Radii at which many rays step alike are where a
// circle is tried through the steps near by.
func gaugeEdges(g raster.Gray, at r2.Vec, from, to, scale float64) []gaugeEdge {
	var steps [2][rays][]dip // falling, rising outwards
	for i := range rays {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / rays)
		for _, s := range raySteps(g, at, cos, sin, from, to, scale) {
			way := 0
			if s.depth > 0 {
				way = 1
			}
			s.depth = math.Abs(s.depth)
			steps[way][i] = append(steps[way][i], s)
		}
	}
	rng := rand.New(rand.NewPCG(5, 6))
	var out []gaugeEdge
	for way, all := range steps {
		for _, r := range crowdedRadii(all, from, to, scale) {
			near := stepsNear(all, r, crowdReach(r, scale))
			circle, ok := agreeCircle(at, near, func(s dip) float64 { return s.out }, rng, nil, rays, scale)
			if !ok {
				continue
			}
			e := judgeRound(at, near, circle, scale)
			if way == 0 {
				e.rise = -e.rise
			}
			if e.share >= 0.25 && !slices.ContainsFunc(out, e.same) {
				out = append(out, e)
			}
		}
	}
	return out
}

// crowdReach is how far about a radius steps are taken together, since the
// place they are seen from is not quite their centre.
func crowdReach(r, scale float64) float64 { return 0.06*r + 3*scale }

// stepsNear keeps the steps near a radius.
func stepsNear(all [rays][]dip, r, reach float64) (out [rays][]dip) {
	for i, steps := range all {
		for _, s := range steps {
			if math.Abs(s.out-r) < reach {
				out[i] = append(out[i], s)
			}
		}
	}
	return out
}

// crowdedRadii returns the radii near which the most rays step, each the
// highest in its own reach.
func crowdedRadii(all [rays][]dip, from, to, scale float64) []float64 {
	var radii, votes []float64
	for r := from; r < to; r *= 1.03 {
		sum, n := 0.0, 0
		reach := crowdReach(r, scale)
		for _, steps := range all {
			best := 0.0
			for _, s := range steps {
				// The nearer, the more.
				best = max(best, s.depth*(1-math.Abs(s.out-r)/reach))
			}
			if best > 0 {
				n++
			}
			sum += best
		}
		if n < rays/4 {
			sum = 0
		}
		radii, votes = append(radii, r), append(votes, sum)
	}
	var out []float64
	for i, v := range votes {
		highest := v > 0
		for k := max(0, i-1); k <= min(len(votes)-1, i+1); k++ {
			highest = highest && (v > votes[k] || k >= i && v == votes[k])
		}
		if highest {
			out = append(out, radii[i])
		}
	}
	return out
}

// judgeRound says in how many directions a circle shows its step.
func judgeRound(at r2.Vec, steps [rays][]dip, circle geom.Circle, scale float64) gaugeEdge {
	var rises, blurs []float64
	for i, on := range steps {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / rays)
		for _, s := range on {
			p := r2.Add(at, r2.Vec{X: s.out * cos, Y: s.out * sin})
			if math.Abs(r2.Norm(r2.Sub(p, circle.Center))-circle.R) < tolerance(scale, s) {
				rises, blurs = append(rises, s.depth), append(blurs, s.blur)
				break
			}
		}
	}
	return gaugeEdge{circle: circle, share: float64(len(rises)) / rays, rise: middle(rises), blur: max(middle(blurs), 0.5)}
}

// leastStep is the least step of light that counts, in square roots of light:
// some 15 levels of 255 in a file.
const leastStep = 0.05

// raySteps lists the steps of light along a ray between two radii. Their depth
// is the rise outwards, in square roots of light, the eye's scale, on which a
// faint rim in the dark is as plain as one on bright metal.
func raySteps(g raster.Gray, at r2.Vec, cos, sin, from, to, scale float64) []dip {
	var line []float64
	for r := from; r < to; r++ {
		x, y := at.X+r*cos, at.Y+r*sin
		if !g.Inside(x, y) {
			break
		}
		line = append(line, math.Sqrt(max(g.Bilinear(x, y), 0)))
	}
	k := int(max(3, scale)) // shoulder length
	n := len(line)
	if n < 4*k {
		return nil
	}
	sum := make([]float64, n+1)
	for i, v := range line {
		sum[i+1] = sum[i] + v
	}
	mean := func(a, b int) float64 { return (sum[b] - sum[a]) / float64(b-a) }
	rise := make([]float64, n+1) // from the k places before i to the k from i on
	for i := k; i+k <= n; i++ {
		rise[i] = mean(i, i+k) - mean(i-k, i)
	}
	var out []dip
	for i := k; i+k <= n; i++ {
		if math.Abs(rise[i]) < leastStep || !steepest(rise, i, k) {
			continue
		}
		before, after := mean(max(i-2*k, 0), i-k+1), mean(i+k-1, min(i+2*k, n))
		half, slope := (before+after)/2, 0.0
		place := float64(i) - 0.5
		for j := i - k; j+1 < i+k; j++ {
			if d := math.Abs(line[j+1] - line[j]); d > slope {
				slope = d
			}
			if (line[j]-half)*(line[j+1]-half) <= 0 && line[j] != line[j+1] && (line[j+1]-line[j])*rise[i] > 0 {
				place = float64(j) + (half-line[j])/(line[j+1]-line[j])
			}
		}
		out = append(out, dip{
			in: from + place, out: from + place, depth: rise[i],
			blur: math.Abs(after-before) / (max(slope, 1e-9) * math.Sqrt(2*math.Pi)),
		})
	}
	return out
}

// steepest says whether no step within reach of place i is greater.
func steepest(rise []float64, i, reach int) bool {
	v := math.Abs(rise[i])
	for d := 1; d < reach; d++ {
		if math.Abs(rise[max(i-d, 0)]) > v || math.Abs(rise[min(i+d, len(rise)-1)]) >= v {
			return false
		}
	}
	return true
}
