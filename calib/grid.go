package calib

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// Limits of a grid's reading (judgement, tried on generated grids).
const (
	minGridPoints  = 25
	minGridShare   = 0.9  // of the points seen that have to agree
	maxGridStray   = 0.02 // of the distance of neighbouring points
	maxGridStrayPx = 1.0
	// minGridReach is how far from the photo's middle a point must lie, of
	// half the diagonal: beyond the points the lens is a guess.
	minGridReach = 0.7
	// maxSquash is by how much the grid may look shorter one way than another:
	// that of a slant of 8 degrees, or of pixels that are not square.
	maxSquash = 0.01
	// k2Shows is how many standard uncertainties of k2 leave no doubt of it.
	k2Shows = 4.0
)

// GridReading is the scale and the lens as photos of a grid show them.
type GridReading struct {
	Reading
	// Corner is by how much what lies in the photo's corner is moved outwards,
	// in percent of its distance from the middle.
	Corner uncert.Quantity
	// StrayPx is the root mean square distance of the points that took part
	// from where they should be, for each photo.
	StrayPx []float64
}

// FromGrids reads the scale and the lens from one or more photos of a flat
// square grid; pitch is the distance of its neighbouring points. The photos
// have one size and were taken at one setting of the lens.
//
// All points of all photos are fitted at once by damped least squares: each
// photo has a homography from the target to a flat picture, and one lens bends
// them all; see [Lens]. K2 is fitted where it shows beyond doubt. Scale and
// slant are those of the photos' middle, the mean of all photos; by how much
// the photos differ a later one may differ, too, and that is part of the
// uncertainty. The tolerance of Options is that of the distance of the grid's
// outermost points.
//
// The error is a *check.Refusal when the points do not make a scale: their code
// is scale_unclear, or scales_disagree for photos taken at different settings.
func FromGrids(grids []geom.Grid, pitch Length, o Options) (GridReading, error) {
	var out GridReading
	if err := o.validate(pitch, "distance of the grid's points"); err != nil {
		return out, err
	}
	if len(grids) == 0 {
		return out, errors.New("no photo of a grid")
	}
	extent := 0.0 // of the largest, steps
	for _, g := range grids {
		if err := out.hold(check.AtLeast("grid_points", float64(len(g.Points)), minGridPoints)); err != nil {
			return out, err
		}
		if !usableGrid(g) {
			return out, unclearGrid("the points of the grid have no usable places")
		}
		extent = max(extent, 2*newPlanes([]geom.Grid{g}, o.W, o.H).views[0].unit)
	}
	p := newPlanes(grids, o.W, o.H)
	s, ok := p.fit(k2At + 1)
	if !ok || math.Abs(s.shared[k2At]) <= k2Shows*math.Sqrt(s.cov.At(k2At, k2At)) {
		s, ok = p.fit(k2At)
	}
	if !ok {
		return out, unclearGrid("the points of the grid do not lie as those of a flat one")
	}
	if err := out.judge(p, s); err != nil {
		return out, err
	}
	scale, err := out.scale(p, s, float64(pitch), extent, o)
	if err != nil {
		return out, err
	}
	out.Corner = corner(p, s)
	if !scale.Lens.sound(o.W, o.H) {
		return out, unclearGrid(fmt.Sprintf("the lens moves what lies in the corner by %.2g %%, which is no lens's bend that can be taken out", out.Corner.Value))
	}
	return out, out.take(scale)
}

// unclearGrid returns a refusal that says what a grid wants.
func unclearGrid(message string) *check.Refusal {
	r := check.Refuse(check.ScaleUnclear, message)
	r.Remedy = "show a flat, clean target of at least five by five dots or squares, in focus, square to the camera, reaching into the corners of the photo"
	return r
}

// hold keeps the check and returns the refusal when it failed.
func (out *GridReading) hold(c check.Check) error {
	err := out.Reading.hold(c)
	if refused := (*check.Refusal)(nil); errors.As(err, &refused) {
		return unclearGrid(refused.Message)
	}
	return nil
}

func usableGrid(g geom.Grid) bool {
	const far = 1e6
	seen := map[[2]int]bool{}
	for _, q := range g.Points {
		a, b, c := q.Cov[0][0], q.Cov[0][1], q.Cov[1][1]
		if !(max(math.Abs(q.At.X), math.Abs(q.At.Y)) <= far && max(abs(q.I), abs(q.J)) <= far) || seen[[2]int{q.I, q.J}] {
			return false
		}
		if !(a >= 1e-12 && c >= 1e-12 && a <= far && c <= far && a*c-b*b > 1e-6*a*c && b == q.Cov[1][0]) {
			return false
		}
		seen[[2]int{q.I, q.J}] = true
	}
	return true
}

func abs(v int) int { return max(v, -v) }

// judge holds the points against the limits.
func (out *GridReading) judge(p planes, s settled) error {
	var kept, seen int
	var reach, step, worst, limit float64
	for i, v := range p.views {
		rms, n := p.rms(s.bundle, i)
		out.StrayPx = append(out.StrayPx, rms)
		kept, seen = kept+n, seen+len(v.points)
		for k, q := range v.seen {
			if v.keep[k] {
				reach = max(reach, r2.Norm(q))
			}
		}
		pose := p.pose(s.own[i], i)
		step = math.Exp(-pose.size)
		if l := min(maxGridStray*step, maxGridStrayPx); rms/l > worst/max(limit, 1e-9) || limit == 0 {
			worst, limit = rms, l
		}
	}
	for _, c := range []check.Check{
		check.AtLeast("grid_points_share", float64(kept)/float64(seen), minGridShare),
		check.AtMost("grid_residual_px", worst, limit),
		check.AtLeast("grid_reach", reach, minGridReach),
	} {
		if err := out.hold(c); err != nil {
			return err
		}
	}
	return nil
}

// scale returns the scale of the photo's middle.
func (out *GridReading) scale(p planes, s settled, pitch, extent float64, o Options) (Scale, error) {
	n := float64(len(p.views))
	mean := func(b bundle) []float64 {
		sum := make([]float64, 5)
		for i := range p.views {
			q := p.pose(b.own[i], i)
			floats.AddScaled(sum, 1/n, []float64{q.size, q.slant.X, q.slant.Y, q.squash[0], q.squash[1]})
		}
		return sum
	}
	at, cov := mean(s.bundle), s.carried(mean)
	for _, v := range at {
		if math.IsNaN(v) || math.Abs(v) > 100 {
			return Scale{}, unclearGrid("the points of the grid do not lie as those of a flat one")
		}
	}
	mmPerPx := math.Exp(at[0]) * pitch
	h := r2.Vec{X: at[1], Y: at[2]}
	first := p.pose(s.own[0], 0)
	along, across := axes(first.along)
	turned := func(a r2.Vec) float64 {
		return math.Sqrt(max(0, a.X*a.X*cov.At(1, 1)+2*a.X*a.Y*cov.At(1, 2)+a.Y*a.Y*cov.At(2, 2)))
	}
	alongU, acrossU := turned(along), turned(across)
	parts := []uncert.Term{
		{Name: "grid points read", U: math.Sqrt(cov.At(0, 0)), DF: p.freedom(s.bundle)},
		{Name: "grid pitch tolerance", U: o.toleranceOr(Length(relativeTolerance*extent*pitch)) / (extent * pitch)},
	}
	if n > 1 {
		var size, slantAlong, slantAcross float64
		worst := 0.0
		for i := range p.views {
			q := p.pose(s.own[i], i)
			size += square(q.size-at[0]) / (n - 1)
			d := r2.Sub(q.slant, h)
			slantAlong += square(r2.Dot(d, along)) / (n - 1)
			slantAcross += square(r2.Dot(d, across)) / (n - 1)
			worst = max(worst, math.Abs(q.size-at[0]))
		}
		if err := out.alike(worst); err != nil {
			return Scale{}, err
		}
		more := 1 + 1/n // a later photo differs as these do
		parts = append(parts, uncert.Term{Name: "photos of the grid differ", U: math.Sqrt(size * more), DF: n - 1})
		alongU, acrossU = math.Sqrt(square(alongU)+slantAlong*more), math.Sqrt(square(acrossU)+slantAcross*more)
	}
	squash := math.Hypot(at[3], at[4])
	for _, c := range []check.Check{
		check.AtMost("grid_tilt", 4*r2.Norm(h)*p.half, maxTilt),
		check.AtMost("grid_squash", squash, maxSquash),
	} {
		if err := out.hold(c); err != nil {
			return Scale{}, err
		}
	}
	lens := p.lens(s)
	// What is left in the corner, told as a k1.
	left := s.carried(func(b bundle) []float64 {
		l := unitLens(b.shared)
		return []float64{l.K1 + 1.5*l.K2}
	})
	points := 0
	for i := range p.views {
		_, k := p.rms(s.bundle, i)
		points += k
	}
	return Scale{
		MMPerPx:        relative(mmPerPx, parts...),
		Origin:         p.middle,
		AngleRad:       first.along,
		Gradient:       r2.Add(r2.Scale(-2*r2.Dot(h, along), along), r2.Scale(-r2.Dot(h, across), across)),
		GradientU:      r2.Vec{X: 2 * alongU, Y: acrossU},
		GradientRead:   r2.Vec{X: 1, Y: 1},
		DistortionU:    math.Sqrt(left.At(0, 0)) / square(p.half),
		Lens:           lens,
		Foreshortening: math.Sqrt(square(squash) + cov.At(3, 3) + cov.At(4, 4)),
		Round:          true,
		Source:         "grid",
		DivisionMM:     pitch,
		Marks:          points,
		W:              o.W,
		H:              o.H,
	}, nil
}

// alike holds the photos' scales against their mean.
func (out *GridReading) alike(worst float64) error {
	c := check.AtMost("scales of the photos", worst, maxDisagreement)
	out.Checks = append(out.Checks, c)
	if c.OK {
		return nil
	}
	refused := check.Refuse(check.ScalesDisagree, fmt.Sprintf(
		"the scales of the grid's photos differ from their mean by up to %.2f %%, more than %.2f %%", 100*c.Value, 100*c.Limit))
	refused.Remedy = "take all photos of the grid at one setting of the microscope, with the grid in focus"
	return refused
}

// corner returns what the lens does to the photo's corner.
func corner(p planes, s settled) uncert.Quantity {
	move := func(b bundle) []float64 {
		l := unitLens(b.shared)
		at := r2.Add(l.Centre, r2.Vec{X: 1}) // half a diagonal from the lens's centre
		return []float64{100 * (1/r2.Norm(r2.Sub(l.flat(at), l.Centre)) - 1)}
	}
	u := math.Sqrt(s.carried(move).At(0, 0))
	return uncert.Combine(move(s.bundle)[0], "%", uncert.Budget{{Name: "grid points read", U: u, DF: p.freedom(s.bundle)}})
}

// carried returns the covariance of figures of the bundle, to first order.
func (s settled) carried(figures func(bundle) []float64) *mat.SymDense {
	m, n := len(figures(s.bundle)), s.size()
	slopes := mat.NewDense(m, n, nil)
	for k := range n {
		step := 0.1 * math.Sqrt(s.cov.At(k, k))
		way := mat.NewVecDense(n, nil)
		way.SetVec(k, -step)
		more := figures(s.moved(way))
		way.SetVec(k, step)
		less := figures(s.moved(way))
		for i := range m {
			slopes.Set(i, k, (more[i]-less[i])/(2*step))
		}
	}
	var half, full mat.Dense
	half.Mul(slopes, s.cov)
	full.Mul(&half, slopes.T())
	cov := mat.NewSymDense(m, nil)
	for i := range m {
		for j := i; j < m; j++ {
			cov.SetSym(i, j, full.At(i, j))
		}
	}
	return cov
}
