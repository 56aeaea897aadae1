package subpixel

import (
	"math"
	"slices"
)

// Comb is the fit of numbered marks by the law of a straight row of even marks
// in a picture taken at a slant,
//
//	x(k) = Mid + Period t / (1 + Slant t),  t = k - KMid
//
// Period is the distance of neighbours at KMid, half-way between the first and
// the last mark that take part.
type Comb struct {
	KMid               float64
	Mid, Period, Slant float64
	UPeriod            float64
	Used               []bool  // per mark: whether it took part
	N                  int     // marks that took part
	RMS                float64 // scatter of those about the fit, pixels
	// Excess is the scatter in units of what the marks' own uncertainties
	// promise, Memory the correlation of neighbouring residuals.
	Excess, Memory float64
	// Rough is Excess without what a cubic takes up: a lens that bends the row
	// leaves the marks as sharp as they were.
	Rough float64
}

// At returns where mark k should be.
func (c Comb) At(k float64) float64 {
	t := k - c.KMid
	return c.Mid + c.Period*t/(1+c.Slant*t)
}

// Change returns the relative change of the period from mark k0 to mark k1,
// to first order in Slant.
func (c Comb) Change(k0, k1 float64) float64 { return -2 * c.Slant * (k1 - k0) }

// FitComb fits marks k at places x with standard uncertainties u.
//
// Wrong marks are found in two steps: a least median of squares over triples
// of marks for a start that up to half of the marks cannot spoil, then least
// squares on the marks within cut robust standard deviations of it (or within
// floor pixels, or grade periods), repeated until the set stands still. UPeriod allows for a
// scatter larger than u and for residuals that are alike from mark to mark.
// Fewer than five marks give ErrNoComb.
func FitComb(k []int, x, u []float64) (Comb, error) {
	// A rule's own graduation errors are of the order of a few thousandths of
	// a division; they are no reason to drop a mark.
	const (
		cut   = 4
		floor = 0.1
		grade = 0.003
	)
	n := len(k)
	if n < 5 {
		return Comb{}, ErrNoComb
	}
	kMid := float64(k[0]+k[n-1]) / 2
	best, ok := combStart(k, x, kMid)
	if !ok {
		return Comb{}, ErrNoComb
	}
	used := make([]bool, n)
	res := make([]float64, n)
	for range 20 {
		for i := range res {
			res[i] = math.Abs(x[i] - best.At(float64(k[i])))
		}
		limit := max(floor, grade*best.Period, cut*1.4826*middle(slices.Clone(res)))
		next := make([]bool, n)
		for i := range next {
			next[i] = res[i] <= limit
		}
		if best, ok = best.about(k, next); !ok {
			return Comb{}, ErrNoComb
		}
		fit, ok := combLeastSquares(k, x, u, next, best)
		if !ok {
			return Comb{}, ErrNoComb
		}
		best = fit
		if slices.Equal(used, next) {
			break
		}
		used = next
	}
	return best, nil
}

// about returns the same law with KMid in the middle of the used marks.
func (c Comb) about(k []int, used []bool) (Comb, bool) {
	first := slices.Index(used, true)
	if first < 0 {
		return Comb{}, false
	}
	last := len(used) - 1
	for !used[last] {
		last--
	}
	mid := float64(k[first]+k[last]) / 2
	d := 1 + c.Slant*(mid-c.KMid)
	if !(d > 0) {
		return Comb{}, false
	}
	return Comb{KMid: mid, Mid: c.At(mid), Period: c.Period / (d * d), Slant: c.Slant / d}, true
}

// combStart is the least median of squares over triples of marks, six from
// each third of the comb, judged by some 30 marks.
func combStart(k []int, x []float64, kMid float64) (Comb, bool) {
	n := len(k)
	every := max(1, n/30)
	best, least := Comb{}, math.Inf(1)
	res := make([]float64, 0, n)
	for _, i := range combPicks(0, n/3+1) {
		for _, j := range combPicks(n/3+1, n-n/3) {
			for _, l := range combPicks(n-n/3, n) {
				c, ok := throughThree(float64(k[i])-kMid, float64(k[j])-kMid, float64(k[l])-kMid, x[i], x[j], x[l])
				if !ok {
					continue
				}
				c.KMid = kMid
				res = res[:0]
				for m := 0; m < n; m += every {
					res = append(res, math.Abs(x[m]-c.At(float64(k[m]))))
				}
				if md := middle(res); md < least {
					best, least = c, md
				}
			}
		}
	}
	return best, !math.IsInf(least, 1)
}

// combPicks returns up to six marks from lo up to hi, unevenly spread: wrong
// marks may well come at every second place.
func combPicks(lo, hi int) []int {
	const most = 6
	var picks []int
	for i := range most {
		_, part := math.Modf(0.3 + float64(i)*0.618034)
		p := lo + int(part*float64(hi-lo))
		if hi > lo && !slices.Contains(picks, p) {
			picks = append(picks, p)
		}
	}
	return picks
}

func throughThree(a, b, c, xa, xb, xc float64) (Comb, bool) {
	if a == b || b == c || a == c {
		return Comb{}, false
	}
	ab, bc := (xb-xa)/(b-a), (xc-xb)/(c-b)
	bend := (bc - ab) / (c - a)
	period := ab - bend*(a+b)
	// A parabola and the slanted law agree to second order.
	return Comb{Mid: xa - a*(period+a*bend), Period: period, Slant: -bend / period}, period > 0
}

// combLeastSquares improves the start by weighted least squares over the used
// marks.
func combLeastSquares(k []int, x, u []float64, used []bool, start Comb) (Comb, bool) {
	c := start
	c.Used = used
	var varPeriod float64
	const rounds = 3 // the law is all but linear in its parameters
	for range rounds {
		sums := normal{n: 3}
		for i := range k {
			if !used[i] {
				continue
			}
			w, t := 1/u[i], float64(k[i])-c.KMid
			s := t / (1 + c.Slant*t)
			sums.add(&[maxParams]float64{w, w * s, -w * c.Period * s * s}, w*(x[i]-c.At(float64(k[i]))))
		}
		step, inv, ok := sums.solve()
		if !ok || sums.count < 5 {
			return Comb{}, false
		}
		c.Mid += step[0]
		c.Period += step[1]
		c.Slant += step[2]
		c.N = sums.count
		varPeriod = inv[1][1]
	}
	// Outside this range a mark would lie beyond the horizon.
	if reach := math.Max(math.Abs(float64(k[0])-c.KMid), math.Abs(float64(k[len(k)-1])-c.KMid)); math.Abs(c.Slant)*reach > 0.5 || !(c.Period > 0) {
		return Comb{}, false
	}
	var ss, chi, cross, prev, square float64
	for i := range k {
		if !used[i] {
			continue
		}
		r := x[i] - c.At(float64(k[i]))
		z := r / u[i]
		ss += r * r
		chi += z * z
		cross += z * prev
		square += z * z
		prev = z
	}
	dof := float64(c.N - 3)
	c.RMS = math.Sqrt(ss / dof)
	c.Excess = math.Sqrt(chi / dof)
	c.Rough = c.rough(k, x, u)
	if square > 0 {
		c.Memory = cross / square
	}
	// Residuals of a fit with three parameters are correlated by about -3/n
	// even when the errors are not.
	rho := math.Max(0, math.Min(0.8, c.Memory+3/float64(c.N)))
	if rho < 2/math.Sqrt(float64(c.N)) {
		rho = 0 // not distinguishable from none
	}
	c.UPeriod = math.Sqrt(varPeriod) * math.Max(1, c.Excess) * math.Sqrt((1+rho)/(1-rho))
	return c, true
}

// rough returns the scatter of the used marks about a cubic through what they
// leave of the law, in units of their own uncertainties.
func (c Comb) rough(k []int, x, u []float64) float64 {
	half := math.Max(math.Abs(float64(k[0])-c.KMid), math.Abs(float64(k[len(k)-1])-c.KMid))
	sums := normal{n: 4}
	var z []float64
	var rows [][maxParams]float64
	for i := range k {
		if !c.Used[i] {
			continue
		}
		w, t := 1/u[i], (float64(k[i])-c.KMid)/half
		rows = append(rows, [maxParams]float64{w, w * t, w * t * t, w * t * t * t})
		z = append(z, w*(x[i]-c.At(float64(k[i]))))
		sums.add(&rows[len(rows)-1], z[len(z)-1])
	}
	cubic, _, ok := sums.solve()
	if !ok || len(z) < 6 {
		return c.Excess
	}
	chi := 0.0
	for i, row := range rows {
		left := z[i]
		for p := range sums.n {
			left -= row[p] * cubic[p]
		}
		chi += left * left
	}
	return math.Sqrt(chi / float64(len(z)-sums.n))
}
