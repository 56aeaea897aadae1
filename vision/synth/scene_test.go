package synth

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// lens returns the area common to two discs whose centres are d apart
// (Weisstein, "Circle-Circle Intersection", MathWorld, equation 14; from
// memory).
func lens(r, q, d float64) float64 {
	a := r * r * math.Acos((d*d+r*r-q*q)/(2*d*r))
	b := q * q * math.Acos((d*d+q*q-r*r)/(2*d*q))
	c := math.Sqrt((-d+r+q)*(d+r-q)*(d-r+q)*(d+r+q)) / 2
	return a + b - c
}

// TestWornAreas measures the dark area of a black gap between white faces:
// bore less pin, each worn as a union or an intersection of two discs.
func TestWornAreas(t *testing.T) {
	const boreR, pinR, depth = 150.0, 144.0, 9.0
	const e = boreR - pinR + depth
	plain := math.Pi * (boreR*boreR - pinR*pinR)
	pocket := math.Pi*pinR*pinR - lens(boreR, pinR, e)
	flat := math.Pi*pinR*pinR - lens(pinR, boreR, e)
	for _, tt := range []struct {
		name       string
		bore, pin  float64
		want, tilt float64
	}{
		{"unworn", 0, 0, plain, 0},
		{"bore", depth, 0, plain + pocket, 0},
		{"pin", 0, depth, plain + flat, 0},
	} {
		s := Ring(boreR, 2*(boreR-pinR), 2, 0.7)
		s.Joint.BoreWear = Wear{Depth: tt.bore, DirectionRad: 2}
		s.Joint.PinWear = Wear{Depth: tt.pin, DirectionRad: 2}
		s.Joint.Bush.Level, s.Joint.Pin.Level, s.Joint.Dark = 1, 1, 0
		var got float64
		for _, v := range s.Light().Pix {
			got += 1 - float64(v)
		}
		// 0.001 px of edge over both rims.
		if math.Abs(got-tt.want) > 0.001*2*math.Pi*(boreR+pinR) {
			t.Errorf("%s: gap of %.2f px^2, want %.2f", tt.name, got, tt.want)
		}
	}
}

func TestTruth(t *testing.T) {
	s := Ring(200, 10, 1, 0.5)
	s.Joint.BoreWear = Wear{Depth: 6, DirectionRad: 0.5}
	s.Joint.Pull(1)
	got := s.Truth()
	want := Truth{
		BoreDiameter: 400, PinDiameter: 390, Clearance: 10,
		Offset:   r2.Scale(5+6-1, r2.Vec{X: math.Cos(0.5), Y: math.Sin(0.5)}),
		BoreWear: 6, Play: 16, MaxGap: 15,
	}
	for _, d := range []struct {
		name      string
		got, want float64
	}{
		{"bore", got.BoreDiameter, want.BoreDiameter},
		{"pin", got.PinDiameter, want.PinDiameter},
		{"clearance", got.Clearance, want.Clearance},
		{"offset x", got.Offset.X, want.Offset.X},
		{"offset y", got.Offset.Y, want.Offset.Y},
		{"bore wear", got.BoreWear, want.BoreWear},
		{"pin wear", got.PinWear, want.PinWear},
		{"play", got.Play, want.Play},
	} {
		if math.Abs(d.got-d.want) > 1e-9 {
			t.Errorf("%s %g, want %g", d.name, d.got, d.want)
		}
	}
	// The pull lies between two of the rays that are tried.
	if math.Abs(got.MaxGap-want.MaxGap) > 1e-4 {
		t.Errorf("widest gap %g, want %g", got.MaxGap, want.MaxGap)
	}
	// Pocket and pin are equal circles, 1 px apart: they are nearest at the
	// ends of the pocket, where the angle from the pull has some cosine.
	if got.MinGap > 1 || got.MinGap < 0 {
		t.Errorf("narrowest gap %g, want within 0..1", got.MinGap)
	}
	s.Joint.PinWear = Wear{Depth: 3, DirectionRad: 0.5 + math.Pi}
	if play := s.Truth().Play; math.Abs(play-19) > 1e-9 {
		t.Errorf("play with worn pin %g, want 19", play)
	}
}

// TestNarrowGap compares the light across a gap of half a pixel with the sum
// of two straight blurred edges.
func TestNarrowGap(t *testing.T) {
	s := Ring(400, 12, 0.5, 0)
	s.Camera.Blur = 0.8
	g := s.Light()
	j := s.Joint
	y := int(math.Round(j.BoreCenter.Y))
	blur := math.Sqrt(0.8*0.8 + 1.0/12)
	p := func(d float64) float64 { return math.Erfc(-d/blur/math.Sqrt2) / 2 }
	for x := int(j.BoreCenter.X + 395); x < int(j.BoreCenter.X+405); x++ {
		r := math.Hypot(float64(x)-j.BoreCenter.X, float64(y)-j.BoreCenter.Y)
		q := math.Hypot(float64(x)-j.PinCenter.X, float64(y)-j.PinCenter.Y)
		want := j.Bush.Level + (j.Dark-j.Bush.Level)*p(j.BoreR-r-blur*blur/2/j.BoreR) +
			(j.Pin.Level-j.Dark)*p(j.PinR-q-blur*blur/2/j.PinR)
		if got := float64(g.At(x, y)); math.Abs(got-want) > 0.002 {
			t.Errorf("pixel %d: light %.4f, want %.4f", x, got, want)
		}
	}
}

// TestTilt checks the projection against a camera built from scratch, and the
// picture of a tilted disc against its contour's own area and centroid.
func TestTilt(t *testing.T) {
	tilt := Tilt{AngleRad: 0.3, TowardsRad: 1.1, Distance: 3000}
	c := r2.Vec{X: 200, Y: 150}
	for _, p := range []r2.Vec{{X: 0, Y: 0}, {X: 310, Y: 20}, {X: 200, Y: 150}} {
		// Turn the plane about the axis square to TowardsRad (Rodrigues), then
		// look down from Distance.
		axis := r2.Vec{X: -math.Sin(1.1), Y: math.Cos(1.1)}
		v := r2.Sub(p, c)
		on := r2.Scale(r2.Dot(axis, v), axis)
		off := r2.Sub(v, on)
		flat := r2.Add(on, r2.Scale(math.Cos(0.3), off))
		away := math.Sin(0.3) * r2.Dot(off, r2.Vec{X: math.Cos(1.1), Y: math.Sin(1.1)})
		want := r2.Add(c, r2.Scale(3000/(3000+away), flat))
		if d := r2.Norm(r2.Sub(tilt.project(p, c), want)); d > 1e-9 {
			t.Errorf("%v seen %g px off", p, d)
		}
	}

	s := Ring(150, 12, 3, 0)
	s.Joint.Bush.Level, s.Joint.Pin.Level, s.Joint.Dark = 0, 1, 0
	s.Camera.Tilt = tilt
	var sum float64
	for _, v := range s.Light().Pix {
		sum += float64(v)
	}
	fine := s.project([][]r2.Vec{disc(s.Joint.PinCenter, s.Joint.PinR, 0.01)})[0]
	if want := math.Abs(area(fine)); math.Abs(sum-want) > 0.001*2*math.Pi*150 {
		t.Errorf("tilted pin covers %.2f px^2, want %.2f", sum, want)
	}
}

// TestRuleMarks finds the centroid of every mark's light along the rule.
func TestRuleMarks(t *testing.T) {
	for _, at := range []float64{0, 0.3} {
		s := Scene{W: 700, H: 500, Rule: Rule{
			Origin: r2.Vec{X: 80.3, Y: 120.6}, AngleRad: at, Period: 20.7, Marks: 25,
			LineWidth: 4.3, Short: 40, Mid: 60, Long: 80, MidEvery: 5, LongEvery: 10,
			Edge: 10, Width: 150, End: 30, Body: Face{Level: 1},
			PerspectiveAlong: 2e-5,
		}}
		s.Camera.Blur = 1
		g := s.Light()
		u := direction(at)
		v := r2.Vec{X: -u.Y, Y: u.X}
		for k := range s.Rule.Marks {
			foot := s.Rule.Foot(k)
			var sum, mean float64
			for y := range g.H {
				for x := range g.W {
					d := r2.Sub(r2.Vec{X: float64(x), Y: float64(y)}, foot)
					a, b := r2.Dot(d, u), r2.Dot(d, v)
					if math.Abs(a) < 10 && b > -6 && b < 90 {
						ink := 1 - float64(g.At(x, y))
						sum += ink
						mean += ink * a
					}
				}
			}
			// Perspective along the rule leaves the marks square to it.
			if off := mean / sum; math.Abs(off) > 0.002 {
				t.Errorf("angle %g mark %d: ink %.4f px from its foot", at, k, off)
			}
			length := map[bool]float64{true: 80, false: 40}[k%10 == 0]
			if k%10 == 5 {
				length = 60
			}
			if want := length * 4.3; math.Abs(sum/want-1) > 0.03 {
				t.Errorf("angle %g mark %d: ink %.1f px^2, want %.1f", at, k, sum, want)
			}
		}
		// Lengths along the rule grow by PerspectiveAlong per pixel.
		first := r2.Norm(r2.Sub(s.Rule.Foot(1), s.Rule.Foot(0)))
		last := r2.Norm(r2.Sub(s.Rule.Foot(24), s.Rule.Foot(23)))
		if want := 1 + 2e-5*20.7*23; math.Abs(last/first-want) > 2e-4 {
			t.Errorf("period grows by %g, want %g", last/first, want)
		}
	}
}

// TestPerspectiveAcross: marks converge, so that the period b below the base
// line is 1 + PerspectiveAcross b of that on it, to first order.
func TestPerspectiveAcross(t *testing.T) {
	r := Rule{Period: 20, PerspectiveAcross: -3e-5}
	got := r2.Norm(r2.Sub(r.at(20, 100), r.at(0, 100))) / 20
	if want := 1 - 3e-3; math.Abs(got-want) > 1e-5 {
		t.Errorf("period changes by %g, want %g", got, want)
	}
}

// TestChamfers reads the light in the middle of each ring along one ray.
func TestChamfers(t *testing.T) {
	s := Ring(200, 20, 4, 0)
	s.Joint.PinChamfer = Chamfer{Width: 10, Level: 0.3}
	s.Joint.BoreBreak = Chamfer{Width: 8, Level: 0.7}
	g := s.Light()
	j := s.Joint
	for _, tt := range []struct {
		name    string
		x, want float64
	}{
		{"pin", j.PinCenter.X - j.PinR + 15, j.Pin.Level},
		{"pin chamfer", j.PinCenter.X - j.PinR + 5, 0.3},
		{"gap", j.BoreCenter.X - j.BoreR + 8, j.Dark},
		{"bore break", j.BoreCenter.X - j.BoreR - 4, 0.7},
		{"bush", j.BoreCenter.X - j.BoreR - 15, j.Bush.Level},
	} {
		if got := g.Bilinear(tt.x, j.BoreCenter.Y); math.Abs(got-tt.want) > 0.001 {
			t.Errorf("%s: light %g, want %g", tt.name, got, tt.want)
		}
	}
}

func TestDirtHidesMarks(t *testing.T) {
	r := Draw(rand.New(rand.NewPCG(9, 9)), "rule")
	r.Rule.Covered = []Dirt{{From: 5, To: 8, Level: 0.2}}
	g := r.Light()
	for k := 4; k <= 9; k++ {
		p := r2.Add(r.Rule.Foot(k), r2.Scale(r.Rule.Short/2, direction(r.Rule.AngleRad+math.Pi/2)))
		if !g.Inside(p.X, p.Y) {
			t.Fatalf("mark %d out of the picture", k)
		}
		hidden := math.Abs(g.Bilinear(p.X, p.Y)-0.2) < 0.001
		if want := k >= 5 && k <= 8; hidden != want {
			t.Errorf("mark %d hidden %v, want %v", k, hidden, want)
		}
	}
}

// TestFamilies draws a few scenes of every family and looks for nonsense.
func TestFamilies(t *testing.T) {
	for _, family := range Families() {
		r := rand.New(rand.NewPCG(1, 2))
		for range 20 {
			s := Draw(r, family)
			truth := s.Truth()
			if truth.MinGap < 0.01 {
				t.Errorf("%s: parts %g px into each other", family, -truth.MinGap)
			}
			if truth.Play < truth.Clearance-1e-9 || truth.Play > truth.Clearance+truth.BoreWear+truth.PinWear+1e-9 {
				t.Errorf("%s: play %g with clearance %g", family, truth.Play, truth.Clearance)
			}
			c, far := s.Joint.BoreCenter, s.Joint.BoreR+s.Joint.BoreWear.Depth
			if c.X < far || c.Y < far || c.X+far > float64(s.W) || c.Y+far > float64(s.H) {
				t.Errorf("%s: bore runs out of the picture", family)
			}
		}
		s := Draw(r, family)
		dark, bright := s.W*s.H, 0
		img, err := s.Gray8()
		if err != nil {
			t.Fatalf("%s: %v", family, err)
		}
		for _, v := range img.Pix {
			dark, bright = min(dark, int(v)), max(bright, int(v))
		}
		if bright-dark < 20 {
			t.Errorf("%s: levels %d to %d", family, dark, bright)
		}
	}
}
