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
	Checks  []check.Check
	Notes   []string
}

// What is assumed of a pair of photos that they do not tell (judgement).
const (
	// planeWithinMM is the limit of the moving link's height over the plane of
	// the scale when nothing is known: the thickness of a plate.
	planeWithinMM = 2.0
	// levelPlaneMM is the same for links said to lie in one plane.
	levelPlaneMM = 0.1
	// zoomHeldU is the standard uncertainty of the links' difference in change
	// of size: a lens one millimetre nearer changes links one millimetre apart
	// in height by 1e-4 of each other at 100 mm.
	zoomHeldU = 1e-4
	// motionFloor is the standard uncertainty of a registered motion that
	// light, compression and the pixels' own response leave, pixels.
	motionFloor = 0.015
	// distinctAt is the chance of calling zero play distinct from zero.
	distinctAt = 0.001
	// cameraWarn is the camera's movement, pixels, above which it is noted.
	cameraWarn = 5.0
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
// A motion q with covariance C differs from zero when q' C^-1 q, chi-square
// with two degrees of freedom, exceeds what chance reaches once in a thousand.
// The length of a noisy vector is too long on average, so the play is
// sqrt(|q|^2 - trace C), at least zero, and its interval ends at zero.
func Play(m geom.Motion, s calib.Scale, o PlayOptions) (PlayResult, error) {
	if m.W <= 0 || m.H <= 0 || m.JointU < 0 {
		return PlayResult{}, fmt.Errorf("measure: motion without photos")
	}
	p, err := newPlayed(m, s, o)
	if err != nil {
		return PlayResult{}, err
	}
	r := PlayResult{From: m.Joint, Checks: p.checks()}
	q, c := p.way, p.cov()
	r.Distinct = distinct(q, c)
	toward := r2.Sub(m.Moving.Motion.Center, m.Joint)
	if r2.Norm(toward) == 0 {
		toward = r2.Vec{X: 1}
	}
	size := math.Sqrt(max(0, r2.Norm2(q)-c[0][0]-c[1][1]))
	if r.Distinct {
		r.Swapped = r2.Dot(q, toward) < 0
		r.Way = q
	}
	line := r2.Unit(toward)
	if r.Distinct {
		line = r2.Unit(q)
	}
	length := uncert.Combine(size, "px", p.budget(line))
	// A way too short to measure is turned into millimetres by the scale on
	// the line of the chain.
	at := r2.Add(m.Joint, r2.Scale(size, line))
	perPx := s.Along(m.Joint, math.Atan2(line.Y, line.X))
	if size > 0 {
		perPx = s.Distance(m.Joint, at, 0).Scaled(1/size, "mm/px")
	}
	r.Play = uncert.Product(uncert.Product(perPx, p.factor, "mm/px"), length, "mm")
	if r.Play.Lower < 0 {
		r.Play.Lower = 0
	}
	r.PullDirection = p.direction(line, size, r)
	turn := math.Hypot(p.relative.Turn, 0) * math.Copysign(1, p.relative.Turn) * 180 / math.Pi
	r.Swing = uncert.Combine(turn, "deg", uncert.Budget{{Name: "light and texture of the links", U: math.Sqrt(max(p.relative.Cov[3][3], 0)) * 180 / math.Pi, DF: p.df}})
	r.Notes = p.notes(r)
	return r, nil
}

// played is a motion on its way from pixels to figures.
type played struct {
	m        geom.Motion
	relative geom.Similarity
	way      r2.Vec  // of the joint's moving side, camera taken out, pixels
	shift    r2.Vec  // of the camera, pixels at the middle of the photo
	df       float64 // of the registration
	factor   uncert.Quantity
	stated   bool
	parallax float64 // pixels: what the links' heights may make of the shift, standard uncertainty
	lens     float64 // pixels: the same of the lens
}

func newPlayed(m geom.Motion, s calib.Scale, o PlayOptions) (played, error) {
	p := played{m: m, relative: m.Relative(zoomHeldU)}
	p.way = p.relative.Shift
	middle := r2.Vec{X: float64(m.W-1) / 2, Y: float64(m.H-1) / 2}
	p.shift = m.Fixed.Motion.ShiftAt(middle)
	p.df = math.Max(2, math.Min(effective(m.Fixed.Tiles), effective(m.Moving.Tiles))-2)
	switch {
	case o.Plane.WorkingDistance > 0:
		f, err := o.Plane.Factor()
		if err != nil {
			return p, err
		}
		p.stated, p.factor = true, f
		// Where the camera moved sideways, a link h nearer to the lens at W
		// moves h/(W-h) more.
		more := float64(o.Plane.Offset) / float64(o.Plane.WorkingDistance-o.Plane.Offset)
		p.way = r2.Sub(p.way, r2.Scale(more, p.shift))
		p.parallax = math.Abs(more) * r2.Norm(p.shift) / 2
	default:
		height := planeWithinMM
		if o.SamePlane {
			height = levelPlaneMM
		}
		u := height / usualDistanceMM / math.Sqrt(3)
		p.factor = uncert.Combine(1, "1", uncert.Budget{{Name: "plane of the moving link", U: u}})
		p.parallax = u * r2.Norm(p.shift)
	}
	// A lens that bends by q moves what lies r from the middle by (1 + 3 q r^2)
	// times the camera's shift, at most.
	far := max(r2.Norm2(r2.Sub(m.Joint, middle)), r2.Norm2(r2.Sub(m.Moving.Motion.Center, middle)),
		r2.Norm2(r2.Sub(m.Fixed.Motion.Center, middle))+m.Fixed.Spread*m.Fixed.Spread)
	p.lens = 3 * s.DistortionU * far * r2.Norm(p.shift)
	return p, nil
}

// effective returns how many tiles took part.
func effective(tiles []geom.Tile) float64 {
	n := 0.0
	for _, t := range tiles {
		n += t.Weight
	}
	return n
}

// cov returns the covariance of the way, pixels squared.
func (p played) cov() [2][2]float64 {
	c := [2][2]float64{{p.relative.Cov[0][0], p.relative.Cov[0][1]}, {p.relative.Cov[1][0], p.relative.Cov[1][1]}}
	swing := p.relative.Turn * p.m.JointU
	all := motionFloor*motionFloor + p.parallax*p.parallax + p.lens*p.lens + swing*swing
	c[0][0] += all
	c[1][1] += all
	return c
}

// budget returns the parts of the way's uncertainty along a unit vector.
func (p played) budget(d r2.Vec) uncert.Budget {
	c := p.relative.Cov
	light := d.X*d.X*c[0][0] + d.X*d.Y*(c[0][1]+c[1][0]) + d.Y*d.Y*c[1][1]
	b := uncert.Budget{
		{Name: "light and texture of the links", U: math.Sqrt(max(light, 0)), DF: p.df},
		{Name: "registration", U: motionFloor},
	}
	for _, t := range []uncert.Term{
		{Name: "camera moved, links at different heights", U: p.parallax},
		{Name: "camera moved, lens distortion", U: p.lens},
		{Name: "swing about the joint", U: math.Abs(p.relative.Turn) * p.m.JointU},
	} {
		if t.U > 0 {
			b = append(b, t)
		}
	}
	return b
}

// distinct says whether the vector q with covariance c differs from zero.
func distinct(q r2.Vec, c [2][2]float64) bool {
	det := c[0][0]*c[1][1] - c[0][1]*c[1][0]
	if det <= 0 {
		return false
	}
	t := (c[1][1]*q.X*q.X - (c[0][1]+c[1][0])*q.X*q.Y + c[0][0]*q.Y*q.Y) / det
	return t > distuv.ChiSquared{K: 2}.Quantile(1-distinctAt)
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
	if t := math.Abs(r.Swing.Value); t > 3*r.Swing.U && t > 0.05 {
		n = append(n, fmt.Sprintf("the moving link swung by %.2f degrees about the joint; that is taken out", t))
	}
	return n
}

func round3(v float64) float64 { return math.Round(v*1000) / 1000 }
