package subpixel

import "math"

// normal collects the normal equations A x = b of a small least-squares
// problem with up to maxParams unknowns.
type normal struct {
	n int
	a [maxParams][maxParams]float64
	b [maxParams]float64
	// sumsq is the sum of the squared residuals at the start.
	sumsq float64
	count int
}

const maxParams = 8

// add takes one residual (data minus model) with its derivatives.
func (m *normal) add(j *[maxParams]float64, res float64) {
	for i := 0; i < m.n; i++ {
		ji := j[i]
		if ji == 0 {
			continue
		}
		for k := 0; k <= i; k++ {
			m.a[i][k] += ji * j[k]
		}
		m.b[i] += ji * res
	}
	m.sumsq += res * res
	m.count++
}

// addUnseen takes a datum of which no more is known than what the gradient and the
// curvature of its likelihood say, in the units of a residual and of its weight; it
// does not count among the residuals.
func (m *normal) addUnseen(j *[maxParams]float64, gradient, curvature float64) {
	for i := 0; i < m.n; i++ {
		for k := 0; k <= i; k++ {
			m.a[i][k] += curvature * j[i] * j[k]
		}
		m.b[i] += gradient * j[i]
	}
}

// plus adds the sums of another problem times by, which may be -1 to take them
// out again.
func (m *normal) plus(o normal, by int) {
	for i := range m.a {
		for k := range m.a {
			m.a[i][k] += float64(by) * o.a[i][k]
		}
		m.b[i] += float64(by) * o.b[i]
	}
	m.sumsq += float64(by) * o.sumsq
	m.count += by * o.count
}

// solve returns the step and the inverse of A by Cholesky decomposition, and
// whether A was positive definite.
func (m *normal) solve() (x [maxParams]float64, inv [maxParams][maxParams]float64, ok bool) {
	var l [maxParams][maxParams]float64
	for i := 0; i < m.n; i++ {
		for k := 0; k <= i; k++ {
			s := m.a[i][k]
			for p := 0; p < k; p++ {
				s -= l[i][p] * l[k][p]
			}
			if i == k {
				if !(s > 1e-12*m.a[i][i]) || s == 0 {
					return x, inv, false
				}
				l[i][i] = math.Sqrt(s)
			} else {
				l[i][k] = s / l[k][k]
			}
		}
	}
	column := func(rhs [maxParams]float64) [maxParams]float64 {
		for i := 0; i < m.n; i++ {
			for p := 0; p < i; p++ {
				rhs[i] -= l[i][p] * rhs[p]
			}
			rhs[i] /= l[i][i]
		}
		for i := m.n - 1; i >= 0; i-- {
			for p := i + 1; p < m.n; p++ {
				rhs[i] -= l[p][i] * rhs[p]
			}
			rhs[i] /= l[i][i]
		}
		return rhs
	}
	x = column(m.b)
	for c := 0; c < m.n; c++ {
		var e [maxParams]float64
		e[c] = 1
		col := column(e)
		for i := 0; i < m.n; i++ {
			inv[i][c] = col[i]
		}
	}
	return x, inv, true
}
