package vision_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/synth"
)

// bound has the smallest standard deviations that an unbiased measurement of
// a scene can have (Cramér-Rao), pixels.
type bound struct {
	boreR, pinR float64
	clearance   float64 // of 2 (boreR - pinR)
	offset      float64 // of the pin's centre from the bore's, along the offset
}

// Parameters of the ten-parameter crescent: both centres and radii, the three
// levels of light, the edge spread.
const (
	boreX = iota
	boreY
	boreRadius
	pinX
	pinY
	pinRadius
	bushLight
	darkLight
	pinLight
	spread
	crescentParams
)

// cramerRao sums the information of every pixel about the crescent
//
//	I = bush + (dark-bush) A + (pin-dark) B,  A, B = P((R - s²/2R - r)/s)
//
// with P the normal distribution function, s² = blur² + 1/12 for the pixel's
// own width, and the sensor's variance Read² + I/FullWell. What the variance
// itself tells of I is left out. Only joints without wear, texture, gradient
// and glare are bounded so.
func cramerRao(s synth.Scene) (bound, bool) {
	j := s.Joint
	spreadSq := s.Camera.Blur*s.Camera.Blur + 1.0/12
	if d := s.Camera.Defocus; d > 0 {
		spreadSq += d * d / 4 // variance of a disc along one axis
	}
	sd := math.Sqrt(spreadSq)
	disc := func(c r2.Vec, r, x, y float64) (a float64, d [4]float64) {
		v := r2.Vec{X: x - c.X, Y: y - c.Y}
		n := math.Max(r2.Norm(v), 1e-9)
		z := (r - spreadSq/(2*r) - n) / sd
		a = 0.5 * math.Erfc(-z/math.Sqrt2)
		p := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / sd
		// x, y, R, s
		return a, [4]float64{p * v.X / n, p * v.Y / n, p * (1 + spreadSq/(2*r*r)), p * (-z - sd/r)}
	}
	var info [crescentParams][crescentParams]float64
	for y := range s.H {
		for x := range s.W {
			a, da := disc(j.BoreCenter, j.BoreR, float64(x), float64(y))
			b, db := disc(j.PinCenter, j.PinR, float64(x), float64(y))
			light := j.Bush.Level + (j.Dark-j.Bush.Level)*a + (j.Pin.Level-j.Dark)*b
			var g [crescentParams]float64
			for i := range 3 {
				g[boreX+i] = (j.Dark - j.Bush.Level) * da[i]
				g[pinX+i] = (j.Pin.Level - j.Dark) * db[i]
			}
			g[bushLight], g[darkLight], g[pinLight] = 1-a, a-b, b
			g[spread] = (j.Dark-j.Bush.Level)*da[3] + (j.Pin.Level-j.Dark)*db[3]
			variance := s.Camera.Noise.Read * s.Camera.Noise.Read
			if s.Camera.Noise.FullWell > 0 {
				variance += light / s.Camera.Noise.FullWell
			}
			for p, v := range g {
				if math.Abs(v) < 1e-12 {
					continue
				}
				for q, w := range g[:p+1] {
					info[p][q] += v * w / variance
				}
			}
		}
	}
	sum := mat.NewSymDense(crescentParams, nil)
	for p := range info {
		for q := range p + 1 {
			sum.SetSym(p, q, info[p][q])
		}
	}
	var ch mat.Cholesky
	var cov mat.SymDense
	if !ch.Factorize(sum) || ch.InverseTo(&cov) != nil {
		return bound{}, false
	}
	of := func(weights map[int]float64) float64 {
		w := mat.NewVecDense(crescentParams, nil)
		for i, v := range weights {
			w.SetVec(i, v)
		}
		return math.Sqrt(mat.Inner(w, &cov, w))
	}
	lean := r2.Sub(j.PinCenter, j.BoreCenter)
	u := r2.Vec{X: 1}
	if r2.Norm(lean) > 0 {
		u = r2.Unit(lean)
	}
	return bound{
		boreR:     of(map[int]float64{boreRadius: 1}),
		pinR:      of(map[int]float64{pinRadius: 1}),
		clearance: of(map[int]float64{boreRadius: 2, pinRadius: -2}),
		offset:    of(map[int]float64{boreX: -u.X, boreY: -u.Y, pinX: u.X, pinY: u.Y}),
	}, true
}

// With a gap wide against the blur and noise alike everywhere each rim is a
// full circle by itself, of which theory says
//
//	sd(R) = sqrt(2 s sqrt(pi) / (2 pi R)) / SNR
//
// from var(e) = 2 s sqrt(pi)/SNR² for a pixel's length of edge between known
// levels. A level known only from a strip beside the edge makes the variance grow
// by the factor 1/(1 - pP²/(pp PP)), where the derivatives by place, p, and by
// level, P, have the products pp = 1/(2 s sqrt(pi)), pP = 1/2 and PP = w -
// s/sqrt(pi) per pixel of edge for a strip of width w, less s/sqrt(pi) once more
// for the gap with its two edges. One per cent is left for what is of the order
// (s/w)².
func TestSweepBoundOfFullCircle(t *testing.T) {
	for _, test := range []struct{ boreR, blur, noise float64 }{
		{120, 0.8, 0.01}, {120, 1.5, 0.02}, {240, 1.5, 0.02},
	} {
		s := synth.Ring(test.boreR, 40, 10, 0.4)
		s.Camera.Blur = test.blur
		s.Camera.Noise = synth.Noise{Read: test.noise}
		got, ok := cramerRao(s)
		if !ok {
			t.Fatal("no bound")
		}
		j := s.Joint
		sd := math.Sqrt(test.blur*test.blur + 1.0/12)
		gap := (j.BoreR*j.BoreR - j.PinR*j.PinR) / (j.BoreR + j.PinR) // mean width
		closed := func(r, step, bright float64) float64 {
			lost := sd / math.Sqrt(math.Pi)
			levels := sd * math.Sqrt(math.Pi) / 2 * (1/(gap-2*lost) + 1/(bright-lost))
			return math.Sqrt(2*sd*math.Sqrt(math.Pi)/(2*math.Pi*r)/(1-levels)) * test.noise / step
		}
		bush := float64(s.W*s.H)/(2*math.Pi*j.BoreR) - j.BoreR/2
		for _, c := range []struct {
			name      string
			got, want float64
		}{
			{"bore", got.boreR, closed(j.BoreR, j.Bush.Level-j.Dark, bush)},
			{"pin", got.pinR, closed(j.PinR, j.Pin.Level-j.Dark, j.PinR/2)},
		} {
			if math.Abs(c.got/c.want-1) > 0.01 {
				t.Errorf("%s of R %.0f, blur %.1f: sd of the radius %.6f, closed form %.6f px (within 1 %%)",
					c.name, test.boreR, test.blur, c.got, c.want)
			}
		}
	}
}
