package subpixel

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// rimFit is the shift and growth of both circles that fits the sectors:
// bore x, y, R, pin x, y, R.
type rimFit struct {
	step            [6]float64
	cov             [6][6]float64
	scatter, excess float64
	boreIn, pinIn   int
	boreRMS, pinRMS float64
}

// rim is one rim's deviations by direction.
type rim struct {
	cos, sin, dev, sd []float64
	ok                []bool
}

// fitRims fits both circles to the deviations of the sectors.
//
// Each rim first finds the circle on which most sectors agree (three-point
// trials), so that a worn flank, glare or oil over up to half of the rim
// cannot pull it. Sectors off that circle get no or little weight (Tukey's
// biweight) in the joint fit, which weighs each sector by the inverse of the
// 2 x 2 covariance of its two rims.
func fitRims(sectors []Sector) (rimFit, bool) {
	n := len(sectors)
	bore, pin := newRim(n), newRim(n)
	for i, s := range sectors {
		bore.set(i, s.Angle, s.Bore, s.VarBore, s.Fitted)
		pin.set(i, s.PinAngle, s.Pin, s.VarPin, s.Fitted)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	pb, eb, okB := bore.agree(rng)
	pp, ep, okP := pin.agree(rng)
	if !okB || !okP {
		return rimFit{}, false
	}
	var f rimFit
	p := [6]float64{pb[1], pb[2], pb[0], pp[1], pp[2], pp[0]}
	wb, wp := make([]float64, n), make([]float64, n)
	for range 12 {
		eb = bore.weigh(p[2], p[0], p[1], eb, wb)
		ep = pin.weigh(p[5], p[3], p[4], ep, wp)
		f.excess = max(eb, ep)
		a := mat.NewSymDense(6, nil)
		b := mat.NewVecDense(6, nil)
		for i, s := range sectors {
			addSector(a, b, &bore, &pin, i, s, wb[i], wp[i])
		}
		var ch mat.Cholesky
		if !ch.Factorize(a) || ch.Cond() > 1e12 {
			return f, false
		}
		var x mat.VecDense
		if ch.SolveVecTo(&x, b) != nil {
			return f, false
		}
		var inv mat.SymDense
		if ch.InverseTo(&inv) != nil {
			return f, false
		}
		change := 0.0
		for i := range p {
			change += math.Abs(x.AtVec(i) - p[i])
			p[i] = x.AtVec(i)
			for k := range p {
				f.cov[i][k] = inv.At(i, k)
			}
		}
		if change < 1e-4 {
			break
		}
	}
	wide := bore.growth(p[2], p[0], p[1], eb, wb)
	widp := pin.growth(p[5], p[3], p[4], ep, wp)
	for i := range f.cov {
		for k := range f.cov {
			f.cov[i][k] *= pick(i, wide, widp) * pick(k, wide, widp)
		}
	}
	f.step = p
	f.boreRMS, f.boreIn = bore.rms(p[2], p[0], p[1], wb)
	f.pinRMS, f.pinIn = pin.rms(p[5], p[3], p[4], wp)
	f.scatter = max(f.boreRMS, f.pinRMS)
	for i := range sectors {
		sectors[i].BoreUsed, sectors[i].PinUsed = wb[i]*eb*eb > 0.1, wp[i]*ep*ep > 0.1
	}
	return f, f.boreIn >= 8 && f.pinIn >= 8
}

func pick(i int, bore, pin float64) float64 {
	if i < 3 {
		return bore
	}
	return pin
}

// addSector adds one sector to the joint normal equations.
func addSector(a *mat.SymDense, b *mat.VecDense, bore, pin *rim, i int, s Sector, wb, wp float64) {
	if wb == 0 && wp == 0 {
		return
	}
	det := s.VarBore*s.VarPin - s.CovBP*s.CovBP
	if wb == 0 || wp == 0 || det < 1e-6*s.VarBore*s.VarPin {
		if wb > 0 {
			addRow(a, b, 0, bore, i, 0, bore, i, wb/s.VarBore, wb/s.VarBore*s.Bore)
		}
		if wp > 0 {
			addRow(a, b, 3, pin, i, 3, pin, i, wp/s.VarPin, wp/s.VarPin*s.Pin)
		}
		return
	}
	both := math.Sqrt(wb * wp)
	ib, ip, ibp := wb*s.VarPin/det, wp*s.VarBore/det, -both*s.CovBP/det
	addRow(a, b, 0, bore, i, 0, bore, i, ib, ib*s.Bore+ibp*s.Pin)
	addRow(a, b, 3, pin, i, 3, pin, i, ip, ip*s.Pin+ibp*s.Bore)
	addRow(a, nil, 0, bore, i, 3, pin, i, ibp, 0)
}

// addRow adds w times the product of two rims' design rows (cos, sin, 1) at
// the given offsets, and rhs times the first.
func addRow(a *mat.SymDense, b *mat.VecDense, o1 int, r1 *rim, i1, o2 int, r2 *rim, i2 int, w, rhs float64) {
	u := [3]float64{r1.cos[i1], r1.sin[i1], 1}
	v := [3]float64{r2.cos[i2], r2.sin[i2], 1}
	for p := range u {
		for q := range v {
			if o1 == o2 && q < p {
				continue
			}
			a.SetSym(o1+p, o2+q, a.At(o1+p, o2+q)+w*u[p]*v[q])
		}
		if b != nil {
			b.SetVec(o1+p, b.AtVec(o1+p)+rhs*u[p])
		}
	}
}

func newRim(n int) rim {
	return rim{make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]bool, n)}
}

func (r *rim) set(i int, angle, dev, variance float64, ok bool) {
	r.sin[i], r.cos[i] = math.Sincos(angle)
	r.dev[i], r.ok[i] = dev, ok
	r.sd[i] = math.Sqrt(variance)
}

func (r *rim) residual(i int, a, x, y float64) float64 {
	return r.dev[i] - a - x*r.cos[i] - y*r.sin[i]
}

// agree returns the growth and shift (a, x, y) on which the most sectors
// agree, and the excess of their residuals over their standard deviations.
func (r *rim) agree(rng *rand.Rand) (best [3]float64, excess float64, ok bool) {
	var at []int
	var sds []float64
	for i, ok := range r.ok {
		if ok {
			at = append(at, i)
			sds = append(sds, r.sd[i])
		}
	}
	if len(at) < 8 {
		return best, 0, false
	}
	band := max(3*middle(sds), 0.25)
	bestScore := -1.0
	for range 150 {
		i, j, k := at[rng.IntN(len(at))], at[rng.IntN(len(at))], at[rng.IntN(len(at))]
		c, ok := r.through(i, j, k)
		if !ok {
			continue
		}
		score := 0.0
		for _, q := range at {
			z := r.residual(q, c[0], c[1], c[2]) / (band + r.sd[q])
			if z = z * z; z < 1 {
				score += 1 - z
			}
		}
		if score > bestScore {
			best, bestScore = c, score
		}
	}
	return best, r.agreed(best, band), bestScore > 0
}

// through solves for the circle through three sectors.
func (r *rim) through(i, j, k int) ([3]float64, bool) {
	c1, s1 := r.cos[j]-r.cos[i], r.sin[j]-r.sin[i]
	c2, s2 := r.cos[k]-r.cos[i], r.sin[k]-r.sin[i]
	det := c1*s2 - c2*s1
	if math.Abs(det) < 0.5 {
		return [3]float64{}, false
	}
	d1, d2 := r.dev[j]-r.dev[i], r.dev[k]-r.dev[i]
	x := (d1*s2 - d2*s1) / det
	y := (c1*d2 - c2*d1) / det
	return [3]float64{r.dev[i] - x*r.cos[i] - y*r.sin[i], x, y}, true
}

// tukeyCut is the residual, in standard deviations, from which on a sector has
// no weight: Tukey's biweight keeps 95 % efficiency with it.
const tukeyCut = 4.685

// weigh sets w to Tukey's weights about the circle, divided by the square of
// the excess of the residuals over their standard deviations, which it
// returns. before is the excess found before: only sectors within three times
// that speak, so that a worn or dirty part does not set the scale.
func (r *rim) weigh(a, x, y, before float64, w []float64) float64 {
	z := make([]float64, 0, len(r.ok))
	for i, ok := range r.ok {
		if ok {
			if q := math.Abs(r.residual(i, a, x, y)) / r.sd[i]; q < 3*before {
				z = append(z, q)
			}
		}
	}
	excess := before
	if len(z) >= 8 {
		excess = max(middle(z)/medianWithin3, 1)
	}
	for i, ok := range r.ok {
		w[i] = 0
		if !ok {
			continue
		}
		t := r.residual(i, a, x, y) / (r.sd[i] * excess * tukeyCut)
		if t = t * t; t < 1 {
			w[i] = (1 - t) * (1 - t) / (excess * excess)
		}
	}
	guardRuns(w)
	return excess
}

// guardRuns takes the weight from the sectors beside a long run without
// weight: where a worn flank begins it strays too little to be told, and
// always to the same side.
func guardRuns(w []float64) {
	const long, guard = 4, 3
	n := len(w)
	off := make([]bool, n)
	for i := range w {
		run := 0
		for run < long && w[(i+run)%n] == 0 {
			run++
		}
		if run == long {
			for d := -guard; d < long+guard; d++ {
				off[(i+d+n)%n] = true
			}
		}
	}
	for i, o := range off {
		if o {
			w[i] = 0
		}
	}
}

// medianWithin3 is the median of |z| of a normal distribution cut off at 3
// standard deviations.
const medianWithin3 = 0.6723

// agreed returns the excess of the sectors that lie within band of the circle.
func (r *rim) agreed(c [3]float64, band float64) float64 {
	var z []float64
	for i, ok := range r.ok {
		if ok {
			if d := math.Abs(r.residual(i, c[0], c[1], c[2])); d < band+r.sd[i] {
				z = append(z, d/r.sd[i])
			}
		}
	}
	return max(1.5*middle(z), 1)
}

// growth returns by how much the uncertainty that the weights w claim for the
// circle is to be multiplied: the scatter of the residuals about it decides,
// not what the light predicts, and neighbouring sectors that err alike count
// for fewer.
//
// With psi = w z, z a residual over its standard deviation, a robust fit has
// the variance factor mean(psi^2)/mean(psi')^2 (Huber 1981, section 7.6), while
// the inverse normal matrix has 1/mean(w). Correlation rho of neighbours, of
// the first-order kind, gives (1+rho)/(1-rho); residuals about a fit of three
// parameters show it too small by about 3/n. Nothing makes neighbours err in
// opposite ways, so that a rho below zero is chance.
func (r *rim) growth(a, x, y, excess float64, w []float64) float64 {
	n := len(w)
	psi := make([]float64, n)
	var seen, weights, sumsq, slope float64
	for i := range w {
		if !r.ok[i] {
			continue
		}
		seen++
		z := r.residual(i, a, x, y) / r.sd[i]
		psi[i] = w[i] * z
		weights += w[i]
		sumsq += psi[i] * psi[i]
		if t := z / (excess * tukeyCut); math.Abs(t) < 1 {
			slope += (1 - t*t) * (1 - 5*t*t) / (excess * excess)
		}
	}
	var pairs, product float64
	for i := range w {
		if k := (i + 1) % n; w[i] > 0 && w[k] > 0 {
			pairs += (psi[i]*psi[i] + psi[k]*psi[k]) / 2
			product += psi[i] * psi[k]
		}
	}
	if pairs == 0 || slope <= 0 || seen <= 3 {
		return 1
	}
	rho := max(0, min(product/pairs+3/seen, 0.8))
	return math.Sqrt(sumsq * weights / (slope * slope) * seen / (seen - 3) * (1 + rho) / (1 - rho))
}

// rms returns how far the n directions with a weight lie from the circle, each
// counted by how well it was read: one read through a narrow gap says little.
func (r *rim) rms(a, x, y float64, w []float64) (rms float64, n int) {
	var sum, weights float64
	for i := range w {
		if w[i] > 0 {
			d := r.residual(i, a, x, y) / r.sd[i]
			sum += d * d
			weights += 1 / (r.sd[i] * r.sd[i])
			n++
		}
	}
	if n > 0 {
		rms = math.Sqrt(sum / weights)
	}
	return rms, n
}

// apply moves the circles of f, leaves the sectors' deviations about the
// moved circles, and returns how far anything moved.
func (t *rimFit) apply(f *CrescentFit) (moved float64) {
	for i := range f.Sectors {
		s := &f.Sectors[i]
		sb, cb := math.Sincos(s.Angle)
		sp, cp := math.Sincos(s.PinAngle)
		s.Bore -= t.step[2] + t.step[0]*cb + t.step[1]*sb
		s.Pin -= t.step[5] + t.step[3]*cp + t.step[4]*sp
		_, gap := f.pinAngle(s.Angle)
		s.gap = gap + (t.step[2] + t.step[0]*cb + t.step[1]*sb) - (t.step[5] + t.step[3]*cp + t.step[4]*sp)
	}
	f.Bore.Center = r2.Add(f.Bore.Center, r2.Vec{X: t.step[0], Y: t.step[1]})
	f.Bore.R += t.step[2]
	f.Pin.Center = r2.Add(f.Pin.Center, r2.Vec{X: t.step[3], Y: t.step[4]})
	f.Pin.R += t.step[5]
	f.Cov, f.Scatter, f.Excess = t.cov, t.scatter, t.excess
	f.Bore.Inliers, f.Pin.Inliers = t.boreIn, t.pinIn
	f.Bore.RMS, f.Pin.RMS = t.boreRMS, t.pinRMS
	for i := range 3 {
		for k := range 3 {
			f.Bore.Cov[i][k] = t.cov[i][k]
			f.Pin.Cov[i][k] = t.cov[i+3][k+3]
		}
	}
	for _, v := range t.step {
		moved += math.Abs(v)
	}
	return moved
}

// circle fits growth and shift (a, x, y) of one rim by itself. The covariance
// is in the order x, y, a; spread is the robust scatter of the residuals.
func (r *rim) circle() (p [3]float64, cov [3][3]float64, spread float64, ok bool) {
	p, excess, ok := r.agree(rand.New(rand.NewPCG(1, 2)))
	if !ok {
		return p, cov, 0, false
	}
	w := make([]float64, len(r.dev))
	for range 10 {
		excess = r.weigh(p[0], p[1], p[2], excess, w)
		m := normal{n: 3}
		for i, wi := range w {
			if wi > 0 {
				q := math.Sqrt(wi) / r.sd[i]
				j := [maxParams]float64{q * r.cos[i], q * r.sin[i], q}
				m.add(&j, q*r.residual(i, p[0], p[1], p[2]))
			}
		}
		x, inv, solved := m.solve()
		if !solved {
			return p, cov, 0, false
		}
		p[1] += x[0]
		p[2] += x[1]
		p[0] += x[2]
		for i := range cov {
			for k := range cov {
				cov[i][k] = inv[i][k]
			}
		}
	}
	var res []float64
	for i, seen := range r.ok {
		if seen {
			res = append(res, math.Abs(r.residual(i, p[0], p[1], p[2])))
		}
	}
	return p, cov, 1.48 * middle(res), true
}
