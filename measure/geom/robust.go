package geom

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// FitCircle returns the circle of the points of a rim that may be overlaid by
// glare, dirt or wear on less than half of it. Trial circles through three
// points are held against the median distance of all (least median of
// squares, P. J. Rousseeuw, J. Am. Stat. Assoc. 79, 1984), which no minority
// can pull; from the best of them Tukey's weights lead to the geometric
// circle, each point weighted with 1/U^2. Rejected points take no part.
//
// The covariance of (x, y, R) is that of the M-estimate (Huber, Robust
// Statistics, 1981, section 7.6) over the points kept. When the points'
// uncertainties are stated it is not made smaller than they say, and larger
// when the points scatter more; when all are zero the scatter alone decides,
// and four points are needed instead of three. Points too few or too straight
// to fix a circle give an error: ErrTooFew, ErrNoSpread, ErrCollinear,
// ErrAllRejected.
func FitCircle(pts []EdgePoint, opt FitOptions) (Circle, error) {
	_, circle, err := FitRim(pts, opt)
	return circle, err
}

// FitRim is FitCircle that also returns a copy of the points in which those
// left out are rejected as "off the circle".
func FitRim(pts []EdgePoint, opt FitOptions) ([]EdgePoint, Circle, error) {
	c, err := newCloud(pts)
	if err != nil {
		return nil, Circle{}, err
	}
	if err := c.enoughForCircle(); err != nil {
		return nil, Circle{}, err
	}
	g, scale, err := c.trialCircle(opt.rand())
	if err != nil {
		return nil, Circle{}, err
	}
	if g, err = c.tukey(g, scale); err != nil {
		return nil, Circle{}, err
	}
	keep, spread, err := c.kept(g, scale)
	if err != nil {
		return nil, Circle{}, err
	}
	circle, err := c.finish(g, keep, spread)
	if err != nil {
		return nil, Circle{}, err
	}
	return marked(pts, keep), circle, nil
}

// marked returns pts with those not kept rejected; keep runs over the points
// that were not rejected before.
func marked(pts []EdgePoint, keep []bool) []EdgePoint {
	out := slices.Clone(pts)
	k := 0
	for i := range out {
		if out[i].Rejected {
			continue
		}
		if !keep[k] {
			out[i].Rejected, out[i].Why = true, "off the circle"
		}
		k++
	}
	return out
}

const (
	// trials is the number of three-point circles drawn. With 40 % of the
	// points off the rim one draw in five is clean, and two hundred then miss
	// once in 10^19; the rest is for draws too close together.
	trials = 200
	// tukeyCut is where Tukey's weight ends, in standard deviations: 95 % of
	// the efficiency of least squares when nothing is wrong.
	tukeyCut = 4.685
	// sigmaPerMAD is the standard deviation of a normal per median distance.
	sigmaPerMAD = 1.4826
	// trimCut and trimmedSigma: the standard deviation of a normal cut at 2.5
	// standard deviations is 0.9546 of the whole.
	trimCut, trimmedSigma = 2.5, 0.9546
)

// trialCircle returns a circle that fits the better half of the points, and
// the standard deviation of the normalised distances of those near it.
func (c cloud) trialCircle(rnd *rand.Rand) (ring, float64, error) {
	n := len(c.at)
	half := (n + 4) / 2 // points to be matched: (n + parameters + 1)/2
	z := make([]float64, n)
	score := func(g ring) float64 {
		for i, p := range c.at {
			z[i] = math.Abs(g.off(p)) / c.u[i]
		}
		return kth(z, half-1)
	}
	best, least := ring{}, math.Inf(1)
	try := func(g ring, err error) {
		if err != nil {
			return
		}
		if s := score(g); s < least {
			best, least = g, s
		}
	}
	try(c.taubin())
	for range trials {
		i, j, k := rnd.IntN(n), rnd.IntN(n), rnd.IntN(n)
		if i != j && j != k && k != i {
			try(cloud{at: []r2.Vec{c.at[i], c.at[j], c.at[k]}}.kasa())
		}
	}
	if math.IsInf(least, 1) {
		return ring{}, 0, ErrCollinear
	}
	if n == 3 {
		return best, 1, nil
	}
	// A circle through three points carries their noise; a few rounds of
	// refitting its better half remove most of it.
	for range 5 {
		try(cloud{at: c.near(best, score(best))}.taubin())
	}
	scale := sigmaPerMAD * (1 + 5/float64(n-3)) * least
	for range 5 {
		var sum float64
		weight := make([]float64, n)
		inside := 0
		for i, p := range c.at {
			if z := math.Abs(best.off(p)) / c.u[i]; z <= trimCut*scale {
				weight[i] = 1
				sum += z * z
				inside++
			}
		}
		if inside <= 3 {
			break
		}
		g, err := c.geometric(best, weight)
		if err != nil {
			break
		}
		best, scale = g, math.Sqrt(sum/float64(inside-3))/trimmedSigma
	}
	return best, scale, nil
}

// near returns the points within a normalised distance of the ring.
func (c cloud) near(g ring, limit float64) []r2.Vec {
	var out []r2.Vec
	for i, p := range c.at {
		if math.Abs(g.off(p))/c.u[i] <= limit {
			out = append(out, p)
		}
	}
	return out
}

// tukey moves the ring to the minimum of Tukey's loss for a fixed scale.
func (c cloud) tukey(g ring, scale float64) (ring, error) {
	weight := make([]float64, len(c.at))
	for range 500 {
		for i, p := range c.at {
			weight[i] = sq(max(0, 1-sq(c.cut(g, p, i, scale))))
		}
		next, err := c.geometric(g, weight)
		if err != nil {
			return ring{}, err
		}
		move := max(math.Abs(next.x-g.x), math.Abs(next.y-g.y), math.Abs(next.r-g.r)) / max(1, g.r)
		g = next
		if move < 1e-10 {
			return g, nil
		}
	}
	return ring{}, ErrUnsettled
}

// cut returns the distance of point i as a share of the distance at which
// Tukey's weight ends.
func (c cloud) cut(g ring, p r2.Vec, i int, scale float64) float64 {
	// Points without any noise leave a scale of nothing but rounding.
	return g.off(p) / (tukeyCut * max(scale*c.u[i], 1e-12*max(1, g.r)))
}

// kept says which points have a say in the fit, and returns the variance of
// the M-estimate relative to that of least squares on points with the stated
// uncertainties: sum(psi^2)/(n - 3) / mean(psi')^2.
func (c cloud) kept(g ring, scale float64) (keep []bool, spread float64, err error) {
	keep = make([]bool, len(c.at))
	var psi2, slope, n float64
	for i, p := range c.at {
		t := c.cut(g, p, i, scale)
		if keep[i] = math.Abs(t) < 1; keep[i] {
			n++
			psi2 += sq(g.off(p) / c.u[i] * sq(1-t*t))
			slope += (1 - t*t) * (1 - 5*t*t)
		}
	}
	switch {
	case n < 3 || n == 3 && !c.stated:
		return nil, 0, ErrTooFew
	case n == 3:
		return keep, 1, nil
	}
	return keep, psi2 / (n - 3) / sq(slope/n), nil
}

// kth returns the k-th smallest value, counted from zero, and leaves v in
// another order.
func kth(v []float64, k int) float64 {
	low, high := 0, len(v)-1
	for low < high {
		pivot := v[(low+high)/2]
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	return v[low]
}
