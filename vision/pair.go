package vision

import (
	"errors"
	"fmt"
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// MotionHint says where the links lie in the first photo, in pixels. Where one
// of them is not given it is found.
type MotionHint struct {
	Moving, Fixed image.Rectangle
	// Rule is the rule found in the first photo, if any: it and what lies
	// behind it are no part of the moving link.
	Rule geom.Rule
}

// Limits of a pair of photos, from the design's table of gates where not
// marked (L), judgement.
const (
	minBodyTiles  = 8     // tiles that show where a link went (L)
	maxMotionU    = 0.2   // standard uncertainty of the motion at the joint, pixels
	maxZoomDiff   = 0.005 // difference of the change of size of both links
	maxShift      = 0.25  // movement of the camera, of the photo's width
	minBodyWeight = 0.3   // share of a link's tiles that move as one body (L)
	maxUnlike     = 0.4   // share of a link's texture not found again (L)
	maxStray      = 3.0   // median distance of a link's tiles from its movement, in their own standard deviations (L)
	smallStray    = 5e-5  // and of the photo's width, above which that counts (L)
	maxSkew       = 0.2   // skew between the links, pixels,
	skewSigmas    = 3.5   // or so many standard uncertainties of it (L)
)

// FindMotion finds the two links of a joint in two photos, links pushed
// together in a and pulled apart in b, and how each moved, camera included.
//
// The links are told apart by their motion. Where that is too small for it
// they are told apart by the joint's outline: a round pin end, and the rounded
// end of the upper plate about it, beyond which the lower link begins. Where
// there is neither, nothing is claimed. Rectangles in the hint overrule both.
//
// The fixed link is the body with more of the picture, which the scale and
// whatever else lies still belong to.
//
// The error is a *check.Refusal: not_found, too_few_edges, blurred or
// unreadable. The checks are those made up to then.
func FindMotion(a, b raster.Gray, hint MotionHint) (geom.Motion, []check.Check, error) {
	_, _, _, m, checks, err := findLinks(a, b, hint)
	return m, checks, err
}

// findLinks is FindMotion; it also returns where in the first photo the links
// lie.
func findLinks(a, b raster.Gray, hint MotionHint) (p pair, fixed, moving region, m geom.Motion, checks []check.Check, err error) {
	m = geom.Motion{W: a.W, H: a.H}
	if a.W != b.W || a.H != b.H {
		return p, nil, nil, m, nil, check.Refuse(check.WrongScale, fmt.Sprintf("the photos differ in size, %d x %d and %d x %d pixels", a.W, a.H, b.W, b.H))
	}
	if min(a.W, a.H) < 4*tileSide {
		return p, nil, nil, m, nil, refusePair(fmt.Sprintf("the photos are too small, %d x %d pixels", a.W, a.H))
	}
	p = newPair(a, b)
	var first geom.Similarity
	var joints []roundEnd
	together(
		func() { first, err = p.wholeMotion(hint.Fixed) },
		func() { joints = p.roundEnds(hint.Rule) },
	)
	if err != nil {
		return p, nil, nil, m, nil, refusePair("the two photos have too little in common to be laid over each other")
	}
	var still, moved pairLink
	if !hint.Moving.Empty() {
		m.ByHand = true
		moved, still = pairLink{in: inRect(hint.Moving)}, pairLink{offRect(hint.Moving), first}
		if !hint.Fixed.Empty() {
			still.in = inRect(hint.Fixed)
		}
		moved.by = p.motionIn(moved.in, first)
		m.Joint, m.JointU, m.JointR = jointBeside(joints, p, moved.in, still.in)
		m, checks, err = p.measure(m, still, moved)
		// A fixed link that does not move as one may hold the moving one.
		if last := len(checks) - 1; err == nil || last >= 0 && checks[last].Name == fixedStrays {
			c, other := p.checkHand(m, first, joints, offRect(hint.Moving))
			checks = append(checks, c)
			if other != nil {
				err = other
			}
		}
		return p, still.in, moved.in, m, checks, err
	}
	if moved, still, m.ByMotion = p.splitByMotion(first); m.ByMotion {
		m.Joint, m.JointU, m.JointR = jointBeside(joints, p, moved.in, still.in)
		m, checks, err = p.measure(m, still, moved)
		if err == nil {
			return p, still.in, moved.in, m, checks, nil
		}
	}
	s, ok := p.findSeam(joints)
	switch {
	case ok:
		m = geom.Motion{W: a.W, H: a.H, Joint: s.end.Center, JointU: s.end.U, JointR: s.end.R}
		moved, still = pairLink{in: both(s.beyond(), beforeRule(hint.Rule, s.end.Center))}, pairLink{s.within(), first}
		moved.by = p.motionIn(moved.in, first)
		m, checks, err = p.measure(m, still, moved)
	case !m.ByMotion:
		err = refusePair("no motion was seen and no link could be told apart")
	}
	return p, still.in, moved.in, m, checks, err
}

// measure registers both links and holds what came out against the limits.
func (p pair) measure(m geom.Motion, fixed, moving pairLink) (geom.Motion, []check.Check, error) {
	var checks []check.Check
	fail := func(c check.Check, code check.Code, format string, a ...any) (geom.Motion, []check.Check, error) {
		refused := check.Refuse(code, fmt.Sprintf(format, a...))
		refused.Remedy = pairRemedy
		return m, append(checks, c), refused
	}
	var errs [2]error
	var fits [2]subpixel.Registration
	together(
		func() { m.Fixed, fits[0], errs[0] = p.body(fixed) },
		func() { m.Moving, fits[1], errs[1] = p.body(moving) },
	)
	for i, body := range []struct {
		name  string
		tiles []geom.Tile
		left  float64
	}{{"fixed link", m.Fixed.Tiles, m.Fixed.Residual}, {"moving link", m.Moving.Tiles, m.Moving.Residual}} {
		if errors.Is(errs[i], errNotAgain) {
			return fail(check.AtMost(body.name+" unlike", 1, maxUnlike), check.NotFound, "the texture of the %s is not found again in the second photo", body.name)
		}
		if errs[i] != nil {
			few := check.AtLeast(body.name+" tiles", float64(len(body.tiles)), minBodyTiles)
			few.OK = false
			return fail(few, check.TooFewEdges, "the %s shows too little texture to tell where it went", body.name)
		}
		alike := weightOf(body.tiles)
		one := check.AtLeast(body.name+" moves as one", round(alike, 3), minBodyWeight)
		if !one.OK {
			return fail(one, check.NotFound, "only %.0f %% of the %s moves as one body, at least %.0f %% is needed", 100*alike, body.name, 100*minBodyWeight)
		}
		same := check.AtMost(body.name+" unlike", round(body.left, 3), maxUnlike)
		if !same.OK {
			return fail(same, check.NotFound, "%.0f %% of the texture of the %s is not found again in the second photo, at most %.0f %% may be", 100*body.left, body.name, 100*maxUnlike)
		}
		stray, off := strayOf(fits[i])
		still := check.AtMost(body.name+strays, round(stray, 2), maxStray)
		still.OK = still.OK || off < smallStray*float64(m.W)
		if !still.OK {
			return fail(still, check.Blurred, "parts of the %s lie %.1f times as far from one movement as their light explains: something moved while the photo was read out", body.name, still.Value)
		}
		checks = append(checks, one, same, still)
	}
	shift := r2.Norm(m.Fixed.Motion.ShiftAt(r2.Vec{X: float64(m.W-1) / 2, Y: float64(m.H-1) / 2})) / float64(m.W)
	camera := check.AtMost("camera shift", round(shift, 4), maxShift)
	if !camera.OK {
		return fail(camera, check.NotFound, "the camera moved by %.0f %% of the width between the photos, at most %.0f %% can be taken out", 100*shift, 100*maxShift)
	}
	zoom := math.Abs(m.Moving.Motion.Grown() - m.Fixed.Motion.Grown())
	zoomU := math.Sqrt(m.Moving.Motion.Cov[2][2] + m.Fixed.Motion.Cov[2][2])
	size := check.AtMost("size of both links", round(zoom, 6), max(maxZoomDiff, round(5*zoomU, 6)))
	if !size.OK {
		return fail(size, check.NotFound, "one link grew by %.2f %% against the other: it was tilted or lifted, not pulled", 100*zoom)
	}
	moved, err := p.blurOneWay(m.Fixed, m.Moving)
	if err != nil {
		return m, append(checks, moved), err
	}
	rel := m.Relative()
	u := math.Sqrt(max(rel.Cov[0][0], rel.Cov[1][1]))
	known := check.AtMost("motion at the joint", round(u, 4), maxMotionU)
	if !known.OK {
		return fail(known, check.TooFewEdges, "the motion at the joint is known to %.2f px only, %.2f px is needed", u, maxMotionU)
	}
	m.Skew, m.SkewU = skewed(m, fits)
	skew := check.AtMost("skew at the joint, px", round(m.Skew, 4), max(maxSkew, round(skewSigmas*m.SkewU, 4)))
	if !skew.OK {
		return fail(skew, check.Blurred, "one photo is skewed against the other, by %.2f px between the links: something moved while it was read out, or the camera was tilted", m.Skew)
	}
	return m, append(checks, camera, size, moved, known, skew), nil
}

// strays ends the name of the check of how far a link's tiles lie from its
// movement.
const (
	strays      = " strays"
	fixedStrays = "fixed link" + strays
)

// together runs two functions at the same time. A panic in either is one of
// its own.
func together(f, g func()) {
	done := make(chan any, 1)
	go func() {
		defer func() { done <- recover() }()
		g()
	}()
	f()
	if fault := <-done; fault != nil {
		panic(fault)
	}
}

const pairRemedy = "lay the joint flat, photograph it pushed together and pulled apart without moving the camera, both links and their outlines in the picture, or give --moving and --fixed"

func refusePair(message string) error {
	r := check.Refuse(check.NotFound, message)
	r.Remedy = pairRemedy
	return r
}

// region says which points of the first photo belong to a link.
type region func(r2.Vec) bool

func inRect(r image.Rectangle) region {
	return func(p r2.Vec) bool {
		return p.X >= float64(r.Min.X) && p.X < float64(r.Max.X) && p.Y >= float64(r.Min.Y) && p.Y < float64(r.Max.Y)
	}
}

// offRect leaves a rim about the rectangle out, too: what lies beside a link
// pointed out by hand may be part of it.
func offRect(r image.Rectangle) region {
	in := inRect(r.Inset(-tileSide))
	return func(p r2.Vec) bool { return !in(p) }
}

func both(f, g region) region { return func(p r2.Vec) bool { return f(p) && g(p) } }

// beforeRule is the side of a rule on which the joint lies, with some distance
// from its marks.
func beforeRule(rule geom.Rule, joint r2.Vec) region {
	if len(rule.Ticks) == 0 {
		return everywhere
	}
	across, band := acrossRule(rule)
	side := math.Copysign(1, across(joint))
	return func(p r2.Vec) bool { return side*across(p) > band }
}

// marksOf is the strip of a rule in which its marks lie, nil without a rule.
func marksOf(rule geom.Rule) region {
	if len(rule.Ticks) == 0 {
		return nil
	}
	across, band := acrossRule(rule)
	return func(p r2.Vec) bool { return math.Abs(across(p)) < band }
}

// acrossRule returns the distance of a point from the base line of a rule, and
// the distance up to which its marks may reach.
func acrossRule(rule geom.Rule) (across func(r2.Vec) float64, band float64) {
	for _, t := range rule.Ticks {
		band = max(band, t.Length)
	}
	sin, cos := math.Sincos(rule.AngleRad)
	return func(p r2.Vec) float64 {
		d := r2.Sub(p, rule.Ticks[0].At)
		return d.Y*cos - d.X*sin
	}, band + rule.Period/2
}

func weightOf(tiles []geom.Tile) float64 {
	sum := 0.0
	for _, t := range tiles {
		sum += t.Weight
	}
	return sum / float64(max(len(tiles), 1))
}

// body registers a link in the full photos. The links were told apart on a
// level a few times coarser, which is start enough.
func (p pair) body(l pairLink) (geom.Body, subpixel.Registration, error) {
	tiles := p.tiles(0, l.in, bodyTiles)
	if len(tiles) < minBodyTiles {
		return geom.Body{}, subpixel.Registration{}, subpixel.ErrNoTexture
	}
	fit, err := register(subpixel.NewTemplate(p.a[0], tiles), p.b[0], l.by, finely)
	if err != nil {
		return geom.Body{}, subpixel.Registration{}, errNotAgain
	}
	body := geom.Body{Motion: fit.Motion, DF: fit.DF}
	match, weight := 0.0, 0.0
	for _, t := range fit.Tiles {
		body.Tiles = append(body.Tiles, geom.Tile{X: t.Rect.Min.X, Y: t.Rect.Min.Y, Size: t.Rect.Dx(), Weight: t.Weight})
		match, weight = match+t.Weight*t.Match, weight+t.Weight
		body.Spread += r2.Norm2(r2.Sub(center(t.Rect), fit.Motion.Center))
	}
	body.Residual = 1 - match/max(weight, 1e-9)
	body.Spread = math.Sqrt(body.Spread / float64(max(len(fit.Tiles), 1)))
	return body, fit, nil
}

// strayOf returns the medians of how far the tiles of a link lie from its
// movement: in their own standard deviations, 1.2 where those say all, and in
// pixels.
func strayOf(fit subpixel.Registration) (stray, off float64) {
	var strays, offs []float64
	for _, t := range fit.Tiles {
		if t.Seen {
			strays, offs = append(strays, t.Stray), append(offs, t.Off)
		}
	}
	return middle(strays), middle(offs)
}

// skewed returns what a skew that both links share does to the movement of one
// against the other, with its standard uncertainty: each link's movement is
// known at its own middle, and taken on to the joint as if there were none.
func skewed(m geom.Motion, fits [2]subpixel.Registration) (size, u float64) {
	var e, s, weight float64
	for _, f := range fits {
		if k := f.Skew; k.U > 0 {
			w := 1 / (k.U * k.U)
			e, s, weight = e+w*k.E, s+w*k.S, weight+w
		}
	}
	if weight == 0 {
		return 0, 0
	}
	apart := r2.Norm(r2.Sub(m.Moving.Motion.Center, m.Fixed.Motion.Center))
	return apart * math.Hypot(e, s) / weight, apart / math.Sqrt(weight)
}

// errNotAgain says that a link's texture is not that of the second photo.
var errNotAgain = errors.New("vision: the texture is not found again")

// register finds a link in another photo, or at least how it was shifted.
func register(t *subpixel.Template, b subpixel.Lit, start geom.Similarity, done float64) (subpixel.Registration, error) {
	r, err := t.Register(b, start, done)
	if err != nil {
		return t.RegisterShift(b, start, done)
	}
	return r, nil
}

func center(r image.Rectangle) r2.Vec {
	return r2.Vec{X: float64(r.Min.X+r.Max.X-1) / 2, Y: float64(r.Min.Y+r.Max.Y-1) / 2}
}
