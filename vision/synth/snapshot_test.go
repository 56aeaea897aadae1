package synth

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// spot returns a picture with one lit pixel.
func spot(w, h, x, y int) raster.Gray {
	g := raster.NewGray(w, h)
	g.Pix[y*w+x] = 1
	return g
}

// lightMoments returns the sum, the centre and the second moments of light.
func lightMoments(g raster.Gray) (sum float64, c r2.Vec, xx, yy, xy float64) {
	for i, v := range g.Pix {
		x, y := float64(i%g.W), float64(i/g.W)
		sum += float64(v)
		c = r2.Add(c, r2.Scale(float64(v), r2.Vec{X: x, Y: y}))
	}
	c = r2.Scale(1/sum, c)
	for i, v := range g.Pix {
		x, y := float64(i%g.W)-c.X, float64(i/g.W)-c.Y
		xx, yy, xy = xx+float64(v)*x*x/sum, yy+float64(v)*y*y/sum, xy+float64(v)*x*y/sum
	}
	return sum, c, xx, yy, xy
}

// TestSmear: a stroke of length L spreads a point by L²/12 along itself and not
// at all across, and leaves its centre; a shift goes the way it says.
func TestSmear(t *testing.T) {
	for _, c := range []struct{ length, angle float64 }{{1, 0.3}, {7.3, 1.2}, {20, -0.7}} {
		sum, at, xx, yy, xy := lightMoments(Stroke(c.length, c.angle).Smear(spot(41, 41, 20, 20)))
		want, sin, cos := c.length*c.length/12, math.Sin(c.angle), math.Cos(c.angle)
		// A mean over n places is short of the integral by 1/n².
		tol := 1e-4 + want/(400*c.length*c.length)
		if math.Abs(sum-1) > 1e-4 || r2.Norm(r2.Sub(at, r2.Vec{X: 20, Y: 20})) > 1e-3 {
			t.Errorf("length %g: light %g about %v, want 1 about (20, 20)", c.length, sum, at)
		}
		if math.Abs(xx-want*cos*cos) > tol || math.Abs(yy-want*sin*sin) > tol || math.Abs(xy-want*sin*cos) > tol {
			t.Errorf("length %g: moments %g %g %g, want %g %g %g", c.length, xx, yy, xy, want*cos*cos, want*sin*sin, want*sin*cos)
		}
	}
	if _, at, _, _, _ := lightMoments(Path{{X: 3, Y: -1.5}}.Smear(spot(31, 31, 15, 15))); r2.Norm(r2.Sub(at, r2.Vec{X: 18, Y: 13.5})) > 1e-4 {
		t.Errorf("moved to %v, want (18, 13.5)", at)
	}
	var mean r2.Vec
	far := 0.0
	for _, p := range Shake(rand.New(rand.NewPCG(1, 1)), 5) {
		mean = r2.Add(mean, p)
		far = max(far, r2.Norm(p))
	}
	if r2.Norm(mean) > 1e-9 || far < 1 || far > 6 {
		t.Errorf("a hand shakes by %g px at most about %v", far, mean)
	}
}

// TestRoll: each row of a line down the picture is moved as far as the picture
// had gone when it was read.
func TestRoll(t *testing.T) {
	const w, h, at = 61, 101, 30
	line := raster.NewGray(w, h)
	for y := range h {
		for dx := -6; dx <= 6; dx++ {
			line.Pix[y*w+at+dx] = float32(math.Exp(-float64(dx*dx) / 8))
		}
	}
	s := Shutter{Drift: r2.Vec{X: 6}, Sway: r2.Vec{X: 2}, Waves: 1.5, Phase: 0.4}
	got := s.Roll(line)
	for y := 0; y < h; y += 10 {
		row := raster.Gray{W: w, H: 1, Pix: got.Row(y)}
		share := float64(y)/(h-1) - 0.5
		want := at + 6*share + 2*math.Sin(2*math.Pi*1.5*share+0.4)
		if _, c, _, _, _ := lightMoments(row); math.Abs(c.X-want) > 0.005 {
			t.Errorf("row %d: line at %.4f, want %.4f", y, c.X, want)
		}
	}
}

// TestThrough: a point of light is seen where the lens bends it to, and a
// corner moves by the share that was asked for.
func TestThrough(t *testing.T) {
	const w, h = 161, 121
	for _, share := range []float64{-0.03, 0.03} {
		lens := Bend(w, h, share)
		mid := r2.Vec{X: (w - 1) / 2, Y: (h - 1) / 2}
		if got := lens.bend(r2.Vec{}, mid); math.Abs(r2.Norm(r2.Sub(got, mid))/r2.Norm(mid)-1-share) > 1e-9 {
			t.Errorf("%g: the corner is seen at %v", share, got)
		}
		for _, at := range []r2.Vec{{X: 20, Y: 20}, {X: 140, Y: 55}, {X: 80, Y: 60}} {
			g := raster.NewGray(w, h)
			const sigma = 1.5
			for i := range g.Pix {
				d := r2.Sub(r2.Vec{X: float64(i % w), Y: float64(i / w)}, at)
				g.Pix[i] = float32(math.Exp(-r2.Norm2(d) / (2 * sigma * sigma)))
			}
			_, got, _, _, _ := lightMoments(lens.Through(g))
			// A spot is stretched, more so farther out, which moves its mean
			// by 12 K1 r sigma². The cubic between pixels is good for the rest.
			d := r2.Sub(at, mid)
			want := r2.Add(lens.bend(at, mid), r2.Scale(12*lens.K1*sigma*sigma, d))
			if r2.Norm(r2.Sub(got, want)) > 0.005 {
				t.Errorf("%g: %v is seen at %v, want %v", share, at, got, want)
			}
		}
	}
}

// step returns a picture dark on the left and bright from column at on.
func step(w, h, at int, dark, bright float32) raster.Gray {
	g := raster.NewGray(w, h)
	for i := range g.Pix {
		g.Pix[i] = dark
		if i%w >= at {
			g.Pix[i] = bright
		}
	}
	return g
}

// TestUnsharp: beside a step the mean of standard deviation 1 px lacks
// (1 - w0)/2 of it, w0 = 0.3989 being the weight of the pixel itself; what goes
// beyond 0 and 1 is cut.
func TestUnsharp(t *testing.T) {
	g := Unsharp(step(21, 3, 10, 0.4, 0.6), 0.5, 1)
	over := 0.2 * 0.5 * (1 - 0.39894) / 2
	for x, want := range map[int]float64{0: 0.4, 9: 0.4 - over, 10: 0.6 + over, 20: 0.6} {
		if got := float64(g.At(x, 1)); math.Abs(got-want) > 1e-4 {
			t.Errorf("column %d has %.5f, want %.5f", x, got, want)
		}
	}
	if g = Unsharp(step(21, 3, 10, 0.1, 0.9), 3, 1); g.At(9, 1) != 0 || g.At(10, 1) != 1 {
		t.Errorf("not cut: %g and %g", g.At(9, 1), g.At(10, 1))
	}
}

// TestDenoise: both take grain off faces and leave a straight step where it is.
func TestDenoise(t *testing.T) {
	clean := step(40, 40, 20, 0.3, 0.7)
	grainy := raster.NewGray(40, 40)
	r := rand.New(rand.NewPCG(2, 2))
	for i, v := range clean.Pix {
		grainy.Pix[i] = v + 0.02*float32(r.NormFloat64())
	}
	off := func(g raster.Gray) float64 {
		var sum float64
		for i, v := range g.Pix {
			sum += math.Pow(float64(v-clean.Pix[i]), 2)
		}
		return math.Sqrt(sum / float64(len(g.Pix)))
	}
	for name, do := range map[string]func(raster.Gray) raster.Gray{
		"median":   func(g raster.Gray) raster.Gray { return Median(g, 1) },
		"likeness": func(g raster.Gray) raster.Gray { return Bilateral(g, 1.5, 0.08) },
	} {
		if got := off(do(grainy)); got > 0.011 {
			t.Errorf("%s: grain %.4f of 0.02 is left", name, got)
		}
		if got := off(do(clean)); got > 1e-4 {
			t.Errorf("%s: the step itself is changed by %g", name, got)
		}
	}
	if g := Median(spot(9, 9, 4, 4), 1); g.At(4, 4) != 0 {
		t.Error("a speck outlived the median")
	}
}

// TestEnlarge: what lies at p is found at factor (p + 1/2) - 1/2, and a slope
// stays one.
func TestEnlarge(t *testing.T) {
	g := raster.NewGray(40, 30)
	for i := range g.Pix {
		x, y := float64(i%40)-17.3, float64(i/40)-12.6
		g.Pix[i] = float32(math.Exp(-(x*x + y*y) / 18))
	}
	for _, z := range []Zoom{Nearest, Bicubic, Lanczos} {
		for _, factor := range []float64{1.5, 2, 3} {
			got := z.Enlarge(g, factor)
			if got.W != int(40*factor) || got.H != int(30*factor) {
				t.Fatalf("%s %g: %d x %d", z, factor, got.W, got.H)
			}
			_, c, _, _, _ := lightMoments(got)
			tol := 0.01
			if z == Nearest {
				tol = math.Sqrt2 / 2 // half a pixel each way
			}
			if want := (r2.Vec{X: factor*17.8 - 0.5, Y: factor*13.1 - 0.5}); r2.Norm(r2.Sub(c, want)) > tol {
				t.Errorf("%s %g: spot at %v, want %v within %g", z, factor, c, want, tol)
			}
		}
	}
	if got := Nearest.Enlarge(spot(3, 3, 1, 1), 2); got.At(2, 2) != 1 || got.At(3, 3) != 1 || got.At(1, 2) != 0 {
		t.Errorf("not repeated: %v", got.Pix)
	}
}

// TestMosaic: on an even slope every colour is filled in right, under its tint;
// a colour that the lens shows elsewhere is found there.
func TestMosaic(t *testing.T) {
	g := raster.NewGray(24, 20)
	for i := range g.Pix {
		g.Pix[i] = 0.1 + 0.01*float32(i%24) + 0.02*float32(i/24)
	}
	m := Mosaic{Tint: [3]float64{1, 0.8, 0.5}}
	m.Shift[2] = r2.Vec{X: 1.5, Y: -0.5}
	planes := m.Planes(g, Noise{}, 1)
	for c, p := range planes {
		for y := 4; y < 16; y++ {
			for x := 4; x < 20; x++ {
				want := 0.1 + 0.01*(float64(x)-m.Shift[c].X) + 0.02*(float64(y)-m.Shift[c].Y)
				if got := float64(p.At(x, y)); math.Abs(got-m.Tint[c]*want) > 1e-5 {
					t.Fatalf("colour %d at (%d, %d): %g, want %g", c, x, y, got, m.Tint[c]*want)
				}
			}
		}
	}
}

// TestSoil: what the metal has suffered leaves a dark gap dark; dust lies over
// it; and a scratch is where it was drawn.
func TestSoil(t *testing.T) {
	mid, r := r2.Vec{X: 30, Y: 30}, rand.New(rand.NewPCG(3, 3))
	dark, bright := raster.NewGray(61, 61), step(61, 61, 0, 0, 0.5)
	metal := NewSoil(61, 61)
	metal.Rust(r, mid, 15)
	metal.Scratch(r2.Vec{X: 5, Y: 5}, r2.Vec{X: 50, Y: 40}, 2, 0.4)
	metal.Streak(mid, 0.3, 20, 3, 2)
	for _, v := range metal.On(dark, 1).Pix {
		if v != 0 {
			t.Fatalf("the gap sends %g", v)
		}
	}
	_, _, xx, _, _ := lightMoments(metal.On(bright, 1))
	if _, _, clean, _, _ := lightMoments(bright); xx == clean {
		t.Error("nothing is seen on the face")
	}
	dust := NewSoil(61, 61)
	dust.Dust(mid, 4, 0.3)
	if g := dust.On(dark, 0); g.At(30, 30) != 0.3 || g.At(36, 30) != 0 {
		t.Errorf("dust sends %g, beside it %g", g.At(30, 30), g.At(36, 30))
	}
	scratch := NewSoil(61, 61)
	scratch.Scratch(r2.Vec{X: 10, Y: 20.5}, r2.Vec{X: 40, Y: 20.5}, 1.5, 3)
	lit := scratch.On(bright, 0.8)
	for i := range lit.Pix {
		lit.Pix[i] -= 0.5
	}
	if sum, c, _, _, _ := lightMoments(lit); math.Abs(sum-(30*1.5+math.Pi*0.75*0.75)) > 1 || r2.Norm(r2.Sub(c, r2.Vec{X: 25, Y: 20.5})) > 0.01 {
		t.Errorf("scratch sends %g about %v", sum, c)
	}
}

// TestPlainSnapshot: nothing added is the camera of the scene itself.
func TestPlainSnapshot(t *testing.T) {
	s := Draw(rand.New(rand.NewPCG(4, 4)), "tone")
	want, err := s.Gray8()
	if err != nil {
		t.Fatal(err)
	}
	got, ok := Snapshot{}.Take(s.Light(), s.Camera, s.Seed).(*image.Gray)
	if !ok || string(got.Pix) != string(want.Pix) {
		t.Error("the picture is another one")
	}
}

// TestScaled: lengths in divisions of the rule stay, and the picture is that
// of half the pixels.
func TestScaled(t *testing.T) {
	s := Draw(rand.New(rand.NewPCG(5, 5)), "photo")
	s.Camera.Oil, s.Camera.Vignette, s.Rule.Body.Finish.Amplitude = nil, 0, 0
	s.Rule.DigitHeight = 0 // strokes that overlap within their blur are near the truth only
	s.Camera.Gradient = r2.Vec{X: 1e-4}
	s.Joint.Pin.Finish, s.Joint.Bush.Finish, s.Plate.Face.Finish, s.Background.Finish = Finish{}, Finish{}, Finish{}, Finish{}
	half := s.Scaled(0.5)
	a, b := s.Truth(), half.Truth()
	for _, v := range [][2]float64{{a.Clearance, b.Clearance}, {a.PinDiameter, b.PinDiameter}, {a.Play, b.Play}, {a.BoreWear, b.BoreWear}} {
		if math.Abs(v[0]/s.Rule.Period-v[1]/half.Rule.Period) > 1e-9 {
			t.Errorf("%g divisions became %g", v[0]/s.Rule.Period, v[1]/half.Rule.Period)
		}
	}
	s.Camera.Blur, half.Camera.Blur = 3, 1.5
	want, got := s.Light().Half(), half.Light()
	worst := 0.0
	for i, v := range got.Pix {
		worst = max(worst, math.Abs(float64(v-want.Pix[i])))
	}
	// The mean of 2 x 2 pixels of blur 3 is, to the second moment, a pixel of
	// twice the size under blur 1.5.
	if worst > 0.005 {
		t.Errorf("light differs by up to %g", worst)
	}
}
