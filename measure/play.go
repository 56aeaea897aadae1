package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// PlayOptions says what is known of a pair of photos besides them. The zero
// value is the documented default.
type PlayOptions struct {
	// Plane is where the moving link lies against the plane of the scale. A
	// zero WorkingDistance means not known: then the moving link may lie up
	// to 2 mm above or below the scale, 100 mm from the lens.
	Plane calib.Plane
	// SamePlane says that the moving link lies in the plane of the scale.
	SamePlane bool
}

// PlayResult has the figures of a joint pushed together and pulled apart.
type PlayResult struct {
	Play          uncert.Quantity // mm
	PullDirection uncert.Quantity // deg, in which the moving link moved away
	// Distinct says that the play differs from zero at the 99.9 % level.
	Distinct bool
	// Swing is the turn of the moving link about the joint, deg.
	Swing uncert.Quantity
	// Way is the play as it is seen in the first photo, pixels, from the
	// joint; zero when it does not differ from zero.
	From, Way r2.Vec
	// Swapped says that the first photo shows the links pulled apart.
	Swapped bool
	// Photos is the number of photos or frames of each state that the play is
	// the mean of, together and apart; Reversals how often a clip goes from
	// one to the other.
	Photos    [2]int
	Reversals int
	// Track is where the moving link was along the pull in each frame of a
	// clip, for a plot.
	Track  []TrackPoint
	Checks []check.Check
	Notes  []string
}

// TrackPoint is the place of the moving link in one frame.
type TrackPoint struct {
	Frame int
	// AlongMM is its way along the pull from the mean of the links together.
	AlongMM float64
	State   geom.State
	Left    string // why the frame was left out; empty when used
}

// What is assumed of a pair of photos that they do not tell (judgement).
const (
	// planeWithinMM is the limit of the moving link's height over the plane of
	// the scale when nothing is known: the thickness of a plate.
	planeWithinMM = 2.0
	// levelPlaneMM is the same for links said to lie in one plane.
	levelPlaneMM = 0.1
	// motionFloor is the standard uncertainty of a registered motion that
	// light, compression and the pixels' own response leave, pixels.
	motionFloor = 0.02
	// distinctAt is the chance of calling zero play distinct from zero.
	distinctAt = 0.001
	// bendU is the share of what a known lens makes of the camera's shift that
	// stays as standard uncertainty: links are seen by some of their tiles more
	// than by others.
	bendU = 0.1
	// cameraWarn is the camera's movement, pixels, above which it is noted.
	cameraWarn = 5.0
	// swingNote is the swing of the moving link, degrees, above which it is.
	swingNote = 0.05
)

// Play turns the motion of two links into the play of their joint.
//
// The play is how far the moving link went as seen from the fixed one, at the
// joint, so that a swing about the joint adds nothing. The camera's movement
// drops out but for what the links' different heights and the lens make of it;
// both are parts of the budget. With the plane of the moving link stated, what
// the heights make of the camera's movement is taken out; half of it stays as
// uncertainty, since a camera that turned instead of moving makes none.
//
// A motion q with covariance C differs from zero when q' C^-1 q exceeds what
// chance reaches once in a thousand times.
// The length of a noisy vector is too long on average, so the play is
// sqrt(|q|^2 - trace C), at least zero. Where the motion does not differ from
// zero the interval begins there, and ends as far above |q| as u reaches.
func Play(m geom.Motion, s calib.Scale, o PlayOptions) (PlayResult, error) {
	p, err := newPlayed(m, s, o)
	if err != nil {
		return PlayResult{}, err
	}
	rel := m.Relative()
	p.way, p.turn = p.levelled(rel.Shift, p.shift), rel.Turn
	p.turnU = math.Sqrt(max(rel.Cov[3][3], 0))
	for i := range 2 {
		for j := range 2 {
			p.light[i][j] = rel.Cov[i][j]
		}
	}
	p.df = lightDF(m)
	r := p.result(s)
	r.Photos = [2]int{1, 1}
	return r, nil
}

// lightDF returns the degrees of freedom of the motion at the joint, after
// Welch and Satterthwaite: the link that is seen worse there says how many.
func lightDF(m geom.Motion) float64 {
	part := func(b geom.Body) (v, perDF float64) {
		c := b.Motion.About(m.Joint).Cov
		v = c[0][0] + c[1][1]
		return v, v * v / max(b.DF, 1)
	}
	f, fd := part(m.Fixed)
	v, vd := part(m.Moving)
	if !(fd+vd > 0) {
		return max(1, min(m.Fixed.DF, m.Moving.DF))
	}
	return max(1, (f+v)*(f+v)/(fd+vd))
}

// result turns a motion into figures.
func (p played) result(s calib.Scale) PlayResult {
	m := p.m
	r := PlayResult{From: m.Joint, Checks: p.checks()}
	q, c := p.way, p.cov()
	r.Distinct = p.distinct(q, c)
	line := r2.Sub(m.Moving.Motion.Center, m.Joint)
	if r2.Norm(line) == 0 {
		line = r2.Vec{X: 1}
	}
	line = r2.Unit(line)
	if r.Distinct {
		r.Swapped = r2.Dot(q, line) < 0
		r.Way, line = q, r2.Unit(q)
	}
	size := math.Sqrt(max(0, r2.Norm2(q)-c[0][0]-c[1][1]))
	length := uncert.Combine(size, "px", p.budget(line))
	perPx := p.perPx(s, line, size)
	r.Play = uncert.Product(perPx, length, "mm")
	if !r.Distinct {
		// What was taken off for the noise may have been play.
		r.Play.Upper += (r2.Norm(q) - size) * perPx.Value
	}
	if r.Play.Lower < 0 || !r.Distinct {
		r.Play.Lower = 0
	}
	r.PullDirection = p.direction(line, size, r)
	r.Swing = uncert.Combine(p.turn*180/math.Pi, "deg", uncert.Budget{{Name: "light and texture of the links", U: p.turnU * 180 / math.Pi, DF: p.df}})
	r.Notes = p.notes(r)
	return r
}

// perPx returns the length of a pixel on the way of the joint, in the plane of
// the moving link. A way too short to measure is taken at the joint itself.
func (p played) perPx(s calib.Scale, line r2.Vec, size float64) uncert.Quantity {
	s, at := s.Flattened(), s.Flat(p.m.Joint)
	q := s.Along(at, math.Atan2(line.Y, line.X))
	if size > 0 {
		q = s.Distance(at, r2.Add(at, r2.Scale(size, line)), 0).Scaled(1/size, "mm/px")
	}
	return uncert.Product(q, p.factor, "mm/px")
}

// played is a motion on its way from pixels to figures.
type played struct {
	m        geom.Motion
	way      r2.Vec        // of the joint's moving side, camera taken out, pixels
	light    [2][2]float64 // covariance of the way from the light of the photos
	df       float64       // of that
	turn     float64       // of the moving link, rad
	turnU    float64
	shift    r2.Vec // of the camera, pixels at the middle of the photo
	factor   uncert.Quantity
	stated   bool
	nearer   float64 // by which share the moving link follows the camera's shift more
	nearerU  float64
	bend     lensWay
	parallax float64 // pixels: what the links' heights may make of the shift, standard uncertainty
	lens     float64 // pixels: the same of the lens
}

func newPlayed(m geom.Motion, s calib.Scale, o PlayOptions) (played, error) {
	if m.W <= 0 || m.H <= 0 || m.JointU < 0 {
		return played{}, fmt.Errorf("measure: motion without photos")
	}
	p := played{m: m}
	switch {
	case o.Plane.WorkingDistance > 0:
		f, err := o.Plane.Factor()
		if err != nil {
			return p, err
		}
		// Where the camera moved sideways, a link h nearer to the lens at W
		// moves h/(W-h) more; where it turned, no more.
		p.stated, p.factor = true, f
		p.nearer = float64(o.Plane.Offset) / float64(o.Plane.WorkingDistance-o.Plane.Offset)
		p.nearerU = math.Abs(p.nearer) / 2
	default:
		height := planeWithinMM
		if o.SamePlane {
			height, p.stated = levelPlaneMM, true
		}
		p.nearerU = height / usualDistanceMM / math.Sqrt(3)
		p.factor = uncert.Combine(1, "1", uncert.Budget{{Name: "plane of the moving link", U: p.nearerU}})
	}
	p.bend = lensWay{m, s}
	p.moved(s, m.Fixed.Motion.ShiftAt(p.middle()))
	return p, nil
}

func (p played) middle() r2.Vec {
	return r2.Vec{X: float64(p.m.W-1) / 2, Y: float64(p.m.H-1) / 2}
}

// moved sets the camera's shift and what may come of it.
func (p *played) moved(s calib.Scale, shift r2.Vec) {
	p.shift = shift
	p.parallax = p.nearerU * r2.Norm(shift)
	// A lens that bends by q moves what lies r from the middle by (1 + 3 q r^2)
	// times the camera's shift, at most.
	m, middle := p.m, p.middle()
	far := max(r2.Norm2(r2.Sub(m.Joint, middle)), r2.Norm2(r2.Sub(m.Moving.Motion.Center, middle)),
		r2.Norm2(r2.Sub(m.Fixed.Motion.Center, middle))+m.Fixed.Spread*m.Fixed.Spread)
	p.lens = math.Hypot(3*s.DistortionU*far*r2.Norm(shift), bendU*r2.Norm(p.bend.ofCamera(shift)))
}

// levelled returns a way without what the camera's shift makes of the link's
// height and of the lens, as far as they are known, in flat pixels.
func (p played) levelled(way, shift r2.Vec) r2.Vec {
	return r2.Sub(p.bend.flat(way, shift), r2.Scale(p.nearer, shift))
}

// cov returns the covariance of the way, pixels squared.
func (p played) cov() [2][2]float64 {
	c := p.light
	swing := p.turn * p.m.JointU
	all := motionFloor*motionFloor + p.parallax*p.parallax + p.lens*p.lens + swing*swing
	c[0][0] += all
	c[1][1] += all
	return c
}

// budget returns the parts of the way's uncertainty along a unit vector.
func (p played) budget(d r2.Vec) uncert.Budget {
	c := p.light
	light := d.X*d.X*c[0][0] + d.X*d.Y*(c[0][1]+c[1][0]) + d.Y*d.Y*c[1][1]
	b := uncert.Budget{
		{Name: "light and texture of the links", U: math.Sqrt(max(light, 0)), DF: p.df},
		{Name: "registration", U: motionFloor},
	}
	for _, t := range []uncert.Term{
		{Name: "camera moved, links at different heights", U: p.parallax},
		{Name: "camera moved, lens distortion", U: p.lens},
		{Name: "swing about the joint", U: math.Abs(p.turn) * p.m.JointU},
		{Name: "photos skewed against each other", U: math.Sqrt(max(0, p.m.Skew*p.m.Skew-2*p.m.SkewU*p.m.SkewU))},
	} {
		if t.U > 0 {
			b = append(b, t)
		}
	}
	return b
}

// distinct says whether the vector q with covariance c differs from zero, by
// Hotelling's T squared: with n degrees of freedom it is 2n/(n-1) times an F of
// 2 and n-1. Only the light's part of c has few; the whole has more, after
// Welch and Satterthwaite.
func (p played) distinct(q r2.Vec, c [2][2]float64) bool {
	det := c[0][0]*c[1][1] - c[0][1]*c[1][0]
	if det <= 0 {
		return false
	}
	t := (c[1][1]*q.X*q.X - (c[0][1]+c[1][0])*q.X*q.Y + c[0][0]*q.Y*q.Y) / det
	all, light := c[0][0]+c[1][1], p.light[0][0]+p.light[1][1]
	n := max(2, min(p.df*math.Pow(all/max(light, 1e-12), 2), 1e6))
	return t > 2*n/(n-1)*distuv.F{D1: 2, D2: n - 1}.Quantile(1-distinctAt)
}

// direction returns the direction of the pull: of the motion from together to
// apart, or, where there was none, along the moving link.
func (p played) direction(line r2.Vec, size float64, r PlayResult) uncert.Quantity {
	if r.Swapped {
		line = r2.Scale(-1, line)
	}
	angle := math.Atan2(line.Y, line.X) * 180 / math.Pi
	any := uncert.Combine(angle, "deg", uncert.Budget{{Name: "play too small to have a direction", U: 360 / math.Sqrt(12)}})
	if !r.Distinct || size <= 0 {
		return any
	}
	across := p.budget(r2.Vec{X: -line.Y, Y: line.X})
	for i := range across {
		across[i].U *= 180 / math.Pi / size
	}
	q := uncert.Combine(angle, "deg", across)
	if q.U > any.U {
		return any
	}
	return q
}

func (p played) checks() []check.Check {
	return []check.Check{
		check.AtMost("camera moved", round3(r2.Norm(p.shift)), cameraWarn),
	}
}

func (p played) notes(r PlayResult) []string {
	var n []string
	if !r.Distinct {
		n = append(n, fmt.Sprintf("no play was seen: less than %.4f mm at 95 %%; if the joint was not pushed and pulled between the photos this says nothing", r.Play.Upper))
	}
	if r.Swapped {
		n = append(n, "the moving link came nearer: the first photo shows the links pulled apart, the second pushed together; the direction is that of the pull")
	}
	if !p.stated && r.Distinct {
		n = append(n, fmt.Sprintf("it is not known how high the moving link lies: up to %.0f mm over or under the scale is allowed for; --plane-offset with --working-distance narrows it", planeWithinMM))
	}
	if s := r2.Norm(p.shift); s > cameraWarn {
		n = append(n, fmt.Sprintf("the camera moved by %.1f px between the photos; a stand narrows the interval", s))
	}
	if p.m.JointR == 0 {
		n = append(n, "no round pin end was seen: the joint is taken to lie where the links meet")
	}
	if t := math.Abs(r.Swing.Value); t > 3*r.Swing.U && t > swingNote {
		n = append(n, fmt.Sprintf("the moving link swung by %.2f degrees about the joint; that is taken out", t))
	}
	return n
}

func round3(v float64) float64 { return math.Round(v*1000) / 1000 }
