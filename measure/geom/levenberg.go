package geom

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// residuals calls add for every point with its weight, its distance d from
// the curve with parameters p, and the derivatives of d to p. It returns
// false when p is no curve.
type residuals func(p []float64, add func(weight, d float64, slope []float64)) bool

// equations are the sum of squared distances at p, its normal matrix and half
// its gradient.
type equations struct {
	ssq      float64
	normal   *mat.SymDense
	gradient *mat.VecDense
}

func (each residuals) at(p []float64) (equations, bool) {
	n := len(p)
	e := equations{normal: mat.NewSymDense(n, nil), gradient: mat.NewVecDense(n, nil)}
	normal, gradient := e.normal.RawSymmetric().Data, e.gradient.RawVector().Data
	ok := each(p, func(w, d float64, slope []float64) {
		e.ssq += w * d * d
		for i, si := range slope {
			gradient[i] += w * d * si
			for j := i; j < n; j++ {
				normal[i*n+j] += w * si * slope[j]
			}
		}
	})
	return e, ok && !math.IsNaN(e.ssq) && !math.IsInf(e.ssq, 0)
}

// leastSquares moves p, whose entries are of order one, to a minimum of the
// weighted sum of squared distances by Levenberg's method.
func leastSquares(p []float64, each residuals) ([]float64, error) {
	n := len(p)
	p = slices.Clone(p)
	e, ok := each.at(p)
	if !ok {
		return nil, ErrUnsettled
	}
	// The damping goes with the weights, which may be of any size.
	unit := mat.Trace(e.normal) / float64(n)
	lambda := 1e-4 * unit
	var step mat.VecDense
	var chol mat.Cholesky
	damped := mat.NewSymDense(n, nil)
	next := make([]float64, n)
	for range 1000 {
		damped.CopySym(e.normal)
		for i := range n {
			damped.SetSym(i, i, damped.At(i, i)+lambda)
		}
		if !chol.Factorize(damped) || solve(&step, &chol, e.gradient) != nil {
			lambda = 10 * max(lambda, 1e-16*unit)
			continue
		}
		var move float64
		for i := range next {
			next[i] = p[i] - step.AtVec(i)
			move = max(move, math.Abs(step.AtVec(i))/max(1, math.Abs(p[i])))
		}
		f, ok := each.at(next)
		// Close to the minimum the sum changes by less than its own rounding
		// while the parameters still improve; such steps are taken too.
		better := ok && f.ssq <= e.ssq*(1+1e-14)
		if better {
			p, next = next, p
			e = f
			lambda /= 10
		} else {
			lambda = 10 * max(lambda, 1e-16*unit)
		}
		if move < 1e-13 {
			return p, nil
		}
	}
	return nil, ErrUnsettled
}

// solve ignores gonum's warning of a poorly conditioned matrix: the step is
// tried, and taken only if it leads down.
func solve(step *mat.VecDense, chol *mat.Cholesky, gradient *mat.VecDense) error {
	err := chol.SolveVecTo(step, gradient)
	var poor mat.Condition
	if errors.As(err, &poor) && !math.IsInf(float64(poor), 1) {
		return nil
	}
	return err
}

// inverse returns the inverse of a normal matrix.
func inverse(normal *mat.SymDense) (*mat.SymDense, bool) {
	var chol mat.Cholesky
	var inv mat.SymDense
	if !chol.Factorize(normal) {
		return nil, false
	}
	// A warning of poor condition is no error here: the covariance it
	// belongs to is then large, and says so.
	_ = chol.InverseTo(&inv)
	return &inv, true
}
