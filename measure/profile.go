package measure

import (
	"math"

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
	// hidden is the widest gap, pixels, beside which the rim could not be read,
	// when it was read at the foot of a band: it cannot be worn deeper there.
	// 0 for a rim read everywhere.
	hidden float64
}

func newRim(p geom.RimProfile, c geom.Circle, pts []geom.EdgePoint, sign float64) rim {
	r := rim{RimProfile: p, circle: c, sign: sign, used: make([]bool, len(p.Angle))}
	for i := range r.used {
		r.used[i] = i < len(pts) && !pts[i].Rejected && p.U[i] > 0
	}
	return r
}

// harmonics fits the rim's deviations in the directions that keep says; see
// fitHarmonics.
func (r rim) harmonics(most int, keep func(i int) bool) (coef []float64, cov *mat.SymDense, ok bool) {
	sd := make([]float64, len(r.Angle))
	for i := range sd {
		if keep(i) {
			sd[i] = r.U[i]
		}
	}
	return r.fitHarmonics(most, r.Dev, sd)
}

// fitHarmonics fits sum of a_m cos(m t) + b_m sin(m t), m = 0 to most, to the
// directions whose standard deviation sd is not 0, and returns the coefficients
// (1, cos t, sin t, cos 2t, ...) with their covariance. ok is false where the
// directions do not determine them.
func (r rim) fitHarmonics(most int, dev, sd []float64) (coef []float64, cov *mat.SymDense, ok bool) {
	n := 2*most + 1
	a := mat.NewSymDense(n, nil)
	b := mat.NewVecDense(n, nil)
	row := make([]float64, n)
	count := 0
	for i, t := range r.Angle {
		if sd[i] <= 0 {
			continue
		}
		count++
		basis(t, row)
		w := 1 / (sd[i] * sd[i])
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
// the rim where it was seen, taken from its harmonics up to the fifth: shorter
// waves are grain.
//
// A round rim shows a difference, too, by chance. What it would show at
// typical is taken off in squares, and as long as it may be all there is, the
// interval reaches down to none.
func (r rim) roundness() uncert.Quantity {
	const most = 5
	coef, cov, ok := r.harmonics(most, func(int) bool { return true })
	if !ok {
		return uncert.Combine(0, "px", uncert.Budget{{Name: "rim not seen far enough round", U: 2 * r.circle.RMS}})
	}
	row := make([]float64, 2*most+1)
	// Neighbouring directions share grain and light, which their own
	// uncertainties leave out: the scatter about the shape says by how much.
	scatter, n := 0.0, 0
	for i, t := range r.Angle {
		if r.U[i] > 0 {
			basis(t, row)
			z := (r.Dev[i] - dot(coef, row)) / r.U[i]
			scatter, n = scatter+z*z, n+1
		}
	}
	more := max(1, scatter/float64(max(n-len(row), 1)))
	hi, lo := math.Inf(-1), math.Inf(1)
	var at [2]float64
	chance := 0.0
	for i, t := range r.Angle {
		if r.U[i] <= 0 {
			continue
		}
		basis(t, row)
		v := dot(coef, row)
		if v > hi {
			hi, at[0] = v, t
		}
		if v < lo {
			lo, at[1] = v, t
		}
		clear(row[:3]) // the circle has taken what one shows of these
		chance += more * variance(cov, row) / float64(n)
	}
	top, bottom := make([]float64, len(row)), make([]float64, len(row))
	basis(at[0], top)
	basis(at[1], bottom)
	for k := range top {
		top[k] -= bottom[k]
	}
	typical := shapeRange * math.Sqrt(chance)
	value := math.Sqrt(max(0, (hi-lo)*(hi-lo)-typical*typical))
	return uncert.Combine(value, "px", uncert.Budget{
		{Name: "light and texture along the rim", U: math.Sqrt(max(0, more*variance(cov, top)))},
		{Name: "what a round rim shows by chance", U: typical / 2 * min(1, typical/max(value, 1e-9))},
	})
}

// shapeRange is the range of a shape of the second to the fifth harmonic, all
// of one variance, over its standard deviation: 3.8 on the mean of simulated
// ones, which scatter by 1.0 about it.
const shapeRange = 3.8

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// variance returns that of the sum of coefficients with the given factors.
func variance(cov *mat.SymDense, row []float64) float64 {
	v := 0.0
	for p := range row {
		for q := range row {
			v += row[p] * row[q] * cov.At(p, q)
		}
	}
	return v
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
