package vision

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// Limits of heads that can be measured (judgement, tried on rendered and
// generated chains).
const (
	maxHeadBlur   = 0.25  // edge spread over the radius
	minHeadStep   = 12.0  // rise of light from the line to the plate, levels of 255
	wholeArc      = 330.0 // degrees of a rim that was seen all round
	partHeadShare = 0.5   // of that where it was not: a shadow on one side pulls a rim
	minHeadArc    = 220.0
	maxHeadU      = 0.3   // standard uncertainty of a centre, pixels,
	headUShare    = 0.006 // or this share of the head's radius
	maxHeadSpread = 0.12  // radius off that of the other heads, share
	maxUneven     = 0.08  // pitch off the middle pitch, share
	// Light inside over that of the plate around: below holeLight it is the
	// hole of an open bush, above it a head. Generated and rendered holes show
	// up to 0.13 and heads, blackened ones too, 0.36 and more; what lies between
	// darkEnough and lightEnough might be either.
	holeLight, darkEnough, lightEnough = 0.25, 0.18, 0.33
)

// FindHeads finds the pin heads along a tight chain seen from the side, at any
// angle, or the open ends of its bushes when it shows no pins. The curve is the
// tone curve the photo was read with.
//
// Only a row of at least four heads at even distances counts, and one whose
// rims are seen all round before any other. A head that is not seen by itself
// is looked for where its neighbours say it must be; when it is not there
// either, the photo is refused, since a pitch cannot be left out.
// Open bushes at the ends of a row of pins are left off, and pins at the ends
// of a row of open bushes; a row that mixes them is refused.
//
// The error is a *check.Refusal: not_found, blurred or
// too_few_edges. The checks are those made up to then.
func FindHeads(g raster.Gray, curve raster.Curve) (geom.Heads, []check.Check, error) {
	rims, seed, ok := searchHeads(g)
	h, checks, whole, err := measureRow(g, curve, seed, ok)
	for tries := 1; !whole && ok && tries < rowsTried; tries++ {
		// Gaps between the marks of a rule and shadows make rows, too, of rims
		// that are faint or open somewhere: the next best may be the chain.
		rims = without(rims, seed)
		if seed, ok = assembleChain(rims); !ok {
			break
		}
		again, more, is, errAgain := measureRow(g, curve, seed, ok)
		if whole = is; is {
			h, checks, err = again, more, errAgain
		}
	}
	return h, checks, err
}

// rowsTried is the number of rows that are looked at.
const rowsTried = 8

// measureRow measures the row of heads that seed begins with. whole says that
// at least half of its places have a clear rim all round, whatever came of it.
func measureRow(g raster.Gray, curve raster.Curve, seed chainSeed, ok bool) (h geom.Heads, checks []check.Check, whole bool, err error) {
	fail := func(c check.Check, code check.Code, format string, a ...any) (geom.Heads, []check.Check, bool, error) {
		return geom.Heads{}, append(checks, c), whole, refuseHeads(code, fmt.Sprintf(format, a...))
	}
	k := 1.0
	for ok && seed.radius() >= largeHead {
		g, seed, k = g.Half(), seed.half(), 2*k
	}
	seen := check.AtLeast("heads seen", float64(seed.seen()), leastHeads)
	if !ok {
		return fail(seen, check.NotFound, "%d heads of like size at even distances in a row were found, at least %d are needed", seed.seen(), leastHeads)
	}
	checks = append(checks, seen)
	row := newHeadRow(g, seed)
	blur := check.AtMost("focus", round(row.look.Blur, 2), round(maxHeadBlur*row.radius, 2))
	if !blur.OK {
		return fail(blur, check.Blurred, "the rims of the heads are blurred over %.1f px, at most %.1f px can be measured on heads of this size", row.look.Blur, blur.Limit)
	}
	checks = append(checks, blur)
	row.fitAll()
	row.trim()
	row.extend()
	row.order()
	whole = len(row.places) >= leastHeads && 2*row.whole(curve) >= len(row.places)
	if mixed := slices.IndexFunc(row.places, func(p headPlace) bool { return p.other }); mixed >= 0 {
		at := raster.Rescaled(row.places[mixed].circle.Center, k)
		return fail(check.AtMost("joints of the other kind", float64(row.mixed()), 0), check.NotFound,
			"joint %d of %d, about (%.0f, %.0f), is no %s end as the others are: pins and open bushes cannot be mixed in one span", mixed+1, len(row.places), at.X, at.Y, row.kind)
	}
	if missing := row.firstMissing(); missing >= 0 {
		c := check.AtMost("heads missing", float64(row.missing()), 0)
		at := raster.Rescaled(row.places[missing].circle.Center, k)
		code := check.TooFewEdges
		if len(row.places)-row.missing() < leastHeads {
			code = check.NotFound // too few are left to be a chain
		}
		return fail(c, code, "head %d of %d, about (%.0f, %.0f), could not be found or measured: its rim is hidden or too faint", missing+1, len(row.places), at.X, at.Y)
	}
	if n := len(row.places); n < leastHeads {
		return fail(check.AtLeast("heads measured", float64(n), leastHeads), check.NotFound, "%d heads in a row could be measured, at least %d are needed", n, leastHeads)
	}
	for _, l := range row.limits(curve) {
		if !l.check.OK {
			return fail(l.check, l.code, "%s", l.message)
		}
		checks = append(checks, l.check)
	}
	h = row.heads()
	h.Links, h.LinkScore = linkKinds(g, h)
	checks = append(checks, check.AtLeast("order of the links", h.LinkScore, minLinkScore))
	return enlargedHeads(h, k), checks, whole, nil
}

// largeHead is the radius, pixels, from which on heads are measured in the
// picture at half size: their line then is many pixels wide.
const largeHead = 100

// half returns the seed in the picture at half size, see raster.Gray.Half.
func (s chainSeed) half() chainSeed {
	links := slices.Clone(s.links)
	for i := range links {
		c := &links[i].circle
		c.Center = raster.Rescaled(c.Center, 0.5)
		c.R /= 2
	}
	s.links = links
	return s
}

// enlargedHeads returns the heads in the photo when they were measured at 1/k
// of its size.
func enlargedHeads(h geom.Heads, k float64) geom.Heads {
	for i := range h.Heads {
		q := &h.Heads[i]
		q.Center = raster.Rescaled(q.Center, k)
		q.R, q.RMS = k*q.R, k*q.RMS
		for a := range q.Cov {
			for b := range q.Cov[a] {
				q.Cov[a][b] *= k * k
			}
		}
	}
	h.Blur *= k
	return h
}

// refuseHeads is a refusal with what helps a chain.
func refuseHeads(code check.Code, message string) *check.Refusal {
	r := check.Refuse(code, message)
	switch code {
	case check.NotFound:
		r.Remedy = "show the chain pulled tight from the side, at least four pins in a row, each head at least 20 px wide"
	case check.TooFewEdges:
		r.Remedy = "wipe the heads and the plates around them, light them from all sides, and photograph again"
	case check.Blurred:
		r.Remedy = "focus on the heads, hold the camera still, and photograph again"
	default: // the table's own remedy serves
	}
	return r
}

// headRow is a row of heads on its way from seeds to fits.
type headRow struct {
	g      raster.Gray
	places []headPlace
	radius float64 // middle radius of the heads
	step   float64 // middle rise of light at their rims
	kind   geom.HeadKind
	// unclear says that the ends might be of either kind.
	unclear bool
	// leftOff says at which ends of the row joints of the other kind follow.
	leftOff [2]bool
	look    subpixel.HeadLook
}

// headPlace is one place of the row.
type headPlace struct {
	circle geom.Circle // where the head is looked for
	fit    subpixel.HeadFit
	ok     bool // fit holds
	filled bool
	other  bool // a joint of the other kind than the row
}

func newHeadRow(g raster.Gray, seed chainSeed) *headRow {
	// Light rises most at the outer side of the dark line, seen at half size.
	r := &headRow{g: g, radius: seed.radius()}
	inward := lineShare*r.radius/2 + 0.6
	r.radius -= inward
	var clear []geom.Circle
	for _, l := range seed.links {
		l.circle.R -= inward
		r.places = append(r.places, headPlace{circle: l.circle, filled: !l.seen})
		if l.seen {
			clear = append(clear, l.circle)
		}
	}
	r.look = headLook(g, clear, r.radius)
	return r
}

// lineShare is the width of the dark line around a head as a share of the
// head's radius: the foot of the dome and its shadow (tried on rendered heads).
const lineShare = 0.075

// lineU is the standard uncertainty of the middle of the line for the light that
// falls on either side of it, as a share of its width: on rendered heads the
// lamps mirrored in the dome move it by that much.
const lineU = 0.02

// headLook finds the edge spread of the photo's heads: the one with the least
// misfit over four of them.
func headLook(g raster.Gray, heads []geom.Circle, radius float64) subpixel.HeadLook {
	const first, ratio, picked = 0.45, 1.2, 4
	look := subpixel.HeadLook{Width: lineShare * radius}
	var misfits []float64
	least := 0
	for blur := first; blur < 2*maxHeadBlur*radius && len(misfits) < least+4; blur *= ratio {
		look.Blur = blur
		var found [picked]float64
		var ok [picked]bool
		subpixel.InHalves(picked, func(_, k int) {
			c := heads[(2*k+1)*len(heads)/(2*picked)]
			c.R = radius
			found[k], ok[k] = subpixel.HeadMisfit(g, c, look)
		})
		sum, n := 0.0, 0.0
		for k, m := range found {
			if ok[k] {
				sum += m
				n++
			}
		}
		misfits = append(misfits, math.Inf(1))
		if n > 0 {
			misfits[len(misfits)-1] = sum / n
		}
		if misfits[len(misfits)-1] < misfits[least] {
			least = len(misfits) - 1
		}
	}
	// The vertex of the parabola through the least and its neighbours.
	at := float64(least)
	if least > 0 && least+1 < len(misfits) {
		a, b, c := misfits[least-1], misfits[least], misfits[least+1]
		if bend := a - 2*b + c; bend > 0 && !math.IsInf(bend, 0) {
			at += 0.5 * (a - c) / bend
		}
	}
	look.Blur = first * math.Pow(ratio, at)
	return look
}

// fitAll fits every place, those that were seen first.
func (r *headRow) fitAll() {
	var radii, steps []float64
	subpixel.InHalves(len(r.places), func(_, i int) {
		if p := &r.places[i]; !p.filled {
			p.fit, p.ok = subpixel.FitHead(r.g, p.circle, r.look)
		}
	})
	for i := range r.places {
		if p := &r.places[i]; !p.filled && p.ok {
			radii = append(radii, p.fit.Circle.R)
			steps = append(steps, p.fit.Step)
		}
	}
	if len(radii) == 0 {
		return
	}
	r.radius, r.step = middle(radii), middle(steps)
	for i := range r.places {
		p := &r.places[i]
		if p.ok && r.alike(p.fit) {
			continue
		}
		p.ok, p.filled = false, true
		at, known := r.predict(i)
		if !known {
			continue
		}
		p.circle = geom.Circle{Center: at, R: r.radius}
		p.fit, p.ok = r.lookAt(p.circle)
	}
	r.settle()
	holes := 0
	var inside []float64
	for _, p := range r.places {
		if p.ok {
			inside = append(inside, p.fit.Inside/p.fit.Plate)
			if hole(p.fit) {
				holes++
			}
		}
	}
	r.kind = geom.PinHead
	if 2*holes > len(inside) {
		r.kind = geom.BushEnd
	}
	usual := middle(inside)
	r.unclear = usual > darkEnough && usual < lightEnough
}

// settle looks again, with the radius of the others, at heads whose own radius
// is off: part of their rim was taken where it is not.
func (r *headRow) settle() {
	var off []float64
	for _, p := range r.places {
		if p.ok {
			off = append(off, math.Abs(p.fit.Circle.R-r.radius))
		}
	}
	usual := max(4*1.48*middle(off), 0.1)
	for i := range r.places {
		p := &r.places[i]
		if !p.ok || math.Abs(p.fit.Circle.R-r.radius) < usual {
			continue
		}
		again, ok := subpixel.FitHeadOfSize(r.g, geom.Circle{Center: p.fit.Circle.Center, R: r.radius}, r.look)
		if ok && again.Step > p.fit.Step && again.Arc >= minHeadArc {
			p.fit = again
		}
	}
}

// alike says whether a fit can be a head of this row.
func (r *headRow) alike(f subpixel.HeadFit) bool {
	return math.Abs(f.Circle.R-r.radius) < maxHeadSpread*r.radius && f.Arc >= minHeadArc && f.Step > 0.25*r.step
}

func hole(f subpixel.HeadFit) bool { return f.Inside < holeLight*f.Plate }

// lookAt fits a head where none was seen, from a few starts about the place.
func (r *headRow) lookAt(c geom.Circle) (subpixel.HeadFit, bool) {
	off := max(3, 0.1*r.radius)
	for _, d := range []r2.Vec{{}, {X: off}, {X: -off}, {Y: off}, {Y: -off}} {
		start := c
		start.Center = r2.Add(start.Center, d)
		f, ok := subpixel.FitHead(r.g, start, r.look)
		near := r2.Norm(r2.Sub(f.Circle.Center, c.Center)) < 0.3*r.radius
		if ok && near && r.alike(f) {
			return f, true
		}
	}
	return subpixel.HeadFit{}, false
}

// predict returns where head i must be, by its neighbours.
func (r *headRow) predict(i int) (r2.Vec, bool) {
	before, after := -1, -1
	for k := i - 1; k >= 0 && before < 0; k-- {
		if r.places[k].ok {
			before = k
		}
	}
	for k := i + 1; k < len(r.places) && after < 0; k++ {
		if r.places[k].ok {
			after = k
		}
	}
	if before < 0 || after < 0 {
		return r2.Vec{}, false
	}
	a, b := r.places[before].fit.Circle.Center, r.places[after].fit.Circle.Center
	t := float64(i-before) / float64(after-before)
	return r2.Add(a, r2.Scale(t, r2.Sub(b, a))), true
}

// extend looks for heads a pitch beyond the ends of the row.
func (r *headRow) extend() {
	grow := func(a, b headPlace) (headPlace, bool) {
		if !a.ok || !b.ok {
			return headPlace{}, false
		}
		from, to := a.fit.Circle.Center, b.fit.Circle.Center
		c := geom.Circle{Center: r2.Add(to, r2.Sub(to, from)), R: r.radius}
		margin := c.R + r.look.Width + 4*r.look.Blur + 2
		if !r.g.Inside(c.Center.X-margin, c.Center.Y-margin) || !r.g.Inside(c.Center.X+margin, c.Center.Y+margin) {
			return headPlace{}, false
		}
		f, ok := r.lookAt(c)
		p := headPlace{circle: c, fit: f, ok: ok, filled: true}
		p.other = ok && r.differs(p)
		return p, ok && f.Step > 0.5*r.step && f.Arc > 240
	}
	for len(r.places) > 1 && len(r.places) <= mostPitches {
		n := len(r.places)
		p, ok := grow(r.places[n-2], r.places[n-1])
		if !ok || p.other {
			r.leftOff[1] = r.leftOff[1] || ok
			break
		}
		r.places = append(r.places, p)
	}
	for len(r.places) > 1 && len(r.places) <= mostPitches {
		p, ok := grow(r.places[1], r.places[0])
		if !ok || p.other {
			r.leftOff[0] = r.leftOff[0] || ok
			break
		}
		r.places = append([]headPlace{p}, r.places...)
	}
}

// trim takes from the ends what is not a head of the row's kind, and marks what
// is not within the row.
func (r *headRow) trim() {
	for i := range r.places {
		p := &r.places[i]
		p.other = p.ok && r.differs(*p)
		p.ok = p.ok && !p.other
	}
	for len(r.places) > 0 && !r.places[0].ok {
		r.leftOff[0] = r.leftOff[0] || r.places[0].other
		r.places = r.places[1:]
	}
	for n := len(r.places); n > 0 && !r.places[n-1].ok; n-- {
		r.leftOff[1] = r.leftOff[1] || r.places[n-1].other
		r.places = r.places[:n-1]
	}
}

// differs says that a fitted place is clearly not of the row's kind.
func (r *headRow) differs(p headPlace) bool {
	if r.kind == geom.BushEnd {
		return p.fit.Inside > lightEnough*p.fit.Plate
	}
	return p.fit.Inside < darkEnough*p.fit.Plate
}

func (r *headRow) mixed() int {
	n := 0
	for _, p := range r.places {
		if p.other {
			n++
		}
	}
	return n
}

// order puts the row from left to right, or downwards.
func (r *headRow) order() {
	if n := len(r.places); n > 1 {
		d := r2.Sub(r.places[n-1].circle.Center, r.places[0].circle.Center)
		if d.X < -math.Abs(d.Y) || d.Y < 0 && math.Abs(d.X) <= math.Abs(d.Y) {
			reverse(r.places)
		}
	}
}

func reverse(p []headPlace) {
	for i, k := 0, len(p)-1; i < k; i, k = i+1, k-1 {
		p[i], p[k] = p[k], p[i]
	}
}

func (r *headRow) missing() int {
	n := 0
	for _, p := range r.places {
		if !p.ok {
			n++
		}
	}
	return n
}

// whole returns how many heads show a clear rim all round.
func (r *headRow) whole(curve raster.Curve) int {
	n := 0
	for _, p := range r.places {
		if p.ok && p.fit.Arc >= wholeArc && rimLevels(p.fit, curve) >= minHeadStep {
			n++
		}
	}
	return n
}

func (r *headRow) firstMissing() int {
	for i, p := range r.places {
		if !p.ok {
			return i
		}
	}
	return -1
}

// rimLevels is the rise of light from the line around a head to the plate in
// levels of 255.
func rimLevels(f subpixel.HeadFit, curve raster.Curve) float64 {
	return 255 * (curve.Encode(f.Plate) - curve.Encode(max(f.Plate-f.Step, 0)))
}

// limits holds the fitted row against its limits.
func (r *headRow) limits(curve raster.Curve) []limit {
	arc, u, step, uneven := 360.0, 0.0, math.Inf(1), 0.0
	var pitches []float64
	for i, p := range r.places {
		f := p.fit
		arc = min(arc, f.Arc)
		u = max(u, math.Sqrt(max(f.Circle.Cov[0][0], f.Circle.Cov[1][1])))
		step = min(step, rimLevels(f, curve))
		if i > 0 {
			pitches = append(pitches, r2.Norm(r2.Sub(f.Circle.Center, r.places[i-1].fit.Circle.Center)))
		}
	}
	mid := middle(pitches)
	for _, p := range pitches {
		uneven = max(uneven, math.Abs(p/mid-1))
	}
	var out []limit
	add := func(c check.Check, code check.Code, format string, a ...any) {
		out = append(out, limit{c, code, fmt.Sprintf(format, a...)})
	}
	add(check.AtLeast("contrast", round(step, 1), minHeadStep), check.TooFewEdges,
		"the weakest rim stands out by %.1f of 255 levels, at least %.0f are needed", step, minHeadStep)
	add(check.AtLeast("rim arc", round(arc, 0), minHeadArc), check.TooFewEdges,
		"%.0f degrees of a head's rim could be used, at least %.0f are needed", arc, minHeadArc)
	most := max(maxHeadU, round(headUShare*r.radius, 2))
	if arc < wholeArc {
		most *= partHeadShare
	}
	add(check.AtMost("head centre", round(u, 3), most), check.TooFewEdges,
		"a head's centre is known to %.2f px only, %.2f px is needed", u, most)
	add(check.AtMost("evenness", round(uneven, 4), maxUneven), check.NotFound,
		"a pitch is %.0f %% off the others, at most %.0f %% can be a chain", 100*uneven, 100*maxUneven)
	return out
}

// heads gives the row in the words of package geom.
func (r *headRow) heads() geom.Heads {
	h := geom.Heads{Kind: r.kind, Unclear: r.unclear, Blur: r.look.Blur}
	for _, end := range r.leftOff {
		if end {
			h.LeftOff++
		}
	}
	floor := math.Pow(lineU*r.look.Width, 2)
	for _, p := range r.places {
		c := p.fit.Circle
		h.Heads = append(h.Heads, geom.Head{
			Center: c.Center, R: c.R, RMS: c.RMS, Arc: p.fit.Arc, Filled: p.filled,
			Cov: [2][2]float64{{c.Cov[0][0] + floor, c.Cov[0][1]}, {c.Cov[1][0], c.Cov[1][1] + floor}},
		})
	}
	return h
}
