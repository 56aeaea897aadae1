package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// Options says what is known of a joint besides the photo. The zero value is
// the documented default.
type Options struct {
	// WorkingDistanceMM is the distance from the lens to the joint. Zero
	// stands for 100 mm, usual for a microscope on a stand.
	WorkingDistanceMM float64
}

// What is assumed of a joint that the photo does not tell (judgement).
const (
	usualDistanceMM = 100.0
	// levelWithinMM is the standard uncertainty of the pin end's height over
	// the bush: a pin higher than about twice this shades the bush beside it
	// enough to be seen.
	levelWithinMM = 0.02
	// A pin that shades the bush may stand proud by up to proudPerReach times
	// the reach of its shadow, and is taken to by at least proudLeastMM; the
	// light of a ring falls at some 45 degrees and its half shadow reaches half
	// the height (tried on rendered pins). So may one that lies deep, in the shade
	// of the bore.
	proudPerReach = 4.0
	proudLeastMM  = 0.2
	proudMostMM   = 0.5
	// edgeFloor and edgeBlur make the standard uncertainty of where a rim
	// lies for the light it sends, pixels: cameras add some contrast and
	// sharpening of their own, which with compression and grain leaves about
	// 0.01 px and 4 % of the edge spread (rendered photos of mild tone curves and
	// sharpening).
	edgeFloor = 0.01
	edgeBlur  = 0.04
	// sharpest is the least edge spread that a lens and the pixels of a colour
	// camera leave, pixels (rendered photos with nothing done to them: 0.65 and
	// more). What is sharper was made so, by contrast, sharpening or shrinking,
	// which move an edge by up to as much as they narrow it.
	sharpest  = 0.62
	narrowedU = 0.7
	// Of an edge spread above focused, pixels, hiddenEdge is the standard
	// uncertainty of a rim's place: a broken edge or a chamfer does not show in
	// it, nor does the camera's tone curve.
	focused, hiddenEdge = 1.3, 0.25
	// sharpenU is the share of the correction for the camera's sharpening
	// that is taken as its standard uncertainty.
	sharpenU = 0.35
	// movedU is the standard uncertainty of a rim, over the way the camera moved:
	// the smear of a moving camera is a box or crooked, not Gaussian (tried on
	// rendered photos moved by 3 to 5 px).
	movedU = 0.03
	// lopsidedSeen is from which on both rims are taken to be lopsided.
	lopsidedSeen = 0.15
	// chamferedWithinMM is the same for a pin that still has its chamfer.
	chamferedWithinMM = 0.1
	// shadowSeen is the share of light lost beside the pin from which on it is
	// taken to stand proud, when it also exceeds three standard uncertainties; and
	// to lie deep, of that lost on its end.
	shadowSeen = 0.10
	// litSeen is the share by which the pin's end is brighter beside its rim where it
	// lies against the bush, when it also exceeds two standard uncertainties, from which
	// on it is taken to be chamfered: 77 of 81 such rendered photos were not of careful
	// users, and 28 of chamfers; one in five had a figure off by 1.3 intervals.
	litSeen = 0.06
	// shadowHides is how much more of it, if it is not clearly there, says nothing
	// of whether the pin is level.
	shadowHides = 0.2
	// bandSeen is the width of a dimmer band beside a rim, pixels, from which
	// on the rim is taken to be chamfered.
	bandSeen = 0.6
	// Of an edge spread above sharpBlur, pixels, lostInBlur is the standard
	// uncertainty of a flank in contact: no gap is left between the rims that
	// would show where one ends (tried on rendered photos out of focus).
	sharpBlur, lostInBlur = 2.0, 0.5
	// smoothedAway is the standard uncertainty of a flank in contact over that of
	// the rims for the camera's smoothing, which takes the dark line between
	// them for grain (tried on generated photos).
	smoothedAway = 4.0
	// lopsidedAway is the same for lopsided rims, for where they touch a bright
	// chamfer in the shade is as lopsided as a tone curve.
	lopsidedAway = 2.0
	// smoothedSeen is from which on that of the rims, pixels, is worth a word.
	smoothedSeen = 0.03
	// A strip beside a rim, lit otherwise than the face, can draw it: stripU is the
	// standard uncertainty of the circle's radius and centre for that, over the
	// strip's width. A circle on which fewer than mostAgree of all directions lie may in
	// part be laid through the strip's end, which adds endU of the width over the
	// share that is missing (tried on ray-traced chamfers).
	stripU    = 0.03
	chamferU  = 0.09 // the same of a pin's, which may be darkest at the rim
	mostAgree = 0.6
	endU      = 1.0
	// crushedU is that over the width of a band where the photo's tone curve is bent:
	// it may go on in the black by as much again, rectangular.
	crushedU = 0.58
	// pulledShare is the offset, as a share of what the clearance allows, from
	// which on the pin is taken to be pulled to that side; below, it stands in
	// the middle of its bore and the direction of its offset says nothing.
	pulledShare = 0.2
	// gapLeftU is the standard uncertainty of a worn flank for the gap that is left
	// there, over its width: rectangular, all of it may be shade.
	gapLeftU = 0.58
	// allOfIt is that of a flank that may be none, over its depth: two of it reach down
	// to none.
	allOfIt = 0.52
	// unseenWear is the standard deviation of a wear depth anywhere between
	// none and twice the uncertainty with which it is read, over that.
	unseenWear = 0.58
)

// Joint turns the rims of a joint into millimetres.
//
// Pin and bore diameter are those of the unworn circles; clearance is their
// difference, offset the distance of their centres, play the clearance plus
// the wear depth of both on the line of pull. Lengths are taken in pixels
// first, so that what pin and bore have in common is counted once, and turned
// into millimetres by the scale at the joint.
//
// When both rims are flattened alike the camera looks at a slant, or the picture
// moved while its rows were read; the rims are made round again, and lengths
// are those in the direction of the scale, in which they are stretched as the
// scale itself is. Flattened too much, the joint is refused (scale_unclear), and so
// is one of which both rims wave (blurred).
func Joint(e geom.JointEdges, s calib.Scale, o Options) (JointResult, error) {
	if e.BoreFit.R <= 0 || e.PinFit.R <= 0 {
		return JointResult{}, fmt.Errorf("measure: joint without circles")
	}
	e, s = flatJoint(e, s)
	e, tilt, err := roundJoint(e)
	if err != nil {
		return JointResult{}, err
	}
	bore, pin := newRim(e.BoreProfile, e.BoreFit, e.Bore, +1), newRim(e.PinProfile, e.PinFit, e.Pin, -1)
	if e.BoreBand > 0 {
		bore.hidden = narrowestFoot(e)
	}
	if e.PinBand > 0 {
		pin.hidden = narrowestFoot(e)
	}
	pin.lit = e.PinShade < -max(litSeen, 2*e.PinShadeU)
	bore, pin = unspoiled(bore, pin)
	at := e.BoreFit.Center
	j := joint{e: e, bore: bore, pin: pin, distance: o.WorkingDistanceMM, mmPerPx: s.Along(at, s.AngleRad).Value}
	if j.distance == 0 {
		j.distance = usualDistanceMM
	}
	j.proud = e.Shadow > max(shadowSeen, 3*e.ShadowU)
	j.sunk = e.PinShade > max(shadowSeen, 3*e.PinShadeU)
	j.tilt = tilt

	var r JointResult
	perPx := uncert.Product(s.Along(at, s.AngleRad), tilt.scale(s, at, j.distance), "mm/px")
	mm := func(q uncert.Quantity) uncert.Quantity { return uncert.Product(perPx, j.widened(q), "mm") }
	r.BoreDiameter = mm(j.diameter(bore, 0))
	r.PinDiameter = mm(j.diameter(pin, 3))
	clearance := j.clearance()
	r.Clearance = mm(clearance)

	offset, direction := j.offset()
	r.Offset, r.OffsetDirection = mm(offset), direction

	load := math.NaN()
	if offset.Value > max(3*offset.U, pulledShare*clearance.Value/2) {
		load = direction.Value * math.Pi / 180
	}
	w := j.worn(offset, clearance, load)
	r.WearDepthBore, r.WearDepthPin, r.Play = mm(w.bore.depth), mm(w.pin.depth), mm(w.play)
	roundBore, roundPin := j.roundness(w.bore, w.pin)
	r.RoundnessBore, r.RoundnessPin = mm(roundBore), mm(roundPin)
	r.Profile = profile(bore, pin, perPx.Value)
	r.Checks, r.Notes = append(j.checks(), w.within), j.notes(w)
	return r, nil
}

// narrowestFoot is the narrowest gap, pixels, in which the foot of a band is
// told from the rim across.
func narrowestFoot(e geom.JointEdges) float64 { return 3*(e.BlurBore+e.BlurPin) + 2 }

// joint is a joint on its way from pixels to figures.
type joint struct {
	e         geom.JointEdges
	bore, pin rim
	distance  float64 // mm
	mmPerPx   float64
	proud     bool
	sunk      bool
	tilt      flattening
}

// edgeU is the standard uncertainty of a rim's place for the light it sends.
func (j joint) edgeU() float64 {
	narrowed := max(0, sharpest-min(j.e.BlurBore, j.e.BlurPin))
	return edgeFloor + edgeBlur*j.e.Blur + narrowedU*narrowed + hiddenEdge*max(0, j.e.Blur-focused)
}

// heightU returns the relative standard uncertainty of a length on the pin's
// end for its height over the bush.
func (j joint) heightU() (string, float64) {
	if j.proud {
		return "pin end proud of the bush", j.offLevelMM(j.e.ShadowReach) / math.Sqrt(3) / j.distance
	}
	if j.sunk {
		return "pin end deep in the bush", j.offLevelMM(j.e.PinShadeReach) / math.Sqrt(3) / j.distance
	}
	if j.e.PinBand > 0 || j.e.PinBevel > 0 {
		// A pin ground level with the bush has no chamfer left.
		return "pin end chamfered, not ground level", chamferedWithinMM / j.distance
	}
	doubt := proudLeastMM * j.shadeDoubt()
	if j.e.BoreBevel > 0 {
		// A pin that stands proud in the middle of its bore shades the bush all
		// round, as a broken edge of the bore does.
		doubt = j.offLevelMM(j.e.BoreBevel)
	}
	return "pin end level with the bush", math.Hypot(levelWithinMM, doubt/math.Sqrt(3)) / j.distance
}

// shadeDoubt is how little the shade beside the rims says of whether the pin is
// level, 0 to 1.
func (j joint) shadeDoubt() float64 {
	if max(j.e.Shadow, j.e.PinShade) > shadowSeen {
		return 1
	}
	// A shade that is not beyond doubt may be hidden in oil; where the bush is
	// darker on the far side the light is not all round, and the shade lies elsewhere.
	doubt := j.e.Shadow + j.e.ShadowU - 1.5*shadowSeen
	if j.e.Shadow < 0 {
		doubt = j.e.ShadowU - j.e.Shadow - shadowSeen
	}
	return max(0, min(doubt/shadowHides, 1))
}

// cameraU returns what the camera does to both rims alike, towards the gap or
// away from it, that many times, pixels.
func (j joint) cameraU(times float64) uncert.Budget {
	b := uncert.Budget{{Name: "tone curve and focus", U: times * j.edgeU()}}
	for _, t := range []uncert.Term{
		{Name: "camera's sharpening", U: times * sharpenU * j.e.SharpenShift},
		{Name: "camera's own tone curve", U: times * j.toneU()},
		{Name: "camera's smoothing", U: times * j.e.SmoothedU},
	} {
		if t.U > 0 {
			b = append(b, t)
		}
	}
	return b
}

// contactU is the standard uncertainty of bore's and pin's place where they are
// read through a gap narrower than the blur, as flanks in contact are. A pin end
// that stands proud leans over the bore's rim there, and a broken edge lies in
// the shade there, so that it looks like a gap, of which the shade takes part.
func (j joint) contactU() (rims [2]float64) {
	u := 0.2 + 0.2*j.e.Blur + lostInBlur*max(0, j.e.Blur-sharpBlur)
	if j.proud || j.e.BoreBevel > 0 {
		_, h := j.heightU()
		u += h * j.e.PinFit.R
	}
	u += smoothedAway*j.e.SmoothedU + lopsidedAway*j.toneU() + j.tilt.waves
	bore, pin := j.bevels()
	for i, bevel := range []float64{bore, pin} {
		rims[i] = u + 0.4*min(bevel, 8)
	}
	return rims
}

// bevels returns the widths of broken edges, pixels: those told from the rim
// and those that pass for the face, which the shade of a proud pin is not; a
// pin with a broken edge of its own need not be proud.
func (j joint) bevels() (bore, pin float64) {
	bore, pin = j.e.BoreBand, max(j.e.PinBand, j.e.PinBevel)
	if !j.proud || j.e.PinBevel > 0 {
		bore = max(bore, j.e.BoreBevel)
	}
	return bore, pin
}

// offLevelMM is how far a pin's end may stand above the bush, or lie below it,
// whose shade reaches so far, pixels.
func (j joint) offLevelMM(reach float64) float64 {
	return min(max(proudPerReach*reach*j.mmPerPx, proudLeastMM), proudMostMM)
}

// shadeReach is how far the shade of a pin that is probably not level reaches,
// pixels.
func (j joint) shadeReach() (reach float64) {
	if j.e.Shadow > max(shadowSeen, 2*j.e.ShadowU) {
		reach = j.e.ShadowReach
	}
	if j.e.PinShade > max(shadowSeen, 2*j.e.PinShadeU) {
		reach = max(reach, j.e.PinShadeReach)
	}
	return reach
}

// rimsLight names what the covariance of both rims makes of a figure.
const rimsLight = "light and texture along the rims"

// df returns the degrees of freedom of a circle's fit.
func df(c geom.Circle) float64 { return float64(max(c.Inliers-3, 1)) }

// diameter returns a circle's diameter in pixels. at is the place of its block
// in the covariance.
func (j joint) diameter(r rim, at int) uncert.Quantity {
	b := uncert.Budget{
		{Name: "light and texture along the rim", U: 2 * math.Sqrt(j.e.Cov[at+2][at+2]), DF: df(r.circle)},
	}
	b = append(b, j.cameraU(2)...)
	if j.e.Moved > 0 {
		b = append(b, uncert.Term{Name: "camera moved", U: 2 * movedU * j.e.Moved})
	}
	if at == 3 {
		name, u := j.heightU()
		b = append(b, uncert.Term{Name: name, U: 2 * r.circle.R * u})
	}
	if u := j.bandU(at); u > 0 {
		b = append(b, uncert.Term{Name: "rim below its chamfer", U: 2 * u})
	}
	if u := j.tilt.waves; u > 0 {
		b = append(b, uncert.Term{Name: "both rims wave alike", U: 2 * u})
	}
	if u := j.crushed()[at/3]; u > 0 {
		b = append(b, uncert.Term{Name: "end of a band in the black", U: 2 * u})
	}
	if u := j.stripsU()[at/3]; u > 0 {
		b = append(b, uncert.Term{Name: "rim or end of the strip beside it", U: 2 * u})
	}
	return uncert.Combine(2*r.circle.R, "px", b)
}

// bandU is what a rim that lies below the face beside it, by the depth of its
// chamfer or rounding, does to its radius, pixels: as deep as the band is wide
// at 45 degrees, and seen from the lens's distance. at is the rim's place in
// the covariance.
func (j joint) bandU(at int) float64 {
	band, r := j.e.BoreBand, j.e.BoreFit.R
	if at == 3 {
		band, r = j.e.PinBand, j.e.PinFit.R
	}
	return r * band * j.mmPerPx / j.distance
}

// clearance returns bore minus pin diameter in pixels. What both rims share,
// such as a slant, cancels; a rim that seems shifted towards the dark makes
// the gap narrower on both sides.
func (j joint) clearance() uncert.Quantity {
	c := j.e.Cov
	v := 4 * (c[2][2] + c[5][5] - 2*c[2][5])
	name, h := j.heightU()
	b := uncert.Budget{
		{Name: rimsLight, U: math.Sqrt(max(v, 0)), DF: df(j.e.BoreFit) + df(j.e.PinFit)},
		{Name: name, U: 2 * j.e.PinFit.R * h},
		{Name: "light in the gap", U: j.darkU()},
	}
	b = append(b, j.cameraU(4)...)
	if j.e.Moved > 0 {
		b = append(b, uncert.Term{Name: "camera moved", U: 2 * math.Sqrt2 * movedU * j.e.Moved})
	}
	if u := math.Hypot(j.bandU(0), j.bandU(3)); u > 0 {
		b = append(b, uncert.Term{Name: "rim below its chamfer", U: 2 * u})
	}
	if u := j.crushed(); u[0]+u[1] > 0 {
		b = append(b, uncert.Term{Name: "ends of bands in the black", U: 2 * math.Hypot(u[0], u[1])})
	}
	if u := j.stripsU(); u[0]+u[1] > 0 {
		b = append(b, uncert.Term{Name: "rims or ends of the strips beside them", U: 2 * math.Hypot(u[0], u[1])})
	}
	return uncert.Combine(2*(j.e.BoreFit.R-j.e.PinFit.R), "px", b)
}

// stripsU is the standard uncertainty of bore's and pin's circle for the strips of
// broken edges, pixels.
func (j joint) stripsU() (rims [2]float64) {
	bore, pin := j.bevels()
	share := [2]float64{stripU, chamferU}
	if j.e.PinBand > 0 {
		share[1] = stripU // the chamfer's end was found
	}
	for i, r := range []rim{j.bore, j.pin} {
		on := 0
		for _, used := range r.used {
			if used {
				on++
			}
		}
		missing := max(0, mostAgree-float64(on)/float64(max(len(r.used), 1)))
		rims[i] = []float64{bore, pin}[i] * math.Hypot(share[i], endU*missing)
	}
	return rims
}

// crushed is the standard uncertainty of bore's and pin's radius for bands whose end
// the photo's tone curve may have made black, pixels: all round, so that the centres
// stay where they are.
func (j joint) crushed() (rims [2]float64) {
	if j.bent() {
		rims = [2]float64{crushedU * j.e.BoreBand, crushedU * j.e.PinBand}
	}
	return rims
}

// darkU is what not knowing the light in the gap does to its width: a gap
// wide against the blur shows its own dark level, a narrow one looks wider or
// narrower by width times the error of the level over the contrast.
func (j joint) darkU() float64 {
	spreads := j.e.Gap / max(j.e.Blur, 0.1)
	if spreads > 5 {
		return 0.5 * j.e.Blur * j.e.DarkU / j.e.Contrast
	}
	return j.e.Gap * j.e.DarkU / j.e.Contrast
}

// offset returns the distance of the pin's centre from the bore's, pixels,
// and its direction, degrees.
func (j joint) offset() (length, direction uncert.Quantity) {
	d := r2.Sub(j.e.PinFit.Center, j.e.BoreFit.Center)
	c := j.e.Cov
	var v [2][2]float64 // covariance of d
	for i := range v {
		for k := range v {
			v[i][k] = c[i][k] + c[i+3][k+3] - c[i][k+3] - c[i+3][k]
		}
	}
	n := r2.Norm(d)
	u := r2.Vec{X: 1}
	if n > 0 {
		u = r2.Unit(d)
	}
	along := u.X*u.X*v[0][0] + 2*u.X*u.Y*v[0][1] + u.Y*u.Y*v[1][1]
	across := u.Y*u.Y*v[0][0] - 2*u.X*u.Y*v[0][1] + u.X*u.X*v[1][1]
	dof := df(j.e.BoreFit) + df(j.e.PinFit)
	// A pin higher than the bush is seen shifted away from the point under
	// the lens, by its distance from there times height over distance; the
	// photo's middle is not known here, a bore's radius off is taken. A camera at
	// a slant shifts it by the height times the slant.
	name, h := j.heightU()
	shift := h * math.Hypot(j.e.BoreFit.R, j.distance/j.mmPerPx*j.tilt.slantU())
	// Where the gap is narrow the camera moves the rims otherwise than on the far
	// side.
	times := 1.0
	if j.e.BoreFit.R-j.e.PinFit.R-n < narrowestFoot(j.e) {
		times = 2
	}
	common := append(j.cameraU(times), uncert.Term{Name: name, U: shift})
	if u := math.Hypot(j.bandU(0), j.bandU(3)); u > 0 {
		if j.proud {
			u += max(j.e.BoreBand, j.e.PinBand) / 4 // its shadow, on one side, may be taken for the band
		}
		common = append(common, uncert.Term{Name: "rim below its chamfer", U: u})
	}
	if j.e.Moved > 0 {
		common = append(common, uncert.Term{Name: "camera moved", U: movedU * j.e.Moved})
	}
	if u := j.stripsU(); u[0]+u[1] > 0 {
		common = append(common, uncert.Term{Name: "rims or ends of the strips beside them", U: math.Hypot(u[0], u[1])})
	}
	length = uncert.Combine(n, "px", append(uncert.Budget{{Name: rimsLight, U: math.Sqrt(max(along, 0)), DF: dof}}, common...))
	angle := math.Atan2(d.Y, d.X) * 180 / math.Pi
	// Sideways errors turn the direction; without a clear offset it may be
	// any: a rectangular distribution over the whole turn.
	toDeg := 180 / math.Pi / max(n, 1e-6)
	b := uncert.Budget{{Name: rimsLight, U: math.Sqrt(max(across, 0)) * toDeg, DF: dof}}
	for _, t := range common {
		b = append(b, uncert.Term{Name: t.Name, U: t.U * toDeg})
	}
	direction = uncert.Combine(angle, "deg", b)
	if limit := 360 / math.Sqrt(12); direction.U > limit {
		direction = uncert.Combine(angle, "deg", uncert.Budget{{Name: "offset too small to have a direction", U: limit}})
	}
	return length, direction
}

// worn is what is worn of a joint, in pixels.
type worn struct {
	bore, pin wornFlank
	play      uncert.Quantity
	hidden    float64 // that must be there, on a flank that was not seen
	within    check.Check
}

// worn reads the wear of both rims and the play that comes of it.
func (j joint) worn(offset, clearance uncert.Quantity, load float64) (w worn) {
	u := j.contactU()
	c, touching := j.contact(offset, clearance, load)
	if !touching {
		w.bore, w.pin = j.bore.orFar(j.bore.wear(load, u[0]), load), j.pin.orFar(j.pin.wear(load, u[1]), load)
		w.hidden, w.within = j.beyond(c.cross, load, w.bore, w.pin)
		w.bore, w.pin = j.ajar(w.bore, w.within, c.cross.Value, load), j.ajar(w.pin, w.within, c.cross.Value, load)
		w.play = play(clearance, load, w.bore, w.pin)
		if w.hidden == 0 {
			return w
		}
	}
	flanks := j.inContact(c, load)
	w.bore, w.pin = flanks[0], flanks[1]
	w.hidden, w.within = j.beyond(c.cross, load, w.bore, w.pin)
	// The pin may have been pulled the other way for the photo.
	var others []wornFlank
	away := load + math.Pi
	if other := j.bore.side(away).wear(math.NaN(), u[0]); other.seen && !w.bore.seen {
		w.bore, others = other, append(others, other)
	}
	if other := j.pin.side(away).wear(math.NaN(), u[1]); other.seen && !w.pin.seen {
		w.pin, others = other, append(others, other)
	}
	w.play = play(j.farthest(c, offset, clearance), load, others...)
	return w
}

// beyond holds the pin's place against what two solid parts can do: the pin lies
// no farther out than half the clearance and what the flanks on that line are
// seen to be worn. cross is by how much it lies beyond half the clearance; the
// check has what is left of that, and so has hidden when it must be wear, on pin
// or bore.
func (j joint) beyond(cross uncert.Quantity, load float64, flanks ...wornFlank) (hidden float64, within check.Check) {
	// The rims touch within a blur: what is left between them is not known.
	depth, v := cross.Value, cross.U*cross.U+j.e.Blur*j.e.Blur/4
	for _, w := range flanks {
		if w.seen && math.Abs(angleBetween(w.direction, load)) < math.Pi/2 {
			share := w.onLine(load)
			depth -= share * w.depth.Value
			v += share * share * w.depth.U * w.depth.U
		}
	}
	within = check.AtMost("pin_beyond_flanks_px", depth, wearSigmas*math.Sqrt(v))
	if within.OK || j.proud || j.sunk {
		within.OK = true // a pin that is not level is seen where it is not
		return 0, within
	}
	return depth, within
}

// ajar allows for a flank that seems worn while a narrow gap is left to what it lies
// against: parts that were pulled together touch, and what looks like the gap may be
// a chamfer in the shade, read as wear. Where the gap is wide and the circles just
// touch, cross being by how much they cross, the pin lies against the unworn circle,
// and all of the wear may be shade.
func (j joint) ajar(w wornFlank, within check.Check, cross, load float64) wornFlank {
	gap, narrow := -within.Value, narrowestFoot(j.e)
	switch {
	case !w.seen || gap <= 0 || math.Abs(angleBetween(w.direction, load)) > math.Pi/2:
		return w
	case gap <= narrow:
		return w.doubted("gap left where the parts touch", gapLeftU*gap)
	case math.Abs(cross) < j.e.Blur:
		return w.doubted("worn flank or shade", allOfIt*w.depth.Value)
	}
	return w
}

// play returns the clearance, or the play of a pin in contact, plus the wear
// depths that were read on the line of pull, whose direction is load (rad). A
// depth that was read where the rim strays the most, or that was not seen, is no
// more than a bound.
func play(clearance uncert.Quantity, load float64, flanks ...wornFlank) uncert.Quantity {
	b := append(uncert.Budget{}, clearance.Budget...)
	value := clearance.Value
	for _, w := range flanks {
		share := w.onLine(load)
		off := uncert.Term{Name: "wear off the line of pull", U: (1 - share) * w.depth.Value / 2}
		small := uncert.Term{Name: "wear too small to be seen", U: max(unseenWear*w.depth.U, w.depth.Value/2)}
		switch {
		case w.seen:
			value += share * w.depth.Value
			b = append(b, uncert.Term{Name: "wear depth", U: w.depth.U, DF: w.depth.DF}, off)
		case w.read:
			value += share * w.depth.Value
			small.U = min(small.U, w.depth.U)
			b = append(b, small, off)
		default:
			b = append(b, small)
		}
	}
	return uncert.Combine(value, "px", b.Merge())
}
