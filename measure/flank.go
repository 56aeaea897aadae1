package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"pinlash/measure/uncert"
)

// wornFlank is the wear of one rim on its loaded side.
type wornFlank struct {
	depth            uncert.Quantity // px
	direction, width float64         // rad
	seen             bool            // beyond doubt
	read             bool            // read where the load is, but not beyond doubt
	unseen           bool            // the flank itself was not seen
	shaded           bool            // aside of the line of pull, and maybe a shade
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
	// The direction in which the rim strays most: on the loaded side, or else
	// anywhere, for the pin may have been pulled the other way for the photo.
	best := -1
	for _, side := range []float64{wearSide, math.Pi} {
		bestZ := 0.0
		for i, t := range r.Angle {
			if !math.IsNaN(load) && math.Abs(angleBetween(t, load)) > side {
				continue
			}
			if d, u := r.typical(i, half); u > 0 && d/u > bestZ {
				best, bestZ = i, d/u
			}
		}
		if best >= 0 && bestZ > wearSigmas {
			if w, ok := r.flank(best, contactU); ok {
				return r.orShade(w, load)
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
	d, u := r.typical(at, half)
	if hidden := 1 - r.seenAbout(at, int(wearSide/step)); u == 0 || hidden > mostHidden {
		w := wornFlank{
			depth:     uncert.Combine(0, "px", uncert.Budget{{Name: "flank not seen", U: deepestWear / 2 * r.circle.R}}),
			direction: r.Angle[at],
			unseen:    true,
		}
		if r.hidden > 0 {
			w.depth = uncert.Combine(0, "px", uncert.Budget{{Name: "flank behind a narrow gap", U: r.hidden / 2}})
			w.unseen = false
		}
		return w
	}
	return wornFlank{
		// A flank does not grow: what reads below none is none.
		depth:     uncert.Combine(max(d, 0), "px", r.depthBudget(u, r.Angle[at], contactU)),
		direction: r.Angle[at],
		read:      !math.IsNaN(load),
	}
}

// orFar allows for wear on the far side from the load where no wear was seen, and
// that side neither: the pin may have been pulled the other way for the photo.
func (r rim) orFar(w wornFlank, load float64) wornFlank {
	if w.seen || w.unseen || math.IsNaN(load) || len(r.Angle) == 0 {
		return w
	}
	step := 2 * math.Pi / float64(len(r.Angle))
	if 1-r.seenAbout(nearest(r.Angle, load+math.Pi), int(wearSide/step)) <= mostHidden {
		return w
	}
	w.unseen = true
	return w.doubted("far flank not seen", deepestWear/2*r.circle.R)
}

// orShade allows for a flank aside of the line of pull that is none, but the shade
// of a lamp on one side: a rim read at the foot of a band is read where the
// darkness ends. So it is with a chamfer that is lit on the side of the pull, and
// dark on the far side.
func (r rim) orShade(w wornFlank, load float64) wornFlank {
	aside := 1 - w.onLine(load)
	if r.lit && math.Abs(angleBetween(w.direction, load)) > math.Pi/2 {
		aside = 1
	}
	if r.hidden == 0 && !r.lit || aside == 0 {
		return w
	}
	w.shaded = true
	return w.doubted("worn flank or shade", allOfIt*aside*w.depth.Value)
}

// doubted returns the flank with one more part in the uncertainty of its depth.
func (w wornFlank) doubted(name string, u float64) wornFlank {
	w.depth = uncert.Combine(w.depth.Value, "px", append(slices.Clone(w.depth.Budget), uncert.Term{Name: name, U: u}))
	return w
}

// side returns the rim seen on one side only, less than a right angle from the
// direction towards (rad).
func (r rim) side(towards float64) rim {
	r.U = slices.Clone(r.U)
	for i, t := range r.Angle {
		if math.Abs(angleBetween(t, towards)) > math.Pi/2 {
			r.U[i] = 0
		}
	}
	return r
}

// typical returns the median of how far the rim strays within half directions
// of i, worn sense positive, with its standard uncertainty: that of the light
// or that of the scatter, whichever is the larger. u is 0 where nothing was
// seen.
func (r rim) typical(i, half int) (dev, u float64) {
	n := len(r.Angle)
	var v []float64
	weight := 0.0
	for d := -half; d <= half; d++ {
		if q := (i + d + n) % n; r.U[q] > 0 {
			v = append(v, r.sign*r.Dev[q])
			weight += 1 / (r.U[q] * r.U[q])
		}
	}
	if len(v) == 0 {
		return 0, 0
	}
	return medianU(v, weight)
}

// medianU returns the median of v, which it spoils, and its standard uncertainty
// from the sum of their weights or from their scatter, whichever is the larger.
func medianU(v []float64, weight float64) (mid, u float64) {
	mid = median(v)
	for k := range v {
		v[k] = math.Abs(v[k] - mid)
	}
	// 1.253 is what a median scatters more than a mean.
	return mid, max(math.Sqrt(1/weight), 1.253*1.48*median(v)/math.Sqrt(float64(len(v))))
}

// median returns the middle of v, which it reorders.
func median(v []float64) float64 {
	slices.Sort(v)
	return (v[len(v)/2] + v[(len(v)-1)/2]) / 2
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

// How the directions of a worn flank are told from those that only show oil or
// dirt there.
const (
	flankGap    = 100 * math.Pi / 180 // of the flank that may be covered in one piece
	flankAgree  = 0.5                 // px, within which directions agree on an arc
	flankShare  = 0.5                 // of the directions seen that must lie on it
	flankMisses = 4                   // directions in a row that do not stray end it
	tukeyCut    = 4.685               // standard deviations, beyond which there is no weight
	// A peak farther than seenBeside from the directions that lie on the arc is
	// known the less, and farBeside from them not to be there at all (9 of 29 such
	// flanks of rendered joints were no more than half as deep; 22 of 597 others).
	seenBeside, farBeside = 3 * math.Pi / 180, 20 * math.Pi / 180
)

// flank fits the worn arc about direction i.
//
// The arc is the one on which the most directions agree; those off it, as oil
// and dirt are, get no weight (Tukey's biweight).
func (r rim) flank(i int, contactU float64) (wornFlank, bool) {
	arc := r.strayArc(i)
	if len(arc) < 5 {
		return wornFlank{}, false
	}
	sd := make([]float64, len(r.Angle))
	for _, k := range arc {
		sd[k] = math.Hypot(r.U[k], r.circle.RMS)
	}
	// A circle of radius q shifted by e along the peak is, from the unworn
	// centre, q + e cos t - e^2 sin^2 t/(2q): the last term is added back
	// with the shift found before.
	dev := slices.Clone(r.Dev)
	coef := r.agreedArc(arc, sd)
	var cov *mat.SymDense
	var on []int
	for range 6 {
		bend := (coef[1]*coef[1] + coef[2]*coef[2]) / (2 * r.circle.R)
		peak := math.Atan2(r.sign*coef[2], r.sign*coef[1])
		var z []float64
		for _, k := range arc {
			s := math.Sin(r.Angle[k] - peak)
			dev[k] = r.Dev[k] + bend*s*s
			z = append(z, math.Abs(dev[k]-along(coef, r.Angle[k]))/sd[k])
		}
		excess := max(1, 1.48*median(slices.Clone(z)))
		weighed := make([]float64, len(sd))
		on = on[:0]
		for at, k := range arc {
			if t := z[at] / (excess * tukeyCut); t < 1 {
				weighed[k] = sd[k] * excess / (1 - t*t)
				on = append(on, k)
			}
		}
		var ok bool
		if coef, cov, ok = r.fitHarmonics(1, dev, weighed); !ok {
			return wornFlank{}, false
		}
	}
	if float64(len(on)) < flankShare*float64(len(arc)) {
		return wornFlank{}, false
	}
	first, last := r.Angle[on[0]], r.Angle[on[len(on)-1]]
	width := math.Mod(last-first+4*math.Pi, 2*math.Pi)
	middle := first + width/2
	a, b, peak := r.sign*coef[0], math.Hypot(coef[1], coef[2]), math.Atan2(r.sign*coef[2], r.sign*coef[1])
	if math.Abs(angleBetween(peak, middle)) > width/2 {
		peak = middle
	} else if a < 0 && -a < b {
		// Where the two circles cross the flank ends, covered or not.
		width = 2 * math.Acos(-a/b)
	}
	row := make([]float64, 3)
	basis(peak, row)
	v := variance(cov, row)
	depth := r.sign * along(coef, peak)
	w := wornFlank{
		depth:     uncert.Combine(depth, "px", r.depthBudget(math.Sqrt(max(v, 0)), peak, contactU)),
		direction: math.Mod(peak+2*math.Pi, 2*math.Pi),
		width:     width,
		seen:      true,
	}
	if depth < wearSigmas*math.Sqrt(max(v, 0)) || depth < 2*w.depth.U {
		return w, false
	}
	if aside := r.nearestOf(on, peak); aside > seenBeside {
		w = w.doubted("peak of the flank not seen", allOfIt*min(aside/farBeside, 1)*depth)
	}
	return w, true
}

// nearestOf returns the angle from the direction t (rad) to the nearest of some
// directions.
func (r rim) nearestOf(some []int, t float64) float64 {
	least := math.Pi
	for _, k := range some {
		least = min(least, math.Abs(angleBetween(r.Angle[k], t)))
	}
	return least
}

// along returns a + b cos t + c sin t.
func along(coef []float64, t float64) float64 {
	sin, cos := math.Sincos(t)
	return coef[0] + coef[1]*cos + coef[2]*sin
}

// strayArc returns, in rising order of direction, those about i in which the
// rim was seen: as far as it strays by more than twice its own uncertainty and
// three times the scatter of the unworn part. A few directions that do not are
// stepped over, and some that were not seen.
func (r rim) strayArc(i int) []int {
	n := len(r.Angle)
	least := 3 * r.circle.RMS
	covered := int(flankGap / (2 * math.Pi) * float64(n))
	reach := func(dir int) int {
		last, misses, hidden := 0, 0, 0
		for d := 1; d < n/2 && misses < flankMisses && hidden < covered; d++ {
			q := (i + dir*d + n) % n
			switch {
			case r.U[q] <= 0:
				hidden++
			case r.sign*r.Dev[q] > max(2*r.U[q], least):
				last, misses, hidden = d, 0, 0
			default:
				misses++
			}
		}
		return last
	}
	left, right := reach(-1), reach(1)
	var arc []int
	for d := -left; d <= right; d++ {
		if q := (i + d + n) % n; r.U[q] > 0 {
			arc = append(arc, q)
		}
	}
	return arc
}

// agreedArc returns the a + b cos t + c sin t through three directions of the
// arc on which the most of the others agree.
func (r rim) agreedArc(arc []int, sd []float64) []float64 {
	best, bestScore := []float64{0, 0, 0}, -1.0
	n := len(arc)
	for _, parts := range []int{2, 3, 4, 6} {
		apart := max((n-1)/parts, 1)
		for j := 0; j+2*apart < n; j++ {
			coef, ok := r.through(arc[j], arc[j+apart], arc[j+2*apart])
			if !ok {
				continue
			}
			score := 0.0
			for _, k := range arc {
				// Directions that are known better count for more, as their
				// likelihood does.
				reach := flankAgree + 3*sd[k]
				z := (r.Dev[k] - along(coef, r.Angle[k])) / reach
				if z = z * z; z < 1 {
					score += (1 - z) / reach
				}
			}
			if score > bestScore {
				best, bestScore = coef, score
			}
		}
	}
	return best
}

// through returns the a + b cos t + c sin t through three directions.
func (r rim) through(i, j, k int) ([]float64, bool) {
	s0, c0 := math.Sincos(r.Angle[i])
	s1, c1 := math.Sincos(r.Angle[j])
	s2, c2 := math.Sincos(r.Angle[k])
	det := (c1-c0)*(s2-s0) - (c2-c0)*(s1-s0)
	if math.Abs(det) < 1e-4 {
		return nil, false
	}
	d1, d2 := r.Dev[j]-r.Dev[i], r.Dev[k]-r.Dev[i]
	b := (d1*(s2-s0) - d2*(s1-s0)) / det
	c := ((c1-c0)*d2 - (c2-c0)*d1) / det
	return []float64{r.Dev[i] - b*c0 - c*s0, b, c}, true
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
