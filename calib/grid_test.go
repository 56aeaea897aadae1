package calib

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
)

// bent is bench with a lens that moves the corner by 1 % inwards.
func bent() camera {
	c := bench
	c.bend = -0.01 / (1000 * 1000)
	return c
}

// gridOf returns the points of a grid of the given pitch, mm, turned by angle,
// that the photo shows. A nil r makes no noise.
func (c camera) gridOf(pitch, angle, u float64, r *rand.Rand) geom.Grid {
	var g geom.Grid
	along, across := axes(angle)
	for j := -16; j <= 16; j++ {
		for i := -16; i <= 16; i++ {
			at := c.see(r2.Add(r2.Scale(pitch*float64(i), along), r2.Scale(pitch*float64(j), across)))
			if r != nil {
				at = r2.Add(at, r2.Vec{X: u * r.NormFloat64(), Y: u * r.NormFloat64()})
			}
			if at.X > 20 && at.Y > 20 && at.X < float64(c.w-21) && at.Y < float64(c.h-21) {
				g.Points = append(g.Points, geom.GridPoint{I: i, J: j, At: at, Cov: [2][2]float64{{u * u, 0}, {0, u * u}}})
			}
		}
	}
	return g
}

func TestGridWithoutNoise(t *testing.T) {
	c := bent()
	c.tilt, c.azimuth = rad(1), 0.7
	found, err := FromGrids([]geom.Grid{c.gridOf(0.4, 0.3, 0.02, nil)}, 0.4, photo)
	if err != nil {
		t.Fatal(err)
	}
	s := found.Scale
	// The camera's bend is about the photo's middle and in its own flat pixels.
	if !near(s.Lens.K1, c.bend, 1e-6*math.Abs(c.bend)) || s.Lens.K2 != 0 || r2.Norm(r2.Sub(s.Lens.Centre, c.centre())) > 1e-3 {
		t.Errorf("lens %+v, want k1 %g about %v", s.Lens, c.bend, c.centre())
	}
	for _, p := range []r2.Vec{c.centre(), {X: 100, Y: 80}, {X: 1500, Y: 600}, {X: 700, Y: 1150}} {
		if got, want := s.At(p).Value, c.pixel(p); !near(got, want, 1e-4*want) {
			t.Errorf("at %v a pixel is %.9f mm, true %.9f", p, got, want)
		}
		q := r2.Add(p, r2.Vec{X: 60, Y: 30})
		if got, want := s.Distance(p, q, 0).Value, c.distanceOf(p, q); !near(got, want, 2e-4*want) {
			t.Errorf("from %v to %v %.7f mm, true %.7f", p, q, got, want)
		}
		// The methods mean the same for points flattened before.
		f := s.Flattened()
		if got, want := f.Distance(s.Flat(p), s.Flat(q), 0), s.Distance(p, q, 0); !near(got.Value, want.Value, 1e-12) || !near(got.U, want.U, 1e-2*want.U) {
			t.Errorf("flattened %v, in the photo %v", got, want)
		}
		size := 1 / math.Sqrt(s.Lens.area(s.Flat(p)))
		if got, want := f.At(s.Flat(p)), s.At(p).Scaled(size, "mm/px"); !near(got.Value, want.Value, 1e-9*want.Value) || !near(got.U, want.U, 1e-6*want.U) {
			t.Errorf("flattened %v, in the photo %v", got, want)
		}
	}
	if want := 100 * (1000/r2.Norm(r2.Sub(s.Lens.flat(r2.Add(s.Lens.Centre, r2.Vec{X: 1000})), s.Lens.Centre)) - 1); !near(found.Corner.Value, want, 1e-9) || want > -0.9 {
		t.Errorf("corner moved by %v, want %g %%", found.Corner, want)
	}
}

// flat undoes bend, whatever lens is sound.
func TestLensThereAndBack(t *testing.T) {
	r := newRand(3)
	for range 2000 {
		l := Lens{Centre: r2.Vec{X: 700 + 200*r.Float64(), Y: 500 + 200*r.Float64()}, K1: 2e-7 * r.NormFloat64(), K2: 5e-14 * r.NormFloat64()}
		if !l.sound(1600, 1200) {
			continue
		}
		p := r2.Vec{X: 1600 * r.Float64(), Y: 1200 * r.Float64()}
		if back := l.bend(l.flat(p)); r2.Norm(r2.Sub(back, p)) > 1e-8 {
			t.Fatalf("%+v: %v comes back as %v", l, p, back)
		}
		q, d := l.flat(p), direction(6*r.Float64())
		if got := l.flatter(q, l.bent(q, d)); r2.Norm(r2.Sub(got, d)) > 1e-12 {
			t.Fatalf("way %v comes back as %v", d, got)
		}
		step := r2.Scale(0.5/1e-4, r2.Sub(l.bend(r2.Add(q, r2.Scale(1e-4, d))), l.bend(r2.Sub(q, r2.Scale(1e-4, d)))))
		if r2.Norm(r2.Sub(step, l.bent(q, d))) > 1e-5 {
			t.Fatalf("way %v is bent to %v, by steps %v", d, l.bent(q, d), step)
		}
	}
}

// Of many noisy grids the interval of k1, of the corner's move and of lengths
// near the photo's edge must hold the truth about as often as stated; and
// without the lens it must not.
func TestGridCoverage(t *testing.T) {
	const trials = 200
	r := newRand(11)
	var k1, corner, edge, cross int
	bare := 0
	for range trials {
		c := bent()
		c.bend *= 0.2 + 1.6*r.Float64()
		c.tilt, c.azimuth = rad(0.5*r.NormFloat64()), 6*r.Float64()
		found, err := FromGrids([]geom.Grid{c.gridOf(0.5, 6*r.Float64(), 0.05, r)}, 0.5, Options{W: c.w, H: c.h, Tolerance: 1e-7})
		if err != nil {
			t.Fatal(err)
		}
		s := found.Scale
		if math.Abs(s.Lens.K1-c.bend) < 1.98*math.Sqrt(s.Lens.Cov[0][0]) {
			k1++
		}
		truth := 100 * (1000/r2.Norm(Lens{K1: c.bend}.flat(r2.Vec{X: 1000})) - 1)
		if found.Corner.Lower <= truth && truth <= found.Corner.Upper {
			corner++
		}
		a, b := r2.Vec{X: 60, Y: 300}, r2.Vec{X: 90, Y: 1100}
		within := func(s Scale, a, b r2.Vec) bool {
			q, want := s.Distance(a, b, 0), c.distanceOf(a, b)
			return q.Lower <= want && want <= q.Upper
		}
		if within(s, a, b) {
			edge++
		}
		if within(s, r2.Vec{X: 800, Y: 1150}, r2.Vec{X: 1500, Y: 1000}) {
			cross++
		}
		s.Lens.K1, s.Lens.K2 = 0, 0
		if within(s, a, b) {
			bare++
		}
	}
	t.Logf("of %d: k1 %d, corner %d, edge %d, across %d; edge without the lens %d", trials, k1, corner, edge, cross, bare)
	// 200 trials at 95 %: 190, standard deviation 3.1.
	for name, n := range map[string]int{"k1": k1, "corner": corner, "edge": edge, "across": cross} {
		if n < 181 {
			t.Errorf("%s: truth inside %d of %d intervals", name, n, trials)
		}
	}
	if k1 == trials || bare > trials/10 {
		t.Errorf("k1 inside %d, and without the lens %d of %d lengths are right: the test tells nothing", k1, bare, trials)
	}
}

// A lens with a fourth-power part, and one that sits beside the middle of the
// sensor, are found as what they are; lengths are right to a few parts in ten
// thousand, ten times better than the fourth power or the middle would leave.
func TestGridOtherLenses(t *testing.T) {
	curved := bent()
	curved.bend4 = 0.006 / 1e12
	beside := bent()
	beside.bend *= 2
	beside.off = r2.Vec{X: 25, Y: -18}
	for name, c := range map[string]camera{"fourth power": curved, "beside the middle": beside} {
		found, err := FromGrids([]geom.Grid{c.gridOf(0.4, 0.3, 0.02, newRand(8))}, 0.4, photo)
		if err != nil {
			t.Fatal(err)
		}
		l := found.Scale.Lens
		u := func(i int) float64 { return 4 * math.Sqrt(l.Cov[i][i]) }
		if !near(l.K1, c.bend, u(0)) || !near(l.K2, c.bend4, u(1)) || (l.K2 != 0) != (c.bend4 != 0) {
			t.Errorf("%s: K1 %g, K2 %g, want %g, %g", name, l.K1, l.K2, c.bend, c.bend4)
		}
		if off := r2.Sub(l.Centre, r2.Add(c.centre(), c.off)); !near(off.X, 0, u(2)) || !near(off.Y, 0, u(3)) {
			t.Errorf("%s: centre %v off by %v", name, l.Centre, off)
		}
		for _, way := range [][2]r2.Vec{{{X: 40, Y: 40}, {X: 300, Y: 60}}, {{X: 1550, Y: 400}, {X: 1540, Y: 1150}}, {{X: 600, Y: 20}, {X: 900, Y: 30}}} {
			q, want := found.Scale.Distance(way[0], way[1], 0), c.distanceOf(way[0], way[1])
			if !near(q.Value, want, 3e-4*want) || q.Lower > want || want > q.Upper {
				t.Errorf("%s: from %v to %v %v, true %.5f", name, way[0], way[1], q, want)
			}
		}
	}
}

func TestGridsTogether(t *testing.T) {
	r := newRand(5)
	var grids []geom.Grid
	for k := range 4 {
		c := bent()
		c.tilt, c.azimuth = rad(0.3), float64(k)
		grids = append(grids, c.gridOf(0.5, 0.4*float64(k), 0.05, r))
	}
	one, err := FromGrids(grids[:1], 0.5, photo)
	if err != nil {
		t.Fatal(err)
	}
	all, err := FromGrids(grids, 0.5, photo)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := all.Corner.U, one.Corner.U; !(a < 0.7*b && a > 0.3*b) {
		t.Errorf("four photos tell the corner to %g, one to %g, want about half", a, b)
	}
	if len(all.StrayPx) != 4 || !near(all.StrayPx[2], 0.05*math.Sqrt2, 0.01) {
		t.Errorf("points stray %v px, want 0.07", all.StrayPx)
	}
	// The planes slant each in its own way, and a later one may, too.
	if !(all.Scale.GradientU.X > 2*one.Scale.GradientU.X) {
		t.Errorf("gradient known to %v from four planes that differ, %v from one", all.Scale.GradientU, one.Scale.GradientU)
	}
	far := bent()
	far.mmPerPx *= 1.02
	_, err = FromGrids(append(grids[:1:1], far.gridOf(0.5, 0, 0.05, r)), 0.5, photo)
	if refused := (*check.Refusal)(nil); !errors.As(err, &refused) || refused.Code != check.ScalesDisagree {
		t.Errorf("photos of two magnifications: %v", err)
	}
}

func TestGridRefuses(t *testing.T) {
	good := func() geom.Grid { return bent().gridOf(0.5, 0.2, 0.05, newRand(9)) }
	r := newRand(2)
	for name, spoil := range map[string]func(*geom.Grid){
		"few points": func(g *geom.Grid) { g.Points = g.Points[:24] },
		"in a row": func(g *geom.Grid) {
			keepPoints(g, func(q geom.GridPoint) bool { return q.J == 0 || q.J == 1 && q.I == 1 })
		},
		"only the middle": func(g *geom.Grid) { keepPoints(g, func(q geom.GridPoint) bool { return abs(q.I) < 6 && abs(q.J) < 6 }) },
		"squashed": func(g *geom.Grid) {
			for k := range g.Points {
				g.Points[k].At.Y *= 0.98
			}
		},
		"not a number":   func(g *geom.Grid) { g.Points[3].At.X = math.NaN() },
		"no covariance":  func(g *geom.Grid) { g.Points[3].Cov = [2][2]float64{} },
		"twice the same": func(g *geom.Grid) { g.Points[3].I, g.Points[3].J = g.Points[4].I, g.Points[4].J },
		"no grid": func(g *geom.Grid) {
			for k := range g.Points {
				g.Points[k].At = r2.Vec{X: 1600 * r.Float64(), Y: 1200 * r.Float64()}
			}
		},
		"crumpled": func(g *geom.Grid) {
			for k := range g.Points {
				g.Points[k].At.X += 4 * math.Sin(g.Points[k].At.Y/60)
			}
		},
	} {
		g := good()
		spoil(&g)
		_, err := FromGrids([]geom.Grid{g}, 0.5, photo)
		if refused := (*check.Refusal)(nil); !errors.As(err, &refused) || refused.Code != check.ScaleUnclear {
			t.Errorf("%s: %v, want scale_unclear", name, err)
		}
	}
	steep := bent()
	steep.tilt = rad(9)
	if _, err := FromGrids([]geom.Grid{steep.gridOf(0.5, 0.2, 0.05, r)}, 0.5, photo); err == nil {
		t.Error("a slant of 9 degrees was taken")
	}
	// A few points that lie wrong are left out and do no harm.
	g := good()
	for k := 0; k < len(g.Points); k += 20 {
		g.Points[k].At.X += 3
	}
	found, err := FromGrids([]geom.Grid{g}, 0.5, photo)
	if err != nil || !near(found.Scale.Lens.K1, bent().bend, 5*math.Sqrt(found.Scale.Lens.Cov[0][0])) {
		t.Errorf("with one point in twenty wrong: %+v, %v", found.Scale.Lens, err)
	}
}

func keepPoints(g *geom.Grid, keep func(geom.GridPoint) bool) {
	var kept []geom.GridPoint
	for _, q := range g.Points {
		if keep(q) {
			kept = append(kept, q)
		}
	}
	g.Points = kept
}
