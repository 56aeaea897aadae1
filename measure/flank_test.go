package measure

import (
	"math"
	"strings"
	"testing"

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

// A flank of which only the sides were seen is known less well than one whose
// deepest place was seen.
func TestPeakNotSeen(t *testing.T) {
	flank := func(hidden float64, dev func(t float64) float64) (wornFlank, bool) {
		r := rim{circle: geom.Circle{R: 150, RMS: 0.05}, sign: +1}
		for i := range 180 {
			t := 2 * math.Pi * float64(i) / 180
			d, u := dev(t), 0.05
			if math.Abs(angleBetween(t, 0)) < hidden {
				u = 0
			}
			r.RimProfile.Add(t, d, u)
		}
		return r.flank(15, 0) // 30 degrees from the middle
	}
	worn := func(t float64) float64 { return max(0, 8*math.Cos(t)-3) }
	seen, ok1 := flank(0, worn)
	unseen, ok2 := flank(0.4, worn)
	if !ok1 || !ok2 || math.Abs(seen.depth.Value-5) > 0.1 || math.Abs(unseen.depth.Value-5) > 0.1 {
		t.Fatalf("depth %v and %v, want 5", seen.depth, unseen.depth)
	}
	if unseen.depth.U < 10*seen.depth.U || unseen.depth.Lower > 0.5 {
		t.Errorf("depth %v where the deepest place was not seen, %v where it was", unseen.depth, seen.depth)
	}
}
