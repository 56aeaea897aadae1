package measure

import (
	"math"
	"strings"
	"testing"

	"pinlash/measure/check"
	"pinlash/measure/geom"
)

// spoil puts edges of oil in place of a rim, which look as well read as any:
// from one angle to another (rad) the rim seems to lie at dev.
func spoil(p *geom.RimProfile, from, to, dev, u float64) {
	for i, t := range p.Angle {
		if d := math.Mod(t-from+4*math.Pi, 2*math.Pi); d < to-from {
			p.Dev[i], p.U[i] = dev, u
		}
	}
}

// Oil and dirt where the flank begins, on it, and where it ends do not decide
// its depth and direction; the tolerances are those of the flank without.
func TestOilDoesNotDecideTheFlank(t *testing.T) {
	const load = 1.0
	for _, tt := range []struct {
		name          string
		from, to, dev float64 // rad from the load; px
	}{
		{"where it ends", 0.9, 1.3, 15},
		{"where it begins, far in", -1.4, -0.9, -25},
		{"on it", -0.3, 0.1, 20},
	} {
		e := model{boreR: 300, pinR: 296, offset: 13, direction: load, boreWear: 10, noise: 0.05}.edges(seeded())
		spoil(&e.BoreProfile, load+tt.from, load+tt.to, tt.dev, 0.02)
		r, err := Joint(e, exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if d := math.Abs(r.WearDepthBore.Value - 0.1); d > 0.0015 {
			t.Errorf("oil %s: wear depth %v, want 0.1", tt.name, r.WearDepthBore)
		}
		if d := math.Abs(r.Play.Value - 0.18); d > 0.002 {
			t.Errorf("oil %s: play %v, want 0.18", tt.name, r.Play)
		}
		// Where the two circles cross: acos(c/2 / (c/2 + depth)) to either side.
		if want := "over about 147 degrees about 57 degrees"; !strings.Contains(strings.Join(r.Notes, "\n"), want) {
			t.Errorf("oil %s: notes %q lack %q", tt.name, r.Notes, want)
		}
	}
}

// Two solid parts do not go through each other: a flank read shallower than
// the pin's place allows is deeper, and the check says by how much.
func TestPinStaysWithinItsFlanks(t *testing.T) {
	within := func(r JointResult) check.Check {
		t.Helper()
		for _, c := range r.Checks {
			if c.Name == "pin_beyond_flanks_px" {
				return c
			}
		}
		t.Fatalf("no check in %v", r.Checks)
		return check.Check{}
	}
	joint := func(offset float64) JointResult {
		t.Helper()
		r, err := Joint(model{boreR: 300, pinR: 296, offset: offset, direction: 1, boreWear: 8, noise: 0.05}.edges(seeded()), exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	// Half a clearance of 8 px and 8 px of wear: 12 px is the farthest.
	if r := joint(11.9); !within(r).OK || math.Abs(r.WearDepthBore.Value-0.08) > 0.002 {
		t.Errorf("touching: %+v, wear depth %v", within(r), r.WearDepthBore)
	}
	r := joint(14)
	if c := within(r); c.OK || math.Abs(c.Value-2) > 0.2 {
		t.Errorf("2 px too far: %+v", c)
	}
	if q := r.WearDepthBore; q.Lower > 0.1 || q.Upper < 0.1 || q.Value < 0.095 {
		t.Errorf("2 px too far: wear depth %v, want about 0.1", q)
	}
	if q := r.Play; q.Lower > 0.18 || q.Upper < 0.18 {
		t.Errorf("2 px too far: play %v, want about 0.18", q)
	}
}
