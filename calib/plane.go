package calib

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// A grid's photo is fitted by a homography from the target to the flat picture
// and the lens's bend of that, the same for all photos. Lengths in the photo
// are taken from its middle in units of half its diagonal, places on the target
// in units of half its extent: then all unknowns are of order one.
//
// Shared unknowns are k1, the lens's centre and, where it shows, k2; own ones
// are the homography's eight.
const (
	k1At = iota
	centreXAt
	centreYAt
	k2At
)

// centreWithin is the standard uncertainty of where the lens's centre lies
// about the photo's middle before any grid was seen, in half diagonals
// (judgement: sensors are mounted to some percent). A lens that hardly bends
// does not show its centre.
const centreWithin = 0.05

// gridView is one photo of a grid.
type gridView struct {
	points []geom.GridPoint
	middle r2.Vec  // of the points on the target, steps
	unit   float64 // steps
	seen   []r2.Vec
	whiten [][3]float64 // lower triangle (xx, yx, yy) of the inverse root of the covariance
	keep   []bool
}

// planes are photos of flat grids.
type planes struct {
	views  []gridView
	middle r2.Vec  // of the photo, pixels
	half   float64 // of its diagonal
}

func newPlanes(grids []geom.Grid, w, h int) planes {
	p := planes{middle: r2.Vec{X: float64(w-1) / 2, Y: float64(h-1) / 2}, half: math.Hypot(float64(w), float64(h)) / 2}
	for _, g := range grids {
		v := gridView{points: g.Points}
		lo, hi := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
		for _, q := range g.Points {
			at := r2.Vec{X: float64(q.I), Y: float64(q.J)}
			lo = r2.Vec{X: min(lo.X, at.X), Y: min(lo.Y, at.Y)}
			hi = r2.Vec{X: max(hi.X, at.X), Y: max(hi.Y, at.Y)}
			v.seen = append(v.seen, r2.Scale(1/p.half, r2.Sub(q.At, p.middle)))
			// Cov = L L', and L^-1 makes errors of variance one of it.
			a := math.Sqrt(q.Cov[0][0]) / p.half
			b := q.Cov[1][0] / (a * p.half * p.half)
			c := math.Sqrt(q.Cov[1][1]/(p.half*p.half) - b*b)
			v.whiten = append(v.whiten, [3]float64{1 / a, -b / (a * c), 1 / c})
			v.keep = append(v.keep, true)
		}
		v.middle = r2.Scale(0.5, r2.Add(lo, hi))
		v.unit = max(hi.X-lo.X, hi.Y-lo.Y) / 2
		p.views = append(p.views, v)
	}
	return p
}

// on returns the place of point k on the target.
func (v gridView) on(k int) (x, y float64) {
	return (float64(v.points[k].I) - v.middle.X) / v.unit, (float64(v.points[k].J) - v.middle.Y) / v.unit
}

// start returns the homography without a lens, by linear least squares.
func (v gridView) start() ([]float64, bool) {
	a := mat.NewDense(2*len(v.seen), 8, nil)
	b := mat.NewVecDense(2*len(v.seen), nil)
	for k, q := range v.seen {
		x, y := v.on(k)
		a.SetRow(2*k, []float64{x, y, 1, 0, 0, 0, -q.X * x, -q.X * y})
		a.SetRow(2*k+1, []float64{0, 0, 0, x, y, 1, -q.Y * x, -q.Y * y})
		b.SetVec(2*k, q.X)
		b.SetVec(2*k+1, q.Y)
	}
	var h mat.VecDense
	if h.SolveVec(a, b) != nil {
		return nil, false
	}
	return slices.Clone(h.RawVector().Data), true
}

// unitLens returns the lens for shared unknowns, lengths in half diagonals.
func unitLens(shared []float64) Lens {
	l := Lens{K1: shared[k1At], Centre: r2.Vec{X: shared[centreXAt], Y: shared[centreYAt]}}
	if len(shared) > k2At {
		l.K2 = shared[k2At]
	}
	return l
}

// project returns where the point (x, y) of the target is in the flat picture;
// ok is false behind the camera.
func project(h []float64, x, y float64) (p r2.Vec, w float64, ok bool) {
	w = 1 + h[6]*x + h[7]*y
	p = r2.Vec{X: (h[0]*x + h[1]*y + h[2]) / w, Y: (h[3]*x + h[4]*y + h[5]) / w}
	return p, w, w > 0.05
}

// residuals of the places of all points that are kept.
func (p planes) residuals(view int, shared, own []float64, add func(r float64, byShared, byOwn []float64)) bool {
	byShared := make([]float64, len(shared))
	if view < 0 {
		for _, i := range []int{centreXAt, centreYAt} {
			clear(byShared)
			byShared[i] = 1 / centreWithin
			add(shared[i]/centreWithin, byShared, nil)
		}
		return true
	}
	v, l := p.views[view], unitLens(shared)
	var dShared [2][]float64
	var dOwn [2][]float64
	for i := range 2 {
		dShared[i], dOwn[i] = make([]float64, len(shared)), make([]float64, len(own))
	}
	byOwn := make([]float64, len(own))
	for k, q := range v.seen {
		if !v.keep[k] {
			continue
		}
		x, y := v.on(k)
		flat, w, ok := project(own, x, y)
		if !ok {
			return false
		}
		d := r2.Sub(flat, l.Centre)
		d2 := r2.Norm2(d)
		across, _ := l.stretch(d2)
		// Derivatives of the bent place by the flat one.
		slope := 2*l.K1 + 4*l.K2*d2
		b := [2][2]float64{{across + slope*d.X*d.X, slope * d.X * d.Y}, {slope * d.X * d.Y, across + slope*d.Y*d.Y}}
		for i, di := range []float64{d.X, d.Y} {
			dShared[i][k1At] = di * d2
			if len(shared) > k2At {
				dShared[i][k2At] = di * d2 * d2
			}
			dShared[i][centreXAt], dShared[i][centreYAt] = -b[i][0], -b[i][1]
			dShared[i][centreXAt+i]++
			bx, by := b[i][0]/w, b[i][1]/w
			both := -(bx*flat.X + by*flat.Y)
			copy(dOwn[i], []float64{bx * x, bx * y, bx, by * x, by * y, by, both * x, both * y})
		}
		miss := r2.Sub(l.bend(flat), q)
		white := v.whiten[k]
		add(white[0]*miss.X, scaledTo(byShared, dShared[0], white[0]), scaledTo(byOwn, dOwn[0], white[0]))
		add(white[1]*miss.X+white[2]*miss.Y, mixedTo(byShared, dShared, white), mixedTo(byOwn, dOwn, white))
	}
	return true
}

func scaledTo(out, v []float64, by float64) []float64 {
	for i := range v {
		out[i] = by * v[i]
	}
	return out
}

func mixedTo(out []float64, v [2][]float64, white [3]float64) []float64 {
	for i := range out {
		out[i] = white[1]*v[0][i] + white[2]*v[1][i]
	}
	return out
}

// fit fits lens and homographies to all photos, with k2 where terms is
// four; points that stray from the others take no part. The covariance is
// widened where points stray by more than they claim, and where neighbours
// stray together as along the two ways of a grid.
func (p planes) fit(terms int) (settled, bool) {
	b := bundle{shared: make([]float64, terms)}
	for i := range p.views {
		v := &p.views[i]
		for k := range v.keep {
			v.keep[k] = true
		}
		own, ok := v.start()
		if !ok {
			return settled{}, false
		}
		b.own = append(b.own, own)
	}
	s := settled{bundle: b}
	for range 10 {
		var ok bool
		if s, ok = s.adjust(p.residuals); !ok {
			return settled{}, false
		}
		if p.drop(s.bundle) == 0 {
			break
		}
	}
	s.cov.ScaleSym(p.excess(s), s.cov)
	return s, true
}

// strays returns by how much the points of a view stray, whitened, and in
// pixels.
func (p planes) strays(b bundle, view int) (white, px []r2.Vec) {
	v, l := p.views[view], unitLens(b.shared)
	for k, q := range v.seen {
		x, y := v.on(k)
		flat, _, _ := project(b.own[view], x, y)
		miss := r2.Sub(q, l.bend(flat))
		w := v.whiten[k]
		white = append(white, r2.Vec{X: w[0] * miss.X, Y: w[1]*miss.X + w[2]*miss.Y})
		px = append(px, r2.Scale(p.half, miss))
	}
	return white, px
}

// strayAt is the number of robust standard deviations beyond which a point is
// dropped: of normal errors in two directions four in a million lie beyond.
const strayAt = 5.0

// drop leaves out the points that stray and returns how many points changed
// sides.
func (p planes) drop(b bundle) int {
	var all []float64
	white := make([][]r2.Vec, len(p.views))
	for i := range p.views {
		white[i], _ = p.strays(b, i)
		for _, w := range white[i] {
			all = append(all, w.X, w.Y)
		}
	}
	limit := strayAt * robustSD(all, b.size())
	changed := 0
	for i := range p.views {
		for k, w := range white[i] {
			if keep := r2.Norm(w) <= limit; keep != p.views[i].keep[k] {
				p.views[i].keep[k] = keep
				changed++
			}
		}
	}
	return changed
}

// freedom returns the number of residuals less that of the unknowns.
func (p planes) freedom(b bundle) float64 {
	n := 2 - b.size() // what was known beforehand of the centre counts, too
	for _, v := range p.views {
		for _, k := range v.keep {
			if k {
				n += 2
			}
		}
	}
	return float64(max(n, 1))
}

// excess is by how much the variances are larger than those of independent
// points that stray as they claim. Along each of the grid's two ways a slow
// error is known only as well as from (1-r)/(1+r) times as many points, r being
// the correlation of neighbours.
func (p planes) excess(s settled) float64 {
	var squares, pairs, points, neighbours float64
	for i, v := range p.views {
		white, _ := p.strays(s.bundle, i)
		at := map[[2]int]r2.Vec{}
		for k, q := range v.points {
			if v.keep[k] {
				at[[2]int{q.I, q.J}] = white[k]
			}
		}
		for k, q := range v.points {
			if !v.keep[k] {
				continue
			}
			squares += r2.Norm2(white[k])
			points++
			for _, next := range [][2]int{{q.I + 1, q.J}, {q.I, q.J + 1}} {
				if f, ok := at[next]; ok {
					neighbours += r2.Dot(white[k], f)
					pairs++
				}
			}
		}
	}
	factor := max(1, s.ssq/p.freedom(s.bundle))
	if squares > 0 && pairs > 0 {
		r := min(max(neighbours/pairs*points/squares, 0), 0.9)
		factor *= square((1 + r) / (1 - r))
	}
	return factor
}

// rms returns the root mean square distance, pixels, of a view's points that
// took part from where they should be, and their number.
func (p planes) rms(b bundle, view int) (rms float64, n int) {
	_, px := p.strays(b, view)
	sum := 0.0
	for k, d := range px {
		if p.views[view].keep[k] {
			sum += r2.Norm2(d)
			n++
		}
	}
	return math.Sqrt(sum / float64(max(n, 1))), n
}

// lens returns the fitted lens in pixels.
func (p planes) lens(s settled) Lens {
	l := unitLens(s.shared)
	l.Centre = r2.Add(p.middle, r2.Scale(p.half, l.Centre))
	unit := [4]float64{math.Pow(p.half, -2), math.Pow(p.half, -4), p.half, p.half}
	l.K1 *= unit[0]
	l.K2 *= unit[1]
	at := [4]int{k1At, k2At, centreXAt, centreYAt}
	for i, a := range at {
		for j, b := range at {
			if a < len(s.shared) && b < len(s.shared) {
				l.Cov[i][j] = unit[i] * unit[j] * s.cov.At(a, b)
			}
		}
	}
	return l
}

// pose is how a grid lies before the camera, at the middle of the photo.
type pose struct {
	size  float64 // natural logarithm of a pixel, steps of the grid
	slant r2.Vec  // h, 1/px
	// squash are the two parts of an anisotropy: by how much the pixel's length
	// along x exceeds that along y, and the same for the diagonals.
	squash [2]float64
	along  float64 // direction of the grid's rows, rad
}

func (p planes) pose(own []float64, view int) pose {
	h := mat.NewDense(3, 3, append(slices.Clone(own), 1))
	var g mat.Dense
	if g.Inverse(h) != nil {
		return pose{size: math.NaN()}
	}
	// The target's place is (A p + t)/(g8 + g.p) of the flat place p.
	gx, gy, g8 := g.At(2, 0), g.At(2, 1), g.At(2, 2)
	var j [2][2]float64
	for i := range 2 {
		t := g.At(i, 2)
		j[i][0] = g.At(i, 0)/g8 - t*gx/(g8*g8)
		j[i][1] = g.At(i, 1)/g8 - t*gy/(g8*g8)
	}
	det := j[0][0]*j[1][1] - j[0][1]*j[1][0]
	c00 := j[0][0]*j[0][0] + j[1][0]*j[1][0]
	c11 := j[0][1]*j[0][1] + j[1][1]*j[1][1]
	c01 := j[0][0]*j[0][1] + j[1][0]*j[1][1]
	n := math.Abs(det)
	return pose{
		size:   math.Log(n)/2 + math.Log(p.views[view].unit/p.half),
		slant:  r2.Vec{X: gx / g8 / p.half, Y: gy / g8 / p.half},
		squash: [2]float64{(c00 - c11) / (2 * n), c01 / n},
		along:  math.Atan2(-j[1][0]*sign(det), j[1][1]*sign(det)),
	}
}

func sign(v float64) float64 { return math.Copysign(1, v) }
