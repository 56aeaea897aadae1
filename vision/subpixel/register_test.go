package subpixel

import (
	"image"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// waves is a texture known at every point: a sum of plane waves with a
// Gaussian spectrum, like white noise blurred by sigma pixels.
type waves struct {
	k      []r2.Vec
	phase  []float64
	height float64
}

func newWaves(r *rand.Rand, sigma, contrast float64) waves {
	const n = 100
	w := waves{height: contrast * math.Sqrt(2.0/n)}
	for range n {
		// exp(-sigma^2 k^2) is the power spectrum.
		w.k = append(w.k, r2.Scale(1/(math.Sqrt2*sigma), r2.Vec{X: r.NormFloat64(), Y: r.NormFloat64()}))
		w.phase = append(w.phase, 2*math.Pi*r.Float64())
	}
	return w
}

// seen returns the texture as a camera sees it after the movement m, which
// must be given from the picture to the texture.
func (w waves) seen(r *rand.Rand, n int, m geom.Similarity, gain, noise float64) raster.Gray {
	g := raster.NewGray(n, n)
	line := make([]float64, n)
	for y := range n {
		clear(line)
		from := m.Apply(r2.Vec{Y: float64(y)})
		along := r2.Sub(m.Apply(r2.Vec{X: 1, Y: float64(y)}), from)
		for i, k := range w.k {
			// The phase grows by equal steps along a row.
			at := cmplx.Rect(1, r2.Dot(k, from)+w.phase[i])
			step := cmplx.Rect(1, r2.Dot(k, along))
			for x := range line {
				line[x] += imag(at)
				at *= step
			}
		}
		row := g.Row(y)
		for x, v := range line {
			row[x] = float32(0.4 + gain*w.height*v + noise*r.NormFloat64())
		}
	}
	return g
}

// inverse returns the movement back.
func inverse(m geom.Similarity) geom.Similarity {
	a, b := 1+m.Zoom, m.Turn
	n := a*a + b*b
	return geom.Similarity{
		Center: r2.Add(m.Center, m.Shift), Shift: r2.Scale(-1, m.Shift),
		Zoom: a/n - 1, Turn: -b / n,
	}
}

func squares(n, margin, size int) []image.Rectangle {
	var out []image.Rectangle
	for y := margin; y+size <= n-margin; y += size {
		for x := margin; x+size <= n-margin; x += size {
			out = append(out, image.Rect(x, y, x+size, y+size))
		}
	}
	return out
}

// TestRegisterReachesBound holds the scatter of the shift of a 256 x 256 px
// texture against the Cramer-Rao bound, var = 2 noise^2 / sum of squared
// gradients, for the shifts, turn and gain of the design's table (turn up to
// 0.17 degrees, gain 1.03). The claimed uncertainty must agree with the
// scatter, and the mean with the truth.
func TestRegisterReachesBound(t *testing.T) {
	for _, c := range []struct{ contrast, noise, loss float64 }{
		// The last column is how much the spline's smoothing and, where noise
		// rules, the gradient's own noise may cost. The design's table has
		// 1.03, 0.9, 1.03 and 1.10 for a fit smoothed by 0.7 px.
		{15. / 255, 3. / 255, 1.25}, {15. / 255, 1. / 255, 1.25}, {5. / 255, 3. / 255, 1.25}, {2. / 255, 3. / 255, 1.5},
	} {
		r := rand.New(rand.NewPCG(4, 2))
		const n, trials = 276, 12
		var sum, sum2, claimed, bound float64
		for range trials {
			w := newWaves(r, 1.5, c.contrast)
			mid := r2.Vec{X: (n - 1) / 2., Y: (n - 1) / 2.}
			truth := geom.Similarity{Center: mid, Shift: r2.Vec{X: 2 * (r.Float64() - 0.5), Y: 2 * (r.Float64() - 0.5)}, Turn: 0.003 * (2*r.Float64() - 1)}
			a := w.seen(r, n, geom.Similarity{}, 1, c.noise)
			b := w.seen(r, n, inverse(truth), 1.03, c.noise)
			got, err := Register(NewLit(a), NewLit(b), squares(n, 10, 32), geom.Similarity{Center: mid}, 5e-4)
			if err != nil {
				t.Fatal(err)
			}
			m := got.Motion.About(mid)
			for k, d := range []float64{m.Shift.X - truth.Shift.X, m.Shift.Y - truth.Shift.Y} {
				sum += d
				sum2 += d * d
				claimed += m.Cov[k][k]
			}
			// Power of the gradient of the texture per pixel: contrast^2
			// times the mean of kx^2.
			bound += 2 * 2 * c.noise * c.noise / (256 * 256 * c.contrast * c.contrast / (2 * 1.5 * 1.5))
		}
		const m = 2 * trials
		rms, u, crb := math.Sqrt(sum2/m), math.Sqrt(claimed/m), math.Sqrt(bound/m)
		t.Logf("contrast/noise %.1f: rms %.5f claimed %.5f bound %.5f ratio %.2f bias %.5f", c.contrast/c.noise, rms, u, crb, rms/crb, sum/m)
		// The rms of 24 values scatters by 1/7.
		if rms > c.loss*crb*1.5 {
			t.Errorf("contrast/noise %.1f: rms error %.5f px, bound %.5f", c.contrast/c.noise, rms, crb)
		}
		if u > 1.6*rms || u < rms/1.6 {
			t.Errorf("contrast/noise %.1f: claimed %.5f px, seen %.5f", c.contrast/c.noise, u, rms)
		}
		if math.Abs(sum/m) > 3.5*rms/math.Sqrt(m) {
			t.Errorf("contrast/noise %.1f: bias %.5f px, rms %.5f", c.contrast/c.noise, sum/m, rms)
		}
	}
}

// A fit of pictures that have nothing in common fails or says how unlike they
// are; it does not run away.
func TestRegisterUnlike(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	for trial := range 20 {
		a := newWaves(r, 2, 0.05).seen(r, 120, geom.Similarity{}, 1, 0.003)
		b := newWaves(r, 2, 0.05).seen(r, 120, geom.Similarity{}, 1, 0.003)
		start := geom.Similarity{
			Center: r2.Vec{X: 60, Y: 60}, Shift: r2.Vec{X: 30 * r.NormFloat64(), Y: 30 * r.NormFloat64()},
			Zoom: 0.2 * r.NormFloat64(), Turn: 0.3 * r.NormFloat64(),
		}
		fit, err := Register(NewLit(a), NewLit(b), squares(120, 8, 16), start, 1e-3)
		if err != nil {
			continue
		}
		match, n := 0.0, 0.0
		for _, f := range fit.Tiles {
			match, n = match+f.Weight*f.Match, n+f.Weight
		}
		if match/n > 0.6 {
			t.Errorf("trial %d: pictures without anything in common match by %.2f", trial, match/n)
		}
	}
}

// Glare that stays in its place while the texture moves does not pull.
func TestRegisterBesideGlare(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 2))
	const n = 276
	w := newWaves(r, 1.5, 0.05)
	truth := geom.Similarity{Center: r2.Vec{X: 138, Y: 138}, Shift: r2.Vec{X: 0.8, Y: -0.6}}
	a, b := w.seen(r, n, geom.Similarity{}, 1, 0.005), w.seen(r, n, inverse(truth), 1, 0.005)
	for _, g := range []*raster.Gray{&a, &b} {
		g.Clip = 1
		for y := range n {
			for x := range n {
				d := math.Hypot(float64(x-120), float64(y-140))
				g.Pix[y*n+x] = min(1, g.Pix[y*n+x]+float32(1.5*math.Exp(-d*d/(2*30*30))))
			}
		}
	}
	fit, err := Register(NewLit(a), NewLit(b), squares(n, 10, 32), geom.Similarity{Center: truth.Center}, 1e-3)
	if err != nil {
		t.Fatal(err)
	}
	if d := r2.Norm(r2.Sub(fit.Motion.ShiftAt(truth.Center), truth.Shift)); d > 0.02 {
		t.Errorf("shift %v, want %v", fit.Motion.ShiftAt(truth.Center), truth.Shift)
	}
}

// Where four tiles of thirty know how far a brushed face went along the brush,
// and all know how far across, the movement has the degrees of freedom of four.
func TestFewTilesKnowTheBrush(t *testing.T) {
	for _, turned := range []float64{0, 0.7} {
		sin, cos := math.Sincos(turned)
		var patches []patch
		for i := range 30 {
			along := 1e-3
			if i%8 == 0 {
				along = 10
			}
			p := patch{mid: r2.Vec{X: float64(40 * (i % 6)), Y: float64(40 * (i / 6))}, weight: 1}
			p.info = [2][2]float64{
				{along*cos*cos + sin*sin, (along - 1) * cos * sin},
				{(along - 1) * cos * sin, along*sin*sin + cos*cos},
			}
			patches = append(patches, p)
		}
		var h [4][4]float64
		for _, p := range patches {
			for i := range 2 {
				for j := range 2 {
					h[i][j] += p.info[i][j]
				}
			}
		}
		inv, ok := invert(h, 2)
		if !ok {
			t.Fatal("no inverse")
		}
		if n := equalTiles(patches, r2.Vec{X: 100, Y: 80}, inv, 2); math.Abs(n-4) > 0.05 {
			t.Errorf("brush at %g rad: as good as %.2f equal tiles, want 4", turned, n)
		}
	}
}

// Tiles at the border are a pixel narrower, or lower, than the others; what
// holds one must hold the next.
func TestTilesOfEverySize(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2))
	w := newWaves(r, 1.5, 0.05)
	a := NewLit(w.seen(r, 120, geom.Similarity{}, 1, 0.003))
	tiles := []image.Rectangle{
		image.Rect(8, 8, 39, 40), image.Rect(40, 8, 72, 39), image.Rect(8, 40, 11, 104), image.Rect(40, 40, 104, 43),
		image.Rect(40, 8, 72, 39), image.Rect(8, 8, 39, 40), image.Rect(40, 40, 104, 43), image.Rect(8, 40, 11, 104),
		image.Rect(60, 60, 100, 100), image.Rect(10, 60, 40, 100), image.Rect(60, 10, 100, 40), image.Rect(10, 10, 100, 73),
	}
	for _, f := range NewTemplate(a, tiles).Compare(a, geom.Similarity{}) {
		if f.Rect.Dx() <= tileDrop && (!f.Seen || f.Match < 0.999) {
			t.Errorf("tile %v: seen %v, match %.4f with itself", f.Rect, f.Seen, f.Match)
		}
	}
}
