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
