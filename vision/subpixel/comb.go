package subpixel

import (
	"errors"
	"math"
)

// MarkShape is the light across a graduation mark: a box of the mark's width,
// blurred by a Gaussian.
type MarkShape struct {
	Width float64 // pixels
	Blur  float64 // standard deviation of the edge spread, pixels
}

// At returns the shape at distance d from the mark's middle, 0 far away and
// near 1 in the middle of a wide mark, with its derivatives by d, by the
// width and by the blur:
//
//	T(d) = P((d+w/2)/s) - P((d-w/2)/s)
//
// with P the normal distribution function.
func (m MarkShape) At(d float64) (t, byD, byWidth, byBlur float64) {
	a, b := (d+m.Width/2)/m.Blur, (d-m.Width/2)/m.Blur
	ca, pa := edge(a)
	cb, pb := edge(b)
	pa /= m.Blur
	pb /= m.Blur
	return ca - cb, pa - pb, (pa + pb) / 2, b*pb - a*pa
}

// Mark is a fitted graduation mark.
type Mark struct {
	Center float64 // on the profile's axis, pixels
	U      float64 // standard uncertainty of Center from the residuals
	Height float64 // light of the mark minus the light beside it
	Base   float64 // light beside the mark, at its middle
	Slope  float64 // change of the light beside it per pixel
	RMS    float64 // of the residuals, light
}

// Errors of the fits of marks and combs.
var (
	ErrNoMark = errors.New("subpixel: no mark there")
	ErrNoComb = errors.New("subpixel: too few marks for a comb")
)

// FitMark fits a mark of known shape to a profile of light y whose first
// sample lies at x0 and whose samples are one pixel apart. The search begins
// at start.
//
// The model is Base + Slope (x-Center) + Height T(x-Center), fitted by least
// squares, the best estimate under even noise. The slope keeps a glare or a
// neighbouring digit from pulling the centre. Fewer than six samples, a mark
// outside the profile or a fit that does not settle give ErrNoMark.
func FitMark(y []float64, x0, start float64, shape MarkShape) (Mark, error) {
	if len(y) < 6 {
		return Mark{}, ErrNoMark
	}
	c := start
	lin, ok := linearMark(y, x0, c, shape)
	if !ok {
		return Mark{}, ErrNoMark
	}
	for range 12 {
		sums := normal{n: 4}
		for i, light := range y {
			d := x0 + float64(i) - c
			t, td, _, _ := shape.At(d)
			sums.add(&[maxParams]float64{1, d, t, -lin[2]*td - lin[1]}, light-lin[0]-lin[1]*d-lin[2]*t)
		}
		x, inv, ok := sums.solve()
		if !ok {
			return Mark{}, ErrNoMark
		}
		most := (shape.Width + shape.Blur) / 2
		step := math.Max(-most, math.Min(most, x[3]))
		c += step
		if c < x0 || c > x0+float64(len(y)-1) {
			return Mark{}, ErrNoMark
		}
		for i := range lin {
			lin[i] += x[i]
		}
		if step != x[3] {
			// The levels belong to a place further off.
			if lin, ok = linearMark(y, x0, c, shape); !ok {
				return Mark{}, ErrNoMark
			}
		}
		// The error left is about the square of the last step.
		if math.Abs(step) < 2e-3 {
			ss := sums.sumsq
			return Mark{
				Center: c, U: math.Sqrt(inv[3][3] * ss / float64(max(1, len(y)-4))),
				Height: lin[2], Base: lin[0], Slope: lin[1],
				RMS: math.Sqrt(ss / float64(len(y))),
			}, nil
		}
	}
	return Mark{}, ErrNoMark
}

// linearMark solves for base, slope and height with the centre held.
func linearMark(y []float64, x0, c float64, shape MarkShape) (lin [3]float64, ok bool) {
	sums := normal{n: 3}
	for i, light := range y {
		d := x0 + float64(i) - c
		t, _, _, _ := shape.At(d)
		sums.add(&[maxParams]float64{1, d, t}, light)
	}
	x, _, ok := sums.solve()
	copy(lin[:], x[:])
	return lin, ok
}

// Profile is the light across one mark, samples one pixel apart from X0.
type Profile struct {
	X0    float64
	Light []float64
}

// FitShape improves the common shape of marks that were fitted with a first
// guess of it: width and blur are moved to fit all profiles at once, the
// marks' own figures being held. Calling FitMark and FitShape in turn settles
// in a few rounds. The blur stays above a third of a pixel.
func FitShape(profiles []Profile, marks []Mark, shape MarkShape) MarkShape {
	var ww, wb, bb, vw, vb float64
	for i, p := range profiles {
		m := marks[i]
		for j, light := range p.Light {
			d := p.X0 + float64(j) - m.Center
			t, _, tw, tb := shape.At(d)
			r := light - m.Base - m.Slope*d - m.Height*t
			tw *= m.Height
			tb *= m.Height
			ww += tw * tw
			wb += tw * tb
			bb += tb * tb
			vw += tw * r
			vb += tb * r
		}
	}
	// A light ridge: for marks much narrower than the blur the two cannot be
	// told apart.
	ww *= 1.001
	bb *= 1.001
	det := ww*bb - wb*wb
	if !(det > 0) {
		return shape
	}
	dw := (bb*vw - wb*vb) / det
	db := (ww*vb - wb*vw) / det
	limit := func(step, of float64) float64 { return math.Max(-of/3, math.Min(of/3, step)) }
	shape.Width = math.Max(0.5, shape.Width+limit(dw, shape.Width))
	shape.Blur = math.Max(0.34, shape.Blur+limit(db, shape.Blur))
	return shape
}
