package calib

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// series is a row of readings y at places t, -1 to 1, with their standard
// uncertainties u.
type series struct{ t, y, u []float64 }

// curve is a linear combination of shapes fitted to a series.
type curve struct {
	coef []float64
	cov  *mat.SymDense
	keep []bool    // the readings that took part
	rms  float64   // root mean square of their residuals, in the unit of y
	df   float64   // their number less that of the coefficients
	res  []float64 // all residuals
}

func (c curve) u(i int) float64 { return math.Sqrt(c.cov.At(i, i)) }

func (c curve) kept() int {
	n := 0
	for _, k := range c.keep {
		if k {
			n++
		}
	}
	return n
}

const (
	// cauchyWidth is the tuning constant that leaves the Cauchy weights 95 %
	// efficient on normal noise.
	cauchyWidth = 2.385
	// outlierSD is the number of robust standard deviations beyond which a
	// reading is dropped. Two in 2000 good ones are lost.
	outlierSD = 3.5
	// normalMAD times the median size of normal residuals is their standard
	// deviation.
	normalMAD = 1.4826
)

// fit returns the least-squares curve sum coef[i] shape(t)[i] through those
// readings that agree with each other. Start is iterated least squares with
// Cauchy weights; then readings beyond outlierSD are dropped until none is.
//
// The covariance is that of the stated uncertainties, widened when the
// residuals are larger than stated, and when neighbours err together: with a
// lag-one correlation r a slow curve is known only as well as from
// (1-r)/(1+r) times as many independent readings. The second result is false
// when the shapes cannot be told apart with what is left.
func fit(s series, terms int, shape func(t float64) []float64) (curve, bool) {
	rows := make([][]float64, len(s.t))
	weight := make([]float64, len(s.t))
	for i, t := range s.t {
		rows[i], weight[i] = shape(t), 1
	}
	c, ok := solve(s, rows, weight, terms)
	cauchy := func(r float64) float64 { return 1 / (1 + square(r/cauchyWidth)) }
	for range 50 {
		if !ok || c.reweigh(s, terms, cauchy, weight) < 0.01 {
			break
		}
		c, ok = solve(s, rows, weight, terms)
	}
	cut := func(r float64) float64 {
		if math.Abs(r) <= outlierSD {
			return 1
		}
		return 0
	}
	for range 20 {
		if !ok || c.reweigh(s, terms, cut, weight) == 0 {
			break
		}
		c, ok = solve(s, rows, weight, terms)
	}
	if !ok {
		return curve{}, false
	}
	c.keep = make([]bool, len(weight))
	for i, w := range weight {
		c.keep[i] = w == 1
	}
	c.df = float64(c.kept() - terms)
	if c.df < 1 {
		return curve{}, false
	}
	c.widen(s)
	return c, true
}

// reweigh sets the weights by the residuals in robust standard deviations and
// returns the largest change.
func (c curve) reweigh(s series, terms int, of func(r float64) float64, weight []float64) float64 {
	r := c.scaled(s, nil)
	sd := robustSD(r, terms)
	change := 0.0
	for i := range weight {
		w := of(r[i] / sd)
		change = max(change, math.Abs(w-weight[i]))
		weight[i] = w
	}
	return change
}

// widen sets the spread of the residuals and brings the covariance up to it.
func (c *curve) widen(s series) {
	kept := c.scaled(s, c.keep)
	var sum, neighbours, pixels float64
	for i, r := range kept {
		sum += r * r
		if i > 0 {
			neighbours += r * kept[i-1]
		}
	}
	for i, r := range c.res {
		if c.keep[i] {
			pixels += r * r
		}
	}
	c.rms = math.Sqrt(pixels / float64(len(kept)))
	factor := max(1, sum/c.df)
	if sum > 0 {
		r := min(max(neighbours/sum, 0), 0.9)
		factor *= (1 + r) / (1 - r)
	}
	c.cov.ScaleSym(factor, c.cov)
}

// scaled returns the residuals over their stated uncertainties, of the kept
// readings or, for nil, of all.
func (c curve) scaled(s series, keep []bool) []float64 {
	var out []float64
	for i, r := range c.res {
		if keep == nil || keep[i] {
			out = append(out, r/s.u[i])
		}
	}
	return out
}

// robustSD returns the standard deviation of residuals in units of the stated
// one, by their median size, and never below it: readings within what they
// claim are no outliers.
func robustSD(r []float64, terms int) float64 {
	size := make([]float64, len(r))
	for i, v := range r {
		size[i] = math.Abs(v)
	}
	slices.Sort(size)
	n := len(size)
	median := (size[(n-1)/2] + size[n/2]) / 2
	// Fitting takes up its share of the spread.
	return max(1, normalMAD*median*math.Sqrt(float64(n)/float64(max(n-terms, 1))))
}

// solve is one weighted least-squares fit by the normal equations, good
// enough for a few smooth shapes on -1 to 1.
func solve(s series, rows [][]float64, weight []float64, terms int) (curve, bool) {
	normal := mat.NewSymDense(terms, nil)
	right := mat.NewVecDense(terms, nil)
	for k, row := range rows {
		w := weight[k] / square(s.u[k])
		for i, v := range row {
			right.SetVec(i, right.AtVec(i)+w*v*s.y[k])
			for j := i; j < terms; j++ {
				normal.SetSym(i, j, normal.At(i, j)+w*v*row[j])
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(normal) || chol.Cond() > 1e12 {
		return curve{}, false
	}
	var coef mat.VecDense
	cov := mat.NewSymDense(terms, nil)
	if chol.SolveVecTo(&coef, right) != nil || chol.InverseTo(cov) != nil {
		return curve{}, false
	}
	c := curve{coef: slices.Clone(coef.RawVector().Data), cov: cov, res: make([]float64, len(rows))}
	for k, row := range rows {
		c.res[k] = s.y[k] - floats.Dot(c.coef, row)
	}
	return c, true
}

func square(v float64) float64 { return v * v }
