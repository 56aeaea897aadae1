package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"pinlash/measure/geom"
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
	// lit says that the light beside the rim is that of a chamfer.
	lit bool
}

func newRim(p geom.RimProfile, c geom.Circle, pts []geom.EdgePoint, sign float64) rim {
	r := rim{RimProfile: p, circle: c, sign: sign, used: make([]bool, len(p.Angle))}
	for i := range r.used {
		r.used[i] = i < len(pts) && !pts[i].Rejected && p.U[i] > 0
	}
	return r
}

// A rim that seems to have grown by more than growSigmas standard uncertainties,
// grain of grainU pixels at least, is none: metal does not grow.
const (
	growSigmas = 3.0
	grainU     = 0.1
)

// unspoiled returns both rims without the directions in which one of them seems
// to have grown: oil or a scratch was read as the gap there, so that the other
// rim was not seen either.
func unspoiled(bore, pin rim) (rim, rim) {
	grown := func(r rim, i int) bool {
		return r.U[i] > 0 && -r.sign*r.Dev[i] > growSigmas*max(r.U[i], grainU)
	}
	b, p := slices.Clone(bore.U), slices.Clone(pin.U)
	for i := range min(len(b), len(p)) {
		if grown(bore, i) || grown(pin, i) {
			b[i], p[i] = 0, 0
		}
	}
	bore.U, pin.U = b, p
	return bore, pin
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
