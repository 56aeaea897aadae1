package vision

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// ruleKinds are rules as they lie beside a chain that matters more than they
// do: running out of the picture, cut by its edge, at a slant, with short
// marks, with figures, under oil.
var ruleKinds = []struct {
	name string
	make func(s *ruleScene, between func(a, b float64) float64)
}{
	{"runs out of the picture at 1 to 10 degrees", func(s *ruleScene, between func(a, b float64) float64) {
		s.angle = between(1, 10) * math.Pi / 180
		cutAlong(s, between)
	}},
	{"long marks cut by the edge", func(s *ruleScene, between func(a, b float64) float64) {
		s.angle = between(-1, 1) * math.Pi / 180
		// The foot of the marks so far above the lower edge that short marks
		// stand inside and the longest do not.
		s.middle.Y = float64(s.h) - between(1.1, 1.6)*s.length*s.period
	}},
	{"short marks at all angles", func(s *ruleScene, between func(a, b float64) float64) {
		s.length = between(1.1, 2)
		s.angle = between(-math.Pi, math.Pi)
	}},
	{"short marks at 35 to 55 degrees", func(s *ruleScene, between func(a, b float64) float64) {
		s.length = between(1.1, 1.5)
		s.angle = between(35, 55) * math.Pi / 180
	}},
	{"half millimetres", func(s *ruleScene, between func(a, b float64) float64) {
		s.halves = true
		s.length = between(1.5, 3)
		s.angle = between(-45, 45) * math.Pi / 180
	}},
	{"oil", func(s *ruleScene, between func(a, b float64) float64) {
		s.oil = int(between(2, 8))
		s.covered = between(0, 0.1)
		s.angle = between(-45, 45) * math.Pi / 180
	}},
	{"dark steel, bright marks", func(s *ruleScene, between func(a, b float64) float64) {
		s.light, s.dark = between(0.03, 0.12), between(0.3, 0.8)
		s.angle = between(-45, 45) * math.Pi / 180
	}},
	{"upright, runs out at 1 to 10 degrees", func(s *ruleScene, between func(a, b float64) float64) {
		s.angle = between(1, 10) * math.Pi / 180
		cutAlong(s, between)
		s.w, s.h = s.h, s.w
		s.middle.X, s.middle.Y = s.middle.Y, s.middle.X
		// Mirrored at the diagonal, so the foot of the marks lies further in.
		s.angle = math.Pi/2 - s.angle
		s.middle.X -= 2 * s.length * s.period
	}},
}

// cutAlong lays the rule so that its base line leaves the picture through the
// lower edge after a half to nine tenths of its width.
func cutAlong(s *ruleScene, between func(a, b float64) float64) {
	leaves := between(0.5, 0.9) * float64(s.w)
	s.middle = r2.Vec{X: float64(s.w) / 2, Y: float64(s.h) - (leaves-float64(s.w)/2)*math.Tan(s.angle)}
}

// kindScene is a rule of the kind, across the whole picture.
func kindScene(kind int, seed uint64) ruleScene {
	rng := rand.New(rand.NewPCG(seed, 1000+uint64(kind)))
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	s := ruleScene{w: 900, h: 640, seed: seed, longEvery: 5}
	s.period = math.Exp(between(math.Log(8), math.Log(32)))
	s.length = between(1.5, 3)
	s.width = between(0.12, 0.25)
	s.blur = between(0.6, min(1.6, s.period/8))
	s.middle = r2.Vec{X: 450 + between(-60, 60), Y: 320 + between(-60, 60)}
	s.noise = between(0.5, 4)
	s.light, s.dark = between(0.35, 0.8), between(0.02, 0.12)
	s.gradient = between(-0.4, 0.4)
	s.digits = rng.IntN(4) > 0
	s.brushed = rng.IntN(2) == 0
	// Odd, to have a mark in the middle; as long as the picture and more.
	s.marks = 2*int(between(0.35, 0.9)*900/s.period) + 1
	ruleKinds[kind].make(&s, between)
	return s
}

// Rules of every kind: hardly one is refused, and none is read wrongly.
func TestFindRuleKinds(t *testing.T) {
	scenes := 12
	if testing.Short() {
		scenes = 4
	}
	for kind := range ruleKinds {
		t.Run(ruleKinds[kind].name, func(t *testing.T) {
			found, covered, refused := 0, 0, 0
			for seed := range uint64(scenes) {
				s := kindScene(kind, seed)
				r, err := FindRule(s.draw())
				about := fmt.Sprintf("scene %d (period %.1f, marks %.2f divisions long, %.1f degrees, blur %.1f, noise %.1f)", seed, s.period, s.length, s.angle*180/math.Pi, s.blur, s.noise)
				if err != nil {
					refused++
					t.Logf("%s: %v", about, err)
					continue
				}
				e, err := compareRule(s, r.Rule)
				if err != nil || math.Abs(e.period) > 1e-3 {
					t.Errorf("%s: period %.3f, %v", about, r.Period, err)
					continue
				}
				for _, tick := range r.Ticks {
					if !(tick.Length > 0) {
						t.Errorf("%s: mark %d is %g px long", about, tick.K, tick.Length)
					}
				}
				found++
				if math.Abs(e.period)*r.Period <= 2*r.UPeriod {
					covered++
				} else {
					t.Logf("%s: period off by %.0f ppm, u %.0f ppm", about, e.period*1e6, r.UPeriod/r.Period*1e6)
				}
			}
			if refused > 1 {
				t.Errorf("refused %d of %d readable rules", refused, scenes)
			}
			// As in the sweep: 2 u cover 95 %, less three binomial deviations.
			if least := 0.95*float64(found) - 3*math.Sqrt(float64(found)*0.95*0.05); float64(covered) < least {
				t.Errorf("%d of %d periods within twice their uncertainty, want %.0f", covered, found, least)
			}
			t.Logf("found %d, refused %d of %d; %d periods within twice their uncertainty", found, refused, scenes, covered)
		})
	}
}

// The stroke of a figure half a division before the first mark must not number
// the marks by twos.
func TestRunWithoutStrays(t *testing.T) {
	var twos, mixed, even []link
	for i := range int32(12) {
		twos = append(twos, link{i, max(0, 2*int(i)-1)})
		even = append(even, link{i, int(i)})
		mixed = append(mixed, link{i, 6*int(i) + int(i)/9})
	}
	for _, c := range []struct {
		name string
		run  []link
		want []link
	}{
		{"a stray first", twos, even[:11]},
		{"every place", even, even},
		{"sixths, three off", mixed, mixed},
	} {
		got := withoutStrays(slices.Clone(c.run))
		if len(got) != len(c.want) {
			t.Errorf("%s: %v", c.name, got)
			continue
		}
		for i := range got {
			if got[i].k-got[0].k != c.want[i].k-c.want[0].k {
				t.Errorf("%s: %v, want places %v", c.name, got, c.want)
				break
			}
		}
	}
}
