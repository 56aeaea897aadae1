package subpixel_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
	"pinlash/vision/synth"
)

// oneChain is a photo of four heads of radius about 0.2 x 200 px with a known
// edge spread: blur and the pixel's own width, without sharpening.
func oneChain(t *testing.T, seed uint64) (raster.Gray, synth.Chain, subpixel.HeadLook) {
	t.Helper()
	s := synth.Pulled(rand.New(rand.NewPCG(seed, 51)), 3, 200, 0.1, 0.01, 0, false)
	s.Camera.Sharpen, s.Camera.Vignette = 0, 0
	g, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	return g, s.Chain, subpixel.HeadLook{Width: s.Chain.LineWidth, Blur: math.Sqrt(s.Camera.Blur*s.Camera.Blur + 1.0/12)}
}

// Heads come out where they are from starts up to three pixels off, and the
// covariance is about what the errors show.
func TestFitHead(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var square, claimed, n float64
	for seed := range uint64(5) {
		g, c, look := oneChain(t, seed)
		for _, at := range c.Pins {
			off := r2.Vec{X: 4*r.Float64() - 2, Y: 4*r.Float64() - 2}
			f, ok := subpixel.FitHead(g, geom.Circle{Center: r2.Add(at, off), R: c.HeadR + 2*r.Float64() - 1}, look)
			if !ok {
				t.Errorf("seed %d: head at %v not fitted from %v off", seed, at, off)
				continue
			}
			d := r2.Sub(f.Circle.Center, at)
			if r2.Norm(d) > 0.15 {
				t.Errorf("seed %d: centre off by %.3f px", seed, r2.Norm(d))
			}
			// The line lies within the rim; its middle is fitted.
			if want := c.HeadR - c.LineWidth/2; math.Abs(f.Circle.R-want) > 0.25 {
				t.Errorf("seed %d: radius %.2f, want %.2f", seed, f.Circle.R, want)
			}
			square += r2.Norm2(d) / 2
			claimed += (f.Circle.Cov[0][0] + f.Circle.Cov[1][1]) / 2
			n++
		}
	}
	found, u := math.Sqrt(square/n), math.Sqrt(claimed/n)
	t.Logf("rms error %.4f px, claimed %.4f px over %.0f heads", found, u, n)
	if found > 3*u || u > 3*found {
		t.Errorf("rms error %.4f px, claimed %.4f px", found, u)
	}
}

// Half a rim under a cloth: the radius known, the centre is still found.
func TestFitHeadOfSize(t *testing.T) {
	g, c, look := oneChain(t, 9)
	at := c.Pins[1]
	for y := range g.H {
		for x := range g.W {
			if float64(y) > at.Y+0.35*c.HeadR {
				g.Row(y)[x] = 0.1
			}
		}
	}
	f, ok := subpixel.FitHeadOfSize(g, geom.Circle{Center: r2.Add(at, r2.Vec{X: 1, Y: -1}), R: c.HeadR - c.LineWidth/2}, look)
	if !ok {
		t.Fatal("not fitted")
	}
	if d := r2.Norm(r2.Sub(f.Circle.Center, at)); d > 0.3 {
		t.Errorf("centre off by %.3f px with half of the rim hidden", d)
	}
	if f.Arc > 300 {
		t.Errorf("%.0f degrees of a rim of which a third is hidden", f.Arc)
	}
}

func TestFitHeadOfNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	g := raster.NewGray(200, 200)
	for i := range g.Pix {
		g.Pix[i] = float32(0.3 + 0.005*r.NormFloat64())
	}
	look := subpixel.HeadLook{Width: 2, Blur: 0.8}
	f, ok := subpixel.FitHead(g, geom.Circle{Center: r2.Vec{X: 100, Y: 100}, R: 30}, look)
	if ok && f.Arc > 200 && f.Step > 0.05 {
		t.Errorf("a head with a step of %.3f over %.0f degrees in an even field", f.Step, f.Arc)
	}
	if _, ok := subpixel.FitHead(g, geom.Circle{Center: r2.Vec{X: -300, Y: 100}, R: 30}, look); ok {
		t.Error("a head outside the picture")
	}
}
