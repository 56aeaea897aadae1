package measure

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// How an oval is told from a round rim (judgement, tried on generated joints).
const (
	ovalReach  = 3.5  // standard deviations within which a direction lies on it
	ovalAhead  = 2.0  // standard deviations to which it must be known there
	ovalFloor  = 0.03 // px, the least standard deviation believed
	ovalRounds = 30
	ovalStarts = 6
	ovalShare  = 0.6
	// ovalGrain times the scatter tells how well an oval is known: neighbouring
	// directions err together.
	ovalGrain = 2.0
	// ovalLeast is the least standard uncertainty of an oval, over the radius.
	ovalLeast = 5e-5
	// ownOval is the oval that a part may itself have, over its radius: 2 µm of
	// roundness on a bore of 3 mm.
	ownOval = 3e-4
	// clearlyOval is how many standard uncertainties leave no doubt, leastOval
	// the least that is worth taking off.
	clearlyOval = 3.0
	leastOval   = 2e-4
	// usualOval is the standard deviation of the flattening of a careful photo.
	usualOval = 1e-4
	// mostOval is the most that is measured, taken off or not: a slant of 5.4
	// degrees, or a picture that moves by a 230th of its height while its rows are
	// read. Above it, worn flanks of unworn rims were seen: of 40 rendered photos up
	// to 0.003, all but a few moved, two were wrong.
	mostOval = 0.0022
	// slantDoubt is the share of what the rule says of a slant across it that
	// stays as standard uncertainty where the rims are flattened: rows read while
	// the picture moved lean the rule's marks as a slant does.
	slantDoubt = 0.5
	// nearer is how much nearer than it is said to be the lens may be. swayShare is the
	// share of what the scale changes over the rule, for no slant that the rims know
	// of, that stays as standard uncertainty.
	nearer, swayShare = 0.5, 0.5
	// wavesSeen, wavesAlike and mostWaves bound what both rims stray alike: the
	// least that is not oil or dirt on both, pixels, the least correlation, and
	// the most that is measured through, pixels.
	wavesSeen  = 0.1
	wavesAlike = 0.7
	mostWaves  = 0.35
)

// oval is a rim's second harmonic as a share of its radius, a cos 2t + b sin 2t.
type oval struct {
	a, b float64
	u    float64   // standard uncertainty of either
	on   []bool    // the directions that lie on it
	left []float64 // how far each direction strays from it, pixels
}

// oval fits the rim's second harmonic. Of an oval the directions on the rim's
// circle are four short arcs, or less, or all of them where the circle was laid
// through a worn flank too. So the fit is begun without each of some arcs as wide
// as a flank, and that is taken from which ovalShare of all directions stray the
// least. ok is false where the directions do not tell.
func (r rim) oval() (best oval, ok bool) {
	least := math.Inf(1)
	for k := range ovalStarts + 1 {
		on := slices.Clone(r.used)
		middle := 2 * math.Pi * float64(k) / ovalStarts
		for i, t := range r.Angle {
			if k < ovalStarts && math.Abs(angleBetween(t, middle)) < wearSide {
				on[i] = false
			}
		}
		if o, stray, found := r.ovalFrom(on); found && stray < least {
			best, least, ok = o, stray, true
		}
	}
	return best, ok
}

// ovalFrom begins with the directions that on says and goes on along the oval as
// far as they tell where it runs; a worn flank leaves it. stray is the distance
// from it within which ovalShare of all directions lie, pixels.
func (r rim) ovalFrom(on []bool) (o oval, stray float64, ok bool) {
	const terms = 5
	for range ovalRounds {
		coef, cov, found := r.harmonics(2, func(i int) bool { return on[i] })
		if !found {
			return o, stray, ok
		}
		row, left := make([]float64, terms), make([]float64, len(on))
		var size, all []float64
		chi := 0.0
		for i, t := range r.Angle {
			basis(t, row)
			left[i] = r.Dev[i] - dot(coef, row)
			if r.U[i] > 0 {
				all = append(all, math.Abs(left[i]))
			}
			if on[i] {
				size = append(size, math.Abs(left[i]))
				chi += left[i] * left[i] / (r.U[i] * r.U[i])
			}
		}
		// The rim's own uncertainties were widened by what it strays from a
		// circle, as an oval does.
		excess := chi / float64(len(size)-terms)
		u := ovalGrain * math.Sqrt(excess*max(cov.At(3, 3), cov.At(4, 4))) / r.circle.R
		o, ok = oval{a: coef[3] / r.circle.R, b: coef[4] / r.circle.R, u: math.Hypot(u, ovalLeast), on: slices.Clone(on), left: left}, true
		slices.Sort(all)
		stray = all[int(ovalShare*float64(len(all)-1))]
		sd := max(1.48*median(size), ovalFloor)
		for i, t := range r.Angle {
			basis(t, row)
			ahead := math.Sqrt(max(excess*variance(cov, row), 0))
			on[i] = r.U[i] > 0 && ahead < ovalAhead*sd && math.Abs(left[i]) < ovalReach*math.Hypot(sd, ahead)
		}
		if slices.Equal(on, o.on) {
			break
		}
	}
	return o, stray, ok
}

// flattening is an oval that both rims show alike: a slant of the camera, or a
// picture that moved while its rows were read, which stretches it one way and
// shears it. The zero value says that none could be looked for.
type flattening struct {
	oval
	size   float64 // hypot(a, b)
	looked bool
	seen   bool // beyond doubt
	// waves is how far both rims stray alike from their ovals, root mean square
	// pixels: what is left of a picture whose rows were read while it swayed. 0
	// where it is no more than oil or dirt on both leaves.
	waves float64
}

// at returns by which share a length in direction t is longer than the mean of
// all directions.
func (f flattening) at(t float64) float64 {
	sin, cos := math.Sincos(2 * t)
	return f.a*cos + f.b*sin
}

// slantDeg returns the slant that flattens a circle so.
func (f flattening) slantDeg() float64 {
	return math.Acos((1-f.size)/(1+f.size)) * 180 / math.Pi
}

// slantU returns the standard uncertainty of the camera's slant, rad: the rims
// tell how large it is, but not to which side.
func (f flattening) slantU() float64 {
	size := usualOval
	if f.looked {
		size = math.Hypot(f.size, f.left())
	}
	return 2 * math.Sqrt(size)
}

// commonFlattening returns the mean of the rims' ovals. Where they differ by more
// than their uncertainties one of the parts is oval itself, or worn, and
// the mean is known the less; so it is where it rests on one rim, whose own it
// may be.
func commonFlattening(ovals ...oval) flattening {
	var f flattening
	var weight, most float64
	for _, o := range ovals {
		w := 1 / (o.u * o.u)
		f.a += w * o.a
		f.b += w * o.b
		weight += w
		most = max(most, w)
	}
	if weight == 0 {
		return f
	}
	f.a, f.b = f.a/weight, f.b/weight
	var chi float64
	for _, o := range ovals {
		chi += ((o.a-f.a)*(o.a-f.a) + (o.b-f.b)*(o.b-f.b)) / (o.u * o.u)
	}
	if dof := 2 * len(ovals); dof > 2 {
		chi /= float64(dof - 2)
	}
	f.size = math.Hypot(f.a, f.b)
	lone := 2*most/weight - 1
	f.u = math.Hypot(math.Sqrt(max(1, chi)/weight), lone*min(ownOval, f.size))
	f.looked = true
	f.seen = f.size > max(clearlyOval*f.u, leastOval)
	return f
}

// wavesOf returns how far both rims stray alike in the directions in which both
// lie on their ovals.
func wavesOf(bore, pin rim, ofBore, ofPin oval) float64 {
	var both, squareBore, squarePin, n float64
	for i, t := range bore.Angle {
		k := nearest(pin.Angle, t)
		if k < 0 || !ofBore.on[i] || !ofPin.on[k] {
			continue
		}
		both += ofBore.left[i] * ofPin.left[k]
		squareBore += ofBore.left[i] * ofBore.left[i]
		squarePin += ofPin.left[k] * ofPin.left[k]
		n++
	}
	if 4*n < float64(len(bore.Angle)) || both < wavesAlike*math.Sqrt(squareBore*squarePin) || both < n*wavesSeen*wavesSeen {
		return 0
	}
	return math.Sqrt(both / n)
}

// roundJoint takes the flattening that both rims show off them, before wear and
// roundness are read, so that they are again what the mean of all directions
// shows. The refusal is scale_unclear, or blurred where the picture waves.
func roundJoint(e geom.JointEdges) (geom.JointEdges, flattening, error) {
	bore, pin := newRim(e.BoreProfile, e.BoreFit, e.Bore, +1), newRim(e.PinProfile, e.PinFit, e.Pin, -1)
	var ovals []oval
	ofBore, boreOK := bore.oval()
	ofPin, pinOK := pin.oval()
	if boreOK {
		ovals = append(ovals, ofBore)
	}
	if pinOK {
		ovals = append(ovals, ofPin)
	}
	f := commonFlattening(ovals...)
	if len(ovals) == 2 {
		f.waves = wavesOf(bore, pin, ofBore, ofPin)
	}
	switch {
	case f.waves > mostWaves:
		return e, f, check.Refuse(check.Blurred, fmt.Sprintf(
			"both rims wave alike by %.2g px, more than %.2g px: camera or joint moved while the photo was read out", f.waves, mostWaves))
	case f.size > mostOval:
		refused := check.Refuse(check.ScaleUnclear, fmt.Sprintf(
			"both rims are ovals by %.2g of their radius, more than %.2g: the camera looks at a slant, moved while the photo was read out, or its lens bends much", f.size, mostOval))
		refused.Remedy = "set the camera square to the joint, hold it and the joint still, and photograph again with the joint in the middle; of a lens that bends much read the scale with pinlash scale --grid"
		return e, f, refused
	case !f.seen:
		return e, f, nil
	}
	e.Bore, e.BoreFit, e.BoreProfile = bore.rounded(f, ofBore, e.Bore)
	e.Pin, e.PinFit, e.PinProfile = pin.rounded(f, ofPin, e.Pin)
	// The way from centre to centre is as long as a radius there is.
	d := r2.Sub(e.PinFit.Center, e.BoreFit.Center)
	d = r2.Sub(d, r2.Vec{X: f.a*d.X + f.b*d.Y, Y: f.b*d.X - f.a*d.Y})
	e.PinFit.Center = r2.Add(e.BoreFit.Center, d)
	e.Gap += (e.BoreFit.R - bore.circle.R) - (e.PinFit.R - pin.circle.R)
	return e, f, nil
}

// rounded returns the rim without the flattening: its circle is laid through the
// directions that lie on its oval o, those on the circle before where it has
// none.
func (r rim) rounded(f flattening, o oval, pts []geom.EdgePoint) ([]geom.EdgePoint, geom.Circle, geom.RimProfile) {
	on := o.on
	if on == nil {
		on = r.used
	}
	c, out := r.circle, geom.RimProfile{Angle: r.Angle, U: r.U, Dev: slices.Clone(r.Dev)}
	for i, t := range r.Angle {
		out.Dev[i] -= c.R * f.at(t)
	}
	r.RimProfile = out
	if coef, _, ok := r.harmonics(1, func(i int) bool { return on[i] }); ok {
		c.R += coef[0]
		c.Center = r2.Add(c.Center, r2.Vec{X: coef[1], Y: coef[2]})
		for i, t := range r.Angle {
			out.Dev[i] -= along(coef, t)
		}
	}
	pts = slices.Clone(pts)
	square, n := 0.0, 0
	for i := range pts {
		if i >= len(on) {
			break
		}
		pts[i].Rejected = !on[i]
		if on[i] {
			square += out.Dev[i] * out.Dev[i]
			n++
		}
	}
	if n > 0 {
		c.RMS, c.Inliers = math.Sqrt(square/float64(n)), max(c.Inliers, n)
	}
	return pts, c, out
}

// left returns the standard uncertainty of the flattening that was not taken off.
func (f flattening) left() float64 {
	if f.seen {
		return f.u
	}
	// Most pictures are flattened by no more than was seen, whatever its
	// uncertainty.
	usual := max(usualOval, f.size)
	return f.u * usual / math.Hypot(f.u, usual)
}

// across returns by which share, to one side or the other, a slant that flattens
// the rims so makes the scale another beside the rule, at the joint: it is nearer
// to the lens there, or farther.
func (f flattening) across(s calib.Scale, at r2.Vec, distanceMM float64) float64 {
	sin, cos := math.Sincos(s.AngleRad)
	d := r2.Sub(at, s.Origin)
	beside := math.Abs(d.Y*cos-d.X*sin) * s.MMPerPx.Value
	// Rims are short where the camera looks down on them.
	short := (math.Atan2(f.b, f.a) + math.Pi) / 2
	toward := math.Abs(math.Sin(short - s.AngleRad))
	return beside / distanceMM * math.Sin(f.slantDeg()*math.Pi/180) * toward
}

// scale returns what the length of a pixel along the scale is to be multiplied by
// for lengths that are the mean of all directions, as those of a rounded joint.
// A scale that is itself such a mean needs nothing; of one from another photo it
// is not known in which direction this one is true. distanceMM is the lens's from the
// joint.
func (f flattening) scale(s calib.Scale, at r2.Vec, distanceMM float64) uncert.Quantity {
	const name = "rims flattened alike"
	switch {
	case !f.looked:
		return uncert.Combine(1, "1", nil)
	case s.Source == "file":
		return uncert.Combine(1, "1", uncert.Budget{{Name: name, U: math.Hypot(f.size/math.Sqrt(3), f.u)}})
	case s.Round:
		return uncert.Combine(1, "1", nil)
	}
	b := uncert.Budget{{Name: name, U: f.left()}}
	if u := f.swayU(s, distanceMM); u > 0 {
		b = append(b, uncert.Term{Name: "rule bent as by no such slant", U: u})
	}
	if !f.seen {
		return uncert.Combine(1, "1", b)
	}
	slant := math.Abs(s.Along(at, s.AngleRad).Value/s.MMPerPx.Value - 1)
	hidden := max(0, f.across(s, at, distanceMM)-slant)
	b = append(b, uncert.Term{Name: "slant across the scale, or movement", U: math.Hypot(slantDoubt*slant, hidden)})
	return uncert.Combine(1+f.at(s.AngleRad), "1", b)
}

// swayU returns the relative standard uncertainty of a rule's scale where that
// changes along the rule by more than any slant does that flattens rims so: then
// the picture swayed while its rows were read, and the marks were read at other
// times than the joint. distanceMM is the lens's from the joint.
func (f flattening) swayU(s calib.Scale, distanceMM float64) float64 {
	if s.Source != "rule" {
		return 0
	}
	sin, cos := math.Sincos(s.AngleRad)
	along, across := s.Gradient.X*cos+s.Gradient.Y*sin, s.Gradient.Y*cos-s.Gradient.X*sin
	// A length along the slant changes twice as fast as one across it.
	most := math.Sin(f.slantU()) * s.MMPerPx.Value / (nearer * distanceMM)
	excess := max(0, math.Abs(along)-2*most, math.Abs(across)-most)
	length := float64(s.Marks) * s.DivisionMM / s.MMPerPx.Value
	return swayShare * excess * length
}
