package calib

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// square6um is a scale without gradient, 6 µm a pixel.
func square6um() Scale {
	return Scale{
		MMPerPx: uncert.Combine(0.006, "mm/px", uncert.Budget{{Name: "rule division tolerance", U: 6e-7}}),
		Origin:  r2.Vec{X: 800, Y: 1100},
		Source:  "points",
		W:       1600, H: 1200,
	}
}

func refusedAs(t *testing.T, err error, code check.Code, words ...string) {
	t.Helper()
	var refusal *check.Refusal
	if !errors.As(err, &refusal) || refusal.Code != code {
		t.Fatalf("error %v, want a refusal %s", err, code)
	}
	for _, w := range words {
		if !strings.Contains(refusal.Message, w) {
			t.Errorf("message %q does not name %q", refusal.Message, w)
		}
	}
}

func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

func drawScale(t *rapid.T) Scale {
	s := square6um()
	s.AngleRad = rapid.Float64Range(-3, 3).Draw(t, "angle")
	s.Gradient = r2.Vec{X: rapid.Float64Range(-2e-5, 2e-5).Draw(t, "gx"), Y: rapid.Float64Range(-2e-5, 2e-5).Draw(t, "gy")}
	s.Origin = drawPoint(t, "origin")
	s.GradientU = r2.Vec{X: 1e-6, Y: 5e-7}
	s.DistortionU, s.Foreshortening, s.Extent = 1e-9, 2e-4, 900
	return s
}

func drawPoint(t *rapid.T, name string) r2.Vec {
	return r2.Vec{X: rapid.Float64Range(0, 1599).Draw(t, name+" x"), Y: rapid.Float64Range(0, 1199).Draw(t, name+" y")}
}

// One homography stands behind all the methods, whatever the slant.
func TestMethodsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, p := drawScale(t), drawPoint(t, "p")
		turn := rapid.Float64Range(0, 6).Draw(t, "turn")
		d := direction(turn)

		along := s.Along(p, turn).Value
		if step := s.Distance(r2.Sub(p, d), r2.Add(p, d), 0).Value / 2; !near(along, step, 1e-8*along) {
			t.Fatalf("pixel length %.12g, by a step of two pixels %.12g", along, step)
		}
		// The mean of all directions is the root of the area of a pixel, here
		// from the three sides of a small triangle about p.
		const size = 0.02
		corner := func(i int) r2.Vec { return r2.Add(p, r2.Scale(size, direction(turn+2*math.Pi*float64(i)/3))) }
		a := s.Distance(corner(0), corner(1), 0).Value
		b := s.Distance(corner(1), corner(2), 0).Value
		c := s.Distance(corner(2), corner(0), 0).Value
		half := (a + b + c) / 2
		area := math.Sqrt(half * (half - a) * (half - b) * (half - c))
		pixels := 3 * math.Sqrt(3) / 4 * size * size
		if got, want := s.At(p).Value, math.Sqrt(area/pixels); !near(got, want, 1e-6*want) {
			t.Fatalf("mean of directions %.12g, root of the area %.12g", got, want)
		}
	})
}

// Along the rule, about the Origin, Scale's own doc comment holds.
func TestGradientIsTheSlope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawScale(t)
		if got := s.Along(s.Origin, s.AngleRad).Value; !near(got, 0.006, 1e-15) {
			t.Fatalf("at the Origin along the scale %.12g, want what was measured", got)
		}
		d := direction(rapid.Float64Range(0, 6).Draw(t, "towards"))
		slope := (s.Along(r2.Add(s.Origin, d), s.AngleRad).Value - s.Along(r2.Sub(s.Origin, d), s.AngleRad).Value) / 2 / 0.006
		// The plane is off square, so the slope is the gradient's but for h
		// times the distance from the middle: 2e-5 * 1000 = 2 %, here twice.
		if want := r2.Dot(s.Gradient, d); !near(slope, want, 0.05*r2.Norm(s.Gradient)+1e-11) {
			t.Fatalf("slope %g, gradient %g", slope, want)
		}
	})
}

func TestDistanceLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawScale(t)
		a, b := drawPoint(t, "a"), drawPoint(t, "b")
		u := rapid.Float64Range(0, 1).Draw(t, "u")
		there, back := s.Distance(a, b, u), s.Distance(b, a, u)
		if !near(there.Value, back.Value, 1e-12) || !near(there.U, back.U, 1e-12) {
			t.Fatalf("%v there, %v back", there, back)
		}
		c := drawPoint(t, "c")
		if around := s.Distance(a, c, 0).Value + s.Distance(c, b, 0).Value; there.Value > around*(1+1e-12) {
			t.Fatalf("%v straight, %v by another point", there.Value, around)
		}
		middle := r2.Scale(0.5, r2.Add(a, b))
		if on := s.Distance(a, middle, 0).Value + s.Distance(middle, b, 0).Value; !near(on, there.Value, 1e-12*on+1e-15) {
			t.Fatalf("%v in one, %v in two steps on the line", there.Value, on)
		}
	})
}

// Nothing about the photo changes when it is turned by a half turn about its
// middle, or the marks are counted from the other end.
func TestRuleTurnedAndReversed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := bench
		c.tilt, c.azimuth = rad(rapid.Float64Range(0, 3).Draw(t, "tilt")), rapid.Float64Range(0, 6).Draw(t, "azimuth")
		l := tenths
		l.angle = rapid.Float64Range(-0.1, 0.1).Draw(t, "angle")
		rule := c.marksOf(l, newRand(rapid.Uint64().Draw(t, "seed")))
		turned, reversed := rule, rule
		turned.Ticks, reversed.Ticks = nil, nil
		for _, m := range rule.Ticks {
			r := m
			r.K = 40 - m.K
			reversed.Ticks = append(reversed.Ticks, r)
			m.At = r2.Sub(r2.Vec{X: 1599, Y: 1199}, m.At)
			m.AngleRad += math.Pi
			turned.Ticks = append(turned.Ticks, m)
		}
		p := drawPoint(t, "p")
		want, err := FromRule(rule, 0.1, photo)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			rule geom.Rule
			at   r2.Vec
		}{{turned, r2.Sub(r2.Vec{X: 1599, Y: 1199}, p)}, {reversed, p}} {
			got, err := FromRule(c.rule, 0.1, photo)
			if err != nil {
				t.Fatal(err)
			}
			a, b := want.Scale.At(p), got.Scale.At(c.at)
			if !near(a.Value, b.Value, 1e-9*a.Value) || !near(a.U, b.U, 1e-6*a.U) {
				t.Fatalf("%v as it was, %v turned or counted the other way", a, b)
			}
		}
		ten, err := FromRule(rule, 1, photo)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := want.Scale.MMPerPx.Value, ten.Scale.MMPerPx.Value; !near(10*a, b, 1e-12*b) {
			t.Fatalf("division 0.1: %v, division 1: %v", a, b)
		}
	})
}

func TestUncertaintyGrowsWithDistance(t *testing.T) {
	rule := bench.marksOf(tenths, newRand(2))
	got, err := FromRule(rule, 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	last := 0.0
	for _, y := range []float64{900, 600, 300, 0} {
		u := got.Scale.At(r2.Vec{X: 780, Y: y}).U
		if u <= last {
			t.Errorf("%g px above the rule u is %g, nearer it is %g", 1100-y, u, last)
		}
		last = u
	}
}

func TestLengthAndFits(t *testing.T) {
	s := square6um()
	px := uncert.Combine(550, "px", uncert.Budget{{Name: "edges", U: 0.05}})
	got := s.Length(px, s.Origin)
	// 550 * 0.006 = 3.3; u² = (550 * 6e-7)² + (0.006 * 0.05)².
	if !near(got.Value, 3.3, 1e-12) || got.Unit != "mm" || !near(got.U, math.Hypot(3.3e-4, 3e-4), 1e-12) {
		t.Errorf("550 px: %v, want 3.3 mm (u 0.000446)", got)
	}
	if err := s.Fits(1600, 1200); err != nil {
		t.Error(err)
	}
	refusedAs(t, s.Fits(1200, 1600), check.WrongScale, "1600 x 1200", "1200 x 1600")
}

func TestAgree(t *testing.T) {
	a := square6um()
	b := a
	b.Origin = r2.Vec{X: 800, Y: 100}
	for _, c := range []struct {
		name   string
		differ float64 // relative
		u      float64 // of b, relative
		ok     bool
	}{
		{"alike", 0, 1e-4, true},
		{"within half a percent", 0.004, 1e-4, true},
		{"beyond it and clear", 0.006, 1e-4, false},
		{"beyond it and not clear", 0.006, 3e-3, true},
		{"far apart", 0.1, 3e-3, false},
	} {
		v := 0.006 * (1 + c.differ)
		b.MMPerPx = uncert.Combine(v, "mm/px", uncert.Budget{{Name: "gauge tolerance", U: c.u * v}})
		got, err := Agree(a, b)
		if got.OK != c.ok || (err == nil) != c.ok {
			t.Errorf("%s: %+v, %v", c.name, got, err)
		}
		if !c.ok {
			refusedAs(t, err, check.ScalesDisagree, "mm/px")
		}
	}
}

// Two rules in the plane of one tilted camera agree at their common place
// though their own pixel lengths differ.
func TestAgreeUnderTilt(t *testing.T) {
	c := bench
	c.tilt = rad(8)
	c.distance = 60
	low, high := tenths, tenths
	high.middle.Y = 100
	a, err := FromRule(c.marksOf(low, newRand(3)), 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	b, err := FromRule(c.marksOf(high, newRand(4)), 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	if d := a.Scale.MMPerPx.Value/b.Scale.MMPerPx.Value - 1; math.Abs(d) < 0.01 {
		t.Fatalf("the two rules differ by %g only: the test shows nothing", d)
	}
	if got, err := Agree(a.Scale, b.Scale); err != nil {
		t.Errorf("%+v: %v", got, err)
	}
}

func ExampleFromPoints() {
	reading, err := FromPoints(r2.Vec{X: 100, Y: 200}, r2.Vec{X: 900, Y: 800}, 6, 0.05, Options{W: 1600, H: 1200})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(reading.Scale.MMPerPx)
	fmt.Println(reading.Scale.Distance(r2.Vec{X: 400, Y: 500}, r2.Vec{X: 600, Y: 500}, 0.07))
	_, err = FromPoints(r2.Vec{X: 100, Y: 200}, r2.Vec{X: 130, Y: 200}, 6, 0, Options{W: 1600, H: 1200})
	fmt.Println(err)
	// Output:
	// 0.00600000 mm/px (u 0.00000073, 95 % from 0.00599856 to 0.00600144)
	// 1.2000 mm (u 0.0018, 95 % from 1.1964 to 1.2036)
	// the scale is known to 0.033 of itself (standard uncertainty), worse than 0.01
}
