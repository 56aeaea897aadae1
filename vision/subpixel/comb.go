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

// Sample is the mean light of a few pixels at nearly the same place of a
// profile.
type Sample struct {
	At     float64 // mean place, pixels
	Light  float64
	Pixels float64 // how many
}

// FitMark fits a mark of known shape to a profile of light. The search begins
// at start.
//
// The model is Base + Slope (x-Center) + Height T(x-Center), fitted by least
// squares weighted with the pixels, the best estimate under even noise. The
// slope keeps a glare or a neighbouring digit from pulling the centre. Fewer
// than six samples, a mark outside the profile or a fit that does not settle
// give ErrNoMark.
func FitMark(y []Sample, start float64, shape MarkShape) (Mark, error) {
	if len(y) < 6 {
		return Mark{}, ErrNoMark
	}
	c := start
	lin, ok := linearMark(y, c, shape)
	if !ok {
		return Mark{}, ErrNoMark
	}
	for range 12 {
		sums := normal{n: 4}
		var pixels float64
		for _, s := range y {
			d := s.At - c
			t, td, _, _ := shape.At(d)
			w := math.Sqrt(s.Pixels)
			sums.add(&[maxParams]float64{w, w * d, w * t, w * (-lin[2]*td - lin[1])}, w*(s.Light-lin[0]-lin[1]*d-lin[2]*t))
			pixels += s.Pixels
		}
		x, inv, ok := sums.solve()
		if !ok {
			return Mark{}, ErrNoMark
		}
		most := (shape.Width + shape.Blur) / 2
		step := math.Max(-most, math.Min(most, x[3]))
		c += step
		if c < y[0].At || c > y[len(y)-1].At {
			return Mark{}, ErrNoMark
		}
		for i := range lin {
			lin[i] += x[i]
		}
		if step != x[3] {
			// The levels belong to a place further off.
			if lin, ok = linearMark(y, c, shape); !ok {
				return Mark{}, ErrNoMark
			}
		}
		// The error left is about the square of the last step.
		if math.Abs(step) < 2e-3 {
			ss := sums.sumsq
			return Mark{
				Center: c, U: math.Sqrt(inv[3][3] * ss / float64(max(1, len(y)-4))),
				Height: lin[2], Base: lin[0], Slope: lin[1],
				RMS: math.Sqrt(ss / pixels),
			}, nil
		}
	}
	return Mark{}, ErrNoMark
}

// linearMark solves for base, slope and height with the centre held.
func linearMark(y []Sample, c float64, shape MarkShape) (lin [3]float64, ok bool) {
	sums := normal{n: 3}
	for _, s := range y {
		d := s.At - c
		t, _, _, _ := shape.At(d)
		w := math.Sqrt(s.Pixels)
		sums.add(&[maxParams]float64{w, w * d, w * t}, w*s.Light)
	}
	x, _, ok := sums.solve()
	copy(lin[:], x[:])
	return lin, ok
}

// leastBlur is the smallest edge spread believed, in pixels. The pixel's own
// square is 0.29; with less than this the model of point samples fails.
const leastBlur = 0.45

// FitShape fits the common shape of marks, starting from a first guess of it,
// by least squares over the shape and every mark's own figures at once.
//
// Of marks much narrower than the blur only w^2/12 + s^2 is well determined;
// steps that do not better the fit are shortened, and the blur stays above
// leastBlur. Profiles that hold no mark are left out.
func FitShape(profiles [][]Sample, starts []float64, shape MarkShape) MarkShape {
	marks, cost := fitMarks(profiles, starts, shape)
	const rounds = 8
	damping := 1.0
	for range rounds {
		dw, db, ok := shapeStep(profiles, marks, shape)
		if !ok {
			return shape
		}
		next := MarkShape{
			Width: math.Max(0.5, shape.Width+clamp(damping*dw, shape.Width/3)),
			Blur:  math.Max(leastBlur, shape.Blur+clamp(damping*db, shape.Blur/3)),
		}
		m, c := fitMarks(profiles, starts, next)
		if c > cost {
			damping /= 4
			continue
		}
		small := damping == 1 && cost-c < 1e-3*cost
		shape, marks, cost = next, m, c
		if small {
			break
		}
		damping = math.Min(1, 2*damping)
	}
	return shape
}

// GuessShape looks for a shape to start FitShape from: the best of some blurs
// and widths up to a mark's width at half depth.
func GuessShape(profiles [][]Sample, starts []float64, halfDepth float64) MarkShape {
	best, least := MarkShape{Width: halfDepth, Blur: 1}, math.Inf(1)
	for _, blur := range []float64{0.5, 0.8, 1.3, 2.1, 3.4} {
		for _, part := range []float64{1, 0.75, 0.5, 0.25} {
			shape := MarkShape{Width: math.Max(0.5, part*halfDepth), Blur: blur}
			if _, cost := fitMarks(profiles, starts, shape); cost < least {
				best, least = shape, cost
			}
		}
	}
	return best
}

// fitMarks fits the mark of every profile and returns the sum of squares left.
// A profile without a mark counts with its whole variation, whatever the
// shape, and gets a zero Mark.
func fitMarks(profiles [][]Sample, starts []float64, shape MarkShape) (marks []Mark, cost float64) {
	marks = make([]Mark, len(profiles))
	for i, p := range profiles {
		var pixels, light, square float64
		for _, s := range p {
			pixels += s.Pixels
			light += s.Pixels * s.Light
			square += s.Pixels * s.Light * s.Light
		}
		m, err := FitMark(p, starts[i], shape)
		if err != nil {
			if pixels > 0 {
				cost += square - light*light/pixels
			}
			continue
		}
		marks[i] = m
		cost += m.RMS * m.RMS * pixels
	}
	return marks, cost
}

// shapeStep returns the least-squares step of width and blur. Each mark alone
// asks for a step with a covariance that already allows for its own four
// figures; the common step is their weighted mean.
func shapeStep(profiles [][]Sample, marks []Mark, shape MarkShape) (dw, db float64, ok bool) {
	var ww, wb, bb, vw, vb float64
	for i, p := range profiles {
		m := marks[i]
		if m.Height == 0 {
			continue
		}
		sums := normal{n: 6}
		for _, s := range p {
			d := s.At - m.Center
			t, td, tw, tb := shape.At(d)
			w := math.Sqrt(s.Pixels)
			sums.add(&[maxParams]float64{w, w * d, w * t, w * (-m.Height*td - m.Slope), w * m.Height * tw, w * m.Height * tb},
				w*(s.Light-m.Base-m.Slope*d-m.Height*t))
		}
		x, inv, ok := sums.solve()
		det := inv[4][4]*inv[5][5] - inv[4][5]*inv[4][5]
		if !ok || !(det > 0) {
			continue
		}
		a, b, c := inv[5][5]/det, -inv[4][5]/det, inv[4][4]/det
		ww += a
		wb += b
		bb += c
		vw += a*x[4] + b*x[5]
		vb += b*x[4] + c*x[5]
	}
	det := ww*bb - wb*wb
	if !(det > 0) {
		return 0, 0, false
	}
	return (bb*vw - wb*vb) / det, (ww*vb - wb*vw) / det, true
}
