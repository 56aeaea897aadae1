package calib

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// bundle has the unknowns of several views of one thing: those all views
// share, such as what the lens does, and those each has of its own, such as
// where it was taken from. They should be of order one.
type bundle struct {
	shared []float64
	own    [][]float64
}

// residuals calls add for each residual of a view, over its standard
// uncertainty, with its derivatives by the shared unknowns and the view's own.
// View -1 asks for what is known of the shared unknowns beforehand. It returns
// false where the unknowns make no sense.
type residuals func(view int, shared, own []float64, add func(r float64, byShared, byOwn []float64)) bool

// normal are a bundle's sum of squares, normal matrix and half its gradient.
type normal struct {
	ssq      float64
	matrix   *mat.SymDense
	gradient *mat.VecDense
}

func (b bundle) size() int {
	n := len(b.shared)
	for _, o := range b.own {
		n += len(o)
	}
	return n
}

// normal sums up the residuals. Own unknowns of two views never meet in one
// residual, so only a stripe and a row of blocks is filled.
func (b bundle) normal(each residuals) (normal, bool) {
	n, m := b.size(), len(b.shared)
	out := normal{matrix: mat.NewSymDense(n, nil), gradient: mat.NewVecDense(n, nil)}
	a, g := out.matrix.RawSymmetric().Data, out.gradient.RawVector().Data
	at := m
	ok := true
	for view := -1; view < len(b.own) && ok; view++ {
		var own []float64
		if view >= 0 {
			own = b.own[view]
		}
		ok = each(view, b.shared, own, func(r float64, byShared, byOwn []float64) {
			out.ssq += r * r
			for i, si := range byShared {
				g[i] += r * si
				for j := i; j < m; j++ {
					a[i*n+j] += si * byShared[j]
				}
				for j, oj := range byOwn {
					a[i*n+at+j] += si * oj
				}
			}
			for i, oi := range byOwn {
				g[at+i] += r * oi
				for j := i; j < len(byOwn); j++ {
					a[(at+i)*n+at+j] += oi * byOwn[j]
				}
			}
		})
		at += len(own)
	}
	return out, ok && !math.IsNaN(out.ssq) && !math.IsInf(out.ssq, 0)
}

// moved returns the bundle a step away.
func (b bundle) moved(step *mat.VecDense) bundle {
	out := bundle{shared: slices.Clone(b.shared)}
	k := 0
	add := func(v []float64) {
		for i := range v {
			v[i] -= step.AtVec(k)
			k++
		}
	}
	add(out.shared)
	for _, o := range b.own {
		o = slices.Clone(o)
		add(o)
		out.own = append(out.own, o)
	}
	return out
}

// settled is a bundle at the least sum of squares.
type settled struct {
	bundle
	ssq float64
	// cov is the covariance of the shared unknowns and the own ones, view
	// after view, if the residuals have a variance of one.
	cov *mat.SymDense
}

// adjust moves the bundle to the least sum of squares by Levenberg and
// Marquardt's method. It returns false where there is none to be found.
func (b bundle) adjust(each residuals) (settled, bool) {
	here, ok := b.normal(each)
	if !ok {
		return settled{}, false
	}
	n := b.size()
	lambda := 1e-4
	damped := mat.NewSymDense(n, nil)
	var chol mat.Cholesky
	for range 200 {
		damped.CopySym(here.matrix)
		for i := range n {
			damped.SetSym(i, i, here.matrix.At(i, i)*(1+lambda))
		}
		var step mat.VecDense
		if !chol.Factorize(damped) || chol.Cond() > 1e14 || chol.SolveVecTo(&step, here.gradient) != nil {
			if lambda *= 10; lambda > 1e8 {
				return settled{}, false
			}
			continue
		}
		next := b.moved(&step)
		there, ok := next.normal(each)
		move := mat.Norm(&step, math.Inf(1))
		if ok && there.ssq <= here.ssq*(1+1e-13) {
			b, here = next, there
			lambda = max(lambda/10, 1e-12)
			if move < 1e-11 {
				break
			}
			continue
		}
		if lambda *= 10; move < 1e-11 || lambda > 1e12 {
			break
		}
	}
	cov := mat.NewSymDense(n, nil)
	if !chol.Factorize(here.matrix) || chol.Cond() > 1e14 || chol.InverseTo(cov) != nil {
		return settled{}, false
	}
	return settled{bundle: b, ssq: here.ssq, cov: cov}, true
}
