package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// rim is one rim's deviations from its circle. sign is the direction in which
// wear shows: +1 outwards for a bore, -1 inwards for a pin.
type rim struct {
	geom.RimProfile
	circle geom.Circle
	used   []bool
	sign   float64
	// atFoot says that the rim was read at the foot of a band, which shows only
	// where the gap is wide.
	atFoot bool
}

func newRim(p geom.RimProfile, c geom.Circle, pts []geom.EdgePoint, sign float64) rim {
	r := rim{RimProfile: p, circle: c, sign: sign, used: make([]bool, len(p.Angle))}
	for i := range r.used {
		r.used[i] = i < len(pts) && !pts[i].Rejected && p.U[i] > 0
	}
	return r
}

// harmonics fits the rim's deviations; see fitHarmonics.
func (r rim) harmonics(most int, keep func(i int) bool) (coef []float64, cov *mat.SymDense, ok bool) {
	return r.fitHarmonics(most, r.Dev, keep)
}

// fitHarmonics fits sum of a_m cos(m t) + b_m sin(m t), m = 0 to most, to the
// directions that keep says, and returns the coefficients (1, cos t, sin t,
// cos 2t, ...) with their covariance. ok is false where the directions do not
// determine them.
func (r rim) fitHarmonics(most int, dev []float64, keep func(i int) bool) (coef []float64, cov *mat.SymDense, ok bool) {
	n := 2*most + 1
	a := mat.NewSymDense(n, nil)
	b := mat.NewVecDense(n, nil)
	row := make([]float64, n)
	count := 0
	for i, t := range r.Angle {
		if r.U[i] <= 0 || !keep(i) {
			continue
		}
		count++
		basis(t, row)
		w := 1 / (r.U[i] * r.U[i])
		a.SymRankOne(a, w, mat.NewVecDense(n, row))
		b.AddScaledVec(b, w*dev[i], mat.NewVecDense(n, row))
	}
	if count < 2*n {
		return nil, nil, false
	}
	var ch mat.Cholesky
	if !ch.Factorize(a) || ch.Cond() > 1e10 {
		return nil, nil, false
	}
	var x mat.VecDense
	var inv mat.SymDense
	if ch.SolveVecTo(&x, b) != nil || ch.InverseTo(&inv) != nil {
		return nil, nil, false
	}
	coef = make([]float64, n)
	for i := range coef {
		coef[i] = x.AtVec(i)
	}
	return coef, &inv, true
}

// basis fills row with 1, cos t, sin t, cos 2t, sin 2t, ...
func basis(t float64, row []float64) {
	row[0] = 1
	for m := 1; 2*m < len(row); m++ {
		row[2*m], row[2*m-1] = math.Sincos(float64(m) * t)
	}
}

// flattening is an oval that both rims show alike: the sign of a slant.
type flattening struct {
	a, b     float64 // of a cos 2t + b sin 2t, pixels of radius
	u        float64 // standard uncertainty of either
	size     float64 // hypot(a, b)
	bothSeen bool    // both rims were seen far enough round to tell
	seen     bool    // alike on both, and beyond doubt
}

func (f flattening) at(t float64) float64 {
	sin, cos := math.Sincos(2 * t)
	return f.a*cos + f.b*sin
}

// slantDeg returns the slant that flattens a circle of radius r so.
func (f flattening) slantDeg(r float64) float64 {
	return math.Acos(max(0, (r-f.size)/(r+f.size))) * 180 / math.Pi
}

// commonFlattening compares the second harmonic of both rims, each known over
// at least 270 degrees.
func commonFlattening(bore, pin rim) flattening {
	var f flattening
	var c [2][2]float64
	var v [2]float64
	for i, r := range []rim{bore, pin} {
		n := 0
		for _, u := range r.used {
			if u {
				n++
			}
		}
		coef, cov, ok := r.harmonics(2, func(k int) bool { return r.used[k] })
		if !ok || 4*n < 3*len(r.used) {
			return flattening{}
		}
		c[i] = [2]float64{coef[3], coef[4]}
		v[i] = max(cov.At(3, 3), cov.At(4, 4))
	}
	f.bothSeen = true
	w0, w1 := 1/v[0], 1/v[1]
	f.a = (c[0][0]*w0 + c[1][0]*w1) / (w0 + w1)
	f.b = (c[0][1]*w0 + c[1][1]*w1) / (w0 + w1)
	f.u = math.Sqrt(1 / (w0 + w1))
	f.size = math.Hypot(f.a, f.b)
	apart := math.Hypot(c[0][0]-c[1][0], c[0][1]-c[1][1])
	f.seen = f.size > 4*f.u && apart < max(3*math.Sqrt(v[0]+v[1]), 0.3*f.size)
	return f
}

// wornFlank is the wear of one rim on its loaded side.
type wornFlank struct {
	depth            uncert.Quantity // px
	direction, width float64         // rad
	seen             bool            // beyond doubt
	unseen           bool            // the flank itself was not seen
}

// How a worn flank is told from chance (judgement, tried on generated joints).
const (
	wearSide   = 70 * math.Pi / 180 // a flank wears within this of the load
	wearWindow = 10 * math.Pi / 180 // where the depth is read when none is seen
	wearSigmas = 5.0
	// When more than this share of the flank was not seen nothing can be said
	// of its wear but that it is less than deepestWear of the radius.
	mostHidden  = 0.5
	deepestWear = 0.2
)

// wear reads the wear depth of a rim on the side towards load (rad), or, when
// load is not a number, where the rim strays the most. contactU is the standard
// uncertainty of a flank in contact, pixels.
//
// A flank worn by its partner is again round: a circle of the partner's
// radius, shifted along the load. Seen from the unworn circle it is
// a + b cos t over the worn arc, and the depth is its peak.
func (r rim) wear(load, contactU float64) wornFlank {
	n := len(r.Angle)
	if n == 0 {
		return wornFlank{depth: uncert.Combine(0, "px", nil)}
	}
	step := 2 * math.Pi / float64(n)
	half := max(1, int(wearWindow/step))
	mean := func(i int) (dev, u float64) {
		var s, w float64
		k := 0
		for d := -half; d <= half; d++ {
			q := (i + d + n) % n
			if r.U[q] > 0 {
				g := 1 / (r.U[q] * r.U[q])
				s += g * r.sign * r.Dev[q]
				w += g
				k++
			}
		}
		if k == 0 {
			return 0, 0
		}
		return s / w, math.Sqrt(1 / w)
	}
	// The direction in which the rim strays most: on the loaded side, or else
	// anywhere, for the pin may have been pulled the other way for the photo.
	best := -1
	for _, side := range []float64{wearSide, math.Pi} {
		bestZ := 0.0
		for i, t := range r.Angle {
			if !math.IsNaN(load) && math.Abs(angleBetween(t, load)) > side {
				continue
			}
			if d, u := mean(i); u > 0 && d/u > bestZ {
				best, bestZ = i, d/u
			}
		}
		if best >= 0 && bestZ > wearSigmas {
			if w, ok := r.flank(best, contactU); ok {
				return w
			}
		}
	}
	at := best
	if !math.IsNaN(load) {
		at = nearest(r.Angle, load)
	}
	if at < 0 {
		at = 0
	}
	d, u := mean(at)
	if hidden := 1 - r.seenAbout(at, int(wearSide/step)); hidden > mostHidden && !r.atFoot {
		return wornFlank{
			depth:     uncert.Combine(0, "px", uncert.Budget{{Name: "flank not seen", U: deepestWear / 2 * r.circle.R}}),
			direction: r.Angle[at],
			unseen:    true,
		}
	}
	return wornFlank{
		// A flank does not grow: what reads below none is none.
		depth:     uncert.Combine(max(d, 0), "px", r.depthBudget(u, r.Angle[at], contactU)),
		direction: r.Angle[at],
	}
}

// seenAbout returns the share of the directions within reach of i in which the
// rim was seen.
func (r rim) seenAbout(i, reach int) float64 {
	n, seen := len(r.Angle), 0
	for d := -reach; d <= reach; d++ {
		if r.U[(i+d+n)%n] > 0 {
			seen++
		}
	}
	return float64(seen) / float64(2*reach+1)
}

// flank fits the worn arc about direction i.
func (r rim) flank(i int, contactU float64) (wornFlank, bool) {
	n := len(r.Angle)
	// The arc reaches as far as the rim strays by more than twice its own
	// uncertainty and three times the scatter of the unworn part; a few
	// directions that do not are stepped over.
	least := 3 * r.circle.RMS
	reach := func(dir int) int {
		last, miss := 0, 0
		for d := 1; d < n/2 && miss < 4; d++ {
			q := (i + dir*d + n) % n
			if r.U[q] > 0 && r.sign*r.Dev[q] > max(2*r.U[q], least) {
				last, miss = d, 0
			} else {
				miss++
			}
		}
		return last
	}
	left, right := reach(-1), reach(1)
	if left+right+1 < 5 {
		return wornFlank{}, false
	}
	arc := map[int]bool{}
	for d := -left; d <= right; d++ {
		arc[(i+d+n)%n] = true
	}
	// A circle of radius q shifted by e along the peak is, from the unworn
	// centre, q + e cos t - e^2 sin^2 t/(2q): the last term is added back
	// with the shift found before.
	dev := slices.Clone(r.Dev)
	var a, b, c, peak float64
	var cov *mat.SymDense
	for range 3 {
		coef, v, ok := r.fitHarmonics(1, dev, func(k int) bool { return arc[k] })
		if !ok {
			return wornFlank{}, false
		}
		a, b, c, cov = r.sign*coef[0], r.sign*coef[1], r.sign*coef[2], v
		peak = math.Atan2(c, b)
		bend := (b*b + c*c) / (2 * r.circle.R)
		for k := range arc {
			s := math.Sin(r.Angle[k] - peak)
			dev[k] = r.Dev[k] + bend*s*s
		}
	}
	first, lastAngle := r.Angle[(i-left+n)%n], r.Angle[(i+right)%n]
	width := math.Mod(lastAngle-first+4*math.Pi, 2*math.Pi)
	middle := first + width/2
	if math.Abs(angleBetween(peak, middle)) > width/2 {
		peak = middle
	}
	row := make([]float64, 3)
	basis(peak, row)
	v := 0.0
	for p := range row {
		for q := range row {
			v += row[p] * row[q] * cov.At(p, q)
		}
	}
	depth := a + b*row[1] + c*row[2]
	w := wornFlank{
		depth:     uncert.Combine(depth, "px", r.depthBudget(math.Sqrt(max(v, 0)), peak, contactU)),
		direction: math.Mod(peak+2*math.Pi, 2*math.Pi),
		width:     width,
		seen:      true,
	}
	return w, depth > wearSigmas*math.Sqrt(max(v, 0)) && depth > 2*w.depth.U
}

// depthBudget returns the parts of a wear depth in direction t: the rim's own,
// and where the unworn circle lies there.
func (r rim) depthBudget(u, t, contactU float64) uncert.Budget {
	g := [3]float64{math.Cos(t), math.Sin(t), 1}
	v := 0.0
	for i := range g {
		for k := range g {
			v += g[i] * g[k] * r.circle.Cov[i][k]
		}
	}
	return uncert.Budget{
		{Name: "light and texture along the worn flank", U: u},
		{Name: "unworn circle", U: math.Sqrt(max(v, 0)), DF: df(r.circle)},
		{Name: "rim read through a narrow gap", U: contactU},
	}
}

// onLine returns the share of the depth that lies on the line of pull, whose
// direction is load (rad): all of it when that is the line of the wear, less
// to its sides, none across it. Without a line of pull it is the wear's own.
func (w wornFlank) onLine(load float64) float64 {
	if math.IsNaN(load) {
		return 1
	}
	c := math.Abs(math.Cos(angleBetween(w.direction, load)))
	if c > math.Cos(math.Pi/6) {
		return 1
	}
	return c
}

// angleBetween returns a - b, folded to -pi..pi.
func angleBetween(a, b float64) float64 { return math.Remainder(a-b, 2*math.Pi) }

func nearest(angles []float64, t float64) int {
	best, at := math.Inf(1), -1
	for i, a := range angles {
		if d := math.Abs(angleBetween(a, t)); d < best {
			best, at = d, i
		}
	}
	return at
}

// roundness returns the difference of the largest and the smallest radius of
// the rim, taken from its harmonics up to the fifth: shorter waves are grain.
func (r rim) roundness() uncert.Quantity {
	const most = 5
	coef, cov, ok := r.harmonics(most, func(int) bool { return true })
	if !ok {
		return uncert.Combine(0, "px", uncert.Budget{{Name: "rim not seen far enough round", U: 2 * r.circle.RMS}})
	}
	row := make([]float64, 2*most+1)
	hi, lo := math.Inf(-1), math.Inf(1)
	var at [2]float64
	for i := range 360 {
		t := 2 * math.Pi * float64(i) / 360
		basis(t, row)
		v := 0.0
		for k := range row {
			v += coef[k] * row[k]
		}
		if v > hi {
			hi, at[0] = v, t
		}
		if v < lo {
			lo, at[1] = v, t
		}
	}
	top, bottom := make([]float64, len(row)), make([]float64, len(row))
	basis(at[0], top)
	basis(at[1], bottom)
	v := 0.0
	for p := range top {
		for q := range top {
			v += (top[p] - bottom[p]) * (top[q] - bottom[q]) * cov.At(p, q)
		}
	}
	return uncert.Combine(hi-lo, "px", uncert.Budget{{Name: "light and texture along the rim", U: math.Sqrt(max(v, 0))}})
}

// profile joins both rims by direction, in mm.
func profile(bore, pin rim, mmPerPx float64) []WearBin {
	out := make([]WearBin, len(bore.Angle))
	for i, t := range bore.Angle {
		out[i] = WearBin{AngleDeg: t * 180 / math.Pi, Bore: bore.Dev[i] * mmPerPx, BoreU: bore.U[i] * mmPerPx}
		if k := nearest(pin.Angle, t); k >= 0 {
			out[i].Pin, out[i].PinU = -pin.Dev[k]*mmPerPx, pin.U[k]*mmPerPx
		}
	}
	return out
}
